//! What is read is never touched, what is written is whole or is not there, and a copy is its original
//! but for the places that were meant.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-parts")
        .join(name)
}

fn command(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_chartproof"));
    command.args(args).env("NO_COLOR", "1");
    command
}

fn run(args: &[&str]) -> Output {
    let output = command(args).output().unwrap();
    assert!(
        matches!(output.status.code(), Some(0 | 1)),
        "{args:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    output
}

/// Every file below a folder with its bytes.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).into_iter().flatten() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let bytes = fs::read(&path).unwrap();
                found.insert(path.strip_prefix(folder).unwrap().to_owned(), bytes);
            }
        }
    }
    found
}

/// What a run that is killed leaves: hidden, and named so that nobody takes it for a result.
fn is_left_over(path: &Path) -> bool {
    let name = path.file_name().unwrap().to_string_lossy();
    name.starts_with(".chartproof-") && (name.ends_with(".new") || name.ends_with(".old"))
}

/// Numbers between 0 and 1 in no order that anybody would notice, the same on every run.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Kills a command at random points, so many times; `args` hold IN and OUT where the folders go.
fn killed(args: &[&str], times: usize) {
    let home = tempfile::tempdir().unwrap();
    let input = home.path().join("in");
    fs::create_dir(&input).unwrap();
    for name in ["ferry-at-six.musicxml", "copper-whistle.mxl"] {
        fs::copy(sample(name), input.join(name)).unwrap();
    }
    let before = files(&input);
    let into = |folder: &str| -> Vec<String> {
        let folder = home.path().join(folder);
        fs::create_dir_all(&folder).unwrap();
        args.iter()
            .map(|a| {
                a.replace("IN", input.to_str().unwrap())
                    .replace("OUT", folder.to_str().unwrap())
            })
            .collect()
    };
    let start = Instant::now();
    let whole = into("whole");
    let whole: Vec<&str> = whole.iter().map(String::as_str).collect();
    run(&whole);
    let length = start.elapsed();
    let wanted = files(&home.path().join("whole"));
    assert!(!wanted.is_empty(), "{args:?} writes nothing");
    let out = home.path().join("out");
    let again = into("out");
    let again: Vec<&str> = again.iter().map(String::as_str).collect();
    let mut dice = Dice(0x9E37_79B9_7F4A_7C15);
    let (mut unfinished, mut finished) = (0, 0);
    for turn in 0..times {
        // Every other time there is nothing there before.
        if turn % 2 == 0 {
            fs::remove_dir_all(&out).unwrap();
            fs::create_dir(&out).unwrap();
        }
        let mut child = command(&again)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_secs_f64(
            length.as_secs_f64() * 1.1 * dice.roll(),
        ));
        let _ = child.kill();
        let done = child.wait().unwrap().code().is_some();
        assert_eq!(files(&input), before, "{args:?}: an input was touched");
        for (path, bytes) in files(&out) {
            if !is_left_over(&path) {
                let whole = wanted.get(&path);
                assert!(whole.is_some(), "{args:?}: {} is no result", path.display());
                assert!(
                    whole == Some(&bytes),
                    "{args:?}: half of {}",
                    path.display()
                );
            }
        }
        if done {
            finished += 1;
        } else {
            unfinished += 1;
        }
    }
    assert!(
        unfinished > times / 10,
        "{args:?}: {finished} of {times} were not killed"
    );
    // After all that it works as if nothing had happened.
    run(&again);
    for (path, bytes) in &wanted {
        assert_eq!(
            fs::read(out.join(path)).unwrap(),
            *bytes,
            "{}",
            path.display()
        );
    }
}

#[test]
fn killed_while_correcting() {
    killed(&["correct", "--into", "OUT", "IN"], 70);
}

#[test]
fn killed_while_marking() {
    killed(&["mark", "--into", "OUT", "IN"], 50);
}

#[test]
fn killed_while_voicing() {
    let lead = sample("ferry-at-six.musicxml");
    let lead = lead.to_str().unwrap();
    killed(
        &[
            "voice",
            lead,
            "--technique",
            "four-way close",
            "--section",
            "saxes",
            "--into",
            "OUT/answer.musicxml",
        ],
        40,
    );
}

#[test]
fn killed_while_recording() {
    killed(&["ledger", "--ledger", "OUT/chartproof.ledger", "IN"], 40);
}

/// How a text lies in a file.
#[derive(Clone, Copy, Debug)]
enum Coding {
    Utf8,
    Utf8Mark,
    Utf16Le,
    Utf16Be,
    Latin1,
}

impl Coding {
    fn encode(self, text: &str) -> Vec<u8> {
        let named =
            |name: &str| text.replace("encoding=\"UTF-8\"", &format!("encoding=\"{name}\""));
        let units = || {
            let text = named("UTF-16");
            std::iter::once(0xFEFF).chain(text.encode_utf16().collect::<Vec<_>>())
        };
        match self {
            Self::Utf8 => text.as_bytes().to_vec(),
            Self::Utf8Mark => [b"\xEF\xBB\xBF", text.as_bytes()].concat(),
            Self::Utf16Le => units().flat_map(u16::to_le_bytes).collect(),
            Self::Utf16Be => units().flat_map(u16::to_be_bytes).collect(),
            Self::Latin1 => named("ISO-8859-1")
                .chars()
                .map(|c| u8::try_from(c).unwrap())
                .collect(),
        }
    }
}

/// What stands between the notes of a score and is nobody's business but its writer's.
const BETWEEN: &str = "<!-- caf\u{e9}, \u{e0} la carte -->\n<?printer keep = 'this'?>\n<zither  strings=\"7\" ><![CDATA[<&]]></zither >\n";

/// The sample with all of that after every note.
fn furnished() -> String {
    let text = fs::read_to_string(sample("ferry-at-six.musicxml")).unwrap();
    assert!(text.contains("encoding=\"UTF-8\"") && !text.contains('\r'));
    text.replace("</note>", &format!("</note>{BETWEEN}"))
}

/// The copy a command makes of a file with these bytes.
fn copied(args: &[&str], bytes: &[u8]) -> Vec<u8> {
    let home = tempfile::tempdir().unwrap();
    let input = home.path().join("x.musicxml");
    fs::write(&input, bytes).unwrap();
    let into = home.path().join("into");
    let mut all = args.to_vec();
    all.extend(["--into", into.to_str().unwrap(), input.to_str().unwrap()]);
    run(&all);
    assert_eq!(
        fs::read(&input).unwrap(),
        bytes,
        "{args:?}: the input was touched"
    );
    fs::read(into.join("x.musicxml")).unwrap()
}

#[test]
fn a_correction_keeps_line_ends_marks_encodings_and_all_that_it_does_not_know() {
    let plain = fs::read_to_string(sample("ferry-at-six.musicxml")).unwrap();
    let corrected = String::from_utf8(copied(&["correct"], plain.as_bytes())).unwrap();
    assert_ne!(corrected, plain, "the sample has something to correct");
    let wanted = corrected.replace("</note>", &format!("</note>{BETWEEN}"));
    for line_end in ["\n", "\r\n"] {
        for coding in [
            Coding::Utf8,
            Coding::Utf8Mark,
            Coding::Utf16Le,
            Coding::Utf16Be,
            Coding::Latin1,
        ] {
            let bytes = |text: &str| coding.encode(&text.replace('\n', line_end));
            let copy = copied(&["correct"], &bytes(&furnished()));
            assert!(copy == bytes(&wanted), "{coding:?}, {line_end:?}");
        }
    }
}

#[test]
fn marks_go_in_and_out_again_without_a_trace() {
    for line_end in ["\n", "\r\n"] {
        for coding in [
            Coding::Utf8,
            Coding::Utf8Mark,
            Coding::Utf16Le,
            Coding::Utf16Be,
            Coding::Latin1,
        ] {
            let bytes = coding.encode(&furnished().replace('\n', line_end));
            let marked = copied(&["mark"], &bytes);
            assert!(marked != bytes, "the sample has something to mark");
            let cleared = copied(&["mark", "--clear"], &marked);
            assert!(cleared == bytes, "{coding:?}, {line_end:?}");
        }
    }
}

#[test]
fn the_same_input_gives_the_same_bytes_whatever_the_number_of_threads() {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts");
    let samples = samples.to_str().unwrap();
    let with = |threads: &str, args: &[&str]| {
        let output = command(args)
            .env("RAYON_NUM_THREADS", threads)
            .output()
            .unwrap();
        assert!(matches!(output.status.code(), Some(0 | 1)), "{args:?}");
        (output.status.code(), output.stdout, output.stderr)
    };
    for format in ["text", "html", "json", "jsonl", "sarif"] {
        let args = ["proof", "--format", format, samples];
        let one = with("1", &args);
        assert!(one.1.len() > 1_000, "{format}");
        for threads in ["2", "8"] {
            assert!(
                one == with(threads, &args),
                "{format} with {threads} threads"
            );
        }
    }
    let written = |threads: &str, command: &str| {
        let home = tempfile::tempdir().unwrap();
        let into = home.path().to_str().unwrap();
        let (_, out, _) = with(
            threads,
            &[command, "--into", into, &format!("{samples}/mistakes")],
        );
        (
            String::from_utf8(out).unwrap().replace(into, ""),
            files(home.path()),
        )
    };
    for command in ["correct", "mark"] {
        let one = written("1", command);
        assert!(!one.1.is_empty(), "{command}");
        assert!(one == written("8", command), "{command}");
    }
    for args in [
        ["analysis", "--format", "json", samples].as_slice(),
        &["rulebook"],
        &["style"],
    ] {
        assert!(with("1", args) == with("8", args), "{args:?}");
    }
}

/// Marks of an earlier run go out before the score is looked at, and it is looked at as it was: here
/// with transpositions that are left out and are known by the instruments' names.
#[test]
fn a_marked_copy_is_marked_as_its_original_was() {
    let sample = fs::read_to_string(sample("ferry-at-six.musicxml")).unwrap();
    let mut text = String::new();
    for (i, piece) in sample.split("<transpose>").enumerate() {
        let rest = piece.split_once("</transpose>").map(|(_, rest)| rest);
        text.push_str(if i == 0 { piece } else { rest.unwrap() });
    }
    assert_ne!(text, sample);
    let once = copied(&["mark"], text.as_bytes());
    assert!(once != text.as_bytes(), "there is something to mark");
    assert!(copied(&["mark"], &once) == once);
}
