//! How wide words are: pictures are drawn before anybody knows in which font they are read.

/// The advance of a letter in ems, after the widest font that is usual (from memory: DejaVu Sans), so that no other
/// needs more room.
fn advance(c: char) -> f64 {
    match c {
        'i' | 'j' | 'l' | 'I' | ' ' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' => 0.34,
        'f' | 'r' | 't' | '(' | ')' | '/' | '-' => 0.42,
        'm' | 'w' | 'M' | 'W' | '\u{2026}' | '@' | '%' => 0.98,
        '\u{266d}' => 0.48,
        c if c.is_ascii_uppercase() => 0.76,
        c if c.is_ascii() => 0.64,
        // Letters with accents, Greek, Cyrillic; what is wider still fills an em.
        '\u{80}'..='\u{2e7f}' => 0.8,
        _ => 1.05,
    }
}

/// The width of words in letters of a size, in its unit.
pub(super) fn text_width(text: &str, size: f64) -> f64 {
    text.chars().map(advance).sum::<f64>() * size
}

/// A chord symbol as it is printed: flats and sharps as signs.
pub(super) fn printed_symbol(symbol: &str) -> String {
    let mut out = String::with_capacity(symbol.len());
    let mut before = ' ';
    let mut rest = symbol.chars().peekable();
    while let Some(c) = rest.next() {
        let root = matches!(before, 'A'..='G');
        let degree = rest.peek().is_some_and(char::is_ascii_digit);
        out.push(match c {
            '#' => '\u{266f}',
            'b' if root || degree => '\u{266d}',
            c => c,
        });
        before = c;
    }
    out
}

/// A name in at most two lines of so many letters: what is too long loses its middle, since seats stand at the end.
pub(super) fn name_lines(name: &str, letters: usize) -> Vec<String> {
    let count = name.chars().count();
    if count <= letters {
        return vec![name.to_owned()];
    }
    // The blank nearest to the middle parts the lines.
    let breaks = name
        .char_indices()
        .filter(|(_, c)| *c == ' ')
        .map(|(i, _)| i);
    let at = breaks.min_by_key(|i| i.abs_diff(name.len() / 2));
    let (first, second) = match at {
        Some(at) => (
            name.get(..at).unwrap_or_default(),
            name.get(at + 1..).unwrap_or_default(),
        ),
        None => (name, ""),
    };
    let lines = [first, second].into_iter().filter(|l| !l.is_empty());
    lines.map(|line| without_middle(line, letters)).collect()
}

fn without_middle(line: &str, letters: usize) -> String {
    let all: Vec<char> = line.chars().collect();
    if all.len() <= letters {
        return line.to_owned();
    }
    let tail = letters * 2 / 5;
    let head = letters - 1 - tail;
    let (head, tail) = (all.iter().take(head), all.iter().skip(all.len() - tail));
    head.chain(&['\u{2026}']).chain(tail).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn symbols_have_signs() {
        assert_eq!(printed_symbol("Bb7"), "B\u{266d}7");
        assert_eq!(
            printed_symbol("C#m7b5/Ab"),
            "C\u{266f}m7\u{266d}5/A\u{266d}"
        );
        assert_eq!(printed_symbol("(Ebmaj7#11)"), "(E\u{266d}maj7\u{266f}11)");
        assert_eq!(printed_symbol("N.C."), "N.C.");
    }

    #[test]
    fn long_names_keep_their_seats() {
        let lines = name_lines("Alto Saxophone in E-flat 2", 22);
        assert_eq!(lines, ["Alto Saxophone", "in E-flat 2"]);
        let lines = name_lines("Donaudampfschifffahrtskapelle 2", 12);
        assert!(lines.last().unwrap().ends_with('2'), "{lines:?}");
        assert!(lines.iter().all(|l| l.chars().count() <= 12), "{lines:?}");
        assert_eq!(name_lines("Drums", 22), ["Drums"]);
    }
}
