#![allow(clippy::format_push_string)] // the text under test is built for the eye

use super::super::{apply, edits};
use super::*;
use crate::reading::musicxml;
use crate::score::{Change, NoteRef};
use std::path::Path;

/// A note: pitch, `+` for a chord member, `(` and `)` for ties in and out, `g` for grace, and the
/// printed accidental after a colon.
fn note(spec: &str) -> String {
    let (spec, accidental) = spec.split_once(':').unwrap_or((spec, ""));
    let name = spec.trim_matches(['+', '(', ')', 'g']);
    let pitch: Pitch = name.parse().unwrap();
    let mut out = String::from("\n<note>");
    let grace = spec.contains('g');
    if grace {
        out += "<grace/>";
    }
    if spec.contains('+') {
        out += "<chord/>";
    }
    out += &format!("\n  <pitch>\n    <step>{:?}</step>", pitch.step);
    if pitch.alter != 0 {
        out += &format!("\n    <alter>{}</alter>", pitch.alter);
    }
    out += &format!("\n    <octave>{}</octave>\n  </pitch>", pitch.octave);
    if !grace {
        out += "\n  <duration>1</duration>";
    }
    for (sign, kind) in [('(', "stop"), (')', "start")] {
        if spec.contains(sign) {
            out += &format!("<tie type=\"{kind}\"/>");
        }
    }
    out += "\n  <voice>1</voice>\n  <type>quarter</type>";
    match accidental {
        "" => {}
        a if a.starts_with('<') => out += &format!("\n  {a}"),
        a => out += &format!("\n  <accidental>{a}</accidental>"),
    }
    out + "\n  <stem>up</stem>\n</note>"
}

fn document(fifths: i8, bars: &[&str]) -> String {
    let mut out = String::from("<score-partwise><part id=\"P1\">");
    for (i, bar) in bars.iter().enumerate() {
        out += &format!("<measure number=\"{}\">", i + 1);
        if i == 0 {
            out += &format!(
                "<attributes><divisions>1</divisions><key><fifths>{fifths}</fifths></key></attributes>"
            );
        }
        for spec in bar.split_whitespace() {
            out += &note(spec);
        }
        out += "</measure>";
    }
    out + "</part></score-partwise>"
}

fn read(text: &str) -> Score {
    musicxml::read(Path::new("a.musicxml"), None, text.into()).unwrap()
}

fn change(note: u32, sounding: &str) -> Change {
    Change {
        note: NoteRef { part: 0, note },
        sounding: sounding.parse().unwrap(),
    }
}

/// What becomes of a text.
fn after(text: &str, changes: &[(u32, &str)]) -> String {
    let score = read(text);
    let changes: Vec<Change> = changes.iter().map(|(n, s)| change(*n, s)).collect();
    let edits = edits(&score, &changes).unwrap();
    let new = apply(text, &edits.iter().collect::<Vec<_>>());
    let mut memory = score;
    memory.change(&changes);
    assert_eq!(memory.parts[0].notes.len(), read(&new).parts[0].notes.len());
    for (a, b) in memory.parts[0].notes.iter().zip(&read(&new).parts[0].notes) {
        assert_eq!((a.written, a.sounding), (b.written, b.sounding));
    }
    new
}

#[track_caller]
fn becomes(fifths: i8, from: &[&str], changes: &[(u32, &str)], to: &[&str]) {
    assert_eq!(
        after(&document(fifths, from), changes),
        document(fifths, to)
    );
}

#[test]
fn a_pitch_is_edited_in_the_files_own_layout() {
    becomes(0, &["C4"], &[(0, "D5")], &["D5"]);
    becomes(0, &["C4"], &[(0, "C#4")], &["C#4:sharp"]);
    becomes(0, &["C#4:sharp"], &[(0, "C4")], &["C4"]);
    becomes(0, &["C#4:sharp"], &[(0, "Db4")], &["Db4:flat"]);
    becomes(0, &["C#4:sharp"], &[(0, "C#5")], &["C#5:sharp"]);
    becomes(-2, &["Bb3"], &[(0, "B3")], &["B3:natural"]);
    becomes(1, &["G4"], &[(0, "F4")], &["F4:natural"]);
    becomes(1, &["G4"], &[(0, "F#4")], &["F#4"]);
    // No player is given a double accidental, but one that is there may have to be said.
    becomes(-2, &["Bb3"], &[(0, "Bbb3")], &["A3"]);
    becomes(
        -2,
        &["Bbb3:flat-flat Bbb3"],
        &[(0, "C4")],
        &["C4 Bbb3:flat-flat"],
    );
    becomes(
        0,
        &["F##4:double-sharp F##4"],
        &[(0, "C4")],
        &["C4 F##4:double-sharp"],
    );
}

#[test]
fn the_rest_of_the_bar_is_made_right() {
    // The accidental that came first moves to the next note that needs it.
    becomes(
        0,
        &["Bb4:flat Bb4 Bb4", "Bb4:flat"],
        &[(0, "C5")],
        &["C5 Bb4:flat Bb4", "Bb4:flat"],
    );
    becomes(0, &["Bb4:flat Bb4"], &[(1, "B4")], &["Bb4:flat B4:natural"]);
    // A later note no longer needs its own.
    becomes(0, &["C5 Bb4:flat"], &[(0, "Bb4")], &["Bb4:flat Bb4"]);
    becomes(0, &["Bb4:flat B4:natural"], &[(0, "B4")], &["B4 B4"]);
    becomes(0, &["C5 B4"], &[(0, "Bb4")], &["Bb4:flat B4:natural"]);
    // Another octave is another line.
    becomes(0, &["C5 Bb3:flat"], &[(0, "Bb4")], &["Bb4:flat Bb3:flat"]);
    // Grace notes and chords count.
    becomes(
        0,
        &["C5 gBb4:flat Bb4"],
        &[(0, "Bb4")],
        &["Bb4:flat gBb4 Bb4"],
    );
    becomes(
        0,
        &["C5 D5 +Bb4:flat"],
        &[(0, "Bb4")],
        &["Bb4:flat D5 +Bb4"],
    );
    becomes(0, &["G4 +E4"], &[(0, "Eb4")], &["Eb4:flat +E4:natural"]);
}

#[test]
fn several_changes_of_a_bar_are_seen_together() {
    becomes(
        0,
        &["C5 C5 B4"],
        &[(0, "Bb4"), (1, "Bb4")],
        &["Bb4:flat Bb4 B4:natural"],
    );
    becomes(0, &["Bb4:flat Bb4"], &[(0, "B4"), (1, "B4")], &["B4 B4"]);
}

#[test]
fn ties_stay_whole_and_need_no_accidental() {
    becomes(
        0,
        &["C5)", "(C5 C5"],
        &[(0, "C#5")],
        &["C#5):sharp", "(C#5 C5"],
    );
    becomes(
        0,
        &["B4 Bb4:flat", "Bb4:flat"],
        &[(0, "A4")],
        &["A4 Bb4:flat", "Bb4:flat"],
    );
    // After a tie over the bar line the accidental is said again.
    becomes(
        0,
        &["B4)", "(B4 Bb4:flat"],
        &[(0, "A4")],
        &["A4)", "(A4 Bb4:flat"],
    );
}

#[test]
fn reminders_stay_on_other_notes_and_go_from_changed_ones() {
    let reminder = "<accidental parentheses=\"yes\">natural</accidental>";
    let with = |spec: &str| {
        document(0, &[spec, "B4"]).replacen(
            "<voice>1</voice>\n  <type>quarter</type>",
            &format!("<voice>1</voice>\n  <type>quarter</type>\n  {reminder}"),
            1,
        )
    };
    assert_eq!(
        after(&with("B4"), &[(1, "Bb4")]),
        with("B4").replace(&note("B4"), &note("Bb4:flat"))
    );
    assert_eq!(after(&with("B4"), &[(0, "C5")]), document(0, &["C5", "B4"]));
    assert_eq!(
        after(&with("B4"), &[(0, "Bb4")]),
        document(0, &["Bb4:flat", "B4"])
    );
    let text = document(0, &["C5 B4:natural Bb4:flat"]).replace(
        "<accidental>natural",
        "<accidental cautionary=\"yes\">natural",
    );
    assert_eq!(after(&text, &[(0, "D5")]), text.replacen(">C<", ">D<", 1));
    let flat_then = text.replacen(&note("C5"), &note("Bb4:flat"), 1);
    assert_eq!(after(&flat_then, &[(0, "C5")]), text);
    assert_eq!(after(&text, &[(0, "Bb4")]), flat_then);
}

#[test]
fn a_file_without_accidentals_is_left_without() {
    becomes(0, &["Bb4 C5"], &[(1, "C#5")], &["Bb4 C#5"]);
    becomes(0, &["A4 C5"], &[(1, "C#5")], &["A4 C#5:sharp"]);
    let mark = "<notations><ornaments><trill-mark/><accidental-mark>flat</accidental-mark></ornaments></notations></note>";
    let text = document(0, &["Bb4 C5"]).replace("\n</note>", mark);
    assert!(!after(&text, &[(1, "C#5")]).contains("<accidental>"));
}

#[test]
fn odd_layouts_are_edited_as_well() {
    let wrap = |notes: &str| {
        format!(
            "<score-partwise><part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes>{notes}</measure></part></score-partwise>"
        )
    };
    for (from, to, expected) in [
        (
            "<note><pitch><step> A </step><alter> -1.0 </alter><octave>\n4</octave></pitch><duration>1</duration><accidental/></note>",
            "Bb4",
            "<note><pitch><step> B </step><alter> -1.0 </alter><octave>\n4</octave></pitch><duration>1</duration><accidental>flat</accidental></note>",
        ),
        (
            "<note><pitch><step><!-- x -->A</step><octave><![CDATA[4]]></octave></pitch><duration>1</duration></note>",
            "Bb5",
            "<note><pitch><step>B</step><alter>-1</alter><octave>5</octave></pitch><duration>1</duration><accidental>flat</accidental></note>",
        ),
        (
            "<note>\r\n\t<pitch>\r\n\t\t<octave>4</octave>\r\n\t\t<step>A</step>\r\n\t</pitch>\r\n\t<duration>1</duration>\r\n\t<type>quarter</type>\r\n\t<dot/>\r\n\t<staff>1</staff></note>",
            "A#4",
            "<note>\r\n\t<pitch>\r\n\t\t<octave>4</octave>\r\n\t\t<step>A</step>\r\n\t\t<alter>1</alter>\r\n\t</pitch>\r\n\t<duration>1</duration>\r\n\t<type>quarter</type>\r\n\t<dot/>\r\n\t<accidental>sharp</accidental>\r\n\t<staff>1</staff></note>",
        ),
        (
            "<note><pitch><step>A</step><alter>0.5</alter><octave>4</octave></pitch><duration>1</duration><accidental>quarter-sharp</accidental></note>",
            "G#4",
            "<note><pitch><step>G</step><alter>1</alter><octave>4</octave></pitch><duration>1</duration><accidental>sharp</accidental></note>",
        ),
    ] {
        assert_eq!(after(&wrap(from), &[(0, to)]), wrap(expected));
    }
}

#[test]
fn staves_voices_and_hidden_notes() {
    let two =
        |spec: &str, more: &str| note(spec).replace("\n  <stem>", &format!("\n  {more}<stem>"));
    let text = |first: String, second: String| {
        document(0, &["G4"]).replace(
            &note("G4"),
            &format!("{first}<backup><duration>1</duration></backup>{second}"),
        )
    };
    let later = |spec: &str| {
        format!(
            "<forward><duration>1</duration></forward>{}",
            two(spec, "<staff>2</staff>")
        )
    };
    // Another staff has accidentals of its own, another voice has not.
    assert_eq!(
        after(&text(note("C5"), later("Bb4:flat")), &[(0, "Bb4")]),
        text(note("Bb4:flat"), later("Bb4:flat"))
    );
    let voice = |spec: &str| {
        format!(
            "<forward><duration>1</duration></forward>{}",
            note(spec).replace("<voice>1", "<voice>2")
        )
    };
    assert_eq!(
        after(&text(note("C5"), voice("Bb4:flat")), &[(0, "Bb4")]),
        text(note("Bb4:flat"), voice("Bb4"))
    );
    let hidden = note("Bb4").replace("<note>", "<note print-object=\"no\">");
    let bar = |first: &str| {
        document(0, &["F4:x", "Bb4:flat"])
            .replace(&note("F4:x"), &format!("{first}{}", note("Bb4:flat")))
    };
    assert_eq!(
        after(&bar(&format!("{}{hidden}", note("C5"))), &[(0, "A4")]),
        bar(&format!("{}{hidden}", note("A4")))
    );
    let all = format!("{hidden}{}", note("D5"));
    assert_eq!(
        after(&bar(&all), &[(1, "Bb4")]),
        bar(&format!("{hidden}{}", note("Bb4:flat"))).replacen(
            &format!("{}{}", note("Bb4:flat"), note("Bb4:flat")),
            &format!("{}{}", note("Bb4:flat"), note("Bb4")),
            1
        )
    );
}

#[test]
fn what_cannot_be_written_is_refused() {
    let score = read(&document(0, &["C0"]));
    let low = Change {
        note: NoteRef { part: 0, note: 0 },
        sounding: Pitch::new(crate::ground::pitch::Step::B, 0, -1),
    };
    let error = edits(&score, &[low]).unwrap_err();
    assert!(
        error.to_string().starts_with("B-1 is out of reach"),
        "{error}"
    );
    let mut moved = score;
    moved.parts[0].notes[0].span.start += 3;
    let error = edits(&moved, &[change(0, "D4")]).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("a <note> with a <pitch> was expected"),
        "{error}"
    );
}

#[test]
fn timewise_scores_are_edited_as_well() {
    let bar = |n: u8, first: &str, second: &str| {
        format!(
            "<measure number=\"{n}\"><part id=\"A\"><attributes><divisions>1</divisions></attributes>{first}</part><part id=\"B\">{second}</part></measure>"
        )
    };
    let text = |a: &str, b: &str| {
        format!(
            "<score-timewise>{}{}</score-timewise>",
            bar(1, &note(a), &note("C4")),
            bar(2, &note(b), &note("C#4:sharp"))
        )
    };
    assert_eq!(
        after(&text("B4", "G4"), &[(1, "G#4")]),
        text("B4", "G#4:sharp")
    );
    // The part has no accidental and needs one: it prints none, whatever the other does.
    assert_eq!(after(&text("Bb4", "G4"), &[(1, "G#4")]), text("Bb4", "G#4"));
}
