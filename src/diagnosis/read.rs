//! Reads the sections of a score: slices, lead line, phrases, techniques, diagnoses.

use super::diagnose::{diagnose, diagnose_again, diagnose_with};
use super::habits::Habits;
use super::lead::{find_held_leads, lead_line};
use super::passage::Passage;
use super::phrase::{led_by_top_seat, moves_as_block, phrases};
use super::seating::seat;
use super::technique::said;
use crate::ground::instrument::Property;
use crate::ground::threads;
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::sonority::{Section, Sonority, cut, sections, slice};
use crate::style::{Stretch, Style};
use std::ops::Range;

/// Reads every section of a score: slices, lead line, phrases, techniques, diagnoses.
pub fn passages(score: &Score, style: &Style) -> Vec<Passage> {
    let sections = sections(score);
    let voiced = |s: &Section| {
        !(s.is(Property::BassLine) || s.is(Property::Unpitched)) && (s.parts.len() > 1 || s.chordal)
    };
    let alone = sections.iter().filter(|s| voiced(s)).count() <= 1;
    let stretches = style.stretches_of(score);
    let mut heard: Vec<Heard> = threads::map(sections, |mut section| {
        let mut sonorities = slice(score, &section);
        let keeps_order =
            seat(score, &mut section, &mut sonorities) || style.counterpoint && section.is_choir();
        find_held_leads(score, &section, &mut sonorities);
        Heard {
            section,
            sonorities,
            alone,
            is_principal: alone,
            keeps_order,
        }
    });
    // A technique that is stated for a whole passage is that of the section which moves most.
    let blocks = |h: &Heard| h.sonorities.iter().filter(|s| s.is_block()).count();
    let most = heard
        .iter()
        .filter(|h| voiced(&h.section))
        .map(blocks)
        .max();
    for heard in &mut heard {
        heard.is_principal |= Some(blocks(heard)) == most;
    }
    threads::map(heard, |heard| read(score, style, &stretches, heard))
}

/// A lead by itself, with a sonority of its own at each of these times at which the chord changes
/// while a note is held.
pub fn lead_passage(score: &Score, style: &Style, changes: &[Ticks]) -> Option<Passage> {
    let section = sections(score).into_iter().next()?;
    let sonorities = cut(score, slice(score, &section), changes);
    let heard = Heard {
        section,
        sonorities,
        alone: true,
        is_principal: true,
        keeps_order: true,
    };
    let stretches = style.stretches_of(score);
    Some(read(score, style, &stretches, heard))
}

/// A section that has been sliced.
struct Heard {
    section: Section,
    sonorities: Vec<Sonority>,
    alone: bool,
    /// A technique stated for a whole passage is this section's.
    is_principal: bool,
    keeps_order: bool,
}

fn read(score: &Score, style: &Style, stretches: &[&Stretch], heard: Heard) -> Passage {
    let Heard {
        section,
        sonorities,
        alone,
        is_principal,
        keeps_order,
    } = heard;
    let leads = lead_line(score, &sonorities);
    let phrases = phrases(score, &section, &sonorities);
    let said = said(
        score,
        style,
        stretches,
        &section,
        &sonorities,
        &phrases,
        is_principal,
    );
    let led_by_top_seat = phrases
        .iter()
        .map(|p| keeps_order && led_by_top_seat(sonorities.get(p.clone()).unwrap_or_default()))
        .collect();
    let moves_as_block = phrases
        .iter()
        .map(|p| moves_as_block(sonorities.get(p.clone()).unwrap_or_default()))
        .collect();
    let mut passage = Passage {
        section,
        alone,
        keeps_order,
        moves_as_block,
        led_by_top_seat,
        sonorities,
        leads,
        phrases,
        in_force: Vec::new(),
        habits: Habits::default(),
        diagnoses: Vec::new(),
        costs: Vec::new(),
    };
    diagnose(score, style, &mut passage, &said);
    passage
}

impl Passage {
    /// A stretch of one phrase as a passage of its own. Technique and habits stay those of the whole.
    #[must_use]
    pub fn window(&self, score: &Score, style: &Style, range: Range<usize>) -> Self {
        let first = self.phrases.partition_point(|p| p.end <= range.start);
        let last = self.phrases.partition_point(|p| p.start < range.end);
        let inside = first..last;
        let within = |p: &Range<usize>| {
            let cut = |at: usize| at.clamp(range.start, range.end) - range.start;
            cut(p.start)..cut(p.end)
        };
        let phrases = self.phrases.get(inside.clone()).unwrap_or_default();
        let phrases = phrases.iter().map(within).collect();
        let flag = |flags: &[bool]| flags.get(inside.clone()).unwrap_or_default().to_vec();
        let sonorities = self.sonorities.get(range.clone()).unwrap_or_default();
        let mut window = Self {
            section: self.section.clone(),
            alone: self.alone,
            keeps_order: self.keeps_order,
            leads: Vec::new(),
            phrases,
            in_force: self
                .in_force
                .get(range.clone())
                .unwrap_or_default()
                .to_vec(),
            habits: self.habits,
            moves_as_block: flag(&self.moves_as_block),
            led_by_top_seat: flag(&self.led_by_top_seat),
            sonorities: sonorities.to_vec(),
            diagnoses: Vec::new(),
            costs: Vec::new(),
        };
        window.hear(score);
        window.diagnoses = diagnose_with(score, style, &window, window.habits);
        window
    }

    /// The same stretch in a score in which notes have changed pitch since: what they are not near to
    /// is diagnosed as before.
    #[must_use]
    pub fn heard_again(&self, score: &Score, style: &Style) -> Self {
        let mut now = self.clone();
        now.hear(score);
        diagnose_again(score, style, &mut now, self);
        now
    }

    /// Takes pitches from the score, and what follows from them alone.
    fn hear(&mut self, score: &Score) {
        for sonority in &mut self.sonorities {
            sonority.read_again(score);
        }
        find_held_leads(score, &self.section, &mut self.sonorities);
        self.leads = lead_line(score, &self.sonorities);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::pitch::Pitch;
    use crate::rules;
    use crate::score::Change;
    use std::path::Path;

    /// Every note of every phrase moved by these semitones: each stretch must be heard as if all of it
    /// were looked at again.
    fn hear_again_and_anew(score: &Score, every: usize) -> usize {
        let style = Style::default();
        let mut heard = 0;
        for passage in passages(score, &style) {
            for phrase in passage.phrases.clone() {
                let before = passage.window(score, &style, phrase.clone());
                let voices = before.sonorities.iter().flat_map(|s| &s.voices);
                for voice in voices.filter(|v| v.attacked).step_by(every) {
                    for by in [-12, -1, 1, 2, 5, 12] {
                        let mut changed = score.clone();
                        changed.change(&[Change {
                            note: voice.note,
                            sounding: Pitch::in_key(voice.midi + by, 0),
                        }]);
                        let again = before.heard_again(&changed, &style);
                        let anew = passage.window(&changed, &style, phrase.clone());
                        assert_eq!(again.leads, anew.leads);
                        assert_eq!(again.diagnoses, anew.diagnoses, "{voice:?} by {by}");
                        heard += 1;
                    }
                }
            }
        }
        heard
    }

    #[test]
    fn what_is_heard_again_is_diagnosed_as_if_anew() {
        let examples = rules::ALL.iter().flat_map(|r| r.examples);
        let mut heard = 0;
        for text in examples.flat_map(|e| [e.wrong.to_owned(), e.right_passage().unwrap()]) {
            heard += hear_again_and_anew(&rules::Example::score(&text).unwrap(), 1);
        }
        let chart =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/lamplighters-detour.musicxml");
        heard += hear_again_and_anew(&crate::reading::files::read_file(&chart).unwrap(), 29);
        assert!(heard > 5_000, "{heard}");
    }
}
