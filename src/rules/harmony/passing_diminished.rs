//! `passing-diminished`: a short lead note that steps from chord note to chord note stands on its
//! passing chord, and a chord note on the chord. Published: web lessons and a guitar journal on
//! the sixth-diminished scales.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;

pub static RULE: Rule = Rule {
    name: "passing-diminished",
    group: Group::Harmony,
    asks: "A short passing lead note stands on the diminished seventh that contains it (or on another passing chord the trade knows), a chord note on the chord.",
    why: "The passing chord makes every voice move with the lead; the prevailing chord kept under a passing note leaves the inner voices standing, or rubs with it.",
    source: "published: web lessons and a guitar journal on the sixth-diminished scales; jazz harmony course on approach chords",
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

chord   | C6  -   -   -  |
count   | 1   &   2   3  |
alto 1  | C5  D5  E5  G5 |
alto 2  | A4  A4  C5  E5 |
              ^^ should be B4
tenor 1 | G4  G4  A4  C5 |
              ^^ should be Ab4
tenor 2 | E4  E4  G4  A4 |
              ^^ should be F4
fix: alto 2: write B4 (written G#5) instead of A4 (written F#5); tenor 1: write Ab4 (written Bb5) instead of G4 (written A5); tenor 2: write F4 (written G5) instead of E4 (written F#5)
",
        right: "\
alto 2  | A4  B4  C5  E5 |
tenor 1 | G4  Ab4 A4  C5 |
tenor 2 | E4  F4  G4  A4 |
",
    }],
    exceptions: &[
        Exception {
            says: "a lead note held longer than a beat: it is a tension of the chord",
            silent: Silent::With("count   | 1   2   4   &  |"),
        },
        Exception {
            says: "a lead note left by leap: it is a tension of the chord",
            silent: Silent::With("\
alto 1  | C5 D5 G5 E5 |
alto 2  | A4 A4 E5 C5 |
tenor 1 | G4 G4 C5 A4 |
tenor 2 | E4 E4 A4 G4 |
"),
        },
        Exception {
            says: "the dominant of the chord that the note leads into",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
section: trombones
technique: four-way close
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | F6 -  -   | F7  |
count      | 1  3  4&  | 1   |
trombone 1 | A4 F4 G4  | F4  |
trombone 2 | F4 D4 E4  | Eb4 |
trombone 3 | D4 C4 C4  | C4  |
trombone 4 | C4 A3 Bb3 | A3  |
",
                but: "\
trombone 2 | F4 D4 D4  | Eb4 |
trombone 4 | C4 A3 A3  | A3  |
",
            },
        },
        Exception {
            says: "an approach from which every voice moves by the same half or whole step",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | C7  -   -   |
count     | 1   2&  3   |
trumpet 1 | G4  B4  C5  |
trumpet 2 | E4  A4  Bb4 |
trumpet 3 | C4  F#4 G4  |
trumpet 4 | Bb3 D#4 E4  |
",
                but: "trumpet 4 | Bb3 C4  E4  |",
            },
        },
        Exception {
            says: "an approach from which every voice moves by one step of the key into a minor seventh chord",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | Am7 -  -  -  |
count     | 1   2  &  3  |
trumpet 1 | E5  C5 B4 C5 |
trumpet 2 | C5  A4 G4 A4 |
trumpet 3 | A4  G4 F4 G4 |
trumpet 4 | G4  E4 D4 E4 |
",
                but: "\
trumpet 2 | C5  A4 A4 A4 |
trumpet 3 | A4  G4 G4 G4 |
trumpet 4 | G4  E4 E4 E4 |
",
            },
        },
        Exception {
            says: "a passage that keeps the chord under its passing notes throughout",
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

chord   | Eb6 -   -   -   -   -   |
count   | 1   &   2   3   &   4   |
alto 1  | G4  F4  Eb4 Eb5 D5  C5  |
alto 2  | Eb4 Eb4 C4  C5  Bb4 Bb4 |
tenor 1 | C4  C4  Bb3 Bb4 G4  G4  |
tenor 2 | Bb3 Bb3 G3  G4  Eb4 Eb4 |
",
                but: "\
alto 2  | Eb4 Eb4 C4  C5  Cb5 Bb4 |
tenor 1 | C4  C4  Bb3 Bb4 Ab4 G4  |
tenor 2 | Bb3 Bb3 G3  G4  F4  Eb4 |
",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips() {
        let chord = at.chord(input.score).unwrap_or("the chord");
        let lead = at
            .slip
            .expected
            .first()
            .map(ToString::to_string)
            .unwrap_or_default();
        let right = at.slip.harmony.as_deref().unwrap_or("its passing chord");
        let what = at
            .diagnosis
            .function
            .map_or("passing note", crate::sonority::lead::LeadFunction::name);
        let what = wording::with_article(what);
        let message = match at.slip.kind {
            SlipKind::PassingOnChord => {
                format!(
                    "the lead's {lead} (sounding) is {what} over {chord}, but {chord} is kept under it: use {right} here"
                )
            }
            SlipKind::WrongPassingChord => {
                format!(
                    "the lead's {lead} (sounding) is {what} over {chord}, and the chord under it is not the passing chord that contains this note: use {right} here"
                )
            }
            SlipKind::ChordNoteOnPassing => {
                format!(
                    "the lead's {lead} (sounding) is a chord note of {chord}, but a passing chord stands under it: use {right} here"
                )
            }
            _ => continue,
        };
        out.push(at.finding(input.score, &RULE, message));
    }
}

crate::rules::test_examples!(RULE);
