//! Changing notes of a score in memory.

use super::marks::{Hairpin, Mark};
use super::note::{Articulations, Note, NoteFlags};
use super::part::Part;
use super::score::Score;
use crate::ground::pitch::Pitch;

/// Names one note of a score: part index and index into its notes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NoteRef {
    /// 0-based index into the score's parts.
    pub part: u32,
    /// 0-based index into the part's notes.
    pub note: u32,
}

/// A note that is to sound otherwise, with everything it is tied to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Change {
    /// The note; of a tied chain, the one that is attacked.
    pub note: NoteRef,
    /// What it should sound.
    pub sounding: Pitch,
}

/// A mark that a note may be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Added {
    /// A slur starts here.
    SlurStart,
    /// A slur ends here.
    SlurStop,
    /// Marks on the note.
    Articulations(Articulations),
    /// A dynamic stands at the note.
    Dynamic(&'static str),
    /// A hairpin starts at the note.
    HairpinStart(Hairpin),
    /// A hairpin ends where the note does.
    HairpinStop,
}

/// A note that is to get a mark which its player lacks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Addition {
    /// The note.
    pub note: NoteRef,
    /// What it gets.
    pub what: Added,
}

impl Part {
    /// Puts a dynamic or an end of a hairpin where a note stands.
    fn add_at(&mut self, note: &Note, what: Added) {
        match what {
            Added::Dynamic(name) => {
                let index = self.dynamics.partition_point(|m| m.onset < note.onset);
                let mark = Mark::at_time(note.at, note.onset, name.to_owned(), note.span);
                self.dynamics.insert(index, mark);
            }
            Added::HairpinStart(kind) => {
                let index = self.hairpins.partition_point(|m| m.onset <= note.onset);
                let mark = Mark::at_time(note.at, note.onset, kind, note.span);
                self.hairpins.insert(index, mark);
            }
            Added::HairpinStop => {
                let index = self.hairpins.partition_point(|m| m.onset < note.end());
                let mark = Mark::at_time(note.at, note.end(), Hairpin::Stop, note.span);
                self.hairpins.insert(index, mark);
            }
            Added::SlurStart | Added::SlurStop | Added::Articulations(_) => {}
        }
    }
}

impl Score {
    /// Gives notes their marks.
    pub fn add(&mut self, additions: &[Addition]) {
        for addition in additions {
            let part = self.parts.get_mut(addition.note.part as usize);
            let note = part.and_then(|p| p.notes.get_mut(addition.note.note as usize));
            let Some(note) = note else { continue };
            match addition.what {
                Added::SlurStart => note.flags = note.flags.with(NoteFlags::SLUR_START),
                Added::SlurStop => note.flags = note.flags.with(NoteFlags::SLUR_STOP),
                Added::Articulations(marks) => {
                    note.articulations = note.articulations.with(marks);
                }
                Added::Dynamic(_) | Added::HairpinStart(_) | Added::HairpinStop => {
                    let note = *note;
                    if let Some(part) = self.parts.get_mut(addition.note.part as usize) {
                        part.add_at(&note, addition.what);
                    }
                }
            }
        }
    }

    /// The written notes that sound as one: the note itself and those it is tied to after it.
    pub fn tied_chain(&self, first: NoteRef) -> Vec<NoteRef> {
        let mut chain = vec![first];
        let Some(notes) = self.parts.get(first.part as usize).map(|p| &p.notes) else {
            return chain;
        };
        let Some(start) = notes.get(first.note as usize) else {
            return chain;
        };
        let mut last = *start;
        let mut after = first.note as usize + 1;
        while last.flags.has(NoteFlags::TIED_OUT) {
            // Notes are in order of onset: only those at the end of the last may go on with it.
            let rest = notes.get(after..).unwrap_or_default();
            let skipped = rest.partition_point(|n| n.onset < last.end());
            let mut there = rest
                .iter()
                .zip(after..)
                .skip(skipped)
                .take_while(|(n, _)| n.onset == last.end());
            let goes_on = there.find(|(n, _)| {
                n.flags.has(NoteFlags::TIED_IN)
                    && n.sounding.midi() == start.sounding.midi()
                    && n.sounds()
            });
            let Some((note, index)) = goes_on else {
                break;
            };
            chain.push(NoteRef {
                part: first.part,
                note: index as u32,
            });
            last = *note;
            after = index + 1;
        }
        chain
    }

    /// What the player of a note has to read so that `sounding` comes out there.
    pub fn written_for(&self, at: NoteRef, sounding: Pitch) -> Pitch {
        let Some(part) = self.parts.get(at.part as usize) else {
            return sounding;
        };
        let note = part.notes.get(at.note as usize);
        if let Some(note) = note.filter(|n| n.sounding == sounding && !self.is_displaced(at)) {
            return note.written;
        }
        let onset = note.map(|n| n.onset).unwrap_or_default();
        sounding
            .transposed(part.transposition(onset).inverse())
            .readable(part.key(onset).fifths)
    }

    /// Changes notes, each with everything it is tied to. Written and sounding pitch stay true to
    /// each other: a respelling for the player respells what sounds, unless the file holds that alone.
    pub fn change(&mut self, changes: &[Change]) {
        for change in changes {
            for at in self.tied_chain(change.note) {
                let written = self.written_for(at, change.sounding);
                let Some(part) = self.parts.get_mut(at.part as usize) else {
                    continue;
                };
                let onset = part.notes.get(at.note as usize).map(|n| n.onset);
                let by = part.transposition(onset.unwrap_or_default());
                if let Some(note) = part.notes.get_mut(at.note as usize) {
                    note.written = written;
                    note.sounding = if part.worked_out {
                        change.sounding
                    } else {
                        written.transposed(by)
                    };
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::grid;

    #[test]
    fn a_tied_note_changes_whole_and_at_written_pitch() {
        let text = "meter: 2/4\npitch: written\nsection: saxes\nparts: alto 1 = alto saxophone\n\n\
                    count  | 1  2  | 1  2  |\nalto 1 | C5 D5 | -  E5 |\n";
        let mut score = grid::read(std::path::Path::new("x.passage"), text.into()).unwrap();
        let tied = NoteRef { part: 0, note: 1 };
        let chain = score.tied_chain(tied);
        assert_eq!(chain.len(), 2);
        score.change(&[Change {
            note: tied,
            sounding: "Gb4".parse().unwrap(),
        }]);
        for at in chain {
            let note = score.parts[0].notes[at.note as usize];
            assert_eq!(note.written, "Eb5".parse().unwrap());
            assert_eq!(note.sounding, "Gb4".parse().unwrap());
        }
        assert_eq!(score.parts[0].notes[0].written, "C5".parse().unwrap());
    }
}
