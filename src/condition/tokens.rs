//! The words and signs of a condition. Mistakes that musicians are likely to make are reported here,
//! in their words, before the parser reports them in its own.

use super::mistake::Mistake;
use std::ops::Range;

/// The longest condition or message, in bytes.
pub(super) const LONGEST: usize = 2_000;

/// The most words and signs: the parser's time and its stack are bounded by them.
const MOST_TOKENS: usize = 300;

/// The most conditions over all notes of a list: within one another each multiplies the time.
const MOST_OVER_ALL: usize = 3;

/// The functions that look at each item of a list.
const OVER_ALL: [&str; 5] = ["all", "exists", "exists_one", "filter", "map"];

/// How many lists a condition or a message may look through within one another: the work at a place
/// is that power of the length of a list.
pub fn lists_within_lists(source: &str) -> u32 {
    let words = source.split(|c: char| !c.is_ascii_alphanumeric() && c != '_');
    let over_all = words.filter(|word| OVER_ALL.contains(word));
    over_all.take(MOST_OVER_ALL).count() as u32
}

/// The most brackets within one another.
const DEEPEST: usize = 12;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TokenKind {
    Word,
    Number,
    Text,
    Open,
    Close,
    /// A sign between two values.
    Between,
    /// A sign before a value: `!`, and `-` where no value stands before it.
    Before,
    /// A dot or a comma.
    Mark,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Token {
    pub(super) kind: TokenKind,
    pub(super) at: Range<usize>,
}

impl Token {
    pub(super) fn text<'s>(&self, source: &'s str) -> &'s str {
        source.get(self.at.clone()).unwrap_or_default()
    }

    /// Whether a value ends with it.
    const fn ends_value(&self) -> bool {
        matches!(
            self.kind,
            TokenKind::Word | TokenKind::Number | TokenKind::Text | TokenKind::Close
        )
    }

    /// Whether a value starts with it.
    const fn starts_value(&self) -> bool {
        matches!(
            self.kind,
            TokenKind::Word | TokenKind::Number | TokenKind::Text
        )
    }
}

const EXAMPLE: &str =
    "a condition looks like this: instrument == 'trumpet' && written > pitch('A5')";

/// The words and signs of a condition.
pub(super) fn tokens(source: &str) -> Result<Vec<Token>, Mistake> {
    let whole = || 0..source.len();
    if source.trim().is_empty() {
        return Err(Mistake::new(whole(), "this is empty", EXAMPLE));
    }
    if source.len() > LONGEST {
        return Err(Mistake::new(
            whole(),
            format!("this has {} characters, more than {LONGEST}", source.len()),
            "make two rules of it",
        ));
    }
    let mut found: Vec<Token> = Vec::new();
    let mut open: Vec<OpenBracket> = Vec::new();
    let mut at = 0;
    while let Some(c) = source.get(at..).and_then(|rest| rest.chars().next()) {
        if c.is_whitespace() {
            at += c.len_utf8();
            continue;
        }
        let token = token(source, at, c, found.last())?;
        match token.kind {
            TokenKind::Open => open_bracket(&mut open, c, &token)?,
            TokenKind::Close => close_bracket(&mut open, c, &token)?,
            _ => {}
        }
        at = token.at.end;
        if let Some(last) = found.last() {
            neighbours(source, last, &token)?;
        }
        found.push(token);
        if found.len() > MOST_TOKENS {
            return Err(Mistake::new(
                whole(),
                format!("this has more than {MOST_TOKENS} words and signs"),
                "make two rules of it",
            ));
        }
    }
    complete(source, &found, open.last())?;
    Ok(found)
}

/// A bracket that is not closed yet, and its byte.
struct OpenBracket {
    bracket: char,
    at: usize,
}

fn open_bracket(open: &mut Vec<OpenBracket>, c: char, token: &Token) -> Result<(), Mistake> {
    open.push(OpenBracket {
        bracket: c,
        at: token.at.start,
    });
    if open.len() > DEEPEST {
        return Err(Mistake::new(
            token.at.clone(),
            format!("more than {DEEPEST} brackets stand within one another"),
            "make two rules of it",
        ));
    }
    Ok(())
}

fn close_bracket(open: &mut Vec<OpenBracket>, c: char, token: &Token) -> Result<(), Mistake> {
    let partner = if c == ')' { '(' } else { '[' };
    match open.pop() {
        Some(before) if before.bracket == partner => Ok(()),
        Some(OpenBracket { bracket, .. }) => Err(Mistake::new(
            token.at.clone(),
            format!("`{c}` closes a bracket that was opened as `{bracket}`"),
            "close each bracket as it was opened",
        )),
        None => Err(Mistake::new(
            token.at.clone(),
            format!("`{c}` closes a bracket that was never opened"),
            format!("take it out, or write `{partner}` where it belongs"),
        )),
    }
}

/// Whether a condition can end here: its brackets are closed, and a value stands at both ends.
fn complete(source: &str, found: &[Token], open: Option<&OpenBracket>) -> Result<(), Mistake> {
    let over_all = |t: &&Token| t.kind == TokenKind::Word && OVER_ALL.contains(&t.text(source));
    if let Some(one_more) = found.iter().filter(over_all).nth(MOST_OVER_ALL) {
        return Err(Mistake::new(
            one_more.at.clone(),
            format!(
                "a condition looks through lists {MOST_OVER_ALL} times at most, this is one more"
            ),
            "make two rules of it",
        ));
    }
    if let Some(OpenBracket { bracket, at }) = open {
        let partner = if *bracket == '(' { ')' } else { ']' };
        return Err(Mistake::new(
            *at..*at + 1,
            format!("the bracket `{bracket}` is opened here and never closed"),
            format!("write `{partner}` where it ends"),
        ));
    }
    if let Some(first) = found.first().filter(|t| t.kind == TokenKind::Between) {
        return Err(Mistake::new(
            first.at.clone(),
            format!("nothing stands before `{}`", first.text(source)),
            "write on both sides of it what belongs together",
        ));
    }
    if let Some(last) = found
        .last()
        .filter(|t| matches!(t.kind, TokenKind::Between | TokenKind::Before))
    {
        return Err(Mistake::new(
            last.at.clone(),
            format!("nothing follows `{}`", last.text(source)),
            "write on both sides of it what belongs together",
        ));
    }
    Ok(())
}

/// Two that cannot stand side by side.
fn neighbours(source: &str, last: &Token, next: &Token) -> Result<(), Mistake> {
    if last.ends_value() && next.starts_value() {
        let both = last.at.start..next.at.end;
        let word = next.text(source);
        if last.kind != TokenKind::Word || next.kind == TokenKind::Text {
            return Err(Mistake::new(
                next.at.clone(),
                format!(
                    "nothing stands between `{}` and `{word}` to say how they belong together",
                    last.text(source)
                ),
                "join two conditions with && (and) or || (or), compare two values with == or <",
            ));
        }
        let whole = source.get(both.clone()).unwrap_or_default();
        return Err(Mistake::new(
            both,
            format!("`{whole}` is two words side by side"),
            format!(
                "a text stands in quotation marks: '{whole}'; two conditions are joined by && (and) or || (or)"
            ),
        ));
    }
    if matches!(last.kind, TokenKind::Between | TokenKind::Before)
        && next.kind == TokenKind::Between
    {
        return Err(Mistake::new(
            next.at.clone(),
            format!(
                "`{}` and `{}` stand side by side",
                last.text(source),
                next.text(source)
            ),
            "write the value that belongs between them, or take one out",
        ));
    }
    if matches!(last.kind, TokenKind::Between | TokenKind::Before) && next.kind == TokenKind::Close
    {
        return Err(Mistake::new(
            last.at.clone(),
            format!("nothing follows `{}`", last.text(source)),
            "write on both sides of it what belongs together",
        ));
    }
    Ok(())
}

/// The token that starts at a byte, whose first character is `c`.
fn token(source: &str, at: usize, c: char, last: Option<&Token>) -> Result<Token, Mistake> {
    let after_value = last.is_some_and(Token::ends_value);
    let new = |kind| {
        Ok(Token {
            kind,
            at: at..at + 1,
        })
    };
    match c {
        '\'' | '"' => quotation(source, at, c),
        c if c.is_ascii_digit() => number(source, at, last),
        c if c.is_alphabetic() || c == '_' => word(source, at, last),
        '(' | '[' => new(TokenKind::Open),
        ')' | ']' => new(TokenKind::Close),
        ',' | '.' => new(TokenKind::Mark),
        '+' | '*' | '/' | '%' | '?' | ':' => new(TokenKind::Between),
        '-' if after_value => new(TokenKind::Between),
        '-' => new(TokenKind::Before),
        '<' | '>' | '=' | '!' | '&' | '|' => sign(source, at, c),
        _ => Err(foreign(at, c)),
    }
}

/// A text in quotation marks.
fn quotation(source: &str, at: usize, mark: char) -> Result<Token, Mistake> {
    let rest = source.get(at..).unwrap_or_default();
    let mut escaped = false;
    for (i, c) in rest.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '\n' => break,
            c if c == mark => {
                return Ok(Token {
                    kind: TokenKind::Text,
                    at: at..at + i + 1,
                });
            }
            _ => {}
        }
    }
    Err(Mistake::new(
        at..at + 1,
        "a text in quotation marks starts here and does not end",
        "write the same quotation mark at its end",
    ))
}

/// A number, whole or with a point.
fn number(source: &str, at: usize, last: Option<&Token>) -> Result<Token, Mistake> {
    let rest = source.get(at..).unwrap_or_default();
    let digits = |text: &str| {
        text.find(|c: char| !c.is_ascii_digit())
            .unwrap_or(text.len())
    };
    let mut n = digits(rest);
    let behind = rest.get(n..).unwrap_or_default();
    let decimals = |mark| behind.strip_prefix(mark).map_or(0, digits);
    if decimals('.') > 0 {
        n += 1 + decimals('.');
    } else if decimals(',') > 0
        && last.is_none_or(|t| !matches!(t.kind, TokenKind::Open | TokenKind::Mark))
    {
        return Err(Mistake::new(
            at..at + n + 1,
            "a number has a decimal comma",
            "write a point: 2.5",
        ));
    }
    let words = rest
        .get(n..)
        .and_then(|r| r.find(|c: char| !c.is_alphanumeric() && c != '_'))
        .unwrap_or(rest.len() - n);
    if words > 0 {
        let all = rest.get(..n + words).unwrap_or_default();
        return Err(Mistake::new(
            at..at + n + words,
            format!("`{all}` is neither a number nor a name"),
            "a text stands in quotation marks, such as '4th'",
        ));
    }
    Ok(Token {
        kind: TokenKind::Number,
        at: at..at + n,
    })
}

/// A sign that compares or joins, or `!`.
fn sign(source: &str, at: usize, c: char) -> Result<Token, Mistake> {
    let rest = source.get(at..).unwrap_or_default();
    let n = rest
        .find(|c: char| !matches!(c, '<' | '>' | '=' | '&' | '|'))
        .unwrap_or(rest.len())
        .max(usize::from(c == '!') * (1 + usize::from(rest.starts_with("!="))));
    let new = |kind| {
        Ok(Token {
            kind,
            at: at..at + n,
        })
    };
    let wrong = |message: String, help: &str| Err(Mistake::new(at..at + n, message, help));
    match rest.get(..n).unwrap_or_default() {
        "==" | "!=" | "<" | "<=" | ">" | ">=" | "&&" | "||" => new(TokenKind::Between),
        "!" => new(TokenKind::Before),
        "=" => wrong(
            "a single `=` compares nothing".to_owned(),
            "write == for \"is the same as\"",
        ),
        "&" => wrong(
            "a single `&` joins nothing".to_owned(),
            "write && for \"and\"",
        ),
        "|" => wrong(
            "a single `|` joins nothing".to_owned(),
            "write || for \"or\"",
        ),
        sign => wrong(
            format!("`{sign}` is not a sign that compares"),
            match sign {
                "<>" => "write != for \"is not the same as\"",
                "=<" => "write <= for \"at most\"",
                "=>" => "write >= for \"at least\"",
                _ => "the signs are == != < <= > >=",
            },
        ),
    }
}

/// A character that no condition has.
fn foreign(at: usize, c: char) -> Mistake {
    let no_sign = format!("`{c}` is not a sign that compares");
    let (message, help) = match c {
        '\u{201c}' | '\u{201d}' | '\u{201e}' | '\u{2018}' | '\u{2019}' | '\u{ab}' | '\u{bb}' => (
            "these are typographic quotation marks".to_owned(),
            "write straight ones: '",
        ),
        '\u{2260}' => (no_sign, "write !="),
        '\u{2264}' => (no_sign, "write <="),
        '\u{2265}' => (no_sign, "write >="),
        '\u{266f}' | '\u{266d}' | '#' => (
            format!("`{c}` means nothing outside a text"),
            "a pitch is written pitch('F#5') or pitch('Bb4')",
        ),
        _ => (format!("`{c}` means nothing in a condition"), EXAMPLE),
    };
    Mistake::new(at..at + c.len_utf8(), message, help)
}

fn word(source: &str, at: usize, last: Option<&Token>) -> Result<Token, Mistake> {
    let rest = source.get(at..).unwrap_or_default();
    let n = rest
        .find(|c: char| !c.is_alphanumeric() && c != '_')
        .unwrap_or(rest.len());
    let word = rest.get(..n).unwrap_or_default();
    let wrong = |message: String, help: &str| Err(Mistake::new(at..at + n, message, help));
    let after_value = last.is_some_and(Token::ends_value);
    match word.to_lowercase().as_str() {
        "and" if after_value => {
            return wrong(format!("`{word}` is written &&"), "write && for \"and\"");
        }
        "or" if after_value => {
            return wrong(format!("`{word}` is written ||"), "write || for \"or\"");
        }
        "is" | "equals" if after_value => {
            return wrong(
                format!("`{word}` is written =="),
                "write == for \"is the same as\", != for \"is not\"",
            );
        }
        "not" if word != "note" => {
            return wrong(
                format!("`{word}` is written !"),
                "write ! before what is not to be, such as !tied, and != for \"is not the same as\"",
            );
        }
        _ => {}
    }
    let kind = if word == "in" {
        TokenKind::Between
    } else {
        TokenKind::Word
    };
    if let Some(c) = word.chars().find(|c| !c.is_ascii()) {
        return wrong(
            format!("`{word}` is not a name: it has the letter `{c}` in it"),
            "a text stands in quotation marks; names have only the letters a to z",
        );
    }
    // 'r' or 'b' right before a quotation mark would be another kind of text.
    if rest.get(n..).is_some_and(|r| r.starts_with(['\'', '"'])) {
        return wrong(
            format!("`{word}` stands right before a quotation mark"),
            "put a sign between them, or take one out",
        );
    }
    Ok(Token {
        kind,
        at: at..at + n,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_within_lists_are_counted() {
        for (source, lists) in [
            ("count > 5", 0),
            ("voices.exists(v, v > 60)", 1),
            ("voices.exists(v, voices.all(w, w > v))", 2),
            ("overall + all_of + exists2", 0),
            (
                "a.map(x, x) b.filter(y, y) c.all(z, z) d.exists_one(u, u)",
                3,
            ),
        ] {
            assert_eq!(lists_within_lists(source), lists, "{source}");
        }
    }

    #[test]
    fn words_and_signs() {
        let source = "instrument == 'trumpet 1' && !(written - -3 >= pitch('A5')) || 2.5 in [1, 2]";
        let found: Vec<&str> = tokens(source)
            .unwrap()
            .iter()
            .map(|t| t.text(source))
            .collect::<Vec<_>>();
        assert_eq!(
            found.join("|"),
            "instrument|==|'trumpet 1'|&&|!|(|written|-|-|3|>=|pitch|(|'A5'|)|)||||2.5|in|[|1|,|2|]"
        );
    }

    #[test]
    fn any_text_is_read_without_a_panic() {
        for n in 0..0x3000u32 {
            let c = char::from_u32(n).unwrap_or('x');
            for text in [
                format!("{c}"),
                format!("a {c} 1{c}"),
                format!("'{c}"),
                format!("1{c}2"),
            ] {
                let _ = tokens(&text);
            }
        }
    }
}
