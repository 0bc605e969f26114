//! `static-voice`: no inner voice stands still for a whole phrase under a moving lead. Common
//! practice, no source.

use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::wording;
use crate::sonority::{Sonority, Voice};
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "static-voice",
    group: Group::Lines,
    asks: "In a block phrase an inner voice moves at least once while the lead moves.",
    why: "A voice on one note is not a part of the harmonised line: mostly it was forgotten when the rest was voiced.",
    source: "common practice, no source",
    level: Level::Note,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[Setting {
        name: "chords",
        about: "how many chords a phrase has at least",
        default: 6.0,
    }],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  4  |
trumpet 1 | C5 D5 E5 C5 |
trumpet 2 | G4 G4 G4 G4 |
            ^^ never moves
trumpet 3 | E4 D4 C4 E4 |

count     | 1  2  3  4 |
trumpet 1 | B4 D5 C5 . |
trumpet 2 | G4 G4 G4 . |
trumpet 3 | D4 F4 E4 . |
suggestion: trumpet 2: voice the line again under the lead's notes; exchange notes with a neighbour where one has to stay
",
        right: "\
trumpet 2 | G4 A4 G4 G4 |
trumpet 3 | E4 F4 C4 E4 |
system 2:
trumpet 2 | G4 A4 G4 . |
",
    }],
    exceptions: &[
        Exception {
            says: "the bottom voice (a pedal)",
            silent: Silent::With("\
trumpet 2 | E4 F4 G4 E4 |
trumpet 3 | C4 C4 C4 C4 |
system 2:
trumpet 2 | F4 F4 E4 . |
trumpet 3 | C4 C4 C4 . |
"),
        },
        Exception {
            says: "phrases of fewer than six chords",
            silent: Silent::With("\
system 2:
trumpet 1 | B4 . . . |
trumpet 2 | G4 . . . |
trumpet 3 | D4 . . . |
"),
        },
        Exception {
            says: "phrases of fewer than four lead notes",
            silent: Silent::With("\
system 2:
trumpet 1 | C5 D5 C5 . |
trumpet 3 | E4 F4 E4 . |
"),
        },
    ],
};

/// How many different notes a lead that moves has.
const LEAD_NOTES: usize = 4;

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for passage in input.passages {
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
                if !stands_still(input, sonorities, member.part) {
                    continue;
                }
                let first = sonorities
                    .iter()
                    .find_map(|s| inner(s, member.part).map(|v| (s, v)));
                let Some((sonority, voice)) = first else {
                    continue;
                };
                let who = wording::part(input.score, member.part);
                let message = format!(
                    "{who} stays on {} for the whole phrase, to bar {}, while the lead moves",
                    wording::for_player(input.score, voice.note, voice.pitch),
                    input
                        .score
                        .bar_number(sonorities.last().map_or(sonority.at.bar, |s| s.at.bar))
                );
                out.push(
                    RULE
                        .finding(sonority.at, message)
                        .section(&passage.section.name)
                        .parts([member.part])
                        .at_notes([voice.note], 0, "never moves")
                        .instead(format!(
                            "{who}: voice the line again under the lead's notes; exchange notes with a neighbour where one has to stay"
                        )),
                );
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
pub fn stands_still(input: &RuleInput<'_>, sonorities: &[Sonority], part: u32) -> bool {
    let least = input.setting(&RULE, "chords") as usize;
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

crate::rules::test_examples!(RULE);
