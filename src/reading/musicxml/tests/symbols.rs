//! Chord symbols.

use super::*;
use crate::ground::time::Ticks;

fn harmony(content: &str) -> Score {
    score(&one(&bar(&format!(
        "{ALTO}{}<harmony>{content}</harmony>{}",
        note("C5", 4, ""),
        note("C5", 4, "")
    ))))
}

#[test]
fn chord_symbols_are_brought_to_concert_pitch() {
    let s = harmony(
        "<root><root-step>A</root-step></root><kind text=\"6\">major-sixth</kind>\
         <bass><bass-step>C</bass-step><bass-alter>1</bass-alter></bass>",
    );
    let mark = &s.chords[0].value;
    assert_eq!(mark.written, "A6/C#");
    assert_eq!(s.chords[0].onset, Ticks(4));
    let chord = mark.chord.as_ref().unwrap();
    assert_eq!(chord.root.to_string(), "C");
    assert_eq!(chord.bass.unwrap().to_string(), "E");
    assert!(chord.has(6, 0) && !chord.has(7, -1));
}

#[test]
fn degrees_and_offsets_of_chord_symbols() {
    let s = harmony(
        "<root><root-step>F</root-step><root-alter>1</root-alter></root><kind text=\"7\">dominant</kind>\
         <degree><degree-value>9</degree-value><degree-alter>-1</degree-alter>\
         <degree-type>add</degree-type></degree><offset>-2</offset>",
    );
    assert_eq!(s.chords[0].onset, Ticks(2));
    let chord = s.chords[0].value.chord.clone().unwrap();
    assert_eq!(chord.root.to_string(), "A");
    assert!(chord.has(9, -1) && chord.has(7, -1));
    assert!(s.chords[0].value.written.starts_with("F#"));
}

#[test]
fn no_chord_and_first_of_several() {
    let s =
        harmony("<root><root-step text=\"\">C</root-step></root><kind text=\"N.C.\">none</kind>");
    assert_eq!(s.chords[0].value.chord, None);
    assert_eq!(s.chords[0].value.unread, None);
    assert_eq!(s.chords[0].value.written, "N.C.");
    let s = harmony(
        "<root><root-step>C</root-step></root><kind>major</kind>\
         <root><root-step>D</root-step></root><kind>minor</kind>",
    );
    let chord = s.chords[0].value.chord.clone().unwrap();
    assert_eq!(chord.root.to_string(), "Eb");
    assert!(chord.has(3, 0));
}

#[test]
fn what_cannot_be_read_of_a_symbol_is_said() {
    for (content, written, why) in [
        (
            "<numeral><numeral-root text=\"ii\">2</numeral-root></numeral><kind>minor</kind>",
            "ii minor",
            "numeral",
        ),
        (
            "<function>V</function><kind>major</kind>",
            "V major",
            "function",
        ),
        (
            "<root><root-step>H</root-step></root><kind text=\"7\">dominant</kind>",
            "7",
            "`H`",
        ),
        (
            "<root><root-step>C</root-step></root><kind>minour</kind>",
            "Cminour",
            "minour",
        ),
        ("<root><root-step>C</root-step></root>", "C", "<kind>"),
        (
            "<root><root-step>C</root-step></root><kind>major</kind><degree>\
             <degree-value>99</degree-value><degree-type>add</degree-type></degree>",
            "Cmajor",
            "`99`",
        ),
    ] {
        let s = harmony(content);
        let mark = &s.chords[0].value;
        assert_eq!(mark.written, written);
        assert!(mark.unread.as_ref().unwrap().contains(why), "{mark:?}");
        assert_eq!(mark.chord, None);
    }
}
