//! A section's sonorities with their lead line, phrases and the technique in force.

use super::{Diagnosis, explain};
use crate::score::Score;
use crate::sonority::lead::LeadNote;
use crate::sonority::{Section, Sonority, sections, slice};
use crate::style::Style;
use crate::time::Ticks;
use crate::voicing::{Technique, harmonise, technique_of};
use std::ops::Range;

/// How a technique came to be in force.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum How {
    /// The passage or the house style states it.
    Stated,
    /// Words over the staff.
    Words,
    /// Most sonorities of the phrase (or of the section) fit it.
    Inferred,
}

/// A technique in force.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct InForce {
    /// Which.
    pub technique: Technique,
    /// Since when it is known.
    pub how: How,
}

/// Everything known of one section of a score.
#[derive(Clone, Debug)]
pub struct Passage {
    /// The section.
    pub section: Section,
    /// Its sonorities in order.
    pub sonorities: Vec<Sonority>,
    /// The lead note of each, where one is attacked.
    pub leads: Vec<Option<LeadNote>>,
    /// Ranges of sonorities between rests of a beat or more and double bars.
    pub phrases: Vec<Range<usize>>,
    /// The technique in force for each sonority.
    pub in_force: Vec<Option<InForce>>,
    /// The diagnosis of each.
    pub diagnoses: Vec<Diagnosis>,
}

impl Passage {
    /// The phrase that a sonority stands in.
    pub fn phrase_of(&self, sonority: usize) -> Range<usize> {
        self.phrases
            .iter()
            .find(|p| p.contains(&sonority))
            .cloned()
            .unwrap_or(sonority..sonority + 1)
    }
}

/// Reads every section of a score: slices, lead line, phrases, techniques, diagnoses.
pub fn passages(score: &Score, style: &Style) -> Vec<Passage> {
    sections(score)
        .into_iter()
        .map(|section| read(score, style, section))
        .collect()
}

fn read(score: &Score, style: &Style, section: Section) -> Passage {
    let sonorities = slice(score, &section);
    let leads = lead_line(score, &sonorities);
    let phrases = phrases(score, &section, &sonorities);
    let in_force = in_force(score, style, &section, &sonorities, &phrases);
    let mut passage = Passage {
        section,
        sonorities,
        leads,
        phrases,
        in_force,
        diagnoses: Vec::new(),
    };
    passage.diagnoses = explain::explain(score, style, &passage);
    passage
}

/// The lead of a sonority in semitones: its top note when the voicing makes sense from there (the
/// seats may have been exchanged), else the top seat's.
fn lead_of(sonority: &Sonority) -> Option<i16> {
    let top = sonority.voices.first()?;
    let seat = sonority.voices.iter().min_by_key(|v| (v.seat, -v.midi))?;
    if seat.midi == top.midi || technique_of(&sonority.midi()).is_some() {
        return Some(top.midi);
    }
    Some(seat.midi)
}

fn lead_line(score: &Score, sonorities: &[Sonority]) -> Vec<Option<LeadNote>> {
    struct Attack {
        at: usize,
        midi: i16,
        onset: Ticks,
        end: Ticks,
        stable: bool,
    }
    let mut line: Vec<Attack> = Vec::new();
    for (at, sonority) in sonorities.iter().enumerate() {
        let Some(midi) = lead_of(sonority) else {
            continue;
        };
        let Some(voice) = sonority
            .voices
            .iter()
            .find(|v| v.midi == midi && v.attacked)
        else {
            continue;
        };
        let stable = score
            .chord_at(sonority.onset)
            .and_then(|m| m.value.chord.as_ref())
            .is_none_or(|c| harmonise::is_chord_note(c, voice.pitch.class()));
        line.push(Attack {
            at,
            midi,
            onset: sonority.onset,
            end: voice.end,
            stable,
        });
    }
    let mut leads = vec![None; sonorities.len()];
    for (i, x) in line.iter().enumerate() {
        let meter = score.meter_at(x.onset);
        let beat = meter.felt_beat(score.per_quarter);
        let joined = |a: &Attack, b: &Attack| b.onset - a.end <= beat;
        let before = i
            .checked_sub(1)
            .and_then(|j| line.get(j))
            .filter(|p| joined(p, x));
        let after = line.get(i + 1).filter(|n| joined(x, n));
        let later = line
            .get(i + 2)
            .filter(|l| after.is_some_and(|n| joined(n, l)));
        let offset = score.place_of(x.onset).offset;
        let note = LeadNote {
            previous: before.map(|p| p.midi),
            midi: x.midi,
            next: after.map(|n| n.midi),
            after_next: later.map(|l| l.midi),
            onset: x.onset,
            end: x.end,
            strong: beat.0 > 0 && offset.0 % beat.0 == 0,
            beat,
            previous_stable: before.is_some_and(|p| p.stable),
            next_stable: after.is_some_and(|n| n.stable),
        };
        if let Some(slot) = leads.get_mut(x.at) {
            *slot = Some(note);
        }
    }
    leads
}

/// Phrases end at a rest of a beat or more in every voice, and at double bars.
fn phrases(score: &Score, section: &Section, sonorities: &[Sonority]) -> Vec<Range<usize>> {
    let double_bars: Vec<Ticks> = section
        .parts
        .first()
        .and_then(|p| score.parts.get(p.part as usize))
        .map(|part| {
            part.bars
                .iter()
                .zip(&score.bars)
                .filter(|(p, _)| p.double_bar || p.repeat_end)
                .map(|(_, b)| b.start + b.length)
                .collect()
        })
        .unwrap_or_default();
    let mut phrases = Vec::new();
    let mut start = 0;
    for at in 1..sonorities.len() {
        let (Some(a), Some(b)) = (sonorities.get(at - 1), sonorities.get(at)) else {
            continue;
        };
        let beat = score.meter_at(b.onset).felt_beat(score.per_quarter);
        let rest = b.onset - a.end >= beat;
        let double = double_bars.iter().any(|&d| a.onset < d && b.onset >= d);
        if rest || double {
            phrases.push(start..at);
            start = at;
        }
    }
    if start < sonorities.len() {
        phrases.push(start..sonorities.len());
    }
    phrases
}

/// Words that end what earlier words stated.
fn ends_technique(words: &str) -> bool {
    let lower = words.to_lowercase();
    ["unis", "octave", "8ves", "solo", "free", "ad lib", "tutti"]
        .iter()
        .any(|w| lower.contains(w))
}

/// What the words over the section's staves say, in order of time.
fn written_words(score: &Score, section: &Section) -> Vec<(Ticks, Option<Technique>)> {
    let mut said: Vec<(Ticks, Option<Technique>)> = section
        .parts
        .iter()
        .filter_map(|p| score.parts.get(p.part as usize))
        .flat_map(|p| &p.words)
        .filter_map(|w| match Technique::named(&w.value.text) {
            Some(t) => Some((w.onset, Some(t))),
            None if ends_technique(&w.value.text) => Some((w.onset, None)),
            None => None,
        })
        .collect();
    said.sort_by_key(|(onset, t)| (*onset, t.is_none()));
    said.dedup_by_key(|(onset, _)| *onset);
    said
}

fn in_force(
    score: &Score,
    style: &Style,
    section: &Section,
    sonorities: &[Sonority],
    phrases: &[Range<usize>],
) -> Vec<Option<InForce>> {
    let words = written_words(score, section);
    let by_style = style.technique.as_deref().and_then(Technique::named);
    let fits: Vec<Option<Technique>> = sonorities
        .iter()
        .map(|s| s.is_block().then(|| technique_of(&s.midi())).flatten())
        .collect();
    let candidate = |i: &usize| {
        sonorities
            .get(*i)
            .is_some_and(|s| s.is_block() && matches!(s.voices.len(), 4 | 5))
    };
    let overall = majority(&fits, (0..sonorities.len()).filter(candidate));
    let mut out = vec![None; sonorities.len()];
    for phrase in phrases {
        let inferred = infer(&fits, phrase.clone().filter(candidate), overall);
        for i in phrase.clone() {
            let (Some(sonority), Some(slot)) = (sonorities.get(i), out.get_mut(i)) else {
                continue;
            };
            if !sonority.is_block() {
                continue;
            }
            let stated = score
                .stated
                .iter()
                .rfind(|m| m.onset <= sonority.onset && m.value.technique.is_some())
                .and_then(|m| m.value.technique.as_deref());
            let said = words.iter().rfind(|(onset, _)| *onset <= sonority.onset);
            *slot = match (said, stated, by_style) {
                (Some((_, t)), _, _) => t.map(|technique| InForce {
                    technique,
                    how: How::Words,
                }),
                (None, Some(text), _) if !text.is_empty() => {
                    Technique::named(text).map(|technique| InForce {
                        technique,
                        how: How::Stated,
                    })
                }
                (None, _, Some(technique)) => Some(InForce {
                    technique,
                    how: How::Stated,
                }),
                (None, _, None) => inferred.map(|technique| InForce {
                    technique,
                    how: How::Inferred,
                }),
            }
            .and_then(|f| {
                Some(InForce {
                    technique: f.technique.for_voices(sonority.voices.len())?,
                    how: f.how,
                })
            });
        }
    }
    out
}

/// The technique that most of these sonorities fit, how many fit it, and of how many.
fn majority(
    fits: &[Option<Technique>],
    among: impl Iterator<Item = usize>,
) -> Option<(Technique, usize, usize)> {
    let mut counts = [0usize; Technique::EVERY.len()];
    let mut of = 0;
    for i in among {
        of += 1;
        if let Some(Some(t)) = fits.get(i)
            && let Some(slot) = counts.get_mut(*t as usize)
        {
            *slot += 1;
        }
    }
    Technique::EVERY
        .into_iter()
        .zip(counts)
        .filter(|(_, n)| *n > 0)
        .max_by_key(|(t, n)| (*n, std::cmp::Reverse(*t)))
        .map(|(t, n)| (t, n, of))
}

/// A phrase is in the technique that at least 60 % of its block sonorities fit; a phrase too short
/// or too mixed to say follows the section when half of it does.
fn infer(
    fits: &[Option<Technique>],
    among: impl Iterator<Item = usize>,
    overall: Option<(Technique, usize, usize)>,
) -> Option<Technique> {
    let among: Vec<usize> = among.collect();
    let own = majority(fits, among.iter().copied());
    if let Some((t, n, of)) = own
        && n >= 3
        && n * 10 >= of * 6
    {
        return Some(t);
    }
    if let Some((t, n, of)) = overall
        && n >= 3
        && n * 10 >= of * 6
    {
        let here = among
            .iter()
            .filter(|&&i| fits.get(i) == Some(&Some(t)))
            .count();
        if here * 2 >= among.len() && here > 0 {
            return Some(t);
        }
    }
    own.filter(|&(_, n, of)| n >= 2 && n * 10 >= of * 6)
        .map(|(t, _, _)| t)
}
