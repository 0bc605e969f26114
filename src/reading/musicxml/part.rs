//! A part while it is being read: what is in force, and where the cursor stands.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "ticks saturate; ratios are of divisions within the limits of `values::decimal`; a voice that is asked for is in the list"
)]

use super::octave;
use super::said_symbols::SaidSymbols;
use super::scale::{MAX_QUARTERS, Scale};
use super::symbol::Symbol;
use super::values::decimal;
use super::xml::{Element, Xml};
use crate::ground::pitch::Transposition;
use crate::ground::text::Span;
use crate::ground::time::{Meter, Ticks};
use crate::reading::fault::{Fault, Parsed};
use crate::score::{ChordMark, LooseSlur, Mark, Part, PartBar, Place};
use num_rational::Ratio;
use std::collections::{HashMap, VecDeque};

/// The first number given to a voice whose name is not a number.
const NAMED_VOICES: u8 = 201;

/// The number of a voice that is called by one.
pub(super) fn voice_of_its_own(name: &str) -> Option<u8> {
    name.parse().ok().filter(|n| *n < NAMED_VOICES)
}

/// A part while it is being read. What is in force goes on from bar to bar.
#[allow(clippy::struct_excessive_bools)] // each is a fact of its own
pub(super) struct PartReader {
    /// What has been read.
    pub part: Part,
    /// The part's `<part>` has been met in this file (or, in a timewise file, in this bar).
    pub seen: bool,
    /// The bar that is open.
    pub bar: PartBar,
    /// Time since the bar line.
    pub cursor: Ticks,
    /// Where the last note that was no chord member started.
    pub onset: Ticks,
    /// The voice of the last note.
    pub voice: u8,
    /// The last note was a grace note.
    pub grace: bool,
    /// Slashes stand instead of notes.
    pub slashes: bool,
    /// No meter is in force.
    pub unmeasured: bool,
    /// The ends of slurs, until the part is known to its end.
    pub slurs: Vec<SlurEnd>,
    /// The meter in force.
    pub meter: Meter,
    /// Waivers met so far: their words, the 0-based bar, where they stand.
    pub waivers: Vec<(String, u32, Span)>,
    /// Chord symbols met so far, by what the file says of them and the transposition they stand in.
    pub symbols: HashMap<(Symbol, Transposition), ChordMark>,
    /// Words over the staff that may be chord symbols.
    pub said_symbols: SaidSymbols,
    /// Divisions of a quarter note.
    divisions: Ratio<i64>,
    /// The longest bar that is read.
    longest: Ticks,
    /// Ticks in one division, when that is a whole number.
    tick: Option<i64>,
    /// The transposition of every staff that has none of its own.
    transposition: Transposition,
    /// Transpositions of single staves.
    of_staff: Vec<(u8, Transposition)>,
    /// Names of voices that are not numbers.
    voices: Vec<String>,
    /// How many rests the part had when the open bar began, and how much of everything.
    rests_before: usize,
    all_before: usize,
}

/// One end of a slur.
pub(super) struct SlurEnd {
    /// The number by which slurs that are open at the same time are kept apart.
    pub number: u8,
    pub start: bool,
    /// A grace note's: it stands before the note whose time it shares.
    pub grace: bool,
    pub at: Place,
    pub span: Span,
}

impl PartReader {
    pub(super) fn new(part: Part, scale: &Scale) -> Self {
        Self {
            part,
            seen: false,
            bar: PartBar::default(),
            cursor: Ticks::ZERO,
            onset: Ticks::ZERO,
            voice: 1,
            grace: false,
            slashes: false,
            unmeasured: false,
            slurs: Vec::new(),
            meter: Meter::COMMON,
            waivers: Vec::new(),
            symbols: HashMap::new(),
            said_symbols: SaidSymbols::default(),
            divisions: Ratio::from_integer(1),
            longest: Ticks(scale.per_quarter.saturating_mul(MAX_QUARTERS)),
            tick: Some(scale.per_quarter),
            transposition: Transposition::NONE,
            of_staff: Vec::new(),
            voices: Vec::new(),
            rests_before: 0,
            all_before: 0,
        }
    }

    /// Makes room for as much as the part read before it has: parts of a score are alike, and no more is
    /// asked for in all than was read.
    pub(super) fn expect(&mut self, before: &Part) {
        self.part.bars.reserve(before.bars.len());
        self.part.notes.reserve(before.notes.len());
        self.part.rests.reserve(before.rests.len());
    }

    /// Opens a bar.
    pub(super) fn open_bar(&mut self, bar: PartBar) {
        self.bar = bar;
        self.bar.slashes = self.slashes;
        self.bar.unmeasured = self.unmeasured;
        self.cursor = Ticks::ZERO;
        self.onset = Ticks::ZERO;
        self.rests_before = self.part.rests.len();
        self.all_before = self.all();
    }

    /// How many notes, rests and signs the open bar has so far.
    pub(super) fn in_open_bar(&self) -> usize {
        self.all().saturating_sub(self.all_before)
    }

    /// Everything the part has.
    fn all(&self) -> usize {
        let part = &self.part;
        [
            part.notes.len(),
            part.rests.len(),
            part.unpitched,
            part.keys.len(),
            part.meters.len(),
            part.clefs.len(),
            part.transpositions.len(),
            part.words.len(),
            part.dynamics.len(),
            part.hairpins.len(),
            part.pedals.len(),
            part.impossible.len(),
            part.chords.len(),
            part.tempos.len(),
            self.slurs.len(),
        ]
        .into_iter()
        .fold(0, usize::saturating_add)
    }

    /// Closes the open bar, its end now known.
    pub(super) fn close_bar(&mut self, end: usize) {
        let mut bar = std::mem::take(&mut self.bar);
        bar.span.end = end as u32;
        let new = self.part.rests.get_mut(self.rests_before..);
        for rest in new.into_iter().flatten() {
            if rest.at.offset == Ticks::ZERO
                && rest.duration > Ticks::ZERO
                && rest.duration >= bar.filled
            {
                rest.whole_bar = true;
            }
        }
        self.part.bars.push(bar);
    }

    /// Closes the part, all of it now read: which slurs have only one end?
    pub(super) fn close(mut self) -> Part {
        self.slurs
            .sort_by_key(|s| (s.number, s.at, std::cmp::Reverse(s.grace)));
        for slurs in self.slurs.chunk_by(|a, b| a.number == b.number) {
            self.part.loose_slurs.extend(loose_slurs(slurs));
        }
        self.said_symbols.give_to(&mut self.part);
        octave::count_once(&mut self.part);
        self.part
    }

    /// Where the cursor stands.
    pub(super) fn here(&self) -> Place {
        self.place(self.cursor)
    }

    /// A place in the open bar.
    pub(super) fn place(&self, offset: Ticks) -> Place {
        Place {
            bar: self.part.bars.len() as u32,
            offset,
        }
    }

    /// The place `offset` away from the cursor, not before the bar line.
    pub(super) fn near(&self, offset: Ticks) -> Place {
        self.place((self.cursor + offset).max(Ticks::ZERO))
    }

    /// Moves the cursor on; what it has passed is filled.
    pub(super) fn move_on(&mut self, by: Ticks, element: &Element<'_>) -> Parsed<()> {
        self.cursor += by;
        if self.cursor > self.longest {
            return Err(element.fault(format!(
                "the bar grows longer than {MAX_QUARTERS} quarter notes here"
            )));
        }
        self.bar.filled = self.bar.filled.max(self.cursor);
        Ok(())
    }

    /// Moves the cursor back, to the bar line at most: some files back up further than they went.
    pub(super) fn back_up(&mut self, by: Ticks) {
        self.cursor = (self.cursor - by).max(Ticks::ZERO);
    }

    /// Puts new divisions in force.
    pub(super) fn set_divisions(&mut self, divisions: Ratio<i64>, scale: &Scale) {
        self.divisions = divisions;
        let tick = Ratio::from_integer(scale.per_quarter) / divisions;
        self.tick = tick.is_integer().then(|| tick.to_integer());
    }

    /// The open element's text, a length in divisions, as ticks.
    pub(super) fn duration(
        &self,
        xml: &mut Xml<'_>,
        element: &Element<'_>,
        scale: &mut Scale,
    ) -> Parsed<Ticks> {
        let text = xml.text()?;
        if let Some(ticks) = self.whole_divisions(&text) {
            return Ok(ticks);
        }
        let ticks = self.in_divisions(&text, xml, element, scale)?;
        if ticks < Ticks::ZERO {
            return Err(Fault::new(
                element.start()..xml.position(),
                format!("a length of {} divisions is negative", text.trim()),
            ));
        }
        Ok(ticks)
    }

    /// A length in divisions, as ticks, in the common case: digits only, and few enough that nothing can
    /// overflow.
    pub(super) fn whole_divisions(&self, text: &str) -> Option<Ticks> {
        let tick = self.tick?;
        let short = (text.len() <= 9).then_some(text)?;
        let ticks = Ticks(i64::from(short.parse::<u32>().ok()?).saturating_mul(tick));
        (ticks <= self.longest).then_some(ticks)
    }

    /// The open element's text, a distance in divisions that may be negative, as ticks.
    pub(super) fn offset(
        &self,
        xml: &mut Xml<'_>,
        element: &Element<'_>,
        scale: &mut Scale,
    ) -> Parsed<Ticks> {
        let text = xml.text()?;
        self.in_divisions(&text, xml, element, scale)
    }

    fn in_divisions(
        &self,
        text: &str,
        xml: &Xml<'_>,
        element: &Element<'_>,
        scale: &mut Scale,
    ) -> Parsed<Ticks> {
        let at = element.start()..xml.position();
        match decimal(text) {
            Some(value) => scale.ticks(value, self.divisions, &at),
            None => Err(Fault::new(
                at,
                format!(
                    "<{}> holds `{}`, where a number of divisions was expected",
                    element.name(),
                    text.trim()
                ),
            )),
        }
    }

    /// The number of a voice: its own when it is a small number, else one for its name.
    pub(super) fn voice_number(&mut self, name: &str) -> u8 {
        let name = name.trim();
        if let Some(number) = voice_of_its_own(name) {
            return number;
        }
        let index = self.voices.iter().position(|v| v == name);
        let index = index.unwrap_or_else(|| {
            // More names than numbers are left: the last number holds the rest of them.
            if self.voices.len() < usize::from(u8::MAX - NAMED_VOICES) {
                self.voices.push(name.to_owned());
            }
            self.voices.len() - 1
        });
        NAMED_VOICES.saturating_add(u8::try_from(index).unwrap_or(u8::MAX))
    }

    /// Puts a transposition in force, for one staff or for all.
    pub(super) fn set_transposition(&mut self, staff: Option<u8>, value: Transposition) {
        if let Some(staff) = staff {
            self.of_staff.retain(|(s, _)| *s != staff);
            self.of_staff.push((staff, value));
        } else {
            self.of_staff.clear();
            self.transposition = value;
        }
    }

    /// The transposition in force for a staff.
    pub(super) fn transposition(&self, staff: u8) -> Transposition {
        self.of_staff
            .iter()
            .find(|(s, _)| *s == staff)
            .map_or(self.transposition, |(_, t)| *t)
    }
}

/// The bytes from the start of an element to where the walk stands.
pub(super) fn span(start: usize, xml: &Xml<'_>) -> Span {
    Span {
        source: 0,
        start: start as u32,
        end: xml.position() as u32,
    }
}

/// The ends of slurs of one number, in order of time, that have no other end. Files write ends and
/// starts of one time in any order: an end belongs to the slur that was opened last before it, else to
/// one that starts right there. So the slur that was forgotten is the loose one, not the next.
fn loose_slurs(slurs: &[SlurEnd]) -> Vec<Mark<LooseSlur>> {
    let mut open: Vec<&SlurEnd> = Vec::new();
    let mut early: VecDeque<&SlurEnd> = VecDeque::new();
    let mut loose = Vec::new();
    let mark = |s: &SlurEnd, end| Mark::new(s.at, end, s.span);
    for slur in slurs {
        if early.front().is_some_and(|e| e.at < slur.at) {
            loose.extend(early.drain(..).map(|e| mark(e, LooseSlur::Stop)));
        }
        if slur.start {
            if early.pop_front().is_none() {
                open.push(slur);
            }
        } else if let Some(from) = open
            .iter()
            .rposition(|o| o.at < slur.at)
            .or((!open.is_empty()).then_some(0))
        {
            open.remove(from);
        } else {
            early.push_back(slur);
        }
    }
    loose.extend(early.into_iter().map(|e| mark(e, LooseSlur::Stop)));
    loose.extend(open.into_iter().map(|o| mark(o, LooseSlur::Start)));
    loose
}
