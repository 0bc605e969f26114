//! `wrong-voice-dropped`: the chord is right, but another voice was dropped than the technique in
//! force says. Published: jazz arranging texts (drop voicings as transforms of close position).

use crate::diagnosis::{How, SlipKind};
use crate::finding::{Finding, Level};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};

pub static RULE: Rule = Rule {
    name: "wrong-voice-dropped",
    group: Group::Voicing,
    asks: "Every chord of a passage drops the voice its technique drops, and no other.",
    why: "A single chord in another technique jumps out of the line: one player leaves the voice leading of the section for a beat.",
    exceptions: &[
        "a chord on which the technique in force would make a minor ninth",
        "passages in no mechanical technique",
    ],
    source: "published: arranging texts on drop voicings; technique changes inside a phrase: common practice, no source",
    level: Level::Error,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "meter: 4/4
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
tenor 1 | E4  G4  A4  G4 |
tenor 2 | A3  A3  E4  C4 |
",
        at: ("1", "2"),
        right: "meter: 4/4
section: saxes
technique: drop 2
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | C6  -   -   -  |
count   | 1   2   3   4  |
alto 1  | C5  E5  G5  E5 |
alto 2  | G4  A4  C5  A4 |
tenor 1 | E4  G4  A4  G4 |
tenor 2 | A3  C4  E4  C4 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for at in reading.slips() {
        let SlipKind::OtherDrop(found) = at.slip.kind else {
            continue;
        };
        let Some(force) = at.diagnosis.technique else {
            continue;
        };
        let last = at.passage.phrase_of(at.index).end == at.index + 1;
        // Writers open up or close in on a last long chord; the technique was only inferred.
        let level = if last && force.how == How::Inferred && at.is_held() {
            Level::Warning
        } else {
            Level::Error
        };
        let message = format!(
            "this chord is in {found}, the passage in {}: {}",
            force.technique,
            wording::who_has(reading.score, &at.slip.faults)
        );
        let mut finding = at.finding(reading.score, &RULE, level, message);
        // What is wrong is the octave; who gets which note then is the suggestion's business.
        for (note, fault) in finding.notes.iter_mut().zip(&at.slip.faults) {
            match fault.expected.midi() - fault.found.midi() {
                -12 => "should be dropped".clone_into(&mut note.label),
                12 => "should not be dropped".clone_into(&mut note.label),
                _ => {}
            }
        }
        finding.why = format!(
            "In {}, {}. {}",
            force.technique,
            force.technique.recipe(),
            RULE.why
        );
        out.push(finding);
    }
}
