//! House styles as people use them: the command `style`, a `chartproof.toml` on the way up from a
//! score, part files as one score, rules of the house's own.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

fn run_in(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let out = Command::cargo_bin("chartproof")
        .unwrap()
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .env_remove("COLUMNS")
        .args(args)
        .output()
        .unwrap();
    (
        out.status.code().unwrap(),
        String::from_utf8(out.stdout).unwrap(),
        String::from_utf8(out.stderr).unwrap(),
    )
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

const HIGH: &str = "meter: 4/4
pitch: written
parts: trumpet 1 = trumpet

count     | 1  2   3  4 |
trumpet 1 | G5 Bb5 A5 . |
";

const RULE: &str = r#"
[[rule]]
name = "high-and-soft"
scope = "note"
when = "instrument == 'trumpet' && written > pitch('A5') && dynamic < f"
message = "{part} has {written} ({dynamic})"
why = "That high it is loud."
level = "error"
fix = "octave down"
"#;

/// A folder with a style at its top and a score further down.
fn band(style: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("chartproof.toml"), style).unwrap();
    fs::create_dir_all(folder.path().join("charts/new")).unwrap();
    fs::write(folder.path().join("charts/new/high.passage"), HIGH).unwrap();
    folder
}

#[test]
fn the_nearest_style_on_the_way_up_holds_with_its_own_rules() {
    let folder = band(RULE);
    let (code, out, _) = run_in(folder.path(), &["proof", "charts/new/high.passage"]);
    assert_eq!(code, 1, "{out}");
    insta::assert_snapshot!("own-rule-text", out);
    // A nearer style takes its place.
    fs::write(
        folder.path().join("charts/chartproof.toml"),
        "extends = \"../chartproof.toml\"\n[levels]\nhigh-and-soft = \"off\"\n",
    )
    .unwrap();
    let (code, out, _) = run_in(folder.path(), &["proof", "charts/new/high.passage"]);
    assert!(code == 0 && !out.contains("high-and-soft"), "{out}");
}

#[test]
fn rules_of_the_houses_own_are_in_every_report_and_are_corrected() {
    let folder = band(RULE);
    let score = "charts/new/high.passage";
    let (code, out, _) = run_in(folder.path(), &["proof", score, "--format", "json"]);
    let report: Value = serde_json::from_str(&out).unwrap();
    let finding = &report["findings"][0];
    assert_eq!(code, 1);
    assert_eq!(finding["rule"], "high-and-soft");
    assert_eq!(finding["level"], "error");
    assert_eq!(finding["message"], "trumpet 1 has Bb5 (unmarked)");
    assert_eq!(finding["why"], "That high it is loud.");
    assert_eq!(finding["fix"]["verified"], true);
    assert_eq!(report["summary"]["by_rule"]["high-and-soft"], 1);
    let (_, page, _) = run_in(folder.path(), &["proof", score, "--format", "html"]);
    assert!(page.contains("high-and-soft") && page.contains("That high it is loud."));
    let (_, _, err) = run_in(folder.path(), &["correct", score, "--into", "fixed"]);
    let fixed: Vec<_> = walk(&folder.path().join("fixed"));
    assert_eq!(fixed.len(), 1, "{err}");
    let text = fs::read_to_string(&fixed[0]).unwrap();
    assert!(text.contains("G5 Bb4 A5"), "{text}");
}

fn walk(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            all.extend(walk(&path));
        } else {
            all.push(path);
        }
    }
    all
}

#[test]
fn a_style_is_printed_with_where_each_value_comes_from() {
    let folder = band(&format!("gate = \"warning\"\n{RULE}"));
    let (code, out, err) = run_in(folder.path(), &["style", "charts/new"]);
    assert_eq!((code, err.as_str()), (0, ""));
    let gate = out.lines().find(|l| l.starts_with("gate = ")).unwrap();
    assert!(gate.contains("chartproof.toml:1"), "{gate}");
    let level = out
        .lines()
        .find(|l| l.starts_with("high-and-soft = \"error\""))
        .unwrap();
    assert!(level.contains("chartproof.toml:3"), "{level}");
    assert!(out.contains("[[rule]]  # "));
    // What is printed is a house style that says the same.
    let again = folder.path().join("again.toml");
    fs::write(&again, &out).unwrap();
    let (code, twice, err) = run_in(folder.path(), &["style", "again.toml"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(twice.contains("high-and-soft = \"error\""));
}

#[test]
fn a_style_with_a_mistake_in_a_condition_is_refused_at_its_word() {
    let folder = band(&RULE.replace("dynamic < f", "dynamics < f"));
    let (code, _, err) = run_in(folder.path(), &["style"]);
    assert_eq!(code, 2);
    assert!(err.contains("chartproof.toml:5:"), "{err}");
    assert!(err.contains("knows no `dynamics`"), "{err}");
    let (code, _, _) = run_in(folder.path(), &["proof", "charts"]);
    assert_eq!(code, 2);
}

#[test]
fn the_words_of_conditions_are_printed() {
    let (code, out, _) = run_in(&root(), &["style", "--words"]);
    assert_eq!(code, 0);
    for (word, scope) in chartproof::inside::condition::Scope::WORDS {
        assert!(out.contains(&format!("scope = \"{word}\"")));
        for entry in scope.entries() {
            assert!(
                out.contains(&format!("\n  {} ", entry.word)),
                "{}",
                entry.word
            );
        }
    }
}

#[test]
fn the_schema_knows_rules() {
    let (code, out, _) = run_in(&root(), &["style", "--schema"]);
    let schema: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(code, 0);
    let validator = jsonschema::validator_for(&schema).unwrap();
    let json = |text: &str| serde_json::to_value(text.parse::<toml::Table>().unwrap()).unwrap();
    assert!(validator.is_valid(&json(RULE)));
    assert!(!validator.is_valid(&json(&RULE.replace("\"note\"", "\"chord\""))));
    assert!(!validator.is_valid(&json(&RULE.replace("when = ", "wehn = "))));
}

#[test]
fn part_files_of_a_set_are_one_score_whichever_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let parts = folder.path().join("parts");
    fs::create_dir(&parts).unwrap();
    for entry in fs::read_dir(root().join("sample-parts/ferry-at-six-parts")).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), parts.join(entry.file_name())).unwrap();
    }
    fs::write(
        folder.path().join("chartproof.toml"),
        "[[score]]\ntitle = \"Ferry at Six\"\nfiles = [\"parts/*.musicxml\"]\n",
    )
    .unwrap();
    let (_, out, _) = run_in(
        folder.path(),
        &["proof", "parts/3-tenor-1.musicxml", "--format", "json"],
    );
    let report: Value = serde_json::from_str(&out).unwrap();
    let files = report["files"].as_array().unwrap();
    assert_eq!(files.len(), 1, "{files:#?}");
    assert_eq!(files[0]["parts"].as_array().unwrap().len(), 5);
}
