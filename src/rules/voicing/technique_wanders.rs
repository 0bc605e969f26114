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
              ^^ should be C5
tenor 1  | A4 G4 C4    |
tenor 2  | E4 E4 G3    |
              ^^ should be D4
baritone | B3 C4 D3    |
              ^^ should be A3
fix: alto 2: write C5 (written A5) instead of A4 (written F#5); tenor 2: write D4 (written E5) instead of E4 (written F#5); baritone: write A3 (written F#5) instead of C4 (written A5)
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
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | C6/9 -  Dm11 | C6/9 |
count    | 1    2  3    | 1    |
alto 1   | G5   E5 A4   | D5   |
alto 2   | D5   A4 F4   | A4   |
tenor 1  | A4   G4 C4   | E4   |
tenor 2  | E4   E4 G3   | C4   |
baritone | B3   C4 D3   | G3   |
",
                but: "technique: fourths",
            },
        },
        Exception {
            says: "harmony within a passage in unison or octaves",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: saxes
technique: octaves
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Am7 -  -  D7  |
count   | 1   2  3  4   |
alto 1  | E5  D5 C5 F#5 |
alto 2  | E5  D5 C5 C5  |
tenor 1 | E4  D4 C4 A4  |
tenor 2 | E4  D4 C4 D4  |
",
                but: "technique: fourths",
            },
        },
        Exception {
            says: "another drop of the same chord: wrong-voice-dropped reports it",
            silent: Silent::Passage {
                passage: "\
key: Ab major
meter: 4/4
section: trombones
technique: drop 2
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | Ab6 -   -   |
count      | 1   2   3   |
trombone 1 | C4  Eb4 F4  |
trombone 2 | F3  C4  C4  |
trombone 3 | Eb3 Ab3 Ab3 |
trombone 4 | Ab2 F3  Eb3 |
",
                but: "technique: fourths",
            },
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
