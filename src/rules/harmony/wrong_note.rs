//! `wrong-note`: a voice sounds a note that is in no right voicing of its chord. Published: jazz
//! harmony course on chord notes and available tensions.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::harmony::held_over;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::sonority::lead::LeadFunction;
use crate::voicing::Colour;

pub static RULE: Rule = Rule {
    name: "wrong-note",
    group: Group::Harmony,
    asks: "Every voice sounds a chord note, an available tension, or a note of the passing chord.",
    why: "The other voices spell the chord; this one contradicts it, and the rhythm section plays the symbol.",
    source: "published: jazz harmony course cards on chord notes and available tensions; common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[
        Example {
            wrong: "\
meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | F6  -   -  |
count     | 1   2   3  |
trumpet 1 | A4  C5  F5 |
trumpet 2 | F4  A4  D5 |
trumpet 3 | D4  F#4 C5 |
                ^^^ should be F4
trumpet 4 | C4  D4  A4 |
fix: trumpet 3: write F4 (written G4) instead of F#4 (written G#4)
",
            right: "trumpet 3 | D4  F4  C5 |",
        },
        Example {
            wrong: "\
key: Eb major
meter: 4/4
section: trombones
technique: drop 2
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | Fm7 -   Bb7 | Eb6 |
count      | 1   2   3   | 1   |
trombone 1 | F4  Ab4 -   | G4  |
trombone 2 | C4  Eb4 Eb4 | C4  |
                     ^^^ should be D4
trombone 3 | Ab3 C4  Bb3 | Bb3 |
trombone 4 | Eb3 F3  F3  | Eb3 |
fix: trombone 2: write D4 instead of Eb4
",
            right: "\
trombone 2 | C4  Eb4 D4  | C4  |
trombone 4 | Eb3 F3  -   | Eb3 |
",
        },
        Example {
            wrong: "\
key: F major
meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | F6  -   | Fm6  | C7  |
count   | 1   2   | 1    | 1   |
alto 1  | A4  D5  | -    | C5  |
alto 2  | F4  C5  | -    | Bb4 |
tenor 1 | D4  A4  | -    | G4  |
                    ^ not in Fm6
tenor 2 | C4  F4  | -    | E4  |
suggestion: move to a note of Fm6 where it comes in, or let go before it
",
            right: "tenor 1 | D4  A4  | Ab4  | G4  |",
        },
    ],
    exceptions: &[
        Exception {
            says: "9 for 1, 13 for 5 and the other substitutions the chord's family allows",
            silent: Silent::With("trumpet 3 | D4  G4  C5 |"),
        },
        Exception {
            says: "altered tensions on a dominant that the symbol does not name: unavailable-tension reports them",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | C7  -   Bb6 |
count   | 1   2   3   |
alto 1  | Bb4 G4  F4  |
alto 2  | G4  E4  D4  |
tenor 1 | E4  C4  Bb3 |
tenor 2 | Db4 Bb3 G3  |
",
                but: "tenor 2 | B3  Bb3 G3  |",
            },
        },
        Exception {
            says: "a chord of a beat, struck again or not, that moves on by the same step in every voice",
            silent: Silent::Passage {
                passage: "\
key: A minor
meter: 4/4
section: trombones
technique: free
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

chord      | Bm7b5 -   -   E7  -   |
count      | 1     2   2&  3   4   |
trombone 1 | D4    C#4 C#4 D4  B3  |
trombone 2 | A3    A#3 A#3 B3  G#3 |
trombone 3 | F3    G3  G3  G#3 D3  |
",
                but: "trombone 3 | F3  G3  G3  E3 D3 |",
            },
        },
        Exception {
            says: "under a held lead, notes held for less than two beats into a chord they are foreign to",
            silent: Silent::ExampleWith(
                3,
                "\
count   | 1  2  | 1   2 | 1   |
chord   | F6 -  | Fm6 - | C7  |
alto 1  | A4 D5 | -   . | C5  |
alto 2  | F4 C5 | -   . | Bb4 |
tenor 1 | D4 A4 | -   . | G4  |
tenor 2 | C4 F4 | -   . | E4  |
",
            ),
        },
        Exception {
            says: "under a held lead, notes that the chord at their end has a place for",
            silent: Silent::ExampleWith(
                3,
                "\
chord   | F6 -  | Fm6 F6 | C7  |
count   | 1  2  | 1   3  | 1   |
alto 1  | A4 D5 | -   -  | C5  |
alto 2  | F4 C5 | -   -  | Bb4 |
tenor 1 | D4 A4 | -   -  | G4  |
tenor 2 | C4 F4 | -   -  | E4  |
",
            ),
        },
        Exception {
            says: "under a held lead, suspensions that resolve by step",
            silent: Silent::ExampleWith(
                3,
                "\
chord   | F6 -  | Fm6 -   | C7  |
count   | 1  2  | 1   3   | 1   |
alto 1  | A4 D5 | -   -   | C5  |
alto 2  | F4 C5 | -   -   | Bb4 |
tenor 1 | D4 A4 | -   Ab4 | G4  |
tenor 2 | C4 F4 | -   -   | E4  |
",
            ),
        },
        Exception {
            says: "under a held lead, a pedal at the bottom below voices that move",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: trombones
technique: free
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | C6 | D6  | G6 |
count      | 1  | 1   | 1  |
trombone 1 | A4 | -   | G4 |
trombone 2 | E4 | D4  | D4 |
trombone 3 | G3 | F#3 | E3 |
trombone 4 | C3 | -   | B2 |
",
                but: "\
trombone 2 | C4 | -  | D4 |
trombone 4 | E3 | D3 | B2 |
",
            },
        },
        Exception {
            says: "a lead held over a chord that has no place for it",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
section: trombones
technique: free
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | Bb  | A   | Bb  |
count      | 1   | 1   | 1   |
trombone 1 | F4  | -   | F4  |
trombone 2 | D4  | C#4 | D4  |
trombone 3 | F3  | -   | F3  |
trombone 4 | Bb2 | A2  | Bb2 |
",
                but: "trombone 1 | A4  | -   | Bb4 |",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips_of(SlipKind::WrongNote) {
        let chord = at.chord(input.score).unwrap_or("the chord");
        let who = at.who_has(input.score);
        let right = at.slip.harmony.as_deref();
        let are = if at.slip.faults.len() > 1 {
            "are"
        } else {
            "is"
        };
        let anticipated = at.diagnosis.function == Some(LeadFunction::Anticipation);
        let message = match (right, &at.diagnosis.technique) {
            // A line in unison or octaves.
            (None, Some(force)) => format!("{who}, while the others play {}", force.technique),
            (None, None) => who,
            (Some(right), _) if right == chord => format!("{who}, which {are} not in {chord}"),
            (Some(right), _) if anticipated => {
                format!("{who}, which {are} not in {right}, the chord that is anticipated here")
            }
            (Some(right), _) => format!(
                "{who}, which {are} not in {right}, the chord under this lead note over {chord}"
            ),
        };
        out.push(at.finding(input.score, &RULE, message));
    }
    in_free_writing(input, out);
    held_over::check(input, &RULE, out);
}

/// Notes foreign to the chord symbol where no technique is in force. Where most chords of a passage
/// do not go with their symbols, the symbols are the ones that are off, and nothing is said.
fn in_free_writing(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let mut judged = 0usize;
    let mut found = Vec::new();
    for chord in input.free_chords() {
        judged += 1;
        let off = chord.coloured(Colour::Foreign);
        if off.is_empty() {
            continue;
        }
        // Half of the notes and more make another chord, not a slip.
        if off.len() * 2 >= chord.sonority.voices.len() {
            found.push(None);
            continue;
        }
        let faults: Vec<_> = off
            .iter()
            .filter_map(|&i| chord.fault(i, chord.alternatives(i).first().copied()))
            .collect();
        let level = if chord.is_held() {
            Level::Error
        } else {
            Level::Warning
        };
        let are = if faults.len() > 1 { "are" } else { "is" };
        let message = format!(
            "{}, which {are} neither in {} nor a tension over it",
            wording::who_has(input.score, &faults),
            chord.frame.chord
        );
        found.push(Some(
            chord
                .finding(input.score, &RULE, message, &faults, "not in the chord")
                .level(level),
        ));
    }
    if judged > 8 && found.len() * 3 > judged {
        return;
    }
    out.extend(found.into_iter().flatten());
}

crate::rules::test_examples!(RULE);
