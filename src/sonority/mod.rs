//! Sonorities: everything a section sounds at one onset, at sounding pitch.

mod hearing;
pub mod lead;
mod sections;
mod slicing;

#[cfg(test)]
pub use hearing::heard;
pub use hearing::{Doubts, heard_but, signs};
pub use sections::{Section, SectionPart, sections};
pub use slicing::{Sonority, Voice, cut, slice, voice_number};
