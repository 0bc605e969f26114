//! `clef`: each part is in a clef its player reads.

use crate::finding::{Finding, Level};
use crate::ground::instrument::{Instrument, Property};
use crate::rules::shared::page::finding;
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};
use crate::score::{Clef, Note, Part};

pub static RULE: Rule = Rule {
    name: "clef",
    group: Group::Notation,
    asks: "A part stands in one of its instrument's clefs, and a change of clef has notes after it (note).",
    why: "A player who does not read the clef does not play the part.",
    exceptions: &[
        "concert scores and parts that are not transposed as usual: there any clef may be meant",
        "C clefs of voices in old editions",
        "strings, keyboards, guitars and percussion",
    ],
    source: "rules/instruments.toml names the clefs; published: a university proofreading checklist",
    level: Level::Warning,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "meter: 4/4
parts: trombone 1 = trombone

count      | 1  2  3  | 1 2  |
trombone 1 | C4 D4 E4 | F4 - |
on the page:
trombone 1, bar 1: clef G2
",
        at: ("1", "1"),
        right: "meter: 4/4
parts: trombone 1 = trombone

count      | 1  2  3  | 1 2  |
trombone 1 | C4 D4 E4 | F4 - |
on the page:
trombone 1, bar 1: clef C4
",
    }],
    check,
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

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    if reading.is_recheck() {
        return;
    }
    let score = reading.score;
    for member in reading.passages.iter().flat_map(|p| &p.section.parts) {
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
        if let Some(clef) = part.clefs.iter().find(|c| !reads(instrument, c.value)) {
            out.push(finding(
                &RULE,
                Level::Warning,
                vec![member.part],
                clef.at,
                format!(
                    "{name} stands in {}; {} reads {}",
                    in_words(clef.value),
                    wording::with_article(&instrument.name),
                    usual(instrument)
                ),
                format!("{name}: write the part in {}", usual(instrument)),
            ));
        }
        if let Some(clef) = idle(part) {
            out.push(finding(
                &RULE,
                Level::Note,
                vec![member.part],
                clef.at,
                format!(
                    "{name}: the change to {} has no notes after it",
                    in_words(clef.value)
                ),
                format!("{name}: take the clef away"),
            ));
        }
    }
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
