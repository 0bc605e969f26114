//! What the texts of elements stand for: numbers, steps, note types.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "decimals have at most 12 digits before the point and 6 after it; a note has at most four dots"
)]

use crate::ground::pitch::Step;
use num_rational::Ratio;
use std::ops::RangeInclusive;

/// Semitones that a note can be altered by.
const ALTERS: RangeInclusive<i64> = -3..=3;

/// Octaves that are read.
const OCTAVES: RangeInclusive<i8> = -1..=10;

/// The step that a text of one letter names.
pub(super) fn step(text: &str) -> Option<Step> {
    let mut chars = text.trim().chars();
    let step = Step::from_char(chars.next()?)?;
    chars.next().is_none().then_some(step)
}

/// Semitones of an alteration, where a note can be altered by so many.
#[inline]
pub(super) fn alteration(semitones: i64) -> Option<i8> {
    ALTERS.contains(&semitones).then_some(semitones as i8)
}

/// An octave, where it is one that is read: 4 is that of middle C.
#[inline]
pub(super) fn octave(number: i8) -> Option<i8> {
    OCTAVES.contains(&number).then_some(number)
}

/// A number as XML Schema writes decimals: sign, digits, point. At most a million million, and
/// six digits after the point (further ones are left out).
pub(super) fn decimal(text: &str) -> Option<Ratio<i64>> {
    let text = text.trim();
    let (sign, digits) = match text.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    if whole.is_empty() && fraction.is_empty() {
        return None;
    }
    if !whole
        .bytes()
        .chain(fraction.bytes())
        .all(|b| b.is_ascii_digit())
    {
        return None;
    }
    let fraction = fraction.trim_end_matches('0');
    let fraction = fraction.get(..6).unwrap_or(fraction);
    let mut numerator = 0i64;
    for digit in whole.bytes() {
        numerator = numerator * 10 + i64::from(digit - b'0');
        if numerator > 1_000_000_000_000 {
            return None;
        }
    }
    let mut denominator = 1i64;
    for digit in fraction.bytes() {
        numerator = numerator * 10 + i64::from(digit - b'0');
        denominator *= 10;
    }
    Some(Ratio::new(sign * numerator, denominator))
}

/// The length of a note type in quarter notes.
pub(super) fn note_type(name: &str) -> Option<Ratio<i64>> {
    Some(match name {
        "maxima" => Ratio::from_integer(32),
        "long" => Ratio::from_integer(16),
        "breve" => Ratio::from_integer(8),
        "whole" => Ratio::from_integer(4),
        "half" => Ratio::from_integer(2),
        "quarter" => Ratio::from_integer(1),
        "eighth" => Ratio::new(1, 2),
        "16th" => Ratio::new(1, 4),
        "32nd" => Ratio::new(1, 8),
        "64th" => Ratio::new(1, 16),
        "128th" => Ratio::new(1, 32),
        "256th" => Ratio::new(1, 64),
        "512th" => Ratio::new(1, 128),
        "1024th" => Ratio::new(1, 256),
        _ => return None,
    })
}

/// A length with augmentation dots; more than four are read as four.
pub(super) fn dotted(length: Ratio<i64>, dots: u32) -> Ratio<i64> {
    let half = 1i64 << dots.min(4);
    length * Ratio::new(2 * half - 1, half)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals() {
        assert_eq!(decimal("12"), Some(Ratio::from_integer(12)));
        assert_eq!(decimal(" -0.50 "), Some(Ratio::new(-1, 2)));
        assert_eq!(decimal("2.0"), Some(Ratio::from_integer(2)));
        assert_eq!(decimal(".25"), Some(Ratio::new(1, 4)));
        for text in ["", ".", "x", "1e3", "--1", "1.2.3", "99999999999999999999"] {
            assert_eq!(decimal(text), None, "{text}");
        }
    }

    #[test]
    fn dots_lengthen() {
        assert_eq!(dotted(Ratio::from_integer(1), 0), Ratio::from_integer(1));
        assert_eq!(dotted(Ratio::from_integer(1), 1), Ratio::new(3, 2));
        assert_eq!(dotted(Ratio::from_integer(2), 2), Ratio::new(7, 2));
    }
}
