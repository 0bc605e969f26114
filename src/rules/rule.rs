//! What a rule says of itself: its name, what it asks and why, when it is silent, and its examples.
//! The check stands beside it, in the rule's own file.

use crate::finding::{Finding, Level};
use crate::score::Place;
use crate::style::Style;

/// The group a rule belongs to; its file stands in the folder of that name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Group {
    /// Notes against the chord.
    Harmony,
    /// How the chord is spread over the voices.
    Voicing,
    /// Clashing intervals.
    Rubs,
    /// How each voice moves.
    Lines,
    /// What one player can and should play.
    Players,
    /// What the parts of a section have to have alike.
    Agreement,
    /// What stands on the page.
    Notation,
}

/// Whether the findings of a rule can change when notes change their pitch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DependsOn {
    /// They can. The rule runs again on each fix that is tried.
    Pitch,
    /// They cannot: the rule looks at rhythm, marks and signs only. It does not run on a fix that is
    /// tried.
    Page,
}

/// A number that a house style may change.
#[derive(Clone, Copy, Debug)]
pub struct Setting {
    /// Its name in the style file: `[settings.endurance]` `bars = 16`.
    pub name: &'static str,
    /// What it counts, in which unit.
    pub about: &'static str,
    /// What it is when the style says nothing.
    pub default: f64,
}

/// A wrong passage and the same put right. `src/rules/example.rs` says how passages and rows are written.
#[derive(Clone, Copy, Debug)]
pub struct Example {
    /// A passage with one mistake. The marks of the finding stand under its rows, its fix at the end.
    pub wrong: &'static str,
    /// The rows that change to put it right.
    pub right: &'static str,
}

/// A case in which a rule says nothing.
#[derive(Clone, Copy, Debug)]
pub struct Exception {
    /// The case, in one clause.
    pub says: &'static str,
    /// A passage that shows it.
    pub silent: Silent,
}

/// A passage in which a rule finds nothing, close to one in which it finds something.
#[derive(Clone, Copy, Debug)]
pub enum Silent {
    /// The wrong passage of the first example, with these rows instead of its own.
    With(&'static str),
    /// The wrong passage of a later example (2 is the second), with these rows instead of its own.
    ExampleWith(usize, &'static str),
    /// A passage of its own.
    Passage {
        /// The rule finds nothing here.
        passage: &'static str,
        /// With these rows instead, it does.
        but: &'static str,
    },
}

/// A rule.
#[derive(Debug)]
pub struct Rule {
    /// Its name, in the trade's words.
    pub name: &'static str,
    /// The group it belongs to.
    pub group: Group,
    /// What it asks, in one sentence.
    pub asks: &'static str,
    /// Why, in a sentence or two.
    pub why: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// The level of its gravest finding.
    pub level: Level,
    /// It is only run where the house style gives it a level.
    pub off: bool,
    /// Whether it runs again when a fix is tried.
    pub depends_on: DependsOn,
    /// Numbers that a house style may change.
    pub settings: &'static [Setting],
    /// Wrong and right.
    pub examples: &'static [Example],
    /// When it keeps silent.
    pub exceptions: &'static [Exception],
}

impl Rule {
    /// The level of its gravest finding under a style; `None` when it is off.
    pub fn level_in(&self, style: &Style) -> Option<Level> {
        style.level(self.name, (!self.off).then_some(self.level))
    }

    /// A finding of this rule at its gravest level. Methods of [`Finding`] say the rest.
    pub fn finding(&self, at: Place, message: String) -> Finding {
        Finding {
            why: self.why.to_owned(),
            source: self.source,
            ..Finding::new(self.name, self.level, at, message)
        }
    }
}

impl Style {
    /// Whether a rule is run.
    pub fn is_on(&self, rule: &Rule) -> bool {
        rule.level_in(self).is_some()
    }
}
