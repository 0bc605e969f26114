//! The score as a whole, and what is in force in it at a time.

use super::bar::Bar;
use super::marks::{ChordMark, Mark, Stated, in_force};
use super::part::{Part, Presumed};
use super::place::Place;
use super::shared::Shared;
use super::source::Source;
use super::spoken::SpokenPitch;
use super::stretch::Stretch;
use super::waiver::Waiver;
use crate::ground::chord::Chord;
use crate::ground::instrument::CatalogueInUse;
use crate::ground::time::{Beat, Meter, Ticks};
use std::borrow::Cow;

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
    /// Which of the voicings of a lead note the writer chose, 1 for the first: for `voice`.
    pub choices: Vec<Mark<u8>>,
    /// Findings that the score itself says are meant.
    pub waivers: Vec<Waiver>,
    /// What is wrong with the table of contents of the container it was read from, which holds but one score.
    pub spoiled_contents: Option<String>,
    /// How many texts were longer than is kept, and were cut when they were read.
    pub cut_texts: usize,
    /// The file says its pitches are sounding (a concert score).
    pub concert: bool,
    /// At which pitch people are told of its notes.
    pub spoken: SpokenPitch,
    /// Parts that are read with another transposition than their file has.
    pub presumed: Vec<Presumed>,
    /// Stretches of parts that are read otherwise than they stand.
    pub stretches: Vec<Stretch>,
    /// The instruments and sections its parts are known by.
    pub instruments: CatalogueInUse,
}

impl Score {
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

    /// The score with the pages of its files, where parts are read otherwise. A part for which
    /// `written_out` holds is about to be written for its instrument from end to end.
    pub fn filed(&self, written_out: impl Fn(u32) -> bool) -> Cow<'_, Self> {
        let mut score = Cow::Borrowed(self);
        for presumed in &self.presumed {
            let part = self.parts.get(presumed.part as usize);
            let filed = part.and_then(|p| p.filed(presumed, written_out(presumed.part)));
            let to = presumed.part as usize;
            if let (Some(filed), Some(part)) = (filed, score.to_mut().parts.get_mut(to)) {
                *part = filed;
            }
        }
        score
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
