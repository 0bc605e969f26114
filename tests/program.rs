//! The program as people run it: reports, exit codes, bad input.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::Path;

fn chartproof() -> Command {
    let mut command = Command::cargo_bin("chartproof").unwrap();
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("NO_COLOR", "1")
        .env_remove("COLUMNS");
    command
}

fn run(args: &[&str]) -> (i32, String, String) {
    let out = chartproof().args(args).output().unwrap();
    (
        out.status.code().unwrap(),
        String::from_utf8(out.stdout).unwrap(),
        String::from_utf8(out.stderr).unwrap(),
    )
}

fn json(args: &[&str]) -> Value {
    let mut all = vec!["proof", "--format", "json"];
    all.extend(args);
    serde_json::from_str(&run(&all).1).unwrap()
}

/// Rule, bar, beat of every finding.
fn places(report: &Value) -> Vec<String> {
    report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| {
            format!(
                "{} {} {}",
                f["rule"].as_str().unwrap(),
                f["bar"].as_str().unwrap(),
                f["beat"]
            )
        })
        .collect()
}

#[test]
fn the_sample_parts_as_the_readme_shows_them() {
    let (code, out, err) = run(&["proof", "sample-parts"]);
    insta::assert_snapshot!("sample-parts", out);
    assert_eq!((code, err.as_str()), (1, ""));
}

#[test]
fn the_sample_soli_as_json() {
    let (code, out, _) = run(&[
        "proof",
        "--format",
        "json",
        "sample-parts/ferry-at-six.musicxml",
    ]);
    assert_eq!(code, 1);
    insta::assert_snapshot!("soli-json", out);
}

#[test]
fn five_part_files_are_the_score_they_were_taken_from() {
    let score = json(&["sample-parts/ferry-at-six.musicxml"]);
    let parts = json(&["--one-score", "sample-parts/ferry-at-six-parts"]);
    assert!(!places(&score).is_empty());
    assert_eq!(places(&score), places(&parts));
    assert_eq!(score["files"][0]["parts"], parts["files"][0]["parts"]);
}

#[test]
fn a_clean_score_is_met_with_silence() {
    let (code, out, _) = run(&["proof", "sample-parts/low-lamps.musicxml"]);
    assert_eq!(code, 0, "{out}");
    assert_eq!(
        json(&["sample-parts/low-lamps.musicxml"])["findings"],
        Value::Array(Vec::new())
    );
}

#[test]
fn the_gate_decides_the_exit_code() {
    let homework = "sample-parts/ferry-at-six.musicxml";
    assert_eq!(run(&["proof", homework]).0, 1);
    assert_eq!(run(&["proof", "--gate", "never", homework]).0, 0);
    assert_eq!(run(&["proof", "--gate", "warning", homework]).0, 1);
    assert_eq!(run(&["proof", "--nonsense", homework]).0, 2);
    assert_eq!(run(&["proof", "--technique", "drop 7", homework]).0, 2);
    assert_eq!(run(&["proof"]).0, 2);
}

#[test]
fn a_stated_technique_is_held_against_the_passage() {
    let (code, out, _) = run(&[
        "proof",
        "--technique",
        "drop 3",
        "sample-parts/copper-whistle.mxl",
    ]);
    assert_eq!(code, 1);
    assert!(
        out.contains("this chord is in four-way close, the passage in drop 3"),
        "{out}"
    );
}

#[test]
fn bad_input_has_a_clear_line_and_exit_code_2() {
    let dir = tempfile::tempdir().unwrap();
    let xml =
        fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/low-lamps.musicxml"))
            .unwrap();
    let zip = |entries: &[(&str, &[u8])]| {
        let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        for (name, bytes) in entries {
            writer
                .start_file(*name, zip::write::SimpleFileOptions::default())
                .unwrap();
            std::io::Write::write_all(&mut writer, bytes).unwrap();
        }
        writer.finish().unwrap().into_inner()
    };
    let cases: Vec<(&str, Vec<u8>, &str)> = vec![
        ("empty.musicxml", Vec::new(), "the file is empty"),
        ("page.musicxml", b"<!DOCTYPE html>\n<html><body>no score</body></html>".to_vec(), "html"),
        ("cut.musicxml", xml[..xml.len() / 2].to_vec(), "cut.musicxml"),
        ("binary.musicxml", (0..=255u8).cycle().take(4000).collect(), "binary.musicxml"),
        ("noroot.mxl", zip(&[("META-INF/container.xml", b"<container><rootfiles/></container>"), ("a.musicxml", &xml)]), "rootfile"),
        ("nocontainer.mxl", zip(&[("a.musicxml", &xml)]), "META-INF/container.xml"),
        ("missing.mxl", zip(&[("META-INF/container.xml", b"<container><rootfiles><rootfile full-path=\"b.musicxml\"/></rootfiles></container>")]), "b.musicxml"),
        ("junk.mxl", b"PK\x03\x04 not really".to_vec(), "junk.mxl"),
        ("short.passage", b"count | 1 2 |\npiano | C4 |\n".to_vec(), "piano, bar 1: 1 cells, where the count has 2"),
    ];
    for (name, bytes, says) in cases {
        let path = dir.path().join(name);
        fs::write(&path, bytes).unwrap();
        let (code, out, err) = run(&[
            "proof",
            path.to_str().unwrap(),
            "sample-parts/low-lamps.musicxml",
        ]);
        assert_eq!(code, 2, "{name}: {out}{err}");
        assert!(
            out.contains(says) || err.contains(says),
            "{name}: {out}{err}"
        );
        assert!(
            !out.contains("panicked") && !err.contains("panicked"),
            "{name}: {err}"
        );
        // The readable one is still proofed.
        assert!(
            out.contains("1 file, 9 bars, 28 sonorities"),
            "{name}: {out}"
        );
    }
    let empty = dir.path().join("empty-folder");
    fs::create_dir(&empty).unwrap();
    let (code, out, err) = run(&["proof", empty.to_str().unwrap()]);
    assert_eq!(code, 2);
    assert!(
        format!("{out}{err}").contains("there is no score in this folder"),
        "{out}{err}"
    );
}
