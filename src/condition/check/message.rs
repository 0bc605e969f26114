//! Messages of a rule: words, and values in braces.

use super::checker::{Checker, Known};
use crate::condition::checked::{MessagePiece, Shown, value_index};
use crate::condition::kinds::Kind;
use crate::condition::mistake::Mistake;
use crate::condition::parse::parsed;
use crate::condition::tokens::LONGEST;
use cel::common::ast::Expr;

/// The most values in one message: each is worked out for every finding.
const MOST_VALUES: usize = 20;

/// A message with its values.
pub fn message(text: &str, known: Known<'_>) -> Result<Vec<MessagePiece>, Vec<Mistake>> {
    if text.len() > LONGEST {
        return Err(vec![Mistake::new(
            0..text.len(),
            format!("this has {} characters, more than {LONGEST}", text.len()),
            "a message is read at every finding: say it shorter, and put the rest into why",
        )]);
    }
    let mut pieces = Vec::new();
    let mut mistakes = Vec::new();
    let mut words = String::new();
    let mut values = 0;
    let mut at = 0;
    while let Some(c) = text.get(at..).and_then(|rest| rest.chars().next()) {
        let rest = text.get(at..).unwrap_or_default();
        if rest.starts_with("{{") || rest.starts_with("}}") {
            words.push(c);
            at += 2;
            continue;
        }
        if c == '}' {
            mistakes.push(Mistake::new(
                at..at + 1,
                "`}` closes a place for a value that was never opened",
                "write {part} with both brackets, or }} where the bracket itself is to be printed",
            ));
        }
        if c != '{' {
            words.push(c);
            at += c.len_utf8();
            continue;
        }
        let Some(length) = closing(rest) else {
            mistakes.push(Mistake::new(
                at..at + 1,
                "a place for a value is opened here and never closed",
                "write } after the name, as in {part}; {{ where the bracket itself is to be printed",
            ));
            break;
        };
        values += 1;
        if values > MOST_VALUES {
            mistakes.push(Mistake::new(
                at..at + length + 1,
                format!("a message has {MOST_VALUES} places for values at most, this is one more"),
                "say less, or make two rules of it",
            ));
            break;
        }
        if !words.is_empty() {
            pieces.push(MessagePiece::Words(std::mem::take(&mut words)));
        }
        let inside = text.get(at + 1..at + length).unwrap_or_default();
        match shown(inside, known) {
            Ok(value) => pieces.push(MessagePiece::Value(value)),
            Err(found) => mistakes.extend(found.into_iter().map(|m| {
                if inside.trim().is_empty() {
                    return Mistake::new(
                        at..at + length + 1,
                        "nothing stands between the brackets",
                        "write a name between them, as in {part}",
                    );
                }
                m.moved(at + 1)
            })),
        }
        at += length + 1;
    }
    if !words.is_empty() {
        pieces.push(MessagePiece::Words(words));
    }
    if mistakes.is_empty() {
        Ok(pieces)
    } else {
        Err(mistakes)
    }
}

/// The byte of the bracket that closes the first.
fn closing(text: &str) -> Option<usize> {
    let mut quote = None;
    for (i, c) in text.char_indices().skip(1) {
        match (quote, c) {
            (None, '}') => return Some(i),
            (None, '{') => return None,
            (None, '\'' | '"') => quote = Some(c),
            (Some(q), c) if q == c => quote = None,
            _ => {}
        }
    }
    None
}

fn shown(source: &str, known: Known<'_>) -> Result<Shown, Vec<Mistake>> {
    let mut parsed = parsed(source).map_err(|m| vec![m])?;
    let mut checker = Checker::new(source, &parsed.info, &parsed.tokens, known, &parsed.expr);
    let kind = checker.check(&mut parsed.expr);
    if let Some(kind @ (Kind::Players | Kind::Note | Kind::Empty)) = kind {
        let at = checker.range(&parsed.expr);
        let said = checker.text(&at);
        let help = match kind {
            Kind::Players => format!("name a player: {{{said}['trumpet 1']}}"),
            Kind::Note => format!("ask for something of it: {{{said}.written}}"),
            _ => "write a name".to_owned(),
        };
        checker.wrong(
            at,
            format!("`{said}` is {}, which cannot be printed", kind.described()),
            help,
        );
    }
    let Some(kind) = kind.filter(|_| checker.mistakes.is_empty()) else {
        return Err(checker.mistakes);
    };
    let plain = matches!(&parsed.expr.expr, Expr::Ident(name) if value_index(name) == Some(0));
    Ok(Shown {
        vars: checker.vars,
        expression: (!plain).then(|| Box::new(parsed.expr)),
        kind,
    })
}

#[cfg(test)]
mod tests {
    use super::super::tests::known;
    use super::*;
    use crate::condition::kinds::One;
    use crate::condition::names::Scope::{Note, Step};

    #[test]
    fn words_and_values_take_turns() {
        let pieces = message("{{x}} {part}: {written - 1}!", known(Note)).unwrap();
        let words: Vec<Option<&str>> = pieces
            .iter()
            .map(|p| match p {
                MessagePiece::Words(words) => Some(words.as_str()),
                MessagePiece::Value(_) => None,
            })
            .collect();
        assert_eq!(words, [Some("{x} "), None, Some(": "), None, Some("!")]);
        let values: Vec<(bool, Kind)> = pieces
            .iter()
            .filter_map(|p| match p {
                MessagePiece::Value(shown) => Some((shown.expression.is_some(), shown.kind)),
                MessagePiece::Words(_) => None,
            })
            .collect();
        assert_eq!(values[1], (true, Kind::One(One::Pitch)));
        assert!(!values[0].0);
    }

    #[test]
    fn a_mistake_points_into_the_message() {
        for (scope, text, at, said) in [
            (Note, "{part} holds {writen}", "writen", "knows no `writen`"),
            (Note, "{part holds it", "{", "never closed"),
            (Note, "part} holds it", "}", "never opened"),
            (Note, "a {} b", "{}", "nothing stands between"),
            (Step, "leaps from {from}", "from", "cannot be printed"),
        ] {
            let found = message(text, known(scope)).unwrap_err();
            assert_eq!(found.len(), 1, "{text}");
            // The last of several alike.
            assert_eq!(text.rfind(at), Some(found[0].at.start), "{text}");
            assert_eq!(found[0].at.len(), at.len(), "{text}");
            assert!(
                found[0].message.contains(said),
                "{text}: {}",
                found[0].message
            );
        }
    }

    #[test]
    fn one_value_too_many_is_a_mistake() {
        assert!(message(&"{part}".repeat(MOST_VALUES), known(Note)).is_ok());
        let found = message(&"{part}".repeat(300), known(Note)).unwrap_err();
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].at, MOST_VALUES * 6..MOST_VALUES * 6 + 6);
    }

    #[test]
    fn a_message_ends_somewhere() {
        assert!(message(&"x".repeat(LONGEST), known(Note)).is_ok());
        let found = message(&"x".repeat(LONGEST + 1), known(Note)).unwrap_err();
        assert!(found[0].message.contains("more than 2000"), "{found:?}");
    }

    #[test]
    fn a_brace_in_a_text_closes_nothing() {
        let pieces = message("{part + '}'} end", known(Note)).unwrap();
        assert!(
            matches!(&pieces[..], [MessagePiece::Value(_), MessagePiece::Words(w)] if w == " end")
        );
    }
}
