//! Everything known of one section of a score: its sonorities, lead line, phrases, technique in force
//! and diagnoses.

use super::frame::{section_key, symbol_at};
use super::habits::Habits;
use super::lead::held_lead;
use super::outcome::Diagnosis;
use super::technique::InForce;
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::sonority::lead::LeadNote;
use crate::sonority::{Section, Sonority};
use std::ops::Range;

/// Everything known of one section of a score.
#[derive(Clone, Debug)]
pub struct Passage {
    /// The section.
    pub section: Section,
    /// It is the only one of the score that plays chords.
    pub alone: bool,
    /// Its parts keep one order from the top nearly always.
    pub keeps_order: bool,
    /// Its sonorities in order.
    pub sonorities: Vec<Sonority>,
    /// The lead note of each, where one is attacked or the chord changes under it.
    pub leads: Vec<Option<LeadNote>>,
    /// Ranges of sonorities between rests of a beat or more and double bars.
    pub phrases: Vec<Range<usize>>,
    /// The technique in force for each sonority.
    pub in_force: Vec<Option<InForce>>,
    /// How it harmonises approach notes.
    pub habits: Habits,
    /// For each phrase, whether it moves as a block.
    pub moves_as_block: Vec<bool>,
    /// For each phrase, whether in most of its block sonorities the top seat has the top note.
    pub led_by_top_seat: Vec<bool>,
    /// The diagnosis of each.
    pub diagnoses: Vec<Diagnosis>,
    /// What the account of each costs, in the points of `rules/diagnosis.toml`; 0 where none is asked for.
    pub costs: Vec<i32>,
}

/// A chord struck again more often than this to either side is looked at no further: it stays.
const STRUCK_AGAIN: usize = 64;

/// How many sonorities to either side are looked at whatever phrase they are of.
const NEAR: usize = 6;

impl Passage {
    /// The section's concert key at a time, in fifths.
    pub fn key_at(&self, score: &Score, onset: Ticks) -> i8 {
        section_key(score, &self.section)(onset)
    }

    /// The chord symbol that a sonority was read under, where it was held to a technique.
    pub fn symbol_of<'s>(&self, score: &'s Score, sonority: usize) -> Option<&'s str> {
        self.diagnoses.get(sonority)?.technique?;
        symbol_at(score, self.sonorities.get(sonority)?.onset)
    }

    /// The phrase that a sonority stands in.
    pub fn phrase_of(&self, sonority: usize) -> Range<usize> {
        self.phrase_index(sonority)
            .and_then(|i| self.phrases.get(i))
            .cloned()
            .unwrap_or(sonority..sonority + 1)
    }

    /// Which of the phrases a sonority stands in.
    pub(super) fn phrase_index(&self, sonority: usize) -> Option<usize> {
        let i = self.phrases.partition_point(|p| p.end <= sonority);
        self.phrases.get(i).filter(|p| p.contains(&sonority))?;
        Some(i)
    }

    /// Whether the phrase that a sonority stands in moves as a block: in most of its sonorities of
    /// three voices or more all are struck together. Else it is counterpoint.
    pub fn is_block_phrase(&self, sonority: usize) -> bool {
        self.phrase_index(sonority)
            .and_then(|i| self.moves_as_block.get(i))
            .copied()
            .unwrap_or(false)
    }

    /// Whether the top seat leads the phrase that a sonority stands in.
    pub fn is_led_by_top_seat(&self, sonority: usize) -> bool {
        self.phrase_index(sonority)
            .and_then(|i| self.led_by_top_seat.get(i))
            .copied()
            .unwrap_or(false)
    }

    /// Whether the chord changes at a time under a held lead while some other voice moves.
    pub fn changes_under_held_lead(&self, score: &Score, onset: Ticks) -> bool {
        let at = self.sonorities.binary_search_by_key(&onset, |s| s.onset);
        at.is_ok_and(|i| {
            let before = i.checked_sub(1).and_then(|b| self.sonorities.get(b));
            let here = self.sonorities.get(i);
            here.is_some_and(|s| s.under_held_lead || held_lead(before, s).is_some())
        }) && score.chord_change(onset).is_some()
    }

    /// The sonorities around one that strike its notes and no others, without a rest between: one chord, struck
    /// again. At most 64 to either side.
    pub fn same_chord(&self, around: usize) -> Range<usize> {
        let same = |a: &Sonority, b: &Sonority| {
            a.end == b.onset
                && a.voices.len() == b.voices.len()
                && a.voices
                    .iter()
                    .zip(&b.voices)
                    .all(|(a, b)| a.midi == b.midi)
        };
        let goes_on = |i: usize| {
            let pair = self.sonorities.get(i).zip(self.sonorities.get(i + 1));
            pair.is_some_and(|(a, b)| same(a, b))
        };
        let before = (0..around).rev().take(STRUCK_AGAIN);
        let start = before.take_while(|i| goes_on(*i)).last();
        let after = (around..self.sonorities.len()).take(STRUCK_AGAIN);
        let end = after.take_while(|i| goes_on(*i)).last();
        start.unwrap_or(around)..end.map_or(around, |i| i + 1) + 1
    }

    /// Whether all voices go on by the same step, a semitone or a whole tone, into a chord, from one that is no
    /// longer than a beat: it approaches that chord.
    pub fn moves_on_in_parallel(&self, at: usize, beat: Ticks) -> bool {
        let same = self.same_chord(at);
        let first = self.sonorities.get(same.start);
        let last = same.end.checked_sub(1).and_then(|l| self.sonorities.get(l));
        let (Some(first), Some(last)) = (first, last) else {
            return false;
        };
        let Some(next) = self.sonorities.get(same.end) else {
            return false;
        };
        let mut steps = last.voices.iter().zip(&next.voices);
        let step = steps.next().map_or(0, |(a, b)| b.midi - a.midi);
        last.end - first.onset <= beat
            && last.end == next.onset
            && last.voices.len() == next.voices.len()
            && matches!(step, -2 | -1 | 1 | 2)
            && steps.all(|(a, b)| b.midi - a.midi == step)
    }

    /// The sonorities of the phrase around one, at most `reach` to either side; of a short phrase, with some of
    /// its neighbours': a chord by itself does not say how the section is seated.
    pub fn stretch(&self, around: usize, reach: usize) -> Range<usize> {
        let phrase = self.phrase_of(around);
        let (from, to) = (
            around.saturating_sub(NEAR),
            self.sonorities.len().min(around.saturating_add(NEAR + 1)),
        );
        phrase.start.max(around.saturating_sub(reach)).min(from)
            ..phrase.end.min(around.saturating_add(reach + 1)).max(to)
    }
}
