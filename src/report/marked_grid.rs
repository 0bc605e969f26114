//! A bar as grid rows with marks under what is at fault.

use super::grid_view::GridView;
use super::wrapping::{Columns, paragraph};
use std::ops::Range;
use unicode_width::UnicodeWidthStr;

/// A mark under some bytes of a grid, with what is said of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GridMark {
    /// The bytes in the text of the view.
    pub range: Range<usize>,
    /// What is said; may be empty.
    pub text: String,
}

/// A line of a marked grid.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum GridLine {
    /// A row, or the line between two lines of the grid.
    Row(String),
    /// Marks under the row before.
    Marks(String),
}

/// A grid of more lines shows only those with marks.
const MOST_SYSTEMS: usize = 3;

/// A text beside a mark has at least so many columns; else it begins further left.
const ROOM: usize = 28;

/// The rows of a grid and the marks under them. `bar` says whether the bar's number stands over them.
pub fn marked(view: &GridView, marks: &[GridMark], bar: bool, width: usize) -> Vec<GridLine> {
    let systems = systems(&view.text);
    let holds = |system: &Range<usize>| marks.iter().any(|m| system.contains(&m.range.start));
    let all = systems.len() <= MOST_SYSTEMS || !systems.iter().any(holds);
    let mut lines = Vec::new();
    if bar {
        let end = view.text.find('\n').unwrap_or(view.text.len());
        lines.push(GridLine::Row(
            view.text.get(..end).unwrap_or_default().to_owned(),
        ));
    }
    let mut before = false;
    let mut left_out = false;
    for (i, system) in systems.iter().enumerate() {
        if !(all && i < MOST_SYSTEMS || !all && holds(system)) {
            left_out = true;
            continue;
        }
        if before || left_out {
            lines.push(GridLine::Row(if left_out { "..." } else { "" }.to_owned()));
        }
        (before, left_out) = (true, false);
        draw_system(&mut lines, &view.text, system.clone(), marks, width);
    }
    if left_out {
        lines.push(GridLine::Row("...".to_owned()));
    }
    lines
}

/// The bytes of each line of the grid: what stands between blank lines, without the bar's number.
fn systems(text: &str) -> Vec<Range<usize>> {
    let mut all = Vec::new();
    let mut start = text.find('\n').map_or(text.len(), |i| i + 1);
    while start < text.len() {
        let rest = text.get(start..).unwrap_or_default();
        let end = rest.find("\n\n").map_or(text.len(), |i| start + i);
        all.push(start..end);
        start = end + 2;
    }
    all
}

fn draw_system(
    lines: &mut Vec<GridLine>,
    text: &str,
    system: Range<usize>,
    marks: &[GridMark],
    width: usize,
) {
    let mut start = system.start;
    for row in text.get(system).unwrap_or_default().split('\n') {
        let end = start + row.len();
        lines.push(GridLine::Row(row.trim_end().to_owned()));
        let mut under: Vec<Placed<'_>> = marks
            .iter()
            .filter(|m| start <= m.range.start && m.range.end <= end)
            .map(|m| Placed::of(row, start, m))
            .collect();
        under.sort_by_key(|m| m.column);
        under.dedup();
        draw_marks(lines, &under, width);
        start = end + 1;
    }
}

/// A mark in columns of its row.
#[derive(PartialEq)]
struct Placed<'a> {
    column: usize,
    wide: usize,
    text: &'a str,
}

impl<'a> Placed<'a> {
    fn of(row: &str, start: usize, mark: &'a GridMark) -> Self {
        let before = row.get(..mark.range.start - start).unwrap_or_default();
        let marked = row.get(mark.range.start - start..mark.range.end - start);
        Self {
            column: before.width(),
            wide: marked.unwrap_or_default().width().max(1),
            text: &mark.text,
        }
    }
}

/// Marks on one line, the text of the last beside it, those of the others on lines of their own under
/// their marks. What all marks have in common is said once.
fn draw_marks(lines: &mut Vec<GridLine>, marks: &[Placed<'_>], width: usize) {
    let Some(last) = marks.last() else {
        return;
    };
    let mut carets = String::new();
    for mark in marks {
        let have = carets.width();
        carets.extend(std::iter::repeat_n(' ', mark.column.saturating_sub(have)));
        let from = carets.width().max(mark.column);
        let wide = (mark.column + mark.wide).saturating_sub(from);
        carets.extend(std::iter::repeat_n('^', wide));
    }
    let mut waiting: Vec<&Placed<'_>> = marks.iter().filter(|m| !m.text.is_empty()).collect();
    let same = waiting.iter().all(|m| m.text == last.text);
    if same {
        waiting.clear();
        waiting.extend((!last.text.is_empty()).then_some(last));
    }
    if let Some(beside) =
        waiting.pop_if(|m| m.column == last.column && carets.width() + 1 + m.text.width() <= width)
    {
        carets.push(' ');
        carets.push_str(beside.text);
    }
    lines.push(GridLine::Marks(carets));
    while let Some(mark) = waiting.pop() {
        let mut head = String::new();
        for other in &waiting {
            let have = head.width();
            head.extend(std::iter::repeat_n(' ', other.column.saturating_sub(have)));
            if head.width() == other.column && other.column < mark.column {
                head.push('|');
            }
        }
        let room = mark.text.width().min(ROOM);
        let column = mark
            .column
            .min(width.saturating_sub(room))
            .max(head.width());
        head.extend(std::iter::repeat_n(' ', column - head.width()));
        let mut text = String::new();
        paragraph(
            &mut text,
            &head,
            mark.text,
            Columns {
                width,
                indent: column,
            },
        );
        lines.extend(text.lines().map(|l| GridLine::Marks(l.to_owned())));
    }
}
