//! Views of a score and words for findings that several rules share. No file here uses a rule.

pub mod crossing;
pub mod free;
pub mod line;
pub mod mark_comparison;
pub mod meters;
pub mod page;
pub mod remedies;
pub mod slip;
pub mod stretch;
pub mod together;
pub mod whole;
pub mod wording;
