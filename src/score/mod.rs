//! The score: parts at written and sounding pitch, exact time, chord symbols, keys, meters, marks.
//!
//! It knows no rule and no file format. Every note remembers the bytes it came from ([`Span`]), so
//! that a finding can point and a fix can edit.

mod change;
pub mod identity;
mod merge;
mod shared;

pub use change::{Change, NoteRef};
pub use merge::{MergeError, merge, refined};
pub use shared::Shared;

use crate::ground::chord::Chord;
use crate::ground::instrument::CatalogueInUse;
use crate::ground::pitch::{Pitch, Transposition};
use crate::ground::text::{Lines, Span, Text};
use crate::ground::time::{Beat, Meter, Ticks};
use std::ops::Range;
use std::path::PathBuf;
use std::sync::OnceLock;

/// What kind of text a source is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Format {
    /// MusicXML.
    MusicXml,
    /// The passage grid.
    Grid,
}

/// One file that a score was read from.
#[derive(Clone, Debug)]
pub struct Source {
    /// The path as the user gave it (or as the walk from it found it).
    pub path: PathBuf,
    /// The entry inside a container, when the file is one.
    pub member: Option<String>,
    /// What kind of text it is.
    pub format: Format,
    /// The text spans point into, after decoding to UTF-8.
    pub text: Text,
    /// Where its lines are, once somebody asks.
    pub(crate) lines: OnceLock<Lines>,
}

/// How many chord symbols that differ are distinguished at one time.
const MOST_SYMBOLS: usize = 64;

impl Source {
    /// 1-based line and column (in characters) of a byte offset.
    pub fn line_column(&self, offset: u32) -> (usize, usize) {
        let text = self.text.as_bytes();
        let lines = self.lines.get_or_init(|| Lines::of(text));
        let mut at = (offset as usize).min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        lines.place(text, at)
    }
}

/// A place in a score: a bar and the time since its bar line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// 0-based bar index.
    pub bar: u32,
    /// Time since the bar line.
    pub offset: Ticks,
}

/// A bar of the whole score.
#[derive(Clone, Debug, Default)]
pub struct Bar {
    /// The printed number, as text (`12`, `12a`, `0`).
    pub number: String,
    /// When the bar starts. Set by [`Score::lay_out`].
    pub start: Ticks,
    /// How long it is: the longest part's content, or the meter's bar when every part is silent.
    /// Set by [`Score::lay_out`].
    pub length: Ticks,
    /// A pickup or a bar the file says not to count.
    pub pickup: bool,
    /// What its meter's bar has before it: all that a pickup lacks, or the first half of a bar that a
    /// bar line divides. Set by [`Score::lay_out`].
    pub missing: Ticks,
}

/// A bar as one part has it.
#[derive(Clone, Debug, Default)]
#[allow(clippy::struct_excessive_bools)] // each stands for a printed sign
pub struct PartBar {
    /// The printed number in this part.
    pub number: String,
    /// How much time its notes and rests fill, in the fullest voice.
    pub filled: Ticks,
    /// The file says the bar is not counted (a pickup).
    pub uncounted: bool,
    /// A double or final bar line at its end.
    pub double_bar: bool,
    /// A repeat sign at its start.
    pub repeat_start: bool,
    /// A repeat sign at its end.
    pub repeat_end: bool,
    /// The rehearsal mark over it.
    pub rehearsal: Option<String>,
    /// The ending that starts here, as printed (`1`, `1, 2`).
    pub ending: Option<String>,
    /// Signs and words of the road map: segno, coda, D.S. and the like.
    pub signs: Signs,
    /// How many bars a multi-bar rest that starts here covers.
    pub multi_rest: Option<u16>,
    /// Written as slashes: rhythm players make up the notes.
    pub slashes: bool,
    /// No meter is in force (a cadenza).
    pub unmeasured: bool,
    /// A voice that starts with the bar and stops short of `filled`, and how much of the bar it
    /// fills; nothing in the file says that the rest of it is to be left out.
    pub short_voice: Option<(u8, Ticks)>,
    /// The bytes of the bar.
    pub span: Span,
}

/// Signs and words that send the players elsewhere, as a set of bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Signs(pub u16);

impl Signs {
    /// The segno sign.
    pub const SEGNO: Self = Self(1);
    /// The coda sign.
    pub const CODA: Self = Self(2);
    /// "To Coda".
    pub const TO_CODA: Self = Self(4);
    /// "D.S."
    pub const DAL_SEGNO: Self = Self(8);
    /// "D.C."
    pub const DA_CAPO: Self = Self(16);
    /// "Fine", where the piece ends.
    pub const FINE: Self = Self(32);
    /// "... al Coda".
    pub const AL_CODA: Self = Self(64);
    /// "... al Fine".
    pub const AL_FINE: Self = Self(128);

    /// Both sets together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether every sign of `other` is here.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// What words over the staff say of the road map.
    pub fn in_words(text: &str) -> Self {
        let text = text.to_lowercase();
        let text = text.trim();
        let mut signs = Self::default();
        let mut when = |said: bool, sign: Self| {
            if said {
                signs = signs.with(sign);
            }
        };
        let segno = text.contains("d.s.") || text.contains("dal segno");
        let capo = text.contains("d.c.") || text.contains("da capo");
        when(segno, Self::DAL_SEGNO);
        when(capo, Self::DA_CAPO);
        when(
            (segno || capo) && [" al coda", " alla coda"].iter().any(|w| text.contains(w)),
            Self::AL_CODA,
        );
        when((segno || capo) && text.contains("fine"), Self::AL_FINE);
        when(text.starts_with("to coda"), Self::TO_CODA);
        when(text == "fine", Self::FINE);
        signs
    }
}

/// A hairpin's start or its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Hairpin {
    /// Opens: getting louder from here.
    Crescendo,
    /// Closes: getting softer from here.
    Diminuendo,
    /// The hairpin ends here.
    Stop,
}

/// Something in force from a place on.
#[derive(Clone, Debug)]
pub struct Mark<T> {
    /// Where it starts.
    pub at: Place,
    /// When it starts. Set by [`Score::lay_out`].
    pub onset: Ticks,
    /// What is in force.
    pub value: T,
    /// Where it stands in the file.
    pub span: Span,
}

impl<T> Mark<T> {
    /// A mark at a place; its onset is known after [`Score::lay_out`].
    pub const fn new(at: Place, value: T, span: Span) -> Self {
        Self {
            at,
            onset: Ticks::ZERO,
            value,
            span,
        }
    }
}

fn place<T>(marks: &mut [Mark<T>], when: &impl Fn(Place) -> Ticks) {
    for m in marks.iter_mut() {
        m.onset = when(m.at);
    }
    marks.sort_by_key(|m| m.onset);
}

/// The last mark at or before `onset`; marks must be in order of time.
pub fn in_force<T>(marks: &[Mark<T>], onset: Ticks) -> Option<&Mark<T>> {
    let n = marks.partition_point(|m| m.onset <= onset);
    n.checked_sub(1).and_then(|i| marks.get(i))
}

/// A key signature as printed in the part it stands in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Key {
    /// Sharps, or flats when negative.
    pub fifths: i8,
    /// The file says it is a minor key.
    pub minor: bool,
}

/// A clef.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clef {
    /// `G`, `F`, `C`, or `P` for percussion.
    pub sign: char,
    /// Staff line from the bottom, 1-based.
    pub line: u8,
    /// Octaves the clef itself moves (-1 for the tenor voice's clef); pitches hold it already.
    pub octave: i8,
    /// 1-based staff of the part.
    pub staff: u8,
}

/// An end of a slur whose other end is nowhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LooseSlur {
    /// It starts and never ends.
    Start,
    /// It ends and never started.
    Stop,
}

/// A part that cannot be meant to sound as its file says, and what it is read as instead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Presumed {
    /// 0-based index of the part.
    pub part: u32,
    /// The transposition the file has for it; `None` when it has none.
    pub stated: Option<Transposition>,
    /// The transposition it is read with.
    pub meant: Transposition,
    /// The instrument that is transposed so, in the trade's words.
    pub instrument: String,
    /// How this is known, in words that go on after "because".
    pub because: String,
}

/// Words over or under the staff.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Words {
    /// The words.
    pub text: String,
    /// 1-based staff of the part.
    pub staff: u8,
}

/// A chord symbol at concert pitch.
#[derive(Clone, Debug, PartialEq)]
pub struct ChordMark {
    /// The chord at concert pitch; `None` is "no chord".
    pub chord: Option<Chord>,
    /// The symbol as it stands in its part (written pitch).
    pub written: String,
    /// Set when the symbol could not be read: what is wrong with it.
    pub unread: Option<String>,
}

/// Marks on a note, as a set of bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Articulations(pub u16);

impl Articulations {
    /// `>`
    pub const ACCENT: Self = Self(1);
    /// A dot.
    pub const STACCATO: Self = Self(2);
    /// A line.
    pub const TENUTO: Self = Self(4);
    /// A hat.
    pub const MARCATO: Self = Self(8);
    /// A falloff.
    pub const FALL: Self = Self(16);
    /// A doit.
    pub const DOIT: Self = Self(32);
    /// A scoop.
    pub const SCOOP: Self = Self(64);
    /// A plop.
    pub const PLOP: Self = Self(128);
    /// A breath mark or caesura after the note.
    pub const BREATH: Self = Self(256);
    /// A fermata.
    pub const FERMATA: Self = Self(512);
    /// Very short.
    pub const STACCATISSIMO: Self = Self(1024);

    /// Both sets together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether every mark of `other` is here.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }
}

/// Facts about a note that are either so or not, as a set of bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct NoteFlags(pub u16);

impl NoteFlags {
    /// Tied from the note before: it is held, not attacked.
    pub const TIED_IN: Self = Self(1);
    /// Tied into the next note of its pitch.
    pub const TIED_OUT: Self = Self(2);
    /// A grace note: it takes no time.
    pub const GRACE: Self = Self(4);
    /// A cue note: not played by this part.
    pub const CUE: Self = Self(8);
    /// A slash notehead: rhythm only.
    pub const SLASH: Self = Self(16);
    /// A slur starts here.
    pub const SLUR_START: Self = Self(32);
    /// A slur ends here.
    pub const SLUR_STOP: Self = Self(64);
    /// Stands in one chord with the note before it in the same voice.
    pub const CHORD_MEMBER: Self = Self(128);
    /// A ghost (bracketed) or cross notehead.
    pub const GHOST: Self = Self(256);

    /// Both sets together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether every flag of `other` is here.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }
}

/// A pitched note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Note {
    /// Where it stands.
    pub at: Place,
    /// When it sounds. Set by [`Score::lay_out`].
    pub onset: Ticks,
    /// How long this written note lasts (a tied chain is several notes); zero for a grace note.
    pub duration: Ticks,
    /// As the player reads it.
    pub written: Pitch,
    /// Concert pitch.
    pub sounding: Pitch,
    /// 1-based staff of the part.
    pub staff: u8,
    /// The voice (layer) of its part, as numbered in the file.
    pub voice: u8,
    /// Ties, grace, cue, slurs.
    pub flags: NoteFlags,
    /// Marks on it.
    pub articulations: Articulations,
    /// The bytes of the whole note.
    pub span: Span,
}

impl Note {
    /// When it stops sounding (as written; a tie goes on).
    pub fn end(&self) -> Ticks {
        self.onset + self.duration
    }

    /// Whether it takes part in a sonority: not a grace, cue or slash note.
    pub const fn sounds(&self) -> bool {
        self.flags.0 & (NoteFlags::GRACE.0 | NoteFlags::CUE.0 | NoteFlags::SLASH.0) == 0
    }
}

/// A rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rest {
    /// Where it stands.
    pub at: Place,
    /// When it starts. Set by [`Score::lay_out`].
    pub onset: Ticks,
    /// How long it lasts.
    pub duration: Ticks,
    /// 1-based staff of the part.
    pub staff: u8,
    /// The voice (layer) of its part.
    pub voice: u8,
    /// It fills the bar.
    pub whole_bar: bool,
    /// The bytes of the rest.
    pub span: Span,
}

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
    /// Dynamics, as written (`mf`, `ff`).
    pub dynamics: Shared<Mark<String>>,
    /// Starts and ends of hairpins.
    pub hairpins: Vec<Mark<Hairpin>>,
    /// Chord symbols standing in this part.
    pub chords: Shared<Mark<ChordMark>>,
    /// Metronome marks, quarter notes a minute.
    pub tempos: Vec<Mark<f64>>,
    /// How many notes without pitch (drums) it has.
    pub unpitched: usize,
    /// The file holds sounding pitch only: what the player reads is worked out, and no page has it.
    pub worked_out: bool,
    /// The file states a transposition, even one of zero.
    pub states_transposition: bool,
}

impl Part {
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

    /// The concert key signature in force at `onset`, in fifths.
    pub fn concert_fifths(&self, onset: Ticks) -> i8 {
        let shift = self.transposition(onset).key_shift();
        let mut f = i16::from(self.key(onset).fifths) - i16::from(shift);
        while f < -7 {
            f += 12;
        }
        while f > 7 {
            f -= 12;
        }
        f as i8
    }
}

/// What the score itself says of findings that are meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiver {
    /// The rules it names.
    pub rules: Vec<String>,
    /// Why they are meant; empty when it does not say.
    pub reason: String,
    /// The parts it stands in (0-based).
    pub parts: Vec<u32>,
    /// The bars it holds for (0-based).
    pub bars: Range<u32>,
    /// Where it stands in the file.
    pub span: Span,
    /// Set when it could not be read: what is wrong with it.
    pub unread: Option<String>,
}

/// What a passage says of itself, from a place on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stated {
    /// The section the passage is for, in the user's words.
    pub section: Option<String>,
    /// The technique, in the user's words; [`FREE`] for none, empty where nothing is said any more.
    pub technique: Option<String>,
}

/// What is said of music that is held to no technique.
pub const FREE: &str = "free";

/// A score: everything chartproof knows of what was written.
#[derive(Clone, Debug, Default)]
pub struct Score {
    /// The title, when there is one.
    pub title: Option<String>,
    /// How many [`Ticks`] make a quarter note; at least 1.
    pub per_quarter: Ticks,
    /// The files it was read from.
    pub sources: Vec<Source>,
    /// The parts in score order, top to bottom.
    pub parts: Vec<Part>,
    /// The bars of the whole score. Set by [`Score::lay_out`].
    pub bars: Shared<Bar>,
    /// The chord symbols of the whole score at concert pitch, in order, one at a time. Set by
    /// [`Score::lay_out`].
    pub chords: Shared<Mark<ChordMark>>,
    /// The meters that hold for the whole score, each from its time on, with the beat players feel.
    /// Set by [`Score::lay_out`].
    pub meters: Vec<(Ticks, Meter, Ticks)>,
    /// Section and technique as the file itself states them, in order.
    pub stated: Vec<Mark<Stated>>,
    /// Findings that the score itself says are meant.
    pub waivers: Vec<Waiver>,
    /// The file says its pitches are sounding (a concert score).
    pub concert: bool,
    /// Parts that are read with another transposition than their file has.
    pub presumed: Vec<Presumed>,
    /// The instruments and sections its parts are known by.
    pub instruments: CatalogueInUse,
}

impl Score {
    /// Puts bars, notes and marks on one time line, sorts them, and collects the chord symbols.
    /// Readers call it once, last.
    pub fn lay_out(&mut self) {
        if self.per_quarter.0 < 1 {
            self.per_quarter = Ticks(1);
        }
        let count = self.parts.iter().map(|p| p.bars.len()).max().unwrap_or(0);
        let mut starts = Vec::with_capacity(count + 1);
        let mut bars = Vec::with_capacity(count);
        let mut start = Ticks::ZERO;
        let mut meter = Meter::COMMON;
        let mut new_meters: Vec<Option<Meter>> = vec![None; count];
        for mark in self.parts.iter().flat_map(|p| &p.meters) {
            if let Some(slot) = new_meters.get_mut(mark.at.bar as usize) {
                *slot = Some(mark.value);
            }
        }
        for (index, new_meter) in new_meters.into_iter().enumerate() {
            meter = new_meter.unwrap_or(meter);
            let here = || self.parts.iter().filter_map(|p| p.bars.get(index));
            let filled = here().map(|b| b.filled).max().unwrap_or_default();
            let nominal = meter.bar(self.per_quarter);
            let length = if filled > Ticks::ZERO {
                filled
            } else {
                nominal
            };
            let number = here()
                .map(|b| b.number.as_str())
                .find(|n| !n.is_empty())
                .map_or_else(|| (index + 1).to_string(), str::to_owned);
            let uncounted = here().any(|b| b.uncounted);
            let pickup = length < nominal && (uncounted || index == 0);
            // The second half of a bar that a repeat or a double bar divides goes on counting.
            let first_half = bars
                .last()
                .filter(|b: &&Bar| b.missing == Ticks::ZERO && b.length + length == nominal)
                .map(|b| b.length);
            let missing = match first_half {
                Some(before) => before,
                None if pickup => nominal - length,
                None => Ticks::ZERO,
            };
            bars.push(Bar {
                number,
                start,
                length,
                pickup,
                missing,
            });
            starts.push(start);
            start += length;
        }
        self.bars = bars.into();
        let when = |at: Place| -> Ticks {
            starts.get(at.bar as usize).copied().unwrap_or(start) + at.offset
        };
        for part in &mut self.parts {
            // What was read for growing is given back before anything else is made of the score.
            part.notes.shrink_to_fit();
            part.rests.shrink_to_fit();
            part.bars.shrink_to_fit();
            for n in &mut part.notes {
                n.onset = when(n.at);
            }
            for r in &mut part.rests {
                r.onset = when(r.at);
            }
            part.notes.sort_by_key(|n| (n.onset, n.staff, n.voice));
            part.rests.sort_by_key(|r| (r.onset, r.staff, r.voice));
            place(&mut part.keys, &when);
            place(&mut part.meters, &when);
            place(&mut part.clefs, &when);
            place(&mut part.transpositions, &when);
            place(&mut part.words, &when);
            place(&mut part.dynamics, &when);
            place(&mut part.hairpins, &when);
            place(&mut part.loose_slurs, &when);
            place(&mut part.chords, &when);
            place(&mut part.tempos, &when);
        }
        place(&mut self.stated, &when);
        self.collect_chords();
        self.collect_meters();
    }

    fn collect_meters(&mut self) {
        let mut changes: Vec<Ticks> = self
            .parts
            .iter()
            .flat_map(|p| p.meters.iter().map(|m| m.onset))
            .collect();
        changes.sort_unstable();
        changes.dedup();
        self.meters.clear();
        for onset in changes {
            let meter = self.most_stated_meter(onset);
            if self
                .meters
                .last()
                .is_none_or(|(_, before, _)| *before != meter)
            {
                let beat = meter.felt_beat(self.per_quarter);
                self.meters.push((onset, meter, beat));
            }
        }
    }

    /// One symbol at a time: where several parts carry one, the readable one that most of them have,
    /// of equals the first from the top. A part that differs is one mistake, not a wrong chord for all.
    fn collect_chords(&mut self) {
        let mut all: Vec<&Mark<ChordMark>> = self.parts.iter().flat_map(|p| &p.chords).collect();
        all.sort_by_key(|m| (m.onset, m.value.unread.is_some()));
        let alike = |a: &ChordMark, b: &ChordMark| {
            a.chord == b.chord && a.unread.is_some() == b.unread.is_some()
        };
        self.chords = all
            .chunk_by(|a, b| a.onset == b.onset)
            .filter_map(|here| {
                let readable = here.partition_point(|m| m.value.unread.is_none());
                let among = here.get(..readable.max(1))?;
                // Each symbol that differs, with its first from the top and its votes. What a sane
                // score has at one time are a few; those of a file made to do harm do not vote.
                let mut ballot: Vec<(&Mark<ChordMark>, usize)> = Vec::new();
                for &m in among {
                    if let Some((_, votes)) =
                        ballot.iter_mut().find(|(o, _)| alike(&o.value, &m.value))
                    {
                        *votes += 1;
                    } else if ballot.len() < MOST_SYMBOLS {
                        ballot.push((m, 1));
                    }
                }
                // The last of equals wins a maximum: from below, that is the first.
                let (most, _) = ballot.iter().rev().max_by_key(|(_, votes)| *votes)?;
                Some((*most).clone())
            })
            .collect();
    }

    /// The chord symbol in force at `onset`.
    pub fn chord_at(&self, onset: Ticks) -> Option<&Mark<ChordMark>> {
        in_force(&self.chords, onset)
    }

    /// The first chord symbol after `onset`.
    pub fn chord_after(&self, onset: Ticks) -> Option<&Mark<ChordMark>> {
        self.chords
            .get(self.chords.partition_point(|m| m.onset <= onset))
    }

    /// The chord that comes in at `onset` in place of another.
    pub fn chord_change(&self, onset: Ticks) -> Option<&Chord> {
        let new = self.chord_at(onset).filter(|m| m.onset == onset)?;
        let chord = new.value.chord.as_ref()?;
        let before = self.chords.partition_point(|m| m.onset < onset);
        let old = before.checked_sub(1).and_then(|i| self.chords.get(i));
        (old.and_then(|m| m.value.chord.as_ref()) != Some(chord)).then_some(chord)
    }

    /// The meter in force at `onset`: what most parts are in, of equals the first from the top. A
    /// change of the bar's length holds for all even when one part alone states it; another name for
    /// the same length (2/2 for 4/4) does not.
    pub fn meter_at(&self, onset: Ticks) -> Meter {
        self.meter_from(onset).map_or(Meter::COMMON, |(_, m, _)| *m)
    }

    /// The beat that players feel at `onset`.
    pub fn felt_beat_at(&self, onset: Ticks) -> Ticks {
        self.meter_from(onset).map_or_else(
            || Meter::COMMON.felt_beat(self.per_quarter),
            |(_, _, beat)| *beat,
        )
    }

    fn meter_from(&self, onset: Ticks) -> Option<&(Ticks, Meter, Ticks)> {
        let n = self.meters.partition_point(|(from, ..)| *from <= onset);
        self.meters.get(n.checked_sub(1)?)
    }

    fn most_stated_meter(&self, onset: Ticks) -> Meter {
        let stated: Vec<&Mark<Meter>> = self
            .parts
            .iter()
            .filter_map(|p| in_force(&p.meters, onset))
            .collect();
        let Some(first) = stated.first() else {
            return Meter::COMMON;
        };
        if stated.iter().all(|m| m.value == first.value) {
            return first.value;
        }
        let votes = |m: &&&Mark<Meter>| {
            let length = m.value.bar(self.per_quarter);
            let outdated = stated
                .iter()
                .any(|o| o.onset > m.onset && o.value.bar(self.per_quarter) != length);
            let same = stated.iter().filter(|o| o.value == m.value).count();
            (!outdated, same)
        };
        stated
            .iter()
            .rev()
            .max_by_key(votes)
            .map_or(Meter::COMMON, |m| m.value)
    }

    /// The bar that `onset` falls in and the time since its bar line.
    pub fn place_of(&self, onset: Ticks) -> Place {
        let n = self.bars.partition_point(|b| b.start <= onset);
        let bar = n.saturating_sub(1);
        let start = self.bars.get(bar).map_or(Ticks::ZERO, |b| b.start);
        Place {
            bar: bar as u32,
            offset: onset - start,
        }
    }

    /// The beat at a place, as players count it (a pickup counts towards its bar line).
    pub fn beat_at(&self, at: Place) -> Beat {
        let bar = self.bars.get(at.bar as usize);
        let start = bar.map_or(Ticks::ZERO, |b| b.start);
        let meter = self.meter_at(start);
        let missing = bar.map_or(Ticks::ZERO, |b| b.missing);
        Beat::at(at.offset, missing, meter, self.per_quarter)
    }

    /// The printed number of a bar; its 1-based position when it has none.
    pub fn bar_number(&self, bar: u32) -> String {
        self.bars
            .get(bar as usize)
            .map_or_else(|| (bar + 1).to_string(), |b| b.number.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::text::STRIDE;

    #[test]
    fn lines_and_columns_are_those_one_counts() {
        // Lines of all lengths around the stride, with characters of one to four bytes.
        let mut text = String::new();
        for (i, length) in [0, 3, 5_000, 1, 4_090, 12_300, 0, 2]
            .into_iter()
            .enumerate()
        {
            text.extend("aé€𝄞b".chars().cycle().skip(i).take(length));
            text.push('\n');
        }
        text.push_str("end");
        let source = |text: &str| Source {
            path: PathBuf::new(),
            member: None,
            format: Format::Grid,
            text: text.into(),
            lines: OnceLock::new(),
        };
        // One that ends with a stride, and one that has none.
        let whole = "a\n".repeat(STRIDE);
        assert_eq!(source(&whole).line_column(u32::MAX), (STRIDE + 1, 1));
        assert_eq!(source("").line_column(0), (1, 1));
        let source = source(&text);
        let (mut line, mut column) = (1, 1);
        for (at, c) in text.char_indices() {
            assert_eq!(source.line_column(at as u32), (line, column), "byte {at}");
            (line, column) = if c == '\n' {
                (line + 1, 1)
            } else {
                (line, column + 1)
            };
        }
        assert_eq!(source.line_column(u32::MAX), (9, 4));
    }
}
