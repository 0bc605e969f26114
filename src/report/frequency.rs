//! How often a rule speaks on open scores: `rules/frequency.toml`, measured by `tests/frequency.py`.

use serde::Deserialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::LazyLock;

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Frequency {
    /// In the order of the file.
    kind: Vec<Kind>,
    /// By rule and kind: errors, warnings and notes in 100 bars.
    rules: BTreeMap<String, BTreeMap<String, [f64; 3]>>,
}

/// A kind of music, and how much of it was read.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Kind {
    name: String,
    scores: usize,
    bars: usize,
}

// The file is built in and a test reads it, so the empty table is never seen.
static FREQUENCY: LazyLock<Frequency> = LazyLock::new(|| {
    let table = include_str!(concat!(env!("OUT_DIR"), "/frequency.json"));
    serde_json::from_str(table).unwrap_or_default()
});

/// Lines for the page of a rule: findings in 100 bars by kind of music.
pub(super) fn lines(rule: &str) -> String {
    let Frequency { kind, rules } = &*FREQUENCY;
    let mut out = String::new();
    let Some(spoken) = rules.get(rule) else {
        let scores: usize = kind.iter().map(|k| k.scores).sum();
        let bars: usize = kind.iter().map(|k| k.bars).sum();
        let _ = writeln!(
            out,
            "on open scores: silent in {scores} scores of {bars} bars"
        );
        return out;
    };
    let _ = writeln!(
        out,
        "on open scores, findings in 100 bars:\n  {:<22}{:>8}{:>10}{:>8}",
        "", "errors", "warnings", "notes"
    );
    for kind in kind {
        let [errors, warnings, notes] = spoken.get(&kind.name).copied().unwrap_or_default();
        let _ = writeln!(
            out,
            "  {:<22}{errors:>8.2}{warnings:>10.2}{notes:>8.2}   ({} scores, {} bars)",
            kind.name, kind.scores, kind.bars
        );
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules;

    #[test]
    fn the_table_is_read_and_knows_the_rules() {
        let table = include_str!("../../rules/frequency.toml");
        let read: Frequency = toml::from_str(table).unwrap();
        assert!(!read.kind.is_empty() && !read.rules.is_empty());
        for (rule, kinds) in &read.rules {
            assert!(rules::named(rule).is_some(), "{rule} is no rule");
            for name in kinds.keys() {
                assert!(read.kind.iter().any(|k| k.name == *name), "{name}");
            }
        }
        let silent = lines("no such rule");
        assert!(silent.starts_with("on open scores: silent in"), "{silent}");
    }
}
