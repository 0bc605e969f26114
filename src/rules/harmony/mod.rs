//! Notes against the chord.

pub mod bass_against_symbol;
pub mod chord_symbol_agreement;
mod held_over;
pub mod missing_guide_tone;
pub mod passing_diminished;
pub mod unavailable_tension;
pub mod wrong_note;
