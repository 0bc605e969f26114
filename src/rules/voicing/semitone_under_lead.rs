//! `semitone-under-lead`: never a half step under the lead. Published: jazz arranging text and
//! course.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};

pub static RULE: Rule = Rule {
    name: "semitone-under-lead",
    group: Group::Voicing,
    asks: "The second voice is at least a whole step below the lead.",
    why: "A half step under the lead covers the melody: the ear no longer knows which of the two it is.",
    exceptions: &["unisons"],
    source: "published: jazz arranging text, jazz arranging course lesson",
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

chord   | Cmaj7 -   - |
count   | 1   2   3  |
alto 1  | E5  G5  C5 |
alto 2  | C5  E5  B4 |
tenor 1 | B4  C5  G4 |
tenor 2 | G4  B4  E4 |
",
        at: ("1", "3"),
        right: "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Cmaj7 -   - |
count   | 1   2   3  |
alto 1  | E5  G5  C5 |
alto 2  | C5  E5  A4 |
tenor 1 | B4  C5  G4 |
tenor 2 | G4  B4  E4 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for at in reading.slips() {
        if at.slip.kind != SlipKind::SemitoneUnderLead {
            continue;
        }
        let message = format!(
            "{}, a half step under the lead",
            wording::who_has(reading.score, &at.slip.faults)
        );
        out.push(at.finding(reading.score, &RULE, Level::Error, message));
    }
}
