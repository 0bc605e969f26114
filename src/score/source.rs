//! The files that a score was read from.

use crate::ground::text::{Lines, Text};
use std::path::PathBuf;
use std::sync::OnceLock;

/// What kind of text a source is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Format {
    /// MusicXML.
    MusicXml,
    /// The passage grid.
    Grid,
}

/// One file that a score was read from.
#[derive(Clone, Debug)]
pub struct Source {
    /// The path as the user gave it (or as the walk from it found it).
    pub path: PathBuf,
    /// The entry inside a container, when the file is one.
    pub member: Option<String>,
    /// What kind of text it is.
    pub format: Format,
    /// The text spans point into, after decoding to UTF-8.
    pub text: Text,
    /// Where its lines are, once somebody asks.
    pub(crate) lines: OnceLock<Lines>,
}

impl Source {
    /// 1-based line and column (in characters) of a byte offset.
    pub fn line_column(&self, offset: u32) -> (usize, usize) {
        let text = self.text.as_bytes();
        let lines = self.lines.get_or_init(|| Lines::of(text));
        let mut at = (offset as usize).min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        lines.place(text, at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::text::STRIDE;

    #[test]
    fn lines_and_columns_are_those_one_counts() {
        // Lines of all lengths around the stride, with characters of one to four bytes.
        let mut text = String::new();
        for (i, length) in [0, 3, 5_000, 1, 4_090, 12_300, 0, 2]
            .into_iter()
            .enumerate()
        {
            text.extend("aé€𝄞b".chars().cycle().skip(i).take(length));
            text.push('\n');
        }
        text.push_str("end");
        let source = |text: &str| Source {
            path: PathBuf::new(),
            member: None,
            format: Format::Grid,
            text: text.into(),
            lines: OnceLock::new(),
        };
        // One that ends with a stride, and one that has none.
        let whole = "a\n".repeat(STRIDE);
        assert_eq!(source(&whole).line_column(u32::MAX), (STRIDE + 1, 1));
        assert_eq!(source("").line_column(0), (1, 1));
        let source = source(&text);
        let (mut line, mut column) = (1, 1);
        for (at, c) in text.char_indices() {
            assert_eq!(source.line_column(at as u32), (line, column), "byte {at}");
            (line, column) = if c == '\n' {
                (line + 1, 1)
            } else {
                (line, column + 1)
            };
        }
        assert_eq!(source.line_column(u32::MAX), (9, 4));
    }
}
