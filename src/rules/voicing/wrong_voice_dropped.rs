//! `wrong-voice-dropped`: the chord is right, but another voice was dropped than the technique in
//! force says. Published: jazz arranging texts (drop voicings as transforms of close position).

use crate::diagnosis::{How, SlipKind};
use crate::finding::{Finding, Level};
use crate::rules::diagnosed::SlipAt;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::sonority::Sonority;

pub static RULE: Rule = Rule {
    name: "wrong-voice-dropped",
    group: Group::Voicing,
    asks: "Every chord of a passage drops the voice its technique drops, and no other.",
    why: "A single chord in another technique jumps out of the line: one player leaves the voice leading of the section for a beat.",
    source: "published: arranging texts on drop voicings; technique changes inside a phrase: common practice, no source",
    level: Level::Error,
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
alto 2  | G4  C5  C5  A4 |
              ^^ should be A4
tenor 1 | E4  G4  A4  G4 |
tenor 2 | A3  A3  E4  C4 |
              ^^ should not be dropped
fix: alto 2: write A4 (written F#5) instead of C5 (written A5); tenor 2: write C4 (written D5) instead of A3 (written B4)
",
        right: "\
alto 2  | G4  A4  C5  A4 |
tenor 2 | A3  C4  E4  C4 |
",
    }],
    exceptions: &[
        Exception {
            says: "a chord on which the technique in force would make a minor ninth",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: saxes
technique: drop 3
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Ebmaj7 -   -   |
count   | 1      2   3   |
alto 1  | D5     G5  Bb4 |
alto 2  | Bb4    D5  G4  |
tenor 1 | Eb4    Bb4 D4  |
tenor 2 | G3     Eb4 Eb3 |
",
                but: "alto 2  | Bb4   C5  G4 |",
            },
        },
        Exception {
            says: "passages in no mechanical technique",
            silent: Silent::With("technique: free"),
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips() {
        let SlipKind::OtherDrop(found) = at.slip.kind else {
            continue;
        };
        let Some(force) = at.diagnosis.technique else {
            continue;
        };
        let last = at.place.passage.phrase_of(at.place.index).end == at.place.index + 1;
        // Writers open up or close in on a last long chord; the technique was only inferred.
        let level = if last && force.how == How::Inferred && at.is_held() {
            Level::Warning
        } else {
            Level::Error
        };
        // A section under another in a tutti takes the drop that its range wants.
        let level = if force.how == How::Inferred && is_under_another(input, &at) {
            Level::Note
        } else {
            level
        };
        let message = format!(
            "this chord is in {found}, the passage in {}: {}",
            force.technique,
            at.who_has(input.score)
        );
        let recipe = force.technique.recipe();
        let mut finding = at
            .finding(input.score, &RULE, message)
            .level(at.level(level))
            .because(format!("In {}, {recipe}. {}", force.technique, RULE.why));
        // What is wrong is the octave; who gets which note then is the suggestion's business.
        for (note, fault) in finding.notes.iter_mut().zip(&at.slip.faults) {
            match fault.expected.midi() - fault.found.midi() {
                -12 => "should be dropped".clone_into(&mut note.label),
                12 => "should not be dropped".clone_into(&mut note.label),
                _ => {}
            }
        }
        out.push(finding);
    }
}

/// Whether another section strikes a chord at the same time, with a higher lead.
fn is_under_another(input: &RuleInput<'_>, at: &SlipAt<'_>) -> bool {
    let own = at.place.sonority;
    let top = |s: &Sonority| s.voices.first().map(|v| v.midi);
    input.passages.iter().any(|other| {
        let here = other
            .sonorities
            .binary_search_by_key(&own.onset, |s| s.onset);
        other.section.key != at.place.passage.section.key
            && !other.section.chordal
            && here
                .ok()
                .and_then(|i| other.sonorities.get(i))
                .is_some_and(|s| s.is_block() && top(s) >= top(own))
    })
}

crate::rules::test_examples!(RULE);
