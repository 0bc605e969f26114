//! A bar of a score drawn as grid rows: what a finding shows instead of its file's own text.
//!
//! The first line names the bar; then come the rows `chord` and `count` and one row for each part,
//! top to bottom. A column stands for an onset. A cell is the pitch as it stands in the file, with the
//! other one (sounding, or what the player reads) in brackets where it differs; `-` holds, `.` rests, `-A4` is held over from
//! the bar before. Several notes of one part are joined by `+`.

use super::printable;
use super::wrapping::middle_cut;
use crate::ground::time::{Beat, Ticks};
use crate::score::NoteRef;
use crate::score::{ChordMark, Mark, Note, NoteFlags, Part, Place, Score};
use smallvec::SmallVec;
use std::borrow::Cow;
use std::fmt::Write;
use std::ops::Range;
use unicode_width::UnicodeWidthStr;

/// How many columns are drawn at most, so that a hostile bar costs little.
const MOST_COLUMNS: usize = 64;

/// How many notes of one cell are drawn at most; how many more there are is said behind them.
const MOST_IN_CELL: usize = 48;

/// The widest part name, chord symbol or bar number drawn in full.
const WIDEST_NAME: usize = 24;

/// A bar as text, with the places of its cells in that text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct GridView {
    /// The drawn rows, one line each.
    pub text: String,
    cells: Vec<(u32, Ticks, Range<usize>)>,
    notes: Vec<(NoteRef, Ticks, Range<usize>)>,
    labels: Vec<(u32, Range<usize>)>,
    counts: Vec<(Ticks, Range<usize>)>,
}

/// One cell before it is laid out; ranges are bytes of its text.
#[derive(Clone, Debug, Default)]
struct GridCell {
    text: Cow<'static, str>,
    notes: SmallVec<[(u32, Range<usize>); 1]>,
}

impl GridCell {
    fn plain(text: impl Into<Cow<'static, str>>) -> Self {
        Self {
            text: text.into(),
            notes: SmallVec::new(),
        }
    }
}

/// One row before it is laid out.
struct GridRow {
    label: String,
    part: Option<u32>,
    cells: Vec<GridCell>,
}

impl GridView {
    /// The whole bar, for the parts given by 0-based index. `bar` is the 0-based bar index.
    #[cfg(test)]
    pub fn of(score: &Score, parts: &[u32], bar: u32) -> Self {
        Self::around(score, parts, bar, Ticks::ZERO, usize::MAX)
    }

    /// The bar in `width` terminal columns: what does not fit beside the rest follows on the next line of the
    /// grid, after a blank line, and a beat is kept together where it can be. Of a bar with very many columns
    /// those around `focus` (time since the bar line) are drawn, the others shown as `...`.
    pub fn around(score: &Score, parts: &[u32], bar: u32, focus: Ticks, width: usize) -> Self {
        let all = onsets(score, parts, bar);
        let at = all
            .partition_point(|&t| t <= focus)
            .saturating_sub(1)
            .min(all.len().saturating_sub(1));
        let first = at.saturating_sub(MOST_COLUMNS / 2);
        let columns: Vec<Ticks> = all.iter().copied().skip(first).take(MOST_COLUMNS).collect();
        let cut_before = first > 0;
        let cut_after = first + columns.len() < all.len();
        let mut detail = Detail::FULL;
        let (rows, widths, room) = loop {
            let rows = rows(score, parts, bar, &columns, detail);
            let widths = widths(&rows, columns.len());
            let label_width = rows.iter().map(|r| r.label.width()).max().unwrap_or(0);
            // Around the cells: the name, a blank and the stroke before them, the same after them.
            let mut room = width.saturating_sub(label_width + 3);
            if cut_before || cut_after {
                room = room.saturating_sub(2 * DOTS.len());
            }
            let widest = widths.iter().max().map_or(0, |w| w.saturating_add(2));
            match detail.less() {
                Some(less) if widest > room => detail = less,
                _ => break (rows, widths, room),
            }
        };
        let starts: Vec<bool> = columns
            .iter()
            .map(|&offset| {
                let Beat(beat) = score.beat_at(Place { bar, offset });
                beat.is_integer()
            })
            .collect();
        let systems = systems(&widths, &starts, room);
        let mut view = Self {
            text: format!("bar {}", drawn(&score.bar_number(bar))),
            ..Self::default()
        };
        for (i, system) in systems.iter().enumerate() {
            view.text.push_str(if i == 0 { "\n" } else { "\n\n" });
            let cut = (cut_before && i == 0, cut_after && i + 1 == systems.len());
            view.draw(&rows, &columns, &widths, system.clone(), cut);
        }
        view
    }

    /// Draws a run of columns; `cut` says whether columns are left out before and after it.
    fn draw(
        &mut self,
        rows: &[GridRow],
        columns: &[Ticks],
        widths: &[usize],
        system: Range<usize>,
        cut: (bool, bool),
    ) {
        let label_width = rows.iter().map(|r| r.label.width()).max().unwrap_or(0);
        for (i, row) in rows.iter().enumerate() {
            if i > 0 {
                self.text.push('\n');
            }
            let start = self.text.len();
            self.text.push_str(&row.label);
            if let Some(part) = row.part {
                self.labels.push((part, start..self.text.len()));
            }
            self.pad(label_width.saturating_sub(row.label.width()));
            self.text.push_str(" |");
            let is_count = row.part.is_none() && row.label == COUNT;
            let dots = if is_count { DOTS } else { "    " };
            if cut.0 {
                self.text.push_str(dots);
            }
            for i in system.clone() {
                let (Some(cell), Some(&column), Some(&wide)) =
                    (row.cells.get(i), columns.get(i), widths.get(i))
                else {
                    continue;
                };
                let first = i == system.start;
                self.text.push_str(if first { " " } else { "  " });
                self.draw_cell(row, cell, column);
                self.pad(wide.saturating_sub(cell.text.width()));
            }
            if cut.1 {
                self.text.push_str(dots);
            }
            self.text.push_str(" |");
        }
    }

    fn draw_cell(&mut self, row: &GridRow, cell: &GridCell, column: Ticks) {
        let start = self.text.len();
        self.text.push_str(&cell.text);
        let range = start..self.text.len();
        if let Some(part) = row.part {
            for (note, r) in &cell.notes {
                let note = NoteRef { part, note: *note };
                self.notes
                    .push((note, column, start + r.start..start + r.end));
            }
            self.cells.push((part, column, range));
        } else if row.label == COUNT {
            self.counts.push((column, range));
        }
    }

    fn pad(&mut self, n: usize) {
        self.text.extend(std::iter::repeat_n(' ', n));
    }

    /// The bytes of the cell of a part in the column that `offset` (time since the bar line)
    /// falls in.
    pub fn cell(&self, part: u32, offset: Ticks) -> Option<Range<usize>> {
        self.cells
            .iter()
            .rev()
            .find(|(p, t, _)| *p == part && *t <= offset)
            .map(|(_, _, r)| r.clone())
    }

    /// The bytes of one note in the column that `offset` falls in, or where it starts when it does
    /// not sound there.
    pub fn note(&self, note: NoteRef, offset: Ticks) -> Option<Range<usize>> {
        let mut all = self.notes.iter().filter(|(n, ..)| *n == note);
        let first = all.next()?;
        let here = all.take_while(|(_, t, _)| *t <= offset).last();
        Some(here.unwrap_or(first).2.clone())
    }

    /// The bytes of a part's name.
    pub fn label(&self, part: u32) -> Option<Range<usize>> {
        self.labels
            .iter()
            .find(|(p, _)| *p == part)
            .map(|(_, r)| r.clone())
    }

    /// The bytes of the count over the column that `offset` falls in.
    #[cfg(any(test, feature = "inside"))]
    pub fn count(&self, offset: Ticks) -> Option<Range<usize>> {
        self.counts
            .iter()
            .rev()
            .find(|(t, _)| *t <= offset)
            .map(|(_, r)| r.clone())
    }
}

const COUNT: &str = "count";

/// Columns that are left out.
const DOTS: &str = " ...";

/// How much a cell says.
#[derive(Clone, Copy)]
struct Detail {
    /// The pitch that does not stand in the file as well.
    both: bool,
    /// How many notes of one cell.
    notes: usize,
}

impl Detail {
    const FULL: Self = Self {
        both: true,
        notes: MOST_IN_CELL,
    };

    /// The next that takes less room.
    const fn less(self) -> Option<Self> {
        let notes = match (self.both, self.notes) {
            (true, notes) => notes,
            (false, 2..) => self.notes / 2,
            (false, _) => return None,
        };
        Some(Self { both: false, notes })
    }
}

/// The widest cell of each column.
fn widths(rows: &[GridRow], columns: usize) -> Vec<usize> {
    let widest = |i: usize| {
        let cells = rows.iter().filter_map(|r| r.cells.get(i));
        cells.map(|c| c.text.width()).max().unwrap_or(0)
    };
    (0..columns).map(widest).collect()
}

/// The columns of each line of a grid in `room`: as many as fit, up to the start of a beat; a beat that does not fit
/// is broken.
fn systems(widths: &[usize], starts: &[bool], room: usize) -> Vec<Range<usize>> {
    let mut all = Vec::new();
    let mut start = 0;
    while start < widths.len() {
        let mut used = 0usize;
        let mut end = start;
        while let Some(wide) = widths.get(end) {
            used = used.saturating_add(wide.saturating_add(2));
            if used > room && end > start {
                break;
            }
            end += 1;
        }
        if end < widths.len() {
            let beats = (start + 1..=end).rev();
            let beat = beats.into_iter().find(|&i| starts.get(i) == Some(&true));
            end = beat.unwrap_or(end);
        }
        all.push(start..end);
        start = end;
    }
    all
}

/// The notes of a part in a bar, with their indices. Notes are in order of time.
fn notes_of(part: &Part, bar: u32) -> impl Iterator<Item = (u32, &Note)> {
    let first = part.notes.partition_point(|n| n.at.bar < bar);
    part.notes
        .iter()
        .enumerate()
        .skip(first)
        .take_while(move |(_, n)| n.at.bar == bar)
        .filter(|(_, n)| !n.flags.has(NoteFlags::GRACE) && !n.flags.has(NoteFlags::CUE))
        .map(|(i, n)| (i as u32, n))
}

/// The chord symbols of a bar. They are in order of time.
fn chords_of(score: &Score, bar: u32) -> &[Mark<ChordMark>] {
    let first = score.chords.partition_point(|m| m.at.bar < bar);
    let last = score.chords.partition_point(|m| m.at.bar <= bar);
    score.chords.get(first..last).unwrap_or_default()
}

/// The columns of a bar: onsets of notes and rests of the parts shown, and chord changes.
fn onsets(score: &Score, parts: &[u32], bar: u32) -> Vec<Ticks> {
    let mut all: Vec<Ticks> = Vec::new();
    for part in parts.iter().filter_map(|&p| score.parts.get(p as usize)) {
        all.extend(notes_of(part, bar).map(|(_, n)| n.at.offset));
        let first = part.rests.partition_point(|r| r.at.bar < bar);
        all.extend(
            part.rests
                .iter()
                .skip(first)
                .take_while(|r| r.at.bar == bar)
                .map(|r| r.at.offset),
        );
    }
    all.extend(chords_of(score, bar).iter().map(|m| m.at.offset));
    if all.is_empty() {
        all.push(Ticks::ZERO);
    }
    all.sort(); // each part's are in order
    all.dedup();
    all
}

fn rows(score: &Score, parts: &[u32], bar: u32, columns: &[Ticks], detail: Detail) -> Vec<GridRow> {
    let mut rows = Vec::with_capacity(parts.len() + 2);
    rows.extend(chord_row(score, bar, columns));
    rows.push(GridRow {
        label: COUNT.to_owned(),
        part: None,
        cells: counts(score, bar, columns),
    });
    for &index in parts {
        let Some(part) = score.parts.get(index as usize) else {
            continue;
        };
        let first = columns.first().copied().unwrap_or_default();
        let last = columns.last().copied().unwrap_or_default();
        let notes: Vec<(u32, &Note)> = notes_of(part, bar)
            .filter(|(_, n)| n.at.offset <= last && first <= n.at.offset + n.duration)
            .collect();
        rows.push(GridRow {
            label: short_name(part),
            part: Some(index),
            cells: columns
                .iter()
                .map(|&t| cell(score, index, &notes, t, detail))
                .collect(),
        });
    }
    rows
}

fn short_name(part: &Part) -> String {
    let name = printable(&part.name);
    if name.width() <= WIDEST_NAME {
        return name;
    }
    match part.abbreviation.as_deref().map(printable) {
        Some(short) if !short.is_empty() && short.width() <= WIDEST_NAME => short,
        _ => middle_cut(&name, WIDEST_NAME),
    }
}

/// A text as a cell shows it.
fn drawn(text: &str) -> String {
    middle_cut(&printable(text), WIDEST_NAME)
}

/// No row at all when no chord symbol is in force in the bar.
fn chord_row(score: &Score, bar: u32, columns: &[Ticks]) -> Option<GridRow> {
    let start = score.bars.get(bar as usize)?.start;
    let before = score.chord_at(start);
    let here = chords_of(score, bar);
    if before.is_none() && here.is_empty() {
        return None;
    }
    let cells = columns
        .iter()
        .enumerate()
        .map(|(i, &column)| {
            let new = here.iter().find(|m| m.at.offset == column);
            let shown = match new {
                // The first column repeats what is in force, so that the bar can be read alone.
                None if i == 0 => score.chord_at(start + column),
                other => other,
            };
            GridCell::plain(shown.map_or(Cow::Borrowed("-"), |m| symbol(&m.value).into()))
        })
        .collect();
    Some(GridRow {
        label: "chord".to_owned(),
        part: None,
        cells,
    })
}

/// A chord symbol at concert pitch; one that could not be read as it stands in its part.
fn symbol(mark: &ChordMark) -> String {
    match &mark.chord {
        Some(chord) => drawn(&chord.text),
        None if mark.unread.is_some() => drawn(&mark.written),
        None => "N.C.".to_owned(),
    }
}

/// `1 & 2 e & a`; a part of a beat whose beat is not the column before it says the beat too
/// (`2&`); anything finer is exact (`2+1/3`).
fn counts(score: &Score, bar: u32, columns: &[Ticks]) -> Vec<GridCell> {
    let mut previous: Option<i64> = None;
    columns
        .iter()
        .map(|&offset| {
            let Beat(beat) = score.beat_at(Place { bar, offset });
            let whole = beat.floor().to_integer();
            let rest = beat - beat.floor();
            let known = previous == Some(whole);
            previous = Some(whole);
            let part = match (*rest.numer(), *rest.denom()) {
                (0, _) => return GridCell::plain(whole.to_string()),
                (1, 2) => "&",
                (1, 4) => "e",
                (3, 4) => "a",
                (n, d) => return GridCell::plain(format!("{whole}+{n}/{d}")),
            };
            if known {
                GridCell::plain(part)
            } else {
                GridCell::plain(format!("{whole}{part}"))
            }
        })
        .collect()
}

/// What a part has in a column.
fn cell(
    score: &Score,
    part: u32,
    notes: &[(u32, &Note)],
    column: Ticks,
    detail: Detail,
) -> GridCell {
    let starts = |n: &Note| n.at.offset == column;
    let sounds = |n: &Note| n.at.offset < column && column < n.at.offset + n.duration;
    let here = notes.iter().filter(|(_, n)| starts(n) || sounds(n));
    if here.clone().next().is_none() {
        return GridCell::plain(".");
    }
    let held = |n: &Note| sounds(n) || (n.flags.has(NoteFlags::TIED_IN) && column > Ticks::ZERO);
    if here.clone().all(|(_, n)| held(n)) {
        return GridCell {
            text: "-".into(),
            notes: here.map(|(i, _)| (*i, 0..1)).collect(),
        };
    }
    let mut text = String::new();
    let mut places = SmallVec::new();
    let more = here.clone().count().saturating_sub(detail.notes);
    for (index, note) in here.clone().take(detail.notes) {
        if !text.is_empty() {
            text.push('+');
        }
        let start = text.len();
        if note.flags.has(NoteFlags::TIED_IN) || sounds(note) {
            text.push('-');
        }
        if note.flags.has(NoteFlags::SLASH) {
            text.push('/');
        } else {
            let name = score.spoken_name(part, note.pitch());
            let _ = write!(text, "{}", name.first);
            if let Some((_, other)) = name.other.filter(|_| detail.both) {
                let _ = write!(text, " ({other})");
            }
        }
        places.push((*index, start..text.len()));
    }
    if more > 0 {
        let start = text.len();
        let _ = write!(text, "+... {more} more");
        let rest = here.skip(detail.notes);
        places.extend(rest.map(|(index, _)| (*index, start + 1..text.len())));
    }
    GridCell {
        text: text.into(),
        notes: places,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::pitch::Transposition;
    use crate::report::sample;

    #[test]
    fn a_bar_is_drawn_as_grid_rows() {
        let view = GridView::of(&sample::score(), &[0, 1, 2, 3], 1);
        insta::assert_snapshot!(view.text, @r"
        bar 5
        chord   | F6        -        -         C7 |
        count   | 1         2        &         3  |
        Alto 1  | F#5 (A4)  A5 (C5)  F#5 (A4)  .  |
        Alto 2  | D5 (F4)   D5 (F4)  D5 (F4)   .  |
        Tenor 1 | E5 (D4)   E5 (D4)  E5 (D4)   .  |
        Tenor 2 | D5 (C4)   D5 (C4)  D5 (C4)   .  |
        ");
    }

    #[test]
    fn cells_know_their_bytes() {
        let view = GridView::of(&sample::score(), &[0, 1], 1);
        let bytes = |r: Option<Range<usize>>| view.text.get(r.unwrap()).unwrap().to_owned();
        assert_eq!(bytes(view.cell(1, Ticks(3))), "D5 (F4)");
        assert_eq!(bytes(view.cell(0, Ticks(2))), "A5 (C5)");
        assert_eq!(bytes(view.label(1)), "Alto 2");
        assert_eq!(bytes(view.count(Ticks(3))), "&");
        let note = NoteRef { part: 0, note: 2 };
        assert_eq!(bytes(view.note(note, Ticks(2))), "A5 (C5)");
        assert_eq!(view.cell(2, Ticks(3)), None);
        assert_eq!(view.note(NoteRef { part: 0, note: 99 }, Ticks(0)), None);
    }

    #[test]
    fn held_notes_triplets_and_chords_in_one_part() {
        let none = Transposition::NONE;
        let mut score = sample::score();
        score.chords.clear();
        score.per_quarter = Ticks(6);
        score.parts = vec![
            sample::part("Trumpet 1", none, &[(0, 0, 24, "E5")]),
            sample::part(
                "Pianino für zwei Hände 🎹",
                none,
                &[(0, 3, 5, "C4"), (0, 3, 5, "Bb4"), (0, 8, 4, "D4")],
            ),
        ];
        score.parts[0].notes[0].flags = NoteFlags::TIED_IN;
        let view = GridView::of(&score, &[0, 1, 7], 0);
        insta::assert_snapshot!(view.text, @r"
        bar 4
        count                    | 1    &       2+1/3 |
        Trumpet 1                | -E5  -       -     |
        Pianino für zw..Hände 🎹 | .    C4+Bb4  D4    |
        ");
        let note = NoteRef { part: 1, note: 1 };
        assert_eq!(&view.text[view.note(note, Ticks(3)).unwrap()], "Bb4");
        let held = NoteRef { part: 0, note: 0 };
        assert_eq!(&view.text[view.note(held, Ticks(8)).unwrap()], "-");
        assert_eq!(&view.text[view.note(held, Ticks(0)).unwrap()], "-E5");
    }

    #[test]
    fn a_bar_too_wide_is_broken_between_beats() {
        let view = GridView::around(&sample::score(), &[0, 1], 1, Ticks::ZERO, 30);
        insta::assert_snapshot!(view.text, @r"
        bar 5
        chord  | F6       |
        count  | 1        |
        Alto 1 | F#5 (A4) |
        Alto 2 | D5 (F4)  |

        chord  | -        -        |
        count  | 2        &        |
        Alto 1 | A5 (C5)  F#5 (A4) |
        Alto 2 | D5 (F4)  D5 (F4)  |

        chord  | C7 |
        count  | 3  |
        Alto 1 | .  |
        Alto 2 | .  |
        ");
        let note = NoteRef { part: 0, note: 3 };
        assert_eq!(&view.text[view.note(note, Ticks(3)).unwrap()], "F#5 (A4)");
    }

    #[test]
    fn a_crowded_bar_is_drawn_around_the_place() {
        let mut score = sample::score();
        let notes: Vec<_> = (0..400).map(|i| (0, i, 1, "C5")).collect();
        score.parts = vec![sample::part("Violin", Transposition::NONE, &notes)];
        score.per_quarter = Ticks(100);
        score.parts[0].bars[0].filled = Ticks(400);
        score.lay_out();
        let view = GridView::around(&score, &[0], 0, Ticks(200), 60);
        assert!(view.text.lines().all(|l| l.width() <= 60), "{}", view.text);
        assert_eq!(&view.text[view.count(Ticks(200)).unwrap()], "3");
        assert_eq!(view.text.matches("...").count(), 2);
    }

    #[test]
    fn a_thick_chord_says_less_where_there_is_no_room() {
        let mut score = sample::score();
        score.chords.clear();
        let notes: Vec<_> = ["C4", "E4", "G4", "Bb4", "D5", "F5", "A5", "C6", "E6"]
            .into_iter()
            .map(|p| (0, 0, 4, p))
            .collect();
        score.parts = vec![sample::part("Piano", Transposition::NONE, &notes)];
        let view = GridView::around(&score, &[0], 0, Ticks::ZERO, 30);
        assert!(view.text.lines().all(|l| l.width() <= 30), "{}", view.text);
        assert!(view.text.contains("+... 6 more"), "{}", view.text);
    }

    #[test]
    fn a_bar_that_is_not_there_is_drawn_empty() {
        let view = GridView::of(&sample::score(), &[0], 99);
        assert_eq!(view.text.lines().next(), Some("bar 100"));
        let none = GridView::of(&Score::default(), &[], 0);
        assert_eq!(none.text.lines().count(), 2);
    }
}
