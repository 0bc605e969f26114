//! `lead-doubling`: in a technique with doubled lead the doubling is exactly an octave below it.
//! Published: jazz arranging texts; encyclopaedia article on locked hands.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};

pub static RULE: Rule = Rule {
    name: "lead-doubling",
    group: Group::Voicing,
    asks: "The doubled lead sounds exactly an octave below the lead, in the voice its technique gives it.",
    why: "The octave doubling is what makes the section sound as one thick melody; any other note there is a fifth harmony part and blurs the line.",
    source: "published: arranging texts on doubled lead, encyclopaedia article on locked hands",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
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
           ^^^ should be G3
fix: baritone: write G3 (written E5) instead of Ab3 (written F5)
",
        right: "baritone | G3  F3   Eb3 |",
    }],
    exceptions: &[Exception {
        says: "five-note writing on held notes, where the technique is not stated as doubled lead",
        silent: Silent::Passage {
            passage: "\
key: C minor
meter: 4/4
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | G7 -  -  -  | Cm6 |
count    | 1  &  2  3  | 1   |
alto 1   | D5 F5 D5 B4 | C5  |
alto 2   | B4 D5 B4 G4 | A4  |
tenor 1  | G4 B4 G4 F4 | G4  |
tenor 2  | F4 G4 F4 D4 | Eb4 |
baritone | D4 F4 D4 A3 | C4  |
",
            but: "technique: doubled lead",
        },
    }],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips_of(SlipKind::LeadDoubling) {
        let message = format!(
            "the lead is not doubled an octave below: {}",
            at.who_has(input.score)
        );
        out.push(at.finding(input.score, &RULE, message));
    }
}

crate::rules::test_examples!(RULE);
