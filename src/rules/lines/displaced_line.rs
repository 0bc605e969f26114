//! `displaced-line`: a part stands at the pitch it is meant at, all along. Common practice, no source.

use crate::finding::{Finding, Level};
use crate::ground::pitch::Pitch;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::{stretch, wording};
use crate::score::{Change, NoteRef, Score, Stretch, StretchFault};

pub static RULE: Rule = Rule {
    name: "displaced-line",
    group: Group::Lines,
    asks: "No part stands an octave, another interval or a step of the staff off from here to there.",
    why: "A line that was moved or entered a step off is one mistake. The rest of the score was read with the notes that are meant.",
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
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
    }],
    exceptions: &[Exception {
        says: "fewer than five notes, which other rules report one by one",
        silent: Silent::With("tenor 1 | D3  E3  F3  A3  | F4  E4  D4  F4  |\n"),
    }],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for stretch in &input.score.stretches {
        out.extend(about(input, stretch));
    }
}

fn about(input: &RuleInput<'_>, found: &Stretch) -> Option<Finding> {
    let StretchFault::Displaced { by, meant } = &found.fault;
    let score = input.score;
    let changes = changes(score, found.part, meant);
    let first = changes.first()?.note;
    // Written as it is meant, it is no fault any more.
    if !score.is_displaced(first) || !input.notes(found.part).any(|(i, _)| i == first.note) {
        return None;
    }
    let at = score
        .parts
        .get(first.part as usize)?
        .notes
        .get(first.note as usize)?
        .at;
    let who = wording::part(score, found.part);
    let away = stretch::away(*by);
    Some(
        RULE.finding(
            at,
            format!(
                "{who} stands {away} {}: as it stands {} of {} notes go with what the others play, moved back {}",
                stretch::bars(score, found),
                found.stand,
                found.compared,
                found.fit
            ),
        )
        .parts([found.part])
        .at_notes(changes.iter().map(|c| c.note), 0, &away)
        .instead(stretch::moved_back(score, found))
        .may_mend([changes]),
    )
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
