//! The technique in force: stated, said in words over the staff, or inferred from the music.

use super::frame::{frame_at, section_key};
use crate::ground::time::Ticks;
use crate::ground::words::{is_among, known_words};
use crate::score::{Mark, Score, Stated};
use crate::sonority::{Section, Sonority};
use crate::style::{Stretch, Style, technique_by_bar};
use crate::voicing::{Form, Frame, Mechanical, Technique, Voicing, mechanical_of};
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
    /// It was stated for four voices, and five sound.
    pub stated_for_four: Option<Mechanical>,
}

impl InForce {
    const fn new(technique: Technique, how: How) -> Self {
        Self {
            technique,
            how,
            stated_for_four: None,
        }
    }
}

/// What words over a staff say of the technique.
#[derive(Clone, Copy)]
enum TechniqueWords {
    /// From here on, until other words.
    From(Technique),
    /// For the phrase they stand in: a unison line.
    Phrase(Technique),
    /// For the phrase they stand in, nothing is to be held to a technique.
    Free,
}

/// Words over a staff, and what holds on from them or from words before.
struct WordsInOrder {
    onset: Ticks,
    say: TechniqueWords,
    holds_on: Option<Technique>,
}

/// Reads words over a staff. A bare "close" or "block" is too common a word to mean anything.
fn technique_in_words(words: &str) -> Option<TechniqueWords> {
    let lower = words.to_lowercase();
    let mut split = lower
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty());
    if let Some(t) = Technique::named(words) {
        let single = split.clone().count() == 1;
        return match t {
            Technique::Form(f) if f.is_doubling() => Some(TechniqueWords::Phrase(t)),
            _ if single && ["close", "block"].contains(&lower.trim()) => None,
            _ => Some(TechniqueWords::From(t)),
        };
    }
    split
        .any(|w| is_among(&known_words().technique.free, w))
        .then_some(TechniqueWords::Free)
}

/// Whether words over a staff say anything of the technique.
pub fn speaks_of_technique(words: &str) -> bool {
    technique_in_words(words).is_some()
}

/// What the words over the section's staves say, in order of time.
fn written_words(score: &Score, section: &Section) -> Vec<WordsInOrder> {
    let mut all: Vec<(Ticks, TechniqueWords)> = section
        .parts
        .iter()
        .filter_map(|p| score.parts.get(p.part as usize))
        .flat_map(|p| &p.words)
        .filter_map(|w| technique_in_words(&w.value.text).map(|s| (w.onset, s)))
        .collect();
    all.sort_by_key(|(onset, s)| (*onset, matches!(s, TechniqueWords::Free)));
    all.dedup_by_key(|(onset, _)| *onset);
    let mut holds_on = None;
    let in_order = all.into_iter().map(|(onset, say)| {
        if let TechniqueWords::From(technique) = say {
            holds_on = Some(technique);
        }
        WordsInOrder {
            onset,
            say,
            holds_on,
        }
    });
    in_order.collect()
}

/// What words say at a time: those of the phrase itself, else the last that hold on.
fn in_words(words: &[WordsInOrder], from: Ticks, at: Ticks) -> Option<TechniqueWords> {
    let until = words.partition_point(|w| w.onset <= at);
    let last = words.get(until.checked_sub(1)?)?;
    if last.onset >= from {
        return Some(last.say);
    }
    last.holds_on.map(TechniqueWords::From)
}

/// The technique in force for each sonority.
pub(super) fn in_force(
    score: &Score,
    style: &Style,
    stretches: &[&Stretch],
    section: &Section,
    sonorities: &[Sonority],
    phrases: &[Range<usize>],
) -> Vec<Option<InForce>> {
    let words = written_words(score, section);
    let by_style = style.technique.as_deref().and_then(Technique::named);
    let fits: Vec<Option<Mechanical>> = sonorities
        .iter()
        .map(|s| s.is_block().then(|| mechanical_of(&s.midi())).flatten())
        .collect();
    let candidate = |i: &usize| {
        sonorities
            .get(*i)
            .is_some_and(|s| s.is_block() && matches!(s.voices.len(), 4 | 5))
    };
    let key = section_key(score, section);
    let techniques: Vec<Mark<Stated>> = score
        .stated
        .iter()
        .filter(|m| m.value.technique.is_some())
        .cloned()
        .collect();
    let by_house = technique_by_bar(stretches, score, &section.key);
    let overall = majority(&fits, (0..sonorities.len()).filter(candidate));
    let mut out = vec![None; sonorities.len()];
    for phrase in phrases {
        let inferred = infer(&fits, phrase.clone().filter(candidate), overall)
            .map(Technique::Mechanical)
            .or_else(|| infer_form(score, &key, sonorities, phrase.clone()).map(Technique::Form));
        let from = sonorities
            .get(phrase.start)
            .map_or(Ticks::ZERO, |s| s.onset);
        for i in phrase.clone() {
            let (Some(sonority), Some(slot)) = (sonorities.get(i), out.get_mut(i)) else {
                continue;
            };
            if !sonority.is_block() {
                continue;
            }
            let stated = crate::score::in_force(&techniques, sonority.onset)
                .and_then(|m| m.value.technique.as_deref());
            let named = |text: &str| {
                Technique::named(text).map(|technique| InForce::new(technique, How::Stated))
            };
            let by_words = in_words(&words, from, sonority.onset);
            // What the house style says of these very bars comes first.
            let by_house = by_house(sonority.at.bar);
            *slot = match (by_house, by_words, stated, by_style) {
                (Some(technique), ..) => technique.and_then(named),
                (None, Some(TechniqueWords::From(t) | TechniqueWords::Phrase(t)), _, _) => {
                    Some(InForce::new(t, How::Words))
                }
                (None, Some(TechniqueWords::Free), _, _) => None,
                // What is said to be free names no technique.
                (None, None, Some(text), _) if !text.is_empty() => named(text),
                (None, None, _, Some(technique)) => Some(InForce::new(technique, How::Stated)),
                (None, None, _, None) => {
                    inferred.map(|technique| InForce::new(technique, How::Inferred))
                }
            }
            .and_then(|f| {
                let voices = sonority.voices.len();
                let stated_for_four = f
                    .technique
                    .mechanical()
                    .filter(|m| f.how != How::Inferred && m.voices() == 4 && voices == 5);
                Some(InForce {
                    technique: f.technique.for_voices(voices)?,
                    how: f.how,
                    stated_for_four,
                })
            });
        }
    }
    out
}

/// The technique that most of these sonorities fit, how many fit it, and of how many.
fn majority(
    fits: &[Option<Mechanical>],
    among: impl Iterator<Item = usize>,
) -> Option<(Mechanical, usize, usize)> {
    let mut counts = [0usize; Mechanical::EVERY.len()];
    let mut of = 0;
    for i in among {
        of += 1;
        if let Some(Some(t)) = fits.get(i)
            && let Some(slot) = counts.get_mut(*t as usize)
        {
            *slot += 1;
        }
    }
    Mechanical::EVERY
        .into_iter()
        .zip(counts)
        .filter(|(_, n)| *n > 0)
        .max_by_key(|(t, n)| (*n, std::cmp::Reverse(*t)))
        .map(|(t, n)| (t, n, of))
}

/// A phrase is in the technique that at least 60 % of its block sonorities fit; a phrase too short
/// or too mixed to say follows the section when half of it does.
fn infer(
    fits: &[Option<Mechanical>],
    among: impl Iterator<Item = usize> + Clone,
    overall: Option<(Mechanical, usize, usize)>,
) -> Option<Mechanical> {
    let own = majority(fits, among.clone());
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
        let all = among.clone().count();
        let here = among.filter(|&i| fits.get(i) == Some(&Some(t))).count();
        if here * 2 >= all && here > 0 {
            return Some(t);
        }
    }
    own.filter(|&(_, n, of)| n >= 2 && n * 10 >= of * 6)
        .map(|(t, _, _)| t)
}

/// The form that at least 60 % of a phrase's block sonorities are in, three of them at least. Unison and
/// octaves are what all of them are in but one, or one in ten: else somebody has a line of their own.
fn infer_form(
    score: &Score,
    key: impl Fn(Ticks) -> i8,
    sonorities: &[Sonority],
    phrase: Range<usize>,
) -> Option<Form> {
    let blocks: Vec<(Voicing, Option<Frame<'_>>)> = sonorities
        .get(phrase)?
        .iter()
        .filter(|s| s.is_block())
        .map(|s| (s.midi(), frame_at(score, s.onset, key(s.onset))))
        .collect();
    Form::ALL
        .into_iter()
        .map(|form| {
            let n = blocks
                .iter()
                .filter(|(midi, frame)| form.fits(midi, frame.as_ref()))
                .count();
            (n, form)
        })
        .filter(|(n, form)| {
            let all = blocks.len();
            let enough = if form.is_doubling() {
                n + (all / 10).max(1) >= all
            } else {
                n * 10 >= all * 6
            };
            *n >= 3 && enough
        })
        .max_by_key(|(n, form)| {
            (
                *n,
                std::cmp::Reverse(Form::ALL.iter().position(|f| f == form)),
            )
        })
        .map(|(_, form)| form)
}
