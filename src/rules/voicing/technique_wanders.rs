//! `technique-wanders`: a phrase stays in its technique. Common practice, no source.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};

pub static RULE: Rule = Rule {
    name: "technique-wanders",
    group: Group::Voicing,
    asks: "Every chord of a passage is in the technique that is stated for it.",
    why: "A voicing of another kind among its neighbours changes the sound of the section for one chord: right notes, but not this passage's.",
    exceptions: &[
        "passages whose technique nobody stated",
        "unison and octaves",
        "another drop of the same chord, which wrong-voice-dropped reports",
    ],
    source: "common practice, no source",
    level: Level::Warning,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "key: C major
meter: 4/4
section: saxes
technique: fourths
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | C6/9 - Dm11 |
count    | 1    2 3    |
alto 1   | G5 E5 A4    |
alto 2   | D5 A4 F4    |
tenor 1  | A4 G4 C4    |
tenor 2  | E4 E4 G3    |
baritone | B3 C4 D3    |
",
        at: ("1", "2"),
        right: "key: C major
meter: 4/4
section: saxes
technique: fourths
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | C6/9 - Dm11 |
count    | 1    2 3    |
alto 1   | G5 E5 A4    |
alto 2   | D5 B4 F4    |
tenor 1  | A4 G4 C4    |
tenor 2  | E4 D4 G3    |
baritone | B3 A3 D3    |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for at in reading.slips() {
        let Some(force) = at.diagnosis.technique else {
            continue;
        };
        let who = wording::who_has(reading.score, &at.slip.faults);
        let message = match at.slip.kind {
            SlipKind::OtherTechnique(found) => format!(
                "this chord is in {found}, the passage in {}: {who}",
                force.technique
            ),
            SlipKind::NotInTechnique => {
                format!("this is no voicing in {}: {who}", force.technique)
            }
            _ => continue,
        };
        let mut finding = at.finding(reading.score, &RULE, Level::Warning, message);
        finding.why = format!(
            "In {}, {}. {}",
            force.technique,
            force.technique.recipe(),
            RULE.why
        );
        out.push(finding);
    }
}
