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
    let soli = "sample-parts/ferry-at-six.musicxml";
    assert_eq!(run(&["proof", soli]).0, 1);
    assert_eq!(run(&["proof", "--gate", "never", soli]).0, 0);
    assert_eq!(run(&["proof", "--gate", "warning", soli]).0, 1);
    // Nothing but a warning: the gate decides.
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("doubled.passage");
    fs::write(
        &path,
        "meter: 4/4\nsection: trumpets\ntechnique: four-way close\nparts: trumpet 1 = trumpet\n\
         trumpet 2 = trumpet\ntrumpet 3 = trumpet\ntrumpet 4 = trumpet\n\nchord | F6 - - |\n\
         count | 1 2 3 |\ntrumpet 1 | A4 C5 F5 |\ntrumpet 2 | F4 A4 D5 |\n\
         trumpet 3 | D4 D4 C5 |\ntrumpet 4 | C4 D4 A4 |\n",
    )
    .unwrap();
    let doubled = path.to_str().unwrap();
    assert_eq!(run(&["proof", doubled]).0, 0);
    assert_eq!(run(&["proof", "--gate", "note", doubled]).0, 1);
    assert_eq!(run(&["proof", "--gate", "warning", doubled]).0, 1);
    assert_eq!(run(&["proof", "--nonsense", soli]).0, 2);
    assert_eq!(run(&["proof", "--technique", "drop 7", soli]).0, 2);
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
fn mark_offers_no_grids() {
    let (code, help, _) = run(&["mark", "--help"]);
    assert_eq!(code, 0);
    assert!(help.contains("Scores to read: MusicXML"), "{help}");
    assert!(!help.contains("grids"), "{help}");
    let (_, help, _) = run(&["correct", "--help"]);
    assert!(help.contains("passage grids"), "{help}");
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
        ("page.musicxml", b"<!DOCTYPE html>\n<html><body>no score</body></html>".to_vec(), "this is a web page, not a score"),
        ("cut.musicxml", xml[..xml.len() / 2].to_vec(), "the file is damaged or was cut off"),
        ("binary.musicxml", (0..=255u8).cycle().take(4000).collect(), "this is a binary file"),
        ("noroot.mxl", zip(&[("META-INF/container.xml", b"<container><rootfiles/></container>"), ("a.musicxml", &xml)]), "rootfile"),
        ("nocontainer.mxl", zip(&[("a.musicxml", &xml)]), "META-INF/container.xml"),
        ("missing.mxl", zip(&[("META-INF/container.xml", b"<container><rootfiles><rootfile full-path=\"b.musicxml\"/></rootfiles></container>")]), "b.musicxml"),
        ("junk.mxl", b"PK\x03\x04 not really".to_vec(), "the container cannot be opened"),
        ("short.passage", b"count | 1 2 |\npiano | C4 |\n".to_vec(), "piano, bar 1: 1 cell, where the count has 2"),
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

/// Every file under a folder with its bytes, by path below it.
fn tree(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let below = path.strip_prefix(folder).unwrap();
                files.push((below.display().to_string(), fs::read(&path).unwrap()));
            }
        }
    }
    files.sort();
    files
}

#[test]
fn correct_writes_copies_and_twice_is_once() {
    let dir = tempfile::tempdir().unwrap();
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts");
    let before = tree(&samples);
    let once = dir.path().join("once");
    let twice = dir.path().join("twice");
    let (code, out, err) = run(&["correct", "sample-parts", "--into", once.to_str().unwrap()]);
    // The chart full of mistakes has some that only a person can mend.
    assert_eq!(code, 1, "{out}{err}");
    insta::assert_snapshot!("correct", out.replace(once.to_str().unwrap(), "[into]"));
    assert_eq!(before, tree(&samples), "no input is touched");
    let (code, _, _) = run(&[
        "correct",
        once.to_str().unwrap(),
        "--into",
        twice.to_str().unwrap(),
    ]);
    assert_eq!(code, 1);
    assert_eq!(tree(&once), tree(&twice));
    // What was clean is the same to the byte.
    let clean = |t: &[(String, Vec<u8>)]| {
        t.iter()
            .find(|(name, _)| name == "low-lamps.musicxml")
            .cloned()
    };
    assert_eq!(clean(&before), clean(&tree(&once)));
    let soli = once.join("ferry-at-six.musicxml");
    let homework = once.join("homework-block-chords.passage");
    let trumpets = once.join("copper-whistle.mxl");
    let left = json(&[&soli, &homework, &trumpets].map(|p| p.to_str().unwrap()));
    assert_eq!(left["summary"]["errors"], 0);
    assert_eq!(left["summary"]["warnings"], 0);
}

#[test]
fn correct_never_writes_over_what_it_reads() {
    let dir = tempfile::tempdir().unwrap();
    let score = dir.path().join("ferry.musicxml");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/ferry-at-six.musicxml");
    fs::copy(source, &score).unwrap();
    let before = fs::read(&score).unwrap();
    let (code, _, err) = run(&[
        "correct",
        score.to_str().unwrap(),
        "--into",
        dir.path().to_str().unwrap(),
    ]);
    assert_eq!(code, 2);
    assert!(err.contains("is one of the files that are read"), "{err}");
    assert_eq!(fs::read(&score).unwrap(), before);
    // Two files of one name have no place side by side.
    let other = dir.path().join("other");
    fs::create_dir(&other).unwrap();
    let second = other.join("ferry.musicxml");
    fs::copy(&score, &second).unwrap();
    let into = dir.path().join("into");
    let (code, _, err) = run(&[
        "correct",
        score.to_str().unwrap(),
        second.to_str().unwrap(),
        "--into",
        into.to_str().unwrap(),
    ]);
    assert_eq!(code, 2);
    assert!(err.contains("would both be written to"), "{err}");
    assert!(!into.exists());
}

#[test]
fn a_library_read_in_batches_is_reported_as_if_read_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let source = "sample-parts/homework-block-chords.passage";
    let passage = fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(source)).unwrap();
    for (folder, count) in [("first", 30), ("second", 110), ("third", 20)] {
        let folder = dir.path().join(folder);
        fs::create_dir(&folder).unwrap();
        for i in 0..count {
            fs::write(folder.join(format!("{i}.passage")), &passage).unwrap();
        }
    }
    fs::write(dir.path().join("third/7.passage"), "no passage").unwrap();
    let folder = dir.path().to_str().unwrap();
    // The document is made of all files at once, the lines batch by batch.
    let whole = json(&[folder]);
    let (code, out, _) = run(&["proof", "--format", "jsonl", folder]);
    assert_eq!(code, 2);
    let mut lines: Vec<Value> = out
        .lines()
        .map(|l| serde_json::from_str(l).unwrap())
        .collect();
    let mut of_kind = |kind: &str| -> Vec<Value> {
        let own = |l: &&mut Value| l["kind"] == kind;
        let own = lines.iter_mut().filter(own);
        own.map(|l| {
            l.as_object_mut().unwrap().remove("kind");
            l.take()
        })
        .collect()
    };
    assert_eq!(Value::from(of_kind("file")), whole["files"]);
    assert_eq!(Value::from(of_kind("finding")), whole["findings"]);
    assert_eq!(of_kind("summary")[0]["errors"], whole["summary"]["errors"]);
    let report = dir.path().join("report");
    let (code, out, _) = run(&["proof", folder]);
    assert_eq!(code, 2);
    assert!(out.contains("159 files"), "{out}");
    assert!(out.ends_with("1 file could not be read\n"), "{out}");
    let (code, said, _) = run(&["proof", folder, "--into", report.to_str().unwrap()]);
    assert_eq!((code, said.as_str()), (2, ""));
    assert_eq!(fs::read_to_string(report).unwrap(), out);
}

const LEAD: &str = "title: Harbour Steps
key: F major
meter: 4/4
section: saxes
parts: alto 1 = alto saxophone

chord  | F6 -   -  -  -  -  | Gm7 -  -  C7 -  -  | F6 - |
count  | 1  &   2  &  3  4  | 1   &  2  3  &  4  | 1  3 |
alto 1 | A4 Bb4 C5 D5 C5 A4 | D5  E5 F5 E5 D5 C5 | C5 A4 |
";

#[test]
fn voice_writes_a_model_answer_that_is_clean() {
    let dir = tempfile::tempdir().unwrap();
    let lead = dir.path().join("lead.passage");
    fs::write(&lead, LEAD).unwrap();
    let lead = lead.to_str().unwrap();
    let (code, out, err) = run(&["voice", lead, "--technique", "drop 2 with doubled lead"]);
    assert_eq!(code, 0, "{err}");
    insta::assert_snapshot!("voice", out);
    let answer = dir.path().join("answer.musicxml");
    let answer = answer.to_str().unwrap();
    let (code, _, err) = run(&["voice", lead, "--technique", "drop 2", "--into", answer]);
    assert_eq!(code, 0, "{err}");
    assert_eq!(json(&[answer])["findings"], Value::Array(Vec::new()));
    let (code, _, err) = run(&["voice", lead, "--technique", "unison", "--strict"]);
    assert_eq!(code, 1);
    assert!(err.contains("What would help"), "{err}");
    assert_eq!(run(&["voice", lead, "--technique", "drop 9"]).0, 2);
    let (code, _, err) = run(&["voice", lead, "--technique", "drop 2", "--into", lead]);
    assert_eq!(code, 2, "{err}");
    let (code, _, err) = run(&[
        "voice",
        lead,
        "--technique",
        "drop 2",
        "--section",
        "kazoos",
    ]);
    assert_eq!(code, 2);
    assert!(err.contains("saxes"), "{err}");
}

#[test]
fn analysis_names_every_sonority() {
    let (code, out, _) = run(&["analysis", "sample-parts/copper-whistle.mxl"]);
    assert_eq!(code, 0);
    insta::assert_snapshot!("analysis", out);
    let (code, out, _) = run(&[
        "analysis",
        "--format",
        "json",
        "sample-parts/copper-whistle.mxl",
    ]);
    assert_eq!(code, 0);
    let report: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(report["format"], "chartproof-analysis/1");
    let first = &report["files"][0]["sections"][0]["sonorities"][0];
    assert_eq!(first["technique"], "four-way close");
    assert_eq!(first["voices"][0]["degree"], "3");
    assert_eq!(run(&["analysis", "no-such-file"]).0, 2);
}

#[test]
fn the_readme_is_in_step_with_the_program() {
    let readme =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let (_, out, _) = run(&["proof", "sample-parts"]);
    let last = out.trim_end().lines().last().unwrap();
    assert!(readme.contains(last), "README.md should show: {last}");
    let first = out.split("\n\nsample-parts/").next().unwrap();
    for line in first.lines().filter(|l| !l.trim().is_empty()) {
        assert!(
            readme.contains(line.trim()),
            "README.md should show: {line}"
        );
    }
    assert!(
        readme.lines().count() < 180,
        "details belong in `chartproof manual`"
    );
    let (_, help, _) = run(&["--help"]);
    for command in help.lines().skip_while(|l| *l != "Commands:").skip(1) {
        let Some(name) = command.split_whitespace().next() else {
            break;
        };
        let shown = readme.contains(&format!("`chartproof {name}")) || name == "help";
        assert!(shown, "README.md should name `chartproof {name}`");
    }
}

#[test]
fn the_passage_of_the_manual_has_nothing_wrong_with_it() {
    let (_, page, _) = run(&["manual", "grid"]);
    let from = page.find("    title:").unwrap();
    let to = page[from..].find("\nCOUNT").unwrap() + from;
    let passage: String = page[from..to]
        .lines()
        .map(|l| l.get(4..).unwrap_or_default().to_owned() + "\n")
        .collect();
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("manual.passage");
    fs::write(&path, passage).unwrap();
    assert_eq!(
        json(&[path.to_str().unwrap()])["findings"],
        Value::Array(Vec::new())
    );
}

/// The picture in the README is the first of the report on the trumpet passage.
#[test]
fn the_picture_of_the_readme_is_what_the_report_draws() {
    let (_, page, _) = run(&[
        "proof",
        "sample-parts/copper-whistle.mxl",
        "--format",
        "html",
    ]);
    let drawn = standalone(&page);
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/what-it-says.svg");
    if std::env::var_os("ACCEPT_PICTURE").is_some() {
        fs::write(&file, &drawn).unwrap();
    }
    assert!(
        fs::read_to_string(&file).unwrap() == drawn,
        "sample-parts/what-it-says.svg is old: look at the new one, made by \
         `ACCEPT_PICTURE=1 cargo test --test all program::the_picture`"
    );
}

/// The first two pictures of a page, as it stands and corrected, as one file with its glyphs and colours.
fn standalone(page: &str) -> String {
    let between = |text: &str, from: &str, to: &str| {
        let start = text.find(from).unwrap();
        let end = text[start..].find(to).unwrap() + start + to.len();
        (text[start..end].to_owned(), end)
    };
    let (glyphs, end) = between(page, "<symbol", "</svg>");
    let glyphs = glyphs.trim_end_matches("</svg>");
    let (first, after) = between(&page[end..], "<svg class=\"m\"", "</svg>");
    let (second, _) = between(&page[end + after..], "<svg class=\"m\"", "</svg>");
    let number = |svg: &str, name: &str| -> u32 {
        let (value, _) = between(svg, &format!(" {name}=\""), "\" ");
        value.split('"').nth(1).unwrap().parse().unwrap()
    };
    // Not the colours of a printed page, which come later.
    let screen = &page[..page.find("@media print").unwrap()];
    let style: String = screen
        .lines()
        .filter(|l| l.starts_with(":root{") || l.starts_with("svg.m"))
        .collect::<Vec<_>>()
        .join("\n");
    let (left, right) = (number(&first, "width"), number(&second, "width"));
    let height = number(&first, "height").max(number(&second, "height"));
    let nested = |svg: &str, x: u32| svg.replacen("<svg ", &format!("<svg x=\"{x}\" "), 1);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
         viewBox=\"0 0 {width} {height}\"><style>{style}</style><defs>{glyphs}</defs>\
         <rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n{}\n{}\n</svg>\n",
        nested(&first, 0),
        nested(&second, left + 24),
        width = left + 24 + right,
    )
}

#[test]
fn marked_copies_are_cleared_to_the_byte_and_marked_anew() {
    let dir = tempfile::tempdir().unwrap();
    let to = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    let soli = "sample-parts/ferry-at-six.musicxml";
    let (code, out, err) = run(&["mark", soli, "--into", &to("marked")]);
    assert_eq!((code, err.as_str()), (1, ""));
    let found = json(&[soli])["findings"].as_array().unwrap().len();
    assert!(out.contains(&format!("{found} findings marked")), "{out}");
    let marked = to("marked/ferry-at-six.musicxml");
    let text = fs::read_to_string(&marked).unwrap();
    for number in 1..=found {
        assert!(
            text.contains(&format!("font-weight=\"bold\">{number} ")),
            "{number}"
        );
    }
    // The marks are not taken for music.
    assert_eq!(places(&json(&[&marked])), places(&json(&[soli])));
    run(&["mark", &marked, "--into", &to("again")]);
    assert_eq!(
        fs::read_to_string(to("again/ferry-at-six.musicxml")).unwrap(),
        text
    );
    let (code, ..) = run(&["mark", "--clear", &marked, "--into", &to("cleared")]);
    assert_eq!(code, 0);
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    assert_eq!(
        fs::read(to("cleared/ferry-at-six.musicxml")).unwrap(),
        fs::read(root.join(soli)).unwrap()
    );
    // Part files, and a container.
    let (code, ..) = run(&[
        "mark",
        "--one-score",
        "sample-parts/ferry-at-six-parts",
        "--into",
        &to("parts"),
    ]);
    assert_eq!(code, 1);
    run(&[
        "mark",
        "--clear",
        &to("parts"),
        "--into",
        &to("parts-cleared"),
    ]);
    for entry in fs::read_dir(root.join("sample-parts/ferry-at-six-parts")).unwrap() {
        let entry = entry.unwrap();
        let cleared = Path::new(&to("parts-cleared")).join(entry.file_name());
        assert_eq!(fs::read(cleared).unwrap(), fs::read(entry.path()).unwrap());
    }
    let packed = "sample-parts/copper-whistle.mxl";
    run(&["mark", packed, "--into", &to("packed")]);
    assert_eq!(
        places(&json(&[&to("packed/copper-whistle.mxl")])),
        places(&json(&[packed]))
    );
    // A grid has no room for marks, and what is read is never written over.
    let grid = "sample-parts/homework-block-chords.passage";
    let (code, _, err) = run(&["mark", grid, "--into", &to("grid")]);
    assert_eq!(code, 2);
    assert!(err.contains("passage grid"), "{err}");
    assert_eq!(run(&["mark", &marked, "--into", &to("marked")]).0, 2);
}

#[test]
fn the_page_has_every_finding_of_the_json_once() {
    let soli = "sample-parts/ferry-at-six.musicxml";
    let (code, page, err) = run(&["proof", "--format", "html", soli]);
    assert_eq!((code, err.as_str()), (1, ""));
    let page = page.replace("&#39;", "'");
    let report = json(&[soli]);
    let findings = report["findings"].as_array().unwrap();
    assert_eq!(page.matches("<article").count(), findings.len());
    // Errors first, in the page; the report for machines goes by bar and beat.
    let headings: Vec<&str> = page
        .split("<h3")
        .skip(1)
        .filter_map(|h| h.split("</h3>").next())
        .collect();
    for finding in findings {
        let message = finding["message"].as_str().unwrap();
        let place = format!(". Bar {}, ", finding["bar"].as_str().unwrap());
        let here = |h: &&&str| h.contains(&place) && h.contains(message);
        assert_eq!(headings.iter().filter(here).count(), 1, "{message}");
    }
}
