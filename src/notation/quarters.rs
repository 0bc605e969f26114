//! Time in quarter notes.

use crate::ground::time::Ticks;
use num_rational::Ratio;

/// Time in quarter notes.
pub(crate) type Quarters = Ratio<i64>;

/// No time at all.
pub(crate) const ZERO: Quarters = Ratio::new_raw(0, 1);

/// Ticks as quarter notes.
pub(crate) fn quarters(ticks: Ticks, per_quarter: Ticks) -> Quarters {
    Ratio::new(ticks.0, per_quarter.0.max(1))
}
