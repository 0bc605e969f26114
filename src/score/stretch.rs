//! Some notes of a part that cannot be meant as they stand, and how they are read instead.

use super::change::NoteRef;
use super::score::Score;
use crate::ground::pitch::Pitch;

/// A fault of a part from here to there, with its evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// 0-based index of the part.
    pub part: u32,
    /// The first note of it, as an index into the part's notes.
    pub from: u32,
    /// The note after its last one.
    pub to: u32,
    /// What is wrong with them.
    pub fault: StretchFault,
    /// How many of its notes could be compared with what others strike.
    pub compared: usize,
    /// How many of these complete the others' chords as they are read.
    pub fit: usize,
    /// How many do as they stand.
    pub stand: usize,
}

/// What is wrong with the notes of a stretch.
#[derive(Clone, Debug, PartialEq)]
pub enum StretchFault {
    /// They stand at another pitch than they are meant.
    Displaced {
        /// How.
        by: Displacement,
        /// What each note was meant to sound; of a tied chain, each note by itself.
        meant: Vec<(u32, Pitch)>,
    },
}

/// How far notes stand from where they are meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Displacement {
    /// So many semitones above (below, when negative) the pitches that are meant.
    Semitones(i16),
    /// So many steps of the staff above (below, when negative).
    Steps(i8),
}

impl Score {
    /// Whether a note still stands at another pitch on the page than it is read at.
    pub fn is_displaced(&self, note: NoteRef) -> bool {
        self.parts.get(note.part as usize).is_some_and(|part| {
            let found = part.notes.get(note.note as usize);
            found.is_some_and(|n| {
                n.written.transposed(part.transposition(n.onset)).midi() != n.sounding.midi()
            })
        })
    }
}
