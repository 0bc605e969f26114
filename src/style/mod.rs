//! The values of the house style in force: levels and numbers of rules, harmonisations, names of
//! parts, techniques of stretches, accepted findings.
//!
//! Every value keeps its origin. Bar numbers are printed ones; the ranges of instruments are at
//! written pitch. `house_style` reads the files of a style.

mod bars;
mod costs;
mod house_rule;
mod level;
mod origin;
mod pattern;

pub use bars::{Bars, FirstForBar};
pub use costs::{Costs, Evidence, FormCosts, TechniqueCosts};
pub use house_rule::{HouseRule, ListLooks, MendBy, VoiceAt};
pub use level::{Gate, LEVEL_WORDS, Level};
pub use origin::Origin;
pub use pattern::{FilePattern, FoldedName, LONGEST_NAME, NamePattern, PatternFiles};

use crate::ground::instrument::{self, Catalogue};
use crate::score::{Score, SpokenPitch};
use std::collections::{BTreeMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The instrument, section and seat of parts with a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartKind {
    /// Their names.
    pub name: NamePattern,
    /// The key of their instrument.
    pub instrument: Option<String>,
    /// The key of the section they are voiced with.
    pub section: Option<String>,
    /// Their seat, 1-based.
    pub seat: Option<u8>,
    /// Its place in the style file.
    pub origin: Origin,
}

/// The technique of a stretch of music.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// The technique in the trade's words; `None` for free writing.
    pub technique: Option<String>,
    /// The key of the section, when it is only one.
    pub section: Option<String>,
    /// The bars, when they are only some.
    pub bars: Option<Bars>,
    /// The files, when they are only some.
    pub file: Option<FilePattern>,
    /// Its place in the style file.
    pub origin: Origin,
}

/// Part files that are one score.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartSet {
    /// Its title.
    pub title: Option<String>,
    /// Its files in score order.
    pub files: Vec<FilePattern>,
    /// Its place in the style file.
    pub origin: Origin,
}

/// A finding that is meant to be there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Accepted {
    /// The rule.
    pub rule: String,
    /// The files, when they are only some.
    pub file: Option<FilePattern>,
    /// The printed bars, when they are only some.
    pub bars: Option<Bars>,
    /// All parts at fault are among these; empty for any.
    pub parts: Vec<NamePattern>,
    /// Why it is meant.
    pub reason: String,
    /// Its place in the style file.
    pub origin: Origin,
}

/// A house style, complete.
#[derive(Clone, Debug, PartialEq)]
pub struct Style {
    /// Its name: that of a shipped style, or its file.
    pub name: String,
    /// The shipped style it goes back to.
    pub shipped: String,
    /// The files it was read from: its own and those it extends.
    pub files: Vec<PathBuf>,
    /// Its purpose, in one sentence.
    pub about: String,
    /// The technique it states, in the trade's words; files and words over the staff come first.
    pub technique: Option<String>,
    /// Levels that differ from the rules' own; `None` switches the rule off.
    pub levels: BTreeMap<String, Option<Level>>,
    /// Passing notes take the diminished seventh that holds them and no other approach chord.
    pub only_diminished: bool,
    /// The order of a choir's voices is checked in counterpoint too, not only in block passages.
    pub counterpoint: bool,
    /// Numbers of rules that differ from the rules' own.
    pub settings: BTreeMap<String, BTreeMap<String, f64>>,
    /// What the accounts of a passage cost.
    pub costs: Costs,
    /// The lowest level that makes the exit code 1.
    pub gate: Option<Gate>,
    /// The school grade of the players, 1 to 6; 0 for professionals.
    pub grade: Option<u8>,
    /// At which pitch notes are reported to people.
    pub spoken: SpokenPitch,
    /// Instruments and sections.
    pub instruments: &'static Catalogue,
    /// The file's changes to instruments and sections, in layers.
    pub(crate) changes: Vec<toml::Table>,
    /// Instruments, sections and seats of parts, by their names; the first that fits holds.
    pub parts: Vec<PartKind>,
    /// The technique of stretches; the first that fits holds.
    pub stretches: Vec<Stretch>,
    /// Part files that are one score.
    pub sets: Vec<PartSet>,
    /// Findings that are meant to be there.
    pub accepted: Vec<Accepted>,
    /// Rules of the house's own.
    pub own: Vec<Arc<HouseRule>>,
    /// Where each single value came from, by its name: `technique`, `levels.wide-gap`,
    /// `settings.wide-gap.semitones`.
    pub(crate) origins: BTreeMap<String, Origin>,
}

impl Style {
    /// A style of this name that changes nothing: each rule keeps its own level and numbers.
    pub fn bare(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            shipped: name.to_owned(),
            files: Vec::new(),
            about: String::new(),
            technique: None,
            levels: BTreeMap::new(),
            only_diminished: false,
            counterpoint: false,
            settings: BTreeMap::new(),
            costs: Costs::default(),
            gate: None,
            grade: None,
            spoken: SpokenPitch::default(),
            instruments: instrument::catalogue(),
            changes: Vec::new(),
            parts: Vec::new(),
            stretches: Vec::new(),
            sets: Vec::new(),
            accepted: Vec::new(),
            own: Vec::new(),
            origins: BTreeMap::new(),
        }
    }

    /// The number this style gives a setting of a rule. The style's grade holds for every rule that
    /// has a setting `grade`.
    pub fn setting(&self, rule: &str, name: &str) -> Option<f64> {
        let own = self.settings.get(rule).and_then(|s| s.get(name)).copied();
        own.or_else(|| self.grade.filter(|_| name == "grade").map(f64::from))
    }

    /// The level of a rule's gravest finding, where `usual` is the rule's own; `None` when it is off.
    pub fn level(&self, rule: &str, usual: Option<Level>) -> Option<Level> {
        self.levels.get(rule).copied().unwrap_or(usual)
    }

    /// The rule of the house's own that is called so.
    pub fn own_rule(&self, name: &str) -> Option<&HouseRule> {
        self.own.iter().find(|r| r.name == name).map(Arc::as_ref)
    }

    /// States a technique for everything that does not state its own.
    pub fn state_technique(&mut self, technique: &str) {
        self.technique = Some(technique.to_owned());
        self.origins
            .insert("technique".to_owned(), Origin::Option("--technique"));
    }

    /// Where a single value came from.
    pub(crate) fn origin(&self, name: &str) -> Origin {
        self.origins.get(name).cloned().unwrap_or_default()
    }

    /// Gives a score the instruments, seats and sections that this style has for its parts, and the
    /// pitch at which people are told of its notes.
    pub fn prepare(&self, score: &mut Score) {
        score.spoken = self.spoken;
        score.instruments.set(self.instruments);
        if self.parts.is_empty() {
            return;
        }
        // Parts that no pattern has fitted so far, by name: one that names them outright needs no search.
        let mut left: BTreeMap<FoldedName, Vec<usize>> = BTreeMap::new();
        for (index, part) in score.parts.iter().enumerate() {
            left.entry(FoldedName::new(&part.name))
                .or_default()
                .push(index);
        }
        for kind in &self.parts {
            let fitting = if let Some(name) = kind.name.one_name() {
                left.remove(name).unwrap_or_default()
            } else {
                let mut fitting = Vec::new();
                left.retain(|name, parts| {
                    let fits = kind.name.matches(name);
                    if fits {
                        fitting.append(parts);
                    }
                    !fits
                });
                fitting
            };
            for part in fitting {
                let Some(part) = score.parts.get_mut(part) else {
                    continue;
                };
                if kind.instrument.is_some() {
                    part.instrument.clone_from(&kind.instrument);
                }
                part.section.clone_from(&kind.section);
                part.seat = kind.seat;
            }
            if left.is_empty() {
                break;
            }
        }
    }

    /// The stretches of a score for which this style states a technique.
    pub(crate) fn stretches_of<'s>(&'s self, score: &Score) -> Vec<&'s Stretch> {
        let all = self.stretches.iter();
        all.filter(|s| is_of(score, s.file.as_ref())).collect()
    }

    /// The set of part files that a file belongs to.
    pub fn set_of(&self, file: &Path) -> Option<&PartSet> {
        self.sets
            .iter()
            .find(|s| s.files.iter().any(|pattern| pattern.matches(file)))
    }
}

/// The technique that stretches of a score state for a section, bar by bar (0-based); `Some(None)` is free
/// writing.
pub(crate) fn technique_by_bar<'s>(
    stretches: &[&'s Stretch],
    score: &'s Score,
    section: &str,
) -> impl Fn(u32) -> Option<Option<&'s str>> + use<'s> {
    let of_section = |s: &&Stretch| {
        let stated = s.section.as_deref();
        stated.is_none_or(|key| is_of_section(key, section))
    };
    let here: Vec<&Stretch> = stretches.iter().copied().filter(of_section).collect();
    let first = FirstForBar::new(here.iter().map(|s| s.bars.as_ref()));
    move |bar| {
        let found = first.at(&score.bar_number(bar));
        found
            .and_then(|at| here.get(at))
            .map(|s| s.technique.as_deref())
    }
}

/// Whether what is stated for a section holds for another: for itself, and for one that others have joined
/// (`saxes` for "clarinet and saxes").
fn is_of_section(stated: &str, section: &str) -> bool {
    let mut joined = section.split(", ").flat_map(|p| p.split(" and "));
    stated == section || joined.any(|one| one == stated)
}

impl PartSet {
    /// The files there are on the disk, each once, in score order, and the links that were not followed.
    pub fn files_there(&self) -> PatternFiles {
        let mut all = PatternFiles::default();
        let mut seen = HashSet::new();
        for found in self.files.iter().map(FilePattern::files) {
            let new = found.files.into_iter().filter(|f| seen.insert(f.clone()));
            all.files.extend(new);
            all.outside.extend(found.outside);
        }
        all
    }
}

impl Accepted {
    /// Whether it speaks of one of a score's files.
    pub fn is_for(&self, score: &Score) -> bool {
        is_of(score, self.file.as_ref())
    }

    /// Whether it speaks of a rule's findings with parts of these names at fault.
    pub fn speaks_of(&self, rule: &str, parts: &[&FoldedName]) -> bool {
        let named = |part: &&FoldedName| self.parts.iter().any(|name| name.matches(part));
        rule == self.rule && (self.parts.is_empty() || parts.iter().all(named))
    }
}

/// Whether one of a score's files is meant.
fn is_of(score: &Score, file: Option<&FilePattern>) -> bool {
    file.is_none_or(|file| score.sources.iter().any(|s| file.matches(&s.path)))
}

impl Default for Style {
    /// The style `chart`, which leaves every rule as it is.
    fn default() -> Self {
        Self::bare("chart")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::Part;

    #[test]
    fn a_level_of_the_style_comes_before_the_rules_own() {
        let mut style = Style::default();
        assert_eq!(style.level("x", Some(Level::Note)), Some(Level::Note));
        assert_eq!(style.level("x", None), None);
        style.levels.insert("x".to_owned(), Some(Level::Error));
        assert_eq!(style.level("x", None), Some(Level::Error));
        style.levels.insert("x".to_owned(), None);
        assert_eq!(style.level("x", Some(Level::Error)), None);
    }

    #[test]
    fn a_number_of_a_rule_comes_before_the_grade() {
        let mut style = Style::default();
        assert_eq!(style.setting("endurance", "grade"), None);
        style.grade = Some(3);
        assert_eq!(style.setting("endurance", "grade"), Some(3.0));
        assert_eq!(style.setting("endurance", "bars"), None);
        let own = style.settings.entry("endurance".to_owned()).or_default();
        own.insert("grade".to_owned(), 5.0);
        assert_eq!(style.setting("endurance", "grade"), Some(5.0));
    }

    #[test]
    fn a_stated_technique_says_that_an_option_states_it() {
        let mut style = Style::default();
        assert_eq!(style.origin("technique"), Origin::Rule);
        style.state_technique("drop 2");
        assert_eq!(style.technique.as_deref(), Some("drop 2"));
        assert_eq!(style.origin("technique"), Origin::Option("--technique"));
    }

    #[test]
    fn a_part_is_of_the_first_kind_whose_name_fits() {
        let kind = |name: &str, seat: u8| PartKind {
            name: NamePattern::new(name),
            instrument: None,
            section: None,
            seat: Some(seat),
            origin: Origin::Rule,
        };
        let parts = vec![
            kind("Reed 3", 3),
            kind("reed ?", 1),
            kind("reed 1", 2),
            kind("*", 4),
            kind("Reed 12", 5),
        ];
        let style = Style {
            parts,
            ..Style::default()
        };
        let part = |name: &str| Part {
            name: name.to_owned(),
            ..Part::default()
        };
        let names = ["Reed 1", "REED 3", "Reed 12", "reed 3", "Flute"];
        let mut score = Score {
            parts: names.map(part).into(),
            ..Score::default()
        };
        style.prepare(&mut score);
        let seats: Vec<Option<u8>> = score.parts.iter().map(|p| p.seat).collect();
        assert_eq!(seats, [1, 3, 4, 3, 4].map(Some));
    }

    #[test]
    fn what_is_stated_for_a_section_holds_where_others_have_joined_it() {
        for joined in ["saxes", "clarinet and saxes", "flute, clarinet and saxes"] {
            assert!(super::is_of_section("saxes", joined), "{joined}");
        }
        for other in ["trumpets", "brass", "clarinet and bassoons"] {
            assert!(!super::is_of_section("saxes", other), "{other}");
        }
    }
}
