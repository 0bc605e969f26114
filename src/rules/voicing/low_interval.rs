//! `low-interval`: intervals open up towards the bottom. The limits and their sources stand in
//! `rules/low-intervals.toml`.

use crate::diagnosis::{Fault, Passage, Verdict};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::instrument::Property;
use crate::ground::pitch::Pitch;
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};
use crate::sonority::{Sonority, Voice};
use crate::voicing::low;

pub static RULE: Rule = Rule {
    name: "low-interval",
    group: Group::Voicing,
    asks: "No two neighbouring voices sound an interval below the pitch where it turns to mud.",
    why: "The lower an interval lies, the more its overtones beat against each other: a third that is clear in the middle of the keyboard is a rumble in the bass.",
    exceptions: &[
        "octaves and unisons",
        "intervals wider than a tenth",
        "chords that pass in less than a beat, unless they lie far below",
    ],
    source: "published: retailer's glossary, textbook on arranging for large jazz ensemble; rows from memory are marked in rules/low-intervals.toml",
    level: Level::Error,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "key: C major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | C  -  |
count      | 1  3  |
trombone 1 | E3 E4 |
trombone 2 | C3 C4 |
trombone 3 | G2 G3 |
trombone 4 | E2 C3 |
",
        at: ("1", "1"),
        right: "key: C major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | C  -  |
count      | 1  3  |
trombone 1 | C4 E4 |
trombone 2 | E3 C4 |
trombone 3 | G2 G3 |
trombone 4 | C2 C3 |
",
    }],
    check,
};

/// The widest interval over the bass that is looked at, in semitones.
const CLOSE: i16 = 9;

/// The lowest horn over the bass player's note that sounds with it for all its length. Published:
/// textbook on arranging for large jazz ensemble (the real bass, else none).
fn over_the_bass(
    bass: &Passage,
    passage: &Passage,
    sonority: &Sonority,
) -> Option<(i16, Pitch, Voice, Voice)> {
    if passage.section.chordal
        || passage.section.is(Property::BassLine)
        || sonority.voices.len() < 3
    {
        return None;
    }
    let at = bass
        .sonorities
        .partition_point(|s| s.onset <= sonority.onset)
        .checked_sub(1)?;
    let root = bass.sonorities.get(at)?.voices.last()?;
    let horn = sonority.voices.last()?;
    let together = root.end >= sonority.end;
    if horn.midi - root.midi > CLOSE {
        return None; // tenths over a walking bass are what it is for
    }
    let (by, limit) = low::below(horn.midi, root.midi)?;
    (together && horn.attacked).then_some((by, limit, *horn, *root))
}

/// The intervals by name.
const fn interval(semitones: i16) -> &'static str {
    match semitones {
        1 => "minor second",
        2 => "major second",
        3 => "minor third",
        4 => "major third",
        5 => "fourth",
        6 => "tritone",
        7 => "fifth",
        8 => "minor sixth",
        9 => "major sixth",
        10 => "minor seventh",
        11 => "major seventh",
        13 => "minor ninth",
        14 => "major ninth",
        15 => "minor tenth",
        _ => "major tenth",
    }
}

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    let bass = reading
        .passages
        .iter()
        .find(|p| p.section.is(Property::BassLine));
    for passage in reading.passages {
        let mut last: Option<([u32; 2], usize, usize)> = None;
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            if !sonority.voices.iter().any(|v| v.attacked)
                || sonority.voices.iter().any(|v| reading.is_explained(v.note))
            {
                continue;
            }
            let worst = sonority
                .voices
                .windows(2)
                .filter_map(|w| match w {
                    [a, b] if a.attacked || b.attacked => {
                        low::below(a.midi, b.midi).map(|(by, limit)| (by, limit, *a, *b))
                    }
                    _ => None,
                })
                .max_by_key(|(by, ..)| *by)
                .or_else(|| over_the_bass(bass?, passage, sonority));
            let Some((by, limit, upper, lower)) = worst else {
                continue;
            };
            let beat = reading.score.felt_beat_at(sonority.onset);
            // In a passage that is right in its technique the register is low, not a note wrong: that is
            // the writer's choice, worth knowing.
            let in_technique = matches!(
                passage.diagnoses.get(index).map(|d| &d.verdict),
                Some(Verdict::Right(_))
            );
            let length = sonority.end - sonority.onset;
            let distance = low::distance();
            let level = if length < beat {
                if by < distance.warning {
                    continue;
                }
                Level::Note
            } else if in_technique {
                Level::Note
            } else if by >= distance.error && length > beat {
                Level::Error
            } else if by >= distance.warning {
                Level::Warning
            } else {
                Level::Note
            };
            let mut both = [upper.note.part, lower.note.part];
            both.sort_unstable();
            // The same players going on as low is one matter, told where it begins.
            if let Some((before, at, place)) = &mut last
                && *before == both
                && *at + 1 == index
            {
                *at = index;
                if let Some(open) = out.get_mut(*place) {
                    open.level = open.level.max(level);
                }
                continue;
            }
            last = Some((both, index, out.len()));
            let mut parts = both.to_vec();
            parts.dedup();
            let fault = |v: &Voice, voice: usize| Fault {
                note: v.note,
                found: v.pitch,
                voice: voice as u8,
                expected: v.pitch,
            };
            let place = |v: &Voice| {
                sonority
                    .voices
                    .iter()
                    .position(|w| w.note == v.note)
                    .unwrap_or(0)
                    + 1
            };
            let faults = [fault(&upper, place(&upper)), fault(&lower, place(&lower))];
            let key = passage.key_at(reading.score, sonority.onset);
            let chord = crate::diagnosis::frame_at(reading.score, sonority.onset, key);
            let name = interval(upper.midi - lower.midi);
            let message = format!(
                "a {name} with {} at the bottom (sounding) is too low: {}; {} is the lowest it should stand on",
                lower.pitch,
                wording::who_has(reading.score, &faults),
                limit
            );
            out.push(Finding {
                section: Some(passage.section.name.clone()),
                parts,
                why: RULE.why.to_owned(),
                source: RULE.source,
                chord: chord.map(|f| f.chord.text.clone()),
                notes: faults
                    .iter()
                    .map(|f| NoteAtFault {
                        note: f.note,
                        voice: f.voice,
                        expected: None,
                        label: "too low together".to_owned(),
                    })
                    .collect(),
                found: sonority.pitches(),
                suggestion: Some(
                    "open the interval to a fifth, an octave or a tenth, or move the chord up"
                        .to_owned(),
                ),
                // Of a voicing that is right no voice is moved by itself.
                remedies: if in_technique {
                    Vec::new()
                } else {
                    crate::rules::nearby(reading, passage, index, &faults)
                },
                ..Finding::new(RULE.name, level, sonority.at, message)
            });
        }
    }
}
