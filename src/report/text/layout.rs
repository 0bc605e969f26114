//! Where things stand in the columns of the terminal.

use unicode_width::UnicodeWidthStr;

/// Columns before a grid row: the blanked number, its border, the spaces beside them.
pub(super) const GRID_INDENT: usize = 5;

/// How the report is laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// How many terminal columns grid rows and sentences may take.
    pub width: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self { width: 100 }
    }
}

/// `name: text`, the text in a column of its own and broken between words.
pub(super) fn wrapped(name: &str, text: &str, width: usize) -> String {
    // As wide as the longest name, its colon and a space.
    const NAME: usize = 15;
    let room = width.saturating_sub(GRID_INDENT + NAME).max(20);
    let mut out = String::with_capacity(NAME + text.len());
    out.push_str(name);
    out.push(':');
    out.extend(std::iter::repeat_n(' ', NAME.saturating_sub(out.len())));
    let mut used = 0;
    for word in text.split_whitespace() {
        let wide = word.width();
        if used > 0 && used + 1 + wide > room {
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', NAME));
            used = 0;
        } else if used > 0 {
            out.push(' ');
            used += 1;
        }
        out.push_str(word);
        used += wide;
    }
    out
}
