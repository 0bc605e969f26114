//! One sonority with everything a reading of it needs.

use super::fault::difference;
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
#[derive(Clone)]
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
    /// Since when each of them is in force.
    pub(super) since: SmallVec<[Ticks; 2]>,
    /// The chord before, at the first attack under a new one.
    pub(super) before: Option<&'a Chord>,
    /// The chords that the next note of the lead may belong to.
    pub(super) coming: SmallVec<[&'a Chord; 2]>,
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
        let mut since: SmallVec<[Ticks; 2]> = chords
            .iter()
            .filter_map(|_| mark.map(|m| m.onset))
            .collect();
        if let (Some(lead), Some(change)) = (&lead, change)
            && let Some(coming) = &change.value.chord
            && anticipates(lead, change.onset)
        {
            let held = lead.end > change.onset;
            let moves = held && passage.changes_under_held_lead(score, change.onset);
            if held && !moves {
                chords.insert(0, coming);
                since.insert(0, change.onset);
            } else if !moves {
                chords.push(coming);
                since.push(change.onset);
            }
        }
        if let Some((onset, due)) = lead.and_then(|l| due_on_the_beat(score, &l))
            && !chords.contains(&due)
        {
            chords.push(due);
            since.push(onset);
        }
        let first_attack = at
            .checked_sub(1)
            .and_then(|i| passage.sonorities.get(i))
            .is_some_and(|s| mark.is_some_and(|m| s.onset < m.onset));
        let before = mark
            .filter(|_| first_attack)
            .and_then(|m| score.chord_at(m.onset - Ticks(1)))
            .and_then(|m| m.value.chord.as_ref());
        let next = (at + 1..passage.sonorities.len())
            .find_map(|i| passage.leads.get(i).copied().flatten());
        let mut coming: SmallVec<[&Chord; 2]> = SmallVec::new();
        if let Some(next) = next {
            let own = score.chord_at(next.onset);
            coming.extend(own.and_then(|m| m.value.chord.as_ref()));
            let ahead = score
                .chord_after(next.onset)
                .filter(|m| anticipates(&next, m.onset));
            coming.extend(ahead.and_then(|m| m.value.chord.as_ref()));
        }
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
            since,
            before,
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

    /// The chord before, at the first attack under a new one, as it leads into that.
    pub(super) fn frame_before(&self) -> Option<Frame<'a>> {
        self.before.map(|chord| Frame {
            chord,
            leads: leads(chord, self.in_force, self.key),
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

/// Whether a lead note before a change of chord may belong to the new one: tied or held over it from at
/// most a beat before, or a push on the last half beat before it, whatever follows.
fn anticipates(lead: &LeadNote, change: Ticks) -> bool {
    let ahead = change - lead.onset;
    ahead.0 * 2 <= lead.beat.0 || lead.end > change && ahead <= lead.beat
}

/// The chord that was due on the beat before a note off the beat after a rest, and since when it is in
/// force: the note may be late.
fn due_on_the_beat<'a>(score: &'a Score, lead: &LeadNote) -> Option<(Ticks, &'a Chord)> {
    if !lead.after_rest || lead.strong || lead.beat.0 <= 0 {
        return None;
    }
    let into_beat = score.place_of(lead.onset).offset.0 % lead.beat.0;
    let mark = score.chord_at(lead.onset - Ticks(into_beat))?;
    Some((mark.onset, mark.value.chord.as_ref()?))
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
    pub(super) coming: SmallVec<[&'a Chord; 2]>,
    pub(super) chord_length: Ticks,
    /// What the sonority after it should be, from the top, when it is a block of as many voices.
    pub(super) target: Option<&'a Voicing>,
    pub(super) neighbours: [Option<&'a Sonority>; 2],
    pub(super) key: i8,
    pub(super) lead_seat_leads: bool,
    pub(super) stated_for_four: Option<Mechanical>,
    /// Since when each of the chords is in force.
    pub(super) since: SmallVec<[Ticks; 2]>,
    /// The chord before, at the first attack under a new one.
    pub(super) before: Option<&'a Chord>,
    pub(super) judging: Judging<'a>,
}

impl<'a> Case<'a> {
    pub(super) fn new(
        context: Context<'a>,
        held_to: HeldTo,
        target: Option<&'a Voicing>,
        judging: Judging<'a>,
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
            since: context.since,
            before: context.before,
            judging,
        }
    }

    /// The chord that it belongs to first of all.
    pub(super) fn chord(&self) -> Option<&'a Chord> {
        self.chords.first().copied()
    }

    /// The chord before, at the first attack under a new one.
    pub(super) const fn chord_before(&self) -> Option<&'a Chord> {
        self.before
    }

    /// Whether the lead is a note that passes over the chord, off the beat or quickly: one under which the
    /// chord is not kept.
    pub(super) fn passes_weakly(&self) -> bool {
        self.approaches() && self.top_is_foreign() && !self.holds_a_beat()
    }

    /// Whether the lead holds a felt beat: it stands on one, or is held over one from before it. A strict
    /// exercise has it stand there.
    pub(super) fn holds_a_beat(&self) -> bool {
        self.lead
            .is_some_and(|l| l.duration() >= l.beat && (l.strong || !self.judging.only_diminished))
    }

    /// What it costs that nothing explains the sonority.
    pub(super) const fn cost_of_free_writing(&self) -> i32 {
        match self.how {
            How::Inferred => self.judging.costs.free.inferred,
            How::Stated | How::Words => self.judging.costs.free.stated,
        }
    }

    /// What it costs that seats have changed places, where the top seat leads.
    pub(super) fn cost_of_places(&self) -> i32 {
        if !self.lead_seat_leads {
            return 0;
        }
        self.displaced() as i32 * self.judging.costs.harmony.seat_exchanged
    }

    /// What it costs that seats would have changed places if these were the notes, from the top: one note
    /// other than written.
    pub(super) fn cost_of_seats(&self, notes: &[i16]) -> i32 {
        if !self.lead_seat_leads {
            return 0;
        }
        let off = difference(&self.written, notes);
        let (Some(found), Some(wanted)) = (off.extra.first(), off.missing.first()) else {
            return self.cost_of_places();
        };
        let mut moved = false;
        let displaced = self
            .seated()
            .iter()
            .map(|(_, midi)| {
                let here = !moved && midi == found;
                moved |= here;
                if here { *wanted } else { *midi }
            })
            .zip(notes)
            .filter(|(a, b)| a != *b)
            .count();
        displaced as i32 * self.judging.costs.harmony.seat_exchanged
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
