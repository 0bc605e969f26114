//! Findings that the score itself says are meant.

use crate::ground::text::Span;
use std::ops::Range;

/// What the score itself says of findings that are meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiver {
    /// The rules it names.
    pub rules: Vec<String>,
    /// Why they are meant; empty when it does not say.
    pub reason: String,
    /// The parts it stands in (0-based).
    pub parts: Vec<u32>,
    /// The bars it holds for (0-based).
    pub bars: Range<u32>,
    /// Where it stands in the file.
    pub span: Span,
    /// Set when it could not be read: what is wrong with it.
    pub unread: Option<String>,
}
