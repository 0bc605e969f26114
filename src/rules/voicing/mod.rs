//! How the chord is spread over the voices.

pub mod doubled_note;
pub mod hand_span;
pub mod lead_doubling;
pub mod lead_not_on_top;
pub mod low_interval;
pub mod semitone_under_lead;
pub mod technique_wanders;
pub mod voice_crossing;
pub mod wide_gap;
pub mod wrong_octave;
pub mod wrong_voice_dropped;
