//! `semitone-cluster`: inner voices do not crowd. Published: jazz arranging texts (no two adjacent
//! seconds in one chord); half steps between inner voices: the same.

use crate::diagnosis::{Fault, Verdict, frame_at};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};
use crate::voicing::{Form, Technique, Voicing, crowd};

pub static RULE: Rule = Rule {
    name: "semitone-cluster",
    group: Group::Rubs,
    asks: "A held chord has no two seconds in a row with a half step among them, outside clusters.",
    why: "Three neighbours in the scale struck together blur the chord, and the players in the middle cannot hear their own note.",
    exceptions: &[
        "clusters and where words or the style ask for them",
        "chords shorter than a beat",
    ],
    source: "published: jazz arranging texts",
    level: Level::Warning,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "key: C major
meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | Dm7 -  |
count     | 1   3  |
trumpet 1 | C5  A4 |
trumpet 2 | G4  F4 |
trumpet 3 | F4  D4 |
trumpet 4 | E4  C4 |
",
        at: ("1", "1"),
        right: "key: C major
meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | Dm7 -  |
count     | 1   3  |
trumpet 1 | C5  A4 |
trumpet 2 | A4  F4 |
trumpet 3 | F4  D4 |
trumpet 4 | D4  C4 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for passage in reading.passages {
        for (index, sonority) in passage.sonorities.iter().enumerate() {
            let verdict = passage.diagnoses.get(index).map(|d| &d.verdict);
            if !sonority.is_block()
                || !passage.is_block_phrase(index)
                || sonority.voices.iter().any(|v| reading.is_claimed(v.note))
                || matches!(verdict, Some(Verdict::Slip(_)))
            {
                continue;
            }
            let clusters = passage
                .in_force
                .get(index)
                .copied()
                .flatten()
                .is_some_and(|f| f.technique == Technique::Form(Form::Cluster));
            let Some(lead) = passage.leads.get(index).copied().flatten() else {
                continue;
            };
            if clusters || lead.duration() < lead.beat {
                continue;
            }
            let voices = &sonority.voices;
            // The doubled lead an octave below is no note of its own.
            let lead_below = voices.first().map_or(0, |v| v.midi - 12);
            let own = voices
                .iter()
                .enumerate()
                .filter(|(_, v)| v.midi != lead_below);
            let midi: Voicing = own.clone().map(|(_, v)| v.midi).collect();
            let Some(at) = crowd(&midi) else {
                continue;
            };
            let key = passage.key_at(reading.score, sonority.onset);
            let chord = frame_at(reading.score, sonority.onset, key);
            // Outside a passage that is held to a technique it is a cluster, and meant.
            let held_to_technique = matches!(verdict, Some(Verdict::Right(_)));
            if !held_to_technique && Form::Cluster.fits(&sonority.midi(), chord.as_ref()) {
                continue;
            }
            let faults: Vec<Fault> = own
                .skip(at)
                .take(3)
                .map(|(i, v)| Fault {
                    note: v.note,
                    found: v.pitch,
                    voice: i as u8 + 1,
                    expected: v.pitch,
                })
                .collect();
            let mut parts: Vec<u32> = faults.iter().map(|f| f.note.part).collect();
            parts.sort_unstable();
            parts.dedup();
            let message = format!(
                "two seconds in a row: {}",
                wording::who_has(reading.score, &faults)
            );
            out.push(Finding {
                section: Some(passage.section.name.clone()),
                parts,
                why: RULE.why.to_owned(),
                source: RULE.source,
                chord: chord.map(|f| f.chord.text.clone()),
                technique: passage
                    .in_force
                    .get(index)
                    .copied()
                    .flatten()
                    .map(|f| f.technique.name().to_owned()),
                notes: faults
                    .iter()
                    .map(|f| NoteAtFault {
                        note: f.note,
                        voice: f.voice,
                        expected: None,
                        label: "crowded".to_owned(),
                    })
                    .collect(),
                found: sonority.pitches(),
                suggestion: Some(
                    "put a chord note back in place of the tension in the middle, or open the chord up"
                        .to_owned(),
                ),
                remedies: crate::rules::nearby(reading, passage, index, &faults),
                ..Finding::new(RULE.name, Level::Warning, sonority.at, message)
            });
        }
    }
}
