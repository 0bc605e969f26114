//! `wrong-octave`: the right note of the chord, an octave (or two) from its voice. Common practice,
//! no source.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};

pub static RULE: Rule = Rule {
    name: "wrong-octave",
    group: Group::Voicing,
    asks: "Each voice sounds its note in the octave the technique gives it.",
    why: "An octave out, the voice leaves its place in the section: it sticks out above the lead, muddies the bottom, or leaves a hole.",
    exceptions: &["another technique that gives just these octaves: that is wrong-voice-dropped"],
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | F6  -   -  |
count   | 1   2   3  |
alto 1  | A4  C5  F5 |
alto 2  | F4  A4  D5 |
tenor 1 | D4  F4  C5 |
tenor 2 | C4  D3  A4 |
",
        at: ("1", "2"),
        right: "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | F6  -   -  |
count   | 1   2   3  |
alto 1  | A4  C5  F5 |
alto 2  | F4  A4  D5 |
tenor 1 | D4  F4  C5 |
tenor 2 | C4  D4  A4 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for at in reading.slips() {
        if at.slip.kind != SlipKind::WrongOctave {
            continue;
        }
        let message = format!(
            "{}, the right note in the wrong octave",
            wording::who_has(reading.score, &at.slip.faults)
        );
        out.push(at.finding(reading.score, &RULE, Level::Error, message));
    }
}
