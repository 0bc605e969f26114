//! Running text broken between words, for all reports in columns of a terminal.

use unicode_width::UnicodeWidthStr;

/// The widest a line of running text gets, however wide the terminal is: longer ones are hard to read.
pub const WIDEST: usize = 100;

/// How a paragraph stands in its columns.
#[derive(Clone, Copy, Debug)]
pub struct Columns {
    /// The columns in all.
    pub width: usize,
    /// Columns before every line but the first.
    pub indent: usize,
}

/// Appends `text` as lines, the first one after `head`. A word is never broken: one that is wider than
/// the columns stands on a line of its own.
pub fn paragraph(out: &mut String, head: &str, text: &str, columns: Columns) {
    let mut used = head.width();
    let mut fresh = true;
    out.push_str(head);
    for word in text.split_whitespace() {
        let wide = word.width();
        if !fresh && used + 1 + wide > columns.width {
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', columns.indent));
            used = columns.indent;
            fresh = true;
        }
        if !fresh {
            out.push(' ');
            used += 1;
        }
        out.push_str(word);
        used += wide;
        fresh = false;
    }
    if fresh {
        out.truncate(out.trim_end_matches(' ').len());
    }
    out.push('\n');
}

/// The same after a first word that all lines are indented to.
pub fn hanging(out: &mut String, head: &str, text: &str, width: usize) {
    let indent = head.width();
    paragraph(out, head, text, Columns { width, indent });
}

/// A text in at most so many columns: what is too long loses its middle, for names of players differ at
/// their ends.
pub fn middle_cut(text: &str, columns: usize) -> String {
    const LEFT_OUT: &str = "..";
    if text.width() <= columns {
        return text.to_owned();
    }
    let room = columns.saturating_sub(LEFT_OUT.width());
    let tail_room = room * 2 / 5;
    let head = fitting(text.chars(), room - tail_room);
    let tail = fitting(text.chars().rev(), tail_room);
    let tail: String = tail.chars().rev().collect();
    format!("{}{LEFT_OUT}{}", head.trim_end(), tail.trim_start())
}

/// A text in at most so many columns: what is too long loses its end.
pub fn end_cut(text: &str, columns: usize) -> String {
    const LEFT_OUT: &str = "..";
    if text.width() <= columns {
        return text.to_owned();
    }
    let head = fitting(text.chars(), columns.saturating_sub(LEFT_OUT.width()));
    format!("{}{LEFT_OUT}", head.trim_end())
}

/// As many of the characters as fit.
fn fitting(chars: impl Iterator<Item = char>, columns: usize) -> String {
    let mut out = String::new();
    for c in chars {
        out.push(c);
        if out.width() > columns {
            out.pop();
            break;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_between_words_and_hang_under_their_text() {
        let mut out = String::new();
        hanging(&mut out, "why  ", "the lead is heard as the melody", 20);
        assert_eq!(out, "why  the lead is\n     heard as the\n     melody\n");
    }

    #[test]
    fn a_long_word_stands_alone_and_nothing_ends_in_a_blank() {
        let mut out = String::new();
        hanging(&mut out, "- ", "a/path/that/is/longer/than/the/line x", 10);
        assert_eq!(out, "- a/path/that/is/longer/than/the/line\n  x\n");
        out.clear();
        hanging(&mut out, "- ", "", 10);
        assert_eq!(out, "-\n");
    }

    #[test]
    fn a_long_name_keeps_its_seat() {
        let cut = middle_cut("Alto Saxophone in E-flat 2", 20);
        assert_eq!(cut, "Alto Saxoph..-flat 2");
        assert_eq!(middle_cut("Alto 2", 20), "Alto 2");
        for columns in 4..30 {
            let wide = middle_cut(
                "\u{9577}\u{7b1b}\u{9577}\u{7b1b}\u{9577}\u{7b1b} 2",
                columns,
            );
            assert!(wide.width() <= columns, "{wide}");
        }
    }
}
