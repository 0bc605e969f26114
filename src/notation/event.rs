//! Printed notes, chords and rests, and the printed voices they stand in.

use super::note_value::NoteValue;
use super::quarters::Quarters;
use crate::ground::pitch::Pitch;

/// What one beam does at a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Beam {
    Begin,
    Continue,
    End,
    ForwardHook,
    BackwardHook,
}

/// A stem's direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stem {
    Up,
    Down,
}

/// One notehead of a printed event.
#[derive(Clone, Copy, Debug)]
#[allow(clippy::struct_excessive_bools)] // each is a fact of its own
pub(crate) struct Notehead {
    /// 0-based index into the part's notes.
    pub note: usize,
    /// As it is printed.
    pub pitch: Pitch,
    pub tie_in: bool,
    pub tie_out: bool,
    /// The attack of its note.
    pub first: bool,
    /// The end of its note.
    pub last: bool,
    /// The accidental before it, in semitones.
    pub accidental: Option<i8>,
    /// 1-based, from the top.
    pub staff: u8,
}

/// The kinds of printed events.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum EventKind {
    Note,
    Grace,
    Cue,
    Rest,
    /// A rest that fills the bar.
    BarRest,
}

/// A note, chord or rest as it is printed: one note value.
#[derive(Clone, Debug)]
pub(crate) struct PrintedEvent {
    pub start: Quarters,
    pub length: Quarters,
    pub kind: EventKind,
    /// 1-based, from the top.
    pub staff: u8,
    pub heads: Vec<Notehead>,
    pub value: Option<NoteValue>,
    /// Notes in the time of: (3, 2) for a triplet.
    pub tuplet: Option<(i64, i64)>,
    pub tuplet_start: bool,
    pub tuplet_stop: bool,
    /// The tuplet that starts here needs a bracket, since no beam shows it.
    pub bracket: bool,
    /// From the outermost beam inwards.
    pub beams: Vec<Beam>,
    pub stem: Option<Stem>,
}

impl PrintedEvent {
    pub(crate) fn new(start: Quarters, length: Quarters, kind: EventKind, staff: u8) -> Self {
        Self {
            start,
            length,
            kind,
            staff,
            heads: Vec::new(),
            value: None,
            tuplet: None,
            tuplet_start: false,
            tuplet_stop: false,
            bracket: false,
            beams: Vec::new(),
            stem: None,
        }
    }

    pub(crate) fn end(&self) -> Quarters {
        self.start + self.length
    }

    pub(crate) const fn is_rest(&self) -> bool {
        matches!(self.kind, EventKind::Rest | EventKind::BarRest)
    }

    /// Cut in two at a time inside it; the noteheads are tied.
    pub(super) fn cut(self, at: Quarters) -> [Self; 2] {
        let mut first = self.clone();
        let mut second = self;
        second.length = second.end() - at;
        second.start = at;
        first.length = at - first.start;
        for head in &mut first.heads {
            head.tie_out = true;
            head.last = false;
        }
        for head in &mut second.heads {
            head.tie_in = true;
            head.first = false;
        }
        [first, second]
    }
}

/// One printed voice of one bar, in order of time, nothing overlapping.
#[derive(Clone, Debug)]
pub(crate) struct PrintedVoice {
    /// Its number in the part, from 1.
    pub number: u8,
    pub events: Vec<PrintedEvent>,
    /// Which of the overlapping voices of one number; 0 keeps the number.
    pub(super) overlap: u8,
}

impl PrintedVoice {
    /// A voice without events.
    pub(crate) const fn new(number: u8) -> Self {
        Self {
            number,
            events: Vec::new(),
            overlap: 0,
        }
    }
}
