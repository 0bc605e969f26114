//! `minor-ninth`: no two voices a minor ninth apart. Published: jazz arranging course, orchestration
//! blogs; the exceptions from a textbook on jazz voicings.

use super::{Example, Group, Reading, Rule, SlipAt, wording};
use crate::chord::Family;
use crate::diagnosis::{Fault, Passage, SlipKind, Verdict};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::pitch::PitchClass;
use crate::sonority::Sonority;
use crate::voicing::minor_ninths;

pub(super) static RULE: Rule = Rule {
    name: "minor-ninth",
    group: Group::Rubs,
    asks: "No two voices of a chord lie a minor ninth apart (or that and an octave more).",
    why: "A half step spread over an octave is the hardest dissonance two horns can make: it sounds like a wrong note however right both notes are for the chord.",
    exceptions: &[
        "the b9 over the root of its own dominant",
        "a quick approach chord that moves on within half a beat",
        "voicings in fourths",
    ],
    source: "published: jazz arranging course, textbook on jazz voicings",
    level: Level::Error,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "meter: 4/4
section: saxes
technique: drop 2
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Cmaj7 -   -  |
count   | 1     2   3  |
alto 1  | G5    E5  C5 |
alto 2  | C5    B4  G4 |
tenor 1 | B4    G4  E4 |
tenor 2 | E4    C4  B3 |
",
        at: ("1", "3"),
        right: "meter: 4/4
section: saxes
technique: drop 2
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Cmaj7 -   -  |
count   | 1     2   3  |
alto 1  | G5    E5  C5 |
alto 2  | C5    B4  G4 |
tenor 1 | B4    G4  E4 |
tenor 2 | E4    C4  A3 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for at in reading.slips() {
        if let SlipKind::MinorNinth(upper, lower) = at.slip.kind {
            out.push(in_technique(reading, &at, upper, lower));
        }
    }
    for passage in reading.passages.iter().filter(|p| !p.section.chordal) {
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            let free = matches!(
                passage.diagnoses.get(index).map(|d| &d.verdict),
                Some(Verdict::LeftAlone)
            );
            if free && sonority.is_block() {
                out.extend(in_free_writing(reading, passage, index, sonority));
            }
        }
    }
}

fn pair(sonority: &Sonority, upper: u8, lower: u8) -> String {
    let name = |i: u8| {
        sonority
            .voices
            .get(i as usize)
            .map(|v| v.pitch.to_string())
            .unwrap_or_default()
    };
    format!("{} over {} (sounding)", name(upper), name(lower))
}

fn level(held: bool) -> Level {
    if held { Level::Error } else { Level::Warning }
}

fn in_technique(reading: &Reading<'_>, at: &SlipAt<'_>, upper: u8, lower: u8) -> Finding {
    let technique = at
        .diagnosis
        .technique
        .map_or("this technique", |t| t.technique.name());
    let message = format!(
        "{technique} makes a minor ninth here, {}: {}",
        pair(at.sonority, upper, lower),
        wording::who_has(reading.score, &at.slip.faults)
    );
    at.finding(reading.score, &RULE, level(at.is_held()), message)
}

/// In writing that is held to no technique: two notes of one chord symbol, struck together and
/// held a beat.
fn in_free_writing(
    reading: &Reading<'_>,
    passage: &Passage,
    index: usize,
    sonority: &Sonority,
) -> Option<Finding> {
    let chord = reading
        .score
        .chord_at(sonority.onset)
        .and_then(|m| m.value.chord.as_ref())?;
    let lead = passage.leads.get(index).copied().flatten()?;
    if lead.duration() < lead.beat {
        return None;
    }
    let midi = sonority.midi();
    let fourths = midi
        .windows(2)
        .all(|w| matches!(w, [a, b] if matches!(a - b, 5 | 6)));
    if fourths {
        return None;
    }
    let dominant = matches!(
        chord.family(),
        Family::Dominant | Family::Altered | Family::DominantSuspended
    );
    let (upper, lower) = minor_ninths(&midi).find(|&(_, lower)| {
        !(dominant
            && midi
                .get(lower)
                .is_some_and(|&m| PitchClass::new(m) == chord.root.class()))
    })?;
    let faults: Vec<Fault> = [upper, lower]
        .into_iter()
        .filter_map(|i| {
            let v = sonority.voices.get(i)?;
            Some(Fault {
                note: v.note,
                found: v.pitch,
                voice: i as u8 + 1,
                expected: v.pitch,
            })
        })
        .collect();
    if faults.iter().any(|f| reading.is_claimed(f.note)) {
        return None;
    }
    let message = format!(
        "a minor ninth, {}: {}",
        pair(sonority, upper as u8, lower as u8),
        wording::who_has(reading.score, &faults)
    );
    Some(Finding {
        section: Some(passage.section.name.clone()),
        parts: faults.iter().map(|f| f.note.part).collect(),
        why: RULE.why.to_owned(),
        source: RULE.source,
        chord: Some(chord.text.clone()),
        notes: faults
            .iter()
            .map(|f| NoteAtFault {
                note: f.note,
                voice: f.voice,
                expected: None,
                label: "minor ninth".to_owned(),
            })
            .collect(),
        found: sonority.pitches(),
        suggestion: Some(
            "exchange the octaves of the two voices, or put a tension in place of one of the notes"
                .to_owned(),
        ),
        ..Finding::new(RULE.name, level(true), sonority.at, message)
    })
}
