use super::*;
use crate::score::NoteFlags;

const HEAD: &str = "key: F major\nmeter: 4/4\nsection: saxes\nparts: alto 1 = alto saxophone\n       tenor 1 = tenor saxophone\n\n";

fn score(text: &str) -> Score {
    read(Path::new("a.passage"), text.into()).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

/// The message, the marked text, line and column of what is wrong.
fn fault(text: &str) -> (String, String, (usize, usize), Option<String>) {
    let error = read(Path::new("a.passage"), text.into()).unwrap_err();
    let at = error.at.clone().unwrap();
    (
        error.message.clone(),
        text[at].to_owned(),
        error.line_column().unwrap(),
        error.help,
    )
}

#[test]
fn columns_become_notes_at_sounding_and_written_pitch() {
    let s = score(&format!(
        "{HEAD}chord   | F6  -   -   | C7  .  |\ncount   | 1   2&  3   | 1   4  |\nalto 1  | A4> -   Bb4. | C5_ .  |\ntenor 1 | F4  G4  .   | E4^ -  |\n"
    ));
    let alto = &s.parts[0];
    assert_eq!(alto.notes.len(), 3);
    assert_eq!(alto.notes[0].sounding.to_string(), "A4");
    assert_eq!(alto.notes[0].written.to_string(), "F#5");
    assert_eq!(alto.notes[0].duration, s.per_quarter.times(2));
    assert_eq!(alto.key(crate::ground::time::Ticks::ZERO).fifths, 2);
    assert_eq!(s.chords.len(), 3);
    assert_eq!(s.chords[2].value.chord, None);
    assert_eq!(s.bars.len(), 2);
    assert_eq!(s.stated[0].value.section.as_deref(), Some("saxes"));
    let tenor = &s.parts[1];
    assert_eq!(s.beat_at(tenor.notes[1].at).to_string(), "2-and");
    assert_eq!(tenor.rests.len(), 1);
}

#[test]
fn a_hold_over_the_bar_line_is_a_tie() {
    let s = score(&format!("{HEAD}count | 1 | 1 3 |\nalto 1 | A4 | - C5 |\n"));
    let notes = &s.parts[0].notes;
    assert!(notes[0].flags.has(NoteFlags::TIED_OUT));
    assert!(notes[1].flags.has(NoteFlags::TIED_IN));
    assert_eq!(s.parts[1].rests.len(), 2);
}

#[test]
fn a_late_first_count_is_a_pickup() {
    let s = score(&format!(
        "{HEAD}count | 4 & | 1 3 |\nalto 1 | A4 Bb4 | C5 D5 |\n"
    ));
    assert!(s.bars[0].pickup);
    assert_eq!(s.bar_number(0), "0");
    assert_eq!(s.bar_number(1), "1");
    assert_eq!(s.beat_at(s.parts[0].notes[1].at).to_string(), "4-and");
    assert_eq!(s.beat_at(s.parts[0].notes[3].at).to_string(), "3");
}

#[test]
fn headers_return_between_systems() {
    let s = score(&format!(
        "{HEAD}count | 1 |\nalto 1 | A4 |\n\nmeter: 3/4\nbar: 9\ntechnique: drop 3\ncount | 1 3 |\nalto 1 | A4 B4 |\n"
    ));
    assert_eq!(s.bar_number(1), "9");
    assert_eq!(s.bars[1].length, s.per_quarter.times(3));
    assert_eq!(
        s.stated.last().unwrap().value.technique.as_deref(),
        Some("drop 3")
    );
}

#[test]
fn written_cells_sound_transposed() {
    let s = score(&format!(
        "pitch: written\n{HEAD}count | 1 |\nalto 1 | F#5 |\n"
    ));
    assert_eq!(s.parts[0].notes[0].sounding.to_string(), "A4");
}

#[test]
fn a_pianist_plays_several_notes() {
    let s = score("parts: piano = piano\n\ncount | 1 2+1/3 |\npiano | E5+C5+A4+G4> - |\n");
    assert_eq!(s.parts[0].notes.len(), 4);
    assert_eq!(s.per_quarter, crate::ground::time::Ticks(3));
}

#[test]
fn a_pianist_holds_one_note_and_strikes_the_others() {
    let rows = "meter: 4/4\nparts: piano = piano\n\ncount | 1 3 | 1 |\n\
                piano | G4+F4+B3 -G4+E4+C4. | -G4+-E4+B3 |\n";
    let s = score(rows);
    let notes: Vec<(String, bool, bool)> = s.parts[0]
        .notes
        .iter()
        .map(|n| {
            let tied = |flag| n.flags.has(flag);
            (
                n.sounding.to_string(),
                tied(NoteFlags::TIED_IN),
                tied(NoteFlags::TIED_OUT),
            )
        })
        .collect();
    let expected = [
        ("G4", false, true),
        ("F4", false, false),
        ("B3", false, false),
        ("G4", true, true),
        ("E4", false, true),
        ("C4", false, false),
        ("G4", true, false),
        ("E4", true, false),
        ("B3", false, false),
    ];
    assert_eq!(notes, expected.map(|(n, i, o)| (n.to_owned(), i, o)));
    let (message, marked, ..) = fault(&rows.replace("-G4+E4+C4.", "-A4+E4+C4"));
    assert_eq!(message, "piano, bar 1: `-A4` has nothing to hold");
    assert_eq!(marked, "A4");
    // One note is held by one; two of the same pitch are held by two.
    let (message, marked, ..) = fault(&rows.replace("-G4+E4+C4.", "-G4+-G4+C4"));
    assert_eq!(message, "piano, bar 1: `-G4` has nothing to hold");
    assert_eq!(marked, "G4");
    let twice = score(&rows.replace("G4+F4+B3 -G4+E4+C4.", "G4+G4 -G4+-G4+E4"));
    let ties = |flag| {
        twice.parts[0]
            .notes
            .iter()
            .filter(move |n| n.flags.has(flag))
    };
    assert_eq!(ties(NoteFlags::TIED_IN).count(), 4);
    assert_eq!(ties(NoteFlags::TIED_OUT).count(), 4);
}

#[test]
fn errors_point_at_row_and_cell() {
    let (message, marked, at, _) = fault(&format!(
        "{HEAD}count | 1 2 3 | 1 2 |\nalto 1 | A4 B4 C5 | A4 |\n"
    ));
    assert_eq!(message, "alto 1, bar 2: 1 cell, where the count has 2");
    assert_eq!((marked.as_str(), at), ("A4", (8, 21)));

    let (message, marked, _, _) = fault(&format!("{HEAD}count | 1 2 |\nalto 1 | A4 H4 |\n"));
    assert_eq!(message, "alto 1, bar 1: `H4` is not a pitch");
    assert_eq!(marked, "H4");

    let (message, marked, _, _) = fault(&format!("{HEAD}count | 1 5 |\nalto 1 | A4 B4 |\n"));
    assert_eq!(message, "count row, bar 1: there is no beat `5` in 4/4");
    assert_eq!(marked, "5");

    let (message, marked, _, _) = fault(&format!("{HEAD}count | 2 1 |\nalto 1 | A4 B4 |\n"));
    assert_eq!(
        message,
        "count row, bar 1: `1` does not come after the count before it"
    );
    assert_eq!(marked, "1");

    let (message, _, _, help) = fault(&format!("{HEAD}count | 1 |\nalto1 | A4 |\n"));
    assert_eq!(message, "no part is called `alto1`");
    assert_eq!(help.as_deref(), Some("did you mean `alto 1`?"));

    let (message, _, _, help) = fault("tecnique: drop 2\n");
    assert_eq!(message, "`tecnique` is not a header of a passage");
    assert_eq!(help.as_deref(), Some("did you mean `technique`?"));

    let (message, marked, _, _) = fault(&format!("{HEAD}count | 1 2 |\nalto 1 | - B4 |\n"));
    assert_eq!(message, "alto 1, bar 1: `-` has nothing to hold");
    assert_eq!(marked, "-");

    let (message, ..) = fault(&format!("{HEAD}count | 1 | 1 |\nalto 1 | A4 |\n"));
    assert_eq!(message, "alto 1 has 1 bar here; the count row has 2 bars");

    let (message, marked, _, help) = fault("parts: x = tubba\n");
    assert_eq!(message, "`tubba` is not an instrument chartproof knows");
    assert_eq!(marked, "tubba");
    assert_eq!(help.as_deref(), Some("did you mean `tuba`?"));

    let (message, ..) = fault(HEAD);
    assert!(message.starts_with("the passage has no music"));
    let (message, ..) = fault(&format!("{HEAD}alto 1 | A4 |\n"));
    assert_eq!(message, "this system has no `count` row");
}

#[test]
fn keys_and_meters_as_people_write_them() {
    for (text, fifths) in [
        ("F major", -1),
        ("D minor", -1),
        ("Bb", -2),
        ("Cm", -3),
        ("C# minor", 4),
        ("none", 0),
    ] {
        let s = score(&format!("key: {text}\ncount | 1 |\npiano | C4 |\n"));
        assert_eq!(
            s.parts[0].concert_fifths(crate::ground::time::Ticks::ZERO),
            fifths,
            "{text}"
        );
    }
    for text in ["H", "F lydian", "Cb minor"] {
        assert!(
            fault(&format!("key: {text}\ncount | 1 |\npiano | C4 |\n"))
                .0
                .contains("is not a key"),
            "{text}"
        );
    }
    for text in ["4", "0/4", "4/3", "x/4"] {
        assert!(
            fault(&format!("meter: {text}\ncount | 1 |\npiano | C4 |\n"))
                .0
                .contains("is not a meter"),
            "{text}"
        );
    }
}

proptest::proptest! {
    #[test]
    fn nothing_typed_panics(text in "(key|meter|count|chord|alto 1|parts| |\\||:|=|;|[A-H][b#]?[0-9]|-|\\.|&|\\+|[0-9]/[0-9]|\n|é){0,60}") {
        let _ = read(Path::new("a.passage"), text.as_str().into());
    }

    #[test]
    fn no_text_panics(text in ".{0,200}") {
        let _ = read(Path::new("a.passage"), text.as_str().into());
    }
}
