//! What is written validates against the MusicXML 4.0 schema (published: W3C Music Notation
//! Community Group; `tests/validate_musicxml.py` takes it from where it is installed).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::common::{self, BANDS, TECHNIQUES};
use crate::outside;
use chartproof::inside::model_answer::{Request, VoiceError, voice};
use chartproof::inside::reading::{Outcome, files, grid};
use chartproof::inside::score::Score;
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use chartproof::inside::writing::musicxml::{Options, write};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts")
}

fn scores(path: PathBuf, one_score: bool) -> Vec<(PathBuf, Score)> {
    let read = if one_score {
        files::read_as_one
    } else {
        files::read_paths
    };
    read(&[path])
        .into_iter()
        .map(|Outcome { path, score }| (path, score.unwrap_or_else(|e| panic!("{e}"))))
        .collect()
}

/// Every sample, as it is and put together from its parts.
fn written_samples() -> Vec<String> {
    let single = scores(samples(), false);
    let whole = scores(samples().join("ferry-at-six-parts"), true);
    assert!(single.len() >= 5 && whole.len() == 1);
    single
        .iter()
        .chain(&whole)
        .map(|(_, score)| write(score, &Options::default()))
        .collect()
}

/// Model answers under generated leads, in every technique and for every section.
fn answers(count: usize) -> Vec<String> {
    let mut made = Vec::new();
    for seed in 0.. {
        let (band, technique) = (seed % BANDS.len(), seed / 2 % TECHNIQUES.len());
        let Some(lead) = common::clean(seed as u64, band, technique, seed % 12, false, 4) else {
            continue;
        };
        let score = grid::read(Path::new("lead.passage"), lead.lead().into()).unwrap();
        let request = Request {
            section: Some(BANDS[band].section.to_owned()),
            ..Request::new(Technique::named(TECHNIQUES[technique].0).unwrap())
        };
        match voice(&score, &Style::default(), &request) {
            Ok(answer) => made.push(write(&answer.score, &Options::default())),
            Err(VoiceError::WrongSize { .. }) => {}
            Err(e) => panic!("{e}\n{}", lead.lead()),
        }
        if made.len() == count {
            break;
        }
    }
    made
}

/// What `correct` makes of the samples, taken out of its container where it has one.
fn corrected(into: &Path) -> usize {
    let out = Command::new(env!("CARGO_BIN_EXE_chartproof"))
        .args(["correct", "--into"])
        .arg(into)
        .arg(samples())
        .output()
        .unwrap();
    assert!(
        matches!(out.status.code(), Some(0 | 1)),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    let mut count = 0;
    let mut folders = vec![into.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            match path.extension().and_then(|e| e.to_str()) {
                Some("musicxml" | "xml") => count += 1,
                Some("mxl") => {
                    let mut zip = zip::ZipArchive::new(fs::File::open(&path).unwrap()).unwrap();
                    for at in 0..zip.len() {
                        let mut member = zip.by_index(at).unwrap();
                        let name = member.name().unwrap().into_owned();
                        if !name.starts_with("META-INF") && name.ends_with("xml") {
                            let mut target =
                                fs::File::create(path.with_extension("musicxml")).unwrap();
                            std::io::copy(&mut member, &mut target).unwrap();
                            count += 1;
                        }
                    }
                    fs::remove_file(&path).unwrap();
                }
                _ => {
                    // A grid, written out as a score.
                    for (_, score) in scores(path.clone(), false) {
                        let text = write(&score, &Options::default());
                        fs::write(path.with_extension("musicxml"), text).unwrap();
                        count += 1;
                    }
                    fs::remove_file(&path).unwrap();
                }
            }
        }
    }
    count
}

fn all_in(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                found.push(path);
            }
        }
    }
    found
}

#[test]
fn everything_written_validates() {
    let place = tempfile::tempdir().unwrap();
    let samples = written_samples();
    let answers = answers(20);
    for (kind, texts) in [("sample", &samples), ("answer", &answers)] {
        for (n, text) in texts.iter().enumerate() {
            let path = place.path().join(format!("{kind}-{n}.musicxml"));
            fs::write(&path, text).unwrap();
            // It is a score to us, too.
            chartproof::inside::reading::read_bytes(&path, text.as_bytes()).unwrap();
        }
    }
    let corrected = corrected(&place.path().join("corrected"));
    let paths = all_in(place.path());
    assert_eq!(paths.len(), samples.len() + answers.len() + corrected);
    assert!(corrected >= samples.len() - 1, "{corrected}");
    // A file that is not valid has to be told, or the check is empty.
    let wrong = place.path().join("wrong.musicxml");
    fs::write(
        &wrong,
        samples[0].replacen("</part-list>", "</part-list><colour/>", 1),
    )
    .unwrap();
    let Some((valid, said)) = outside::ask("validate_musicxml.py", [&wrong]) else {
        return;
    };
    assert!(!valid && said.contains("colour"), "{said}");
    let (valid, said) = outside::ask("validate_musicxml.py", &paths).unwrap();
    assert!(valid, "{said}");
    println!("{}", said.trim());
}
