//! The lead and the section that one answer is made of.

use super::answer::Weighed;
use super::seats::{Seat, left_hand};
use crate::diagnosis::Passage;
use crate::ground::naming::Naming;
use crate::ground::pitch::{Pitch, PitchClass};
use crate::score::Score;
use crate::style::Style;
use crate::voicing::{Technique, low};

/// Everything needed to voice one lead.
pub(super) struct Job<'a> {
    pub lead: &'a Score,
    pub passage: &'a Passage,
    pub style: &'a Style,
    pub technique: Technique,
    pub seats: &'a [Seat],
    /// How many semitones under the lead each seat plays in unison and octaves.
    pub octaves: Vec<i16>,
}

impl Job<'_> {
    pub(super) fn lead_midi(&self, at: usize) -> Option<i16> {
        self.passage
            .sonorities
            .get(at)?
            .voices
            .first()
            .map(|v| v.midi)
    }

    pub(super) fn voices(&self) -> usize {
        match self.seats {
            [one] if !one.instrument.single_line => match self.technique {
                Technique::Mechanical(m) => m.voices(),
                Technique::Form(f) => *f.voices().end().min(&5),
            },
            seats => seats.len(),
        }
    }

    /// Shorter than a beat.
    pub(super) fn is_quick(&self, at: usize) -> bool {
        self.passage
            .leads
            .get(at)
            .copied()
            .flatten()
            .is_some_and(|l| l.duration() < l.beat)
    }

    /// One part plays all the notes.
    pub(super) fn is_chordal(&self) -> bool {
        matches!(self.seats, [one] if !one.instrument.single_line)
    }

    /// Whether no interval lies lower than the rules let it.
    pub(super) fn is_clear(&self, at: usize, voicing: &[i16]) -> bool {
        let lenient = self.is_quick(at);
        voicing.windows(2).all(|w| match w {
            [a, b] => {
                low::below(*a, *b).is_none_or(|(by, _)| lenient && by < low::distance().avoided)
            }
            _ => true,
        })
    }

    /// What the seats say of a voicing: `None` when one of them cannot play its note.
    pub(super) fn cost_of_seats(&self, voicing: &[i16]) -> Option<i32> {
        if let [one] = self.seats
            && !one.instrument.single_line
        {
            let sum = voicing.iter().map(|&m| one.cost(m)).sum::<Option<i32>>()?;
            let hands = one
                .instrument
                .hand_span
                .is_none_or(|span| left_hand(voicing, span.comfortable).is_some());
            return hands.then_some(sum);
        }
        if voicing.len() != self.seats.len() {
            return None;
        }
        self.seats
            .iter()
            .zip(voicing)
            .map(|(seat, &m)| seat.cost(m))
            .sum()
    }

    /// How a note is spelled: as its harmony names it, the lead else as it stands, the rest by key.
    pub(super) fn spell(&self, at: usize, option: &Weighed, midi: i16) -> Pitch {
        let sonority = self.passage.sonorities.get(at);
        let onset = sonority.map(|s| s.onset).unwrap_or_default();
        let naming = Naming {
            chord: &option.names,
            key: self.passage.key_at(self.lead, onset),
        };
        let class = PitchClass::new(midi);
        if option.names.iter().any(|n| n.class() == class) {
            let voices = sonority.map(|s| s.voices.as_slice()).unwrap_or_default();
            return naming.pitch(midi, |name| voices.iter().any(|v| v.pitch.name() == name));
        }
        if let Some(v) = sonority.and_then(|s| s.voices.first())
            && (v.midi - midi) % 12 == 0
            && let Some(p) = Pitch::named(v.pitch.name(), midi)
        {
            return p;
        }
        naming.pitch(midi, |_| false)
    }
}
