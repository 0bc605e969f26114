//! How each voice moves.

pub mod awkward_leap;
pub mod copied_line;
pub mod displaced_line;
pub mod parallel_outer_voices;
pub mod repeated_inner_note;
pub mod static_voice;
