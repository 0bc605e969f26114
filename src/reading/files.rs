//! Paths to scores.

use super::ReadError;
use crate::score::Score;
use std::path::PathBuf;

/// What reading one file gave.
#[derive(Debug)]
pub struct Outcome {
    /// The file, as the user gave it or as the walk found it.
    pub path: PathBuf,
    /// The score, or why there is none.
    pub score: Result<Score, ReadError>,
}

/// Reads files and folders.
pub fn read_paths(_paths: &[PathBuf]) -> Vec<Outcome> {
    Vec::new()
}
