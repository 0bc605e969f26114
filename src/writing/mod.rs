//! A score written out as text: MusicXML for notation programs, the passage grid for people.
//!
//! Both forms are read back by [`crate::reading`] to the same music. Everything a player needs is
//! worked out here: note values and ties, beams, stems, accidentals, so that the page is right in
//! any program without a hand put to it.

pub mod grid;
mod harmony;
pub mod musicxml;
