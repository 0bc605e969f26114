//! The same elements written in every way that XML allows.

use super::*;
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::score::{Articulations, Note, NoteFlags, Rest};

#[test]
fn a_bracket_in_a_value_ends_no_tag() {
    for value in [
        r#""a > b""#,
        r#"">""#,
        r#""/>""#,
        r#""'>'""#,
        r#""" b=">""#,
        "'a > b'",
        "'>'",
        "'/>'",
        r#"'">"'"#,
        r#"'"' b='>"'"#,
    ] {
        let note = format!(
            "<note a={value}><pitch><step a={value}>D</step><octave a={value}>4</octave></pitch>\
             <duration a={value}>2</duration><tie a={value} type=\"start\"/><voice a={value}>3</voice>\
             <dot a={value}/><accidental a={value}>flat</accidental><staff a={value}>2</staff>\
             <notations a={value}><slur a={value} type=\"start\"/></notations></note>"
        );
        let part = score(&one(&bar(&note))).parts.remove(0);
        let [note] = part.notes.as_slice() else {
            panic!("{value}: one note was written")
        };
        let flags = NoteFlags::TIED_OUT.with(NoteFlags::SLUR_START);
        assert_eq!(
            (note.written.to_string(), note.duration, note.flags),
            ("D4".to_owned(), Ticks(2), flags),
            "{value}"
        );
        assert_eq!((note.voice, note.staff), (3, 2), "{value}");
        assert_eq!(*part.accidentals, [note.span], "{value}");
    }
}

#[test]
fn plain_elements_are_read_as_all_others_are() {
    // Each voice as it may be written: without events, and in ways that need them.
    let with = |voice: &str| one(&bar(&note("C5", 4, &format!("{voice}<staff>1</staff>"))));
    for written in [
        "<voice>2</voice>",
        " \r\n\t<voice>2</voice>",
        "<voice >2</voice>",
        "<voice>2</voice >",
        "<voice a='>'>2</voice>",
        "<voice>&#50;</voice>",
        "<voice><!-- two -->2</voice>",
        "<voice><![CDATA[2]]></voice>",
        "<voice>\r2\r</voice>",
        "<voice>2<b/></voice>",
        "<voice>2</voice><b/><b></b><b><c>4</c></b>",
    ] {
        let notes = score(&with(written)).parts.remove(0).notes;
        let found: Vec<(u8, u8)> = notes.iter().map(|n| (n.voice, n.staff)).collect();
        assert_eq!(found, [(2, 1)], "{written}");
    }
    for wrong in [
        "</>",
        "<>",
        "<b></c>",
        "<b>",
        "</b>",
        "<b>&c;</b>",
        "<b><c></b></c>",
        "<duration>1\r2</duration>",
    ] {
        assert!(read_text(&with(wrong)).is_err(), "{wrong} was read");
    }
}

#[test]
fn attributes_may_be_written_in_any_way() {
    let with = |tie: &str| one(&bar(&note("C5", 4, &format!("<tie{tie}/>"))));
    for (written, tied) in [
        (" type=\"start\"", true),
        (" a=\"b\" type=\"start\"", true),
        (" a=\"type\" type=\"start\" b=\"\"", true),
        ("  a='\"' type = 'start'", true),
        ("\ntype=\"start\" ", true),
        (" type=\"&#115;tart\"", true),
        (" a=\"&lt;\" type=\"start\"", true),
        (" type=\"start\" type=\"stop\"", true),
        (" A.b:c=\"1\" type=\"start\"", true),
        (" types=\"start\"", false),
        (" type=\"\"", false),
        (" a=\" type='start'\"", false),
        ("", false),
    ] {
        let notes = score(&with(written)).parts.remove(0).notes;
        let found = notes.iter().any(|n| n.flags.has(NoteFlags::TIED_OUT));
        assert_eq!(found, tied, "{written}");
    }
    for wrong in [
        " =\"b\"",
        " a=\"b\" =\"start\"",
        " type",
        " type=",
        " type=start",
        " type=\"&start;\"",
    ] {
        assert!(read_text(&with(wrong)).is_err(), "{wrong} was read");
    }
}

/// Notes with the usual children and with unusual ones, in the usual order and in others.
const NOTES: [&str; 12] = [
    "<pitch><step>F</step><alter>1</alter><octave>4</octave></pitch><duration>1</duration>\
     <voice>1</voice><type>quarter</type><stem>up</stem>",
    "<pitch><octave>4</octave><alter>-1</alter><step>F</step></pitch><voice>2</voice>\
     <duration>1</duration><type>quarter</type>",
    "<pitch><alter>-1</alter><octave>5</octave><step>F</step></pitch><duration>1</duration>\
     <type>quarter</type><voice>2</voice>",
    "<pitch><step>F</step><octave>5</octave></pitch><duration>1</duration><stem>up</stem>\
     <duration>2</duration><voice>1</voice><voice>x</voice>",
    "<pitch><step>F</step><octave>5</octave><octave>3</octave></pitch><type>half</type><dot/>",
    "<pitch><step>F</step><alter>0.0</alter><octave> 3 </octave></pitch><duration>1.0</duration>\
     <voice> 1 </voice>",
    "<chord/><pitch><step>F</step><octave>2</octave></pitch><duration>1</duration><voice>1</voice>\
     <type>quarter</type><dot/><dot/><accidental>natural</accidental><stem>up</stem><staff>0</staff>",
    "<rest/><duration>1</duration><voice>200</voice><type>quarter</type><dot/><staff>2</staff>",
    "<rest><display-step>B</display-step></rest><voice>3</voice><duration>1</duration>",
    "<pitch><step>F</step><octave>4</octave></pitch><duration>1</duration><tie type=\"stop\"/>\
     <tie type=\"start\"/><voice>1</voice><type>eighth</type><time-modification>\
     <actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>\
     <stem>up</stem><notehead>x</notehead><staff>1</staff><beam number=\"1\">begin</beam>\
     <beam number=\"2\">begin</beam><notations><tied type=\"stop\"/><tied type=\"start\"/>\
     <slur number=\"2\" type=\"start\"/><tuplet type=\"start\"/><articulations><accent/>\
     <strong-accent/></articulations><fermata/></notations>",
    "<pitch><step>F</step><octave>4</octave></pitch><duration>1</duration><voice>1</voice>\
     <beam number=\"1\">end</beam><notations><slur type=\"stop\" number=\"2\"/><articulations/>\
     <articulations><staccato/></articulations><dynamics><f/></dynamics></notations><notations>\
     <slur type=\"stop\"/><articulations><tenuto/></articulations></notations>\
     <tie type=\"continue\"/>",
    "<unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>\
     <duration>1</duration><voice>1</voice><notehead>normal</notehead><notations>\
     <tied type=\"start\"/></notations>",
];

fn plain_notes() -> String {
    format!("<note>{}</note>", NOTES.join("</note><note>"))
}

/// All that a part says, but for places in the text.
#[derive(Debug, PartialEq)]
struct Facts {
    notes: Vec<Note>,
    rests: Vec<Rest>,
    accidentals: usize,
    dynamics: Vec<String>,
    unpitched: usize,
    staves: u8,
}

fn facts(notes: &str) -> Facts {
    let part = score(&one(&bar(notes))).parts.remove(0);
    let span = Span::default();
    Facts {
        notes: part.notes.iter().map(|n| Note { span, ..*n }).collect(),
        rests: part.rests.iter().map(|r| Rest { span, ..*r }).collect(),
        accidentals: part.accidentals.len(),
        dynamics: part.dynamics.iter().map(|m| m.value.clone()).collect(),
        unpitched: part.unpitched,
        staves: part.staves,
    }
}

#[test]
fn children_of_a_note_in_any_order() {
    let found = facts(&plain_notes());
    let pitches: Vec<String> = found.notes.iter().map(|n| n.written.to_string()).collect();
    assert_eq!(
        pitches,
        ["F#4", "Fb4", "Fb5", "F5", "F3", "F3", "F2", "F4", "F4"]
    );
    let voices: Vec<u8> = found.notes.iter().map(|n| n.voice).collect();
    assert_eq!(voices, [1, 2, 2, 201, 1, 1, 1, 1, 1]);
    // A length that is stated twice is the last; without one it is that of the shape: a dotted half note.
    let lengths: Vec<i64> = found.notes.iter().map(|n| n.duration.0).collect();
    assert_eq!(lengths, [1, 1, 1, 2, 3, 1, 1, 1, 1]);
    let tied = NoteFlags::TIED_IN.with(NoteFlags::TIED_OUT);
    let flags: Vec<NoteFlags> = found.notes.iter().skip(6).map(|n| n.flags).collect();
    assert_eq!(
        flags,
        [
            NoteFlags::CHORD_MEMBER,
            tied.with(NoteFlags::GHOST).with(NoteFlags::SLUR_START),
            tied.with(NoteFlags::SLUR_STOP),
        ]
    );
    let marks: Vec<Articulations> = found
        .notes
        .iter()
        .skip(7)
        .map(|n| n.articulations)
        .collect();
    assert_eq!(
        marks,
        [
            Articulations::ACCENT
                .with(Articulations::MARCATO)
                .with(Articulations::FERMATA),
            Articulations::STACCATO.with(Articulations::TENUTO),
        ]
    );
    let rests: Vec<(u8, u8)> = found.rests.iter().map(|r| (r.voice, r.staff)).collect();
    assert_eq!(rests, [(200, 2), (3, 1)]);
    assert_eq!(
        (found.accidentals, found.unpitched, found.staves),
        (1, 1, 2)
    );
    assert_eq!(found.dynamics, ["f"]);
}

#[test]
fn start_tags_of_a_note_in_any_spelling() {
    let plain = plain_notes();
    let found = facts(&plain);
    for name in [
        "pitch",
        "step",
        "alter",
        "octave",
        "duration",
        "voice",
        "type",
        "stem",
        "rest",
        "accidental",
        "staff",
        "time-modification",
        "notehead",
        "beam number=\"1\"",
        "beam number=\"2\"",
        "notations",
        "articulations",
        "unpitched",
        "display-octave",
    ] {
        let tag = format!("<{name}>");
        assert!(plain.contains(&tag), "{tag}");
        for other in [
            format!("<{name} >"),
            format!("<{name} a='>'>"),
            format!("<{name} a=\">\">"),
            format!("\n  {tag}"),
            format!("<!-- -->{tag}"),
        ] {
            assert_eq!(facts(&plain.replace(&tag, &other)), found, "{other}");
        }
    }
}

#[test]
fn childless_elements_of_a_note_in_any_spelling() {
    let plain = plain_notes();
    let found = facts(&plain);
    for name in [
        "chord",
        "rest",
        "dot",
        "tie type=\"start\"",
        "tie type=\"stop\"",
        "tied type=\"start\"",
        "tied type=\"stop\"",
        "slur number=\"2\" type=\"start\"",
        "slur type=\"stop\"",
        "fermata",
        "strong-accent",
        "staccato",
        "articulations",
    ] {
        let (tag, element) = (format!("<{name}/>"), name.split(' ').next().unwrap());
        assert!(plain.contains(&tag), "{tag}");
        for other in [
            format!("<{name} />"),
            format!("<{name}></{element}>"),
            format!("<{name} a='/>'/>"),
            format!("<{name} a=\"/>\"/>"),
            format!("\n<{name}>\n</{element}>"),
            format!("<?a b?><{name}/><b c=\"d\"/>").replace("type=\"st", "type=\"&#115;t"),
        ] {
            assert_eq!(facts(&plain.replace(&tag, &other)), found, "{other}");
        }
    }
}

#[test]
fn a_note_that_cannot_be_is_left_out_and_the_rest_is_read() {
    let text = one(&bar(&plain_notes().replacen("<alter>1", "<alter>9", 1)));
    let score = read_text(&text).unwrap();
    let part = &score.parts[0];
    let left_out: Vec<&Note> = part
        .notes
        .iter()
        .filter(|n| n.flags.has(NoteFlags::LEFT_OUT))
        .collect();
    assert_eq!(left_out.len(), 1);
    assert_eq!(part.impossible.len(), 1);
    assert_eq!(part.impossible[0].span, left_out[0].span);
    assert_eq!(part.impossible[0].value, "altered by 9 semitones");
    let plain = one(&bar(&plain_notes()));
    assert_eq!(
        part.notes.len(),
        read_text(&plain).unwrap().parts[0].notes.len()
    );
}

#[test]
fn numbers_of_a_note_out_of_reach() {
    for (right, wrong) in [
        ("<step>F", "<step>H"),
        ("<octave>4", "<octave>40"),
        ("<octave>4", "<octave>400"),
        ("<duration>1<", "<duration>-1<"),
    ] {
        let text = one(&bar(&plain_notes().replacen(right, wrong, 1)));
        let error = read_text(&text).unwrap_err();
        assert_eq!(
            error.at.unwrap().start,
            text.find(wrong).unwrap(),
            "{wrong}"
        );
    }
}
