//! The lead and the section that one answer is made of.

use super::answer::Weighed;
use super::arrangement::{Arrangement, Octaves, octaves_of_seats};
use super::request::Passing;
use super::seats::{Role, Seat, left_hand};
use crate::diagnosis::Passage;
use crate::ground::naming::Naming;
use crate::ground::pitch::{Pitch, PitchClass};
use crate::score::Score;
use crate::style::Style;
use crate::voicing::{Voicing, low};

/// Everything needed to voice one lead.
pub(super) struct Job<'a> {
    pub lead: &'a Score,
    pub passage: &'a Passage,
    pub style: &'a Style,
    pub seats: &'a [Seat],
    pub arrangement: &'a Arrangement,
    pub octaves: Octaves,
    pub passing: Option<Passing>,
}

/// What it costs that the lead lies outside the range of who plays it: no voicing cures that.
const LEAD_OUT_OF_RANGE: i32 = 50;

impl Job<'_> {
    pub(super) fn lead_midi(&self, at: usize) -> Option<i16> {
        self.passage
            .sonorities
            .get(at)?
            .voices
            .first()
            .map(|v| v.midi)
    }

    /// How far below the lead each seat plays in unison and octaves: as in the whole passage, else as the phrase lets it.
    pub(super) fn octaves_at(&self, at: usize) -> Vec<i16> {
        let phrase = self.passage.phrase_of(at);
        let own = phrase.filter_map(|i| self.lead_midi(i));
        let leads: Vec<i16> = own.collect();
        let technique = self.arrangement.technique;
        let in_phrase = octaves_of_seats(technique, &leads, self.seats);
        let plays = |(i, down): (usize, &i16)| {
            let seat = self.seats.get(i);
            seat.is_some_and(|s| leads.iter().all(|m| s.cost(m - down).is_some()))
        };
        let whole = self.octaves.seats.iter().enumerate();
        let chosen = whole.zip(in_phrase).map(
            |((i, down), other)| {
                if plays((i, down)) { *down } else { other }
            },
        );
        chosen.collect()
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

    /// Longer than a beat.
    pub(super) fn lasts_over_a_beat(&self, at: usize) -> bool {
        let lead = self.passage.leads.get(at).copied().flatten();
        lead.is_some_and(|l| l.duration() > l.beat)
    }

    /// One part plays all the notes.
    pub(super) fn is_chordal(&self) -> bool {
        matches!(self.seats, [one] if !one.instrument.single_line)
    }

    /// Whether no interval lies lower than the rules let it.
    pub(super) fn is_clear(&self, at: usize, voicing: &[i16]) -> bool {
        let lenient = self.is_quick(at);
        let mut sorted = Voicing::from_slice(voicing);
        sorted.sort_unstable_by(|a, b| b.cmp(a));
        sorted.dedup();
        sorted.windows(2).all(|w| match w {
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
            let strings = &one.instrument.strings;
            let by = one.instrument.transposition.chromatic;
            let open: Vec<i16> = strings.iter().map(|s| s.midi() + by).collect();
            return (hands && (open.is_empty() || fits_strings(voicing, &open))).then_some(sum);
        }
        if voicing.len() != self.seats.len() {
            return None;
        }
        let cost = |(seat, &m): (&Seat, &i16)| {
            let lead = (seat.role == Role::Leads).then_some(LEAD_OUT_OF_RANGE);
            seat.cost(m).or(lead)
        };
        self.seats.iter().zip(voicing).map(cost).sum()
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

/// How many frets a hand reaches at its ease, and how high it goes.
const FRETS: (i16, i16) = (4, 17);

/// Whether a chord can be held on strings of these pitches, a note a string, within one position of the hand. A
/// player knows fingerings that this does not.
fn fits_strings(voicing: &[i16], open: &[i16]) -> bool {
    fn place(notes: &[i16], open: &[i16], lowest: i16) -> bool {
        let Some((note, rest)) = notes.split_first() else {
            return true;
        };
        (0..open.len()).any(|at| {
            let Some(string) = open.get(at) else {
                return false;
            };
            let fret = note - string;
            let reached = fret == 0 || (lowest..lowest + FRETS.0).contains(&fret);
            let others: Vec<i16> = open
                .iter()
                .enumerate()
                .filter(|(i, _)| *i != at)
                .map(|(_, s)| *s)
                .collect();
            reached && place(rest, &others, lowest)
        })
    }
    (1..FRETS.1).any(|lowest| place(voicing, open, lowest))
}

/// The lead notes of a passage in semitones.
pub(super) fn leads_of(passage: &Passage) -> Vec<i16> {
    let voices = passage.sonorities.iter().filter_map(|s| s.voices.first());
    voices.map(|v| v.midi).collect()
}
