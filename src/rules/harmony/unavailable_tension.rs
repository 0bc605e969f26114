//! `unavailable-tension`: tensions are those the chord's function has. Published: harmony course
//! cards; dominants: common practice, no source.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::voicing::Colour;

pub static RULE: Rule = Rule {
    name: "unavailable-tension",
    group: Group::Harmony,
    asks: "A note beyond the chord is a tension that the chord's function has: no eleventh over a major third, no natural ninth against a flat one.",
    why: "A note a half step above a chord note, or against an alteration the symbol names, undoes what the chord is for.",
    source: "published: harmony course cards; dominants: common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[
        Example {
            wrong: "\
key: C major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

chord      | Cmaj7 -  |
count      | 1     3  |
trombone 1 | G4    E4 |
trombone 2 | E4    B3 |
trombone 3 | B3    F3 |
                   ^^ not over this chord
fix: trombone 3: write G3 instead of F3
",
            right: "trombone 3 | B3    G3 |",
        },
        Example {
            wrong: "\
key: C major
meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | G7 -  Fmaj7 |
count     | 1  2  3     |
trumpet 1 | F5 D5 E5    |
trumpet 2 | D5 B4 C5    |
trumpet 3 | B4 G4 A4    |
trumpet 4 | Ab4 F4 F4   |
            ^^^ should be G4
fix: trumpet 4: write G4 (written A4) instead of Ab4 (written Bb4)
",
            right: "trumpet 4 | G4 F4 F4   |",
        },
    ],
    exceptions: &[
        Exception {
            says: "the fourth of a suspended symbol",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

chord      | F7sus4 -   | Bb6 |
count      | 1      3   | 1   |
trombone 1 | C4     Eb4 | D4  |
trombone 2 | Bb3    C4  | Bb3 |
trombone 3 | Eb3    Bb3 | G3  |
",
                but: "chord      | F7     -   | Bb6 |",
            },
        },
        Exception {
            says: "altered tensions over a dominant that leads on",
            silent: Silent::ExampleWith(
                2,
                "\
chord     | G7  -  C6 |
count     | 1   3  4  |
trumpet 3 | B4  G4 A4 |
trumpet 4 | Ab4 F4 G4 |
",
            ),
        },
        Exception {
            says: "altered tensions that the symbol names",
            silent: Silent::ExampleWith(2, "chord     | G7b9 -  Fmaj7 |"),
        },
        Exception {
            says: "a whole diminished seventh under a note of a beat that leads on, a voice of it doubled",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: saxes
technique: free
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | Fm6 -   -   |
count    | 1   2   3   |
alto 1   | F4  E4  F4  |
alto 2   | D4  Db4 D4  |
tenor 1  | C4  Bb3 C4  |
tenor 2  | Ab3 G3  Ab3 |
baritone | D3  Db3 D3  |
",
                but: "tenor 1  | C4  C4 C4 |",
            },
        },
        Exception {
            says: "altered tensions beside one in the lead",
            silent: Silent::ExampleWith(
                2,
                "\
trumpet 1 | Ab5 D5 E5 |
trumpet 2 | F5  B4 C5 |
trumpet 3 | Eb5 G4 A4 |
trumpet 4 | B4  F4 F4 |
",
            ),
        },
        Exception {
            says: "approach chords shorter than a beat",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

chord      | D6  -   -  -   |
count      | 1   2   &  3   |
trombone 1 | A3  F#4 E4 D4  |
trombone 2 | F#3 D4  B3 B3  |
trombone 3 | D3  A3  G3 F#3 |
",
                but: "count      | 1  2  3  4   |",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips() {
        let SlipKind::AlteredTension(name) = at.slip.kind else {
            continue;
        };
        let chord = at.chord(input.score).unwrap_or("the chord");
        let message = format!(
            "{}: {name} alters {chord}, and neither the symbol, the lead nor the next chord asks for it",
            at.who_has(input.score)
        );
        out.push(at.finding(input.score, &RULE, message).level(Level::Note));
    }
    for chord in input.free_chords() {
        let off = chord.coloured(Colour::Avoid);
        if off.is_empty() || !chord.coloured(Colour::Foreign).is_empty() {
            continue; // with a foreign note beside it, it is the wrong note's business
        }
        let faults: Vec<_> = off
            .iter()
            .filter_map(|&i| chord.fault(i, chord.alternatives(i).first().copied()))
            .collect();
        let level = if chord.is_held() || chord.lead.strong {
            Level::Warning
        } else {
            Level::Note
        };
        let message = format!(
            "{}, which {} does not take",
            wording::who_has(input.score, &faults),
            chord.frame.chord
        );
        out.push(
            chord
                .finding(input.score, &RULE, message, &faults, "not over this chord")
                .level(level),
        );
    }
}

crate::rules::test_examples!(RULE);
