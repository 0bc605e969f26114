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

    /// The same mistake in a text that has `before` more bytes before the condition.
    #[must_use]
    pub(super) fn moved(mut self, before: usize) -> Self {
        self.at = self.at.start + before..self.at.end + before;
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistake_is_moved_with_its_sentence() {
        let mistake = Mistake::new(2..5, "wrong", "write it right").moved(3);
        assert_eq!(mistake, Mistake::new(5..8, "wrong", "write it right"));
    }
}
