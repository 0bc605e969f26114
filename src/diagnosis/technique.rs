//! The technique in force: stated, said in words over the staff, or inferred from the music.

use crate::ground::time::Ticks;
use crate::ground::words::{is_among, known_words};
use crate::score::{Mark, Note, Part, Score, Stated};
use crate::sonority::{Section, Sonority};
use crate::style::{Stretch, Style, technique_by_bar};
use crate::voicing::{Mechanical, Technique};
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
    /// A sonority may be held to it: it was stated, or most chords that move keep it.
    pub convicts: bool,
}

impl InForce {
    const fn stated(technique: Technique, how: How) -> Self {
        Self {
            technique,
            how,
            stated_for_four: None,
            convicts: true,
        }
    }

    /// Inferred from the music.
    pub(super) const fn inferred(technique: Technique, convicts: bool) -> Self {
        Self {
            technique,
            how: How::Inferred,
            stated_for_four: None,
            convicts,
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

/// What words over a staff ask a section for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asks {
    /// This technique.
    Technique(Technique),
    /// None: a solo, or free writing.
    Free,
}

/// What words over a staff ask for; `None` when they say nothing of the technique.
pub fn asks_in_words(words: &str) -> Option<Asks> {
    Some(match technique_in_words(words)? {
        TechniqueWords::From(t) | TechniqueWords::Phrase(t) => Asks::Technique(t),
        TechniqueWords::Free => Asks::Free,
    })
}

/// Whether words over a staff say anything of the technique.
pub fn speaks_of_technique(words: &str) -> bool {
    technique_in_words(words).is_some()
}

/// Whether several players read a part now and then.
fn is_divided(part: &Part) -> bool {
    let two = |w: &[Note]| matches!(w, [a, b] if a.onset == b.onset && a.sounds() && b.sounds());
    part.notes.windows(2).any(two)
}

/// What the words over the section's staves say, in order of time.
fn written_words(score: &Score, section: &Section) -> Vec<WordsInOrder> {
    let mut all: Vec<(Ticks, TechniqueWords)> = section
        .parts
        .iter()
        .filter_map(|p| score.parts.get(p.part as usize))
        .flat_map(|p| {
            // "unis." ends the divisi of a staff, and says nothing of the section.
            let divided = std::cell::LazyCell::new(|| is_divided(p));
            p.words.iter().filter_map(move |w| {
                let say = technique_in_words(&w.value.text)?;
                let own = matches!(say, TechniqueWords::Phrase(_)) && *divided;
                (!own).then_some((w.onset, say))
            })
        })
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

/// What is said of the technique of a sonority.
#[derive(Clone, Copy, Debug)]
pub(super) enum Said {
    /// It is stated.
    Stated(InForce),
    /// It is said to be free, or stated for another number of voices.
    Free,
    /// Nothing: the music itself has to show it.
    Nothing,
}

/// What is said of the technique of each sonority. What a whole passage states holds for its principal
/// section; one that accompanies it shows its own.
pub(super) fn said(
    score: &Score,
    style: &Style,
    stretches: &[&Stretch],
    section: &Section,
    sonorities: &[Sonority],
    phrases: &[Range<usize>],
    is_principal: bool,
) -> Vec<Said> {
    let words = written_words(score, section);
    let by_style = style.technique.as_deref().and_then(Technique::named);
    let techniques: Vec<Mark<Stated>> = score
        .stated
        .iter()
        .filter(|m| m.value.technique.is_some())
        .cloned()
        .collect();
    let by_house = technique_by_bar(stretches, score, &section.key);
    let mut out = vec![Said::Free; sonorities.len()];
    for phrase in phrases {
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
                Technique::named(text).map(|technique| InForce::stated(technique, How::Stated))
            };
            let by_words = in_words(&words, from, sonority.onset);
            // What the house style says of these very bars comes first.
            let by_house = by_house(sonority.at.bar);
            let stated = match (by_house, by_words, stated, by_style) {
                (Some(technique), ..) => technique.and_then(named),
                (None, Some(TechniqueWords::From(t) | TechniqueWords::Phrase(t)), _, _) => {
                    Some(InForce::stated(t, How::Words))
                }
                (None, Some(TechniqueWords::Free), _, _) => None,
                // What is said to be free names no technique.
                (None, None, Some(text), _) if is_principal && !text.is_empty() => named(text),
                (None, None, _, Some(technique)) if is_principal => {
                    Some(InForce::stated(technique, How::Stated))
                }
                (None, None, ..) => {
                    *slot = Said::Nothing;
                    continue;
                }
            };
            let stated = stated.and_then(|f| {
                let voices = sonority.voices.len();
                let stated_for_four = f
                    .technique
                    .mechanical()
                    .filter(|m| m.voices() == 4 && voices == 5);
                Some(InForce {
                    technique: f.technique.for_voices(voices)?,
                    stated_for_four,
                    ..f
                })
            });
            *slot = stated.map_or(Said::Free, Said::Stated);
        }
    }
    out
}
