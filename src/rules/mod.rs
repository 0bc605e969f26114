//! The rules: one file each, holding what it asks, its check, and its wrong and right examples,
//! which are also its tests. A rule knows no file format and prints nothing.

mod wording;

mod doubled_note;
mod lead_doubling;
mod lead_not_on_top;
mod minor_ninth;
mod passing_diminished;
mod semitone_under_lead;
mod voice_crossing;
mod written_range;
mod wrong_note;
mod wrong_octave;
mod wrong_voice_dropped;

use crate::diagnosis::{Diagnosis, Fault, Passage, Slip, Verdict};
use crate::finding::{Change, Finding, Level, NoteAtFault, NoteRef};
use crate::score::Score;
use crate::sonority::Sonority;
use crate::style::Style;
use std::collections::HashSet;

/// What a rule belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Group {
    /// Notes against the chord.
    Harmony,
    /// How the chord is spread over the voices.
    Voicing,
    /// Clashing intervals.
    Rubs,
    /// What one player can and should play.
    Players,
}

/// A wrong passage and the same put right, as grids.
#[derive(Clone, Copy, Debug)]
pub struct Example {
    /// Holds one mistake.
    pub wrong: &'static str,
    /// Printed bar number and beat of the mistake.
    pub at: (&'static str, &'static str),
    /// The same without it.
    pub right: &'static str,
}

/// A rule.
#[derive(Debug)]
pub struct Rule {
    /// Its name, in the trade's words.
    pub name: &'static str,
    /// What it belongs to.
    pub group: Group,
    /// What it asks, in one sentence.
    pub asks: &'static str,
    /// Why, in a sentence or two.
    pub why: &'static str,
    /// When it keeps silent.
    pub exceptions: &'static [&'static str],
    /// Where it comes from.
    pub source: &'static str,
    /// The level of its gravest finding.
    pub level: Level,
    /// Wrong and right.
    pub examples: &'static [Example],
    check: fn(&Reading<'_>, &mut Vec<Finding>),
}

/// All rules, in the order they are listed.
pub static ALL: [&Rule; 11] = [
    &passing_diminished::RULE,
    &wrong_note::RULE,
    &wrong_voice_dropped::RULE,
    &lead_doubling::RULE,
    &lead_not_on_top::RULE,
    &voice_crossing::RULE,
    &doubled_note::RULE,
    &wrong_octave::RULE,
    &semitone_under_lead::RULE,
    &minor_ninth::RULE,
    &written_range::RULE,
];

/// What rules look at.
pub struct Reading<'a> {
    /// The score.
    pub score: &'a Score,
    /// The house style.
    pub style: &'a Style,
    /// Each section's sonorities and their diagnoses.
    pub passages: &'a [Passage],
    claimed: HashSet<NoteRef>,
}

impl<'a> Reading<'a> {
    /// Notes that a slip already explains are claimed: no second rule speaks of them.
    pub fn new(score: &'a Score, style: &'a Style, passages: &'a [Passage]) -> Self {
        let claimed = passages
            .iter()
            .flat_map(|p| &p.diagnoses)
            .filter_map(|d| match &d.verdict {
                Verdict::Slip(slip) => Some(&slip.faults),
                _ => None,
            })
            .flatten()
            .map(|f| f.note)
            .collect();
        Self {
            score,
            style,
            passages,
            claimed,
        }
    }

    /// Whether a slip explains this note.
    pub fn is_claimed(&self, note: NoteRef) -> bool {
        self.claimed.contains(&note)
    }

    /// Every slip with where it stands.
    fn slips(&self) -> impl Iterator<Item = SlipAt<'a>> {
        self.passages.iter().flat_map(|passage| {
            passage
                .sonorities
                .iter()
                .zip(&passage.diagnoses)
                .enumerate()
                .filter_map(
                    move |(index, (sonority, diagnosis))| match &diagnosis.verdict {
                        Verdict::Slip(slip) => Some(SlipAt {
                            passage,
                            index,
                            sonority,
                            diagnosis,
                            slip,
                        }),
                        _ => None,
                    },
                )
        })
    }
}

/// A slip and where it stands.
#[derive(Clone, Copy)]
struct SlipAt<'a> {
    passage: &'a Passage,
    index: usize,
    sonority: &'a Sonority,
    diagnosis: &'a Diagnosis,
    slip: &'a Slip,
}

impl SlipAt<'_> {
    /// Longer than a beat, or the last note of its phrase held a beat.
    fn is_held(&self) -> bool {
        self.passage
            .leads
            .get(self.index)
            .copied()
            .flatten()
            .is_some_and(|l| l.duration() >= l.beat)
    }

    /// The finding of a rule for this slip.
    fn finding(
        &self,
        score: &Score,
        rule: &'static Rule,
        level: Level,
        message: String,
    ) -> Finding {
        let slip = self.slip;
        let mut parts: Vec<u32> = slip.faults.iter().map(|f| f.note.part).collect();
        parts.sort_unstable();
        parts.dedup();
        Finding {
            rule: rule.name,
            level,
            section: Some(self.passage.section.name.clone()),
            parts,
            at: self.sonority.at,
            message,
            why: rule.why.to_owned(),
            source: rule.source,
            chord: self.diagnosis.chord.clone(),
            technique: self
                .diagnosis
                .technique
                .map(|t| t.technique.name().to_owned()),
            notes: slip
                .faults
                .iter()
                .map(|f| NoteAtFault {
                    note: f.note,
                    voice: f.voice,
                    expected: Some(f.expected),
                    label: wording::label(score, f),
                })
                .collect(),
            found: self.sonority.pitches(),
            expected: slip.expected.clone(),
            suggestion: wording::instead(score, &slip.moves),
            remedies: remedies([&slip.moves, &slip.faults]),
            fix: None,
        }
    }
}

/// What to try so that each list of faults is mended, in this order.
fn remedies<'a>(ways: impl IntoIterator<Item = &'a Vec<Fault>>) -> Vec<Vec<Change>> {
    let mut remedies: Vec<Vec<Change>> = Vec::new();
    for way in ways {
        let changes: Vec<Change> = way
            .iter()
            .filter(|f| f.found != f.expected)
            .map(|f| Change {
                note: f.note,
                sounding: f.expected,
            })
            .collect();
        if !changes.is_empty() && !remedies.contains(&changes) {
            remedies.push(changes);
        }
    }
    remedies
}

/// Runs every rule that the style has on.
pub fn check(reading: &Reading<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for rule in ALL {
        let level = reading.style.levels.get(rule.name);
        if level == Some(&None) {
            continue;
        }
        let from = findings.len();
        (rule.check)(reading, &mut findings);
        if let Some(Some(level)) = level {
            for f in findings.iter_mut().skip(from) {
                f.level = *level;
            }
        }
    }
    let rank = |name: &str| ALL.iter().position(|r| r.name == name);
    findings.sort_by(|a, b| (a.at, &a.parts, rank(a.rule)).cmp(&(b.at, &b.parts, rank(b.rule))));
    findings
}

/// The rule of this name.
pub fn named(name: &str) -> Option<&'static Rule> {
    ALL.into_iter().find(|r| r.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::proof;
    use crate::reading::grid;
    use std::path::Path;

    fn findings(text: &str) -> (Score, Vec<Finding>) {
        let score = grid::read(Path::new("example.passage"), text.into())
            .unwrap_or_else(|e| panic!("{e}\n{text}"));
        let findings = proof(&score, &Style::default()).findings;
        (score, findings)
    }

    #[test]
    fn every_rule_has_a_wrong_example_it_flags_and_a_right_one_it_passes() {
        for rule in ALL {
            assert!(!rule.examples.is_empty(), "{}", rule.name);
            for example in rule.examples {
                let (score, found) = findings(example.wrong);
                let said: Vec<String> = found
                    .iter()
                    .map(|f| {
                        format!(
                            "{} {} {}: {}",
                            f.rule,
                            score.bar_number(f.at.bar),
                            score.beat_at(f.at),
                            f.message
                        )
                    })
                    .collect();
                assert_eq!(found.len(), 1, "{}: {said:#?}", rule.name);
                assert_eq!(found[0].rule, rule.name, "{said:#?}");
                let at = (
                    score.bar_number(found[0].at.bar),
                    score.beat_at(found[0].at).to_string(),
                );
                assert_eq!((at.0.as_str(), at.1.as_str()), example.at, "{}", rule.name);
                let (_, found) = findings(example.right);
                assert_eq!(found, [], "{}", rule.name);
            }
        }
    }

    #[test]
    fn names_are_unique_and_every_rule_says_why() {
        let mut names: Vec<&str> = ALL.iter().map(|r| r.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), ALL.len());
        for rule in ALL {
            assert!(named(rule.name).is_some_and(|r| std::ptr::eq(r, rule)));
            assert!(!rule.asks.is_empty() && !rule.why.is_empty() && !rule.source.is_empty());
        }
    }
}
