//! `lead-not-on-top`: in a block passage nobody plays above the lead. Published: jazz arranging
//! text; exceptions: common practice, no source.

use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};

pub static RULE: Rule = Rule {
    name: "lead-not-on-top",
    group: Group::Voicing,
    asks: "The lead seat has the top note of every chord in a block passage. A warning where neither a technique nor a chord symbol is known.",
    why: "The highest voice is heard as the melody: with another part above it the tune is gone for a beat.",
    source: "published: jazz arranging text; common practice, no source",
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

chord   | F6  -   -   -  |
count   | 1   2   3   4  |
alto 1  | A4  C5  D5  C5 |
                  ^^ should be F5
alto 2  | F4  A4  F5  A4 |
                  ^^ should be D5
tenor 1 | D4  F4  C5  F4 |
tenor 2 | C4  D4  A4  D4 |
fix: alto 1: write F5 (written D6) instead of D5 (written B5); alto 2: write D5 (written B5) instead of F5 (written D6)
",
        right: "\
alto 1  | A4  C5  F5  C5 |
alto 2  | F4  A4  D5  A4 |
",
    }],
    exceptions: &[
        Exception {
            says: "another seat that has the lead for the whole phrase",
            silent: Silent::With("\
alto 1 | F4 A4 D5 A4 |
alto 2 | A4 C5 F5 C5 |
"),
        },
        Exception {
            says: "unisons",
            silent: Silent::Passage {
                passage: "\
key: G minor
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1   2   3   4   |
trumpet 1 | D5  C5  Bb4 D5  |
trumpet 2 | Bb4 A4  Bb4 Bb4 |
trumpet 3 | G4  F#4 G4  G4  |
",
                but: "trumpet 2 | Bb4 A4 C5 Bb4 |",
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
trumpet 1 | G5 F5 E5 F5 | G5 |
trumpet 2 | E5 F5 G5 F5 | E5 |
trumpet 3 | C5 C5 C5 D5 | C5 |
",
                but: "trumpet 2 | E5 D5 G5 D5 | E5 |",
            },
        },
        Exception {
            says: "passages that are not in rhythmic unison, except where the style asks for it (choir)",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 3/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

count   | 1  &  2  &  3  &  | 1  2   3  |
soprano | A4 -  G4 -  F4 -  | C5 Bb4 A4 |
alto    | C4 F4 E4 G4 A4 G4 | F4 -   -  |
tenor   | A3 -  C4 -  -  -  | A3 D4  C4 |
bass    | F3 -  C3 -  D3 -  | F3 Bb2 F3 |
",
                but: "style: choir",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for crossing in input.crossings().iter().filter(|c| c.lead) {
        let finding = crossing.finding(input.score, &RULE, "the lead is not on top");
        // Without a technique or chord symbols only the lines tell that a seat was to have the lead.
        let symbol = input.score.chord_at(crossing.at.sonority.onset);
        let told = crossing.has_technique() || symbol.is_some_and(|m| m.value.chord.is_some());
        out.push(if told {
            finding
        } else {
            finding.level(Level::Warning)
        });
    }
}

crate::rules::test_examples!(RULE);
