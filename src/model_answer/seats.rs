//! The lead part by itself, and one seat of those who play with it.

use super::request::{Request, VoiceError};
use crate::ground::instrument::{Instrument, RangeVerdict};
use crate::score::{NoteFlags, Score, Stated};

/// One seat of the section (or the one part of a keyboard).
#[derive(Clone, Debug)]
pub struct Seat {
    /// The name on the part.
    pub name: String,
    /// Its instrument.
    pub instrument: &'static Instrument,
    /// Its number within the instrument, 1-based.
    pub number: u8,
    /// What it is there for.
    pub role: Role,
    /// Where its part stands in the score, 0 at the top.
    pub place: usize,
}

/// What a seat is there for, in the order in which the notes of a voicing are dealt out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// It has the lead.
    Leads,
    /// It has a voice under it.
    Voice,
    /// It doubles the lead.
    Doubles,
}

impl Seat {
    /// What it costs this player to sound a pitch; `None` when the range does not have it.
    pub(super) fn cost(&self, sounding: i16) -> Option<i32> {
        let written = sounding - self.instrument.transposition.chromatic;
        match self.instrument.judge_range(written, Some(self.number)) {
            RangeVerdict::Comfortable => Some(0),
            RangeVerdict::Professional => Some(1),
            _ => None,
        }
    }

    /// The lowest pitch it sounds in its professional range.
    pub(super) fn lowest(&self) -> i16 {
        let low = self.instrument.range.professional.0;
        low.midi() + self.instrument.transposition.chromatic
    }
}

/// The part that has the lead.
pub(super) fn lead_part(score: &Score, request: &Request) -> Result<usize, VoiceError> {
    if let Some(name) = &request.part {
        return score
            .parts
            .iter()
            .position(|p| p.name.eq_ignore_ascii_case(name))
            .ok_or_else(|| VoiceError::NoSuchPart {
                found: name.clone(),
                parts: score
                    .parts
                    .iter()
                    .map(|p| p.name.as_str())
                    .collect::<Vec<_>>()
                    .join(", "),
            });
    }
    score
        .parts
        .iter()
        .position(|p| p.notes.iter().any(crate::score::Note::sounds))
        .ok_or(VoiceError::NoLead)
}

/// The score with nothing but the lead: of notes struck together in that part, the highest; and the
/// chord symbols of the whole score.
pub(super) fn lead_alone(score: &Score, part: usize) -> Score {
    let mut lead = score.clone();
    let chords = score.chords.clone();
    let Some(mut own) = score.parts.get(part).cloned() else {
        lead.parts.clear();
        return lead;
    };
    // The meter is any part's.
    if own.meters.is_empty()
        && let Some(other) = score.parts.iter().find(|p| !p.meters.is_empty())
    {
        own.meters.clone_from(&other.meters);
    }
    let notes = std::mem::take(&mut own.notes);
    for note in notes {
        if !note.sounds() {
            continue;
        }
        match own.notes.last_mut() {
            Some(last) if last.onset == note.onset => {
                if note.sounding.midi() > last.sounding.midi() {
                    *last = note;
                }
            }
            _ => own.notes.push(note),
        }
    }
    for note in &mut own.notes {
        note.flags.0 &= !NoteFlags::CHORD_MEMBER.0;
        note.voice = 1;
        note.staff = 1;
    }
    own.chords = chords;
    lead.parts = vec![own];
    lead.stated = Vec::<crate::score::Mark<Stated>>::new();
    lead.lay_out();
    lead
}

/// The notes of a voicing that the left hand takes when both hands keep within `span` semitones:
/// as few as can be. `None` when no share of the chord fits the hands.
pub(super) fn left_hand(voicing: &[i16], span: i16) -> Option<usize> {
    let reach = |hand: &[i16]| match (hand.first(), hand.last()) {
        (Some(a), Some(b)) => a - b,
        _ => 0,
    };
    (0..=voicing.len()).find(|&n| {
        let (right, left) = voicing.split_at(voicing.len() - n);
        // Five notes are more than a hand strikes at its ease.
        right.len() <= 4 && reach(right) <= span && reach(left) <= span
    })
}
