//! One sonority with everything a reading of it needs.

use super::frame::Frames;
use super::habits::Judging;
use super::passage::Passage;
use super::technique::How;
use crate::ground::chord::Chord;
use crate::ground::pitch::{NoteName, PitchClass};
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::sonority::Sonority;
use crate::sonority::lead::{LeadFunction, LeadNote};
use crate::voicing::harmonise::is_chord_note;
use crate::voicing::{Classes, Frame, Mechanical, Voicing, classes_of, leads};
use smallvec::SmallVec;

/// What surrounds one sonority, whatever its technique.
pub(super) struct Context<'a> {
    pub(super) score: &'a Score,
    pub(super) sonority: &'a Sonority,
    pub(super) lead: Option<LeadNote>,
    /// The chord in force.
    pub(super) in_force: Option<&'a Chord>,
    /// Chords it may belong to: in force, and the one an anticipation belongs to.
    pub(super) chords: SmallVec<[&'a Chord; 2]>,
    /// The same with where they lead.
    pub(super) frames: Frames<'a>,
    /// The chord at the next attack of the lead.
    pub(super) coming: Option<&'a Chord>,
    /// How long the chord in force lasts.
    pub(super) chord_length: Ticks,
    /// The sonorities before and after it.
    pub(super) neighbours: [Option<&'a Sonority>; 2],
    /// Concert key in fifths.
    pub(super) key: i8,
    /// In most of the phrase the top seat has the top note.
    pub(super) lead_seat_leads: bool,
}

impl<'a> Context<'a> {
    /// The surroundings of the sonority at an index; `None` where the passage has none.
    pub(super) fn at(score: &'a Score, passage: &'a Passage, at: usize) -> Option<Self> {
        let sonority = passage.sonorities.get(at)?;
        let lead = *passage.leads.get(at)?;
        let mark = score.chord_at(sonority.onset);
        let in_force = mark.and_then(|m| m.value.chord.as_ref());
        let change = score
            .chord_after(sonority.onset)
            .filter(|m| m.value.chord.is_some());
        let mut chords: SmallVec<[&Chord; 2]> = in_force.into_iter().collect();
        if let (Some(lead), Some(change)) = (&lead, change)
            && let Some(coming) = &change.value.chord
            && anticipates(lead, change.onset)
            && !passage.changes_under_held_lead(score, change.onset)
        {
            if lead.end > change.onset {
                chords.insert(0, coming);
            } else {
                chords.push(coming);
            }
        }
        if let Some(due) = lead.and_then(|l| due_on_the_beat(score, &l))
            && !chords.contains(&due)
        {
            chords.push(due);
        }
        let next_onset = (at + 1..passage.sonorities.len())
            .find(|&i| passage.leads.get(i).is_some_and(Option::is_some))
            .and_then(|i| passage.sonorities.get(i))
            .map(|s| s.onset);
        let coming = next_onset
            .and_then(|o| score.chord_at(o))
            .and_then(|m| m.value.chord.as_ref());
        let starts = mark.map_or(Ticks::ZERO, |m| m.onset);
        let key = passage.key_at(score, sonority.onset);
        let frames = chords
            .iter()
            .map(|chord| {
                let own = Some(*chord) == in_force;
                let from = change.filter(|_| !own).map_or(sonority.onset, |m| m.onset);
                let next = score.chord_after(from).and_then(|m| m.value.chord.as_ref());
                Frame {
                    chord,
                    leads: leads(chord, next, key),
                }
            })
            .collect();
        Some(Self {
            score,
            sonority,
            lead,
            in_force,
            chords,
            frames,
            coming,
            chord_length: change.map_or(Ticks(i64::MAX), |m| m.onset - starts),
            neighbours: [
                at.checked_sub(1).and_then(|i| passage.sonorities.get(i)),
                passage.sonorities.get(at + 1),
            ],
            key,
            lead_seat_leads: passage.is_led_by_top_seat(at),
        })
    }

    /// What the lead note is for, given the chords it may belong to.
    pub(super) fn function(&self) -> Option<LeadFunction> {
        let lead = self.lead?;
        let class = PitchClass::new(lead.midi);
        let (first, others) = self.chords.split_first()?;
        let pushed = Some(*first) != self.in_force
            && !self.in_force.is_some_and(|c| is_chord_note(c, class));
        Some(if is_chord_note(first, class) && pushed {
            LeadFunction::Anticipation
        } else if is_chord_note(first, class) {
            if lead.after_rest && !lead.strong {
                LeadFunction::DelayedAttack
            } else {
                LeadFunction::ChordNote
            }
        } else if others.iter().any(|c| is_chord_note(c, class)) {
            LeadFunction::Anticipation
        } else {
            lead.function()
        })
    }

    /// Whether the lead is held from before over chords that have no place for it.
    pub(super) fn is_pedal(&self) -> bool {
        self.sonority.under_held_lead
            && self
                .lead
                .is_some_and(|l| !self.frames.iter().any(|f| f.may_sound(l.midi)))
    }
}

/// The chord at a lead note of a passage, with where it leads: the one it belongs to first.
pub fn frames_at<'a>(score: &'a Score, passage: &'a Passage, at: usize) -> Frames<'a> {
    Context::at(score, passage, at).map_or_else(Frames::new, |c| c.frames)
}

/// Whether a lead note before a change of chord may belong to the new one: tied or held over it
/// from at most a beat before, or a push on the last half-beat before it with silence or the same
/// note after.
fn anticipates(lead: &LeadNote, change: Ticks) -> bool {
    let ahead = change - lead.onset;
    if lead.end > change {
        return ahead <= lead.beat;
    }
    ahead.0 * 2 <= lead.beat.0 && lead.next.is_none_or(|n| n == lead.midi)
}

/// The chord that was due on the beat before a note off the beat after a rest: the note may be late.
fn due_on_the_beat<'a>(score: &'a Score, lead: &LeadNote) -> Option<&'a Chord> {
    if !lead.after_rest || lead.strong || lead.beat.0 <= 0 {
        return None;
    }
    let into_beat = score.place_of(lead.onset).offset.0 % lead.beat.0;
    let mark = score.chord_at(lead.onset - Ticks(into_beat))?;
    mark.value.chord.as_ref()
}

/// The mechanical technique that a sonority is held to.
#[derive(Clone, Copy)]
pub(super) struct HeldTo {
    pub(super) technique: Mechanical,
    pub(super) how: How,
    /// The four-voice technique that was stated where five voices sound.
    pub(super) stated_for_four: Option<Mechanical>,
}

/// One sonority that is held to a mechanical technique.
pub(super) struct Case<'a> {
    pub(super) score: &'a Score,
    pub(super) sonority: &'a Sonority,
    /// Its notes at sounding pitch from the top.
    pub(super) written: Voicing,
    pub(super) technique: Mechanical,
    pub(super) how: How,
    pub(super) lead: Option<LeadNote>,
    pub(super) chords: SmallVec<[&'a Chord; 2]>,
    pub(super) frames: Frames<'a>,
    pub(super) coming: Option<&'a Chord>,
    pub(super) chord_length: Ticks,
    /// What the sonority after it should be, from the top, when it is a block of as many voices.
    pub(super) target: Option<&'a Voicing>,
    pub(super) neighbours: [Option<&'a Sonority>; 2],
    pub(super) key: i8,
    pub(super) lead_seat_leads: bool,
    pub(super) stated_for_four: Option<Mechanical>,
    pub(super) judging: Judging,
}

impl<'a> Case<'a> {
    pub(super) fn new(
        context: Context<'a>,
        held_to: HeldTo,
        target: Option<&'a Voicing>,
        judging: Judging,
    ) -> Self {
        Self {
            score: context.score,
            sonority: context.sonority,
            written: context.sonority.midi(),
            technique: held_to.technique,
            how: held_to.how,
            lead: context.lead,
            chords: context.chords,
            frames: context.frames,
            coming: context.coming,
            chord_length: context.chord_length,
            target,
            neighbours: context.neighbours,
            key: context.key,
            lead_seat_leads: context.lead_seat_leads,
            stated_for_four: held_to.stated_for_four,
            judging,
        }
    }

    /// The chord that it belongs to first of all.
    pub(super) fn chord(&self) -> Option<&'a Chord> {
        self.chords.first().copied()
    }

    /// The top note in semitones. A sonority that is judged has one.
    pub(super) fn top(&self) -> i16 {
        self.written.first().copied().unwrap_or_default()
    }

    /// Whether the lead note moves on by step.
    pub(super) fn approaches(&self) -> bool {
        self.lead.is_some_and(|l| l.approaches())
    }

    /// Whether the top note is foreign to the chord.
    pub(super) fn top_is_foreign(&self) -> bool {
        self.chord()
            .is_some_and(|c| !is_chord_note(c, PitchClass::new(self.top())))
    }

    /// Quick enough that a rub passes unheard: half a beat or less, and the line moves on.
    pub(super) fn is_fleeting(&self) -> bool {
        self.lead
            .is_some_and(|l| l.duration().0 * 2 <= l.beat.0 && l.next.is_some())
    }

    /// A unison or octaves.
    pub(super) fn is_one_note(&self) -> bool {
        self.written
            .iter()
            .all(|m| self.written.first().is_some_and(|f| (f - m) % 12 == 0))
    }

    /// The pitch classes written, in ascending order, each once.
    pub(super) fn classes(&self) -> Classes {
        classes_of(&self.written)
    }

    /// How many parts sound another voice than their seat's.
    pub(super) fn displaced(&self) -> usize {
        self.seated()
            .iter()
            .zip(&self.written)
            .filter(|((_, a), b)| a != *b)
            .count()
    }

    /// Each voice's seat and what it sounds, from the top seat.
    pub(super) fn seated(&self) -> SmallVec<[(u16, i16); 8]> {
        let voices = self.sonority.voices.iter();
        let mut seated: SmallVec<_> = voices.map(|v| (v.seat, v.midi)).collect();
        seated.sort_by_key(|(seat, midi)| (*seat, -midi));
        seated
    }

    /// The top seat's note.
    pub(super) fn seat_lead(&self) -> i16 {
        self.sonority
            .voices
            .iter()
            .min_by_key(|v| (v.seat, -v.midi))
            .map_or(0, |v| v.midi)
    }

    /// How a note that may be the lead is spelled: as it is written, else as the key has it.
    pub(super) fn name_of_lead(&self, lead: i16) -> NoteName {
        self.sonority
            .voices
            .iter()
            .find(|v| PitchClass::new(v.midi) == PitchClass::new(lead))
            .map_or_else(
                || NoteName::in_key(PitchClass::new(lead), self.key),
                |v| v.pitch.name(),
            )
    }
}
