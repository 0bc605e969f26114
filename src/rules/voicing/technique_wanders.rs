//! `technique-wanders`: a phrase stays in its technique. Common practice, no source.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};

pub static RULE: Rule = Rule {
    name: "technique-wanders",
    group: Group::Voicing,
    asks: "Every chord of a passage is in the technique that is stated for it.",
    why: "A voicing of another kind among its neighbours changes the sound of the section for one chord: right notes, but not this passage's.",
    source: "common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: C major
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
              ^^ should be A5
tenor 1  | A4 G4 C4    |
tenor 2  | E4 E4 G3    |
              ^^ should be E5
baritone | B3 C4 D3    |
              ^^ should be F#5
fix: alto 2: write A5 (sounding C5) instead of F#5 (sounding A4); tenor 2: write E5 (sounding D4) instead of F#5 (sounding E4); baritone: write F#5 (sounding A3) instead of A5 (sounding C4)
",
        right: "\
alto 2   | D5 B4 F4    |
tenor 2  | E4 D4 G3    |
baritone | B3 A3 D3    |
",
    }],
    exceptions: &[
        Exception {
            says: "passages whose technique nobody stated",
            silent: Silent::Missing,
        },
        Exception {
            says: "unison and octaves",
            silent: Silent::Missing,
        },
        Exception {
            says: "another drop of the same chord, which wrong-voice-dropped reports",
            silent: Silent::Missing,
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips() {
        let Some(force) = at.diagnosis.technique else {
            continue;
        };
        let who = at.who_has(input.score);
        let message = match at.slip.kind {
            SlipKind::OtherTechnique(found) => format!(
                "this chord is in {found}, the passage in {}: {who}",
                force.technique
            ),
            SlipKind::NotInTechnique => {
                format!("this is not a voicing in {}: {who}", force.technique)
            }
            _ => continue,
        };
        let recipe = force.technique.recipe();
        out.push(
            at.finding(input.score, &RULE, message)
                .because(format!("In {}, {recipe}. {}", force.technique, RULE.why)),
        );
    }
}

crate::rules::test_examples!(RULE);
