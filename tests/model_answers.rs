//! The model answer on generated leads: what `voice` makes, `proof` has nothing to say about, both
//! in memory and when it is written out and read again.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::common::{self, BANDS, Made, TECHNIQUES};
use chartproof::inside::ground::time::Ticks;
use chartproof::inside::model_answer::{Request, VoiceError, voice};
use chartproof::inside::proof::proof;
use chartproof::inside::reading::{grid, read_bytes};
use chartproof::inside::score::NoteRef;
use chartproof::inside::score::{NoteFlags, Score};
use chartproof::inside::sonority::{sections, slice};
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use chartproof::inside::writing;
use std::path::Path;

fn read(text: &str) -> Score {
    grid::read(Path::new("lead.passage"), text.into()).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

fn request(technique: &str, section: &str) -> Request {
    Request {
        section: Some(section.to_owned()),
        ..Request::new(Technique::named(technique).unwrap())
    }
}

/// Leads that stand in the range of some section, in all keys, from a maker of passages.
fn leads(
    maker: fn(u64, usize, usize, usize, bool, usize) -> Option<Made>,
) -> impl Iterator<Item = Made> {
    (0..).flat_map(move |round| {
        (0..BANDS.len()).filter_map(move |band| {
            let technique = (round + band) % TECHNIQUES.len();
            let key = (round * 5 + band) % 12;
            (0..40).find_map(|again| {
                let seed = (round * 613 + band * 17 + again * 7919) as u64;
                maker(seed, band, technique, key, false, 4)
            })
        })
    })
}

#[test]
fn two_hundred_leads_in_six_techniques_give_no_finding() {
    let techniques = [
        "four-way close",
        "doubled lead",
        "drop 2",
        "drop 3",
        "drop 2 & 4",
        "drop 2 with doubled lead",
    ];
    let (mut voiced, mut stuck, mut own) = (0, 0, 0);
    for made in leads(common::clean).take(200) {
        let score = read(&made.lead());
        let section = BANDS[made.band].section;
        for technique in techniques {
            let asked = Request {
                strict: true,
                ..request(technique, section)
            };
            let answer = voice(&score, &Style::default(), &asked);
            match answer {
                Ok(answer) => {
                    let found = proof(&answer.score, &Style::default()).findings;
                    assert_eq!(found, [], "{technique}\n{}", made.lead());
                    voiced += 1;
                    own += usize::from(technique == TECHNIQUES[made.technique].0);
                }
                // A lead made for one technique may lie too low or too high for another: then the
                // answer says where.
                Err(VoiceError::NothingFits(_)) => {
                    assert_ne!(
                        technique,
                        TECHNIQUES[made.technique].0,
                        "the lead was made for it\n{}",
                        made.grid()
                    );
                    stuck += 1;
                }
                Err(VoiceError::WrongSize { .. }) => {}
                Err(other) => panic!("{technique}: {other}\n{}", made.lead()),
            }
        }
    }
    println!("{voiced} voiced, {stuck} with no right voicing, {own} in the lead's own technique");
    assert!(voiced >= 600, "{voiced} voiced, {stuck} stuck");
    assert!(own >= 100, "{own}");
}

#[test]
fn answers_are_clean_when_they_are_written_and_read_again() {
    let held = leads(common::held).take(24);
    for (n, made) in leads(common::clean).take(24).chain(held).enumerate() {
        let technique = TECHNIQUES[made.technique].0;
        let section = BANDS[made.band].section;
        let score = read(&made.lead());
        let answer = match voice(&score, &Style::default(), &request(technique, section)) {
            Ok(answer) => answer.score,
            Err(VoiceError::WrongSize { .. }) => continue,
            Err(e) => panic!("{e}"),
        };
        let xml = writing::musicxml::write(&answer, &writing::musicxml::Options::default());
        let again = read_bytes(Path::new("answer.musicxml"), xml.as_bytes()).unwrap();
        let cells = if n % 2 == 0 {
            writing::grid::Cells::Written
        } else {
            writing::grid::Cells::Sounding
        };
        let text = writing::grid::write(&answer, cells).unwrap();
        for score in [again, read(&text)] {
            let proofed = proof(&score, &Style::default());
            assert_eq!(proofed.findings, [], "{text}");
            assert_eq!(proofed.inferred, [], "the technique is stated\n{text}");
            assert!(proofed.sonorities > 0);
        }
    }
}

/// The notes of a part that begin at a time, and whether one of them is tied to what was before.
fn starting(score: &Score, part: usize, onset: Ticks) -> Option<bool> {
    let mut at = score.parts[part].notes.iter().filter(|n| n.onset == onset);
    let first = at.next()?;
    Some(first.flags.has(NoteFlags::TIED_IN) || at.any(|n| n.flags.has(NoteFlags::TIED_IN)))
}

#[test]
fn where_the_chord_changes_under_a_held_lead_the_other_voices_go_with_it() {
    let (mut changes, mut moved) = (0, 0);
    for made in leads(common::held).take(150) {
        let score = read(&made.lead());
        let band = &BANDS[made.band];
        let request = request(TECHNIQUES[made.technique].0, band.section);
        let answer = match voice(&score, &Style::default(), &request) {
            Ok(answer) => answer.score,
            Err(VoiceError::WrongSize { .. }) => continue,
            Err(e) => panic!("{e}\n{}", made.lead()),
        };
        assert_eq!(proof(&answer, &Style::default()).findings, []);
        let leads = |score: &Score, part: usize| -> Vec<(i64, i64, i16)> {
            let sonorities = slice(score, &sections(score)[0]);
            let tops = sonorities
                .iter()
                .map(|s| s.voices[0])
                .filter(|v| v.attacked);
            let of = |n: NoteRef| score.parts[part].notes[n.note as usize].onset.0;
            tops.map(|v| (of(v.note), v.end.0, v.midi)).collect()
        };
        assert_eq!(answer.per_quarter, score.per_quarter);
        assert_eq!(leads(&answer, 0), leads(&score, 0), "{}", made.lead());
        let bar = answer.per_quarter.times(4);
        for e in made.events.iter().filter(|e| !e.tied.is_empty()) {
            let onset = bar.times(e.bar as i64) + Ticks(answer.per_quarter.0 * e.at as i64 / 2);
            changes += 1;
            let lower = usize::from(!band.chordal);
            let struck = starting(&answer, lower, onset).is_some();
            moved += usize::from(struck);
            // The lead's own player has one note, tied where its bar line or its chord asks for it.
            assert_ne!(starting(&answer, 0, onset), Some(false), "{}", made.lead());
        }
    }
    println!("{moved} of {changes} changes voiced anew");
    // The others have a voicing that is right for both chords.
    assert!(
        changes >= 200 && moved * 10 >= changes * 9,
        "{moved} of {changes}"
    );
}

#[test]
fn every_form_is_made_and_comes_back_clean() {
    let lead = "title: Harbour Steps\nkey: F major\nmeter: 4/4\nsection: saxes\n\
                parts: alto 1 = alto saxophone\n\n\
                chord  | F6 - - - - -  | Gm7 - - C7 - - | F6 - - Dm7 - | Gm7 - C7 - |\n\
                count  | 1 & 2 & 3 4   | 1 & 2 3 & 4    | 1 & 2 3 4    | 1 2 3 4    |\n\
                alto 1 | A4 Bb4 C5 D5 C5 A4 | D5 E5 F5 E5 D5 E5 | C5 Bb4 A4 F4 A4 | Bb4 D5 Bb4 E5 |\n";
    let score = read(lead);
    for technique in [
        "five-note soli",
        "fourths",
        "cluster",
        "three-part",
        "two-part",
        "octaves",
        "spread",
        "upper structure",
    ] {
        let answer = voice(&score, &Style::default(), &request(technique, "saxes"))
            .unwrap_or_else(|e| panic!("{technique}: {e}"))
            .score;
        let found = proof(&answer, &Style::default()).findings;
        assert_eq!(found, [], "{technique}");
        let leads: Vec<i16> = answer.parts[0]
            .notes
            .iter()
            .map(|n| n.sounding.midi())
            .collect();
        let given: Vec<i16> = score.parts[0]
            .notes
            .iter()
            .map(|n| n.sounding.midi())
            .collect();
        assert_eq!(leads, given, "{technique} keeps the lead");
    }
}

#[test]
fn where_nothing_fits_it_says_where_and_what_would_help() {
    let low = "key: C major\nmeter: 4/4\nsection: trumpets\nparts: trumpet 1 = trumpet\n\n\
               chord     | C6 -  -  |\ncount     | 1  2  3  |\ntrumpet 1 | C5 E4 C5 |\n";
    let strict = Request {
        strict: true,
        ..request("drop 2", "trumpets")
    };
    let error = voice(&read(low), &Style::default(), &strict)
        .unwrap_err()
        .to_string();
    assert!(error.contains("bar 1, beat 2"), "{error}");
    assert!(error.contains("move it up"), "{error}");
    let no_chords = "meter: 2/4\nsection: saxes\nparts: alto 1 = alto saxophone\n\n\
                     count  | 1  2  |\nalto 1 | C5 D5 |\n";
    let error = voice(
        &read(no_chords),
        &Style::default(),
        &request("drop 2", "saxes"),
    )
    .unwrap_err();
    assert_eq!(error, VoiceError::NoChords);
}

#[test]
fn a_change_that_nothing_can_be_written_at_is_named() {
    // The lead is held into a chord that has no voicing within the ranges; the one before has notes that
    // are foreign to it.
    let lead = |key: &str, chords: [&str; 3], notes: [&str; 3]| {
        let ([first, change, last], [up, held, down]) = (chords, notes);
        format!(
            "key: {key}\nmeter: 4/4\nsection: voices\nparts: lead = soprano\n\n\
             chord | {first} - | {change} {last} |\ncount | 1 3 | 1 3 |\n\
             lead  | {up} {held} | - {down} |\n"
        )
    };
    let voiced = |text: &str, technique: &str| {
        let asked = Request {
            strict: true,
            ..request(technique, "voices")
        };
        voice(&read(text), &Style::default(), &asked)
    };
    let cases = [
        ("C", "drop 3", ["G7", "Abmaj7", "Cmaj7"], ["D5", "F5", "D5"]),
        ("C", "drop 2", ["G7", "Abmaj7", "Cmaj7"], ["D5", "F5", "D5"]),
        (
            "G",
            "four-way close",
            ["D7", "Ebmaj7", "Gmaj7"],
            ["A4", "C5", "A4"],
        ),
    ];
    for (key, technique, chords, notes) in cases {
        let text = lead(key, chords, notes);
        let expected = VoiceError::Change {
            bar: "2".to_owned(),
            beat: "1".to_owned(),
            lead: notes[1].to_owned(),
            chord: chords[1].to_owned(),
        };
        assert_eq!(voiced(&text, technique).unwrap_err(), expected, "{text}");
        // Without the change the same notes are voiced, and so they are where the old chord goes on.
        let [first, _, last] = chords;
        let text = lead(key, [first, first, last], notes);
        assert!(voiced(&text, technique).is_ok(), "{text}");
    }
}
