//! `written-range`: what the instrument has. Ranges are data with their sources:
//! `rules/instruments.toml`.

use super::{Example, Group, Reading, Rule, wording};
use crate::finding::{Finding, Level, NoteAtFault, NoteRef};
use crate::instrument::{Instrument, RangeVerdict};
use crate::pitch::Pitch;
use crate::score::{Note, Part};
use std::collections::BTreeMap;

pub(super) static RULE: Rule = Rule {
    name: "written-range",
    group: Group::Players,
    asks: "Every note lies in the range the instrument has (error), and in the range players are asked for (warning).",
    why: "The note is not on the instrument, or only a few players have it.",
    exceptions: &["extensions that every current horn has (high F# key)"],
    source: "published: orchestration handbooks' range tables; rules/instruments.toml names the source of each value",
    level: Level::Error,
    examples: &[Example {
        wrong: "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Eb6 -   -   |
count   | 1   2   3   |
alto 1  | G5  Bb5 G5  |
alto 2  | Eb5 G5  Eb5 |
tenor 1 | C5  Eb5 C5  |
tenor 2 | Bb4 C5  Bb4 |
",
        at: ("1", "2"),
        right: "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Eb6 -   -   |
count   | 1   2   3   |
alto 1  | G5  Eb5 G5  |
alto 2  | Eb5 C5  Eb5 |
tenor 1 | C5  Bb4 C5  |
tenor 2 | Bb4 G4  Bb4 |
",
    }],
    check,
};

/// A note outside, and how.
struct Outside<'a> {
    at: NoteRef,
    note: &'a Note,
    /// Above the range; else below it.
    above: bool,
    level: Level,
    limit: Pitch,
}

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for passage in reading.passages {
        for member in &passage.section.parts {
            let (Some(instrument), Some(part)) = (
                member.instrument,
                reading.score.parts.get(member.part as usize),
            ) else {
                continue;
            };
            // One finding for the notes of one bar on the same side of the range.
            let mut bars: BTreeMap<(u32, bool), Vec<Outside<'_>>> = BTreeMap::new();
            for outside in notes_outside(reading, member.part, member.seat, part, instrument) {
                bars.entry((outside.note.at.bar, outside.above))
                    .or_default()
                    .push(outside);
            }
            for ((_, above), notes) in bars {
                out.extend(finding(
                    reading,
                    member.part,
                    instrument,
                    above,
                    &notes,
                    &passage.section.name,
                ));
            }
        }
    }
}

fn notes_outside<'a>(
    reading: &'a Reading<'_>,
    index: u32,
    seat: Option<u8>,
    part: &'a Part,
    instrument: &'a Instrument,
) -> impl Iterator<Item = Outside<'a>> {
    part.notes.iter().enumerate().filter_map(move |(i, note)| {
        let at = NoteRef {
            part: index,
            note: i as u32,
        };
        if !note.sounds()
            || note.flags.has(crate::score::NoteFlags::TIED_IN)
            || reading.is_claimed(at)
        {
            return None;
        }
        // The range is written for the instrument's own transposition; a concert score or an
        // unusual one is brought to it.
        let written = note.sounding.transposed(instrument.transposition.inverse());
        let (level, limit) = match instrument.judge_range(written, seat) {
            RangeVerdict::Impossible { limit } => (Level::Error, limit),
            // The published ranges of voices differ by a third; what lies between them is no mistake.
            RangeVerdict::Stretched { limit } if instrument.family == "voice" => {
                (Level::Note, limit)
            }
            RangeVerdict::Stretched { limit } => (Level::Warning, limit),
            _ => return None,
        };
        Some(Outside {
            at,
            note,
            above: written.midi() > limit.midi(),
            level,
            limit,
        })
    })
}

fn finding(
    reading: &Reading<'_>,
    index: u32,
    instrument: &Instrument,
    above: bool,
    notes: &[Outside<'_>],
    section: &str,
) -> Option<Finding> {
    let first = notes.first()?;
    let level = notes.iter().map(|n| n.level).max()?;
    let worst = notes.iter().find(|n| n.level == level)?;
    let who = wording::part(reading.score, index);
    let pitches: Vec<String> = notes
        .iter()
        .map(|n| wording::for_player(reading.score, n.at, n.note.sounding))
        .collect();
    let (side, end, move_to) = if above {
        ("above", "highest", "down")
    } else {
        ("below", "lowest", "up")
    };
    let what = if level == Level::Error {
        format!("the {end} note of the {}", instrument.name)
    } else {
        format!(
            "the {end} note a {} player is usually asked for",
            instrument.name
        )
    };
    let mut message = format!(
        "{who} has {}, {side} written {}, {what}",
        wording::join(&pitches),
        worst.limit
    );
    if notes.len() > 1 {
        message = format!("{message} ({} notes in this bar)", notes.len());
    }
    let suggestion = if above {
        format!(
            "{who}: take the phrase {move_to} an octave, or give the note to a higher seat or instrument"
        )
    } else {
        format!(
            "{who}: take the phrase {move_to} an octave, or give the note to a lower seat or instrument"
        )
    };
    let mut why = RULE.why.to_owned();
    if let Some(caution) = &instrument.caution {
        why = format!("{why} {caution}");
    }
    Some(Finding {
        section: Some(section.to_owned()),
        parts: vec![index],
        why,
        source: RULE.source,
        notes: notes
            .iter()
            .map(|n| NoteAtFault {
                note: n.at,
                voice: 1,
                expected: None,
                label: format!("{side} {}", n.limit),
            })
            .collect(),
        found: vec![first.note.sounding],
        suggestion: Some(suggestion),
        ..Finding::new(RULE.name, level, first.note.at, message)
    })
}
