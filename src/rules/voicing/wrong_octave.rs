//! `wrong-octave`: the right note of the chord, an octave (or two) from its voice. Common practice,
//! no source.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};

pub static RULE: Rule = Rule {
    name: "wrong-octave",
    group: Group::Voicing,
    asks: "Each voice sounds its note in the octave the technique gives it.",
    why: "An octave out, the voice leaves its place in the section: it sticks out above the lead, muddies the bottom, or leaves a hole.",
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
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
              ^^ should be D4
fix: tenor 2: write D4 (written E5) instead of D3 (written E4) (an octave up)
",
        right: "tenor 2 | C4  D4  A4 |",
    }],
    exceptions: &[Exception {
        says: "notes in just the octaves of another technique: wrong-voice-dropped reports them",
        silent: Silent::With(
            "\
alto 2  | F4 F4 D5 |
tenor 1 | D4 D4 C5 |
tenor 2 | C4 A3 A4 |
",
        ),
    }],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips_of(SlipKind::WrongOctave) {
        let message = format!(
            "{}, the right note in the wrong octave",
            at.who_has(input.score)
        );
        out.push(at.finding(input.score, &RULE, message));
    }
}

crate::rules::test_examples!(RULE);
