//! The invented chart for seventeen players: clean, it is met with silence, as a score and as its
//! part files; in its copy with one planted mistake after another, each is found at its place by its
//! rule, and next to nothing else is said.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use assert_cmd::Command;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

const CLEAN: &str = "sample-parts/lamplighters-detour.musicxml";
const PARTS: &str = "sample-parts/lamplighters-detour-parts";
const MISTAKEN: &str = "sample-parts/mistakes/lamplighters-detour-with-mistakes.musicxml";

/// A mistake: rule, printed bar number, 1-based beat, the part it was made in, what was done to it.
/// A last bar that is missing is told at the last bar there is; a pickup of one beat is beat 4.
type Planted = (&'static str, &'static str, f64, &'static str, &'static str);

#[rustfmt::skip]
const PLANTED: [Planted; 35] = [
    // saxes
    ("transposition", "0", 4.0, "Baritone Sax", "no transposition"),
    ("slur-agreement", "3", 2.0, "Alto Sax 2", "the slur of the other saxes left out"),
    ("rhythm-unison", "7", 4.5, "Tenor Sax 1", "one attack of the line left out"),
    ("articulation-agreement", "9", 4.0, "Baritone Sax", "a staccato dot left out"),
    ("dynamic-agreement", "14", 3.0, "Tenor Sax 2", "f where the section has mp"),
    ("passing-diminished", "19", 2.0, "Alto Sax 2", "the passing note left on the chord"),
    ("wrong-note", "21", 2.5, "Tenor Sax 1", "Db for C"),
    ("wrong-voice-dropped", "23", 1.0, "Alto Sax 2", "the third voice dropped"),
    ("voice-crossing", "25", 3.0, "Alto Sax 2", "two seats exchanged"),
    ("wrong-octave", "28", 3.0, "Baritone Sax", "an octave too low"),
    ("lead-doubling", "30", 3.0, "Tenor Sax 2", "the lead doubled a half step off"),
    ("doubled-note", "32", 2.0, "Baritone Sax", "C doubled, Eb missing"),
    ("unclosed-slur", "38", 1.0, "Tenor Sax 2", "a slur without an end"),
    // trumpets
    ("tempo-agreement", "0", 4.0, "Trumpet 1", "123 for 132"),
    ("multi-rest", "7", 1.0, "Trumpet 3", "a multi-bar rest over the first ending"),
    ("lead-not-on-top", "13", 1.0, "Trumpet 1", "the lead in the second trumpet"),
    ("unavailable-tension", "16", 1.0, "Trumpet 2", "a flat ninth over a dominant that stays"),
    ("rehearsal-mark-agreement", "19", 1.0, "Trumpet 1", "D for C"),
    ("instrument-change", "27", 1.0, "Trumpet 2", "a mute without time to put it in"),
    ("semitone-under-lead", "32", 1.0, "Trumpet 2", "a half step under the lead"),
    ("bar-length", "34", 3.0, "Trumpet 3", "the rest at the end left out"),
    ("entry-dynamic", "39", 1.0, "Trumpet 4", "no dynamic after four bars of rest"),
    // trombones
    ("key-signature-agreement", "0", 4.0, "Bass Trombone", "a flat missing from the key signature"),
    ("repeat-agreement", "8", 1.0, "Bass Trombone", "the repeat sign left out"),
    ("tie-mismatch", "11", 1.0, "Trombone 2", "a tie to another pitch"),
    ("spelling", "13", 1.0, "Trombone 3", "the fifth of Ab6 written as D sharp"),
    ("minor-ninth", "15", 1.0, "Bass Trombone", "the ninth under the minor third"),
    ("clef", "18", 1.0, "Trombone 3", "in the treble clef"),
    ("double-stop", "20", 4.0, "Trombone 3", "two notes for one player"),
    // rhythm
    ("chord-symbol-agreement", "16", 1.0, "Guitar", "Fm7 for F7"),
    ("unplayable-stretch", "29", 1.0, "Guitar", "no hand reaches it"),
    ("hand-span", "40", 1.0, "Piano", "a thirteenth and more in the left hand"),
    ("written-range", "14", 1.0, "Double Bass", "below the E string"),
    ("bar-count", "39", 1.0, "Double Bass", "the last bar left out"),
    ("meter-agreement", "19", 1.0, "Drums", "2/2 for 4/4"),
];

fn proof(args: &[&str]) -> Value {
    let out = Command::cargo_bin("chartproof")
        .unwrap()
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["proof", "--format", "json"])
        .args(args)
        .output()
        .unwrap();
    serde_json::from_slice(&out.stdout).unwrap()
}

fn findings(report: &Value) -> &Vec<Value> {
    report["findings"].as_array().unwrap()
}

fn said(f: &Value) -> String {
    format!(
        "{} {} bar {} beat {}: {}",
        f["level"], f["rule"], f["bar"], f["beat"], f["message"]
    )
}

fn is_it(f: &Value, (rule, bar, beat, part, _): &Planted) -> bool {
    f["rule"] == *rule
        && f["bar"] == *bar
        && (f["beat"].as_f64().unwrap() - beat).abs() < 0.001
        && f["parts"].as_array().unwrap().iter().any(|p| p == part)
}

#[test]
fn every_planted_mistake_is_found_at_its_place() {
    let report = proof(&[MISTAKEN]);
    let mut left: Vec<&Value> = findings(&report).iter().collect();
    let mut missed = Vec::new();
    for planted in &PLANTED {
        // One finding answers one mistake; a second one about it would count as another.
        match left.iter().position(|f| is_it(f, planted)) {
            Some(i) => drop(left.remove(i)),
            None => missed.push(planted),
        }
    }
    let others: Vec<String> = left.iter().map(|f| said(f)).collect();
    assert!(
        missed.is_empty(),
        "missed: {missed:#?}\nothers: {others:#?}"
    );
    let loud = left.iter().filter(|f| f["level"] != "note").count();
    assert!(loud <= 2, "{others:#?}");
}

#[test]
fn the_page_of_the_mistaken_chart_holds_every_finding_once() {
    let report = proof(&[MISTAKEN]);
    let out = Command::cargo_bin("chartproof")
        .unwrap()
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["proof", "--format", "html", MISTAKEN])
        .output()
        .unwrap();
    assert!(out.stdout.len() < 2_000_000, "{}", out.stdout.len());
    let page = String::from_utf8(out.stdout).unwrap();
    let count = findings(&report).len();
    assert_eq!(page.matches("<article").count(), count);
    for number in 1..=count {
        let article = format!("<article id=\"f1-{number}\"");
        assert_eq!(page.matches(&article).count(), 1, "{number}");
        assert!(page.contains(&format!("href=\"#f1-{number}\"")));
    }
}

#[test]
fn the_clean_chart_and_its_parts_are_met_with_silence() {
    let score = proof(&[CLEAN]);
    let set = proof(&["--one-score", PARTS]);
    for report in [&score, &set] {
        let all: Vec<String> = findings(report).iter().map(said).collect();
        assert!(all.is_empty(), "{all:#?}");
        let file = &report["files"][0];
        assert_eq!(file["unreadable"], Value::Null);
        assert_eq!(file["bars"], 41);
        assert_eq!(file["parts"].as_array().unwrap().len(), 17);
    }
    // The part files are the score taken apart.
    assert_eq!(score["files"][0]["parts"], set["files"][0]["parts"]);
    assert_eq!(
        score["files"][0]["sonorities"],
        set["files"][0]["sonorities"]
    );
    // A part by itself has nothing wrong with it either.
    let alone = proof(&[PARTS]);
    assert_eq!(alone["files"].as_array().unwrap().len(), 17);
    assert!(findings(&alone).is_empty(), "{:#?}", alone["findings"]);
}

/// What makes the test above fair: many rules, and no mistake in the shadow of another.
#[test]
fn the_planted_mistakes_are_of_many_rules_and_stand_apart() {
    let rules: BTreeSet<&str> = PLANTED.iter().map(|p| p.0).collect();
    assert!(rules.len() >= 25, "{}", rules.len());
    let mut sections: BTreeMap<&str, Vec<i32>> = BTreeMap::new();
    for (_, bar, _, part, _) in &PLANTED {
        let section = match *part {
            p if p.contains("Sax") => "saxes",
            p if p.starts_with("Trumpet") => "trumpets",
            p if p.contains("Trombone") => "trombones",
            p => p,
        };
        sections
            .entry(section)
            .or_default()
            .push(bar.parse().unwrap());
    }
    for (section, mut bars) in sections {
        bars.sort_unstable();
        assert!(
            bars.windows(2).all(|w| w[1] - w[0] >= 2),
            "{section}: {bars:?}"
        );
    }
}
