//! Texts of a house style file with the place of each of their bytes in the file.

use std::ops::Range;

/// A text of the file as TOML reads it, with the byte of the file that each of its bytes comes from.
pub(super) struct Quoted {
    /// One more than the text has bytes: the last is its end.
    from: Vec<usize>,
}

impl Quoted {
    /// `raw` are the bytes of the value with its quotation marks, `start` where they stand in the
    /// file, `text` is the value. Where the two do not fit, all of it is one place.
    pub(super) fn of(raw: &str, start: usize, text: &str) -> Self {
        let (read, mut from) = unquoted(raw);
        if read != text {
            from = vec![0; text.len()];
            from.push(raw.len());
        }
        for byte in &mut from {
            *byte += start;
        }
        Self { from }
    }

    /// The bytes of the file for bytes of the text.
    pub(super) fn place(&self, at: &Range<usize>) -> Range<usize> {
        let byte = |i: usize| {
            self.from
                .get(i)
                .or(self.from.last())
                .copied()
                .unwrap_or_default()
        };
        let start = byte(at.start);
        start..byte(at.end).max(start + 1)
    }
}

/// The text within quotation marks, and for each of its bytes the index in `raw`.
fn unquoted(raw: &str) -> (String, Vec<usize>) {
    let mut text = String::new();
    let mut from = Vec::new();
    let (marks, literal) = ["\"\"\"", "'''", "\"", "'"]
        .into_iter()
        .find(|m| raw.starts_with(m))
        .map_or((0, true), |m| (m.len(), m.starts_with('\'')));
    let end = raw.len().saturating_sub(marks).max(marks);
    let mut at = marks;
    if marks == 3 {
        // The line break right behind the opening marks is not part of the text.
        let rest = raw.get(at..).unwrap_or_default();
        at += if rest.starts_with("\r\n") {
            2
        } else {
            usize::from(rest.starts_with('\n'))
        };
    }
    let mut put = |text: &mut String, c: char, at: usize| {
        text.push(c);
        from.resize(text.len(), at);
    };
    while at < end {
        let Some(c) = raw.get(at..).and_then(|r| r.chars().next()) else {
            break;
        };
        if literal || c != '\\' {
            let rest = raw.get(at..).unwrap_or_default();
            if rest.starts_with("\r\n") {
                put(&mut text, '\n', at);
                at += 2;
            } else {
                put(&mut text, c, at);
                at += c.len_utf8();
            }
            continue;
        }
        let rest = raw.get(at + 1..end).unwrap_or_default();
        let Some(kind) = rest.chars().next() else {
            break;
        };
        let digits = match kind {
            'x' => 2,
            'u' => 4,
            'U' => 8,
            _ => 0,
        };
        if digits > 0 {
            let value = rest
                .get(1..=digits)
                .and_then(|d| u32::from_str_radix(d, 16).ok())
                .and_then(char::from_u32);
            if let Some(value) = value {
                put(&mut text, value, at);
            }
            at += 2 + digits;
            continue;
        }
        let plain = match kind {
            'n' => '\n',
            't' => '\t',
            'r' => '\r',
            'b' => '\u{8}',
            'f' => '\u{c}',
            'e' => '\u{1b}',
            kind if kind.is_whitespace() => {
                // A backslash at the end of a line joins it with the next.
                let blank = rest.len() - rest.trim_start().len();
                at += 1 + blank;
                continue;
            }
            kind => kind,
        };
        put(&mut text, plain, at);
        at += 1 + kind.len_utf8();
    }
    from.push(end);
    (text, from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_read_as_toml_reads_it_and_its_bytes_are_found_again() {
        for raw in [
            r#""a \"b\" \u00e9 c""#,
            "'a \\b c'",
            "'''\nabc\n  'd' ü\n'''",
            "\"\"\"\nab \\\n   cd \\t e\"\"\"",
            "\"\"",
            "\"ü\"",
        ] {
            let toml: toml::Table = format!("x = {raw}").parse().unwrap();
            let text = toml["x"].as_str().unwrap();
            let (read, from) = unquoted(raw);
            assert_eq!(read, text, "{raw}");
            assert_eq!(from.len(), text.len() + 1);
            for (i, c) in text
                .char_indices()
                .filter(|(_, c)| c.is_ascii_alphanumeric())
            {
                assert_eq!(raw[from[i]..].chars().next(), Some(c), "{raw}");
            }
        }
        let quoted = Quoted::of("\"a\\\"bc\"", 10, "a\"bc");
        assert_eq!(quoted.place(&(2..3)), 14..15);
        // A text that does not fit is one place.
        assert_eq!(Quoted::of("\"abc\"", 10, "xyz").place(&(1..2)), 10..11);
    }

    #[test]
    fn any_text_is_read_without_a_panic() {
        for n in 0..0x3000u32 {
            let c = char::from_u32(n).unwrap_or('x');
            for text in [
                format!("{c}"),
                format!("'{c}"),
                format!("\"\\{c}"),
                format!("1{c}2"),
            ] {
                let _ = unquoted(&text);
            }
        }
    }
}
