//! Changed notes as edits of the files they came from, and the edited files.
//!
//! A change of a note is the fewest pieces of its file that have to be rewritten: in MusicXML the
//! pitch and whatever accidentals the rest of the bar then needs, in a passage grid the pitch in its
//! cell and the blanks after it. Every other byte of the file stays as it is.
#![cfg_attr(
    not(test),
    warn(
        clippy::indexing_slicing,
        clippy::string_slice,
        clippy::arithmetic_side_effects
    )
)]

mod accidentals;
mod file;
mod grid;
mod marks;
mod musicxml;

#[cfg(any(test, feature = "inside"))]
pub use file::apply;
pub use file::{Edited, Original, apply_to_file};

use crate::file_text::container::ContainerError;
use crate::file_text::encoding::EncodingError;
use crate::ground::pitch::Pitch;
use crate::ground::text::Edit;
use crate::score::{Added, Addition, Change, NoteRef};
use crate::score::{Format, Note, Part, Score, Source};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// Why notes cannot be changed in their file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// The score has no such note.
    #[error("the score has no note {note} in its part {part} (both counted from 0)")]
    NoSuchNote {
        /// 0-based part.
        part: u32,
        /// 0-based note.
        note: u32,
    },
    /// The pitch cannot be written in the file's format.
    #[error(
        "{pitch} is out of reach: {format} holds octaves {low} to {high}, choose another octave"
    )]
    OutOfReach {
        /// The pitch.
        pitch: Pitch,
        /// The format, in words.
        format: &'static str,
        /// Its lowest octave.
        low: i8,
        /// Its highest octave.
        high: i8,
    },
    /// The note is held from the note before it, which stays.
    #[error(
        "{}:{line}:{column}: this cell holds the note before it, so it cannot have a pitch of its own: change the note it holds",
        path.display()
    )]
    Held {
        /// The file.
        path: PathBuf,
        /// 1-based.
        line: usize,
        /// 1-based, in characters.
        column: usize,
    },
    /// What stands where the note should be is no note.
    #[error("{}:{line}:{column}: {expected} was expected here: read the file again", path.display())]
    NotFound {
        /// The file.
        path: PathBuf,
        /// 1-based.
        line: usize,
        /// 1-based, in characters.
        column: usize,
        /// What was expected.
        expected: &'static str,
    },
    /// The file is not what was read any more.
    #[error("{} has changed since it was read: read it again", .0.display())]
    Changed(PathBuf),
    /// The file cannot be read any more.
    #[error("could not be read again: {0}")]
    Unread(String),
    /// Two edits want the same bytes, or an edit reaches out of the text.
    #[error("{}:{line}:{column}: two corrections change the same text, or one lies outside it: make them one after the other", path.display())]
    Conflict {
        /// The file.
        path: PathBuf,
        /// 1-based.
        line: usize,
        /// 1-based, in characters.
        column: usize,
    },
    /// The text cannot be decoded or encoded.
    #[error(transparent)]
    Encoding(#[from] EncodingError),
    /// The container cannot be read or written.
    #[error(transparent)]
    Container(#[from] ContainerError),
}

impl EditError {
    fn not_found(source: &Source, at: u32, expected: &'static str) -> Self {
        let (line, column) = source.line_column(at);
        Self::NotFound {
            path: source.path.clone(),
            line,
            column,
            expected,
        }
    }
}

/// The pitches that changed notes of one part get, by index of the note.
type Written = BTreeMap<u32, Pitch>;

/// The edits that make `changes`: as [`ScoreEdits::of`], for one set of changes.
#[cfg(any(test, feature = "inside"))]
pub fn edits(score: &Score, changes: &[Change]) -> Result<Vec<Edit>, EditError> {
    ScoreEdits::new(score).of(changes)
}

/// Whether a file can be given these marks.
pub fn can_be_added(score: &Score, addition: &Addition) -> bool {
    let known = match addition.what {
        Added::Articulations(marks) => marks::known().has(marks),
        Added::SlurStart | Added::SlurStop => true,
        Added::Dynamic(name) => marks::is_dynamic(name) && stands_alone(score, addition.note),
        Added::HairpinStart(_) | Added::HairpinStop => stands_alone(score, addition.note),
    };
    let source = note(score, addition.note).ok();
    let source = source.and_then(|n| score.sources.get(usize::from(n.span.source)));
    known && source.is_some_and(|s| s.format == Format::MusicXml)
}

/// Whether a note is the only one that starts at its time on the only staff of its part: then what stands
/// before or after it in the file stands there in time.
fn stands_alone(score: &Score, at: NoteRef) -> bool {
    let Some(part) = score.parts.get(at.part as usize).filter(|p| p.staves < 2) else {
        return false;
    };
    let Some(note) = part.notes.get(at.note as usize) else {
        return false;
    };
    let from = part.notes.partition_point(|n| n.onset < note.onset);
    let here = part.notes.iter().skip(from);
    here.take_while(|n| n.onset == note.onset).count() == 1
}

/// The edits of one score, for one set of changes after another.
pub struct ScoreEdits<'s> {
    score: &'s Score,
    facts: musicxml::FileFacts,
}

impl<'s> ScoreEdits<'s> {
    /// Those of this score.
    pub fn new(score: &'s Score) -> Self {
        Self {
            score,
            facts: musicxml::FileFacts::default(),
        }
    }

    /// The edits that make `changes` and add marks.
    pub fn with_marks(
        &mut self,
        changes: &[Change],
        additions: &[Addition],
    ) -> Result<Vec<Edit>, EditError> {
        let mut out = self.of(changes)?;
        let mut by_note: BTreeMap<NoteRef, Vec<Added>> = BTreeMap::new();
        for addition in additions {
            let all = by_note.entry(addition.note).or_default();
            all.push(addition.what);
        }
        for (at, added) in by_note {
            let note = note(self.score, at)?;
            if let Some(source) = self.score.sources.get(usize::from(note.span.source)) {
                marks::edit(source, note, &added, &mut out)?;
            }
        }
        Ok(tidy(out))
    }

    /// The edits that make `changes`, sorted by source and place, not overlapping. A note that is tied
    /// to others changes with them, as with [`Score::change`]; of several changes of one note the last
    /// counts. Changes of several notes belong in one call: what a bar needs depends on all of them.
    pub fn of(&mut self, changes: &[Change]) -> Result<Vec<Edit>, EditError> {
        let score = self.score;
        let mut sounding: BTreeMap<u32, Written> = BTreeMap::new();
        for change in changes {
            note(score, change.note)?;
            for at in score.tied_chain(change.note) {
                let notes = sounding.entry(at.part).or_default();
                notes.insert(at.note, change.sounding);
            }
        }
        // A part that is changed from end to end is written out for its instrument, others stay so.
        let filed = score.filed(|part| {
            let notes = score.parts.get(part as usize).map(|p| p.notes.len());
            sounding.get(&part).map(BTreeMap::len) == notes
        });
        let mut out = Vec::new();
        for (index, mut new) in sounding {
            let Some(part) = filed.parts.get(index as usize) else {
                continue;
            };
            let heard = new.clone();
            for (note, pitch) in &mut new {
                let at = NoteRef {
                    part: index,
                    note: *note,
                };
                *pitch = filed.written_for(at, *pitch);
            }
            new.retain(|i, pitch| old(part, *i).is_some_and(|n| n.written != *pitch));
            let Some(first) = new.keys().next().and_then(|i| old(part, *i)) else {
                continue;
            };
            let Some(source) = score.sources.get(usize::from(first.span.source)) else {
                continue;
            };
            match source.format {
                Format::MusicXml => {
                    musicxml::edits(&filed, index, source, &new, &mut self.facts, &mut out)?;
                }
                Format::Grid => grid::edits(part, source, (&new, &heard), &mut out)?,
            }
        }
        Ok(tidy(out))
    }
}

fn old(part: &Part, note: u32) -> Option<&Note> {
    part.notes.get(note as usize)
}

fn note(score: &Score, at: NoteRef) -> Result<&Note, EditError> {
    score
        .parts
        .get(at.part as usize)
        .and_then(|p| old(p, at.note))
        .ok_or(EditError::NoSuchNote {
            part: at.part,
            note: at.note,
        })
}

/// In order, and neighbours made one.
fn tidy(mut edits: Vec<Edit>) -> Vec<Edit> {
    edits.sort();
    edits.dedup();
    let mut out: Vec<Edit> = Vec::with_capacity(edits.len());
    for edit in edits {
        match out.last_mut() {
            Some(last) if last.source == edit.source && last.end == edit.start => {
                last.end = edit.end;
                last.replacement.push_str(&edit.replacement);
            }
            _ => out.push(edit),
        }
    }
    out
}
