//! `awkward-leap`: inner voices move where a player can follow. Published for voices: open music
//! theory text and part-writing texts; for horns common practice, no source.

use crate::diagnosis::{Fault, Passage};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::time::Ticks;
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule, Setting};
use crate::score::Change;
use crate::sonority::{Sonority, Voice};
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "awkward-leap",
    group: Group::Lines,
    asks: "An inner voice does not leap more than an octave (warning), and not far while the lead goes by step; in a choir not by a tritone, a seventh or an augmented second either (notes).",
    why: "Inner voices are heard as colour, not as melody: a leap there is hard to pitch, and it is heard.",
    exceptions: &[
        "the lead leaps as far or further, or most voices leap along",
        "over a rest of a beat, between phrases and where the technique changes",
        "counterpoint of instruments, solos and doublings",
    ],
    source: "published: open music theory text and part-writing texts (choir); common practice, no source, for horns",
    level: Level::Warning,
    off: false,
    settings: &[Setting {
        name: "leap",
        about: "semitones of an inner voice's leap over a lead that goes by step which are too many",
        default: 8.0,
    }],
    examples: &[Example {
        wrong: "meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  4  |
trumpet 1 | C5 B4 A4 G4 |
trumpet 2 | F4 G4 F4 E4 |
trumpet 3 | C4 B3 C4 C4 |

count     | 1  2   3  4  |
trumpet 1 | A4 Bb4 A4 G4 |
trumpet 2 | A3 F4  F4 E4 |
trumpet 3 | F3 D4  C4 C4 |
",
        at: ("2", "2"),
        right: "meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  4  |
trumpet 1 | C5 B4 A4 G4 |
trumpet 2 | F4 G4 F4 E4 |
trumpet 3 | C4 B3 C4 C4 |

count     | 1  2   3  4  |
trumpet 1 | A4 Bb4 A4 G4 |
trumpet 2 | F4 F4  F4 E4 |
trumpet 3 | C4 D4  C4 C4 |
",
    }],
    check,
};

/// One voice from one sonority to the next.
struct Step<'a> {
    from: &'a Voice,
    to: &'a Voice,
    by: i16,
    /// What the lead does meanwhile.
    lead: i16,
}

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for passage in reading.passages {
        if passage.section.chordal || passage.section.parts.len() < 3 {
            continue;
        }
        for index in 1..passage.sonorities.len() {
            let (Some(a), Some(b)) = (
                passage.sonorities.get(index - 1),
                passage.sonorities.get(index),
            ) else {
                continue;
            };
            if passage.phrase_of(index).contains(&(index - 1)) && is_held_to_it(passage, index) {
                look(reading, passage, (index, a, b), out);
            }
        }
    }
}

/// Block writing of one technique, or a choir.
fn is_held_to_it(passage: &Passage, index: usize) -> bool {
    let force = |i: usize| {
        passage
            .in_force
            .get(i)
            .copied()
            .flatten()
            .map(|f| f.technique)
    };
    passage.section.is_choir() || passage.is_block_phrase(index) && force(index - 1) == force(index)
}

fn look(
    reading: &Reading<'_>,
    passage: &Passage,
    (index, a, b): (usize, &Sonority, &Sonority),
    out: &mut Vec<Finding>,
) {
    let block = |s: &Sonority| s.voices.len() >= 3 && s.voices.iter().all(|v| v.attacked);
    if !block(a) || !block(b) || a.voices.len() != b.voices.len() {
        return;
    }
    let beat = reading.score.felt_beat_at(b.onset);
    let (Some(lead_a), Some(lead_b)) = (a.voices.first(), b.voices.first()) else {
        return;
    };
    let lead = lead_b.midi - lead_a.midi;
    let last = a.voices.len() - 1;
    let steps: SmallVec<[Step<'_>; 6]> = a
        .voices
        .iter()
        .enumerate()
        .filter_map(|(i, from)| {
            let (at, to) = b
                .voices
                .iter()
                .enumerate()
                .find(|(_, v)| v.note.part == from.note.part)?;
            let inner = i > 0 && i < last && at > 0 && at < last;
            let joined = b.onset - from.end < beat.max(Ticks(1));
            (inner && joined).then_some(Step {
                from,
                to,
                by: to.midi - from.midi,
                lead,
            })
        })
        .collect();
    let leaping = steps.iter().filter(|s| s.by.abs() >= 5).count();
    for step in &steps {
        if step.lead.abs() >= step.by.abs()
            || leaping > 1 && leaping * 2 > steps.len()
            || reading.is_explained(step.from.note)
            || reading.is_explained(step.to.note)
        {
            continue;
        }
        let Some((level, what)) = judge(reading, passage, index, step) else {
            continue;
        };
        out.push(finding(reading, passage, (index, b), step, (level, what)));
    }
}

fn judge(
    reading: &Reading<'_>,
    passage: &Passage,
    index: usize,
    step: &Step<'_>,
) -> Option<(Level, &'static str)> {
    let size = step.by.abs();
    if size > 12 {
        return Some((Level::Warning, "more than an octave"));
    }
    let block = passage.in_force.get(index).copied().flatten().is_some();
    if passage.section.is_choir() && !block {
        let letters = (step.to.pitch.diatonic() - step.from.pitch.diatonic()).abs();
        return match (size, letters) {
            (10 | 11, _) => Some((Level::Note, "a seventh")),
            (6, 3) => Some((Level::Note, "an augmented fourth")),
            (3, 1) => Some((Level::Note, "an augmented second")),
            _ => None,
        };
    }
    let limit = reading.setting(&RULE, "leap") as i16;
    (size >= limit && step.lead.abs() <= 2)
        .then_some((Level::Note, "a long way while the lead hardly moves"))
}

fn finding(
    reading: &Reading<'_>,
    passage: &Passage,
    (index, sonority): (usize, &Sonority),
    step: &Step<'_>,
    (level, what): (Level, &str),
) -> Finding {
    let score = reading.score;
    let who = wording::part(score, step.to.note.part);
    let way = if step.by > 0 { "up" } else { "down" };
    let message = format!(
        "{who} leaps {way} from {} to {}, {what}",
        wording::for_player(score, step.from.note, step.from.pitch),
        wording::for_player(score, step.to.note, step.to.pitch),
    );
    let fault = |v: &Voice| Fault {
        note: v.note,
        found: v.pitch,
        voice: sonority
            .voices
            .iter()
            .position(|w| w.note == v.note)
            .unwrap_or(0) as u8
            + 1,
        expected: v.pitch,
    };
    let octave = if step.by > 0 { -1 } else { 1 };
    let mut remedies = Vec::new();
    if step.by.abs() > 7 {
        remedies.push(vec![Change {
            note: step.to.note,
            sounding: step.to.pitch.octaves(octave),
        }]);
        remedies.push(vec![Change {
            note: step.from.note,
            sounding: step.from.pitch.octaves(-octave),
        }]);
    }
    Finding {
        section: Some(passage.section.name.clone()),
        parts: vec![step.to.note.part],
        why: RULE.why.to_owned(),
        source: RULE.source,
        chord: passage.symbol_of(score, index).map(str::to_owned),
        notes: vec![NoteAtFault {
            note: step.to.note,
            voice: fault(step.to).voice,
            expected: None,
            label: "leap".to_owned(),
        }],
        found: sonority.pitches(),
        suggestion: Some(format!(
            "{who}: take a chord note nearer to the one before, or exchange notes with a neighbour"
        )),
        remedies,
        ..Finding::new(RULE.name, level, sonority.at, message)
    }
}
