//! The model answer: a lead with chord symbols voiced for a section.
//!
//! Under each lead note stand the voicings the engine calls right; those a seat cannot play or that
//! lie too low fall away; among the rest the line of voicings is taken that costs least: the first
//! choice of harmony, comfortable registers, smooth inner voices.
mod answer;
mod cheapest;
mod explained;
mod job;
mod keys;
mod nothing_fits;
mod options;
mod plan;
mod planted;
mod request;
mod seats;
mod writing_out;

pub use answer::{Answer, Remark, Step, Weighed};
pub use explained::{Explained, explain, with_words};
pub use keys::{KeyedAnswer, Keys, joined, voice_in_keys};
pub use plan::{Plan, PlannedNote, Stands, Stretch, plan};
pub use planted::{Kind, Mistake, Planted, plant};
pub use request::{Request, VoiceError};

use crate::diagnosis::{frame_at, lead_function, lead_passage};
use crate::finding::Finding;
use crate::ground::time::Ticks;
use crate::proof::proof;
use crate::score::Score;
use crate::style::Style;
use crate::voicing::Voicing;
use cheapest::cheapest;
use job::Job;
use seats::octaves;
use std::collections::HashSet;

/// How often the answer is made again without what the rules found wrong in it.
const ROUNDS: usize = 12;

/// Voices the lead of a score.
///
/// # Errors
///
/// When there is no lead, no section or no right voicing; the error says where and what would help.
pub fn voice(score: &Score, style: &Style, request: &Request) -> Result<Answer, VoiceError> {
    let part = seats::lead_part(score, request)?;
    let lead = seats::lead_alone(score, part);
    if !lead.chords.iter().any(|m| m.value.chord.is_some()) {
        return Err(VoiceError::NoChords);
    }
    let seats = seats::seats(score, part, request)?;
    let mut changes = changes_under(&lead, style);
    let mut elsewhere = None;
    loop {
        let passage = lead_passage(&lead, style, &changes).ok_or(VoiceError::NoLead)?;
        let job = Job {
            lead: &lead,
            passage: &passage,
            style,
            technique: request.technique,
            seats: &seats,
            octaves: octaves(&passage, &seats, request.technique),
        };
        let options = job.all_options();
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
        let tried = match job.line(&options)? {
            LineTried::Clean(answer, line) => return Ok(job.answer(*answer, line, options)),
            LineTried::Unclean(tried) => tried,
        };
        let Some((answer, findings)) = tried.as_deref() else {
            return Err(VoiceError::Unclean(String::new()));
        };
        if !changes.is_empty() {
            // A change beside what is wrong is in question, and the others stay.
            let place = |t: Ticks| passage.sonorities.partition_point(|s| s.onset <= t);
            let onsets = findings.iter().filter_map(|f| onset_of(answer, f));
            let wrong: Vec<usize> = onsets.map(place).collect();
            let stays = |t: &Ticks| wrong.iter().all(|w| w.abs_diff(place(*t)) > 1);
            if changes.iter().all(stays) {
                elsewhere = Some(first_of(answer, findings));
                changes.clear();
            }
            changes.retain(stays);
            continue;
        }
        if let Some(reason) = elsewhere {
            return Err(VoiceError::Unclean(reason));
        }
        let struck = |t: &Ticks| {
            let at = passage.sonorities.binary_search_by_key(t, |s| s.onset);
            at.is_ok()
        };
        let held = findings
            .iter()
            .filter(|f| f.rule == "wrong-note")
            .filter_map(|f| onset_of(answer, f))
            .find(|t| lead.chord_change(*t).is_some() && !struck(t))
            .and_then(|t| nothing_fits::place(&lead, &passage, t));
        return Err(match held {
            Some((bar, beat, lead, chord)) => VoiceError::Change {
                bar,
                beat,
                lead,
                chord,
            },
            None => VoiceError::Unclean(first_of(answer, findings)),
        });
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

/// What came of the cheapest lines.
enum LineTried {
    /// The rules find nothing in it.
    Clean(Box<Score>, Vec<Weighed>),
    /// The last one tried, and what they find.
    Unclean(Option<Box<(Score, Vec<Finding>)>>),
}

/// When what is found is heard.
fn onset_of(answer: &Score, finding: &Finding) -> Option<Ticks> {
    let bar = answer.bars.get(finding.at.bar as usize)?;
    Some(bar.start + finding.at.offset)
}

/// A finding's place and message.
fn first_of(answer: &Score, findings: &[Finding]) -> String {
    findings.first().map_or_else(String::new, |f| {
        format!(
            "bar {}, beat {}: {}",
            answer.bar_number(f.at.bar),
            answer.beat_at(f.at),
            f.message
        )
    })
}

impl Job<'_> {
    /// The answer with each of its steps.
    fn answer(&self, score: Score, line: Vec<Weighed>, options: Vec<Vec<Weighed>>) -> Answer {
        let sonorities = &self.passage.sonorities;
        let steps = sonorities.iter().enumerate().zip(line).zip(options);
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
            score,
            remarks: Vec::new(),
            steps: steps.collect(),
        }
    }

    /// The cheapest line of these voicings in which the rules find nothing, written out.
    fn line(&self, options: &[Vec<Weighed>]) -> Result<LineTried, VoiceError> {
        let empty: Vec<usize> = (0..options.len())
            .filter(|&i| options.get(i).is_none_or(Vec::is_empty))
            .collect();
        if !empty.is_empty() {
            return Err(VoiceError::NothingFits(Box::new(nothing_fits::explain(
                self, &empty,
            ))));
        }
        let mut banned: HashSet<(usize, Voicing)> = HashSet::new();
        let mut last = None;
        for _ in 0..ROUNDS {
            let Some(line) = cheapest(options, &banned) else {
                break;
            };
            let answer = writing_out::answer(self, &line);
            let mut strict = self.style.clone();
            strict.technique = Some(self.technique.name().to_owned());
            // How a lead is spelled is its writer's business: no voicing cures it.
            strict.levels.insert("spelling".to_owned(), None);
            let findings = proof(&answer, &strict).findings;
            if findings.is_empty() {
                return Ok(LineTried::Clean(Box::new(answer), line));
            }
            let before = banned.len();
            for finding in &findings {
                let at = onset_of(&answer, finding).and_then(|o| {
                    self.passage
                        .sonorities
                        .partition_point(|s| s.onset <= o)
                        .checked_sub(1)
                });
                if let Some(at) = at
                    && let Some(chosen) = line.get(at)
                {
                    banned.insert((at, chosen.voicing.clone()));
                }
            }
            let nothing_new = banned.len() == before;
            last = Some(Box::new((answer, findings)));
            if nothing_new {
                break;
            }
        }
        Ok(LineTried::Unclean(last))
    }
}
