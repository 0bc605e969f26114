//! The passage grid: a voiced passage as it stands on the page, typed as text. Columns are
//! sonorities, read down.
//!
//! ```text
//! title:      Pump Room, sax soli
//! key:        F major
//! meter:      4/4
//! pitch:      sounding              ; or written
//! section:    saxes
//! technique:  drop 2
//! parts:      alto 1 = alto saxophone
//!             alto 2 = alto saxophone
//!
//! chord    | F6   -    -    | C7   -    .   |
//! count    | 1    2    &    | 1    3    4   |
//! alto 1   | A4   Bb4> C5.  | E5   -    .   |
//! alto 2   | F4   ...
//! ```
//!
//! # Grammar
//!
//! ```text
//! file     = { header | system | blank line }
//! header   = name ":" value                 name: title key meter pitch section technique
//!                                                 parts bar
//! parts    = "parts:" part { newline part } part: label "=" instrument
//! system   = row { row }                    ends at a blank line or a header
//! row      = label "|" cells "|" cells ...  label: chord, count, choice, or a part's name
//! cells    = one cell for each count of the bar, spaces between
//! count    = number | number "+" n "/" d | "&" | "e" | "a" | number followed by "&", "e" or "a"
//! chord    = symbol | "-" (as before) | "." or "N.C." (no chord)
//! choice   = 1 to 9 (which voicing of the note, for `voice`) | "=" (the one before it) | "-" (none)
//! note     = one { "+" one } | "-" (held) | "." (rest)
//! one      = pitch | "-" pitch (held)
//! pitch    = letter { "b" | "#" } octave { ">" | "." | "_" | "^" }
//! ```
//!
//! * `;` starts a comment. Letters of names and labels may be in either case.
//! * A count is a beat of the meter's lower figure, as players count; `e & a` divide the beat before
//!   them in four. Each column lasts until the next count, the last one until the bar line. In the
//!   first bar a first count after 1 makes a pickup (bar 0); in later bars it means silence before.
//! * `-` over a bar line is a tie. After a rest it goes on resting.
//! * `>` is an accent, `.` staccato, `_` tenuto, `^` marcato. Pitches joined by `+` are played by one
//!   part at once (two hands at a piano), from the top. `-` before one of them holds it from the cell
//!   before while the others are struck.
//! * Header lines may return between systems to change key, meter, section or technique; `bar: 17`
//!   gives the next bar its number. `||` is a double bar.
//! * `pitch: written` means the cells hold what the players read. Chord symbols are always at
//!   concert pitch, and `key` is the concert key.
//! * A part without a row in a system rests through it. Alignment is for people and never required;
//!   a bar with too few or too many cells is an error that points at it.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

mod build;
mod cells;
mod lines;
mod notes;
mod parts;
mod plan;

use crate::file_text::limits::Limits;
use crate::ground::instrument::{self, Catalogue};
use crate::ground::problem::Problem;
use crate::ground::text::Text;
use crate::reading::{texts, waiver};
use crate::score::{Format, Score};
use std::collections::HashMap;
use std::path::Path;

/// Reads a passage grid; the first thing wrong with it is the error.
pub fn read(path: &Path, text: Text) -> Result<Score, Problem> {
    read_by(path, text, instrument::catalogue(), &Limits::USUAL)
}

/// The same with other instruments than the shipped ones, within these limits.
pub(super) fn read_by(
    path: &Path,
    text: Text,
    instruments: &'static Catalogue,
    limits: &Limits,
) -> Result<Score, Problem> {
    let body = text.strip_prefix('\u{feff}').unwrap_or(&text);
    if body.trim().is_empty() {
        return Err(Problem::whole(path, "the file is empty")
            .help("a passage has header lines, a count row and a row for each part"));
    }
    let outcome = lines::read(&text).and_then(|grid| {
        let score = build::score(&grid, instruments, limits)?;
        Ok((waivers(&text, &grid, &score), score))
    });
    match outcome {
        Ok((mut said, mut score)) => {
            texts::cut(&mut score, &mut said);
            score.sources = vec![crate::score::Source {
                path: path.to_owned(),
                member: None,
                format: Format::Grid,
                lines: std::sync::OnceLock::new(),
                text,
            }];
            score.lay_out();
            waiver::put(&mut score, said);
            Ok(score)
        }
        Err(fault) => Err(fault.in_file(path, &text)),
    }
}

/// The waivers in the comments: each holds for the system it stands in or before, at the end of a
/// part's row for that part alone.
fn waivers(text: &str, grid: &[lines::Block], score: &Score) -> Vec<waiver::WaiverText> {
    let mut bars: Vec<std::ops::Range<u32>> = Vec::new();
    for block in grid {
        if let lines::Block::System(rows) = block {
            let start = bars.last().map_or(0, |b| b.end);
            let length = rows.first().map_or(0, |row| row.bars.len() as u32);
            bars.push(start..start + length);
        }
    }
    // Of parts called alike the first.
    let mut by_key: HashMap<String, u32> = HashMap::new();
    for (index, part) in (0..).zip(&score.parts) {
        by_key.entry(parts::key(&part.name)).or_insert(index);
    }
    lines::waivers(text)
        .into_iter()
        .map(|comment| waiver::WaiverText {
            part: comment
                .row
                .and_then(|label| by_key.get(&parts::key(&label)).copied()),
            bars: bars.get(comment.system).or(bars.last()).cloned(),
            span: crate::ground::text::Span::of(&comment.at),
            text: comment.text,
        })
        .collect()
}

#[cfg(test)]
mod tests;
