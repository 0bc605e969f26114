//! A maker of big-band scores of any size: the sample chart's bars again and again, each time in
//! another key, so that nothing repeats note for note next to itself. 17 parts, all sections, chord
//! symbols, dynamics, articulations, slurs, repeats. From the second time on every fortieth bar of the
//! second alto is a half step too high, so that there are fixes to try.

use chartproof::inside::ground::pitch::{NoteName, Pitch, Step, Transposition};
use std::fmt::Write as _;

const CHART: &str = include_str!("../../sample-parts/lamplighters-detour.musicxml");

/// How each time through stands to the first: letters, semitones, and fifths of the key.
const TIMES: [(i16, i16, i8); 5] = [(0, 0, 0), (-1, -2, -2), (1, 2, 2), (-1, -1, 5), (-2, -3, 3)];

/// A score of at least so many bytes.
pub fn score(bytes: usize) -> String {
    let body = CHART.find("<part id=").expect("the chart has parts");
    let times = bytes.div_ceil(CHART.len() - body).max(1);
    let mut out = String::with_capacity(bytes + bytes / 8);
    out.push_str(&CHART[..body]);
    for part in CHART[body..].split_inclusive("</part>") {
        let Some(first) = part.find("<measure") else {
            out.push_str(part);
            continue;
        };
        out.push_str(&part[..first]);
        let end = part.rfind("</part>").expect("a part ends");
        let mut bar = 0;
        for time in 0..times {
            let (diatonic, chromatic, fifths) = TIMES[time % TIMES.len()];
            let by = Transposition {
                diatonic,
                chromatic,
            };
            for measure in part[first..end].split_inclusive("</measure>") {
                // The pickup is one only the first time.
                let numbered = measure.find("number=\"").map(|at| at + "number=\"".len());
                let Some(at) = numbered else {
                    out.push_str(measure);
                    continue;
                };
                let rest = &measure[at + measure[at..].find('"').expect("a number ends")..];
                if bar > 0 && rest.starts_with("\" implicit") {
                    continue;
                }
                out.push_str(&measure[..at]);
                let _ = write!(out, "{bar}");
                let slip = time > 0 && bar % 40 == 0 && part.starts_with("<part id=\"P2\"");
                let by = Transposition {
                    chromatic: by.chromatic + i16::from(slip),
                    ..by
                };
                transposed(rest, by, fifths, &mut out);
                bar += 1;
            }
        }
        out.push_str(&part[end..]);
    }
    out
}

/// `xml` with its pitches, chord symbols and key signatures moved.
fn transposed(xml: &str, by: Transposition, fifths: i8, out: &mut String) {
    let mut rest = xml;
    while let Some(at) = ["<pitch>", "<root>", "<bass>", "<fifths>"]
        .iter()
        .filter_map(|tag| rest.find(tag))
        .min()
    {
        out.push_str(&rest[..at]);
        rest = &rest[at..];
        let end = 1 + rest.find("</").map_or(0, |close| {
            let closing = format!("</{}", &rest[1..=rest.find('>').unwrap_or(1)]);
            rest.find(&closing).map_or(close, |c| c + closing.len() - 1)
        });
        let element = &rest[..end];
        rest = &rest[end..];
        let field = |name: &str| {
            let open = format!("<{name}>");
            let from = element.find(&open)? + open.len();
            element[from..].split('<').next()
        };
        if let Some(now) = field("fifths").and_then(|f| f.parse::<i8>().ok()) {
            let mut moved = now + fifths;
            while moved > 6 {
                moved -= 12;
            }
            let _ = write!(out, "<fifths>{moved}</fifths>");
        } else if let Some(step) = field("step") {
            let alter = field("alter").map_or(0, |a| a.parse().expect("whole"));
            let octave = field("octave").expect("a pitch").parse().expect("whole");
            let step = Step::from_char(step.chars().next().expect("a letter")).expect("a step");
            let moved = Pitch::new(step, alter, octave).transposed(by);
            let name = moved.name();
            let _ = write!(out, "<pitch><step>{:?}</step>", name.step);
            if name.alter != 0 {
                let _ = write!(out, "<alter>{}</alter>", name.alter);
            }
            let _ = write!(out, "<octave>{}</octave></pitch>", moved.octave);
        } else {
            for of in ["root", "bass"] {
                let Some(step) = field(&format!("{of}-step")) else {
                    continue;
                };
                let alter = field(&format!("{of}-alter")).map_or(0, |a| a.parse().expect("whole"));
                let step = Step::from_char(step.chars().next().expect("a letter")).expect("a step");
                let name = NoteName::new(step, alter).transposed(by);
                let _ = write!(out, "<{of}><{of}-step>{:?}</{of}-step>", name.step);
                if name.alter != 0 {
                    let _ = write!(out, "<{of}-alter>{}</{of}-alter>", name.alter);
                }
                let _ = write!(out, "</{of}>");
            }
        }
    }
    out.push_str(rest);
}
