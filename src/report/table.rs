//! Plain tables for people: columns as wide as their widest cell.

use crate::ground::shown::{closed, printable};
use unicode_width::UnicodeWidthStr;

/// Lines of a table, its columns two blanks apart; no blanks at the ends of lines. Cells
/// are made printable, and keep in their columns.
pub(crate) fn lines<const N: usize>(head: [&str; N], rows: &[[String; N]]) -> Vec<String> {
    let mut all: Vec<Vec<String>> = vec![head.iter().map(|h| (*h).to_owned()).collect()];
    all.extend(
        rows.iter()
            .map(|r| r.iter().map(|c| closed(printable(c))).collect()),
    );
    let widths: Vec<usize> = (0..N)
        .map(|i| {
            all.iter()
                .filter_map(|row| row.get(i))
                .map(|c| c.width())
                .max()
                .unwrap_or(0)
        })
        .collect();
    all.iter()
        .map(|row| {
            let mut line = String::new();
            for (cell, width) in row.iter().zip(&widths) {
                line.push_str(cell);
                line.extend(std::iter::repeat_n(
                    ' ',
                    width - cell.width().min(*width) + 2,
                ));
            }
            line.trim_end().to_owned()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_whatever_the_letters() {
        let rows = [
            ["Alto 1".to_owned(), "B♭4".to_owned()],
            ["長笛\u{1b}".to_owned(), "C5".to_owned()],
        ];
        assert_eq!(
            lines(["part", "to"], &rows),
            ["part    to", "Alto 1  B♭4", "長笛\u{fffd}   C5"]
        );
    }
}
