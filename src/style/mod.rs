//! The house style in force: levels and options of rules, and what harmonisations are accepted.

use crate::finding::Level;
use std::collections::BTreeMap;

/// A house style, complete.
#[derive(Clone, Debug, PartialEq)]
pub struct Style {
    /// Its name.
    pub name: String,
    /// The technique it states, in the trade's words; files and words over the staff come first.
    pub technique: Option<String>,
    /// Levels that differ from the rules' own; `None` switches the rule off.
    pub levels: BTreeMap<String, Option<Level>>,
}

impl Default for Style {
    fn default() -> Self {
        Self {
            name: "chart".to_owned(),
            technique: None,
            levels: BTreeMap::new(),
        }
    }
}
