//! Plain tables for people: columns as wide as their widest cell.

use super::wrapping::{Columns, paragraph};
use crate::ground::shown::{closed, printable};
use unicode_width::UnicodeWidthStr;

/// Columns between two cells.
const GAP: usize = 2;

/// Lines of a table, its columns two blanks apart; no blanks at the ends of lines. Cells
/// are made printable, and keep in their columns.
pub(crate) fn lines<const N: usize>(head: [&str; N], rows: &[[String; N]]) -> Vec<String> {
    lines_within(usize::MAX, head, rows)
}

/// The same in at most so many columns, where words allow it: cells of the widest columns go on in further
/// lines.
pub(crate) fn lines_within<const N: usize>(
    columns: usize,
    head: [&str; N],
    rows: &[[String; N]],
) -> Vec<String> {
    let mut all: Vec<Vec<String>> = vec![head.iter().map(|h| (*h).to_owned()).collect()];
    all.extend(
        rows.iter()
            .map(|r| r.iter().map(|c| closed(printable(c))).collect()),
    );
    let widest = |i: usize, of: &dyn Fn(&str) -> usize| {
        let cells = all.iter().filter_map(|row| row.get(i));
        cells.map(|c| of(c)).max().unwrap_or(0)
    };
    let mut widths: Vec<usize> = (0..N).map(|i| widest(i, &UnicodeWidthStr::width)).collect();
    let longest_word = |cell: &str| {
        cell.split(' ')
            .map(UnicodeWidthStr::width)
            .max()
            .unwrap_or(0)
    };
    let narrowest: Vec<usize> = (0..N).map(|i| widest(i, &longest_word)).collect();
    let gaps = GAP * N.saturating_sub(1);
    while widths.iter().sum::<usize>() + gaps > columns {
        let can = widths.iter_mut().zip(&narrowest).filter(|(w, n)| **w > **n);
        let Some((width, _)) = can.max_by_key(|(width, _)| **width) else {
            break;
        };
        *width -= 1;
    }
    all.iter().flat_map(|row| row_lines(row, &widths)).collect()
}

/// A row in as many lines as its longest cell takes.
fn row_lines(row: &[String], widths: &[usize]) -> Vec<String> {
    let cells: Vec<Vec<String>> = row
        .iter()
        .zip(widths)
        .map(|(cell, width)| cell_lines(cell, *width))
        .collect();
    let count = cells.iter().map(Vec::len).max().unwrap_or(0);
    (0..count)
        .map(|n| {
            let mut line = String::new();
            for (cell, width) in cells.iter().zip(widths) {
                let cell = cell.get(n).map_or("", String::as_str);
                line.push_str(cell);
                let blanks = width - cell.width().min(*width) + GAP;
                line.extend(std::iter::repeat_n(' ', blanks));
            }
            line.trim_end().to_owned()
        })
        .collect()
}

/// A cell as it stands where it fits, else broken between words.
fn cell_lines(cell: &str, width: usize) -> Vec<String> {
    if cell.width() <= width {
        return vec![cell.to_owned()];
    }
    let mut out = String::new();
    paragraph(&mut out, "", cell, Columns { width, indent: 0 });
    out.lines().map(str::to_owned).collect()
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
    #[test]
    fn a_table_that_is_too_wide_goes_on_in_further_lines() {
        let rows = [
            ["1", "drop 2 with doubled lead", "D5 G4 F4 D4 Bb3"].map(str::to_owned),
            ["12", "close", "C5 A4"].map(str::to_owned),
        ];
        let head = ["bar", "technique", "voices"];
        assert_eq!(
            lines_within(30, head, &rows),
            [
                "bar  technique     voices",
                "1    drop 2 with   D5 G4 F4 D4",
                "     doubled lead  Bb3",
                "12   close         C5 A4",
            ]
        );
        assert_eq!(lines_within(46, head, &rows), lines(head, &rows));
        for columns in 25..50 {
            for line in lines_within(columns, head, &rows) {
                assert!(line.width() <= columns, "{columns}: {line}");
            }
        }
        // No word is broken, however narrow it is.
        assert!(
            lines_within(1, head, &rows)
                .iter()
                .any(|l| l.contains("technique"))
        );
    }
}
