//! Facts of a score that conditions ask for at many places, each worked out once.

use super::value::FactValue;
use crate::condition::Name;
use crate::diagnosis::Passage;
use crate::ground::chord::Chord;
use crate::ground::time::{Beat, Meter, Ticks};
use crate::score::{NoteFlags, NoteRef, Place, Score};
use std::borrow::Cow;
use std::cell::{OnceCell, RefCell};
use std::collections::HashMap;

/// Meters, rehearsal marks and slurs of a score, each worked out once.
pub(super) struct ScoreFacts<'r> {
    pub(super) score: &'r Score,
    meters: RefCell<HashMap<u32, Meter>>,
    marks: OnceCell<Vec<(u32, String)>>,
    slurs: RefCell<HashMap<u32, Vec<bool>>>,
}

impl<'r> ScoreFacts<'r> {
    pub(super) fn new(score: &'r Score) -> Self {
        Self {
            score,
            meters: RefCell::default(),
            marks: OnceCell::new(),
            slurs: RefCell::default(),
        }
    }

    pub(super) fn meter(&self, bar: u32) -> Meter {
        *self.meters.borrow_mut().entry(bar).or_insert_with(|| {
            let start = self.score.bars.get(bar as usize).map(|b| b.start);
            self.score.meter_at(start.unwrap_or_default())
        })
    }

    /// Rehearsal marks with their bars.
    pub(super) fn marks(&self) -> &[(u32, String)] {
        self.marks.get_or_init(|| {
            let mut all: Vec<(u32, String)> = self
                .score
                .parts
                .iter()
                .flat_map(|p| p.bars.iter().enumerate())
                .filter_map(|(i, bar)| Some((i as u32, bar.rehearsal.clone()?)))
                .collect();
            all.sort_by_key(|(bar, _)| *bar);
            all.dedup_by_key(|(bar, _)| *bar);
            all
        })
    }

    pub(super) fn mark(&self, bar: u32) -> FactValue<'_> {
        let marks = self.marks();
        let n = marks.partition_point(|(b, _)| *b <= bar);
        let mark = n.checked_sub(1).and_then(|i| marks.get(i));
        FactValue::text(mark.map_or("", |(_, text)| text.as_str()))
    }

    /// In units of the lower figure of a bar's meter.
    pub(super) fn beats(&self, bar: u32, length: Ticks) -> FactValue<'r> {
        let unit = self.meter(bar).unit_quarters() * self.score.per_quarter.0.max(1);
        let unit = *unit.numer() as f64 / *unit.denom() as f64;
        FactValue::Decimal(rounded(length.0 as f64 / unit))
    }

    pub(super) fn beat(&self, at: Place) -> Beat {
        let missing = self
            .score
            .bars
            .get(at.bar as usize)
            .map(|b| b.missing)
            .unwrap_or_default();
        Beat::at(
            at.offset,
            missing,
            self.meter(at.bar),
            self.score.per_quarter,
        )
    }

    /// The value of a name that depends only on the place.
    pub(super) fn of_place(
        &self,
        passage: &Passage,
        at: Place,
        onset: Ticks,
        name: Name,
    ) -> FactValue<'_> {
        match name {
            Name::Bar => FactValue::Whole(printed(self.score, at.bar)),
            Name::Beat => FactValue::Decimal(self.beat(at).to_f64()),
            Name::Key => FactValue::Whole(i64::from(passage.key_at(self.score, onset))),
            Name::Meter => FactValue::Text(Cow::Owned(self.meter(at.bar).to_string())),
            Name::Mark => self.mark(at.bar),
            Name::MarkHere => FactValue::Flag(self.marks().iter().any(|(b, _)| *b == at.bar)),
            Name::Chord => FactValue::text(self.chord(onset).map_or("", |c| c.text.as_str())),
            _ => FactValue::Missing,
        }
    }

    pub(super) fn chord(&self, onset: Ticks) -> Option<&'r Chord> {
        self.score.chord_at(onset)?.value.chord.as_ref()
    }

    /// Whether a slur leads on from a note.
    pub(super) fn is_slurred(&self, at: NoteRef) -> bool {
        let mut slurs = self.slurs.borrow_mut();
        let of_part = slurs.entry(at.part).or_insert_with(|| {
            let mut open = 0i32;
            let part = self.score.parts.get(at.part as usize);
            part.into_iter()
                .flat_map(|p| &p.notes)
                .map(|n| {
                    open -= i32::from(n.flags.has(NoteFlags::SLUR_STOP));
                    open = open.max(0) + i32::from(n.flags.has(NoteFlags::SLUR_START));
                    open > 0
                })
                .collect()
        });
        of_part.get(at.note as usize).copied().unwrap_or(false)
    }
}

pub(super) fn rounded(n: f64) -> f64 {
    (n * 1e6).round() / 1e6
}

/// The number a bar is printed with; 12 for 12a, 0 without one.
fn printed(score: &Score, bar: u32) -> i64 {
    let text = score.bars.get(bar as usize).map_or("", |b| &b.number);
    let digits = text.trim().split(|c: char| !c.is_ascii_digit()).next();
    digits.and_then(|d| d.parse().ok()).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::Example;

    const PASSAGE: &str = "meter: 6/8
parts: trumpet 1 = trumpet

chord     | C6 - - - - - | - - - - - - |
count     | 1 2 3 4 5 6 | 1 2 3 4 5 6 |
trumpet 1 | C5 - - D5 - - | E5 - - - - - |
";

    #[test]
    fn places_are_counted_in_the_units_of_the_meter() {
        let score = Example::score(PASSAGE).unwrap_or_else(|e| panic!("{e}"));
        let facts = ScoreFacts::new(&score);
        let second = &score.parts[0].notes[1];
        assert_eq!(facts.beat(second.at).to_string(), "4");
        let quarter = score.per_quarter;
        assert_eq!(facts.beats(0, quarter), FactValue::Decimal(2.0));
        assert_eq!(facts.meter(0), facts.meter(1));
        assert_eq!(
            facts.chord(second.onset).map(|c| c.text.as_str()),
            Some("C6")
        );
    }

    #[test]
    fn a_rehearsal_mark_holds_from_its_bar_on() {
        let mut score = Example::score(PASSAGE).unwrap_or_else(|e| panic!("{e}"));
        score.parts[0].bars[1].rehearsal = Some("A".to_owned());
        let facts = ScoreFacts::new(&score);
        assert_eq!(facts.mark(0), FactValue::text(""));
        assert_eq!(facts.mark(1), FactValue::text("A"));
        assert_eq!(facts.mark(900), FactValue::text("A"));
    }

    #[test]
    fn a_slur_leads_on_until_its_last_note() {
        let mut score = Example::score(PASSAGE).unwrap_or_else(|e| panic!("{e}"));
        for (note, slur) in [(0, NoteFlags::SLUR_START), (2, NoteFlags::SLUR_STOP)] {
            let flags = &mut score.parts[0].notes[note].flags;
            *flags = flags.with(slur);
        }
        let facts = ScoreFacts::new(&score);
        let slurred = [0, 1, 2].map(|note| facts.is_slurred(NoteRef { part: 0, note }));
        assert_eq!(slurred, [true, true, false]);
    }

    #[test]
    fn a_printed_bar_number_is_its_digits() {
        let mut score = Example::score(PASSAGE).unwrap_or_else(|e| panic!("{e}"));
        for (number, value) in [("12a", 12), ("12", 12), ("X1", 0), ("", 0)] {
            score.bars[0].number = number.to_owned();
            assert_eq!(printed(&score, 0), value, "{number}");
        }
    }
}
