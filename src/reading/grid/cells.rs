//! What stands in a cell: counts, notes.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "counts have four digits and fractions of at most 1024; places are those of a text"
)]

use super::lines::{RowBar, TextPiece};
use crate::ground::pitch::Pitch;
use crate::ground::time::Meter;
use crate::reading::fault::{Fault, Parsed};
use crate::score::Articulations;
use num_rational::Ratio;

/// The counts of a bar as time since its first beat, in units of the meter's lower figure.
pub(super) fn counts(bar: &RowBar, meter: Meter, name: &str) -> Parsed<Vec<Ratio<i64>>> {
    let mut out: Vec<Ratio<i64>> = Vec::with_capacity(bar.cells.len());
    let mut beat = 1i64;
    for cell in &bar.cells {
        let count = count(&cell.text, beat).ok_or_else(|| {
            Fault::new(
                cell.at.clone(),
                format!("count row, bar {name}: `{}` is not a count", cell.text),
            )
            .help("count as players do: `1 & 2 &`, `1 e & a`, or exactly: `2+1/3`")
        })?;
        beat = count.floor().to_integer();
        if beat < 1 || beat > i64::from(meter.beats) {
            return Err(Fault::new(
                cell.at.clone(),
                format!(
                    "count row, bar {name}: there is no beat `{}` in {meter}",
                    cell.text
                ),
            )
            .help("counts go from 1 in units of the meter's lower figure"));
        }
        if out.last().is_some_and(|last| *last >= count - 1) {
            return Err(Fault::new(
                cell.at.clone(),
                format!(
                    "count row, bar {name}: `{}` does not come after the count before it",
                    cell.text
                ),
            )
            .help("counts must go up within a bar; is a bar line missing?"));
        }
        out.push(count - 1);
    }
    Ok(out)
}

fn count(text: &str, beat: i64) -> Option<Ratio<i64>> {
    let part = |c: char| match c {
        'e' | 'E' => Some(Ratio::new(1, 4)),
        '&' => Some(Ratio::new(1, 2)),
        'a' | 'A' => Some(Ratio::new(3, 4)),
        _ => None,
    };
    if let Some((whole, fraction)) = text.split_once('+') {
        let (n, d) = fraction.split_once('/')?;
        let (whole, n, d) = (number(whole)?, number(n)?, number(d)?);
        return (d > 0 && n < d && d <= 1024)
            .then(|| Ratio::from_integer(whole) + Ratio::new(n, d));
    }
    let last = text.chars().next_back()?;
    if let Some(extra) = part(last) {
        let whole = text.strip_suffix(last)?;
        let whole = if whole.is_empty() {
            beat
        } else {
            number(whole)?
        };
        return Some(Ratio::from_integer(whole) + extra);
    }
    number(text).map(Ratio::from_integer)
}

fn number(text: &str) -> Option<i64> {
    (text.len() <= 4 && text.bytes().all(|b| b.is_ascii_digit()))
        .then(|| text.parse().ok())
        .flatten()
}

/// A pitch in a cell.
#[derive(Clone, Debug)]
pub(super) struct CellNote {
    pub(super) pitch: Pitch,
    /// It goes on from the cell before.
    pub(super) held: bool,
    pub(super) marks: Articulations,
    pub(super) at: std::ops::Range<usize>,
}

/// A cell of a part's row.
#[derive(Clone, Debug)]
pub(super) enum Cell {
    Held,
    Rest,
    Notes(Vec<CellNote>),
}

pub(super) fn cell(piece: &TextPiece, label: &str, bar: &str) -> Parsed<Cell> {
    match piece.text.as_str() {
        "-" => return Ok(Cell::Held),
        "." => return Ok(Cell::Rest),
        _ => {}
    }
    let mut notes = Vec::new();
    let mut start = piece.at.start;
    for text in piece.text.split('+') {
        let at = start..start + text.len();
        start = at.end + 1;
        notes.push(note(text, at.clone()).ok_or_else(|| {
            Fault::new(
                if at.is_empty() { piece.at.clone() } else { at },
                format!("{label}, bar {bar}: `{text}` is not a pitch"),
            )
            .help("write letter, accidentals and octave (Bb4), then marks if any (`>` `.` `_` `^`); `-` holds (one note of several: `-Bb4+F4`), a lone `.` rests")
        })?);
    }
    Ok(Cell::Notes(notes))
}

fn note(text: &str, at: std::ops::Range<usize>) -> Option<CellNote> {
    let struck = text.strip_prefix('-').unwrap_or(text);
    let bare = struck.trim_end_matches(['>', '.', '_', '^']);
    let mut marks = Articulations::default();
    for c in struck.get(bare.len()..)?.chars() {
        marks = marks.with(match c {
            '>' => Articulations::ACCENT,
            '.' => Articulations::STACCATO,
            '_' => Articulations::TENUTO,
            _ => Articulations::MARCATO,
        });
    }
    Some(CellNote {
        pitch: bare.parse().ok()?,
        held: struck.len() < text.len(),
        marks,
        at: at.end - struck.len()..at.end,
    })
}
