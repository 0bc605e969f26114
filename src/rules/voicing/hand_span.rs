//! `hand-span`: a chord fits the hands that play it. Common practice, no source: a ninth for most
//! hands, a tenth for large ones (`rules/instruments.toml`).

use crate::diagnosis::Fault;
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::sonority::Voice;
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "hand-span",
    group: Group::Voicing,
    asks: "What one hand strikes on a keyboard lies within a ninth, a tenth for large hands.",
    why: "Hands differ: what is wider has to be rolled, thinned out or shared between the hands. Stretching to reach it can hurt; the player and the teacher know the hand.",
    source: "common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: C major
meter: 4/4
section: piano
parts: piano = piano

chord | C6 -  |
count | 1  2  |
piano | C5+A4+G4+E4+C4 C6+A4+E4+G3+A1 |
                                ^^ ^^ one hand
suggestion: share the chord between the hands, leave a note out, or roll it
",
        right: "piano | C5+A4+G4+E4+C4 C5+A4+E4+C3+C2 |",
    }],
    exceptions: &[
        Exception {
            says: "chords that both hands can share",
            silent: Silent::With("piano | C5+A4+G4+E4+C4 C6+A5+E5+G3+A2 |"),
        },
        Exception {
            says: "notes that are held from before",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: piano
parts: piano = piano

chord | F6 -               |
count | 1  2               |
piano | F1 F5+D5+A4+C4+-F1 |
",
                but: "piano | F1 F5+D5+A4+C4+F1 |",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.sonorities() {
        for member in &at.passage.section.parts {
            let Some(span) = member.instrument.and_then(|i| i.hand_span) else {
                continue;
            };
            let voices = at.sonority.voices.iter();
            let struck: Hand<'_> = voices
                .filter(|v| v.attacked && v.note.part == member.part)
                .collect();
            let Some(wide) = widest_hand(input, &struck) else {
                continue;
            };
            let by = width(&wide);
            if by <= span.comfortable {
                continue;
            }
            let outer: Vec<Fault> = [wide.first(), wide.last()]
                .into_iter()
                .flatten()
                .map(|v| at.fault(v))
                .collect();
            let pitches: Vec<String> = outer
                .iter()
                .map(|f| wording::for_player(input.score, f.note, f.found))
                .collect();
            let (level, how) = if by > span.large {
                (Level::Warning, "more than a large hand reaches")
            } else {
                (Level::Note, "a stretch for most hands")
            };
            let message = format!(
                "{}: one hand has {}, {by} semitones, {how}",
                wording::part(input.score, member.part),
                wording::join(&pitches)
            );
            out.push(
                at.finding(input.score, &RULE, message)
                    .level(level)
                    .at_fault(&outer, "one hand")
                    .instead("share the chord between the hands, leave a note out, or roll it"),
            );
        }
    }
}

/// What one hand plays, or both, from the top.
type Hand<'v> = SmallVec<[&'v Voice; 8]>;

/// The distance from the top to the bottom, in semitones.
fn width(hand: &[&Voice]) -> i16 {
    match (hand.first(), hand.last()) {
        (Some(a), Some(b)) => a.midi - b.midi,
        _ => 0,
    }
}

/// The hand that has to reach furthest. The staves say which hand plays what; on one staff the hands
/// share the chord as best they can.
fn widest_hand<'v>(input: &RuleInput<'_>, struck: &[&'v Voice]) -> Option<Hand<'v>> {
    let staff = |v: &Voice| {
        input
            .score
            .parts
            .get(v.note.part as usize)
            .and_then(|p| p.notes.get(v.note.note as usize))
            .map_or(1, |n| n.staff)
    };
    let first = struck.first().map(|v| staff(v))?;
    let two_staves = struck.iter().any(|v| staff(v) != first);
    let (right, left): (Hand<'_>, Hand<'_>) = if two_staves {
        struck.iter().copied().partition(|v| staff(v) == 1)
    } else {
        let split = (0..=struck.len()).min_by_key(|&at| {
            let (a, b) = struck.split_at(at);
            (width(a).max(width(b)), at)
        })?;
        let (a, b) = struck.split_at(split);
        (a.into(), b.into())
    };
    Some(if width(&right) >= width(&left) {
        right
    } else {
        left
    })
}

crate::rules::test_examples!(RULE);
