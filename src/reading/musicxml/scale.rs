//! From the file's divisions to the score's ticks, exactly.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "ticks have at most 10 digits, decimals at most 18, and products are formed in 128 bits"
)]

use super::values::decimal;
use crate::ground::time::Ticks;
use crate::reading::fault::{Fault, Parsed};
use memchr::memmem;
use num_rational::Ratio;
use std::ops::Range;

/// The finest time line that is read: this many ticks to a quarter note. Scores need some
/// thousands; far below what would overflow.
pub const MAX_PER_QUARTER: i64 = 1_000_000_000;

/// The longest note or bar that is read, in quarter notes.
pub const MAX_QUARTERS: i64 = 10_000;

/// Ticks of the score that is being read.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    /// Ticks in a quarter note.
    pub per_quarter: i64,
    /// By how much the ticks would have to be finer for a duration met since: 1 when they fit.
    finer: i64,
    /// Where that duration stands.
    finer_at: usize,
}

impl Scale {
    /// The least common multiple of all divisions in the text, found without reading the rest.
    pub(super) fn of(text: &str) -> Parsed<Self> {
        let mut per_quarter = 1i64;
        let mut last = "";
        for start in memmem::find_iter(text.as_bytes(), b"<divisions") {
            let Some(value) = element_text(text, start) else {
                continue;
            };
            if value == last {
                continue;
            }
            last = value;
            // What is not a positive number is reported when the walk comes to it.
            let Some(divisions) = decimal(value).filter(|d| *d > Ratio::from_integer(0)) else {
                continue;
            };
            per_quarter = common(per_quarter, *divisions.numer())
                .ok_or_else(|| too_fine(start..start + "<divisions>".len()))?;
        }
        Ok(Self {
            per_quarter,
            finer: 1,
            finer_at: 0,
        })
    }

    /// A scale on which every duration met so far is whole; `None` when this one is such.
    pub(super) fn refined(self) -> Parsed<Option<Self>> {
        if self.finer == 1 {
            return Ok(None);
        }
        let per_quarter = self
            .per_quarter
            .checked_mul(self.finer)
            .filter(|p| *p <= MAX_PER_QUARTER)
            .ok_or_else(|| too_fine(self.finer_at..self.finer_at))?;
        Ok(Some(Self {
            per_quarter,
            finer: 1,
            finer_at: 0,
        }))
    }

    /// This scale after what another copy of it has met as well, further on in the text.
    pub(super) fn with(self, other: Self) -> Option<Self> {
        Some(Self {
            finer: common(self.finer, other.finer)?,
            finer_at: self.finer_at.max(other.finer_at),
            ..self
        })
    }

    /// A number of divisions as ticks. What does not fit is rounded and remembered, so that the
    /// file can be read again on a finer scale.
    pub(super) fn ticks(
        &mut self,
        value: Ratio<i64>,
        divisions: Ratio<i64>,
        at: &Range<usize>,
    ) -> Parsed<Ticks> {
        let above = i128::from(*value.numer())
            * i128::from(*divisions.denom())
            * i128::from(self.per_quarter);
        let below = i128::from(*value.denom()) * i128::from(*divisions.numer());
        if below <= 0 {
            return Err(Fault::new(
                at.clone(),
                "the divisions in force are not positive",
            ));
        }
        let whole = above.div_euclid(below);
        if whole.abs() > i128::from(self.per_quarter) * i128::from(MAX_QUARTERS) {
            return Err(Fault::new(
                at.clone(),
                format!(
                    "a duration of {value} divisions ({divisions} to a quarter note) is longer \
                     than {MAX_QUARTERS} quarter notes"
                ),
            ));
        }
        let rest = above.rem_euclid(below);
        if rest != 0 {
            let missing = below / gcd(above, below);
            let finer = i64::try_from(missing)
                .ok()
                .and_then(|m| common(self.finer, m));
            self.finer = finer.ok_or_else(|| too_fine(at.clone()))?;
            self.finer_at = at.start;
        }
        i64::try_from(whole)
            .map(Ticks)
            .map_err(|_| too_fine(at.clone()))
    }
}

/// The text between the tag that starts at `start` and the next tag.
fn element_text(text: &str, start: usize) -> Option<&str> {
    let rest = text.get(start..)?;
    let body = rest.get(rest.find('>')? + 1..)?;
    body.get(..body.find('<')?)
}

fn too_fine(at: Range<usize>) -> Box<Fault> {
    Fault::new(
        at,
        format!(
            "the divisions and durations of this file have no common multiple below \
             {MAX_PER_QUARTER} to a quarter note"
        ),
    )
    .help("a number of divisions is most likely wrong; usual ones are 1 to 10080")
}

fn gcd(a: i128, b: i128) -> i128 {
    let (mut a, mut b) = (a.abs(), b.abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

/// The least common multiple, unless it is above [`MAX_PER_QUARTER`].
fn common(a: i64, b: i64) -> Option<i64> {
    let (a, b) = (i128::from(a), i128::from(b));
    let lcm = a / gcd(a, b) * b;
    i64::try_from(lcm)
        .ok()
        .filter(|l| (1..=MAX_PER_QUARTER).contains(l))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_the_common_multiple_of_all_divisions() {
        let scale = Scale::of("<divisions>4</divisions><divisions> 6 </divisions>").unwrap();
        assert_eq!(scale.per_quarter, 12);
        let halves = Scale::of("<divisions>2.5</divisions>").unwrap();
        assert_eq!(halves.per_quarter, 5);
    }

    #[test]
    fn absurd_divisions_are_refused_where_they_stand() {
        let text = "<a/><divisions>999999937</divisions><divisions>999999929</divisions>";
        let fault = Scale::of(text).unwrap_err();
        assert_eq!(fault.at.start, 36);
    }

    #[test]
    fn a_duration_between_ticks_asks_for_finer_ones() {
        let mut scale = Scale::of("<divisions>1</divisions>").unwrap();
        let one = Ratio::from_integer(1);
        scale.ticks(Ratio::new(1, 2), one, &(0..0)).unwrap();
        scale.ticks(Ratio::new(1, 4), one, &(0..0)).unwrap();
        let mut finer = scale.refined().unwrap().unwrap();
        assert_eq!(finer.per_quarter, 4);
        assert_eq!(
            finer.ticks(Ratio::new(1, 4), one, &(0..0)).unwrap(),
            Ticks(1)
        );
        assert!(finer.refined().unwrap().is_none());
    }
}
