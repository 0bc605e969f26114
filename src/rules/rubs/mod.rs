//! Clashing intervals.

pub mod minor_ninth;
pub mod semitone_cluster;
