//! `voice --alternatives`, and choices that are fixed in a grid.

use super::{MELODY, answer, read};
use crate::common::{self, BANDS, TECHNIQUES};
use chartproof::inside::finding::Level;
use chartproof::inside::model_answer::{
    Answer, Request, VoiceError, alternatives, one_above_the_other, voice,
};
use chartproof::inside::proof::proof;
use chartproof::inside::reading::{grid, read_bytes};
use chartproof::inside::report::alternatives::{lines, page, text};
use chartproof::inside::score::{Change, NoteRef};
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use chartproof::inside::writing::musicxml;
use std::path::Path;

fn voiced(lead: &str, technique: &str) -> Result<Answer, VoiceError> {
    let request = Request {
        section: Some("saxes".to_owned()),
        ..Request::new(Technique::named(technique).unwrap())
    };
    voice(&read(lead), &Style::default(), &request)
}

#[test]
fn each_note_has_its_choices_the_cheapest_first() {
    let answer = answer(MELODY, "drop 2");
    let all = alternatives(&answer, 3);
    assert_eq!(all.len(), answer.steps.len());
    for (step, choices) in answer.steps.iter().zip(&all) {
        assert_eq!(choices[0].weighed, step.chosen);
        assert_eq!((choices[0].more, choices[0].gives_up.len()), (0, 0));
        assert!(choices.windows(2).all(|w| w[0].more <= w[1].more));
        assert!(choices[1..].iter().all(|c| !c.gives_up.is_empty()));
    }
    insta::assert_snapshot!(text(&answer, &all[..6]));
}

/// A choice is right by itself: put into the answer, it brings no warning to its place.
#[test]
fn no_choice_is_one_that_the_rules_speak_of() {
    let style = Style::default();
    let (mut tried, mut spoken) = (0, Vec::new());
    for seed in 0..6_u64 {
        let (band, technique) = (seed as usize % 3, seed as usize % 3);
        let Some(made) = common::clean(seed, band, technique, seed as usize % 12, false, 3) else {
            continue;
        };
        let request = Request {
            section: Some(BANDS[band].section.to_owned()),
            ..Request::new(Technique::named(TECHNIQUES[technique].0).unwrap())
        };
        let Ok(answer) = voice(&read(&made.lead()), &style, &request) else {
            continue;
        };
        for (step, choices) in answer.steps.iter().zip(alternatives(&answer, 3)) {
            let place = answer.score.place_of(step.onset);
            for choice in &choices[1..] {
                let mut score = answer.score.clone();
                let voices = step.chosen.voicing.iter().zip(&choice.weighed.voicing);
                let changes: Vec<Change> = (0u32..)
                    .zip(voices)
                    .filter_map(|(part, (_, to))| {
                        let notes = &score.parts[part as usize].notes;
                        let note = notes.iter().position(|n| n.onset == step.onset)? as u32;
                        Some(Change {
                            note: NoteRef { part, note },
                            sounding: chartproof::inside::ground::pitch::Pitch::in_key(*to, 0),
                        })
                    })
                    .collect();
                score.change(&changes);
                tried += 1;
                let found = proof(&score, &style).findings;
                spoken.extend(
                    found
                        .into_iter()
                        .filter(|f| f.at == place && f.level >= Level::Warning)
                        .filter(|f| f.rule != "spelling" && f.rule != "awkward-leap")
                        .map(|f| f.message),
                );
            }
        }
    }
    println!(
        "{} of {tried} choices are spoken of: {spoken:#?}",
        spoken.len()
    );
    assert!(
        tried > 100 && spoken.len() * 50 <= tried,
        "{tried}: {spoken:#?}"
    );
}

#[test]
fn the_choices_stand_one_above_the_other() {
    let answer = answer(MELODY, "drop 2");
    let all = alternatives(&answer, 3);
    let score = one_above_the_other(&answer, &all);
    let names: Vec<&str> = score.parts.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["taken", "choice 2", "choice 3"]);
    let first: Vec<String> = score.parts[0]
        .notes
        .iter()
        .take(4)
        .map(|n| n.sounding.to_string())
        .collect();
    assert_eq!(first, ["A4", "D4", "C4", "F3"]);
    let page = page("Evening Bus", &answer, &all);
    // At sounding pitch alone.
    assert_eq!(page.matches("<figure").count(), 1);
    assert!(page.contains("choice 2, +"));
    assert_eq!(lines(&answer, &all).len(), 2 * answer.steps.len());
    // Every bar of every staff is full.
    let xml = musicxml::write(&score, &musicxml::Options::default());
    let again = read_bytes(Path::new("choices.musicxml"), xml.as_bytes()).unwrap();
    let bars = proof(&again, &Style::default()).findings;
    assert!(bars.iter().all(|f| f.rule != "bar-length"), "{bars:?}");
}

const CHOSEN: &str = "title: Evening Bus
key: F major
meter: 4/4
section: saxes
pitch: sounding
parts: lead = alto saxophone

chord  | F6 -   -  -  -  | Gm7 -  C7 -  |
count  | 1  &   2  &  3  | 1   2  3  4  |
choice | 2  -   3  =  -  | -   1  -  -  |
lead   | A4 Bb4 C5 D5 C5 | Bb4 D5 E5 D5 |
";

#[test]
fn a_choice_of_the_grid_stands_and_the_rest_is_found_around_it() {
    let rows = CHOSEN.lines().filter(|l| !l.starts_with("choice"));
    let open = rows.collect::<Vec<_>>().join("\n");
    let free = voiced(&open, "drop 2").unwrap();
    let all = alternatives(&free, 9);
    let fixed = voiced(CHOSEN, "drop 2").unwrap();
    for (at, rank) in [(0, 2), (2, 3), (3, 3), (6, 1)] {
        assert_eq!(
            fixed.steps[at].chosen.voicing,
            all[at][rank - 1].weighed.voicing,
            "{at}"
        );
    }
    assert_ne!(fixed.steps[0].chosen, free.steps[0].chosen);
    // Lead and rhythm are untouched.
    assert_eq!(fixed.steps.len(), free.steps.len());
}

#[test]
fn a_choice_that_is_not_there_is_refused() {
    let nine = CHOSEN.replace("choice | 2", "choice | 9");
    let Err(error) = voiced(&nine, "octaves") else {
        panic!("octaves have one choice");
    };
    assert!(
        error.to_string().starts_with("bar 1, beat 1: choice 9"),
        "{error}"
    );
    let wrong = CHOSEN.replace("choice | 2", "choice | x");
    let fault = grid::read(Path::new("lead.passage"), wrong.into()).unwrap_err();
    assert!(fault.to_string().contains("`x` is not a choice"), "{fault}");
}
