//! How findings speak of a stretch of a part.

use crate::ground::time::Ticks;
use crate::rules::shared::wording;
use crate::score::{Change, Displacement, Score, Stretch, StretchFault};

/// "in bars 5-8".
pub fn bars(score: &Score, stretch: &Stretch) -> String {
    let notes = score.parts.get(stretch.part as usize).map(|p| &p.notes);
    let bar = |note: u32| {
        let note = notes.and_then(|n| n.get(note as usize));
        score.bar_number(note.map_or(0, |n| n.at.bar))
    };
    let (from, to) = (bar(stretch.from), bar(stretch.to.saturating_sub(1)));
    if from == to {
        format!("in bar {from}")
    } else {
        format!("in bars {from}-{to}")
    }
}

/// "tenor 1: write it an octave higher in bars 5-8".
pub fn moved_back(score: &Score, stretch: &Stretch) -> Option<String> {
    let who = wording::part(score, stretch.part);
    let bars = bars(score, stretch);
    match stretch.fault {
        StretchFault::Displaced { by, .. } => Some(format!("{who}: write it {} {bars}", back(by))),
        StretchFault::Late(late) => {
            let side = if late < Ticks::ZERO {
                "later"
            } else {
                "earlier"
            };
            let much = time(score, stretch, late);
            Some(format!("{who}: write it {much} {side} {bars}"))
        }
        StretchFault::Copied(_) | StretchFault::BarMissing(_) => None,
    }
}

/// "a beat": how late or early a stretch comes.
pub fn time(score: &Score, stretch: &Stretch, late: Ticks) -> &'static str {
    let notes = score.parts.get(stretch.part as usize).map(|p| &p.notes);
    let first = notes.and_then(|n| n.get(stretch.from as usize));
    let beat = score
        .felt_beat_at(first.map(|n| n.onset).unwrap_or_default())
        .0;
    match late.0.abs() {
        n if n * 2 == beat => "half a beat",
        n if n == beat => "a beat",
        n if n == 2 * beat => "two beats",
        _ => "a bar",
    }
}

/// The same for changes that move a whole stretch to where it is read.
pub fn in_words(score: &Score, changes: &[Change]) -> Option<String> {
    let first = changes.first()?.note;
    let stretch = score
        .stretches
        .iter()
        .find(|s| s.part == first.part && s.from == first.note)?;
    let whole = changes.iter().all(|c| {
        c.note.part == stretch.part
            && (stretch.from..stretch.to).contains(&c.note.note)
            && score.is_displaced(c.note)
    });
    whole.then(|| moved_back(score, stretch)).flatten()
}

/// "an octave low".
pub fn away(by: Displacement) -> String {
    let (name, high) = interval(by);
    format!("{name} {}", if high { "high" } else { "low" })
}

/// "an octave higher".
fn back(by: Displacement) -> String {
    let (name, high) = interval(by);
    format!("{name} {}", if high { "lower" } else { "higher" })
}

/// The name of an interval, and whether it goes up.
fn interval(by: Displacement) -> (&'static str, bool) {
    match by {
        Displacement::Steps(n) => ("a step", n > 0),
        Displacement::Semitones(n) => {
            let name = match n.abs() {
                1 => "a half step",
                2 => "a whole step",
                3 => "a minor third",
                4 => "a major third",
                5 => "a fourth",
                6 => "a tritone",
                7 => "a fifth",
                8 => "a minor sixth",
                9 => "a major sixth",
                10 => "a minor seventh",
                11 => "a major seventh",
                12 => "an octave",
                13 => "a minor ninth",
                _ => "a major ninth",
            };
            (name, n > 0)
        }
    }
}
