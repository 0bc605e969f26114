//! An answer key: the melody, the chord symbols and the technique of an exercise.

use crate::diagnosis::{Passage, passages};
use crate::ground::pitch::Pitch;
use crate::score::{Mark, Place, Score, Stated};
use crate::sonority::{Sonority, Voice};
use crate::style::Style;
use crate::voicing::{Technique, Voicing};
use num_rational::Ratio;

/// Quarter notes.
pub(super) type Quarters = Ratio<i64>;

/// The answer to an exercise.
#[derive(Debug)]
pub struct Key {
    /// What it is called in reports.
    pub name: String,
    pub(super) score: Score,
    pub(super) sections: Vec<KeySection>,
}

/// A section of the key.
#[derive(Debug)]
pub(super) struct KeySection {
    pub section: String,
    pub notes: Vec<KeyNote>,
}

/// One melody note of the key and what stands under it.
#[derive(Clone, Debug)]
pub(super) struct KeyNote {
    pub bar: i64,
    pub offset: Quarters,
    pub at: Place,
    pub lead: Pitch,
    /// The lead is held, and the other voices go with a change of chord.
    pub held: bool,
    /// Sounding semitones from the top.
    pub voicing: Voicing,
    pub technique: Option<Technique>,
}

/// Why a key cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// There is nothing to hold homework against.
    #[error(
        "the answer key {0} holds no melody: expected a score with at least one part that has notes; name the model answer, or the melody with its chord symbols"
    )]
    NoMelody(String),
    /// Nothing could be judged under it.
    #[error(
        "the answer key {0} has no chord symbol that can be read, and homework is judged under the key's: write them into it, or leave out --key and the students' own hold"
    )]
    NoChords(String),
}

impl Key {
    /// Reads a key: a model answer, or a melody with chord symbols.
    pub fn new(name: String, score: Score, style: &Style) -> Result<Self, KeyError> {
        let read = passages(&score, style);
        let is_held = |p: &Passage| p.in_force.iter().any(Option::is_some);
        let held: Vec<&Passage> = read.iter().filter(|p| is_held(p)).collect();
        // Where nothing is voiced in a technique the key is a melody: the part with most of it.
        let chosen = if held.is_empty() {
            let longest = read.iter().rev().max_by_key(|p| p.sonorities.len());
            longest.into_iter().collect()
        } else {
            held
        };
        let stated = style.technique.as_deref().and_then(Technique::named);
        let sections: Vec<KeySection> = chosen
            .into_iter()
            .map(|p| KeySection::new(&score, p, stated))
            .filter(|l| !l.notes.is_empty())
            .collect();
        if sections.is_empty() {
            return Err(KeyError::NoMelody(name));
        }
        if score.chords.iter().all(|m| m.value.chord.is_none()) {
            return Err(KeyError::NoChords(name));
        }
        Ok(Self {
            name,
            score,
            sections,
        })
    }

    /// How many sonorities it asks for.
    #[cfg(any(test, feature = "inside"))]
    pub fn sonorities(&self) -> usize {
        self.sections.iter().map(|l| l.notes.len()).sum()
    }

    /// The title of its score.
    pub fn title(&self) -> Option<&str> {
        self.score.title.as_deref()
    }
}

impl KeySection {
    fn new(score: &Score, passage: &Passage, stated: Option<Technique>) -> Self {
        let per_quarter = score.per_quarter.0.max(1);
        let alone = passage.in_force.iter().all(Option::is_none);
        let said: Vec<&Mark<Stated>> = score.stated.iter().collect();
        let notes = passage
            .sonorities
            .iter()
            .enumerate()
            .filter_map(|(i, s)| {
                let lead = lead_voice(s)?;
                let held = !lead.attacked;
                if held && !s.under_held_lead {
                    return None;
                }
                let in_force = passage.in_force.get(i).copied().flatten();
                // A melody by itself states its technique, and nothing fits it yet.
                let by_score = said
                    .iter()
                    .rev()
                    .find(|m| m.onset <= s.onset)
                    .and_then(|m| m.value.technique.as_deref())
                    .and_then(Technique::named);
                let technique = match in_force {
                    Some(force) => Some(force.technique),
                    None if alone => by_score.or(stated),
                    None => None,
                };
                Some(KeyNote {
                    bar: i64::from(s.at.bar),
                    offset: Ratio::new(s.at.offset.0, per_quarter),
                    at: s.at,
                    lead: lead.pitch,
                    held,
                    voicing: s.midi(),
                    technique,
                })
            })
            .collect();
        Self {
            section: passage.section.key.clone(),
            notes,
        }
    }
}

/// The voice that has the melody: the top seat's, of several notes in one part the highest.
pub(super) fn lead_voice(sonority: &Sonority) -> Option<&Voice> {
    sonority.voices.iter().min_by_key(|v| (v.seat, -v.midi))
}
