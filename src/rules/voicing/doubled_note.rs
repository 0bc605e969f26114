//! `doubled-note`: a chord member sounds twice while another is missing. Published: textbook on
//! jazz part-writing (one note of each category).

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};

pub static RULE: Rule = Rule {
    name: "doubled-note",
    group: Group::Voicing,
    asks: "In four-part writing each of the four chord categories sounds once.",
    why: "The doubled note is suddenly loud and the chord thin: what is missing is what tells it from its neighbours.",
    source: "published: textbook on jazz part-writing; arranging text (one note of each category)",
    level: Level::Warning,
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
tenor 2 | C4  C4  A4 |
              ^^ should be D4
fix: tenor 2: write D4 (written E5) instead of C4 (written D5)
",
        right: "tenor 2 | C4  D4  A4 |",
    }],
    exceptions: &[
        Exception {
            says: "the lead doubled at the octave in the techniques that double it",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: saxes
technique: doubled lead
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | G6 -  -  |
count    | 1  2  3  |
alto 1   | B4 D5 G5 |
alto 2   | G4 B4 E5 |
tenor 1  | E4 G4 D5 |
tenor 2  | D4 E4 B4 |
baritone | B3 D4 G4 |
",
                but: "tenor 2  | D4 D4 B4 |",
            },
        },
        Exception {
            says: "triads under a triad's symbol",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Eb6 -   Eb  |
count   | 1   2   3   |
alto 1  | G4  Bb4 Eb5 |
alto 2  | Eb4 G4  Bb4 |
tenor 1 | C4  Eb4 G4  |
tenor 2 | Bb3 C4  Eb4 |
",
                but: "chord   | Eb6 -   -   |",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips() {
        let SlipKind::DoubledNote(missing) = at.slip.kind else {
            continue;
        };
        let harmony = at.slip.harmony.as_deref().unwrap_or("the chord");
        let who = at.who_has(input.score);
        let doubled = at.slip.faults.iter().all(|f| {
            at.place
                .sonority
                .voices
                .iter()
                .any(|v| v.note != f.note && v.pitch.class() == f.found.class())
        });
        let message = if doubled {
            format!(
                "{who}, which another voice has already, and the {missing} of {harmony} is missing"
            )
        } else {
            format!(
                "{who}: two voices share one chord step, and the {missing} of {harmony} is missing"
            )
        };
        out.push(at.finding(input.score, &RULE, message));
    }
}

crate::rules::test_examples!(RULE);
