//! Voice crossings and ranges in real choir writing against an independent count (published: the
//! four-voice chorales of music21 10.5.1's corpus, read and sliced by music21; the ranges are the
//! program's own table, so what is compared is the counting, not the table).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::outside::{ask, by_file, files, lines, program, scores};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

fn words(list: &Value) -> String {
    let words: BTreeSet<&str> = list
        .as_array()
        .unwrap()
        .iter()
        .map(|w| w.as_str().unwrap())
        .collect();
    words.into_iter().collect::<Vec<_>>().join(" ")
}

/// What the count has, one line a finding; which of the script's two readings of a crossing and two
/// ways to count beats.
fn theirs(score: &Value, reading: &str, beat: &str) -> BTreeSet<String> {
    let score = &score[reading];
    let crossings = score["crossings"].as_array().unwrap().iter().map(|c| {
        format!(
            "bar {} beat {}: {} of {}",
            c["bar"],
            c[beat],
            c["rule"].as_str().unwrap(),
            words(&c["parts"])
        )
    });
    let ranges = score["ranges"].as_array().unwrap().iter().map(|r| {
        format!(
            "bar {} beat {}: written-range, {}, of {}: {}",
            r["bar"],
            r[beat],
            r["level"].as_str().unwrap(),
            r["part"].as_str().unwrap(),
            list(&r["found"])
        )
    });
    crossings.chain(ranges).collect()
}

fn list(pitches: &Value) -> String {
    let pitches: Vec<&str> = pitches
        .as_array()
        .unwrap()
        .iter()
        .map(|p| p.as_str().unwrap())
        .collect();
    pitches.join(" ")
}

/// What the program finds of these rules, in the same words.
fn ours(findings: &[&Value]) -> BTreeSet<String> {
    findings
        .iter()
        .filter_map(|f| {
            let at = format!("bar {} beat {}", f["bar_index"], f["beat"]);
            let rule = f["rule"].as_str().unwrap();
            match rule {
                "voice-crossing" | "lead-not-on-top" => {
                    Some(format!("{at}: {rule} of {}", words(&f["parts"])))
                }
                "written-range" => Some(format!(
                    "{at}: {rule}, {}, of {}: {}",
                    f["level"].as_str().unwrap(),
                    words(&f["parts"]),
                    sounding(&f["notes"])
                )),
                _ => None,
            }
        })
        .collect()
}

fn sounding(notes: &Value) -> String {
    let notes = notes.as_array().unwrap().iter();
    let pitches: Vec<&str> = notes.map(|n| n["sounding"].as_str().unwrap()).collect();
    pitches.join(" ")
}

/// The same with one line for a part and a level: the program names the bars of a part together.
fn by_part(lines: &BTreeSet<String>) -> BTreeSet<String> {
    let mut pitches: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    let mut out = BTreeSet::new();
    for line in lines {
        let range = line.split_once(": written-range").and_then(|(_, rest)| {
            let (who, found) = rest.split_once(": ")?;
            Some((who, found))
        });
        match range {
            Some((who, found)) => pitches.entry(who).or_default().extend(found.split(' ')),
            None => {
                out.insert(line.clone());
            }
        }
    }
    for (who, mut found) in pitches {
        found.sort_unstable();
        out.insert(format!("written-range{who}: {}", found.join(" ")));
    }
    out
}

#[test]
fn crossings_and_ranges_are_those_counted_with_music21() {
    let Some((_, said)) = ask("outside_choir.py", [scores(100).to_string()]) else {
        return;
    };
    let scores = lines(&said);
    assert!(scores.len() >= 100, "{}", scores.len());
    let report = program(
        &[
            "proof", "--style", "choir", "--format", "json", "--gate", "never",
        ],
        &files(&scores),
    );
    let findings = by_file(&report["findings"], "file");
    let (mut crossings, mut ranges, mut differing) = (0, 0, Vec::new());
    for score in &scores {
        let file = score["file"].as_str().unwrap();
        let short = file.rsplit(['/', '\\']).next().unwrap();
        let ours = ours(findings.get(file).map_or(&[][..], Vec::as_slice));
        let theirs = &theirs(score, "as_heard", "beat");
        ranges += theirs
            .iter()
            .filter(|l| l.contains("written-range"))
            .count();
        crossings += theirs
            .iter()
            .filter(|l| !l.contains("written-range"))
            .count();
        let (ours, theirs) = (by_part(&ours), by_part(theirs));
        for line in ours.difference(&theirs) {
            differing.push(format!("{short}: only here: {line}"));
        }
        for line in theirs.difference(&ours) {
            differing.push(format!("{short}: only counted: {line}"));
        }
    }
    assert!(
        differing.is_empty(),
        "{crossings} crossings and {ranges} bars out of range counted; {} differ:\n{}",
        differing.len(),
        differing.join("\n")
    );
    assert!(crossings > 30 && ranges > 30, "{crossings}, {ranges}");
    println!(
        "{} scores, {crossings} crossings, {ranges} bars with notes out of range",
        scores.len()
    );
}
