//! Note values: quarter, dotted half, 16th.

use super::quarters::Quarters;
use num_rational::Ratio;

/// The names of note values, as MusicXML 4.0 writes them (note-type-value). The first twelve go from
/// the breve down; the one at `i` lasts `8 / 2^i` quarters.
const NAMES: [&str; 14] = [
    "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th",
    "512th", "1024th", "long", "maxima",
];

/// How many names go from the breve down.
const FROM_BREVE: usize = 12;

/// The places of long and maxima in [`NAMES`], with their lengths in quarters.
const LONGER: [(usize, i64); 2] = [(12, 16), (13, 32)];

/// The place of the quarter in [`NAMES`].
pub(super) const QUARTER: usize = 3;

/// A note value with its dots.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct NoteValue {
    /// 0 for a breve, 1 for a whole, 2 for a half and so on; 12 for a long, 13 for a maxima.
    pub index: usize,
    pub dots: u8,
}

impl NoteValue {
    /// The single value that lasts `length`, when there is one.
    pub(crate) fn of(length: Quarters) -> Option<Self> {
        let mut best = None;
        let long = LONGER.map(|(i, n)| (i, Ratio::from_integer(n)));
        for (index, whole) in plain().enumerate().chain(long) {
            for dots in 0..=2u8 {
                let part = 1i64 << dots;
                if whole * Ratio::new(2 * part - 1, part) == length {
                    best = Some(Self { index, dots });
                }
            }
        }
        best
    }

    /// The value with a name of MusicXML.
    pub(crate) fn named(name: &str, dots: u8) -> Option<Self> {
        let index = NAMES.iter().position(|n| *n == name)?;
        Some(Self { index, dots })
    }

    /// Its name in MusicXML, dots left out.
    pub(crate) fn name(self) -> &'static str {
        NAMES.get(self.index).copied().unwrap_or("quarter")
    }

    /// How many beams or flags it has.
    pub(crate) const fn beams(self) -> usize {
        if self.index > QUARTER && self.index < FROM_BREVE {
            self.index - QUARTER
        } else {
            0
        }
    }

    /// Breves, wholes and longer values have no stem.
    pub(super) const fn has_stem(self) -> bool {
        self.index >= 2 && self.index < FROM_BREVE
    }
}

/// The lengths of the values without dots, from the breve down.
fn plain() -> impl Iterator<Item = Quarters> {
    (0..FROM_BREVE).map(|i| Ratio::new(8, 1i64 << i))
}

/// The largest value without dots that is shorter than a length.
pub(super) fn largest_below(length: Quarters) -> Option<Quarters> {
    plain().find(|v| *v < length)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_is_one_value_or_none() {
        let value = |n, d| NoteValue::of(Ratio::new(n, d)).map(|v| (v.name(), v.dots));
        assert_eq!(value(1, 1), Some(("quarter", 0)));
        assert_eq!(value(3, 2), Some(("quarter", 1)));
        assert_eq!(value(7, 4), Some(("quarter", 2)));
        assert_eq!(value(3, 8), Some(("16th", 1)));
        assert_eq!(value(16, 1), Some(("long", 0)));
        assert_eq!(value(5, 2), None);
        assert_eq!(value(1, 3), None);
    }

    #[test]
    fn the_largest_value_below_a_length() {
        assert_eq!(largest_below(Ratio::new(5, 2)), Some(Ratio::new(2, 1)));
        assert_eq!(largest_below(Ratio::new(1, 1)), Some(Ratio::new(1, 2)));
        assert_eq!(largest_below(Ratio::new(1, 4096)), None);
    }
}
