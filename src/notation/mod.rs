//! The page laid out: how a part's bars look on paper.
//!
//! A score says when a note starts and how long it sounds. A page needs more: note values and ties,
//! tuplets, beams, stems and accidentals. [`lay_out`] works them out for one part, in this order:
//!
//! 1. `voices` divides the notes and rests of a bar into printed voices and adds missing rests;
//! 2. `beats` and `cuts` cut at the beat what no single value holds or what would hide a beat;
//! 3. `tuplets` and `values` give each piece its note value;
//! 4. `beams`, `stems` and `accidentals` add the rest; `clefs` says on which lines notes stand.
//!
//! Files written by `writing` and pictures drawn by `engraving` are both made from the result.
//!
//! Times are exact, in quarter notes since the bar line. Pitches are whatever is printed, written or
//! sounding: the caller says which, with a [`PlayersPage`].

mod accidentals;
mod beams;
mod beats;
pub(crate) mod clefs;
mod cuts;
mod stems;
pub(crate) mod tuplets;
mod values;
mod voices;

pub(crate) use beams::Beam;
pub(crate) use stems::Stem;
pub(crate) use values::NoteValue;

use crate::ground::pitch::Pitch;
use crate::ground::time::{Meter, Ticks};
use crate::score::{Clef, Mark, Part, Score};
use beats::Beats;
use num_rational::Ratio;
use std::ops::Range;

/// Time in quarter notes.
pub(crate) type Quarters = Ratio<i64>;

/// No time at all.
pub(crate) const ZERO: Quarters = Ratio::new_raw(0, 1);

/// Ticks as quarter notes.
pub(crate) fn quarters(ticks: Ticks, per_quarter: Ticks) -> Quarters {
    Ratio::new(ticks.0, per_quarter.0.max(1))
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
    fn new(start: Quarters, length: Quarters, kind: EventKind, staff: u8) -> Self {
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
    fn cut(self, at: Quarters) -> [Self; 2] {
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
    overlap: u8,
}

/// The bars of one part, each with its printed voices.
pub(crate) struct PrintedPart {
    pub bars: Vec<Vec<PrintedVoice>>,
}

/// The page of one player: in which pitch, clef, key and meter a part is printed.
pub(crate) trait PlayersPage {
    /// The printed pitch of a note; `note` is a 0-based index into the part's notes.
    fn pitch(&self, note: usize) -> Pitch;
    /// The meter at a time of the score.
    fn meter(&self, onset: Ticks) -> Meter;
    /// The clef of a staff (1-based, from the top) at a time of the score.
    fn clef(&self, staff: u8, onset: Ticks) -> Clef;
    /// The printed key signature at a time of the score: sharps, or flats when negative.
    fn fifths(&self, onset: Ticks) -> i8;
}

/// The meters that hold for a part. A passage states its meter once, in its first part.
pub(crate) fn meters<'a>(score: &'a Score, part: &'a Part) -> &'a [Mark<Meter>] {
    if part.meters.is_empty() {
        score
            .parts
            .iter()
            .map(|p| p.meters.as_slice())
            .find(|m| !m.is_empty())
            .unwrap_or_default()
    } else {
        &part.meters
    }
}

/// Lays out the bars in `range` (0-based) of a part; the others stay empty.
pub(crate) fn lay_out(
    score: &Score,
    part: &Part,
    range: Range<usize>,
    page: &impl PlayersPage,
) -> PrintedPart {
    let per_quarter = score.per_quarter;
    let mut bars = voices::collect(score, part, &range, page);
    for (bar, voices) in bars.iter_mut().enumerate() {
        if !range.contains(&bar) {
            continue;
        }
        let own = part.bars.get(bar);
        let start = score.bars.get(bar).map_or(Ticks::ZERO, |b| b.start);
        let length = bar_length(score, bar);
        let pickup = score.bars.get(bar).is_some_and(|b| b.pickup);
        let beats = Beats::new(page.meter(start), length, pickup);
        let filled = own
            .map(|b| quarters(b.filled, per_quarter))
            .filter(|f| *f > ZERO)
            .unwrap_or(length);
        // Notes without pitch take time too, but a score does not say when.
        if part.unpitched == 0 && !own.is_some_and(|b| b.slashes) {
            voices::fill_with_rests(voices, part.staves.max(1), filled);
        }
        voices.sort_by_key(|v| v.number);
        for voice in voices.iter_mut() {
            let mut events = std::mem::take(&mut voice.events);
            // Cutting a tuplet's rests can leave rests that belong together again.
            for _ in 0..8 {
                let joined = cuts::bar_rest(cuts::join_rests(events.clone()), &beats, filled);
                let before: Vec<Quarters> = events.iter().map(|p| p.start).collect();
                events = cuts::cut_all(joined, &beats);
                if events.iter().map(|p| p.start).eq(before) {
                    break;
                }
            }
            tuplets::mark(&mut events);
            values::set_all(&mut events);
            beams::set_all(&mut events, &beats);
            tuplets::set_brackets(&mut events);
            voice.events = events;
        }
        let when = |at: Quarters| start + Ticks((at * per_quarter.0).to_integer());
        stems::set_all(voices, &|staff, at| page.clef(staff, when(at)));
        accidentals::set_all(voices, &|at| page.fifths(when(at)));
    }
    PrintedPart { bars }
}

/// How long a bar of the score is (0-based).
fn bar_length(score: &Score, bar: usize) -> Quarters {
    let ticks = score.bars.get(bar).map_or(Ticks::ZERO, |b| b.length);
    quarters(ticks, score.per_quarter)
}
