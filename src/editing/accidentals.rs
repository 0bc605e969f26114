//! Which notes of a bar need a printed accidental.
//!
//! The standard rule: an accidental holds for its line or space, in its octave, on its staff, to the
//! bar line; what differs from what is in force needs one; a note tied in from before needs none and
//! puts nothing in force.

use crate::ground::pitch::Pitch;
use crate::ground::time::Ticks;
use rustc_hash::{FxHashMap, FxHashSet};

/// A note of a bar on one staff, as the rule sees it.
#[derive(Clone, Copy, Debug)]
pub(super) struct BarNote {
    /// When it sounds.
    pub onset: Ticks,
    /// As the player reads it.
    pub written: Pitch,
    /// A grace note comes before what stands at the same time.
    pub grace: bool,
    /// Tied in from the same pitch before.
    pub held: bool,
    /// The key signature in force.
    pub fifths: i8,
}

/// Whether each note, in the order they are read, needs an accidental. All are on one line or
/// space of one staff in one bar.
pub(super) fn needed(line: &[BarNote]) -> Vec<bool> {
    let mut out: Vec<bool> = Vec::with_capacity(line.len());
    let mut force: Option<(i8, i8)> = None;
    let mixed = several_alterations(line);
    for note in line {
        // Under a new key signature the accidentals of the old one are forgotten.
        let before = match force {
            Some((fifths, alter)) if fifths == note.fifths => alter,
            _ => note.written.step.altered_by_key(note.fifths),
        };
        if note.held {
            out.push(false);
            continue;
        }
        // Two alterations on one line at once: each has to be said.
        let clash = !note.grace && mixed.contains(&note.onset);
        out.push(clash || note.written.alter != before);
        force = Some((note.fifths, note.written.alter));
    }
    out
}

/// The times at which several alterations are struck on the line at once.
fn several_alterations(line: &[BarNote]) -> FxHashSet<Ticks> {
    let mut first: FxHashMap<Ticks, i8> = FxHashMap::default();
    line.iter()
        .filter(|n| !n.grace && !n.held)
        .filter(|n| *first.entry(n.onset).or_insert(n.written.alter) != n.written.alter)
        .map(|n| n.onset)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(text: &str, onset: i64, fifths: i8) -> BarNote {
        BarNote {
            onset: Ticks(onset),
            written: text.parse().unwrap(),
            grace: false,
            held: false,
            fifths,
        }
    }

    #[test]
    fn an_accidental_holds_to_the_bar_line() {
        let line = |texts: &[&str], fifths| {
            let notes: Vec<BarNote> = (0..).zip(texts).map(|(i, t)| seen(t, i, fifths)).collect();
            needed(&notes)
        };
        assert_eq!(
            line(&["F4", "F#4", "F#4", "F4"], 0),
            [false, true, false, true]
        );
        assert_eq!(
            line(&["F#4", "F4", "F4", "F#4"], 1),
            [false, true, false, true]
        );
        assert_eq!(line(&["Bbb3", "Bb3"], -2), [true, true]);
    }

    #[test]
    fn ties_clashes_and_new_keys() {
        let mut tied = seen("F#4", 0, 0);
        tied.held = true;
        assert_eq!(needed(&[tied, seen("F#4", 1, 0)]), [false, true]);
        assert_eq!(needed(&[tied, seen("F4", 1, 0)]), [false, false]);
        assert_eq!(needed(&[seen("F4", 0, 0), seen("F#4", 0, 0)]), [true, true]);
        assert_eq!(
            needed(&[seen("F#4", 0, 0), seen("F#4", 0, 0)]),
            [true, false]
        );
        let mut grace = seen("F#4", 0, 0);
        grace.grace = true;
        assert_eq!(needed(&[grace, seen("F4", 0, 0)]), [true, true]);
        assert_eq!(
            needed(&[seen("F#4", 0, 0), seen("F#4", 1, 1)]),
            [true, false]
        );
    }
}
