//! `voice --explain`: one line for each sonority, in every form of output.

use super::{MELODY, answer, read};
use crate::common::{self, BANDS, TECHNIQUES};
use chartproof::inside::analysis::analyse;
use chartproof::inside::model_answer::{Request, explain, voice, with_words};
use chartproof::inside::proof::proof;
use chartproof::inside::reading::read_bytes;
use chartproof::inside::report;
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use chartproof::inside::writing::{grid, musicxml};
use std::path::Path;

#[test]
fn a_line_for_each_sonority() {
    let mut out = String::new();
    for technique in ["drop 2", "octaves"] {
        let answer = answer(MELODY, technique);
        let table = report::answer::text(&answer, &explain(&answer));
        out.extend([technique, "\n\n", &table, "\n"]);
    }
    insta::assert_snapshot!(out);
}

#[test]
fn as_comments_of_a_grid_it_is_the_same_music() {
    let answer = answer(MELODY, "drop 2");
    let comments: Vec<_> = explain(&answer)
        .into_iter()
        .map(|e| (e.at, e.line))
        .collect();
    let text = grid::write_with_comments(&answer.score, grid::Cells::Sounding, &comments).unwrap();
    insta::assert_snapshot!(text);
    let plain = grid::write(&answer.score, grid::Cells::Sounding).unwrap();
    let without: Vec<&str> = text.lines().filter(|l| !l.starts_with(';')).collect();
    assert_eq!(without.join("\n").trim_end(), plain.trim_end());
    let [with, without] = [text, plain].map(|t| read(&t));
    for (a, b) in with.parts.iter().zip(&without.parts) {
        let notes = |p: &chartproof::inside::score::Part| {
            p.notes
                .iter()
                .map(|n| (n.onset, n.duration, n.written))
                .collect::<Vec<_>>()
        };
        assert_eq!(notes(a), notes(b));
    }
}

#[test]
fn as_words_in_musicxml_they_stand_under_the_lead_and_say_no_technique() {
    let answer = answer(MELODY, "drop 2");
    let explained = explain(&answer);
    let score = with_words(&answer.score, &explained);
    let xml = musicxml::write(&score, &musicxml::Options::default());
    let again = read_bytes(Path::new("answer.musicxml"), xml.as_bytes()).unwrap();
    let words: Vec<(_, &str)> = again.parts[0]
        .words
        .iter()
        .filter(|w| w.value.below)
        .map(|w| (w.at, w.value.text.as_str()))
        .collect();
    let wanted: Vec<(_, &str)> = explained.iter().map(|e| (e.at, e.short.as_str())).collect();
    assert_eq!(words, wanted);
    let bars = again.parts.iter().skip(1);
    assert!(bars.flat_map(|p| p.words.iter()).all(|w| !w.value.below));
    let proofed = proof(&again, &Style::default());
    assert_eq!(proofed.findings, []);
    assert_eq!(
        proofed.inferred,
        [],
        "the technique is still the one that is stated"
    );
}

#[test]
fn the_page_has_the_music_and_every_line() {
    let answer = answer(MELODY, "drop 2");
    let explained = explain(&answer);
    let page = report::answer::page(
        "Evening Bus",
        &[report::answer::AnswerOnPage {
            heading: None,
            score: &answer.score,
            explained: explained.clone(),
        }],
    );
    for e in &explained {
        assert!(page.contains(&e.line), "{}", e.line);
    }
    // One system at two pitches.
    assert_eq!(page.matches("<figure").count(), 2);
    assert_eq!(page.matches("class=\"u q\">Edim7<").count(), 4);
    for used in page.split("<use href=\"#").skip(1) {
        let id = used.split('"').next().unwrap();
        assert!(page.contains(&format!("<symbol id=\"{id}\"")), "{id}");
    }
}

/// The words hold against `analysis`, which looks at the notes that were written and knows nothing of how
/// they were made.
#[test]
fn what_is_said_is_what_analysis_finds_in_the_notes() {
    let style = Style::default();
    let (mut lines, mut passing) = (0, 0);
    let mut wrong = Vec::new();
    for seed in 0..120_u64 {
        let (band, technique) = (seed as usize % BANDS.len(), seed as usize % 4);
        let Some(made) = common::clean(seed, band, technique, seed as usize % 12, false, 4) else {
            continue;
        };
        let request = Request {
            section: Some(BANDS[band].section.to_owned()),
            ..Request::new(Technique::named(TECHNIQUES[technique].0).unwrap())
        };
        let Ok(answer) = voice(&read(&made.lead()), &style, &request) else {
            continue;
        };
        let analysed = analyse(&answer.score, &style);
        for e in explain(&answer) {
            let Some(named) = analysed[0].sonorities.iter().find(|s| s.at == e.at) else {
                continue;
            };
            lines += 1;
            let lead = named.voices[0].sounding.to_string();
            let function = named.function.map_or("", |f| f.name());
            let technique = named.technique.map_or("", |t| t.name());
            let mut same = e.line.starts_with(&lead)
                && e.line.contains(function)
                && e.line.ends_with(technique);
            if e.harmony.ends_with("dim7") {
                passing += 1;
                same &= named
                    .sounds_like
                    .as_deref()
                    .is_some_and(|s| s.ends_with("dim7"));
            }
            if !same {
                wrong.push(format!("{} | {lead} {function} {technique}", e.line));
            }
        }
    }
    assert!(
        lines > 400 && passing > 40,
        "{lines} lines, {passing} diminished"
    );
    assert!(wrong.is_empty(), "{} of {lines}: {wrong:#?}", wrong.len());
}
