//! The house style in force: levels and numbers of rules, which harmonisations are accepted, what
//! parts are, which technique holds where, which findings are meant.
//!
//! A style is read in layers: the rules' own values, a shipped style (`rules/chart.toml`,
//! `rules/homework.toml`, `rules/choir.toml`), then house style files (`chartproof.toml`), each of
//! which says what it changes. Every value remembers where it came from. Bar numbers are printed
//! ones, ranges and instruments are at written pitch.

mod find;
mod load;
pub mod own;
mod page;
mod pattern;
mod print;
mod schema;
mod words;

pub use find::{FILE_NAME, HouseStyles};
pub use load::StyleError;
pub use pattern::{Bars, BarsError, FilePattern, NamePattern};
pub use print::print;
pub use schema::schema;

use self::own::HouseRule;
use crate::finding::{Finding, Grounds, Level, SetAside};
use crate::ground::instrument::{self, Catalogue};
use crate::reading::files::Set;
use crate::rules::{self, Rule};
use crate::score::Score;
use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Where a value of a style came from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Origin {
    /// The rule itself.
    #[default]
    Rule,
    /// A style that comes with the program.
    Shipped(String),
    /// A house style file.
    File {
        /// The file.
        path: PathBuf,
        /// 1-based.
        line: usize,
    },
    /// An option of the command.
    Option(&'static str),
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rule => f.write_str("the program's own"),
            Self::Shipped(name) => write!(f, "shipped style {name}"),
            Self::File { path, line } => write!(f, "{}:{line}", path.display()),
            Self::Option(name) => f.write_str(name),
        }
    }
}

/// What makes the exit code 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gate {
    /// A finding of this level or above.
    At(Level),
    /// Nothing.
    Never,
}

impl Gate {
    /// The words for them.
    pub const WORDS: [(&'static str, Self); 4] = [
        ("error", Self::At(Level::Error)),
        ("warning", Self::At(Level::Warning)),
        ("note", Self::At(Level::Note)),
        ("never", Self::Never),
    ];

    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::At(level) => level.word(),
            Self::Never => "never",
        }
    }

    /// Whether the heaviest finding is at the gate or above it.
    pub fn stops(self, worst: Option<Level>) -> bool {
        match self {
            Self::At(lowest) => worst.is_some_and(|level| level >= lowest),
            Self::Never => false,
        }
    }
}

/// What parts of a name are.
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
    /// Where this is said.
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
    /// Where this is said.
    pub origin: Origin,
}

/// Part files that are one score.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartSet {
    /// Its title.
    pub title: Option<String>,
    /// Its files in score order.
    pub files: Vec<FilePattern>,
    /// Where this is said.
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
    /// Where this is said.
    pub origin: Origin,
}

/// A house style, complete.
#[derive(Clone, Debug, PartialEq)]
pub struct Style {
    /// Its name: that of a shipped style, or its file.
    pub name: String,
    /// The shipped style it goes back to.
    pub shipped: String,
    /// What it is for, in one sentence.
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
    /// The lowest level that makes the exit code 1.
    pub gate: Option<Gate>,
    /// The school grade of the players, 1 to 6; 0 for professionals.
    pub grade: Option<u8>,
    /// Instruments and sections.
    pub instruments: &'static Catalogue,
    /// The file's changes to instruments and sections, in layers.
    changes: Vec<toml::Table>,
    /// What parts are, by their names; the first that fits holds.
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
    origins: BTreeMap<String, Origin>,
}

const SHIPPED: [(&str, &str); 3] = [
    ("chart", include_str!("../../rules/chart.toml")),
    ("choir", include_str!("../../rules/choir.toml")),
    ("homework", include_str!("../../rules/homework.toml")),
];

impl Style {
    /// The names of the styles that come with the program.
    pub fn shipped_names() -> impl Iterator<Item = &'static str> {
        SHIPPED.into_iter().map(|(name, _)| name)
    }

    /// A style that comes with the program.
    pub fn shipped(name: &str) -> Option<Self> {
        let (name, text) = SHIPPED.into_iter().find(|(n, _)| *n == name)?;
        load::shipped(name, text).ok()
    }

    /// A style before any file says anything.
    fn bare(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            shipped: name.to_owned(),
            about: String::new(),
            technique: None,
            levels: BTreeMap::new(),
            only_diminished: false,
            counterpoint: false,
            settings: BTreeMap::new(),
            gate: None,
            grade: None,
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

    /// Reads the house style in a file, with everything it extends.
    ///
    /// # Errors
    ///
    /// Every mistake in it, with its place, when there is one.
    pub fn read(path: &Path) -> Result<Self, StyleError> {
        load::file(path)
    }

    /// The same for a text that stands (or would stand) in a file.
    ///
    /// # Errors
    ///
    /// As [`Style::read`].
    pub fn read_text(path: &Path, text: &str) -> Result<Self, StyleError> {
        load::text(path, text)
    }

    /// The number this style gives a setting of a rule. What it says of the grade of its players
    /// holds for every rule that asks for a `grade`.
    pub fn setting(&self, rule: &str, name: &str) -> Option<f64> {
        let own = self.settings.get(rule).and_then(|s| s.get(name)).copied();
        own.or_else(|| self.grade.filter(|_| name == "grade").map(f64::from))
    }

    /// The level of a rule's gravest finding; `None` when it is off.
    pub fn level(&self, rule: &Rule) -> Option<Level> {
        match self.levels.get(rule.name) {
            Some(level) => *level,
            None if rule.off => None,
            None => Some(rule.level),
        }
    }

    /// The level of a rule of the house's own; `None` when it is off.
    pub fn own_level(&self, rule: &HouseRule) -> Option<Level> {
        self.levels.get(rule.name).copied().unwrap_or(rule.level)
    }

    /// Whether a rule is called so, be it the program's or the house's own.
    pub fn has_rule(&self, name: &str) -> bool {
        rules::named(name).is_some() || self.own.iter().any(|r| r.name == name)
    }

    /// States a technique for everything that does not state its own.
    pub fn state_technique(&mut self, technique: &str) {
        self.technique = Some(technique.to_owned());
        self.origins
            .insert("technique".to_owned(), Origin::Option("--technique"));
    }

    /// Where a single value came from.
    fn origin(&self, name: &str) -> Origin {
        self.origins.get(name).cloned().unwrap_or_default()
    }

    /// Tells a score what this style knows of its parts: instruments, seats, sections.
    pub fn prepare(&self, score: &mut Score) {
        score.instruments.set(self.instruments);
        if self.parts.is_empty() {
            return;
        }
        for part in &mut score.parts {
            let Some(kind) = self.parts.iter().find(|k| k.name.matches(&part.name)) else {
                continue;
            };
            if kind.instrument.is_some() {
                part.instrument.clone_from(&kind.instrument);
            }
            part.section.clone_from(&kind.section);
            part.seat = kind.seat;
        }
    }

    /// What this style states for a section of a score, bar by bar (0-based): the technique, or that
    /// it is free.
    pub(crate) fn stated<'s>(
        &'s self,
        score: &'s Score,
        section: &str,
    ) -> impl Fn(u32) -> Option<Option<&'s str>> + use<'s> {
        let here: Vec<&Stretch> = self
            .stretches
            .iter()
            .filter(|s| s.section.as_deref().is_none_or(|k| k == section))
            .filter(|s| is_of(score, s.file.as_ref()))
            .collect();
        move |bar| {
            let holds = |s: &&&Stretch| {
                s.bars
                    .as_ref()
                    .is_none_or(|b| b.hold(&score.bar_number(bar)))
            };
            here.iter().find(holds).map(|s| s.technique.as_deref())
        }
    }

    /// The set of part files that a file belongs to.
    pub fn set_of(&self, file: &Path) -> Option<Set> {
        let set = self
            .sets
            .iter()
            .find(|s| s.files.iter().any(|pattern| pattern.matches(file)))?;
        let mut files: Vec<PathBuf> = Vec::new();
        for found in set.files.iter().flat_map(FilePattern::files) {
            if !files.contains(&found) {
                files.push(found);
            }
        }
        Some(Set {
            title: set.title.clone(),
            files,
        })
    }

    /// Takes out the findings that are meant to be there; with them one sentence for each reason,
    /// and one for each acceptance that has nothing left to accept.
    pub(crate) fn accept(
        &self,
        score: &Score,
        findings: &mut Vec<Finding>,
    ) -> (Vec<SetAside>, Vec<String>) {
        let mut remarks = Vec::new();
        let mut set_aside = Vec::new();
        for accepted in self
            .accepted
            .iter()
            .filter(|a| is_of(score, a.file.as_ref()))
        {
            let meant: Vec<Finding> = findings
                .extract_if(.., |f| accepted.holds(score, f))
                .collect();
            let count = meant.len();
            set_aside.extend(meant.into_iter().map(|finding| SetAside {
                finding,
                grounds: Grounds::Style,
                reason: Some(accepted.reason.clone()),
                origin: accepted.origin.to_string(),
            }));
            let what = match count {
                // Without a file it may be meant for another score.
                0 if accepted.file.is_none() => continue,
                0 => "no finding is left to accept".to_owned(),
                1 => "1 finding accepted".to_owned(),
                n => format!("{n} findings accepted"),
            };
            let bars = accepted
                .bars
                .as_ref()
                .map_or_else(String::new, |b| format!(", bars {b}"));
            remarks.push(format!(
                "{what} ({}{bars}; {}): {}",
                accepted.rule, accepted.origin, accepted.reason
            ));
        }
        (set_aside, remarks)
    }
}

impl Accepted {
    fn holds(&self, score: &Score, finding: &Finding) -> bool {
        finding.rule == self.rule
            && self
                .bars
                .as_ref()
                .is_none_or(|b| b.hold(&score.bar_number(finding.at.bar)))
            && (self.parts.is_empty()
                || finding
                    .parts
                    .iter()
                    .filter_map(|&p| score.parts.get(p as usize))
                    .all(|part| self.parts.iter().any(|name| name.matches(&part.name))))
    }
}

/// Whether one of a score's files is meant.
fn is_of(score: &Score, file: Option<&FilePattern>) -> bool {
    file.is_none_or(|file| score.sources.iter().any(|s| file.matches(&s.path)))
}

impl Default for Style {
    /// The style `chart`.
    fn default() -> Self {
        Self::shipped("chart").unwrap_or_else(|| Self::bare("chart"))
    }
}

#[cfg(test)]
mod tests;
