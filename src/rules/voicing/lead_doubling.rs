//! `lead-doubling`: in a technique with doubled lead the doubling is exactly an octave below it.
//! Published: jazz arranging texts; encyclopaedia article on locked hands.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};

pub static RULE: Rule = Rule {
    name: "lead-doubling",
    group: Group::Voicing,
    asks: "The doubled lead sounds exactly an octave below the lead, in the voice its technique gives it.",
    why: "The octave doubling is what makes the section sound as one thick melody; any other note there is a fifth harmony part and blurs the line.",
    exceptions: &[
        "five-note writing on held notes, where the technique is not stated as doubled lead",
    ],
    source: "published: arranging texts on doubled lead, encyclopaedia article on locked hands",
    level: Level::Error,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "meter: 4/4
section: saxes
technique: doubled lead
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | Eb6 -    -   |
count    | 1   2    3   |
alto 1   | G4  F4   Eb4 |
alto 2   | Eb4 D4   C4  |
tenor 1  | C4  Cb4  Bb3 |
tenor 2  | Bb3 Ab3  G3  |
baritone | Ab3 F3   Eb3 |
",
        at: ("1", "1"),
        right: "meter: 4/4
section: saxes
technique: doubled lead
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | Eb6 -    -   |
count    | 1   2    3   |
alto 1   | G4  F4   Eb4 |
alto 2   | Eb4 D4   C4  |
tenor 1  | C4  Cb4  Bb3 |
tenor 2  | Bb3 Ab3  G3  |
baritone | G3  F3   Eb3 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for at in reading.slips() {
        if at.slip.kind != SlipKind::LeadDoubling {
            continue;
        }
        let message = format!(
            "the lead is not doubled an octave below: {}",
            wording::who_has(reading.score, &at.slip.faults)
        );
        out.push(at.finding(reading.score, &RULE, Level::Error, message));
    }
}
