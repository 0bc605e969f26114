//! A place in a score.

use crate::ground::time::Ticks;

/// A place in a score: a bar and the time since its bar line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// 0-based bar index.
    pub bar: u32,
    /// Time since the bar line.
    pub offset: Ticks,
}
