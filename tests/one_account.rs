//! What a mark says of a note, what is expected, and what the fix writes are one account of what was meant.

use crate::passages::{grid, measure, passage, slips};
use chartproof::inside::finding::Finding;
use chartproof::{Score, Style};
use std::path::Path;

/// What does not go together in a finding; empty where all does.
fn against_itself(score: &Score, finding: &Finding) -> Vec<String> {
    let Some(fix) = finding.fix.as_ref().filter(|f| !f.changes.is_empty()) else {
        return Vec::new();
    };
    let mut out = Vec::new();
    if !finding
        .notes
        .iter()
        .any(|n| n.label.starts_with("should be"))
    {
        return out;
    }
    let marked: Vec<_> = finding
        .notes
        .iter()
        .filter(|n| n.expected.is_some())
        .collect();
    for mark in &marked {
        let change = fix.changes.iter().find(|c| c.note == mark.note);
        if change.map(|c| c.sounding) != mark.expected {
            out.push(format!("{mark:?} is marked, {change:?} is written"));
        }
    }
    for change in &fix.changes {
        if marked.iter().all(|m| m.note != change.note) {
            out.push(format!("{change:?} is written and not marked"));
        }
    }
    if !finding.expected.is_empty() {
        let mut after: Vec<i16> = finding.found.iter().map(|p| p.midi()).collect();
        for change in &fix.changes {
            let old = score.parts[change.note.part as usize].notes[change.note.note as usize];
            match after.iter().position(|m| *m == old.sounding.midi()) {
                Some(at) => after[at] = change.sounding.midi(),
                None => return out, // in another chord of the stretch
            }
        }
        after.sort_unstable_by(|a, b| b.cmp(a));
        let expected: Vec<i16> = finding.expected.iter().map(|p| p.midi()).collect();
        if after != expected {
            out.push(format!("{after:?} is written, {expected:?} is expected"));
        }
    }
    out
}

/// Looks at every finding of a score: how many have a fix, and what is wrong with them.
fn look_at(name: &str, text: impl Into<Vec<u8>>, out: &mut Vec<String>) -> usize {
    let Ok(score) = chartproof::read(name, text.into()) else {
        return 0;
    };
    let style = Style::default();
    let heard = chartproof::inside::proof::Heard::new(score, &style);
    let proofed = heard.proofed(&style);
    for finding in &proofed.findings {
        for what in against_itself(&heard, finding) {
            out.push(format!(
                "{name}, bar {}, {}: {what}",
                finding.at.bar + 1,
                finding.message
            ));
        }
    }
    let mended = |f: &&Finding| f.fix.as_ref().is_some_and(|x| !x.changes.is_empty());
    proofed.findings.iter().filter(mended).count()
}

#[test]
fn of_every_sample() {
    let mut wrong = Vec::new();
    let mut fixes = 0;
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
            let path = entry.path();
            let name = path.display().to_string();
            if path.is_dir() {
                folders.push(path);
            } else if name.ends_with("musicxml") || name.ends_with("passage") {
                fixes += look_at(&name, std::fs::read(&path).unwrap(), &mut wrong);
            }
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
    assert!(fixes >= 10, "{fixes}");
}

/// The corpora of a folder, where one is named.
#[test]
fn of_every_score_of_a_folder() {
    let Some(folder) = std::env::var_os("CHARTPROOF_SCORES") else {
        return;
    };
    let mut wrong = Vec::new();
    let mut fixes = 0;
    for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let name = entry.path().display().to_string();
        fixes += look_at(&name, std::fs::read(entry.path()).unwrap(), &mut wrong);
    }
    println!("{fixes} fixes");
    assert_eq!(wrong, Vec::<String>::new());
}

#[test]
fn of_every_planted_slip() {
    let mut wrong = Vec::new();
    let mut fixes = 0;
    for seed in 1..=24 {
        let made = passage::passage(seed);
        for row in &slips::ROWS {
            if let Some((slipped, _)) = measure::slipped(&made, row) {
                let (name, text) = grid::file(&slipped);
                let name = format!("{seed} {} {name}", row.name);
                fixes += look_at(&name, text, &mut wrong);
            }
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
    assert!(fixes >= 300, "{fixes}");
}
