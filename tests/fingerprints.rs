//! Fingerprints over generated mistakes and a whole chart: what must leave them as they are, and what
//! must tell them apart.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::common::{self, BANDS, Made, SLIPS, TECHNIQUES};
use chartproof::inside::finding::Finding;
use chartproof::inside::proof::fingerprint::{Known, Print, prints};
use chartproof::inside::proof::proof;
use chartproof::inside::reading::grid;
use chartproof::inside::score::Score;
use chartproof::inside::style::Style;
use std::fmt::Write as _;
use std::path::Path;

/// Every finding's rule, bar, beat and print.
fn found(score: &Score) -> Vec<(&'static str, u32, String, Print)> {
    let proofed = proof(score, &Style::default());
    let mut all: Vec<&Finding> = proofed.findings.iter().collect();
    all.sort_by_key(|f| f.at);
    all.iter()
        .zip(prints(score, &all))
        .map(|(f, print)| (f.rule, f.at.bar, score.beat_at(f.at).to_string(), print))
        .collect()
}

fn read(text: &str) -> Score {
    grid::read(Path::new("generated.passage"), text.into())
        .unwrap_or_else(|e| panic!("{e}\n{text}"))
}

/// The print of the slip that was put in.
fn print_of(text: &str, rule: &str, bar: usize, beat: &str) -> Option<Print> {
    let mut all = found(&read(text)).into_iter();
    all.find(|(r, b, t, _)| *r == rule && *b as usize == bar && t == beat)
        .map(|(_, _, _, print)| print)
}

fn transposed(made: &Made, semitones: i16) -> Made {
    let mut made = made.clone();
    made.key = (made.key as i16 + semitones).rem_euclid(12) as usize;
    for event in &mut made.events {
        event.root = (event.root + semitones).rem_euclid(12);
        event.lead += semitones;
        for class in &mut event.classes {
            *class = (*class + semitones).rem_euclid(12);
        }
        for voice in &mut event.voices {
            *voice += semitones;
        }
    }
    made
}

/// Passages with one slip each: the slip's rule and its event.
fn slips() -> Vec<(Made, usize, &'static str)> {
    let mut all = Vec::new();
    for technique in 0..TECHNIQUES.len() {
        for band in 0..BANDS.len() {
            for slip in 0..SLIPS.len() {
                let seed = (technique * 131 + band * 17 + slip) as u64;
                let clean = (0..20).find_map(|again| {
                    common::clean(
                        seed + again * 7919,
                        band,
                        technique,
                        (slip * 5 + band) % 12,
                        true,
                        4,
                    )
                });
                let Some(mut made) = clean else { continue };
                if let Some((at, rule)) = common::inject(&mut made, slip, seed) {
                    all.push((made, at, rule));
                }
            }
        }
    }
    all
}

#[test]
fn a_print_stays_through_every_transposition_and_through_bars_put_in_before() {
    let mut tried = 0;
    for (index, (made, at, rule)) in slips().into_iter().enumerate() {
        let event = made.events[at].clone();
        let beat = Made::beat(&event);
        let Some(print) = print_of(&made.grid(), rule, event.bar, &beat) else {
            continue;
        };
        // Every interval up to a tritone in both directions, each slip with one of them.
        let semitones = [-6, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 6][index % 12];
        let moved = transposed(&made, semitones).grid();
        // Out of its range, or in the mud, a slip may be another: then there is no such finding.
        let Some(other) = print_of(&moved, rule, event.bar, &beat) else {
            continue;
        };
        tried += 1;
        assert_eq!(other, print, "{semitones}\n{}\n{moved}", made.grid());
        // Two bars of rest in front.
        let rests = rests_in_front(&made);
        if let Some(other) = print_of(&rests, rule, event.bar + 2, &beat) {
            assert_eq!(other.about, print.about, "{rests}");
            assert!(other.near.likeness(print.near) >= 2, "{rests}");
        }
    }
    println!("{tried} transposed");
    assert!(tried > 150, "{tried}");
}

/// The passage with two bars of rest before it.
fn rests_in_front(made: &Made) -> String {
    made.grid().lines().fold(String::new(), |mut out, line| {
        let Some((label, rest)) = line.split_once('|') else {
            let _ = writeln!(out, "{line}");
            return out;
        };
        let cell = match label.trim() {
            "count" => "1",
            "chord" => "N.C.",
            _ => ".",
        };
        let _ = writeln!(out, "{label}| {cell} | {cell} |{rest}");
        out
    })
}

#[test]
fn different_slips_of_a_passage_have_different_prints() {
    let mut pairs = 0;
    for technique in 0..TECHNIQUES.len() {
        for band in 0..BANDS.len() {
            let seed = (technique * 31 + band) as u64;
            let clean = (0..20).find_map(|again| {
                common::clean(seed + again * 7919, band, technique, band, true, 4)
            });
            let Some(clean) = clean else { continue };
            let mut seen: Vec<((usize, Vec<i16>), Print)> = Vec::new();
            for slip in 0..SLIPS.len() {
                for n in 0..3 {
                    let mut made = clean.clone();
                    let Some((at, rule)) = common::inject(&mut made, slip, n * 77 + seed) else {
                        continue;
                    };
                    let event = &made.events[at];
                    let Some(print) = print_of(&made.grid(), rule, event.bar, &Made::beat(event))
                    else {
                        continue;
                    };
                    let what = (at, event.voices.clone());
                    for (other, known) in &seen {
                        if *other == what {
                            assert_eq!(*known, print);
                        } else {
                            // The same heap of notes on another beat of another bar is told by the
                            // bars around it.
                            assert_ne!(*known, print, "{}", made.grid());
                            pairs += 1;
                        }
                    }
                    seen.push((what, print));
                }
            }
        }
    }
    assert!(pairs > 1000, "{pairs}");
}

const CHART: &str = "sample-parts/mistakes/lamplighters-detour-with-mistakes.musicxml";

fn chart() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(CHART)).unwrap()
}

fn musicxml(text: &str) -> Score {
    chartproof::inside::reading::read_bytes(Path::new("chart.musicxml"), text.as_bytes()).unwrap()
}

/// How many findings of `after` are not those of `before`, with what they are.
fn new(before: &str, after: &str) -> Vec<String> {
    let mut known = Known::default();
    for (_, _, _, print) in found(&musicxml(before)) {
        known.add(print.about, Some(print.near), 0);
    }
    let after = found(&musicxml(after));
    let all: Vec<Print> = after.iter().map(|(.., print)| print.clone()).collect();
    let taken = known.take(&all);
    after
        .iter()
        .zip(taken)
        .filter(|(_, taken)| taken.is_none())
        .map(|((rule, bar, beat, _), _)| format!("{rule}, bar index {bar}, beat {beat}"))
        .collect()
}

#[test]
fn a_chart_may_be_numbered_anew_and_its_parts_change_places() {
    let text = chart();
    let count = found(&musicxml(&text)).len();
    assert!(count >= 30, "{count}");
    // Numbered from 101.
    let mut numbered = String::new();
    for (i, piece) in text.split("<measure number=\"").enumerate() {
        if i == 0 {
            numbered.push_str(piece);
            continue;
        }
        let (number, rest) = piece.split_once('"').unwrap();
        let number: u32 = number.parse().unwrap();
        let _ = write!(numbered, "<measure number=\"{}\"{rest}", number + 100);
    }
    assert_eq!(new(&text, &numbered), [""; 0]);
    // Trumpets above the saxophones.
    let start = text.find("<part id=").unwrap();
    let end = text.rfind("</score-partwise>").unwrap();
    let parts: Vec<&str> = text[start..end].split_inclusive("</part>").collect();
    let parts: Vec<&str> = parts
        .into_iter()
        .filter(|p| p.contains("<part id="))
        .collect();
    assert_eq!(parts.len(), 17);
    let moved = [&parts[5..9], &parts[..5], &parts[9..]].concat().concat();
    let list_start = text.find("<score-part id=").unwrap();
    let list_end = text.rfind("</part-list>").unwrap();
    let entries: Vec<&str> = text[list_start..list_end]
        .split_inclusive("</score-part>")
        .collect();
    let entries: Vec<&str> = entries
        .into_iter()
        .filter(|e| e.contains("<score-part "))
        .collect();
    let list = if entries.len() == 17 {
        [&entries[5..9], &entries[..5], &entries[9..]]
            .concat()
            .concat()
    } else {
        text[list_start..list_end].to_owned()
    };
    let reordered = [
        &text[..list_start],
        &list,
        &text[list_end..start],
        &moved,
        &text[end..],
    ]
    .concat();
    assert_ne!(reordered, text);
    assert_eq!(new(&text, &reordered), [""; 0]);
}

#[test]
fn four_bars_put_into_a_chart_bring_nothing_new_after_them() {
    let text = chart();
    let bar = |number: usize| {
        format!(
            "<measure number=\"{number}\"><note><rest measure=\"yes\"/><duration>8</duration><voice>1</voice></note></measure>\n"
        )
    };
    let four: String = (200..204).map(bar).collect();
    let longer = text.replace(
        "<measure number=\"1\">",
        &format!("{four}<measure number=\"1\">"),
    );
    assert_eq!(longer.matches("number=\"200\"").count(), 17);
    let new = new(&text, &longer);
    // What is new stands in the bars put in, or right after them, and is of the rests.
    let far: Vec<&String> = new
        .iter()
        .filter(|n| {
            let bar = n
                .split("bar index ")
                .nth(1)
                .unwrap()
                .split(',')
                .next()
                .unwrap();
            bar.parse::<u32>().unwrap() > 5
        })
        .collect();
    assert!(far.is_empty(), "{far:?}");
}
