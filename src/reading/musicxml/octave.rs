//! An octave that a clef and a `<transpose>` both name.
//!
//! `<pitch>` is what the page shows, and a clef with an octave in it shows sounding pitch. Some programs
//! write a `<transpose>` of the same octave beside such a clef, for the same thing.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "octaves and lines of a clef, pitches in semitones"
)]

use crate::ground::pitch::Transposition;
use crate::score::{Clef, Part};

/// Counts the octave once where the notes stand about the staff of the clef as it is, with its octave.
/// Where they stand about the plain clef's staff, the clef is a label only, and the octave is to be added.
pub(super) fn count_once(part: &mut Part) {
    let stated = match part.transpositions.as_slice() {
        [one] => one.value.chromatic,
        _ => return,
    };
    let of_clefs = part
        .clefs
        .iter()
        .all(|c| i16::from(c.value.octave) * 12 == stated);
    let Some(clef) = part.clefs.first().map(|c| c.value) else {
        return;
    };
    if stated == 0 || !of_clefs || part.staves > 1 {
        return;
    }
    let mut heights: Vec<i16> = part.notes.iter().map(|n| n.written.midi()).collect();
    heights.sort_unstable();
    let Some((&median, plain)) = heights.get(heights.len() / 2).zip(middle(clef)) else {
        return;
    };
    if median.abs_diff(plain + stated) >= median.abs_diff(plain) {
        return;
    }
    for note in &mut part.notes {
        note.sounding = note.written;
    }
    if let Some(mark) = part.transpositions.first_mut() {
        mark.value = Transposition::NONE;
    }
    part.octave_counted_once = true;
}

/// What stands on the middle line, in semitones (middle C is 60), the clef's octave left out.
fn middle(clef: Clef) -> Option<i16> {
    let (own, line) = match clef.sign {
        'G' => (67, 2),
        'F' => (53, 4),
        'C' => (60, 3),
        _ => return None,
    };
    let moved = i16::from(clef.line).clamp(1, 5) - line;
    // Two letters a line, which are three or four semitones.
    let to_middle = (3 - line - moved) * 7 / 2;
    Some(own + to_middle)
}
