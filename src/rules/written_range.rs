//! `written-range`: what the instrument has. Ranges are data with their sources:
//! `rules/instruments.toml`.

use super::{Example, Group, Reading, Rule, wording};
use crate::finding::{Finding, Level, NoteAtFault, NoteRef};
use crate::instrument::{Instrument, RangeVerdict};
use crate::pitch::Pitch;
use crate::score::Note;
use std::collections::BTreeMap;

pub(super) static RULE: Rule = Rule {
    name: "written-range",
    group: Group::Players,
    asks: "Every note lies in the range the instrument has (error), and in the range players are asked for (warning).",
    why: "The note is not on the instrument, or only a few players have it.",
    exceptions: &["extensions that every current horn has (high F# key)"],
    source: "published: orchestration handbooks' range tables; rules/instruments.toml names the source of each value",
    level: Level::Error,
    off: false,
    settings: &[],
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
    /// The addition to the instrument that has it.
    needs: Option<&'a str>,
}

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for passage in reading.passages {
        for member in &passage.section.parts {
            let Some(instrument) = member.instrument else {
                continue;
            };
            // One finding for the notes of one bar on the same side of the range.
            let mut bars: BTreeMap<(u32, bool), Vec<Outside<'_>>> = BTreeMap::new();
            for outside in notes_outside(reading, member.part, member.seat, instrument) {
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
    instrument: &'a Instrument,
) -> impl Iterator<Item = Outside<'a>> {
    reading.notes(index).filter_map(move |(i, note)| {
        let at = NoteRef {
            part: index,
            note: i,
        };
        if !note.sounds()
            || note.flags.has(crate::score::NoteFlags::TIED_IN)
            || reading.is_explained(at)
        {
            return None;
        }
        // The range is written for the instrument's own transposition; a concert score or an
        // unusual one is brought to it.
        let written = note.sounding.transposed(instrument.transposition.inverse());
        let mut needs = None;
        let (level, limit) = match instrument.judge_range(written, seat) {
            RangeVerdict::Impossible { limit } => (Level::Error, limit),
            // The published ranges of voices differ by a third; what lies between them is no mistake.
            RangeVerdict::Stretched { limit } if instrument.family == "voice" => {
                (Level::Note, limit)
            }
            RangeVerdict::Stretched { limit } => (Level::Warning, limit),
            RangeVerdict::Extension { limit, name } => {
                needs = Some(name);
                (Level::Note, limit)
            }
            RangeVerdict::Comfortable | RangeVerdict::Professional => return None,
        };
        Some(Outside {
            at,
            note,
            above: written.midi() > limit.midi(),
            level,
            limit,
            needs,
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
    let voice = instrument.family == "voice";
    let what = match (level, worst.needs) {
        (_, Some(needs)) => format!(
            "the {end} note of the {} without its {needs}",
            instrument.name
        ),
        (Level::Error, None) => format!("the {end} note of the {}", instrument.name),
        (_, None) if voice => format!("the {end} note a {} is usually asked for", instrument.name),
        (_, None) => format!(
            "the {end} note a {} player is usually asked for",
            instrument.name
        ),
    };
    let message = format!(
        "{who} has {}, {side} written {}, {what}",
        wording::join(&pitches),
        worst.limit
    );
    let other = match (voice, above) {
        (true, true) => "a higher voice",
        (true, false) => "a lower voice",
        (false, true) => "a higher seat or instrument",
        (false, false) => "a lower seat or instrument",
    };
    let suggestion =
        format!("{who}: take the phrase {move_to} an octave, or give the note to {other}");
    let mut why = match level {
        Level::Error => RULE.why.to_owned(),
        _ if worst.needs.is_some() => {
            "Not every player's instrument has it; ask before it is on the stand.".to_owned()
        }
        _ => "It can be had, but not from everybody, not for long and not safely; published ranges differ here.".to_owned(),
    };
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
        found: notes.iter().map(|n| n.note.sounding).collect(),
        suggestion: Some(suggestion),
        ..Finding::new(RULE.name, level, first.note.at, message)
    })
}
