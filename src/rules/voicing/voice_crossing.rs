//! `voice-crossing`: seats keep their order. Published: open music theory text on part-writing;
//! the free seat swaps of saxophones: common practice, no source.

use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};

pub static RULE: Rule = Rule {
    name: "voice-crossing",
    group: Group::Voicing,
    asks: "The seats of a section sound in their order from the top.",
    why: "When two inner parts change places for a chord, both lines leap and the colours of the section change for no reason.",
    source: "published: open music theory text; seat swaps: common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: saxes
technique: drop 2
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | C6  -   -   -  |
count   | 1   2   3   4  |
alto 1  | C5  E5  G5  E5 |
alto 2  | G4  A4  A4  A4 |
                  ^^ should be C5
tenor 1 | E4  G4  C5  G4 |
                  ^^ should be A4
tenor 2 | A3  C4  E4  C4 |
fix: alto 2: write C5 (written A5) instead of A4 (written F#5); tenor 1: write A4 (written B5) instead of C5 (written D6)
",
        right: "\
alto 2  | G4  A4  C5  A4 |
tenor 1 | E4  G4  A4  G4 |
",
    }],
    exceptions: &[
        Exception {
            says: "two seats that have changed places for a whole phrase, such as second alto and first tenor",
            silent: Silent::With("\
alto 2  | E4 G4 A4 G4 |
tenor 1 | G4 A4 C5 A4 |
"),
        },
        Exception {
            says: "unisons",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 3/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1   2   3  | 1   |
trumpet 1 | F#5 E5  E5 | D5  |
trumpet 2 | D5  C#5 B4 | A4  |
trumpet 3 | A4  A4  B4 | F#4 |
",
                but: "trumpet 3 | A4  A4 C#5 | F#4 |",
            },
        },
        Exception {
            says: "lines that cross by steps, where no technique is in force: in order they would move no less",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  4  | 1  |
trumpet 1 | G5 A5 G5 A5 | G5 |
trumpet 2 | E5 D5 C5 D5 | E5 |
trumpet 3 | C5 D5 E5 D5 | C5 |
",
                but: "trumpet 3 | C5 B4 E5 B4 | C5 |",
            },
        },
        Exception {
            says: "passages that are not in rhythmic unison, except where the style asks for it (choir)",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

count   | 1   2  3   4   | 1   3 |
soprano | Bb4 -  C5  -   | Bb4 - |
alto    | G4  F4 Eb4 F4  | G4  - |
tenor   | Bb3 -  G4  F4  | Eb4 - |
bass    | Eb3 D3 -   Ab2 | Eb3 - |
",
                but: "style: choir",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for crossing in input.crossings().iter().filter(|c| !c.lead) {
        out.push(crossing.finding(input.score, &RULE, "voices cross"));
    }
}

crate::rules::test_examples!(RULE);
