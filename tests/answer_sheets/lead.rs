//! `analysis --lead`: the melody's sheet.

use super::{MELODY, read};
use chartproof::inside::model_answer::{Plan, Stands, plan};
use chartproof::inside::proof::proof;
use chartproof::inside::reading::read_bytes;
use chartproof::inside::report::plan::{PlannedFile, page, text};
use chartproof::inside::style::Style;
use chartproof::inside::writing::musicxml;
use std::path::Path;
use std::process::Command;

fn planned(melody: &str) -> Plan {
    plan(&read(melody), &Style::default(), None).unwrap()
}

fn file(plan: Plan) -> [PlannedFile; 1] {
    [PlannedFile {
        path: "evening-bus.passage".into(),
        plan,
    }]
}

#[test]
fn scales_and_notes_as_tables() {
    insta::assert_snapshot!(text(&file(planned(MELODY)), 400));
}

#[test]
fn in_musicxml_the_melody_is_the_same_and_its_plan_stands_beside_it() {
    let plan = planned(MELODY);
    let xml = musicxml::write(&plan.in_words(), &musicxml::Options::default());
    let again = read_bytes(Path::new("plan.musicxml"), xml.as_bytes()).unwrap();
    let notes = |score: &chartproof::inside::score::Score| {
        let notes = score.parts[0].notes.iter();
        notes
            .map(|n| (n.onset, n.end(), n.sounding))
            .collect::<Vec<_>>()
    };
    assert_eq!(notes(&again), notes(&read(MELODY)));
    let words = |below: bool| {
        let words = again.parts[0].words.iter();
        let words = words.filter(|w| w.value.below == below);
        words.map(|w| w.value.text.clone()).collect::<Vec<_>>()
    };
    assert_eq!(words(true).len(), plan.notes.len());
    assert_eq!(words(true)[..2], ["chord note: 3", "passing note: Edim7"]);
    assert_eq!(words(false)[0], "F sixth-diminished");
    assert_eq!(proof(&again, &Style::default()).findings, []);
}

#[test]
fn the_page_shows_each_note_that_passes() {
    let plan = planned(MELODY);
    let passing = plan
        .notes
        .iter()
        .filter(|n| n.stands == Stands::OnDiminished)
        .count();
    assert_eq!(passing, 3);
    let page = page(&file(plan));
    // Each at written and at sounding pitch.
    assert_eq!(page.matches("class=\"f\"").count(), 2 * passing);
    assert_eq!(page.matches(">F sixth-diminished<").count(), 2 * 3);
    assert!(page.contains("Bb4 is a passing note: Edim7"));
}

/// Where the chord changes under a held note, what is left of it is read under the new one.
#[test]
fn a_held_note_is_read_again_under_the_next_chord() {
    let held = "key: C\nmeter: 4/4\nparts: lead = trumpet\n\n\
                chord | C6 - | Am7 F6 |\ncount | 1 3 | 1 3 |\nlead  | G4 E4 | C5 - |\n";
    let plan = planned(held);
    let symbols: Vec<&str> = plan
        .notes
        .iter()
        .filter_map(|n| n.symbol.as_deref())
        .collect();
    assert_eq!(symbols, ["C6", "C6", "Am7", "F6"]);
    // C6 and Am7 are one scale.
    assert_eq!(plan.stretches[0].symbols, ["C6", "Am7"]);
}

/// Against the table of which chord harmonises which lead note over a sixth chord, a minor sixth, a
/// seventh, a minor seventh and a half-diminished seventh. Published: web lesson and guitar journal on
/// sixth chords and diminished sevenths; the rest of the table computed from the definitions.
#[test]
fn notes_stand_where_the_table_has_them() {
    const TABLE: [(&str, &str); 5] = [
        ("C6", "c.d.cd.cdc.d"),
        ("Cm6", "c.dc.d.cdc.d"),
        ("C7", "c.d.cd.cd.cd"),
        ("Cm7", "c.dc.d.cd.cd"),
        ("Cm7b5", "c.dc.dc.d.cd"),
    ];
    const NAMES: [&str; 12] = [
        "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
    ];
    for (symbol, row) in TABLE {
        let melody = format!(
            "key: C\nmeter: 12/4\nparts: lead = piano\n\nchord | {symbol}{}|\ncount | {}|\nlead  | {}|\n",
            " -".repeat(11) + " ",
            "1 2 3 4 5 6 7 8 9 10 11 12 ",
            NAMES.map(|n| format!("{n}5 ")).concat()
        );
        let found: String = planned(&melody)
            .notes
            .iter()
            .map(|n| match n.stands {
                Stands::OnChord => 'c',
                Stands::OnDiminished => 'd',
                _ => '.',
            })
            .collect();
        assert_eq!(found, row, "{symbol}");
    }
}

fn run(args: &[&str]) -> (i32, String, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_chartproof"))
        .args(args)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        out.status.code().unwrap(),
        text(out.stdout),
        text(out.stderr),
    )
}

#[test]
fn forms_that_it_has_not_are_refused() {
    let score = "sample-parts/low-lamps.musicxml";
    let (code, out, err) = run(&["analysis", "--lead", score]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.contains("Eb sixth-diminished"), "{out}");
    let (code, _, err) = run(&["analysis", "--lead", "--format", "json", score]);
    assert_eq!(code, 2);
    assert!(err.contains("html or musicxml"), "{err}");
    let (code, _, err) = run(&["analysis", "--format", "html", score]);
    assert_eq!(code, 2);
    assert!(err.contains("--lead"), "{err}");
    let (code, _, err) = run(&["analysis", "--lead", "--part", "Trombone 9", score]);
    assert_eq!(code, 2);
    assert!(err.contains("Trombone 1, Trombone 2"), "{err}");
    let (code, out, _) = run(&["analysis", "--lead", "--format", "musicxml", score]);
    assert_eq!(code, 0);
    assert!(out.contains("<words>passing note: Ddim7</words>"), "{out}");
}
