//! Exact musical time.
//!
//! Inside, a time is a whole number of [`Ticks`]; each score says how many of them make a quarter
//! note, a common multiple of everything written in it, so nothing is ever rounded. Beats are for
//! people: 1-based, in units of the meter's lower figure.

use num_rational::Ratio;
use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub, SubAssign};

/// A span or a point of time in ticks of the score it belongs to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ticks(pub i64);

impl Ticks {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// Multiplied by a whole number; used to bring scores to a common tick.
    #[must_use]
    pub const fn times(self, n: i64) -> Self {
        Self(self.0.saturating_mul(n))
    }
}

impl Add for Ticks {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}
impl Sub for Ticks {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}
impl AddAssign for Ticks {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}
impl SubAssign for Ticks {
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}
impl Neg for Ticks {
    type Output = Self;
    fn neg(self) -> Self {
        Self(self.0.saturating_neg())
    }
}
impl Sum for Ticks {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, Add::add)
    }
}

/// The greatest common divisor, at least 1.
pub(crate) fn gcd(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a.saturating_abs(), b.saturating_abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

/// The least common multiple; `None` when it overflows.
pub(crate) fn checked_lcm(a: i64, b: i64) -> Option<i64> {
    (a / gcd(a, b)).checked_mul(b)
}

/// A time signature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Meter {
    /// Upper figure: beats in a bar, in units of the lower figure (additive meters summed).
    pub beats: u16,
    /// Lower figure: 4 for quarters, 8 for eighths.
    pub unit: u16,
}

impl Meter {
    /// Four quarters.
    pub const COMMON: Self = Self { beats: 4, unit: 4 };

    /// The length of one unit of the lower figure as a fraction of a quarter note.
    pub fn unit_quarters(self) -> Ratio<i64> {
        Ratio::new(4, i64::from(self.unit.max(1)))
    }

    /// The length of a full bar.
    pub fn bar(self, per_quarter: Ticks) -> Ticks {
        let q = self.unit_quarters() * i64::from(self.beats) * per_quarter.0;
        Ticks(q.to_integer())
    }

    /// The length of the beat players feel: the unit, or three of it in 6/8, 9/8, 12/8.
    pub fn felt_beat(self, per_quarter: Ticks) -> Ticks {
        let units = if self.unit >= 8 && self.beats.is_multiple_of(3) && self.beats > 3 {
            3
        } else {
            1
        };
        Ticks((self.unit_quarters() * units * per_quarter.0).to_integer())
    }
}

impl fmt::Display for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.beats, self.unit)
    }
}

/// A place in a bar as players count it: 1-based, in units of the meter's lower figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Beat(pub Ratio<i64>);

impl Beat {
    /// The beat at `offset` from the bar line. In a pickup (or any bar that starts late in its
    /// meter) pass as `missing` what the bar lacks before its first note, so that a one-beat
    /// pickup in 4/4 is beat 4.
    pub fn at(offset: Ticks, missing: Ticks, meter: Meter, per_quarter: Ticks) -> Self {
        let unit = meter.unit_quarters() * per_quarter.0.max(1);
        Self(Ratio::from_integer(1) + Ratio::from_integer((offset + missing).0) / unit)
    }

    /// As a decimal number, for machines: the third triplet of beat 2 is 2.666667.
    pub fn to_f64(self) -> f64 {
        let v = *self.0.numer() as f64 / *self.0.denom() as f64;
        (v * 1e6).round() / 1e6
    }
}

impl fmt::Display for Beat {
    /// As players say it: `2`, `2-and`, `2-e`, `2-a`, else `2+1/3`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let whole = self.0.floor();
        let rest = self.0 - whole;
        write!(f, "{}", whole.to_integer())?;
        match (*rest.numer(), *rest.denom()) {
            (0, _) => Ok(()),
            (1, 2) => write!(f, "-and"),
            (1, 4) => write!(f, "-e"),
            (3, 4) => write!(f, "-a"),
            (n, d) => write!(f, "+{n}/{d}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beats_as_players_count() {
        let beat =
            |offset, missing| Beat::at(Ticks(offset), Ticks(missing), Meter::COMMON, Ticks(12));
        assert_eq!(beat(0, 0).to_string(), "1");
        assert_eq!(beat(18, 0).to_string(), "2-and");
        assert_eq!(beat(3, 0).to_string(), "1-e");
        assert_eq!(beat(9, 0).to_string(), "1-a");
        assert_eq!(beat(16, 0).to_string(), "2+1/3");
        assert!((beat(16, 0).to_f64() - 2.333_333).abs() < 1e-9);
        assert_eq!(beat(0, 36).to_string(), "4");
    }

    #[test]
    fn beats_count_the_lower_figure() {
        let six_eight = Meter { beats: 6, unit: 8 };
        let beat = Beat::at(Ticks(18), Ticks(0), six_eight, Ticks(12));
        assert_eq!(beat.to_string(), "4");
        assert_eq!(six_eight.felt_beat(Ticks(12)), Ticks(18));
        assert_eq!(six_eight.bar(Ticks(12)), Ticks(36));
    }
}
