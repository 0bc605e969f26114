//! The main job on one score: sections, sonorities, diagnosis, rules, findings.

use crate::finding::Finding;
use crate::score::{Place, Score};
use crate::style::Style;

/// A technique that was inferred, not stated: the report says so.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Inferred {
    /// The section's name.
    pub section: String,
    /// The technique's name.
    pub technique: String,
    /// First and last bar (0-based) of the phrases it was inferred for.
    pub from: Place,
    /// See `from`.
    pub to: Place,
    /// How many sonorities fit it, of how many.
    pub fits: usize,
    /// See `fits`.
    pub of: usize,
}

/// What proofing a score gave.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Proofed {
    /// All findings in order of place, then part.
    pub findings: Vec<Finding>,
    /// How many sonorities were looked at, over all sections.
    pub sonorities: usize,
    /// Techniques that were inferred.
    pub inferred: Vec<Inferred>,
    /// Sentences about what was not checked and why (no chord symbols, say).
    pub remarks: Vec<String>,
}

/// Proofs one score under a house style.
pub fn proof(_score: &Score, _style: &Style) -> Proofed {
    Proofed::default()
}
