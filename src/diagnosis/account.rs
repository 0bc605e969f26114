//! An account of a sonority: its verdict, and what it says of the passage's habits.

use super::habits::{ApproachHarmony, Habit};
use super::outcome::{Slip, Verdict};
use crate::voicing::Way;

/// An account of one sonority.
#[derive(Clone, Debug)]
pub(super) struct Account {
    pub(super) verdict: Verdict,
    /// How its approach note was harmonised, for counting habits.
    pub(super) approach: Option<ApproachHarmony>,
}

impl Account {
    pub(super) const LEFT_ALONE: Self = Self {
        verdict: Verdict::LeftAlone,
        approach: None,
    };

    /// Right, with how the lead is harmonised.
    pub(super) const fn right(way: Way) -> Self {
        Self {
            verdict: Verdict::Right(Some(way)),
            approach: None,
        }
    }

    /// A slip. Where it is one only for want of a habit, it counts for the habit.
    pub(super) fn slip(slip: Slip, unproven: Option<Habit>) -> Self {
        Self {
            verdict: Verdict::Slip(slip),
            approach: unproven.map(ApproachHarmony::Habit),
        }
    }
}
