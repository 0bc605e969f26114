//! `copied-line`: in harmony each part has a line of its own. Common practice, no source.

use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::{stretch, wording};
use crate::score::{NoteFlags, NoteRef, Stretch, StretchFault};

pub static RULE: Rule = Rule {
    name: "copied-line",
    group: Group::Lines,
    asks: "In harmony no part has its neighbour's line for a while in place of its own.",
    why: "A line that was pasted into the wrong part doubles another player, and the chords lack a member. The rest of the score was read without it.",
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
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
tenor 1 | F4  G4  A4  C5  | A4  G4  F4  A4  |
          ^^  ^^  ^^  ^^    ^^  ^^  ^^  ^^ the line of alto 2
tenor 2 | C4  Db4 D4  F4  | D4  Db4 C4  D4  |

chord   | F6  -   -   -   | -   -   -   -   |
count   | 1   2   3   4   | 1   2   3   4   |
alto 1  | C5  A4  Bb4 D5  | C5  D5  C5  A4  |
alto 2  | A4  F4  G4  C5  | A4  C5  A4  F4  |
tenor 1 | F4  D4  E4  A4  | F4  A4  F4  D4  |
tenor 2 | D4  C4  Db4 F4  | D4  F4  D4  C4  |
suggestion: tenor 1: write its own line in bars 1-2, not that of alto 2
",
        right: "\
tenor 1 | D4  E4  F4  A4  | F4  E4  D4  F4  |
",
    }],
    exceptions: &[Exception {
        says: "parts that double each other elsewhere too",
        silent: Silent::With(
            "\
system 2:
tenor 1 | A4  F4  G4  C5  | A4  C5  A4  F4  |
",
        ),
    }],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for stretch in &input.score.stretches {
        out.extend(about(input, stretch));
    }
}

fn about(input: &RuleInput<'_>, found: &Stretch) -> Option<Finding> {
    let StretchFault::Copied(model) = found.fault else {
        return None;
    };
    let score = input.score;
    let part = score.parts.get(found.part as usize)?;
    let at = part.notes.get(found.from as usize)?.at;
    let (who, whose) = (
        wording::part(score, found.part),
        wording::part(score, model),
    );
    let bars = stretch::bars(score, found);
    let lack = found.compared.saturating_sub(found.stand);
    let struck = (found.from..found.to).filter(|i| {
        let note = part.notes.get(*i as usize);
        note.is_some_and(|n| !n.flags.has(NoteFlags::TIED_IN))
    });
    let notes = struck.map(|note| NoteRef {
        part: found.part,
        note,
    });
    Some(
        RULE.finding(
            at,
            format!(
                "{who} has the line of {whose} {bars}: {lack} of {} chords there lack the note that it has elsewhere",
                found.compared
            ),
        )
        .parts([found.part])
        .at_notes(notes, 0, &format!("the line of {whose}"))
        .instead(format!("{who}: write its own line {bars}, not that of {whose}")),
    )
}

crate::rules::test_examples!(RULE);
