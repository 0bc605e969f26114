//! `semitone-under-lead`: never a half step under the lead. Published: jazz arranging text and
//! course.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};

pub static RULE: Rule = Rule {
    name: "semitone-under-lead",
    group: Group::Voicing,
    asks: "The second voice is at least a whole step below the lead.",
    why: "A half step under the lead covers the melody: the ear no longer knows which of the two it is.",
    source: "published: jazz arranging text, jazz arranging course lesson",
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

chord   | Cmaj7 -   - |
count   | 1   2   3  |
alto 1  | E5  G5  C5 |
alto 2  | C5  E5  B4 |
                  ^^ should be A4
tenor 1 | B4  C5  G4 |
tenor 2 | G4  B4  E4 |
fix: alto 2: write A4 (written F#5) instead of B4 (written G#5)
",
        right: "alto 2  | C5  E5  A4 |",
    }],
    exceptions: &[Exception {
        says: "passages that are held to no technique",
        silent: Silent::Passage {
            passage: "\
key: F major
meter: 4/4
section: trumpets
technique: free
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | Fmaj7 -  -  |
count     | 1     2  3  |
trumpet 1 | C5    A4 F5 |
trumpet 2 | A4    F4 E5 |
trumpet 3 | F4    E4 C5 |
trumpet 4 | E4    C4 A4 |
",
            but: "technique: four-way close",
        },
    }],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips_of(SlipKind::SemitoneUnderLead) {
        let message = format!("{}, a half step under the lead", at.who_has(input.score));
        out.push(at.finding(input.score, &RULE, message));
    }
}

crate::rules::test_examples!(RULE);
