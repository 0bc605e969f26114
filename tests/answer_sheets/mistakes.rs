//! `voice --with-mistakes`: sheets to hunt mistakes in.

use super::{MELODY, answer, read};
use crate::common::{self, BANDS, TECHNIQUES};
use chartproof::inside::model_answer::{Kind, Request, plant, voice};
use chartproof::inside::proof::proof;
use chartproof::inside::reading::read_bytes;
use chartproof::inside::report::answer::mistakes;
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use chartproof::inside::writing::musicxml;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

#[test]
fn the_list_says_what_stands_there_and_what_should() {
    let planted = plant(&answer(MELODY, "drop 2"), &Style::default(), 5, &[], 3);
    insta::assert_snapshot!(mistakes(&planted));
}

#[test]
fn the_same_seed_gives_the_same_mistakes() {
    let answer = answer(MELODY, "drop 2");
    let style = Style::default();
    let with = |seed| plant(&answer, &style, 4, &[], seed).mistakes;
    assert_eq!(with(7), with(7));
    assert_ne!(with(7), with(8));
}

#[test]
fn only_the_kinds_asked_for_are_planted() {
    let answer = answer(MELODY, "doubled lead");
    let kinds = [Kind::LeadDoubling, Kind::PassingDiminished];
    let planted = plant(&answer, &Style::default(), 4, &kinds, 1);
    assert_eq!(planted.mistakes.len(), 4);
    assert!(planted.mistakes.iter().all(|m| kinds.contains(&m.kind)));
    assert_eq!(
        Kind::named("passing diminished"),
        Some(Kind::PassingDiminished)
    );
    assert!("wrong-nose".parse::<Kind>().is_err());
}

/// Whatever was planted is found at its place under its name, in the file as it is written too, and nothing
/// else is.
#[test]
fn proof_finds_each_planted_mistake_at_its_place_and_nothing_else() {
    let style = Style::default();
    let mut kinds: BTreeMap<&str, usize> = BTreeMap::new();
    let mut asked = 0;
    for seed in 0..24_u64 {
        let (band, technique) = (seed as usize % BANDS.len(), seed as usize % 4);
        let Some(made) = common::clean(seed, band, technique, seed as usize % 12, false, 6) else {
            continue;
        };
        let request = Request {
            section: Some(BANDS[band].section.to_owned()),
            ..Request::new(Technique::named(TECHNIQUES[technique].0).unwrap())
        };
        let Ok(answer) = voice(&read(&made.lead()), &style, &request) else {
            continue;
        };
        if !proof(&answer.score, &style).findings.is_empty() {
            continue;
        }
        let planted = plant(&answer, &style, 4, &[], seed);
        asked += 4;
        let wanted: Vec<_> = planted
            .mistakes
            .iter()
            .map(|m| (m.at, m.kind.rule()))
            .collect();
        let xml = musicxml::write(&planted.score, &musicxml::Options::default());
        let again = read_bytes(Path::new("hunt.musicxml"), xml.as_bytes()).unwrap();
        for score in [&planted.score, &again] {
            let mut found: Vec<_> = proof(score, &style)
                .findings
                .iter()
                .map(|f| (f.at, f.rule))
                .collect();
            found.sort_unstable();
            let mut wanted = wanted.clone();
            wanted.sort_unstable();
            assert_eq!(found, wanted, "{}", mistakes(&planted));
        }
        for (_, kind) in wanted {
            *kinds.entry(kind).or_default() += 1;
        }
    }
    let planted: usize = kinds.values().sum();
    println!("{planted} of {asked} planted: {kinds:?}");
    assert!(
        asked >= 60 && planted * 10 >= asked * 9,
        "{planted} of {asked}"
    );
    assert!(kinds.len() >= 6, "{kinds:?}");
}

#[test]
fn a_class_that_hunts_is_marked_against_the_answer() {
    let dir = tempfile::tempdir().unwrap();
    let run = |args: &[&str]| {
        let out = Command::new(env!("CARGO_BIN_EXE_chartproof"))
            .args(args)
            .current_dir(dir.path())
            .output()
            .unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        (
            out.status.code().unwrap(),
            text(out.stdout),
            text(out.stderr),
        )
    };
    fs::write(dir.path().join("lead.passage"), MELODY).unwrap();
    fs::create_dir(dir.path().join("class")).unwrap();
    let voice = [
        "voice",
        "lead.passage",
        "--pitch",
        "sounding",
        "--technique",
        "drop 2",
    ];
    let with = |more: &[&str]| run(&[&voice[..], more].concat());
    assert_eq!(with(&["--into", "key.musicxml"]).0, 0);
    let (code, out, err) = with(&[
        "--with-mistakes",
        "4",
        "--seed",
        "3",
        "--into",
        "class/Ada.musicxml",
        "--list-into",
        "list.txt",
    ]);
    assert_eq!((code, out.as_str(), err.as_str()), (0, "", ""));
    let list = fs::read_to_string(dir.path().join("list.txt")).unwrap();
    assert!(list.starts_with("4 mistakes planted"), "{list}");
    let (_, report, _) = run(&["proof", "--class", "class", "--key", "key.musicxml"]);
    assert!(report.contains("Ada      16/20"), "{report}");
    for line in list.lines().filter(|l| l.contains("bar ")) {
        let place = line.split(": ").next().unwrap().split(". ").nth(1).unwrap();
        assert!(report.contains(place), "{place}\n{report}");
    }
    // Without a file for the music, music and list would be one text.
    assert_eq!(with(&["--with-mistakes", "4"]).0, 2);
    assert_eq!(with(&["--with-mistakes", "4", "--into", "x.txt"]).0, 2);
    let (code, _, err) = with(&["--with-mistakes", "400", "--into", "x.musicxml"]);
    assert_eq!(code, 0);
    assert!(err.contains("of 400 mistakes were planted"), "{err}");
}
