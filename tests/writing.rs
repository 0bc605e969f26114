//! Scores written out and read back: the music is the same, and the text then stays the same.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::common::{self, BANDS, Dice, TECHNIQUES};
use chartproof::inside::reading::{Outcome, grid, musicxml, read_paths};
use chartproof::inside::score::{NoteFlags, Score};
use chartproof::inside::writing;
use chartproof::inside::writing::grid::Cells;
use chartproof::inside::writing::musicxml::Options;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

fn from_xml(text: &str) -> Score {
    musicxml::read(Path::new("x.musicxml"), None, text.into())
        .unwrap_or_else(|e| panic!("{e}\n{text}"))
}

fn from_grid(text: &str) -> Score {
    grid::read(Path::new("x.passage"), text.into()).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

fn xml(score: &Score) -> String {
    writing::musicxml::write(score, &Options::default())
}

/// Every note by part: when, how long (ties followed), written and sounding pitch, marks.
fn notes(score: &Score) -> Vec<String> {
    let beats = |t: chartproof::inside::ground::time::Ticks| num(t.0, score.per_quarter.0);
    let mut out = Vec::new();
    for (p, part) in score.parts.iter().enumerate() {
        let mut held = BTreeSet::new();
        for (i, note) in part.notes.iter().enumerate() {
            if held.contains(&i) {
                continue;
            }
            let mut end = note.end();
            let mut open = note.flags.has(NoteFlags::TIED_OUT);
            let mut marks = note.articulations;
            for (j, next) in part.notes.iter().enumerate().skip(i + 1) {
                if !open || next.onset > end {
                    break;
                }
                let goes_on = next.onset == end
                    && next.flags.has(NoteFlags::TIED_IN)
                    && next.written == note.written
                    && !held.contains(&j);
                if goes_on {
                    held.insert(j);
                    end = next.end();
                    open = next.flags.has(NoteFlags::TIED_OUT);
                    marks = marks.with(next.articulations);
                }
            }
            out.push(format!(
                "part {p} at {} to {}: {} {} marks {}",
                beats(note.onset),
                beats(end),
                note.written,
                note.sounding,
                marks.0
            ));
        }
    }
    out.sort();
    out
}

/// A fraction in lowest terms.
fn num(above: i64, below: i64) -> String {
    let (mut divisor, mut rest) = (above.abs(), below.abs());
    while rest != 0 {
        (divisor, rest) = (rest, divisor % rest);
    }
    let divisor = divisor.max(1);
    format!("{}/{}", above / divisor, below / divisor)
}

/// Everything else that has to come back: chords, keys, meters, transpositions, names, words.
fn rest(score: &Score, words: bool) -> String {
    let mut out = format!("{:?}\n", score.title);
    for part in &score.parts {
        let _ = writeln!(out, "{} {:?} {:?}", part.name, part.sound, part.staves);
        for bar in &score.bars {
            let at = bar.start;
            let _ = writeln!(
                out,
                "{} {} {:?} {:?} {:?}",
                bar.number,
                bar.pickup,
                part.key(at),
                part.transposition(at),
                score.meter_at(at)
            );
        }
        if words {
            for m in &part.words {
                let _ = writeln!(out, "{:?} {:?}", m.at.bar, m.value);
            }
            for m in &part.dynamics {
                let _ = writeln!(out, "{:?} {}", m.at.bar, m.value);
            }
        }
    }
    for m in &score.chords {
        let _ = writeln!(
            out,
            "{} {:?}",
            num(m.onset.0, score.per_quarter.0),
            m.value.chord
        );
    }
    out
}

fn clefs(score: &Score) -> Vec<String> {
    let mut out = Vec::new();
    for part in &score.parts {
        for m in &part.clefs {
            out.push(format!("{} {:?} {:?}", part.name, m.at.bar, m.value));
        }
    }
    out
}

fn comes_back_from_xml(score: &Score) {
    let text = xml(score);
    let back = from_xml(&text);
    assert_eq!(notes(score), notes(&back), "{text}");
    assert_eq!(rest(score, true), rest(&back, true), "{text}");
    if score.parts.iter().all(|p| !p.clefs.is_empty()) {
        assert_eq!(clefs(score), clefs(&back), "{text}");
    }
    let again = xml(&back);
    for (first, second) in text.lines().zip(again.lines()) {
        assert_eq!(first, second, "{text}\n\n{again}");
    }
    assert_eq!(again, text);
}

fn comes_back_from_grid(score: &Score, cells: Cells) {
    let text = writing::grid::write(score, cells).unwrap_or_else(|e| panic!("{e}"));
    let back = from_grid(&text);
    assert_eq!(notes(score), notes(&back), "{text}");
    assert_eq!(rest(score, false), rest(&back, false), "{text}");
    assert_eq!(writing::grid::write(&back, cells).unwrap(), text);
}

fn samples() -> Vec<Score> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("sample-parts");
    let outcomes: Vec<Outcome> = read_paths(&[folder]);
    // The whole chart has drums without pitch and signs that neither form holds.
    let scores: Vec<Score> = outcomes
        .into_iter()
        .filter(|o| !o.path.to_string_lossy().contains("lamplighters-detour"))
        .filter_map(|o| o.score.ok())
        .collect();
    assert!(scores.len() >= 9, "{}", scores.len());
    scores
}

#[test]
fn samples_come_back_from_musicxml() {
    for score in samples() {
        comes_back_from_xml(&score);
    }
}

#[test]
fn samples_come_back_from_the_grid() {
    for score in samples() {
        comes_back_from_grid(&score, Cells::Written);
        comes_back_from_grid(&score, Cells::Sounding);
    }
}

#[test]
fn generated_passages_come_back() {
    let mut count = 0;
    for technique in 0..TECHNIQUES.len() {
        for band in 0..BANDS.len() {
            let key = (technique * 7 + band) % 12;
            let seed = (technique * 31 + band) as u64;
            let Some(made) = (0..40).find_map(|again| {
                common::clean(seed + again * 7919, band, technique, key, true, 4)
            }) else {
                continue;
            };
            let score = from_grid(&made.grid());
            comes_back_from_xml(&score);
            comes_back_from_grid(&score, Cells::Sounding);
            comes_back_from_grid(&score, Cells::Written);
            count += 1;
        }
    }
    assert!(count > 20, "{count}");
}

/// One voice of random lengths in units of a twelfth of a quarter, ties, rests and chords between.
fn random_part(dice: &mut Dice, beats: u16, unit: u16) -> String {
    let bar = 48 * i64::from(beats) / i64::from(unit);
    let mut out = String::from("<part id=\"P1\">");
    let mut tied = false;
    for number in 1..=6 {
        let _ = write!(out, "<measure number=\"{number}\">");
        if number == 1 {
            let _ = write!(
                out,
                "<attributes><divisions>12</divisions><key><fifths>{}</fifths></key><time>\
                 <beats>{beats}</beats><beat-type>{unit}</beat-type></time><clef><sign>G</sign>\
                 <line>2</line></clef></attributes>",
                dice.roll(13) as i64 - 6
            );
        }
        let mut left = bar;
        while left > 0 {
            let length = *dice.pick(&[3, 3, 4, 6, 6, 6, 8, 9, 12, 12, 15, 18, 24, 30, 36, 42]);
            let length = length.min(left);
            left -= length;
            let alter = dice.roll(3) as i64 - 1;
            let step = *dice.pick(&['C', 'D', 'E', 'F', 'G', 'A', 'B']);
            let goes_on = dice.roll(4) == 0 && !tied;
            let _ = write!(out, "<note>");
            if dice.roll(5) == 0 && !tied {
                let _ = write!(out, "<rest/><duration>{length}</duration></note>");
                continue;
            }
            let _ = write!(
                out,
                "<pitch><step>{}</step><alter>{}</alter><octave>4</octave></pitch>\
                 <duration>{length}</duration>{}{}</note>",
                if tied || goes_on { 'G' } else { step },
                if tied || goes_on { 0 } else { alter },
                if tied { "<tie type=\"stop\"/>" } else { "" },
                if goes_on { "<tie type=\"start\"/>" } else { "" },
            );
            tied = goes_on;
        }
        out.push_str("</measure>");
    }
    out.push_str("</part>");
    out
}

fn page(parts: &str) -> String {
    format!(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Flute 1\
         </part-name></score-part></part-list>{parts}</score-partwise>"
    )
}

#[test]
fn any_rhythm_in_any_meter_comes_back() {
    for seed in 0..300 {
        let mut dice = Dice::new(seed);
        let (beats, unit) = *dice.pick(&[
            (4, 4),
            (3, 4),
            (2, 4),
            (2, 2),
            (6, 8),
            (12, 8),
            (9, 8),
            (3, 8),
            (5, 4),
            (7, 8),
        ]);
        comes_back_from_xml(&from_xml(&page(&random_part(&mut dice, beats, unit))));
    }
}

/// The values, dots and ties a line of counts is written in: `q.`, `e~` (tied on).
fn values(meter: &str, count: &str, row: &str) -> String {
    let text = format!("meter: {meter}\nparts: t = trumpet\n\ncount | {count} |\nt | {row} |\n");
    let written = xml(&from_grid(&text));
    let mut out = Vec::new();
    for note in written.split("<note>").skip(1) {
        let value = note
            .split("<type>")
            .nth(1)
            .and_then(|t| t.split('<').next())
            .unwrap_or("bar");
        let rest = if note.contains("<rest") { "rest " } else { "" };
        let dots = note.matches("<dot/>").count();
        let tie = if note.contains("<tie type=\"start\"/>") {
            "~"
        } else {
            ""
        };
        out.push(format!("{rest}{value}{}{tie}", ".".repeat(dots)));
    }
    out.join(" ")
}

/// Common practice, no source: the middle of a bar of four is shown, syncopations of one value
/// inside a half stay whole, rests show every beat.
#[test]
fn values_show_the_beats() {
    assert_eq!(values("4/4", "1 2 4", "C5 D5 E5"), "quarter half quarter");
    assert_eq!(
        values("4/4", "1 2& 4", "C5 D5 E5"),
        "quarter. eighth~ quarter quarter"
    );
    assert_eq!(values("4/4", "1 & 3", "C5 D5 E5"), "eighth quarter. half");
    assert_eq!(
        values("4/4", "1 & 2& 3", "C5 D5 E5 F5"),
        "eighth quarter eighth half"
    );
    assert_eq!(values("4/4", "1 2", "C5 D5"), "quarter quarter~ half");
    assert_eq!(values("4/4", "1 3&", "C5 D5"), "half~ eighth quarter.");
    assert_eq!(
        values("4/4", "1 2 4", "C5 . E5"),
        "quarter rest quarter rest quarter quarter"
    );
    assert_eq!(values("4/4", "1", "."), "rest bar");
    assert_eq!(values("6/8", "1 4", "C5 D5"), "quarter. quarter.");
    assert_eq!(
        values("6/8", "1 3 4", "C5 D5 E5"),
        "quarter eighth quarter."
    );
    assert_eq!(
        values("6/8", "1 3 6", "C5 D5 E5"),
        "quarter eighth~ quarter eighth"
    );
    assert_eq!(
        values("2/4", "1 1+1/3 1+2/3 2", "C5 D5 E5 F5"),
        "eighth eighth eighth quarter"
    );
    assert_eq!(
        values("2/4", "1 1+2/3 2+1/3", "C5 D5 E5"),
        "quarter quarter quarter"
    );
}

#[test]
fn accidentals_stand_where_the_bar_needs_them() {
    let text = "key: F major\nparts: f = flute\n\ncount | 1 2 3 4 | 1 2 3 4 |\n\
                f | Bb4 B4 B4 Bb4 | B4 F5 F#5 F#4 |\n";
    let written = xml(&from_grid(text));
    let found: Vec<&str> = written
        .split("<note>")
        .skip(1)
        .map(|note| {
            note.split("<accidental>")
                .nth(1)
                .and_then(|a| a.split('<').next())
                .unwrap_or("-")
        })
        .collect();
    assert_eq!(
        found,
        [
            "-", "natural", "-", "flat", "natural", "-", "sharp", "sharp"
        ]
    );
}

#[test]
fn a_concert_score_holds_sounding_pitch() {
    let mut score = from_grid(
        "key: Bb major\nparts: a = alto saxophone\n\nchord | Bb6 |\ncount | 1 |\na | D5 |\n",
    );
    let parts = xml(&score);
    assert!(parts.contains("<step>B</step><octave>5</octave>"));
    assert!(parts.contains("<fifths>1</fifths>"));
    assert!(parts.contains("<diatonic>-5</diatonic><chromatic>-9</chromatic></transpose>"));
    assert!(parts.contains("<root-step>G</root-step>"));
    score.concert = true;
    let concert = xml(&score);
    assert!(concert.contains("<concert-score/>"));
    assert!(concert.contains("<step>D</step><octave>5</octave>"));
    assert!(concert.contains("<fifths>-2</fifths>"));
    assert!(concert.contains("<root-step>B</root-step><root-alter>-1</root-alter>"));
    assert!(!concert.contains("<transpose>"));
    let back = from_xml(&concert);
    assert_eq!(back.parts[0].notes[0].sounding, "D5".parse().unwrap());
    assert_eq!(back.chords[0].value.chord, score.chords[0].value.chord);
    assert_eq!(xml(&back).matches("<note>").count(), 1);
}

#[test]
fn a_note_held_under_a_chord_comes_back() {
    let score = from_grid(
        "meter: 4/4\nparts: piano = piano\n\ncount | 1 3 | 1 3 |\n\
         piano | G4+F4+B3 -G4+E4+C4 | -G4+-E4+B3> - |\n",
    );
    comes_back_from_xml(&score);
    for cells in [Cells::Sounding, Cells::Written] {
        comes_back_from_grid(&score, cells);
    }
}

#[test]
fn a_single_line_holds_no_chord() {
    let score = from_xml(&page(
        "<part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes>\
         <note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>\
         <note><chord/><pitch><step>E</step><octave>5</octave></pitch><duration>4</duration></note>\
         </measure></part>",
    ));
    let error = writing::grid::write(&score, Cells::Written).unwrap_err();
    let text = error.to_string();
    assert!(
        text.contains("Flute 1") && text.contains("2 notes at once"),
        "{text}"
    );
}

#[test]
fn text_is_escaped() {
    let mut score = from_grid("parts: a = flute\n\ncount | 1 |\na | D5 |\n");
    score.title = Some("Salt & <Smoke> \"x\"\u{1}".to_owned());
    let back = from_xml(&xml(&score));
    assert_eq!(back.title.as_deref(), Some("Salt & <Smoke> \"x\""));
}

/// A made-up piece with most of what a page holds.
const PIECE: &str = "title: Slate Roof\nkey: Eb major\nmeter: 4/4\nsection: saxes\n\
    technique: drop 2\nparts: alto 1 = alto saxophone\n       tenor 1 = tenor saxophone\n\n\
    chord   | Fm7 | Bb7(b9) - - - - | - Ebmaj7 |\n\
    count   | 4 | 1 & 2& 3+1/3 3+2/3 | 1 3 |\n\
    alto 1  | C5. | Eb5> D5 Cb5 Bb4 Ab4_ | - G4^ |\n\
    tenor 1 | Ab4 | Ab4 F4 Ab4 F4 D4 | - . ||\n";

#[test]
fn one_piece_as_musicxml() {
    let options = Options {
        software: Some("chartproof".to_owned()),
    };
    insta::assert_snapshot!(writing::musicxml::write(&from_grid(PIECE), &options));
}

#[test]
fn one_piece_as_a_grid() {
    let score = from_grid(PIECE);
    insta::assert_snapshot!(writing::grid::write(&score, Cells::Written).unwrap());
}
