//! `awkward-leap`: inner voices move where a player can follow. Published for voices: open music
//! theory text and part-writing texts; for horns common practice, no source.

use crate::diagnosis::Passage;
use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::rules::diagnosed::SonorityAt;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::wording;
use crate::score::Change;
use crate::sonority::{Sonority, Voice};
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "awkward-leap",
    group: Group::Lines,
    asks: "An inner voice does not leap more than an octave (warning), and not far while the lead goes by step; in a choir not by a tritone, a seventh or an augmented second either (notes).",
    why: "Inner voices are heard as colour, not as melody: a leap there is hard to pitch, and it is heard.",
    source: "published: open music theory text and part-writing texts (choir); common practice, no source, for horns",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[Setting {
        name: "leap",
        about: "semitones of an inner voice's leap over a lead that goes by step which are too many",
        default: 8.0,
    }],
    examples: &[Example {
        wrong: "\
meter: 4/4
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
               ^^ leap
trumpet 3 | F3 D4  C4 C4 |
fix: trumpet 2: write A4 (written B4) instead of A3 (written B3) (an octave up)
",
        right: "\
system 2:
trumpet 2 | F4 F4  F4 E4 |
trumpet 3 | C4 D4  C4 C4 |
",
    }],
    exceptions: &[
        Exception {
            says: "leaps of no more than the lead leaps meanwhile",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 4/4
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone

count   | 1   3   | 1   |
alto 1  | E4  F#5 | E5  |
alto 2  | C#4 D5  | C#5 |
tenor 1 | A3  A4  | G4  |
",
                but: "alto 1  | F#4 F#5 | E5 |",
            },
        },
        Exception {
            says: "leaps that most inner voices make together",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: trumpets
technique: free
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

count     | 1   2   3   4   |
trumpet 1 | G5  Ab5 G5  F5  |
trumpet 2 | Ab4 F5  Eb5 D5  |
trumpet 3 | F4  D5  C5  Bb4 |
trumpet 4 | Db4 F4  G4  Ab4 |
",
                but: "trumpet 3 | F4  Ab4 C5  Bb4 |",
            },
        },
        Exception {
            says: "leaps over a rest of a beat",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2 3  4  |
trumpet 1 | B4 - C5 B4 |
trumpet 2 | B3 . G4 G4 |
trumpet 3 | G3 - E4 D4 |
",
                but: "trumpet 2 | B3 -  G4 G4 |",
            },
        },
        Exception {
            says: "leaps between phrases",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3   4  || 1   2  3  |
trumpet 1 | A4 C5 Bb4 A4 || Bb4 A4 G4 |
trumpet 2 | C4 C4 Bb3 A3 || G4  F4 E4 |
trumpet 3 | F3 A3 G3  F3 || D4  C4 C4 |
",
                but: "\
count     | 1  2  3   4  | 1   2  3  |
trumpet 1 | A4 C5 Bb4 A4 | Bb4 A4 G4 |
trumpet 2 | C4 C4 Bb3 A3 | G4  F4 E4 |
trumpet 3 | F3 A3 G3  F3 | D4  C4 C4 |
",
            },
        },
        Exception {
            says: "leaps where the technique changes",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: trumpets
technique: free
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3   4  |
trumpet 1 | A4 C5 Bb4 A4 |
trumpet 2 | C4 C4 Bb3 A3 |
trumpet 3 | F3 A3 G3  F3 |

technique: fourths
count     | 1   2  3  |
trumpet 1 | Bb4 A4 G4 |
trumpet 2 | F4  E4 D4 |
trumpet 3 | C4  B3 A3 |
",
                but: "technique: fourths",
            },
        },
        Exception {
            says: "counterpoint of instruments",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

count      | 1   2  3   4  | 1   3   |
trombone 1 | F4  -  Eb4 -  | Bb4 A4  |
trombone 2 | D4  C4 -   D4 | G3  Eb4 |
trombone 3 | Bb3 -  -   G3 | Eb3 C4  |
",
                but: "trombone 1 | F4  -  Eb4 F4 | Bb4 A4 |",
            },
        },
    ],
};

/// One voice from one sonority to the next.
struct Step<'a> {
    from: &'a Voice,
    to: &'a Voice,
    by: i16,
    /// What the lead does meanwhile.
    lead: i16,
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for passage in input.passages {
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
            let at = SonorityAt {
                passage,
                index,
                sonority: b,
            };
            if passage.phrase_of(index).contains(&(index - 1)) && is_held_to_it(passage, index) {
                look(input, a, at, out);
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

/// The leaps from the sonority `a` to the next one.
fn look(input: &RuleInput<'_>, a: &Sonority, next: SonorityAt<'_>, out: &mut Vec<Finding>) {
    let b = next.sonority;
    let block = |s: &Sonority| s.voices.len() >= 3 && s.voices.iter().all(|v| v.attacked);
    if !block(a) || !block(b) || a.voices.len() != b.voices.len() {
        return;
    }
    let beat = input.score.felt_beat_at(b.onset);
    let (Some(lead_a), Some(lead_b)) = (a.voices.first(), b.voices.first()) else {
        return;
    };
    let lead = lead_b.midi - lead_a.midi;
    let last = a.voices.len() - 1;
    // Each part with its top voice.
    let mut of_part: SmallVec<[(u32, usize); 8]> =
        b.voices.iter().map(|v| v.note.part).zip(0..).collect();
    of_part.sort_unstable();
    let steps: SmallVec<[Step<'_>; 6]> = a
        .voices
        .iter()
        .enumerate()
        .filter_map(|(i, from)| {
            let first = of_part.partition_point(|(part, _)| *part < from.note.part);
            let (_, at) = *of_part.get(first).filter(|(p, _)| *p == from.note.part)?;
            let to = b.voices.get(at)?;
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
            || input.is_explained(step.from.note)
            || input.is_explained(step.to.note)
            || step.by.abs() > 12 && leaps_often(input, step)
        {
            continue;
        }
        if let Some(leap) = judge(input, next, step) {
            out.push(finding(input, next, step, &leap));
        }
    }
}

/// How many notes to either side say whether a line leaps by itself.
const AROUND: usize = 8;

/// Whether the line around leaps elsewhere, too: a broken chord, octaves of a bass.
fn leaps_often(input: &RuleInput<'_>, step: &Step<'_>) -> bool {
    let to = step.to.note;
    let Some(part) = input.score.parts.get(to.part as usize) else {
        return false;
    };
    let at = to.note as usize;
    let around = part
        .notes
        .get(at.saturating_sub(AROUND)..)
        .unwrap_or_default();
    let pairs = around.windows(2).take(2 * AROUND);
    let leaps =
        pairs.filter(|w| matches!(w, [a, b] if (a.sounding.midi() - b.sounding.midi()).abs() > 7));
    leaps.count() > 1
}

/// A leap that is reported.
struct Leap {
    level: Level,
    /// "a seventh"
    size: &'static str,
}

fn judge(input: &RuleInput<'_>, at: SonorityAt<'_>, step: &Step<'_>) -> Option<Leap> {
    let leap = |level, size| Some(Leap { level, size });
    let size = step.by.abs();
    let block = at.passage.in_force.get(at.index).copied().flatten();
    if size > 12 {
        // In free writing a leap may be meant.
        let free = block.is_none() && !at.passage.section.is_choir();
        let level = if free { Level::Note } else { Level::Warning };
        return leap(level, "more than an octave");
    }
    if at.passage.section.is_choir() && block.is_none() {
        let letters = (step.to.pitch.diatonic() - step.from.pitch.diatonic()).abs();
        return match (size, letters) {
            (10 | 11, _) => leap(Level::Note, "a seventh"),
            (6, 3) => leap(Level::Note, "an augmented fourth"),
            (3, 1) => leap(Level::Note, "an augmented second"),
            _ => None,
        };
    }
    let limit = input.setting(&RULE, "leap") as i16;
    if size >= limit && step.lead.abs() <= 2 {
        return leap(Level::Note, "a long way while the lead hardly moves");
    }
    None
}

fn finding(input: &RuleInput<'_>, at: SonorityAt<'_>, step: &Step<'_>, leap: &Leap) -> Finding {
    let score = input.score;
    let who = wording::part(score, step.to.note.part);
    let way = if step.by > 0 { "up" } else { "down" };
    let message = format!(
        "{who} leaps {way} from {} to {}, {}",
        wording::for_player(score, step.from.note, step.from.pitch),
        wording::for_player(score, step.to.note, step.to.pitch),
        leap.size
    );
    let octave = if step.by > 0 { -1 } else { 1 };
    let moved = |voice: &Voice, octave| {
        vec![Change {
            note: voice.note,
            sounding: voice.pitch.octaves(octave),
        }]
    };
    let nearer = [moved(step.to, octave), moved(step.from, -octave)];
    at.finding(score, &RULE, message)
        .level(leap.level)
        .at_fault(&[at.fault(step.to)], "leap")
        .instead(format!(
            "{who}: take a chord note nearer to the one before, or exchange notes with a neighbour"
        ))
        .may_mend(nearer.into_iter().filter(|_| step.by.abs() > 7))
}

crate::rules::test_examples!(RULE);
