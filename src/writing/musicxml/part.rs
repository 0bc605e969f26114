//! The bars of one part.

use super::attributes::{AttributesWritten, printed_key, printed_transposition};
use super::directions::{Direction, directions};
use super::slurs::{SlurEnd, slurs};
use super::text::{XmlText, escape};
use crate::ground::pitch::{Pitch, Step};
use crate::ground::time::{Meter, Ticks};
use crate::notation::clefs::{clef_at, default_clef, default_clefs};
use crate::notation::tuplets::lcm;
use crate::notation::{
    self, PlayersPage, PrintedEvent, PrintedPart, PrintedVoice, Quarters, ZERO, quarters,
};
use crate::score::identity::Identity;
use crate::score::{Clef, Mark, Part, PartBar, Score, in_force};
use num_rational::Ratio;
use std::collections::HashMap;
use std::iter::Peekable;
use std::slice::Iter;

/// The time in a bar up to which it is written.
struct Cursor {
    at: Quarters,
    furthest: Quarters,
}

/// The page that a part is written on.
pub(super) struct WrittenPage<'a> {
    pub score: &'a Score,
    pub part: &'a Part,
    /// Clefs of staves that state none at the start.
    pub default_clefs: Vec<Clef>,
    pub meters: &'a [Mark<Meter>],
}

impl PlayersPage for WrittenPage<'_> {
    fn pitch(&self, note: usize) -> Pitch {
        let Some(note) = self.part.notes.get(note) else {
            return Pitch::new(Step::C, 0, 4);
        };
        if !self.score.concert {
            return note.written;
        }
        let by = printed_transposition(self.score, self.part.transposition(note.onset));
        note.sounding.transposed(by.inverse())
    }

    fn meter(&self, onset: Ticks) -> Meter {
        in_force(self.meters, onset).map_or(Meter::COMMON, |m| m.value)
    }

    fn clef(&self, staff: u8, onset: Ticks) -> Clef {
        clef_at(self.part, staff, onset).unwrap_or_else(|| default_clef(&self.default_clefs, staff))
    }

    fn fifths(&self, onset: Ticks) -> i8 {
        printed_key(self.score, self.part, self.part.key(onset), onset).fifths
    }
}

/// Writes one part.
pub(super) struct PartWriter<'a> {
    pub page: WrittenPage<'a>,
    printed: PrintedPart,
    /// The ends of slurs at each note, by 0-based index.
    pub slurs: HashMap<usize, Vec<SlurEnd>>,
    divisions: i64,
    /// Directions of each bar in order of time.
    directions: Vec<Vec<Direction>>,
}

impl<'a> PartWriter<'a> {
    pub(super) fn new(score: &'a Score, part: &'a Part, identity: Option<&Identity<'_>>) -> Self {
        let page = WrittenPage {
            score,
            part,
            default_clefs: default_clefs(part, identity),
            meters: notation::meters(score, part),
        };
        let printed = notation::lay_out(score, part, 0..score.bars.len(), &page);
        let mut writer = Self {
            page,
            printed,
            slurs: slurs(part),
            divisions: 1,
            directions: directions(score, part),
        };
        writer.divisions = writer.needed_divisions();
        writer
    }

    /// The fewest divisions of a quarter that hold all that is written.
    fn needed_divisions(&self) -> i64 {
        let mut divisions = 1;
        let mut need = |q: Quarters| divisions = lcm(divisions, *q.denom());
        for voice in self.printed.bars.iter().flatten() {
            for event in &voice.events {
                need(event.start);
                need(event.length);
            }
        }
        for direction in self.directions.iter().flatten() {
            need(direction.at);
        }
        for bar in 0..self.page.score.bars.len() {
            need(self.filled(bar));
            for at in self.changes(bar) {
                need(at);
            }
        }
        divisions
    }

    /// A time in divisions.
    pub(super) fn divided(&self, time: Quarters) -> i64 {
        (time * self.divisions).to_integer()
    }

    pub(super) fn divisions(&self) -> i64 {
        self.divisions
    }

    /// How much time the part fills in a bar.
    fn filled(&self, bar: usize) -> Quarters {
        let WrittenPage { score, part, .. } = &self.page;
        let own = part.bars.get(bar).map(|b| b.filled);
        let filled = own
            .filter(|f| *f > Ticks::ZERO)
            .unwrap_or_else(|| score.bars.get(bar).map_or(Ticks::ZERO, |b| b.length));
        quarters(filled, score.per_quarter)
    }

    /// The times inside a bar at which a key, meter, clef or transposition changes.
    fn changes(&self, bar: usize) -> Vec<Quarters> {
        fn inside<T>(marks: &[Mark<T>], bar: usize, out: &mut Vec<Ticks>) {
            out.extend(
                marks
                    .iter()
                    .filter(|m| m.at.bar as usize == bar && m.at.offset > Ticks::ZERO)
                    .map(|m| m.at.offset),
            );
        }
        let mut times = Vec::new();
        inside(&self.page.part.keys, bar, &mut times);
        inside(self.page.meters, bar, &mut times);
        inside(&self.page.part.clefs, bar, &mut times);
        inside(&self.page.part.transpositions, bar, &mut times);
        times.sort_unstable();
        times.dedup();
        times
            .into_iter()
            .map(|t| quarters(t, self.page.score.per_quarter))
            .collect()
    }

    /// Writes all bars.
    pub(super) fn write(&self, out: &mut XmlText) {
        let mut written = AttributesWritten::default();
        let blank = PartBar::default();
        let WrittenPage { score, part, .. } = &self.page;
        for (index, bar) in score.bars.iter().enumerate() {
            let own = part.bars.get(index).unwrap_or(&blank);
            let number = if own.number.is_empty() {
                &bar.number
            } else {
                &own.number
            };
            let uncounted = own.uncounted || (part.bars.len() <= index && bar.pickup);
            let implicit = if uncounted { " implicit=\"yes\"" } else { "" };
            out.open(&format!("measure number=\"{}\"{implicit}", escape(number)));
            if own.repeat_start {
                out.open("barline location=\"left\"");
                out.line("<bar-style>heavy-light</bar-style>");
                out.line("<repeat direction=\"forward\"/>");
                out.close("barline");
            }
            self.bar(out, index, own, &mut written);
            let last = index + 1 == score.bars.len();
            let style = match (own.double_bar, own.repeat_end) {
                (_, true) => Some("light-heavy"),
                (true, false) if last => Some("light-heavy"),
                (true, false) => Some("light-light"),
                (false, false) => None,
            };
            if let Some(style) = style {
                out.open("barline location=\"right\"");
                out.element("bar-style", style);
                if own.repeat_end {
                    out.line("<repeat direction=\"backward\"/>");
                }
                out.close("barline");
            }
            out.close("measure");
        }
    }

    /// Writes a bar between its bar lines: all voices up to each change inside the bar, then on.
    fn bar(&self, out: &mut XmlText, index: usize, own: &PartBar, written: &mut AttributesWritten) {
        let none: &[PrintedVoice] = &[];
        let voices = self.printed.bars.get(index).map_or(none, Vec::as_slice);
        let directions = self.directions.get(index).map_or(&[][..], Vec::as_slice);
        let mut directions = directions.iter().peekable();
        let mut cursor = Cursor {
            at: ZERO,
            furthest: ZERO,
        };
        let mut from = ZERO;
        let mut changes = self.changes(index).into_iter();
        loop {
            let until = changes.next();
            self.go_to(out, &mut cursor, from);
            self.attributes(out, index, from, own, written);
            let within = |p: &&PrintedEvent| p.start >= from && until.is_none_or(|u| p.start < u);
            // Directions stand among the events of the first voice.
            let (first, others) = match voices.split_first() {
                Some((first, others)) => (Some(first), others),
                None => (None, voices),
            };
            for event in first.iter().flat_map(|v| &v.events).filter(within) {
                self.directions_before(out, &mut cursor, &mut directions, event);
                self.event_at(out, &mut cursor, first.map_or(1, |v| v.number), event);
            }
            while let Some(direction) = directions.next_if(|d| until.is_none_or(|u| d.at < u)) {
                self.direction(out, direction, cursor.at);
            }
            for voice in others {
                for event in voice.events.iter().filter(within) {
                    self.event_at(out, &mut cursor, voice.number, event);
                }
            }
            match until {
                Some(next) => from = next,
                None => break,
            }
        }
        let end = self.filled(index);
        if cursor.furthest < end {
            self.go_to(out, &mut cursor, end);
        }
    }

    /// Writes the directions that start before an event of the first voice ends.
    fn directions_before(
        &self,
        out: &mut XmlText,
        cursor: &mut Cursor,
        directions: &mut Peekable<Iter<'_, Direction>>,
        event: &PrintedEvent,
    ) {
        let end = event.end().max(event.start + Ratio::new(1, 4096));
        while let Some(direction) = directions.next_if(|d| d.at < end) {
            // In a silence before the note the cursor goes on to the direction.
            if direction.at < event.start && direction.at > cursor.at {
                self.go_to(out, cursor, direction.at);
            }
            if event.start <= direction.at {
                self.go_to(out, cursor, event.start);
            }
            self.direction(out, direction, cursor.at);
        }
    }

    /// Writes an event where it starts.
    fn event_at(&self, out: &mut XmlText, cursor: &mut Cursor, voice: u8, event: &PrintedEvent) {
        self.go_to(out, cursor, event.start);
        self.event(out, voice, event);
        cursor.at = event.end();
        cursor.furthest = cursor.furthest.max(cursor.at);
    }

    fn go_to(&self, out: &mut XmlText, cursor: &mut Cursor, to: Quarters) {
        let (name, by) = match to.cmp(&cursor.at) {
            std::cmp::Ordering::Less => ("backup", cursor.at - to),
            std::cmp::Ordering::Greater => ("forward", to - cursor.at),
            std::cmp::Ordering::Equal => return,
        };
        out.line(&format!(
            "<{name}><duration>{}</duration></{name}>",
            self.divided(by)
        ));
        cursor.at = to;
        cursor.furthest = cursor.furthest.max(to);
    }
}
