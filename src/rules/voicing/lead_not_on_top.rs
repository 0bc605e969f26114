//! `lead-not-on-top`: in a block passage nobody plays above the lead. Published: jazz arranging
//! text; exceptions: common practice, no source.

use crate::finding::{Finding, Level};
use crate::rules::shared::wording;
use crate::rules::voicing::voice_crossing::finding;
use crate::rules::{Example, Group, Reading, Rule};

pub static RULE: Rule = Rule {
    name: "lead-not-on-top",
    group: Group::Voicing,
    asks: "The lead seat has the top note of every chord in a block passage.",
    why: "The highest voice is heard as the melody: with another part above it the tune is gone for a beat.",
    exceptions: &[
        "another seat that has the lead for the whole phrase",
        "unisons",
        "passages that are not in rhythmic unison, except where the style asks for it (choir)",
    ],
    source: "published: jazz arranging text; common practice, no source",
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

chord   | F6  -   -   -  |
count   | 1   2   3   4  |
alto 1  | A4  C5  D5  C5 |
alto 2  | F4  A4  F5  A4 |
tenor 1 | D4  F4  C5  F4 |
tenor 2 | C4  D4  A4  D4 |
",
        at: ("1", "3"),
        right: "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | F6  -   -   -  |
count   | 1   2   3   4  |
alto 1  | A4  C5  F5  C5 |
alto 2  | F4  A4  D5  A4 |
tenor 1 | D4  F4  C5  F4 |
tenor 2 | C4  D4  A4  D4 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for crossing in reading.crossings().iter().filter(|c| c.lead) {
        let message = format!(
            "the lead is not on top: {}",
            wording::who_has(reading.score, &crossing.faults)
        );
        out.push(finding(reading, crossing, &RULE, Level::Error, message));
    }
}
