//! `displaced-line`: a part stands at the pitch it is meant at, all along. Common practice, no source.

use crate::finding::{Finding, Level};
use crate::ground::pitch::Pitch;
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::{stretch, wording};
use crate::score::{Change, NoteFlags, NoteRef, Score, Stretch, StretchFault};

pub static RULE: Rule = Rule {
    name: "displaced-line",
    group: Group::Lines,
    asks: "No part stands an octave, another interval or a step of the staff off from here to there, nor a beat or a bar late.",
    why: "A line that was moved or entered a step off is one mistake. The rest of the score was read with the notes that are meant, or without those that come late.",
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[
        Example {
            wrong: "\
key: F major
meter: 4/4
pitch: sounding
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | F6  -   -   -   | -   -   -   -   |
count   | 1   2   3   4   | 1   2   3   4   |
alto 1  | A4  Bb4 C5  D5  | C5  Bb4 A4  C5  |
alto 2  | F4  G4  A4  C5  | A4  G4  F4  A4  |
tenor 1 | D3  E3  F3  A3  | F3  E3  D3  F3  |
          ^^  ^^  ^^  ^^    ^^  ^^  ^^  ^^ an octave low
tenor 2 | C4  Db4 D4  F4  | D4  Db4 C4  D4  |
fix: tenor 1: write it an octave higher in bars 1-2
",
            right: "\
tenor 1 | D4  E4  F4  A4  | F4  E4  D4  F4  |
",
        },
        Example {
            wrong: "\
key: F major
meter: 4/4
pitch: sounding
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | F6  -   -   -   | -   -   -   -   |
count   | 1   2   3   4   | 1   2   3   4   |
alto 1  | A4  Bb4 C5  D5  | C5  Bb4 A4  C5  |
alto 2  | F4  G4  A4  C5  | A4  G4  F4  A4  |
tenor 1 | .   D4  E4  F4  | A4  F4  E4  D4  |
              ^^  ^^  ^^    ^^  ^^  ^^  ^^ a beat late
tenor 2 | C4  Db4 D4  F4  | D4  Db4 C4  D4  |

chord   | F6  -   -   -   | -   -   -   -   |
count   | 1   2   3   4   | 1   2   3   4   |
alto 1  | C5  A4  Bb4 D5  | C5  D5  C5  A4  |
alto 2  | A4  F4  G4  C5  | A4  C5  A4  F4  |
tenor 1 | F4  D4  E4  A4  | F4  A4  F4  D4  |
tenor 2 | D4  C4  Db4 F4  | D4  F4  D4  C4  |
suggestion: tenor 1: write it a beat earlier in bars 1-2
",
            right: "\
tenor 1 | D4  E4  F4  A4  | F4  E4  D4  F4  |
",
        },
    ],
    exceptions: &[Exception {
        says: "fewer than four notes, which other rules report one by one",
        silent: Silent::With("tenor 1 | D3  E3  F3  A4  | F4  E4  D4  F4  |\n"),
    }],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for stretch in &input.score.stretches {
        out.extend(about(input, stretch));
    }
}

fn about(input: &RuleInput<'_>, found: &Stretch) -> Option<Finding> {
    let score = input.score;
    let (away, changes) = match &found.fault {
        StretchFault::Displaced { by, meant } => {
            let changes = changes(score, found.part, meant);
            // Written as it is meant, it is no fault any more.
            if !score.is_displaced(changes.first()?.note) {
                return None;
            }
            (stretch::away(*by), changes)
        }
        StretchFault::Late(late) => {
            let side = if *late < Ticks::ZERO { "early" } else { "late" };
            (
                format!("{} {side}", stretch::time(score, found, *late)),
                Vec::new(),
            )
        }
        StretchFault::Copied(_) | StretchFault::BarMissing(_) => return None,
    };
    if !input.notes(found.part).any(|(i, _)| i == found.from) {
        return None;
    }
    let part = score.parts.get(found.part as usize)?;
    let at = part.notes.get(found.from as usize)?.at;
    let who = wording::part(score, found.part);
    let does = if changes.is_empty() {
        "comes"
    } else {
        "stands"
    };
    // Where one in five goes with the others as it stands, it may be meant.
    let level = if found.stand * 5 <= found.compared {
        RULE.level
    } else {
        Level::Warning
    };
    let struck = (found.from..found.to).filter(|i| {
        let note = part.notes.get(*i as usize);
        note.is_some_and(|n| !n.flags.has(NoteFlags::TIED_IN) && !n.flags.has(NoteFlags::GRACE))
    });
    let notes = struck.map(|note| NoteRef {
        part: found.part,
        note,
    });
    Some(
        RULE.finding(
            at,
            format!(
                "{who} {does} {away} {}: {}",
                stretch::bars(score, found),
                evidence(found)
            ),
        )
        .level(level)
        .parts([found.part])
        .at_notes(notes, 0, &away)
        .suggestion(stretch::moved_back(score, found))
        .may_mend((!changes.is_empty()).then_some(changes)),
    )
}

/// How it is known. Notes that go with the others wherever they are make chords that the rest of the
/// score does not have.
fn evidence(found: &Stretch) -> String {
    let (fit, stand, all) = (found.fit, found.stand, found.compared);
    if stand * 4 >= fit * 3 {
        return format!(
            "moved back, {fit} of {all} notes make the chords that the rest of the score has"
        );
    }
    format!("as it stands {stand} of {all} notes go with what the others play, moved back {fit}")
}

/// The notes that are struck, as they are meant; ties go with them.
fn changes(score: &Score, part: u32, meant: &[(u32, Pitch)]) -> Vec<Change> {
    let mut changes = Vec::with_capacity(meant.len());
    let mut held: Vec<NoteRef> = Vec::new();
    for (index, sounding) in meant {
        let note = NoteRef { part, note: *index };
        if held.contains(&note) {
            continue;
        }
        held = score.tied_chain(note);
        changes.push(Change {
            note,
            sounding: *sounding,
        });
    }
    changes
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correct::correct;
    use crate::proof::Heard;
    use crate::style::Style;

    #[test]
    fn correcting_writes_the_notes_that_are_meant_and_touches_nothing_else() {
        let example = RULE.examples.first().unwrap();
        let wrong = Example::score(example.wrong).unwrap();
        let right = Example::score(&example.right_passage().unwrap()).unwrap();
        let style = Style::default();
        let correction = correct(&Heard::new(wrong.clone(), &style), &style);
        assert_eq!(correction.done.len(), 8);
        assert!(correction.left.findings.is_empty());
        let mut now = wrong;
        now.change(&correction.changes);
        for (now, right) in now.parts.iter().zip(&right.parts) {
            let pitches = |part: &crate::score::Part| -> Vec<Pitch> {
                part.notes.iter().map(|n| n.written).collect()
            };
            assert_eq!(pitches(now), pitches(right));
        }
    }
}
