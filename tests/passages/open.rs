//! Open music in a folder of one's own: what is said of it in 100 sonorities, by rule. Nothing of it is kept here.

use super::measure::Settings;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

#[derive(Default)]
pub struct Open {
    pub files: usize,
    pub unreadable: usize,
    pub sonorities: u64,
    /// Errors and warnings, by rule.
    pub rules: BTreeMap<String, usize>,
}

impl Open {
    pub fn alarms_per_100(&self) -> f64 {
        100.0 * self.rules.values().sum::<usize>() as f64 / self.sonorities.max(1) as f64
    }
    pub fn text(&self) -> String {
        let mut out = format!(
            "open music: {} files ({} not read), {} sonorities, {:.2} errors and warnings in 100\n",
            self.files,
            self.unreadable,
            self.sonorities,
            self.alarms_per_100()
        );
        let mut rules: Vec<_> = self.rules.iter().collect();
        rules.sort_by_key(|(_, count)| std::cmp::Reverse(**count));
        for (rule, count) in rules {
            let _ = writeln!(out, "{rule:<34} {count:>6}");
        }
        out
    }
}

fn scores(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let ending = path
            .extension()
            .and_then(|e| e.to_str())
            .unwrap_or_default();
        if path.is_dir() {
            found.extend(scores(&path));
        } else if matches!(ending, "musicxml" | "xml" | "mxl" | "passage") {
            found.push(path);
        }
    }
    found.sort();
    found
}

pub fn proofed(folder: &Path, settings: &Settings) -> Open {
    let mut open = Open::default();
    for path in scores(folder) {
        open.files += 1;
        let Ok(score) = chartproof::read_file(&path) else {
            open.unreadable += 1;
            continue;
        };
        let report = chartproof::proof(score, &settings.style).json().unwrap();
        let report: Value = serde_json::from_str(&report).unwrap();
        open.sonorities += report["files"][0]["sonorities"]
            .as_u64()
            .unwrap_or_default();
        for finding in report["findings"].as_array().unwrap() {
            if finding["level"] != "note" {
                let rule = finding["rule"].as_str().unwrap_or_default().to_owned();
                *open.rules.entry(rule).or_default() += 1;
            }
        }
    }
    open
}

#[test]
fn samples_are_counted() {
    let settings = Settings {
        name: String::new(),
        style: chartproof::Style::default(),
    };
    let open = proofed(
        Path::new("sample-parts/lamplighters-detour-parts"),
        &settings,
    );
    assert!(open.files > 10 && open.unreadable == 0 && open.sonorities > 0);
    assert!(open.text().starts_with("open music: "));
}
