//! `wide-gap`: neighbouring upper voices stay within an octave. Published: open music theory text
//! and part-writing pages (choir); nothing stated for jazz: common practice, no source.

use crate::diagnosis::{Fault, Passage, Verdict};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule, Setting};
use crate::sonority::{Sonority, Voice};
use crate::voicing::{Form, Technique, classes_of};

pub static RULE: Rule = Rule {
    name: "wide-gap",
    group: Group::Voicing,
    asks: "Neighbouring voices lie at most an octave apart, the two lowest excepted.",
    why: "A hole in the middle splits the section into two groups that no longer blend.",
    exceptions: &[
        "the two lowest voices",
        "spreads, drop 2 & 4 and other voicings that are right in their technique",
        "unison and octaves",
        "chords shorter than a beat",
        "passages that are not in rhythmic unison, except where the style asks for it (choir)",
    ],
    source: "published: open music theory text, part-writing pages; for horns: common practice, no source",
    level: Level::Warning,
    off: false,
    settings: &[Setting {
        name: "semitones",
        about: "the widest gap between neighbouring upper voices, in semitones",
        default: 12.0,
    }],
    examples: &[Example {
        wrong: "key: F major
meter: 4/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

chord   | F  Bb F  |
count   | 1  2  3  |
soprano | C5 D5 C5 |
alto    | F4 F4 F4 |
tenor   | A3 D3 A3 |
bass    | F3 Bb2 F3 |
",
        at: ("1", "2"),
        right: "key: F major
meter: 4/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

chord   | F  Bb F  |
count   | 1  2  3  |
soprano | C5 D5 C5 |
alto    | F4 F4 F4 |
tenor   | A3 Bb3 A3 |
bass    | F3 Bb2 F3 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    let widest = reading.setting(&RULE, "semitones");
    for passage in reading.passages.iter().filter(|p| !p.section.chordal) {
        let choir = passage.section.is_choir() && reading.style.counterpoint;
        let mut last: Option<(u32, u32, usize)> = None;
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            if !(sonority.is_block() && passage.is_block_phrase(index) || choir)
                || sonority.voices.len() < 4
                || sonority.voices.iter().any(|v| reading.is_explained(v.note))
                || is_meant(passage, index, sonority)
            {
                continue;
            }
            // A gap that a voice only passes through is no hole.
            let beat = reading.score.felt_beat_at(sonority.onset);
            if sonority.end - sonority.onset < beat {
                continue;
            }
            let upper = sonority.voices.get(..sonority.voices.len() - 1);
            let wide =
                upper
                    .unwrap_or_default()
                    .windows(2)
                    .enumerate()
                    .find_map(|(i, w)| match w {
                        [a, b]
                            if f64::from(a.midi - b.midi) > widest
                                && (a.attacked || b.attacked) =>
                        {
                            Some((i, *a, *b))
                        }
                        _ => None,
                    });
            let Some((i, above, below)) = wide else {
                continue;
            };
            // The same two parts staying apart are told once.
            if let Some((a, b, at)) = &mut last
                && (*a, *b) == (above.note.part, below.note.part)
                && *at + 1 == index
            {
                *at = index;
                continue;
            }
            last = Some((above.note.part, below.note.part, index));
            out.push(finding(
                reading,
                passage,
                index,
                sonority,
                (i, above, below),
            ));
        }
    }
}

/// Right in its technique, a spread, or one note in octaves.
fn is_meant(passage: &Passage, index: usize, sonority: &Sonority) -> bool {
    let Some(diagnosis) = passage.diagnoses.get(index) else {
        return false;
    };
    let spread = diagnosis.technique.is_some_and(|t| {
        matches!(
            t.technique,
            Technique::Form(Form::Spread | Form::TriadOverBass | Form::Octaves | Form::Unison)
        )
    });
    spread
        || matches!(diagnosis.verdict, Verdict::Right(_))
        || classes_of(&sonority.midi()).len() < 3
}

fn finding(
    reading: &Reading<'_>,
    passage: &Passage,
    index: usize,
    sonority: &Sonority,
    (i, above, below): (usize, Voice, Voice),
) -> Finding {
    let fault = |v: Voice, voice: usize| Fault {
        note: v.note,
        found: v.pitch,
        voice: voice as u8,
        expected: v.pitch,
    };
    let faults = [fault(above, i + 1), fault(below, i + 2)];
    let message = format!(
        "more than an octave between neighbours: {}",
        wording::who_has(reading.score, &faults)
    );
    Finding {
        section: Some(passage.section.name.clone()),
        parts: vec![above.note.part, below.note.part],
        why: RULE.why.to_owned(),
        source: RULE.source,
        chord: passage.symbol_of(reading.score, index).map(str::to_owned),
        notes: faults
            .iter()
            .map(|f| NoteAtFault {
                note: f.note,
                voice: f.voice,
                expected: None,
                label: "too far apart".to_owned(),
            })
            .collect(),
        found: sonority.pitches(),
        suggestion: Some(
            "close the gap: raise the lower of the two, or give it another chord note".to_owned(),
        ),
        remedies: crate::rules::nearby(reading, passage, index, &faults),
        ..Finding::new(RULE.name, Level::Warning, sonority.at, message)
    }
}
