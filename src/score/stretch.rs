//! Some notes of a part that cannot be meant as they stand, and how they are read instead.

use super::change::NoteRef;
use super::score::Score;
use crate::ground::pitch::Pitch;
use crate::ground::time::Ticks;
use std::ops::Range;

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
    /// They come so much later than the others (earlier, when negative), and are left out.
    Late(Ticks),
    /// They are the line of another part (0-based), and are left out.
    Copied(u32),
    /// A bar is missing before them: the part is read one bar later from this bar on (0-based).
    BarMissing(u32),
}

/// How far notes stand from where they are meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Displacement {
    /// So many semitones above (below, when negative) the pitches that are meant.
    Semitones(i16),
    /// So many steps of the staff above (below, when negative).
    Steps(i8),
}

impl Stretch {
    /// Whether its notes are left out of what is judged.
    pub const fn is_left_out(&self) -> bool {
        matches!(self.fault, StretchFault::Late(_) | StretchFault::Copied(_))
    }
}

impl Score {
    /// When notes of these parts are left out: from the first to the end of the last, and for what
    /// comes late, from when it should.
    pub fn left_out(&self, parts: impl Fn(u32) -> bool) -> Vec<Range<Ticks>> {
        let stretches = self.stretches.iter();
        stretches
            .filter(|s| s.is_left_out() && parts(s.part))
            .filter_map(|s| {
                let notes = &self.parts.get(s.part as usize)?.notes;
                let first = notes.get(s.from as usize)?.onset;
                let end = notes.get(s.to.checked_sub(1)? as usize)?.end();
                let late = match s.fault {
                    StretchFault::Late(late) => late,
                    _ => Ticks::ZERO,
                };
                Some(first.min(first - late)..end.max(end - late))
            })
            .collect()
    }

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
