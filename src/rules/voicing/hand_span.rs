//! `hand-span`: a chord fits the hands that play it. Common practice, no source: a ninth for most
//! hands, a tenth for large ones (`rules/instruments.toml`).

use crate::diagnosis::Fault;
use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::score::{Articulations, Note, NoteFlags, in_force};
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
            says: "chords that both hands can share, whatever staff the notes stand on",
            silent: Silent::With("piano | C5+A4+G4+E4+C4 C6+A5+E5+G3+A2 |"),
        },
        Exception {
            says: "a chord that is rolled",
            silent: Silent::With(
                "\
on the page:
piano, bar 1, beat 2: rolled
",
            ),
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
            let rolled = |v: &&Voice| {
                note(input, v).is_some_and(|n| n.articulations.has(Articulations::ROLLED))
            };
            if struck.iter().any(rolled) || has_grace(input, member.part, at.sonority.onset) {
                continue;
            }
            let Some(wide) = widest_hand(&struck) else {
                continue;
            };
            let by = width(&wide);
            if by <= span.comfortable {
                continue;
            }
            let pedalled = input
                .score
                .parts
                .get(member.part as usize)
                .and_then(|p| in_force(&p.pedals, at.sonority.onset))
                .is_some_and(|pedal| pedal.value);
            let outer: Vec<Fault> = [wide.first(), wide.last()]
                .into_iter()
                .flatten()
                .map(|v| at.fault(v))
                .collect();
            let pitches: Vec<String> = outer
                .iter()
                .map(|f| wording::for_player(input.score, f.note, f.found))
                .collect();
            // With the pedal down the hand may leave the first notes before the last.
            let (level, how) = if by > span.large && pedalled {
                (Level::Note, "which has to be rolled over the pedal")
            } else if by > span.large {
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

/// Whether a grace note stands before a chord: the bass is struck first, and the hand goes on.
fn has_grace(input: &RuleInput<'_>, part: u32, onset: Ticks) -> bool {
    let part = input.score.parts.get(part as usize);
    let notes = part.map_or(&[][..], |p| &p.notes);
    let from = notes.partition_point(|n| n.onset < onset);
    let here = notes.iter().skip(from).take_while(|n| n.onset == onset);
    here.into_iter().any(|n| n.flags.has(NoteFlags::GRACE))
}

/// The note of a voice.
fn note<'a>(input: &RuleInput<'a>, voice: &Voice) -> Option<&'a Note> {
    let part = input.score.parts.get(voice.note.part as usize)?;
    part.notes.get(voice.note.note as usize)
}

/// The hand that has to reach furthest. The hands share the notes as best they can, whatever the staves
/// say: a player takes a low note of the right hand with the left.
fn widest_hand<'v>(struck: &[&'v Voice]) -> Option<Hand<'v>> {
    let split = (0..=struck.len()).min_by_key(|&at| {
        let (a, b) = struck.split_at(at);
        (width(a).max(width(b)), at)
    })?;
    let (right, left) = struck.split_at(split);
    let wide = if width(right) >= width(left) {
        right
    } else {
        left
    };
    Some(wide.into())
}

crate::rules::test_examples!(RULE);
