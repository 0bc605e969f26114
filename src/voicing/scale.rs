//! The eight notes that a line over a chord moves in: the chord's four by turns with those of the diminished
//! seventh a half step below its root.
//!
//! Published: web lesson on the bebop major scale in chords, guitar journal on the minor sixth scale; which
//! qualities share a scale was computed from the definition; the name with a flat five is from memory.

use super::harmonise::passing_diminished;
use crate::ground::chord::{Chord, Degree, Family};
use crate::ground::pitch::{NoteName, PitchClass};

/// A scale of eight notes that alternates a chord with its passing diminished seventh.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scale {
    /// Its root: that of the sixth chord, for a minor seventh its third.
    pub root: NoteName,
    /// Its eight notes from the root; those of the chord are the first, third, fifth and seventh.
    pub names: [NoteName; 8],
    /// What it is called without its root: `sixth-diminished`.
    pub kind: &'static str,
    /// The chord: `F6`.
    pub chord: String,
    /// The diminished seventh: `Edim7`.
    pub passing: String,
}

/// How the chord of a scale stands over its root: the degrees beside the diminished ones, its suffix, its
/// name.
type Pattern = ([(u8, i8); 4], &'static str, &'static str);

const SIXTH: Pattern = ([(1, 0), (3, 0), (5, 0), (6, 0)], "6", "sixth-diminished");
const MINOR_SIXTH: Pattern = (
    [(1, 0), (3, -1), (5, 0), (6, 0)],
    "m6",
    "minor sixth-diminished",
);
const SEVENTH: Pattern = ([(1, 0), (3, 0), (5, 0), (7, -1)], "7", "seventh-diminished");
const FLAT_FIVE: Pattern = (
    [(1, 0), (3, 0), (5, -1), (7, -1)],
    "7b5",
    "seventh-flat-five-diminished",
);
const DIMINISHED: Pattern = (
    [(1, 0), (3, -1), (5, -1), (7, -2)],
    "dim7",
    "whole-half diminished",
);

impl Scale {
    /// The scale of a chord; `None` where its symbol alters what the scale has, or it has no third.
    pub fn of(chord: &Chord) -> Option<Self> {
        let altered = |number, alter| chord.has(number, alter);
        let third = || Degree::new(3, -1).over(chord.root);
        let (root, pattern) = match chord.family() {
            Family::MajorTriad | Family::Sixth | Family::MajorSeventh
                if !altered(11, 1) && !altered(5, 1) && !altered(5, -1) =>
            {
                (chord.root, SIXTH)
            }
            Family::MinorTriad | Family::MinorSixth | Family::MinorMajor if !altered(5, 1) => {
                (chord.root, MINOR_SIXTH)
            }
            Family::MinorSeventh if !altered(5, 1) => (third(), SIXTH),
            Family::HalfDiminished => (third(), MINOR_SIXTH),
            Family::Dominant => {
                let changed = [(9, -1), (9, 1), (11, 1), (13, -1), (5, 1)];
                if changed.into_iter().any(|(n, a)| altered(n, a)) {
                    return None;
                }
                let pattern = if altered(5, -1) { FLAT_FIVE } else { SEVENTH };
                (chord.root, pattern)
            }
            Family::DiminishedTriad | Family::DiminishedSeventh => (chord.root, DIMINISHED),
            _ => return None,
        };
        let (degrees, suffix, kind) = pattern;
        let [a, b, c, d] = degrees.map(|(n, alter)| Degree::new(n, alter).over(root));
        let passing = passing_diminished(root);
        let [seventh, second, fourth, sixth] = passing.names;
        Some(Self {
            root,
            names: [a, second, b, fourth, c, sixth, d, seventh],
            kind,
            chord: format!("{root}{suffix}"),
            passing: passing.label.to_string(),
        })
    }

    /// "F sixth-diminished".
    pub fn name(&self) -> String {
        format!("{} {}", self.root, self.kind)
    }

    /// Whether a pitch class is one of its eight.
    pub fn holds(&self, class: PitchClass) -> bool {
        self.names.iter().any(|n| n.class() == class)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::chord::parse;

    fn scale(symbol: &str) -> Option<(String, String)> {
        let scale = Scale::of(&parse(symbol).unwrap().unwrap())?;
        let names: Vec<String> = scale.names.iter().map(ToString::to_string).collect();
        Some((scale.name(), names.join(" ")))
    }

    #[test]
    fn each_quality_has_its_scale() {
        // Published: web lesson on the bebop major scale in chords (C6 with Bdim7), guitar journal on the
        // minor sixth scale; the rest computed from the definition.
        let same = |symbol: &str, name: &str, notes: &str| {
            assert_eq!(
                scale(symbol),
                Some((name.to_owned(), notes.to_owned())),
                "{symbol}"
            );
        };
        same("C6", "C sixth-diminished", "C D E F G Ab A B");
        same("Cmaj7", "C sixth-diminished", "C D E F G Ab A B");
        same("Cm6", "C minor sixth-diminished", "C D Eb F G Ab A B");
        same("G7", "G seventh-diminished", "G A B C D Eb F F#");
        same("Am7", "C sixth-diminished", "C D E F G Ab A B");
        same("Am7b5", "C minor sixth-diminished", "C D Eb F G Ab A B");
        same("Gm7", "Bb sixth-diminished", "Bb C D Eb F Gb G A");
        same("Cdim7", "C whole-half diminished", "C D Eb F Gb Ab Bbb B");
        for altered in ["G7b9", "G7alt", "Cmaj7#11", "G7sus4", "C5", "C+"] {
            assert_eq!(scale(altered), None, "{altered}");
        }
    }

    #[test]
    fn its_chord_and_its_diminished_seventh_make_up_all_eight() {
        for symbol in [
            "F6", "Bbmaj7", "Ebm6", "A7", "Dm7", "F#m7b5", "Ab7b5", "Bdim7",
        ] {
            let chord = parse(symbol).unwrap().unwrap();
            let scale = Scale::of(&chord).unwrap();
            let mut classes: Vec<PitchClass> = scale.names.iter().map(|n| n.class()).collect();
            classes.sort_unstable();
            classes.dedup();
            assert_eq!(classes.len(), 8, "{symbol}");
            assert!(
                chord.classes().all(|c| scale.holds(c) || chord.has(7, 0)),
                "{symbol}"
            );
        }
    }
}
