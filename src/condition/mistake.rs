//! A mistake in a condition.

use std::ops::Range;

/// A mistake in a condition, with its place in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// Bytes of the condition.
    pub at: Range<usize>,
    /// The mistake, in one sentence.
    pub message: String,
    /// How to mend it.
    pub help: String,
}

impl Mistake {
    /// A mistake at bytes of the condition.
    pub fn new(at: Range<usize>, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            at,
            message: message.into(),
            help: help.into(),
        }
    }
}
