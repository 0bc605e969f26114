//! The house style in force: levels of rules, and which harmonisations of passing notes are
//! accepted. The shipped styles are data: `rules/chart.toml`, `rules/homework.toml`,
//! `rules/choir.toml`.

use crate::finding::Level;
use serde::Deserialize;
use std::collections::BTreeMap;

/// A house style, complete.
#[derive(Clone, Debug, PartialEq)]
pub struct Style {
    /// Its name.
    pub name: String,
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
}

/// A style as its file writes it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct StyleFile {
    about: String,
    technique: Option<String>,
    #[serde(default)]
    only_diminished: bool,
    #[serde(default)]
    counterpoint: bool,
    #[serde(default)]
    levels: BTreeMap<String, LevelWord>,
    #[serde(default)]
    settings: BTreeMap<String, BTreeMap<String, f64>>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum LevelWord {
    Off,
    Note,
    Warning,
    Error,
}

impl From<LevelWord> for Option<Level> {
    fn from(word: LevelWord) -> Self {
        match word {
            LevelWord::Off => None,
            LevelWord::Note => Some(Level::Note),
            LevelWord::Warning => Some(Level::Warning),
            LevelWord::Error => Some(Level::Error),
        }
    }
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
        let file: StyleFile = toml::from_str(text).ok()?;
        Some(Self {
            name: name.to_owned(),
            about: file.about,
            technique: file.technique,
            levels: file
                .levels
                .into_iter()
                .map(|(rule, level)| (rule, level.into()))
                .collect(),
            only_diminished: file.only_diminished,
            counterpoint: file.counterpoint,
            settings: file.settings,
        })
    }

    /// The number this style gives a setting of a rule.
    pub fn setting(&self, rule: &str, name: &str) -> Option<f64> {
        self.settings.get(rule)?.get(name).copied()
    }
}

impl Default for Style {
    /// The style `chart`.
    fn default() -> Self {
        Self::shipped("chart").unwrap_or_else(|| Self {
            name: "chart".to_owned(),
            about: String::new(),
            technique: None,
            levels: BTreeMap::new(),
            only_diminished: false,
            counterpoint: false,
            settings: BTreeMap::new(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_style_loads_and_names_only_real_rules() {
        for name in Style::shipped_names() {
            let style = Style::shipped(name).unwrap();
            assert!(!style.about.is_empty());
            for rule in style.levels.keys() {
                assert!(crate::rules::named(rule).is_some(), "{name}: {rule}");
            }
            for (rule, settings) in &style.settings {
                let rule = crate::rules::named(rule).unwrap();
                for setting in settings.keys() {
                    assert!(rule.settings.iter().any(|s| s.name == setting), "{setting}");
                }
            }
        }
        assert_eq!(Style::default().name, "chart");
        assert!(Style::shipped("homework").unwrap().only_diminished);
        assert_eq!(Style::shipped("nonsense"), None);
    }
}
