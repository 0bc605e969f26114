//! `voice --keys`: the answer in many keys.

use super::{MELODY, read};
use crate::common::{self, BANDS, TECHNIQUES};
use chartproof::inside::model_answer::{
    Answer, KeyedAnswer, Keys, Request, explain, joined, voice_in_keys,
};
use chartproof::inside::proof::proof;
use chartproof::inside::reading::read_bytes;
use chartproof::inside::report::answer::{AnswerOnPage, page};
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use chartproof::inside::writing::musicxml;
use std::path::Path;

fn keyed(melody: &str, technique: &str, section: &str, keys: &str) -> Vec<(String, Answer)> {
    let request = Request {
        section: Some(section.to_owned()),
        ..Request::new(Technique::named(technique).unwrap())
    };
    let keys: Keys = keys.parse().unwrap();
    voice_in_keys(&read(melody), &Style::default(), &request, &keys)
        .into_iter()
        .map(|KeyedAnswer { key, answer }| {
            let answer = answer.unwrap_or_else(|e| panic!("{key}: {e}"));
            (key, answer)
        })
        .collect()
}

fn together(keys: &[(String, Answer)]) -> Answer {
    let keys: Vec<(String, &Answer)> = keys.iter().map(|(k, a)| (k.clone(), a)).collect();
    joined(&keys).unwrap()
}

#[test]
fn all_keys_come_in_the_order_of_the_circle_of_fourths() {
    // Published: the circle of fourths is in any handbook of jazz harmony.
    let names = |keys: &str| -> Vec<String> {
        keyed(MELODY, "drop 2", "saxes", keys)
            .into_iter()
            .map(|(k, _)| k)
            .collect()
    };
    let all = "F Bb Eb Ab Db Gb B E A D G C";
    let all: Vec<String> = all.split(' ').map(|k| format!("{k} major")).collect();
    assert_eq!(names("all"), all);
    assert_eq!(names("c, Ab"), ["C major", "Ab major"]);
    assert!("F, H".parse::<Keys>().is_err());
}

/// The lead of an answer: sounding pitches with their lengths.
fn line(answer: &Answer) -> Vec<(i16, i64)> {
    let notes = answer.score.parts[0].notes.iter();
    notes.map(|n| (n.sounding.midi(), n.duration.0)).collect()
}

#[test]
fn each_key_has_the_same_melody_and_nothing_that_proof_speaks_of() {
    let style = Style::default();
    let (mut keys, mut sonorities) = (0, 0);
    for seed in 0..5_u64 {
        let (band, technique) = (seed as usize % 3, seed as usize % 3);
        let Some(made) = common::clean(seed, band, technique, 0, false, 4) else {
            continue;
        };
        let (technique, section) = (TECHNIQUES[technique].0, BANDS[band].section);
        let request = Request {
            section: Some(section.to_owned()),
            ..Request::new(Technique::named(technique).unwrap())
        };
        let answers = voice_in_keys(&read(&made.lead()), &style, &request, &Keys::All);
        let answers: Vec<(String, Answer)> = answers
            .into_iter()
            .filter_map(|k| Some((k.key, k.answer.ok()?)))
            // Where not all of it can be written, the remarks say why.
            .filter(|(_, answer)| answer.remarks.is_empty())
            .collect();
        let Some((_, first)) = answers.first() else {
            continue;
        };
        for (key, answer) in &answers {
            let by = line(answer)[0].0 - line(first)[0].0;
            let moved: Vec<(i16, i64)> = line(first).iter().map(|(m, d)| (m + by, *d)).collect();
            assert_eq!(line(answer), moved, "{key}");
        }
        let all = together(&answers);
        let xml = musicxml::write(&all.score, &musicxml::Options::default());
        let again = read_bytes(Path::new("keys.musicxml"), xml.as_bytes()).unwrap();
        for score in [&all.score, &again] {
            let proofed = proof(score, &style);
            assert_eq!(
                proofed.findings,
                [],
                "{technique} {section}\n{}",
                made.lead()
            );
            assert_eq!(proofed.inferred, []);
            sonorities += proofed.sonorities;
        }
        keys += answers.len();
    }
    assert!(
        keys > 30 && sonorities > 800,
        "{keys} keys, {sonorities} sonorities"
    );
}

#[test]
fn each_key_begins_with_its_signature_and_its_mark() {
    let keys = keyed(MELODY, "drop 2", "saxes", "F, Bb, B");
    let all = together(&keys);
    let xml = musicxml::write(&all.score, &musicxml::Options::default());
    let again = read_bytes(Path::new("keys.musicxml"), xml.as_bytes()).unwrap();
    let lead = &again.parts[0];
    let marks: Vec<(usize, &str)> = (0..)
        .zip(lead.bars.iter())
        .filter_map(|(i, b)| Some((i, b.rehearsal.as_deref()?)))
        .collect();
    assert_eq!(marks, [(0, "F major"), (6, "Bb major"), (12, "B major")]);
    // Written for an alto saxophone: a major sixth up.
    let signatures: Vec<(u32, i8)> = lead
        .keys
        .iter()
        .map(|k| (k.at.bar, k.value.fifths))
        .collect();
    assert_eq!(signatures, [(0, 2), (6, 1), (12, -4)]);
    assert!([5, 11, 16].iter().all(|&b| lead.bars[b].double_bar));
    assert_eq!(again.bars.len(), 17);
    assert_eq!(
        lead.concert_fifths(again.bars[12].start),
        5,
        "B major, not Cb"
    );
    // Every step stands where it is heard.
    let explained = explain(&all);
    assert_eq!(explained.len(), 3 * 20);
    assert!(
        explained[20].line.starts_with("D5 is a chord note of Bb6"),
        "{}",
        explained[20].line
    );
    assert_eq!(explained[20].at.bar, 6);
}

/// A pickup is filled with rests where it does not begin the sheet.
#[test]
fn a_pickup_stands_before_each_key() {
    let melody = "key: F\nmeter: 4/4\nsection: saxes\nparts: lead = alto saxophone\n\n\
                  chord | F6 - | F6 -   -  - | F6 |\ncount | 4 & | 1 2  3  4 | 1 |\n\
                  lead  | F5 G5 | A5 C6 A5 F5 | D5 |\n";
    let keys = keyed(melody, "drop 2", "saxes", "F, C, Eb");
    let all = together(&keys);
    let xml = musicxml::write(&all.score, &musicxml::Options::default());
    let again = read_bytes(Path::new("keys.musicxml"), xml.as_bytes()).unwrap();
    for score in [&all.score, &again] {
        assert_eq!(proof(score, &Style::default()).findings, []);
        let beats: Vec<String> = [4, 8]
            .map(|bar| {
                let first = score.parts[0]
                    .notes
                    .iter()
                    .find(|n| n.at.bar == bar)
                    .unwrap();
                score.beat_at(first.at).to_string()
            })
            .to_vec();
        assert_eq!(beats, ["4", "4"]);
    }
}

#[test]
fn the_page_has_a_heading_for_each_key() {
    let keys = keyed(MELODY, "drop 2", "saxes", "F, Bb");
    let sheets: Vec<AnswerOnPage<'_>> = keys
        .iter()
        .map(|(key, answer)| AnswerOnPage {
            heading: Some(key.clone()),
            score: &answer.score,
            explained: Vec::new(),
        })
        .collect();
    let page = page("Evening Bus", &sheets);
    assert!(page.contains("<h2>F major</h2>") && page.contains("<h2>Bb major</h2>"));
    assert!(!page.contains("class=\"said\""));
}
