//! `semitone-cluster`: inner voices do not crowd. Published: jazz arranging texts (no two adjacent
//! seconds in one chord); half steps between inner voices: the same.

use crate::diagnosis::{Fault, Verdict, frame_at};
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::remedies::nearby;
use crate::rules::shared::wording;
use crate::voicing::{Form, Technique, Voicing, crowd};

pub static RULE: Rule = Rule {
    name: "semitone-cluster",
    group: Group::Rubs,
    asks: "A held chord has no two seconds in a row with a half step among them, outside clusters.",
    why: "Three neighbours in the scale struck together blur the chord, and the players in the middle cannot hear their own note.",
    source: "published: jazz arranging texts",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: C major
meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | Dm7 -  |
count     | 1   3  |
trumpet 1 | C5  A4 |
trumpet 2 | G4  F4 |
            ^^ crowded
trumpet 3 | F4  D4 |
            ^^ crowded
trumpet 4 | E4  C4 |
            ^^ crowded
fix: trumpet 2: write A4 (written B4) instead of G4 (written A4)
",
        right: "\
trumpet 2 | A4  F4 |
trumpet 4 | D4  C4 |
",
    }],
    exceptions: &[
        Exception {
            says: "passages in clusters",
            silent: Silent::With(
                "\
technique: cluster
trumpet 3 | F4 E4 |
trumpet 4 | E4 D4 |
",
            ),
        },
        Exception {
            says: "clusters where no technique is in force",
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

chord      | Gm7 | Cm7 |
count      | 1   | 1   |
trombone 1 | F4  | Eb4 |
trombone 2 | C4  | C4  |
trombone 3 | Bb3 | Bb3 |
trombone 4 | A3  | G3  |
",
                but: "technique: four-way close",
            },
        },
        Exception {
            says: "chords shorter than a beat",
            silent: Silent::With("count     | 1   &  |"),
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    // A keyboard's music for its own sake has its own harmony.
    let symbols = input.score.chords.iter().any(|m| m.value.chord.is_some());
    for at in input.sonorities() {
        let voices = &at.sonority.voices;
        if !at.is_block()
            || at.passage.section.chordal && !symbols
            || voices.iter().any(|v| input.is_claimed(v.note))
            || matches!(at.verdict(), Some(Verdict::Slip(_)))
        {
            continue;
        }
        let force = at.passage.in_force.get(at.index).copied().flatten();
        let clusters = force.is_some_and(|f| f.technique == Technique::Form(Form::Cluster));
        let held = at.lead().is_some_and(|l| l.duration() >= l.beat);
        if clusters || !held {
            continue;
        }
        // The doubled lead an octave below is no note of its own.
        let lead_below = voices.first().map_or(0, |v| v.midi - 12);
        let own = voices.iter().filter(|v| v.midi != lead_below);
        let midi: Voicing = own.clone().map(|v| v.midi).collect();
        let Some(first) = crowd(&midi) else {
            continue;
        };
        let key = at.passage.key_at(input.score, at.sonority.onset);
        let chord = frame_at(input.score, at.sonority.onset, key);
        // Outside a passage that is held to a technique it is a cluster, and meant.
        let held_to_technique = matches!(at.verdict(), Some(Verdict::Right(_)));
        if !held_to_technique && Form::Cluster.fits(&at.sonority.midi(), chord.as_ref()) {
            continue;
        }
        let faults: Vec<Fault> = own.skip(first).take(3).map(|v| at.fault(v)).collect();
        let message = format!(
            "two seconds in a row: {}",
            wording::who_has(input.score, &faults)
        );
        out.push(
            at.finding(input.score, &RULE, message)
                .chord(chord.map(|f| f.chord.text.as_str()))
                .technique(force.map(|f| f.technique))
                .at_fault(&faults, "crowded")
                .instead("put a chord note back in place of the tension in the middle, or open the chord up")
                .may_mend(nearby(input, at, &faults)),
        );
    }
}

crate::rules::test_examples!(RULE);
