//! `hand-span`: a chord fits the hands that play it. Common practice, no source: a ninth for most
//! hands, a tenth for large ones (`rules/instruments.toml`).

use crate::diagnosis::Fault;
use crate::finding::{Finding, Level, NoteAtFault};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};
use crate::sonority::{Sonority, Voice};
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "hand-span",
    group: Group::Voicing,
    asks: "What one hand strikes on a keyboard lies within a ninth, a tenth for large hands.",
    why: "Hands differ: what is wider has to be rolled, thinned out or shared between the hands. Stretching to reach it can hurt; the player and the teacher know the hand.",
    exceptions: &[
        "chords that both hands can share",
        "notes that are held from before",
    ],
    source: "common practice, no source",
    level: Level::Warning,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "key: C major
meter: 4/4
section: piano
parts: piano = piano

chord | C6 -  |
count | 1  2  |
piano | C5+A4+G4+E4+C4 C6+A4+E4+G3+A1 |
",
        at: ("1", "2"),
        right: "key: C major
meter: 4/4
section: piano
parts: piano = piano

chord | C6 -  |
count | 1  2  |
piano | C5+A4+G4+E4+C4 C5+A4+E4+C3+C2 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for passage in reading.passages {
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            for member in &passage.section.parts {
                let Some(span) = member.instrument.and_then(|i| i.hand_span) else {
                    continue;
                };
                let struck: Hand<'_> = sonority
                    .voices
                    .iter()
                    .filter(|v| v.attacked && v.note.part == member.part)
                    .collect();
                let Some((wide, by)) = widest_hand(reading, &struck) else {
                    continue;
                };
                if by <= span.comfortable {
                    continue;
                }
                let level = if by > span.large {
                    Level::Warning
                } else {
                    Level::Note
                };
                out.push(finding(
                    reading,
                    passage,
                    (index, sonority),
                    &wide,
                    (by, level),
                ));
            }
        }
    }
}

/// What one hand plays, or both, from the top.
type Hand<'v> = SmallVec<[&'v Voice; 8]>;

/// The hand that has to reach furthest, and how far in semitones. The staves say which hand plays
/// what; on one staff the hands share the chord as best they can.
fn widest_hand<'v>(reading: &Reading<'_>, struck: &[&'v Voice]) -> Option<(Hand<'v>, i16)> {
    let span = |hand: &[&Voice]| match (hand.first(), hand.last()) {
        (Some(a), Some(b)) => a.midi - b.midi,
        _ => 0,
    };
    let staff = |v: &Voice| {
        reading
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
            (span(a).max(span(b)), at)
        })?;
        let (a, b) = struck.split_at(split);
        (a.into(), b.into())
    };
    let wide = if span(&right) >= span(&left) {
        right
    } else {
        left
    };
    let by = span(&wide);
    Some((wide, by))
}

fn finding(
    reading: &Reading<'_>,
    passage: &crate::diagnosis::Passage,
    (index, sonority): (usize, &Sonority),
    hand: &[&Voice],
    (by, level): (i16, Level),
) -> Finding {
    let outer: Vec<Fault> = [hand.first(), hand.last()]
        .into_iter()
        .flatten()
        .map(|v| Fault {
            note: v.note,
            found: v.pitch,
            voice: sonority
                .voices
                .iter()
                .position(|w| w.note == v.note)
                .unwrap_or(0) as u8
                + 1,
            expected: v.pitch,
        })
        .collect();
    let pitches: Vec<String> = outer
        .iter()
        .map(|f| wording::for_player(reading.score, f.note, f.found))
        .collect();
    let who = outer
        .first()
        .map_or("a part", |f| wording::part(reading.score, f.note.part));
    let how = if level == Level::Warning {
        "more than a large hand reaches"
    } else {
        "a stretch for most hands"
    };
    let message = format!(
        "{who}: one hand has {}, {by} semitones, {how}",
        wording::join(&pitches)
    );
    Finding {
        section: Some(passage.section.name.clone()),
        parts: outer.first().map(|f| f.note.part).into_iter().collect(),
        why: RULE.why.to_owned(),
        source: RULE.source,
        chord: passage.symbol_of(reading.score, index).map(str::to_owned),
        notes: outer
            .iter()
            .map(|f| NoteAtFault {
                note: f.note,
                voice: f.voice,
                expected: None,
                label: "one hand".to_owned(),
            })
            .collect(),
        found: sonority.pitches(),
        suggestion: Some(
            "share the chord between the hands, leave a note out, or roll it".to_owned(),
        ),
        ..Finding::new(RULE.name, level, sonority.at, message)
    }
}
