//! A part, and how its transposition and its key are found at a time.

use super::bar::PartBar;
use super::marks::{ChordMark, Clef, Hairpin, Key, LooseSlur, Mark, Words, in_force};
use super::note::{Note, Rest};
use super::shared::Shared;
use crate::ground::instrument::{Instrument, Property};
use crate::ground::pitch::Transposition;
use crate::ground::text::Span;
use crate::ground::time::{Meter, Ticks};

/// One part: what one player (or one pianist's two staves) reads.
#[derive(Clone, Debug, Default)]
pub struct Part {
    /// The name as printed; never empty (readers make one up from the id).
    pub name: String,
    /// The short name, when there is one.
    pub abbreviation: Option<String>,
    /// The sound the file names, such as `wind.reed.saxophone.alto`.
    pub sound: Option<String>,
    /// The key of the instrument in the catalogue, when the file says outright which it is.
    pub instrument: Option<String>,
    /// The key of the section it is voiced with, when a house style says so.
    pub section: Option<String>,
    /// Its seat in the section, 1-based, when a house style says so.
    pub seat: Option<u8>,
    /// What the file calls the instrument, when it differs from the name.
    pub instrument_name: Option<String>,
    /// How many staves.
    pub staves: u8,
    /// All pitched notes in order of onset, then from the top staff down.
    pub notes: Shared<Note>,
    /// All rests in order of onset.
    pub rests: Shared<Rest>,
    /// Its bars, one for each of the score's (fewer in a part that is too short).
    pub bars: Shared<PartBar>,
    /// Key signatures as printed (written pitch).
    pub keys: Vec<Mark<Key>>,
    /// Time signatures.
    pub meters: Vec<Mark<Meter>>,
    /// Clefs.
    pub clefs: Vec<Mark<Clef>>,
    /// What is added to written pitch to get sounding pitch.
    pub transpositions: Vec<Mark<Transposition>>,
    /// Words over the staff.
    pub words: Shared<Mark<Words>>,
    /// The notes (by their bytes) at which the file prints an accidental.
    pub accidentals: Shared<Span>,
    /// Ends of slurs that have no other end.
    pub loose_slurs: Vec<Mark<LooseSlur>>,
    /// Notes that no instrument has, which are left out: why, in words that go on after the note's name.
    pub impossible: Vec<Mark<String>>,
    /// Dynamics, as written (`mf`, `ff`).
    pub dynamics: Shared<Mark<String>>,
    /// Starts and ends of hairpins.
    pub hairpins: Vec<Mark<Hairpin>>,
    /// Pedal signs: whether the pedal goes down.
    pub pedals: Vec<Mark<bool>>,
    /// Chord symbols standing in this part.
    pub chords: Shared<Mark<ChordMark>>,
    /// Metronome marks, quarter notes a minute.
    pub tempos: Vec<Mark<f64>>,
    /// How many notes without pitch (drums) it has.
    pub unpitched: usize,
    /// How many pitched notes have words under them.
    pub lyrics: u32,
    /// Its clef and its transposition both named the same octave, which was counted once.
    pub octave_counted_once: bool,
    /// The file holds sounding pitch only: what the player reads is worked out, and no page has it.
    pub worked_out: bool,
    /// The file states a transposition, even one of zero.
    pub states_transposition: bool,
}

impl Part {
    /// It is read by an instrument that is often written at sounding pitch (a horn), and says nothing of
    /// its transposition: no page is known.
    pub fn may_be_untransposed(&self, instrument: &Instrument) -> bool {
        self.transpositions.is_empty()
            && !self.states_transposition
            && instrument.is(Property::NoKeySignature)
            && instrument.transposition.chromatic != 0
    }

    /// The transposition in force at `onset`.
    pub fn transposition(&self, onset: Ticks) -> Transposition {
        in_force(&self.transpositions, onset).map_or(Transposition::NONE, |m| m.value)
    }

    /// The key signature in force at `onset`, as printed in the part; no signature is C.
    pub fn key(&self, onset: Ticks) -> Key {
        in_force(&self.keys, onset).map_or(
            Key {
                fifths: 0,
                minor: false,
            },
            |m| m.value,
        )
    }

    /// The concert key signature in force at `onset`, in fifths. Where a part transposes, its page does not tell
    /// B major from Cb major: then the key with fewer accidentals is meant.
    pub fn concert_fifths(&self, onset: Ticks) -> i8 {
        let shift = self.transposition(onset).key_shift();
        let most = if shift == 0 { 7 } else { 6 };
        let mut f = i16::from(self.key(onset).fifths) - i16::from(shift);
        while f < -most {
            f += 12;
        }
        while f > most {
            f -= 12;
        }
        f as i8
    }
}

/// A part that its player cannot use as its file has it, and how it is read instead.
#[derive(Clone, Debug)]
pub struct Presumed {
    /// 0-based index of the part.
    pub part: u32,
    /// How it is at fault.
    pub fault: PartFault,
    /// The transposition the file has for it; `None` when it has none.
    pub stated: Option<Transposition>,
    /// What the file's written pitch becomes the pitch that is meant by.
    pub meant: Transposition,
    /// The transposition of its instrument, which it is read with.
    pub own: Transposition,
    /// Its instrument, in the trade's words.
    pub instrument: String,
    /// How this is known, in words that go on after "because".
    pub because: String,
    /// The key signatures it is read with, in fifths, one for each that its file has.
    pub signatures: Vec<i8>,
    /// What the file has where it is read otherwise. Set when the part is read as meant.
    pub filed: Option<Filed>,
}

/// How a whole part is at fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PartFault {
    /// Key signature and notes are its instrument's, the transposition is missing or wrong.
    Transposition,
    /// No transposition, and the key signature and notes of concert pitch: it sounds right.
    Untransposed,
    /// Transposition, key signature and notes of this other instrument: it sounds right.
    OtherInstrument(String),
    /// The transposition is its instrument's, key signature and notes are at concert pitch.
    ConcertPitch,
    /// Transposition and key signature are its instrument's, the notes are at concert pitch.
    ConcertNotes,
    /// Only the key signature is that of concert pitch.
    ConcertKey,
}

impl PartFault {
    /// The printed key signature is not the one the player needs.
    pub const fn is_in_key_signature(&self) -> bool {
        !matches!(self, Self::Transposition | Self::ConcertNotes)
    }

    /// The printed notes are not those the player needs.
    pub const fn is_in_notes(&self) -> bool {
        !matches!(self, Self::Transposition | Self::ConcertKey)
    }
}

/// What the file has of a part whose page is read otherwise.
#[derive(Clone, Debug)]
pub struct Filed {
    /// Its notes.
    pub notes: Shared<Note>,
    /// Its key signatures.
    pub keys: Vec<Mark<Key>>,
}

impl Part {
    /// The part as its file has it. Where `written_out`, its file's transposition is its instrument's,
    /// whatever its notes mean.
    pub(super) fn filed(&self, presumed: &Presumed, written_out: bool) -> Option<Self> {
        let filed = presumed.filed.as_ref()?;
        let mut part = self.clone();
        part.notes = filed.notes.clone();
        part.keys.clone_from(&filed.keys);
        let by = if written_out {
            presumed.own
        } else {
            presumed.meant
        };
        for mark in &mut part.transpositions {
            mark.value = by;
        }
        for note in &mut part.notes {
            note.sounding = note.written.transposed(by);
        }
        Some(part)
    }
}
