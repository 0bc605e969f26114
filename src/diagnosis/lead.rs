//! The lead line of a section, and the sonorities that stand under a held lead.

use super::frame::{frame_at, section_key};
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::sonority::lead::LeadNote;
use crate::sonority::{Section, Sonority, Voice};
use crate::voicing::{harmonise, mechanical_of};

/// The top note or the top seat's, when it is held while some part goes on to another note than it had
/// in the sonority before, or most parts strike. One that strikes its note again has lost a tie.
pub(super) fn held_lead<'s>(
    before: Option<&Sonority>,
    sonority: &'s Sonority,
) -> Option<&'s Voice> {
    let seat = sonority.voices.iter().min_by_key(|v| (v.seat, -v.midi));
    let mut leads = sonority.voices.first().into_iter().chain(seat);
    let lead = leads.find(|v| !v.attacked)?;
    let had = |v: &Voice| {
        let same = |b: &Voice| (b.note.part, b.midi) == (v.note.part, v.midi);
        before.is_some_and(|s| s.voices.iter().any(same))
    };
    let mut struck = sonority.voices.iter().filter(|v| v.attacked);
    let most = struck.clone().count() * 2 > sonority.voices.len() - 1;
    (most || struck.any(|v| !had(v))).then_some(lead)
}

/// Marks the sonorities in which all voices that have to go with a change of chord under a held lead.
pub(super) fn find_held_leads(score: &Score, section: &Section, sonorities: &mut [Sonority]) {
    let key = section_key(score, section);
    for i in 0..sonorities.len() {
        let before = i.checked_sub(1).and_then(|b| sonorities.get(b));
        let moves = sonorities
            .get(i)
            .and_then(|s| moves_under_held_lead(score, &key, before, s));
        if let Some(sonority) = sonorities.get_mut(i) {
            sonority.under_held_lead = moves.unwrap_or(false);
        }
    }
}

fn moves_under_held_lead(
    score: &Score,
    key: impl Fn(Ticks) -> i8,
    before: Option<&Sonority>,
    sonority: &Sonority,
) -> Option<bool> {
    let lead = held_lead(before, sonority)?.pitch.class();
    score.chord_change(sonority.onset)?;
    let frame = frame_at(score, sonority.onset, key(sonority.onset))?;
    let held = sonority.voices.iter().filter(|v| !v.attacked);
    let mut classes = held.map(|v| v.pitch.class());
    Some(classes.all(|c| c == lead || frame.colour(c).may_sound()))
}

/// The lead of a sonority in semitones: its top note when the voicing makes sense from there (the
/// seats may have been exchanged), else the top seat's.
fn lead_of(sonority: &Sonority) -> Option<i16> {
    let top = sonority.voices.first()?;
    let seat = sonority.voices.iter().min_by_key(|v| (v.seat, -v.midi))?;
    if seat.midi == top.midi || mechanical_of(&sonority.midi()).is_some() {
        return Some(top.midi);
    }
    Some(seat.midi)
}

pub(super) fn lead_line(score: &Score, sonorities: &[Sonority]) -> Vec<Option<LeadNote>> {
    #[derive(Clone, Copy)]
    struct Attack {
        midi: i16,
        onset: Ticks,
        end: Ticks,
        stable: bool,
    }
    let mut line: Vec<Attack> = Vec::with_capacity(sonorities.len());
    // Where a lead note stands, its attack or what is left of it under a new chord, and where in the
    // line the notes before and after it are.
    let mut notes: Vec<(usize, Attack, Option<usize>, usize)> =
        Vec::with_capacity(sonorities.len());
    for (at, sonority) in sonorities.iter().enumerate() {
        let Some(midi) = lead_of(sonority) else {
            continue;
        };
        let Some(voice) = sonority
            .voices
            .iter()
            .find(|v| v.midi == midi && (v.attacked || sonority.under_held_lead))
        else {
            continue;
        };
        let stable = score
            .chord_at(sonority.onset)
            .and_then(|m| m.value.chord.as_ref())
            .is_none_or(|c| harmonise::is_chord_note(c, voice.pitch.class()));
        let note = Attack {
            midi,
            onset: sonority.onset,
            end: voice.end,
            stable,
        };
        let before = line.len().checked_sub(1);
        if voice.attacked {
            line.push(note);
        }
        notes.push((at, note, before, line.len()));
    }
    let mut leads = vec![None; sonorities.len()];
    for (at, x, before, next) in &notes {
        let beat = score.felt_beat_at(x.onset);
        let joined = |a: &Attack, b: &Attack| b.onset - a.end <= beat;
        let before = before.and_then(|i| line.get(i));
        let previous = before.filter(|p| joined(p, x));
        let after = line.get(*next).filter(|n| joined(x, n));
        let later = line
            .get(next + 1)
            .filter(|l| after.is_some_and(|n| joined(n, l)));
        let offset = score.place_of(x.onset).offset;
        let note = LeadNote {
            previous: previous.map(|p| p.midi),
            midi: x.midi,
            next: after.map(|n| n.midi),
            after_next: later.map(|l| l.midi),
            onset: x.onset,
            end: x.end,
            strong: beat.0 > 0 && offset.0 % beat.0 == 0,
            beat,
            after_rest: before.is_none_or(|p| p.end < x.onset),
            previous_stable: previous.is_some_and(|p| p.stable),
            next_stable: after.is_some_and(|n| n.stable),
        };
        if let Some(slot) = leads.get_mut(*at) {
            *slot = Some(note);
        }
    }
    leads
}
