//! `static-voice`: no inner voice stands still for a whole phrase under a moving lead. Common
//! practice, no source.

use crate::finding::{Finding, Level, NoteAtFault};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule, Setting};
use crate::sonority::{Sonority, Voice};
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "static-voice",
    group: Group::Lines,
    asks: "In a block phrase an inner voice moves at least once while the lead moves.",
    why: "A voice on one note is no part of the harmonised line: mostly it was forgotten when the rest was voiced.",
    exceptions: &[
        "the bottom voice (a pedal)",
        "phrases of fewer than six chords or of fewer than four lead notes",
    ],
    source: "common practice, no source",
    level: Level::Note,
    off: false,
    settings: &[Setting {
        name: "chords",
        about: "how many chords a phrase has at least",
        default: 6.0,
    }],
    examples: &[Example {
        wrong: "meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  4  |
trumpet 1 | C5 D5 E5 C5 |
trumpet 2 | G4 G4 G4 G4 |
trumpet 3 | E4 D4 C4 E4 |

count     | 1  2  3  4 |
trumpet 1 | B4 D5 C5 . |
trumpet 2 | G4 G4 G4 . |
trumpet 3 | D4 F4 E4 . |
",
        at: ("1", "1"),
        right: "meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  4  |
trumpet 1 | C5 D5 E5 C5 |
trumpet 2 | G4 A4 G4 G4 |
trumpet 3 | E4 F4 C4 E4 |

count     | 1  2  3  4 |
trumpet 1 | B4 D5 C5 . |
trumpet 2 | G4 A4 G4 . |
trumpet 3 | D4 F4 E4 . |
",
    }],
    check,
};

/// How many different notes a lead that moves has.
const LEAD_NOTES: usize = 4;

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for passage in reading.passages {
        if passage.section.chordal || passage.section.is_choir() || passage.section.parts.len() < 3
        {
            continue;
        }
        for phrase in &passage.phrases {
            if !passage.is_block_phrase(phrase.start) {
                continue;
            }
            let sonorities = passage.sonorities.get(phrase.clone()).unwrap_or_default();
            for member in &passage.section.parts {
                if !stands_still(reading, sonorities, member.part) {
                    continue;
                }
                let first = sonorities
                    .iter()
                    .find_map(|s| inner(s, member.part).map(|v| (s, v)));
                let Some((sonority, voice)) = first else {
                    continue;
                };
                let who = wording::part(reading.score, member.part);
                let message = format!(
                    "{who} stays on {} for the whole phrase, to bar {}, while the lead moves",
                    wording::for_player(reading.score, voice.note, voice.pitch),
                    reading
                        .score
                        .bar_number(sonorities.last().map_or(sonority.at.bar, |s| s.at.bar))
                );
                out.push(Finding {
                    section: Some(passage.section.name.clone()),
                    parts: vec![member.part],
                    why: RULE.why.to_owned(),
                    source: RULE.source,
                    notes: vec![NoteAtFault {
                        note: voice.note,
                        voice: 0,
                        expected: None,
                        label: "never moves".to_owned(),
                    }],
                    suggestion: Some(format!(
                        "{who}: voice the line again under the lead's notes; exchange notes with a neighbour where one has to stay"
                    )),
                    ..Finding::new(RULE.name, Level::Note, sonority.at, message)
                });
            }
        }
    }
}

/// The voice of a part where it is neither the top nor the bottom.
fn inner(sonority: &Sonority, part: u32) -> Option<&Voice> {
    let at = sonority.voices.iter().position(|v| v.note.part == part)?;
    (at > 0 && at + 1 < sonority.voices.len())
        .then(|| sonority.voices.get(at))
        .flatten()
}

/// Whether a part strikes one and the same note in all chords of a phrase while the lead moves.
pub fn stands_still(reading: &Reading<'_>, sonorities: &[Sonority], part: u32) -> bool {
    let least = reading.setting(&RULE, "chords") as usize;
    let mut chords = 0;
    let mut note = None;
    let mut leads: SmallVec<[i16; LEAD_NOTES]> = SmallVec::new();
    for sonority in sonorities.iter().filter(|s| s.voices.len() >= 3) {
        let (Some(lead), Some(voice)) = (sonority.voices.first(), inner(sonority, part)) else {
            return false;
        };
        if note.is_some_and(|n| n != voice.midi) {
            return false;
        }
        note = Some(voice.midi);
        chords += usize::from(voice.attacked && lead.attacked);
        if leads.len() < LEAD_NOTES && !leads.contains(&lead.midi) {
            leads.push(lead.midi);
        }
    }
    chords >= least && leads.len() >= LEAD_NOTES
}
