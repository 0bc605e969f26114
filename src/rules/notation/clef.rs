//! `clef`: each part is in a clef its player reads.

use crate::finding::{Finding, Level};
use crate::ground::instrument::{Instrument, Property};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::score::{Clef, Mark, Note, Part};

pub static RULE: Rule = Rule {
    name: "clef",
    group: Group::Notation,
    asks: "A part stands in one of its instrument's clefs, and a change of clef has notes after it (note).",
    why: "A player who does not read the clef does not play the part.",
    source: "published: a university proofreading checklist; common practice, no source, for the clefs of each instrument",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
parts: trombone 1 = trombone

count      | 1  2  3  | 1 2  |
             ^ trombone 1
trombone 1 | C4 D4 E4 | F4 - |
on the page:
trombone 1, bar 1: clef G2
suggestion: trombone 1: write the part in bass clef or tenor clef
",
        right: "\
not on the page:
trombone 1, bar 1: clef G2
on the page:
trombone 1, bar 1: clef C4
",
    }],
    exceptions: &[
        Exception {
            says: "concert scores, where any clef may be meant",
            silent: Silent::With(
                "\
on the page:
trombone 1, bar 1: concert score
",
            ),
        },
        Exception {
            says: "parts that are not transposed as usual, where any clef may be meant",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
pitch: written
section: saxes
parts: baritone = baritone saxophone

count    | 1  2  3  4  | 1  |
baritone | F3 C3 A2 C3 | F2 |
on the page:
baritone, bar 1: no transposition
baritone, bar 1: key -1
baritone, bar 1: clef F4
",
                but: "\
not on the page:
baritone, bar 1: no transposition
baritone, bar 1: key -1
",
            },
        },
        Exception {
            says: "C clefs of voices in old editions",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
parts: alto = alto voice

count | 1  2  3   | 1  |
alto  | D4 G4 F#4 | G4 |
on the page:
alto, bar 1: clef C3
",
                but: "parts: alto = alto saxophone",
            },
        },
        Exception {
            says: "strings, whose players read several clefs",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 4/4
section: bass
parts: bass = double bass

count | 1  2   3  4   | 1  |
bass  | D3 F#3 G3 F#3 | D3 |
on the page:
bass, bar 1: clef C4
",
                but: "parts: bass = tuba",
            },
        },
        Exception {
            says: "keyboards, guitars and percussion",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: vibraphone
parts: solo = vibraphone

count | 1  2  3  4  | 1  |
solo  | F3 A3 C4 A3 | F3 |
on the page:
solo, bar 1: clef F4
",
                but: "parts: solo = tenor saxophone",
            },
        },
    ],
};

fn in_words(clef: Clef) -> &'static str {
    match (clef.sign, clef.line) {
        ('G', _) => "treble clef",
        ('F', _) => "bass clef",
        ('C', 4) => "tenor clef",
        ('C', 3) => "alto clef",
        ('C', _) => "a C clef",
        _ => "percussion clef",
    }
}

/// The clefs of an instrument in words: "bass or tenor clef".
fn usual(instrument: &Instrument) -> String {
    let names: Vec<&str> = instrument
        .clefs
        .iter()
        .map(|c| match c.as_str() {
            "G" => "treble clef",
            "F" => "bass clef",
            "C" => "tenor clef",
            "G8vb" => "treble clef an octave down",
            _ => "percussion clef",
        })
        .collect();
    names.join(" or ")
}

fn reads(instrument: &Instrument, clef: Clef) -> bool {
    instrument.clefs.iter().any(|c| c.starts_with(clef.sign))
        || instrument.is(Property::Sung) && clef.sign == 'C'
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    for member in input.passages.iter().flat_map(|p| p.section.own_parts()) {
        let (Some(part), Some(instrument)) =
            (score.parts.get(member.part as usize), member.instrument)
        else {
            continue;
        };
        if score.concert
            || part.staves > 1
            || !instrument.single_line
            || instrument.is(Property::ManyClefs)
            || part
                .transpositions
                .iter()
                .any(|t| t.value != instrument.transposition)
            || part.transpositions.is_empty() && instrument.transposition.chromatic != 0
        {
            continue;
        }
        let name = wording::part(score, member.part);
        let wrong = |c: &&Mark<Clef>| !reads(instrument, c.value) && is_read(part, c);
        if let Some(clef) = part.clefs.iter().find(wrong) {
            out.push(
                RULE.finding(
                    clef.at,
                    format!(
                        "{name} stands in {}; {} reads {}",
                        in_words(clef.value),
                        wording::with_article(&instrument.name),
                        usual(instrument)
                    ),
                )
                .parts([member.part])
                .instead(format!("{name}: write the part in {}", usual(instrument))),
            );
        }
        if let Some(clef) = idle(part) {
            out.push(
                RULE.finding(
                    clef.at,
                    format!(
                        "{name}: the change to {} has no notes after it",
                        in_words(clef.value)
                    ),
                )
                .level(Level::Note)
                .parts([member.part])
                .instead(format!("{name}: take the clef away")),
            );
        }
    }
}

/// Whether notes stand in a clef before the next one.
fn is_read(part: &Part, clef: &Mark<Clef>) -> bool {
    let next = part.clefs.iter().find(|c| c.onset > clef.onset);
    let from = part.notes.partition_point(|n| n.onset < clef.onset);
    let note = part.notes.iter().skip(from).find(|n| n.sounds());
    note.is_some_and(|n| next.is_none_or(|c| n.onset < c.onset))
}

/// A change of clef that no note follows before the next one or the end.
fn idle(part: &Part) -> Option<&crate::score::Mark<Clef>> {
    let mut next = None;
    for (i, mark) in part.clefs.iter().enumerate().skip(1).rev() {
        let changes = part
            .clefs
            .get(i - 1)
            .is_some_and(|before| before.value != mark.value);
        let from = part.notes.partition_point(|n| n.onset < mark.onset);
        let follows = part
            .notes
            .get(from)
            .is_some_and(|n: &Note| next.is_none_or(|end| n.onset < end));
        if changes && !follows {
            return Some(mark);
        }
        next = Some(mark.onset);
    }
    None
}

crate::rules::test_examples!(RULE);
