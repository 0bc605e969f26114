//! Pictures of music made up for the purpose. With `PICTURES=folder` in the environment each test
//! leaves its picture there as a page to look at.

use super::*;
use crate::reading::{grid, musicxml};
use std::path::Path;

fn passage(text: &str) -> Score {
    grid::read(Path::new("x.passage"), text.into()).unwrap()
}

/// A MusicXML score of parts, each with the insides of its bars.
fn parts(parts: &[(&str, &[&str])]) -> Score {
    let mut text = String::from("<score-partwise version=\"4.0\"><part-list>");
    for (i, (name, _)) in parts.iter().enumerate() {
        let _ = write!(
            text,
            "<score-part id=\"P{i}\"><part-name>{}</part-name></score-part>",
            escape(name)
        );
    }
    text += "</part-list>";
    for (i, (_, bars)) in parts.iter().enumerate() {
        let _ = write!(text, "<part id=\"P{i}\">");
        for (n, bar) in bars.iter().enumerate() {
            let _ = write!(text, "<measure number=\"{}\">{bar}</measure>", n + 1);
        }
        text += "</part>";
    }
    text += "</score-partwise>";
    musicxml::read(Path::new("x.musicxml"), None, text.into()).unwrap()
}

/// Notes such as `Bb4:3` lasting so many divisions, `r:2` for a rest; `+` before a pitch joins the
/// chord before it, `~` before the colon ties it on, `g` makes a grace note.
fn notes(text: &str, voice: u8, staff: u8) -> String {
    let mut out = String::new();
    let mut open: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let (what, duration) = word.split_once(':').unwrap();
        let member = what.starts_with('+');
        let tied = what.ends_with('~');
        let name = what.trim_start_matches('+').trim_end_matches('~');
        let place = format!("<voice>{voice}</voice><staff>{staff}</staff>");
        if name == "r" {
            let _ = write!(
                out,
                "<note><rest/><duration>{duration}</duration>{place}</note>"
            );
            continue;
        }
        let p: crate::ground::pitch::Pitch = name.parse().unwrap();
        let chord = if member { "<chord/>" } else { "" };
        let pitch = format!(
            "<pitch><step>{:?}</step><alter>{}</alter><octave>{}</octave></pitch>",
            p.step, p.alter, p.octave
        );
        let stop = open.iter().position(|o| o == name).map(|i| open.remove(i));
        let mut ties = String::new();
        if stop.is_some() {
            ties += "<tie type=\"stop\"/>";
        }
        if tied {
            ties += "<tie type=\"start\"/>";
            open.push(name.to_owned());
        }
        let note = if duration == "g" {
            format!("<note><grace/>{chord}{pitch}{place}</note>")
        } else {
            format!("<note>{chord}{pitch}<duration>{duration}</duration>{ties}{place}</note>")
        };
        out.push_str(&note);
    }
    out
}

fn back(duration: u32) -> String {
    format!("<backup><duration>{duration}</duration></backup>")
}

fn attributes(fifths: i8, meter: (u8, u8), clefs: &[&str]) -> String {
    let mut text = format!(
        "<attributes><divisions>12</divisions><key><fifths>{fifths}</fifths></key>\
         <time><beats>{}</beats><beat-type>{}</beat-type></time><staves>{}</staves>",
        meter.0,
        meter.1,
        clefs.len()
    );
    for (i, clef) in clefs.iter().enumerate() {
        let _ = write!(
            text,
            "<clef number=\"{}\">{}</clef>",
            i + 1,
            clef_text(clef)
        );
    }
    text + "</attributes>"
}

fn clef_text(clef: &str) -> String {
    let octave = if clef.ends_with("8vb") {
        "<clef-octave-change>-1</clef-octave-change>"
    } else {
        ""
    };
    format!(
        "<sign>{}</sign><line>{}</line>{octave}",
        &clef[..1],
        &clef[1..2]
    )
}

fn drawn(name: &str, score: &Score, shown: ShownPitch, marks: &[(NoteRef, Highlight)]) -> String {
    let all: Vec<u32> = (0..score.parts.len() as u32).collect();
    let picture = Engraver::new(score).draw(
        score,
        &Excerpt {
            parts: &all,
            bars: 0..score.bars.len() as u32,
            shown,
            column: marks
                .first()
                .map(|(n, _)| score.parts[n.part as usize].notes[n.note as usize].at)
                .map(|at| (at, format!("beat {}", score.beat_at(at)))),
            marks,
            under: &[],
            names: true,
            label: format!("{name} <all>"),
        },
    );
    if let Some(folder) = std::env::var_os("PICTURES") {
        let page = format!(
            "<!DOCTYPE html><meta charset=utf-8><style>{}</style><svg width=0 height=0>{}</svg>{}",
            include_str!("../report/html/page.css"),
            picture.glyphs.symbols(),
            picture.svg
        );
        std::fs::write(Path::new(&folder).join(format!("{name}.html")), page).unwrap();
    }
    picture.svg
}

fn count(svg: &str, glyph: Glyph) -> usize {
    let used = format!("\"#g{}\"", glyph.outline().code);
    svg.matches(&used).count()
}

/// The places of a glyph, in tenths of a staff space.
fn places(svg: &str, glyph: Glyph) -> Vec<(f64, f64)> {
    let used = format!("<use href=\"#g{}\" x=\"", glyph.outline().code);
    svg.split(&used)
        .skip(1)
        .map(|rest| {
            let mut numbers = rest.split('"');
            let x = numbers.next().unwrap().parse().unwrap();
            (x, numbers.nth(1).unwrap().parse().unwrap())
        })
        .collect()
}

#[test]
fn a_small_picture_is_what_it_was() {
    let score = passage(
        "key: F\nmeter: 2/4\npitch: sounding\nsection: saxes\ntechnique: unison\n\
         parts: alto 1 = alto saxophone\n\n\
         chord  | F6  -   |\ncount  | 1   2   |\nalto 1 | A4> Bb4 |\n",
    );
    let marks = [(NoteRef { part: 0, note: 1 }, Highlight::Fault)];
    let svg = drawn("small", &score, ShownPitch::Written, &marks);
    insta::assert_snapshot!(svg.replace("><", ">\n<"));
}

#[test]
fn triplets_ties_and_marks() {
    let score = passage(
        "key: Ab\nmeter: 4/4\npitch: written\nsection: trumpets\n\
         parts: trumpet 1 = trumpet\n       trumpet 2 = trumpet\n\n\
         chord     | Eb7  -     -     -   -   -  | Ab6 -   -    - | -  - - - - - |\n\
         count     | 1    1+1/3 1+2/3 2   3 4&   | 1   2   2a  3  | 1 1e 1& 1a 2 3 |\n\
         trumpet 1 | Bb4  C5    Db5   Eb5. G5> Ab5^ | -   Ab4_ B4  C5 | C5 D5 E5 F5 G5 C6 |\n\
         trumpet 2 | G4   Ab4   Bb4   C5.  Eb5> F5^ | -   F4_ G#4  A4 | A3 B3 C4 D4 E4 A5 |\n",
    );
    let svg = drawn("triplets", &score, ShownPitch::Written, &[]);
    assert_eq!(count(&svg, Glyph::tuplet(3)), 2);
    assert_eq!(
        count(&svg, glyphs::ACCENT_ABOVE) + count(&svg, glyphs::ACCENT_BELOW),
        2
    );
    assert_eq!(count(&svg, glyphs::MARCATO), 2);
    drawn("triplets-sounding", &score, ShownPitch::Sounding, &[]);
}

#[test]
fn compound_meters() {
    let score = parts(&[
        (
            "Tenor voice",
            &[
                &(attributes(-3, (6, 8), &["G28vb"]) + &notes("Eb4:6 F4:6 G4:6 Ab4:12 G4:6", 1, 1)),
                &notes("C4:18 r:6 Bb3:12", 1, 1),
                &notes("r:36", 1, 1),
            ],
        ),
        (
            "Bass voice",
            &[
                &(attributes(-3, (6, 8), &["F4"]) + &notes("Eb3~:36", 1, 1)),
                &notes("Eb3:18 Bb2:9 A2:3 Ab2:6", 1, 1),
                &(attributes(2, (12, 8), &["F4"]) + &notes("D3:18 E3:6 r:6 G3:6 A3:36", 1, 1)),
            ],
        ),
    ]);
    let svg = drawn("compound", &score, ShownPitch::Written, &[]);
    assert_eq!(count(&svg, glyphs::G_CLEF_8VB), 1);
    assert_eq!(count(&svg, glyphs::F_CLEF), 1);
}

#[test]
fn piano_chords_with_seconds_and_two_voices() {
    let right = notes(
        "E4:12 +G#4:12 +A4:12 +C#5:12 F4:24 +G4:24 +Bb4:24 Bb5:6 +Cb6:6 A5:6",
        1,
        1,
    );
    let left = notes("C3:24 +D3:24 +E3:24 Bb2:12 r:12", 5, 2);
    let two = notes("G4:12 A4:12 C5:24", 1, 1) + &back(48) + &notes("F4:24 C5:12 B4:12", 2, 1);
    let score = parts(&[(
        "Piano <left & right>",
        &[
            &(attributes(3, (4, 4), &["G2", "F4"]) + &right + &back(48) + &left),
            &(two + &back(48) + &notes("A2:18 +E3:18 F3:6 G2:24", 5, 2)),
            &(notes("G4:g A4:g B4:12 F#5:g G5:36", 1, 1)
                + &back(48)
                + "<attributes><clef number=\"2\"><sign>G</sign><line>2</line></clef></attributes>"
                + &notes("C4:48 +D4:48 +G4:48", 5, 2)),
        ],
    )]);
    let marks = [(NoteRef { part: 0, note: 1 }, Highlight::Fault)];
    let svg = drawn("piano", &score, ShownPitch::Written, &marks);
    assert!(svg.contains("Piano &lt;left &amp; right&gt;"));
    assert!(svg.contains("aria-label=\"piano &lt;all&gt;\""));
    assert!(svg.contains("\"#gE000\" transform"));
}

#[test]
fn seconds_stand_on_the_two_sides_of_the_stem() {
    let score = parts(&[(
        "Piano",
        &[&(attributes(0, (4, 4), &["G2"]) + &notes("E4:12 +F4:12 D5:12 +E5:12 G4:24", 1, 1))],
    )]);
    let svg = drawn("seconds", &score, ShownPitch::Written, &[]);
    let heads = places(&svg, glyphs::HEAD_BLACK);
    let x: Vec<f64> = heads.iter().map(|p| p.0).collect();
    let width = glyphs::HEAD_BLACK.right() * 10.0;
    assert!(
        (x[1] - x[0] - width).abs() < 0.2,
        "stem up, the upper one aside: {x:?}"
    );
    assert!(
        (x[3] - x[2] - width).abs() < 0.2,
        "stem down, the lower one aside: {x:?}"
    );
}

#[test]
fn accidentals_of_a_chord_do_not_meet() {
    let score = parts(&[(
        "Piano",
        &[&(attributes(0, (4, 4), &["G2"])
            + &notes(
                "Eb4:24 +Gb4:24 +Bb4:24 +Db5:24 F#4:24 +G#4:24 +C#5:24",
                1,
                1,
            ))],
    )]);
    let svg = drawn("accidentals", &score, ShownPitch::Written, &[]);
    for glyph in [glyphs::FLAT, glyphs::SHARP] {
        let o = glyph.outline();
        let all = places(&svg, glyph);
        assert!(all.len() >= 3);
        for (i, a) in all.iter().enumerate() {
            for b in all.iter().skip(i + 1) {
                let beside = (a.0 - b.0).abs() >= o.width * 10.0;
                let over = (a.1 - b.1).abs() >= o.height * 10.0;
                assert!(beside || over, "{a:?} {b:?}");
            }
        }
        let heads = places(&svg, glyphs::HEAD_HALF);
        for a in &all {
            let before = |h: &&(f64, f64)| (h.1 - a.1).abs() < 0.1 && h.0 >= a.0 + o.width * 10.0;
            assert!(heads.iter().any(|h| before(&h)), "{a:?}");
        }
    }
}

#[test]
fn keys_meters_and_clefs_change_within_a_picture() {
    let score = parts(&[(
        "Trombone 1",
        &[
            &(attributes(-4, (3, 4), &["F4"]) + &notes("Ab3:12 Db4:12 F4:12", 1, 1)),
            &("<attributes><key><fifths>0</fifths></key><time><beats>2</beats><beat-type>4</beat-type></time>\
               <clef><sign>C</sign><line>4</line></clef></attributes>"
                .to_owned()
                + &notes("G4:6 A4:3 B4:3 C5:12", 1, 1)),
            &notes("D3:12 C#3:9 C3:3", 1, 1),
        ],
    )]);
    let svg = drawn("changes", &score, ShownPitch::Written, &[]);
    assert_eq!(
        count(&svg, glyphs::NATURAL),
        5,
        "four flats cancelled, one in the last bar"
    );
    assert_eq!(count(&svg, Glyph::figure(3)), 1);
    assert_eq!(count(&svg, Glyph::figure(2)), 1);
}

#[test]
fn bars_and_parts_that_are_not_there_are_left_out() {
    let score = passage(
        "meter: 2/4\npitch: sounding\nsection: saxes\nparts: alto 1 = alto saxophone\n\n\
         count  | 1  2  |\nalto 1 | C5 D5 |\n",
    );
    let engraver = Engraver::new(&score);
    let picture = engraver.draw(
        &score,
        &Excerpt {
            parts: &[7, 0],
            bars: 5..9,
            shown: ShownPitch::Sounding,
            column: None,
            marks: &[],
            under: &[],
            names: true,
            label: String::new(),
        },
    );
    assert!(picture.svg.starts_with("<svg") && picture.svg.ends_with("</svg>"));
    let nothing = engraver.draw(
        &Score::default(),
        &Excerpt {
            parts: &[0],
            bars: 0..u32::MAX,
            shown: ShownPitch::Written,
            column: None,
            marks: &[],
            under: &[],
            names: true,
            label: String::new(),
        },
    );
    assert!(nothing.svg.starts_with("<svg"));
}

#[test]
fn neighbours_in_a_chord_share_one_ring() {
    let bar = notes("C4:4 +E4:4 +G4:4 +C5:4", 1, 1);
    let score = parts(&[(
        "Piano",
        &[&format!(
            "<attributes><divisions>1</divisions></attributes>{bar}"
        )],
    )]);
    let rings = |which: &[u32]| {
        let marks: Vec<(NoteRef, Highlight)> = which
            .iter()
            .map(|note| {
                (
                    NoteRef {
                        part: 0,
                        note: *note,
                    },
                    Highlight::Fault,
                )
            })
            .collect();
        let excerpt = Excerpt {
            parts: &[0],
            bars: 0..1,
            shown: ShownPitch::Written,
            column: None,
            marks: &marks,
            under: &[],
            names: false,
            label: String::new(),
        };
        let svg = Engraver::new(&score).draw(&score, &excerpt).svg;
        svg.matches("class=\"r\"").count()
    };
    let at = |pitch: &str| {
        let of = score.parts[0]
            .notes
            .iter()
            .position(|n| n.written.to_string() == pitch);
        of.unwrap() as u32
    };
    assert_eq!(rings(&[at("C4")]), 1);
    assert_eq!(rings(&[at("C4"), at("E4"), at("G4")]), 1);
    assert_eq!(rings(&[at("C4"), at("C5")]), 2);
}

mod as_filed {
    //! What a file states of its page is in the picture, whatever the durations alone would give.

    use super::*;

    /// A note of a file: pitch or rest, divisions, type, and what else stands in it.
    fn note(what: &str, lasts: u8, kind: &str, more: &str) -> String {
        let what = match what {
            "r" => "<rest/>".to_owned(),
            pitch => {
                let p: crate::ground::pitch::Pitch = pitch.parse().unwrap();
                format!(
                    "<pitch><step>{:?}</step><alter>{}</alter><octave>{}</octave></pitch>",
                    p.step, p.alter, p.octave
                )
            }
        };
        format!(
            "<note>{what}<duration>{lasts}</duration><voice>1</voice><type>{kind}</type>{more}</note>"
        )
    }

    const START: &str = "<attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time>\
                         <clef><sign>G</sign><line>2</line></clef></attributes>";

    fn drawn(bars: &[&str]) -> String {
        let bars: Vec<String> = bars
            .iter()
            .enumerate()
            .map(|(i, bar)| format!("{}{bar}", if i == 0 { START } else { "" }))
            .collect();
        let bars: Vec<&str> = bars.iter().map(String::as_str).collect();
        let score = parts(&[("Trumpet", &bars)]);
        let excerpt = Excerpt {
            parts: &[0],
            bars: 0..bars.len() as u32,
            shown: ShownPitch::Written,
            column: None,
            marks: &[],
            under: &[],
            names: false,
            label: String::new(),
        };
        Engraver::new(&score).draw(&score, &excerpt).svg
    }

    fn count(svg: &str, glyph: Glyph) -> usize {
        svg.matches(&format!("#g{}\"", glyph.outline().code))
            .count()
    }

    #[test]
    fn values_and_dots() {
        // A dotted quarter rest and an off-beat quarter: durations alone would cut both.
        let bar = note("r", 6, "quarter", "<dot/>")
            + &note("C5", 4, "quarter", "<stem>down</stem>")
            + &note("D5", 6, "quarter", "<dot/>");
        let svg = drawn(&[&bar]);
        assert_eq!(count(&svg, glyphs::REST_QUARTER), 1);
        assert_eq!(count(&svg, glyphs::REST_8), 0);
        assert_eq!(count(&svg, glyphs::HEAD_BLACK), 2);
        assert_eq!(count(&svg, glyphs::DOT), 2);
    }

    #[test]
    fn a_reminder_that_is_there_is_drawn_and_one_that_is_not_is_not() {
        let sharp = note("F#5", 16, "whole", "<accidental>sharp</accidental>");
        let with = note(
            "F5",
            16,
            "whole",
            "<accidental parentheses=\"yes\">natural</accidental>",
        );
        let svg = drawn(&[&sharp, &with]);
        assert_eq!(count(&svg, glyphs::NATURAL), 1);
        assert_eq!(count(&svg, glyphs::BRACKET_LEFT), 1);
        let without = note("F5", 16, "whole", "");
        assert_eq!(count(&drawn(&[&sharp, &without]), glyphs::NATURAL), 0);
    }

    #[test]
    fn beams_are_those_of_the_file() {
        let eighth = |i: usize| {
            let beam = match i {
                0 => "begin",
                7 => "end",
                _ => "continue",
            };
            note(
                "C5",
                2,
                "eighth",
                &format!("<beam number=\"1\">{beam}</beam>"),
            )
        };
        let bar: String = (0..8).map(eighth).collect();
        let svg = drawn(&[&bar]);
        // All beams of a staff are shapes of one path; a beam is the only one with a vertical side.
        let solid = svg
            .split("<path d=\"M")
            .find(|p| p.contains('z') && p.contains('v'));
        assert_eq!(
            solid.map(|p| p.split('\"').next().unwrap().matches('z').count()),
            Some(1)
        );
        assert_eq!(count(&svg, glyphs::FLAG_8_DOWN), 0);
        let unbeamed: String = (0..8)
            .map(|i| match i {
                0 | 1 => eighth(if i == 0 { 0 } else { 7 }),
                _ => note("C5", 2, "eighth", ""),
            })
            .collect();
        assert_eq!(count(&drawn(&[&unbeamed]), glyphs::FLAG_8_DOWN), 6);
    }

    #[test]
    fn signs_are_drawn() {
        let slur =
            |kind: &str| format!("<notations><slur number=\"1\" type=\"{kind}\"/></notations>");
        let words = |inside: &str| {
            format!("<direction><direction-type>{inside}</direction-type></direction>")
        };
        let plain = note("C5", 8, "half", "") + &note("D5", 8, "half", "");
        let before = drawn(&[&plain]);
        let curves = |svg: &str| svg.matches('C').count();
        let slurred = note("C5", 8, "half", &slur("start")) + &note("D5", 8, "half", &slur("stop"));
        assert_eq!(
            curves(&drawn(&[&slurred])),
            curves(&before) + 2,
            "one curve, two sides"
        );
        let lines = |svg: &str| svg.matches("class=\"l\"").count();
        let hairpin =
            words("<wedge type=\"crescendo\"/>") + &plain + &words("<wedge type=\"stop\"/>");
        let svg = drawn(&[&hairpin]);
        assert!(lines(&svg) > lines(&before), "{svg}");
        let marks = words("<rehearsal>B</rehearsal>")
            + &words("<words>to Flute &amp; back</words>")
            + &words(
                "<metronome><beat-unit>quarter</beat-unit><per-minute>132</per-minute></metronome>",
            );
        let svg = drawn(&[&(marks + &plain)]);
        for text in [">B<", ">to Flute &amp; back<", ">= 132<"] {
            assert!(svg.contains(text), "{text} in {svg}");
        }
    }

    #[test]
    fn drums_ghosts_and_hidden_notes() {
        let drum = |head: &str| {
            format!(
                "<note><unpitched><display-step>C</display-step><display-octave>5</display-octave></unpitched>\
                 <duration>4</duration><voice>1</voice><type>quarter</type>{head}</note>"
            )
        };
        let bar = drum("<notehead>x</notehead>")
            + &drum("<notehead parentheses=\"yes\">normal</notehead>")
            + &drum("")
            + &note("r", 4, "quarter", "").replace("<note>", "<note print-object=\"no\">");
        let svg = drawn(&[&bar]);
        assert_eq!(count(&svg, glyphs::HEAD_CROSS), 1);
        assert_eq!(count(&svg, glyphs::HEAD_BLACK), 2);
        assert_eq!(count(&svg, glyphs::BRACKET_LEFT), 1);
        assert_eq!(count(&svg, glyphs::REST_QUARTER), 0);
    }

    #[test]
    fn tuplets_within_tuplets_have_both_figures() {
        let time = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>";
        let tuplet =
            |number: u8, kind: &str| format!("<tuplet number=\"{number}\" type=\"{kind}\"/>");
        let bar = "<attributes><divisions>9</divisions></attributes>".to_owned()
            + &note(
                "C5",
                6,
                "quarter",
                &format!("{time}<notations>{}</notations>", tuplet(1, "start")),
            )
            + &note(
                "D5",
                2,
                "eighth",
                &format!("{time}<notations>{}</notations>", tuplet(2, "start")),
            )
            + &note("E5", 2, "eighth", time)
            + &note(
                "D5",
                2,
                "eighth",
                &format!("{time}<notations>{}</notations>", tuplet(2, "stop")),
            )
            + &note(
                "C5",
                6,
                "quarter",
                &format!("{time}<notations>{}</notations>", tuplet(1, "stop")),
            )
            + &note("r", 18, "half", "");
        assert_eq!(count(&drawn(&[&bar]), Glyph::tuplet(3)), 2);
    }

    #[test]
    fn meters_are_printed_as_the_file_prints_them() {
        let meter = |time: &str| {
            let bar = format!("<attributes>{time}</attributes>") + &note("C5", 16, "whole", "");
            let score = parts(&[("A", &[bar.as_str()])]);
            let excerpt = Excerpt {
                parts: &[0],
                bars: 0..1,
                shown: ShownPitch::Written,
                column: None,
                marks: &[],
                under: &[],
                names: false,
                label: String::new(),
            };
            Engraver::new(&score).draw(&score, &excerpt).svg
        };
        let four = "<beats>4</beats><beat-type>4</beat-type></time>";
        let common = meter(&format!(
            "<divisions>4</divisions><time symbol=\"common\">{four}"
        ));
        assert_eq!(count(&common, glyphs::COMMON_TIME), 1);
        assert_eq!(count(&common, Glyph::figure(4)), 0);
        let added =
            "<divisions>4</divisions><time><beats>3+3+2</beats><beat-type>8</beat-type></time>";
        let added = meter(added);
        assert_eq!(count(&added, glyphs::BEATS_PLUS), 2);
        assert_eq!(count(&added, Glyph::figure(3)), 2);
    }

    #[test]
    fn a_bar_that_is_not_what_it_seems_is_laid_out_from_the_score() {
        let bar = note("C5", 8, "half", "") + &note("D5", 8, "half", "");
        let mut score = parts(&[("A", &[&format!("{START}{bar}")])]);
        let excerpt = Excerpt {
            parts: &[0],
            bars: 0..1,
            shown: ShownPitch::Written,
            column: None,
            marks: &[],
            under: &[],
            names: false,
            label: String::new(),
        };
        for span in [(0, 0), (3, 4_000_000), (9, 60)] {
            score.parts[0].bars[0].span.start = span.0;
            score.parts[0].bars[0].span.end = span.1;
            let svg = Engraver::new(&score).draw(&score, &excerpt).svg;
            assert_eq!(count(&svg, glyphs::HEAD_HALF), 2, "{span:?}");
        }
    }
}
