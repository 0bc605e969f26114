//! The model answer: a lead with chord symbols voiced for a section, or for the players named.
//!
//! Under each lead note stand the voicings the engine calls right; those a seat cannot play or that
//! lie too low fall away; among the rest the line of voicings is taken that costs least: the first
//! choice of harmony, comfortable registers, smooth inner voices. What the rules find in it is banned and the
//! line is made again. Where nothing is left the smallest way out is taken and reported.
//!
//! | file | holds |
//! |---|---|
//! | `request`, `answer` | what is asked for, and what is handed back |
//! | `seats`, `players` | the lead by itself; who plays |
//! | `arrangement` | how the notes of a technique are dealt out over the seats |
//! | `job` | the lead and the section that one answer is made of |
//! | `options`, `ways_out` | what may stand under each lead note |
//! | `octave` | whether the whole lead is moved |
//! | `cheapest` | the line that costs least |
//! | `trying` | the line that the rules find nothing in |
//! | `writing_out` | the parts |
//! | `remarks` | what there is to say |
//! | `alternatives` | the other voicings of each note, and what each gives up |
//! | `mixed` | techniques that the lead asks for, stretch by stretch |
//! | `fixed` | choices that the writer made |
//! | `explained`, `plan` | an answer in words; a melody's sheet, before it is voiced |
//! | `keys`, `planted` | practice sheets: the answer in many keys, and with mistakes to hunt for |
//! | `nothing_fits` | where no right voicing fits, for those who want no way out |
mod alternatives;
mod answer;
mod arrangement;
mod cheapest;
mod explained;
mod fixed;
mod job;
mod keys;
mod mixed;
mod nothing_fits;
mod octave;
mod options;
mod plan;
mod planted;
mod players;
mod remarks;
mod request;
mod seats;
mod trying;
mod ways_out;
mod writing_out;

pub use alternatives::{Alternative, alternatives, one_above_the_other};
#[cfg(feature = "inside")]
pub use answer::WayOut;
pub use answer::{Answer, Remark, Step};
pub use explained::{Explained, explain, with_words};
pub use keys::{KeyedAnswer, Keys, joined, voice_in_keys};
pub use plan::{Plan, PlannedNote, Stands, plan};
pub use planted::{Kind, Planted, plant};
pub use request::{Passing, Request, VoiceError};

use crate::diagnosis::{frame_at, lead_function, lead_passage};
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::style::Style;
use arrangement::Arrangement;
use job::{Job, leads_of};
use mixed::Stretches;
use octave::Settled;
use trying::{Tried, onset_of};
use ways_out::StandIns;

/// Voices the lead of a score.
///
/// # Errors
///
/// When there is no lead, no section or, where that was asked for, no right voicing; the error says where and what
/// would help.
pub fn voice(score: &Score, style: &Style, request: &Request) -> Result<Answer, VoiceError> {
    if let Some(answer) = fixed::voice(score, style, request) {
        return answer;
    }
    let part = seats::lead_part(score, request)?;
    let lead = seats::lead_alone(score, part);
    if !lead.chords.iter().any(|m| m.value.chord.is_some()) {
        return Err(VoiceError::NoChords);
    }
    let seats = players::seats(score, part, request)?;
    let arrangement = Arrangement::new(request.technique, &seats);
    let settled = if request.strict {
        if let Some(note) = &arrangement.note {
            return Err(VoiceError::WrongSize(request.technique, note.clone()));
        }
        Settled {
            lead,
            by: 0,
            options: Vec::new(),
        }
    } else {
        octave::settled(lead, style, request, &seats, &arrangement)
    };
    let stretches = Stretches::of(score, part);
    let (lead, octaves, mut known) = (settled.lead, settled.by, settled.options);
    let mut changes = changes_under(&lead, style);
    if !changes.is_empty() || request.passing == Some(Passing::Parallel) {
        known.clear();
    }
    let mut elsewhere = None;
    loop {
        let passage = lead_passage(&lead, style, &changes).ok_or(VoiceError::NoLead)?;
        let leads = leads_of(&passage);
        let job = Job {
            lead: &lead,
            passage: &passage,
            style,
            seats: &seats,
            arrangement: &arrangement,
            octaves: arrangement.octaves(&leads, &seats),
            passing: request.passing,
        };
        let mut options = std::mem::take(&mut known);
        if options.is_empty() {
            options = job.all_options();
        }
        if request.strict {
            for list in &mut options {
                list.retain(|o| o.way_out.is_none());
            }
        }
        job.mix(&stretches, &mut options);
        fixed::keep(&request.fixed, &passage, &mut options);
        // Where no voicing of the new chord goes under the held note, the old one is held too.
        let nothing = |t: &Ticks| {
            let at = passage.sonorities.binary_search_by_key(t, |s| s.onset);
            at.is_ok_and(|i| options.get(i).is_none_or(Vec::is_empty))
        };
        let before = changes.len();
        changes.retain(|t| !nothing(t));
        if changes.len() < before {
            continue;
        }
        let stand_ins = (!request.strict).then(|| StandIns::new(&arrangement, &leads, &seats));
        let tried = job.line(options, stand_ins.as_ref())?;
        if !tried.findings.is_empty() && !changes.is_empty() {
            // A change beside what is wrong is in question, and the others stay.
            let place = |t: Ticks| passage.sonorities.partition_point(|s| s.onset <= t);
            let onsets = tried.findings.iter();
            let onsets = onsets.filter_map(|f| onset_of(&tried.answer, f));
            let wrong: Vec<usize> = onsets.map(place).collect();
            let stays = |t: &Ticks| wrong.iter().all(|w| w.abs_diff(place(*t)) > 1);
            if changes.iter().all(stays) {
                if !request.strict {
                    return Ok(job.answer(tried, octaves));
                }
                elsewhere = Some(tried.first());
                changes.clear();
            }
            changes.retain(stays);
            continue;
        }
        if tried.findings.is_empty() || !request.strict {
            return Ok(job.answer(tried, octaves));
        }
        return Err(elsewhere.unwrap_or_else(|| job.refusal(&tried)));
    }
}

/// When the chord changes under a note of the lead that has a place in it and is held for another
/// beat. A note struck at most a beat ahead, or half a beat where it is at home in the old chord,
/// anticipates the new one.
fn changes_under(lead: &Score, style: &Style) -> Vec<Ticks> {
    let Some(plain) = lead_passage(lead, style, &[]) else {
        return Vec::new();
    };
    let under = |onset: Ticks| -> Option<bool> {
        lead.chord_change(onset)?;
        let at = plain.sonorities.partition_point(|s| s.onset < onset);
        let sonority = plain.sonorities.get(at.checked_sub(1)?)?;
        let midi = sonority.voices.first()?.midi;
        let fits = |at| {
            let frame = frame_at(lead, at, plain.key_at(lead, at));
            frame.is_some_and(|f| f.may_sound(midi))
        };
        let beat = lead.felt_beat_at(onset);
        let ahead = (onset - sonority.onset).times(if fits(sonority.onset) { 2 } else { 1 });
        Some(ahead > beat && sonority.end - onset >= beat && fits(onset))
    };
    lead.chords
        .iter()
        .map(|m| m.onset)
        .filter(|t| under(*t) == Some(true))
        .collect()
}

impl Job<'_> {
    /// The answer with each of its steps and what there is to say.
    fn answer(&self, tried: Tried, octaves: i16) -> Answer {
        let mut remarks = remarks::of_ways_out(self, &tried.line);
        remarks.extend(remarks::of_findings(&tried.answer, &tried.findings));
        remarks.extend(remarks::of_findings(&tried.answer, &tried.of_lead));
        remarks.sort_by_key(|r| r.onset);
        let mut all = remarks::of_whole(self.arrangement.note.as_deref(), octaves);
        all.extend(remarks);
        let sonorities = &self.passage.sonorities;
        let steps = sonorities
            .iter()
            .enumerate()
            .zip(tried.line)
            .zip(tried.options);
        let steps = steps.filter_map(|(((at, sonority), chosen), mut choices)| {
            choices.sort_by_key(|c| c.cost);
            let (function, symbol) = lead_function(self.lead, self.passage, at);
            Some(Step {
                onset: sonority.onset,
                end: sonority.end,
                lead: sonority.voices.first()?.midi,
                pitch: sonority.voices.first()?.pitch,
                function,
                symbol,
                held: sonority.under_held_lead,
                chosen,
                choices,
            })
        });
        Answer {
            score: tried.answer,
            remarks: all,
            steps: steps.collect(),
        }
    }

    /// Why the best line is not written when nothing may be wrong in it.
    fn refusal(&self, tried: &Tried) -> VoiceError {
        let struck = |t: &Ticks| {
            let at = self.passage.sonorities.binary_search_by_key(t, |s| s.onset);
            at.is_ok()
        };
        let held = tried
            .findings
            .iter()
            .filter(|f| f.rule == "wrong-note")
            .filter_map(|f| onset_of(&tried.answer, f))
            .find(|t| self.lead.chord_change(*t).is_some() && !struck(t))
            .and_then(|t| nothing_fits::place(self.lead, self.passage, t));
        match held {
            Some((bar, beat, lead, chord)) => VoiceError::Change {
                bar,
                beat,
                lead,
                chord,
            },
            None => tried.first(),
        }
    }
}
