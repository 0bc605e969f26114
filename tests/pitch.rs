//! At which pitch reports speak: the pitch of the file first, or the one that was asked for.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::common::{self, BANDS, SLIPS, TECHNIQUES};
use assert_cmd::Command;
use chartproof::inside::proof::proof as proof_of;
use chartproof::inside::reading::grid as reader;
use chartproof::inside::style::Style;
use serde_json::Value;
use std::fs;
use std::path::Path;

/// The third chord of a bar of F6 has Eb for the D of its third voice.
const SOUNDING: [&str; 4] = ["A4 C5 A4", "F4 A4 F4", "D4 F4 Eb4", "C4 D4 C4"];

/// The same as the players read it: altos in Eb, tenors in Bb (common practice, no source).
const WRITTEN: [&str; 4] = ["F#5 A5 F#5", "D5 F#5 D5", "E5 G5 F5", "D5 E5 D5"];

fn grid(pitch: &str, rows: [&str; 4]) -> String {
    let [a, b, c, d] = rows;
    format!(
        "title: pier\nkey: F\nmeter: 4/4\npitch: {pitch}\nsection: saxes\ntechnique: four-way close\n\
         parts: alto 1 = alto saxophone\n       alto 2 = alto saxophone\n       \
         tenor 1 = tenor saxophone\n       tenor 2 = tenor saxophone\n\n\
         chord | F6 - - |\ncount | 1 2 3 |\nalto 1 | {a} |\nalto 2 | {b} |\ntenor 1 | {c} |\ntenor 2 | {d} |\n"
    )
}

/// A folder with the passage typed at both pitches.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: String| fs::write(folder.path().join(name), text).unwrap();
    write("sounding.passage", grid("sounding", SOUNDING));
    write("written.passage", grid("written", WRITTEN));
    folder
}

fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("chartproof").unwrap();
    command.current_dir(folder).env("NO_COLOR", "1").args(args);
    let out = command.output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (
        out.status.code().unwrap(),
        text(out.stdout),
        text(out.stderr),
    )
}

/// The report of a passage with these options.
fn proof(file: &str, options: &[&str]) -> String {
    let folder = folder();
    let mut args = vec!["proof", file];
    args.extend(options);
    let (code, out, err) = run(folder.path(), &args);
    assert_eq!((code, err.as_str()), (1, ""), "{out}");
    out
}

/// The row of tenor 1, the label under its note, and the fix.
fn told(report: &str, row: &str, label: &str, fix: &str) {
    let plain = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for text in [row, label, fix] {
        assert!(plain(report).contains(text), "{text}\n{report}");
    }
}

#[test]
fn the_pitch_that_was_typed_comes_first() {
    for both in [&[][..], &["--pitch", "both"]] {
        told(
            &proof("sounding.passage", both),
            "tenor 1 | D4 (E5) F4 (G5) Eb4 (F5) |",
            "should be D4",
            "tenor 1: write D4 (written E5) instead of Eb4 (written F5)",
        );
        told(
            &proof("written.passage", both),
            "tenor 1 | E5 (D4) G5 (F4) F5 (Eb4) |",
            "should be E5",
            "tenor 1: write E5 (sounding D4) instead of F5 (sounding Eb4)",
        );
    }
}

#[test]
fn one_pitch_alone_is_told_where_it_is_asked_for() {
    for file in ["sounding.passage", "written.passage"] {
        let written = proof(file, &["--pitch", "written"]);
        told(
            &written,
            "tenor 1 | E5 G5 F5 |",
            "should be E5",
            "tenor 1: write E5 instead of F5",
        );
        assert!(written.contains("tenor 1 has F5, which"), "{written}");
        let sounding = proof(file, &["--pitch", "sounding"]);
        told(
            &sounding,
            "tenor 1 | D4 F4 Eb4 |",
            "should be D4",
            "tenor 1: write D4 instead of Eb4",
        );
        assert!(sounding.contains("tenor 1 has Eb4, which"), "{sounding}");
        // Chords as a whole stand at sounding pitch in every report.
        for report in [written, sounding] {
            assert!(report.contains("A4 F4 Eb4 C4 (sounding, from the top)"));
        }
    }
}

#[test]
fn programs_are_told_both_pitches_and_the_usual_sentence() {
    let folder = folder();
    let (code, out, err) = run(
        folder.path(),
        &[
            "proof",
            "sounding.passage",
            "--format",
            "json",
            "--pitch",
            "sounding",
        ],
    );
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(
        err.contains("--pitch is for reports that people read"),
        "{err}"
    );
    let (_, out, _) = run(
        folder.path(),
        &["proof", "sounding.passage", "--format", "json"],
    );
    let report: Value = serde_json::from_str(&out).unwrap();
    let finding = &report["findings"][0];
    let message = finding["message"].as_str().unwrap();
    assert!(
        message.starts_with("tenor 1 has Eb4 (written F5)"),
        "{message}"
    );
    let note = &finding["notes"][0];
    assert_eq!(
        (note["written"].as_str(), note["sounding"].as_str()),
        (Some("F5"), Some("Eb4"))
    );
}

#[test]
fn a_page_chooses_the_pitch_of_its_file_and_draws_no_other_than_asked_for() {
    let count =
        |page: &str, class: &str| page.matches(&format!("<figure class=\"{class}\"")).count();
    let page = proof("sounding.passage", &["--format", "html"]);
    assert!(page.contains("id=\"pitch-s\" checked"));
    assert!(page.contains("<td>Eb4 (written F5)</td><td>D4 (written E5)</td>"));
    assert!(page.contains("What this seat must change, at sounding pitch."));
    assert_eq!((count(&page, "written"), count(&page, "sounding")), (2, 2));
    let page = proof("written.passage", &["--format", "html"]);
    assert!(page.contains("id=\"pitch-w\" checked"));
    assert!(page.contains("<td>F5 (sounding Eb4)</td><td>E5 (sounding D4)</td>"));
    let page = proof(
        "written.passage",
        &["--format", "html", "--pitch", "sounding"],
    );
    assert!(!page.contains("<legend>pitch</legend>"));
    assert!(page.contains("<td>Eb4</td><td>D4</td>"));
    assert_eq!((count(&page, "written"), count(&page, "sounding")), (0, 2));
    let page = proof(
        "sounding.passage",
        &["--format", "html", "--pitch", "written"],
    );
    assert!(page.contains("<td>F5</td><td>E5</td>"));
    assert_eq!((count(&page, "written"), count(&page, "sounding")), (2, 0));
}

#[test]
fn corrections_are_listed_at_the_pitch_of_the_file() {
    for (file, said) in [
        ("sounding.passage", "(sounding pitch)"),
        ("written.passage", "(written pitch)"),
    ] {
        let folder = folder();
        let (_, out, err) = run(folder.path(), &["correct", file, "--into", "out"]);
        assert!(out.contains(said), "{out}{err}");
        let copy = fs::read_to_string(folder.path().join("out").join(file)).unwrap();
        let (from, to) = if file == "sounding.passage" {
            ("Eb4", "D4")
        } else {
            ("F5", "E5")
        };
        let row: Vec<&str> = out
            .lines()
            .find(|l| l.trim_start().starts_with("tenor 1"))
            .unwrap()
            .split_whitespace()
            .collect();
        assert_eq!(row[4..6], [from, to], "{out}");
        assert!(
            copy.contains(&format!("{to} ")) && !copy.contains(from),
            "{copy}"
        );
    }
}

#[test]
fn a_changed_melody_is_told_at_both_pitches() {
    let folder = tempfile::tempdir().unwrap();
    let right = ["A4 C5 A4", "F4 A4 F4", "D4 F4 D4", "C4 D4 C4"];
    let other = ["A4 C5 C5", "F4 A4 A4", "D4 F4 F4", "C4 D4 D4"];
    let write = |name: &str, text: String| fs::write(folder.path().join(name), text).unwrap();
    fs::create_dir(folder.path().join("work")).unwrap();
    write("key.passage", grid("sounding", right));
    write("work/ida.passage", grid("sounding", other));
    let told = |pitch: &str| {
        let args = [
            "proof",
            "--class",
            "work",
            "--key",
            "key.passage",
            "--pitch",
            pitch,
        ];
        run(folder.path(), &args).1
    };
    let both = told("both");
    let sentence = "alto 1 has C5 (written A5); the answer key has A4 (written F#5)";
    assert!(both.contains(sentence), "{both}");
    assert!(told("written").contains("alto 1 has A5; the answer key has F#5"));
    assert!(told("sounding").contains("alto 1 has C5; the answer key has A4"));
}

#[test]
fn limits_of_instruments_say_that_they_are_written() {
    let folder = tempfile::tempdir().unwrap();
    let text = "meter: 4/4\npitch: sounding\nparts: alto 1 = alto saxophone\n\ncount | 1 |\nalto 1 | C3 |\n";
    fs::write(folder.path().join("low.passage"), text).unwrap();
    let (_, out, _) = run(folder.path(), &["proof", "low.passage"]);
    assert!(
        out.contains("alto 1 has C3 (written A3), below written Bb3"),
        "{out}"
    );
    assert!(
        out.contains("^^ below written Bb3") || out.contains("below written Bb3\n"),
        "{out}"
    );
}

/// The passages of the generator, each with one slip: what is asked for is read at sight, at sounding
/// pitch and on the page of every player, whatever the key.
#[test]
fn no_double_accidental_is_asked_for() {
    let mut asked = 0;
    for round in 0..240u64 {
        let at = round as usize;
        let (band, technique, key) = (at % BANDS.len(), at % TECHNIQUES.len(), at % 12);
        let Some(mut made) = common::clean(round * 31 + 5, band, technique, key, true, 4) else {
            continue;
        };
        if common::inject(&mut made, at % SLIPS.len(), round).is_none() {
            continue;
        }
        let text = made.grid();
        let score = reader::read(Path::new("made.passage"), text.as_str().into()).unwrap();
        for finding in &proof_of(&score, &Style::default()).findings {
            let changes = finding.fix.iter().flat_map(|f| &f.changes);
            let changes: Vec<_> = changes.map(|c| (c.note, c.sounding)).collect();
            let marked = finding
                .notes
                .iter()
                .filter_map(|n| Some((n.note, n.expected?)));
            let notes: Vec<_> = changes.into_iter().chain(marked).collect();
            let pages = notes
                .iter()
                .map(|(at, sounding)| score.written_for(*at, *sounding));
            let sounding = notes.iter().map(|(_, sounding)| *sounding);
            let all = finding.expected.iter().copied();
            for pitch in all.chain(sounding).chain(pages) {
                asked += 1;
                let stands = || {
                    let notes = score.parts.iter().flat_map(|p| &p.notes);
                    let mut names = notes.flat_map(|n| [n.sounding.name(), n.written.name()]);
                    names.any(|n| n == pitch.name())
                };
                assert!(
                    pitch.alter.abs() < 2 || stands(),
                    "{pitch}: {}\n{text}",
                    finding.message
                );
            }
        }
    }
    assert!(asked > 1000, "{asked}");
}
