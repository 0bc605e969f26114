//! The worked examples and the faulty cases of the trade notes, with what a proofreader must say.
//! Source label of every row: computed from the definitions of close position, the drops, the
//! doubled lead and the sixth-diminished system (published: jazz arranging texts, web lessons and a
//! guitar journal); the definitions stand in `tests/common`, apart from the program's engine.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use chartproof::inside::analysis::analyse;
use chartproof::inside::finding::{Finding, Level};
use chartproof::inside::ground::pitch::Pitch;
use chartproof::inside::proof::proof;
use chartproof::inside::reading::grid;
use chartproof::inside::score::Score;
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use std::fmt::Write as _;
use std::path::Path;

/// A column: count, chord cell, pitches from the top.
type Column<'a> = (&'a str, &'a str, &'a str);

const SAXES: [&str; 5] = [
    "alto 1 = alto saxophone",
    "alto 2 = alto saxophone",
    "tenor 1 = tenor saxophone",
    "tenor 2 = tenor saxophone",
    "baritone = baritone saxophone",
];
const TRUMPETS: [&str; 4] = [
    "trumpet 1 = trumpet",
    "trumpet 2 = trumpet",
    "trumpet 3 = trumpet",
    "trumpet 4 = trumpet",
];
const TROMBONES: [&str; 4] = [
    "trombone 1 = trombone",
    "trombone 2 = trombone",
    "trombone 3 = trombone",
    "trombone 4 = bass trombone",
];
/// High and low enough for every row that is about harmony and not about range.
const PIANO: [&str; 1] = ["piano = piano"];

fn passage(parts: &[&str], technique: &str, key: &str, columns: &[Column<'_>]) -> String {
    let mut out = format!("key: {key}\nmeter: 4/4\n");
    if !technique.is_empty() {
        let _ = writeln!(out, "technique: {technique}");
    }
    let voices = columns[0].2.split_whitespace().count();
    let chordal = parts.len() == 1;
    let parts = if chordal { parts } else { &parts[..voices] };
    let _ = writeln!(out, "parts:\n{}\n", parts.join("\n"));
    let row = |label: &str, cells: Vec<String>| format!("{label} | {} |\n", cells.join(" "));
    out += &row("chord", columns.iter().map(|c| c.1.to_owned()).collect());
    out += &row("count", columns.iter().map(|c| c.0.to_owned()).collect());
    for (i, part) in parts.iter().enumerate() {
        let label = part.split('=').next().unwrap().trim();
        out += &row(
            label,
            columns
                .iter()
                .map(|c| {
                    if chordal {
                        c.2.replace(' ', "+")
                    } else {
                        c.2.split_whitespace().nth(i).unwrap().to_owned()
                    }
                })
                .collect(),
        );
    }
    out
}

fn read(text: &str) -> Score {
    grid::read(Path::new("example.passage"), text.into()).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

fn findings(text: &str) -> Vec<Finding> {
    proof(&read(text), &Style::default()).findings
}

fn pitches(list: &[Pitch]) -> String {
    let names: Vec<String> = list.iter().map(ToString::to_string).collect();
    names.join(" ")
}

fn midi(list: &[Pitch]) -> Vec<i16> {
    list.iter().map(|p| p.midi()).collect()
}

fn silent(id: &str, parts: &[&str], technique: &str, key: &str, columns: &[Column<'_>]) {
    let text = passage(parts, technique, key, columns);
    let found = findings(&text);
    assert!(
        found.iter().all(|f| f.level == Level::Note) && found.is_empty(),
        "{id}: {}\n{text}",
        found
            .iter()
            .map(|f| format!("{}: {}", f.rule, f.message))
            .collect::<Vec<_>>()
            .join("\n")
    );
}

/// One finding of `rule` at `beat` with this repair (compared by sounding semitones).
fn flagged(
    id: &str,
    parts: &[&str],
    technique: &str,
    key: &str,
    columns: &[Column<'_>],
    (rule, beat, repair): (&str, &str, &str),
) {
    let text = passage(parts, technique, key, columns);
    let score = read(&text);
    let found = findings(&text);
    let said: Vec<String> = found
        .iter()
        .map(|f| format!("{}: {}", f.rule, f.message))
        .collect();
    assert_eq!(found.len(), 1, "{id}: {said:#?}\n{text}");
    assert_eq!(found[0].rule, rule, "{id}: {said:#?}");
    assert_eq!(
        score.beat_at(found[0].at).to_string(),
        beat,
        "{id}: {said:#?}"
    );
    if !repair.is_empty() {
        let want: Vec<Pitch> = repair
            .split_whitespace()
            .map(|p| p.parse().unwrap())
            .collect();
        assert_eq!(
            midi(&found[0].expected),
            midi(&want),
            "{id}: {}",
            pitches(&found[0].expected)
        );
    }
}

#[test]
fn chord_notes_in_every_technique() {
    silent(
        "X1",
        &TRUMPETS,
        "four-way close",
        "C",
        &[("1", "C6", "C5 A4 G4 E4")],
    );
    silent(
        "X3",
        &SAXES,
        "doubled lead",
        "Eb",
        &[("1", "Eb6", "G4 Eb4 C4 Bb3 G3")],
    );
    silent(
        "X5",
        &SAXES,
        "drop 2 with doubled lead",
        "Bb",
        &[("1", "Bb6", "Bb4 F4 D4 Bb3 G3")],
    );
    silent("X7", &SAXES, "drop 2", "C", &[("1", "C6", "E5 A4 G4 C4")]);
    silent("X11", &SAXES, "drop 2", "C", &[("1", "G7", "F5 B4 G4 D4")]);
    silent("X14", &SAXES, "drop 2", "C", &[("1", "G13", "E5 A4 F4 B3")]);
    silent(
        "X15",
        &SAXES,
        "drop 2",
        "Cm",
        &[("1", "G7b9", "Ab5 D5 B4 F4")],
    );
    silent(
        "X16",
        &TRUMPETS,
        "four-way close",
        "C",
        &[("1", "Cmaj7", "B4 G4 E4 C4")],
    );
    silent(
        "X17",
        &SAXES,
        "drop 2",
        "C",
        &[("1", "Cmaj7", "C5 G4 E4 A3")],
    );
    silent(
        "X20",
        &SAXES,
        "drop 2",
        "Am",
        &[("1", "Bm7b5", "A4 D4 B3 F3")],
    );
    silent(
        "X23",
        &PIANO,
        "drop 3",
        "Bb",
        &[("1", "Bbmaj7", "F5 D5 A4 Bb3")],
    );
    silent(
        "X24",
        &SAXES,
        "drop 3",
        "Bb",
        &[("1", "Bb6", "D5 Bb4 F4 G3")],
    );
    silent(
        "X25",
        &SAXES,
        "drop 2 and 4",
        "Bb",
        &[("1", "F7", "Eb5 A4 C4 F3")],
    );
    silent(
        "X26",
        &SAXES,
        "drop 2 and 3",
        "Ab",
        &[("1", "Ab6", "C5 Eb4 Ab3 F3")],
    );
    silent(
        "X29",
        &TRUMPETS,
        "four-way close",
        "Bb",
        &[("1", "F7sus4", "Bb4 F4 Eb4 C4")],
    );
    silent(
        "X33",
        &TRUMPETS,
        "four-way close",
        "Ab",
        &[("1", "Eb9", "F5 Db5 Bb4 G4")],
    );
    silent(
        "X34",
        &TROMBONES,
        "drop 2",
        "Bb",
        &[("1", "F7", "Eb4 A3 F3 C3")],
    );
}

#[test]
fn held_tensions_stand_on_the_chord() {
    silent(
        "X9",
        &TRUMPETS,
        "four-way close",
        "F",
        &[("1", "Dm7", "E5 C5 A4 F4"), ("3", "-", "D5 C5 A4 F4")],
    );
    silent(
        "X10",
        &PIANO,
        "four-way close",
        "F",
        &[("1", "Dm7", "G5 D5 C5 A4"), ("3", "-", "F5 D5 C5 A4")],
    );
}

#[test]
fn passing_notes_stand_on_their_diminished_seventh() {
    silent(
        "X2",
        &TRUMPETS,
        "four-way close",
        "C",
        &[
            ("1", "C6", "C5 A4 G4 E4"),
            ("&", "-", "D5 B4 Ab4 F4"),
            ("2", "-", "E5 C5 A4 G4"),
        ],
    );
    silent(
        "X4",
        &SAXES,
        "doubled lead",
        "Eb",
        &[
            ("1", "Eb6", "G4 Eb4 C4 Bb3 G3"),
            ("&", "-", "F4 D4 Cb4 Ab3 F3"),
            ("2", "-", "Eb4 C4 Bb3 G3 Eb3"),
        ],
    );
    silent(
        "X6",
        &SAXES,
        "drop 2 + double lead",
        "Bb",
        &[
            ("1", "Bb6", "Bb4 F4 D4 Bb3 G3"),
            ("&", "-", "C5 Gb4 Eb4 C4 A3"),
            ("2", "-", "D5 G4 F4 D4 Bb3"),
        ],
    );
    silent(
        "X8",
        &PIANO,
        "four-way close",
        "F",
        &[
            ("1", "Dm7", "F5 D5 C5 A4"),
            ("&", "-", "E5 Db5 Bb4 G4"),
            ("2", "-", "D5 C5 A4 F4"),
        ],
    );
    silent(
        "X12",
        &TRUMPETS,
        "four-way close",
        "C",
        &[
            ("1", "G7", "G4 F4 D4 B3"),
            ("&", "-", "A4 F#4 Eb4 C4"),
            ("2", "-", "B4 G4 F4 D4"),
        ],
    );
    silent(
        "X13",
        &PIANO,
        "four-way close",
        "C",
        &[
            ("1", "G7", "A5 F5 D5 B4"),
            ("&", "-", "G5 E5 C#5 Bb4"),
            ("2", "-", "F5 D5 B4 G4"),
        ],
    );
    silent(
        "X18",
        &PIANO,
        "four-way close",
        "Cm",
        &[
            ("1", "Cm6", "Eb5 C5 A4 G4"),
            ("&", "-", "F5 D5 B4 Ab4"),
            ("2", "-", "G5 Eb5 C5 A4"),
        ],
    );
    silent(
        "X19",
        &TRUMPETS,
        "four-way close",
        "Am",
        &[
            ("1", "Am6", "E5 C5 A4 F#4"),
            ("&", "-", "D5 B4 G#4 F4"),
            ("2", "-", "C5 A4 F#4 E4"),
        ],
    );
    silent(
        "X21",
        &TRUMPETS,
        "four-way close",
        "Am",
        &[
            ("1", "Bm7b5", "A4 F4 D4 B3"),
            ("&", "-", "G4 E4 C#4 Bb3"),
            ("2", "-", "F4 D4 B3 A3"),
        ],
    );
    silent(
        "X22",
        &PIANO,
        "drop 2",
        "Ab",
        &[
            ("1", "Fm7", "Eb5 Ab4 F4 C4"),
            ("&", "-", "Db5 G4 Fb4 Bb3"),
            ("2", "-", "C5 F4 Eb4 Ab3"),
        ],
    );
    silent(
        "X27",
        &PIANO,
        "four-way close",
        "F",
        &[
            ("1", "C7b5", "E5 C5 Bb4 Gb4"),
            ("&", "-", "F5 D5 B4 Ab4"),
            ("2", "-", "Gb5 E5 C5 Bb4"),
        ],
    );
    silent(
        "X28",
        &SAXES,
        "four-way close",
        "Bb",
        &[
            ("1", "Ebdim7", "Gb4 Eb4 C4 A3"),
            ("&", "-", "F4 D4 Cb4 Ab3"),
            ("2", "-", "Eb4 C4 A3 Gb3"),
        ],
    );
}

#[test]
fn other_approach_chords_are_the_trades_too() {
    silent(
        "X30",
        &PIANO,
        "four-way close",
        "C",
        &[
            ("1", "C6", "C5 A4 G4 E4"),
            ("&", "-", "D#5 B4 G#4 F#4"),
            ("2", "-", "E5 C5 A4 G4"),
        ],
    );
    silent(
        "X31",
        &PIANO,
        "four-way close",
        "C",
        &[
            ("1", "C6", "E5 C5 A4 G4"),
            ("&", "-", "C#5 Bb4 G4 E4"),
            ("2", "Dm7", "D5 C5 A4 F4"),
        ],
    );
    silent(
        "X32",
        &PIANO,
        "four-way close",
        "C",
        &[
            ("1", "Em7", "B4 G4 E4 D4"),
            ("2&", "-", "D5 C5 A4 F4"),
            ("3", "-", "E5 D5 B4 G4"),
        ],
    );
}

#[test]
fn a_scale_over_one_sixth_chord() {
    let counts = ["1", "&", "2", "&", "3", "&", "4", "&"];
    let close = [
        "C5 A4 G4 E4 C4",
        "D5 B4 Ab4 F4 D4",
        "E5 C5 A4 G4 E4",
        "F5 D5 B4 Ab4 F4",
        "G5 E5 C5 A4 G4",
        "Ab5 F5 D5 B4 Ab4",
        "A5 G5 E5 C5 A4",
        "B5 Ab5 F5 D5 B4",
    ];
    let columns: Vec<Column<'_>> = counts
        .iter()
        .zip(close)
        .enumerate()
        .map(|(i, (c, v))| (*c, if i == 0 { "C6" } else { "-" }, v))
        .collect();
    // The last passing note wants its target.
    silent(
        "run, doubled lead",
        &PIANO,
        "doubled lead",
        "C",
        &columns[..7],
    );
    let drop = [
        "C5 G4 E4 A3",
        "D5 Ab4 F4 B3",
        "E5 A4 G4 C4",
        "F5 B4 Ab4 D4",
        "G5 C5 A4 E4",
        "Ab5 D5 B4 F4",
        "A5 E5 C5 G4",
    ];
    let columns: Vec<Column<'_>> = counts
        .iter()
        .zip(drop)
        .enumerate()
        .map(|(i, (c, v))| (*c, if i == 0 { "C6" } else { "-" }, v))
        .collect();
    silent("run, drop 2", &PIANO, "drop 2", "C", &columns);
    silent("run, inferred", &PIANO, "", "C", &columns);
}

#[test]
fn free_writing_is_left_alone() {
    silent("X35", &SAXES, "", "C", &[("1", "G13", "A4 E4 B3 F3 G2")]);
    silent("X36", &TROMBONES, "", "C", &[("1", "Dm9", "E4 C4 F3 D2")]);
    silent("X37", &PIANO, "", "C", &[("1", "C6/9", "G5 D5 A4 E4 B3")]);
    silent("X38", &PIANO, "", "C", &[("1", "Dm11", "A4 F4 C4 G3 D3")]);
    silent(
        "X39",
        &PIANO,
        "",
        "F",
        &[("1", "C13#11", "A4 F#4 D4 Bb3 E3")],
    );
    silent("X40", &PIANO, "", "C", &[("1", "G13b9", "E5 B4 G#4 F4 B3")]);
    silent(
        "X41",
        &TRUMPETS,
        "",
        "C",
        &[("1", "Fmaj7#11", "E5 C5 B4 A4")],
    );
    silent(
        "X42",
        &TRUMPETS,
        "",
        "C",
        &[
            ("1", "Dm7", "A4 F4 C4"),
            ("2", "G9", "A4 F4 B3"),
            ("3", "Cmaj7", "G4 E4 B3"),
        ],
    );
}

#[test]
fn another_voice_dropped() {
    flagged(
        "F1",
        &SAXES,
        "drop 2",
        "C",
        &[("1", "C6", "E5 C5 G4 A3")],
        ("wrong-voice-dropped", "1", "E5 A4 G4 C4"),
    );
    flagged(
        "F19",
        &SAXES,
        "",
        "C",
        &[
            ("1", "C6", "C5 G4 E4 A3"),
            ("&", "-", "E5 A4 G4 C4"),
            ("2", "-", "C5 G4 E4 A3"),
            ("3", "-", "G5 E5 C5 A4"),
            ("4", "-", "E5 A4 G4 C4"),
        ],
        ("wrong-voice-dropped", "3", "G5 C5 A4 E4"),
    );
}

#[test]
fn a_passing_note_on_the_chord() {
    flagged(
        "F2",
        &TRUMPETS,
        "four-way close",
        "C",
        &[
            ("1", "C6", "C5 A4 G4 E4"),
            ("&", "-", "D5 A4 G4 E4"),
            ("2", "-", "E5 C5 A4 G4"),
        ],
        ("passing-diminished", "1-and", "D5 B4 Ab4 F4"),
    );
}

#[test]
fn doubling_off_the_lead() {
    flagged(
        "F3",
        &SAXES,
        "doubled lead",
        "Eb",
        &[("1", "Eb6", "G4 Eb4 C4 Bb3 Ab3")],
        ("lead-doubling", "1", "G4 Eb4 C4 Bb3 G3"),
    );
}

#[test]
fn rubs_that_a_technique_makes() {
    flagged(
        "F4",
        &SAXES,
        "drop 2",
        "C",
        &[("1", "Cmaj7", "C5 G4 E4 B3")],
        ("minor-ninth", "1", "C5 G4 E4 A3"),
    );
    flagged(
        "F5",
        &SAXES,
        "drop 3",
        "Bb",
        &[("1", "Bbmaj7", "D5 Bb4 F4 A3")],
        ("minor-ninth", "1", "D5 Bb4 F4 G3"),
    );
    silent("F6", &SAXES, "", "Cm", &[("1", "G7b9", "Ab4 F4 B3 G3")]);
    flagged(
        "F7",
        &SAXES,
        "drop 2",
        "C",
        &[("1", "G13", "F5 B4 G4 E4")],
        ("minor-ninth", "1", "F5 B4 G4 D4"),
    );
    flagged(
        "F8",
        &TRUMPETS,
        "four-way close",
        "C",
        &[("1", "Cmaj7", "C5 B4 G4 E4")],
        ("semitone-under-lead", "1", "C5 A4 G4 E4"),
    );
}

#[test]
fn notes_the_instrument_has_not() {
    flagged(
        "F11",
        &SAXES,
        "",
        "Eb",
        &[("1", "Bb6", "Bb5 F5 D5 G4")],
        ("written-range", "1", ""),
    );
    flagged(
        "F12",
        &SAXES,
        "",
        "E",
        &[("1", "E6", "E4 C#4 B3 G#3 B1")],
        ("written-range", "1", ""),
    );
}

#[test]
fn seats_out_of_order() {
    flagged(
        "F14",
        &SAXES,
        "",
        "C",
        &[
            ("1", "C6", "C5 A4 G4 E4"),
            ("2", "-", "E4 G4 C4 A3"),
            ("3", "-", "E5 C5 A4 G4"),
            ("4", "-", "C5 A4 G4 E4"),
        ],
        ("lead-not-on-top", "2", "G4 E4 C4 A3"),
    );
}

/// Free writing is not only left alone: each voicing is named, and right where its name is stated.
#[test]
fn free_writing_is_recognised_and_accepted_by_name() {
    type Row = (
        &'static str,
        &'static [&'static str],
        &'static str,
        &'static str,
        &'static [Column<'static>],
    );
    let rows: [Row; 8] = [
        (
            "X35",
            &SAXES,
            "spread",
            "C",
            &[("1", "G13", "A4 E4 B3 F3 G2")],
        ),
        (
            "X36",
            &TROMBONES,
            "spread",
            "C",
            &[("1", "Dm9", "E4 C4 F3 D2")],
        ),
        (
            "X37",
            &PIANO,
            "fourths",
            "C",
            &[("1", "C6/9", "G5 D5 A4 E4 B3")],
        ),
        (
            "X38",
            &PIANO,
            "fourths",
            "C",
            &[("1", "Dm11", "A4 F4 C4 G3 D3")],
        ),
        (
            "X39",
            &PIANO,
            "upper structure",
            "F",
            &[("1", "C13#11", "A4 F#4 D4 Bb3 E3")],
        ),
        (
            "X40",
            &PIANO,
            "upper structure",
            "C",
            &[("1", "G13b9", "E5 B4 G#4 F4 B3")],
        ),
        (
            "X41",
            &TRUMPETS,
            "cluster",
            "C",
            &[("1", "Fmaj7#11", "E5 C5 B4 A4")],
        ),
        (
            "X42",
            &TRUMPETS,
            "three-part",
            "C",
            &[
                ("1", "Dm7", "A4 F4 C4"),
                ("2", "G9", "A4 F4 B3"),
                ("3", "Cmaj7", "G4 E4 B3"),
            ],
        ),
    ];
    for (id, parts, technique, key, columns) in rows {
        silent(id, parts, technique, key, columns);
        for stated in ["", technique] {
            let score = read(&passage(parts, stated, key, columns));
            let named = &analyse(&score, &Style::default())[0].sonorities;
            assert_eq!(named.len(), columns.len(), "{id}");
            for sonority in named {
                // Four different notes inside an octave are close position, too.
                let name = sonority.technique.map(Technique::name);
                let also = (id == "X41" && stated.is_empty()).then_some("four-way close");
                assert!(
                    name == Some(technique) || name == also,
                    "{id}, stated: {stated:?}, named {name:?}"
                );
                if !stated.is_empty() {
                    assert_eq!(
                        sonority.in_force.map(Technique::name),
                        Some(technique),
                        "{id}"
                    );
                }
                assert!(!sonority.slip, "{id}");
            }
        }
    }
}

/// Rows that no rule of technique speaks of: rule and level, and every word the row asks for.
fn said(
    id: &str,
    (parts, key, columns): (&[&str], &str, &[Column<'_>]),
    (rule, level): (&str, Level),
    words: &[&str],
) -> Finding {
    let text = passage(parts, "", key, columns);
    let found = findings(&text);
    let lines: Vec<String> = found
        .iter()
        .map(|f| format!("{:?} {}: {}", f.level, f.rule, f.message))
        .collect();
    assert_eq!(found.len(), 1, "{id}: {lines:#?}\n{text}");
    assert_eq!(
        (found[0].rule, found[0].level),
        (rule, level),
        "{id}: {lines:#?}"
    );
    for word in words {
        assert!(found[0].message.contains(word), "{id}: {word}: {lines:#?}");
    }
    found.into_iter().next().unwrap()
}

#[test]
fn chords_too_low() {
    said(
        "F9",
        (&TROMBONES, "Am", &[("1", "Bm7b5", "A3 F3 D3 B2")]),
        ("low-interval", Level::Note),
        &["minor third", "B2", "C3"],
    );
    // The worse of its two intervals is told: a minor third eight semitones under its limit.
    said(
        "F10",
        (&TROMBONES, "C", &[("1", "C", "E3 C3 G2 E2")]),
        ("low-interval", Level::Warning),
        &["minor third", "E2", "C3"],
    );
    silent(
        "F10 mended",
        &TROMBONES,
        "",
        "C",
        &[("1", "C", "C4 E3 G2 C2")],
    );
}

#[test]
fn guide_tones_that_sound_nowhere() {
    let found = said(
        "F20",
        (&SAXES, "C", &[("1", "Dm7", "D5 A4 D4 A3")]),
        ("missing-guide-tone", Level::Warning),
        &["F and C"],
    );
    assert!(found.suggestion.is_some(), "{found:?}");
    silent(
        "F20 mended",
        &SAXES,
        "",
        "C",
        &[("1", "Dm7", "D5 A4 F4 C4")],
    );
}

/// The findings of one rule on a passage with signs on its page: bar, beat, message.
fn on_the_page(text: &'static str, rule: &str) -> Vec<(String, String, String)> {
    let score =
        chartproof::inside::rules::Example::score(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    let found = proof(&score, &Style::default()).findings;
    let loud: Vec<&Finding> = found.iter().filter(|f| f.level >= Level::Warning).collect();
    assert!(loud.iter().all(|f| f.rule == rule), "{rule}: {loud:#?}");
    loud.iter()
        .map(|f| {
            (
                score.bar_number(f.at.bar),
                score.beat_at(f.at).to_string(),
                f.message.clone(),
            )
        })
        .collect()
}

#[test]
fn faults_on_the_page() {
    // Faulty cases F13, F15 to F18, F21 and F22 of the trade notes; source labels of the rules they
    // rest on stand in the rules.
    let f13 = on_the_page(
        "key: Eb major\nmeter: 4/4\nparts: alto 1 = alto saxophone\ntenor 1 = tenor saxophone\n\
         baritone = baritone saxophone\n\ncount | 1 3 |\nalto 1 | G4 Bb4 |\ntenor 1 | Eb4 G4 |\n\
         baritone | Bb3 Eb4 |\non the page:\ntenor 1, bar 1: key -3\n",
        "key-signature-agreement",
    );
    assert_eq!(f13.len(), 1, "F13 {f13:?}");
    assert!(f13[0].2.contains("1 flat"), "F13 {f13:?}");

    let f15 = on_the_page(
        "meter: 4/4\nparts: trumpet 1 = trumpet\n\ncount | 1 2 3 | 1 |\ntrumpet 1 | C5 D5 E5 | C5 |\n\
         on the page:\ntrumpet 1, bar 1, beat 1: dynamic mf\ntrumpet 1, bar 1, beat 3: lasts 3\n",
        "bar-length",
    );
    assert_eq!(f15.len(), 1, "F15 {f15:?}");
    assert!(f15[0].2.contains("5 beats"), "F15 {f15:?}");

    let f16 = on_the_page(
        "meter: 4/4\nparts: trumpet 1 = trumpet\n\n\
         count | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 1 |\n\
         trumpet 1 | . | . | . | . | . | . | . | . | . | . | . | . | C5 |\n\
         on the page:\ntrumpet 1, bar 1: multi-bar rest 12\ntrumpet 1, bar 9: rehearsal mark B\n\
         trumpet 1, bar 13, beat 1: dynamic mf\n",
        "multi-rest",
    );
    assert_eq!(f16.len(), 1, "F16 {f16:?}");

    let f17 = on_the_page(
        "key: F major\nmeter: 4/4\nparts: trombone 2 = trombone\n\ncount | 1 3 |\n\
         trombone 2 | D4+F4 C4 |\non the page:\ntrombone 2, bar 1, beat 1: dynamic mf\n",
        "double-stop",
    );
    assert_eq!(f17.len(), 1, "F17 {f17:?}");
    assert_eq!((f17[0].0.as_str(), f17[0].1.as_str()), ("1", "1"));

    let f18 = on_the_page(
        "key: C major\nmeter: 4/4\nsection: saxes\nparts: alto 1 = alto saxophone\n\
         alto 2 = alto saxophone\ntenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\n\n\
         chord | C6 - - - - | C6 - - - - |\ncount | 1 2 3 & 4 | 1 2 3 & 4 |\n\
         alto 1 | C5 E5 G5 - E5 | C5 E5 G5 - E5 |\nalto 2 | A4 C5 E5 - C5 | A4 C5 E5 - C5 |\n\
         tenor 1 | G4 A4 C5 - A4 | G4 A4 C5 - A4 |\ntenor 2 | E4 G4 A4 A4 G4 | E4 G4 A4 - G4 |\n",
        "rhythm-unison",
    );
    assert_eq!(f18.len(), 1, "F18 {f18:?}");
    assert!(f18[0].2.contains("tenor 2"), "F18 {f18:?}");

    let f21 = on_the_page(
        "key: Eb major\nmeter: 4/4\nparts: trombone 1 = trombone\n\ncount | 1 3 |\n\
         trombone 1 | G4 Ab4 |\non the page:\ntrombone 1, bar 1, beat 1: dynamic mf\n\
         trombone 1, bar 1, beat 1: tie starts\ntrombone 1, bar 1, beat 3: tie ends\n",
        "tie-mismatch",
    );
    assert_eq!(f21.len(), 1, "F21 {f21:?}");

    let f22 = on_the_page(
        "key: C major\nmeter: 4/4\nsection: trumpets\nparts: trumpet 1 = trumpet\n\
         trumpet 2 = trumpet\ntrumpet 3 = trumpet\ntrumpet 4 = trumpet\n\ncount | 1 2 3 4 |\n\
         trumpet 1 | E5 F5 G5 F5 |\ntrumpet 2 | C5 D5 E5 D5 |\ntrumpet 3 | A4 B4 C5 B4 |\n\
         trumpet 4 | G4 A4 B4 A4 |\non the page:\ntrumpet 1, bar 1, beat 1: dynamic f\n\
         trumpet 2, bar 1, beat 1: dynamic f\ntrumpet 3, bar 1, beat 1: dynamic mf\n\
         trumpet 4, bar 1, beat 1: dynamic f\n",
        "dynamic-agreement",
    );
    assert_eq!(f22.len(), 1, "F22 {f22:?}");
    assert!(f22[0].2.contains("trumpet 3"), "F22 {f22:?}");
}
