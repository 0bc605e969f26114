//! `missing-guide-tone`: third and seventh sound. Published: open textbook on jazz voicings, jazz
//! arranging texts.

use crate::diagnosis::Fault;
use crate::finding::{Finding, Level};
use crate::ground::pitch::{Pitch, PitchClass};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::remedies::remedies;
use crate::rules::shared::{free, wording};
use crate::score::Score;

pub static RULE: Rule = Rule {
    name: "missing-guide-tone",
    group: Group::Harmony,
    asks: "A held chord sounds its third (or the fourth that stands for it) and its seventh or sixth.",
    why: "Third and seventh tell which chord it is; a doubled root or fifth in their place leaves it hollow.",
    source: "published: open textbook on jazz voicings, jazz arranging texts",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: C major
meter: 4/4
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Dm7 -  | G7 - |
count   | 1   3  | 1  3 |
alto 1  | D5  F5 | F5 E5 |
alto 2  | A4  C5 | D5 B4 |
          ^^ doubled
tenor 1 | D4  A4 | B4 F4 |
          ^^ doubled
tenor 2 | A3  F4 | F4 B3 |
fix: tenor 1: write F4 (written G5) instead of D4 (written E5); alto 2: write C5 (written A5) instead of A4 (written F#5)
",
        right: "\
tenor 1 | F4  A4 | B4 F4 |
tenor 2 | C4  F4 | F4 B3 |
",
    }],
    exceptions: &[
        Exception {
            says: "unison and octaves",
            silent: Silent::With("\
alto 2  | D5 C5 | D5 B4 |
tenor 1 | D4 A4 | B4 F4 |
tenor 2 | D4 F4 | F4 B3 |
"),
        },
        Exception {
            says: "power chords, which have no third",
            silent: Silent::Passage {
                passage: "\
key: E minor
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | E5 -  | D5 -  |
count      | 1  3  | 1  3  |
trombone 1 | E4 B3 | D4 A3 |
trombone 2 | B3 E3 | A3 D3 |
trombone 3 | E3 B2 | D3 A2 |
trombone 4 | E2 E2 | D2 D2 |
",
                but: "chord      | Em -  | D5 -  |",
            },
        },
        Exception {
            says: "chords of which every voice has its own note",
            silent: Silent::With("\
tenor 1 | G4 A4 | B4 F4 |
tenor 2 | C4 F4 | F4 B3 |
"),
        },
        Exception {
            says: "a guide tone that the rhythm section or another section sounds",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet
       piano = piano

chord     | Cm7        -   | F7        -   |
count     | 1          3   | 1         3   |
trumpet 1 | C5         G5  | F5        Eb5 |
trumpet 2 | G4         Eb5 | C5        C5  |
trumpet 3 | C4         Bb4 | A4        A4  |
trumpet 4 | G3         G4  | Eb4       F4  |
piano     | Bb4+Eb4+C3 -   | A4+Eb4+F3 -   |
",
                but: "piano     | C4+G3+C3 -  | A4+Eb4+F3 - |",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for chord in input.free_chords() {
        if chord.lead.duration() < chord.lead.beat || chord.sonority.voices.len() < 4 {
            continue;
        }
        let voices = &chord.sonority.voices;
        // Somebody has to be free to take it: a doubled voice that is not the lead.
        let doubled: Vec<usize> = (1..voices.len()).filter(|&i| chord.is_doubled(i)).collect();
        if doubled.is_empty() {
            continue;
        }
        let sounding = all_sounding(input.score, chord.sonority.onset, chord.sonority.end);
        let sounds = |c: PitchClass| sounding.contains(&c);
        let third = chord.frame.third().filter(|&c| !sounds(c));
        let sevenths = chord.frame.sevenths();
        let seventh = sevenths
            .first()
            .copied()
            .filter(|_| !sevenths.iter().any(|&c| sounds(c)));
        let missing: Vec<PitchClass> = third.into_iter().chain(seventh).collect();
        if missing.is_empty() {
            continue;
        }
        let names: Vec<String> = missing.iter().map(|&c| chord.name(c).to_string()).collect();
        // The lowest doubled voice but the bass is the one that is least missed.
        let mut faults: Vec<Fault> = Vec::new();
        let mut free: Vec<usize> = doubled.clone();
        let beside = |class: PitchClass| beside(chord, class);
        // The bottom keeps the root while another voice can move.
        let bottom = voices.len().saturating_sub(1);
        if free.len() > missing.len()
            && voices
                .get(bottom)
                .is_some_and(|v| v.pitch.class() == chord.frame.bass())
        {
            free.retain(|&i| i != bottom);
        }
        for &class in &missing {
            if let Some((i, to)) = beside(class).filter(|_| missing.len() == 1) {
                faults.extend(chord.fault(i, Some(to)));
                continue;
            }
            let best = free
                .iter()
                .copied()
                .filter_map(|i| {
                    let to = chord
                        .alternatives(i)
                        .into_iter()
                        .find(|p| p.class() == class)?;
                    let v = voices.get(i)?;
                    Some(((v.midi - to.midi()).abs(), i, to))
                })
                .min_by_key(|(moved, i, _)| (*moved, *i));
            if let Some((_, i, to)) = best {
                faults.extend(chord.fault(i, Some(to)));
                free.retain(|&j| j != i);
            }
        }
        if faults.is_empty() {
            faults = doubled
                .iter()
                .filter_map(|&i| chord.fault(i, None))
                .collect();
        }
        let message = format!(
            "{} of {} {} nowhere, while {}",
            wording::join(&names),
            chord.frame.chord,
            if names.len() > 1 { "sound" } else { "sounds" },
            doubled_words(input.score, chord, &doubled)
        );
        let found = chord.finding(input.score, &RULE, message, &faults, "doubled");
        out.push(Finding {
            remedies: remedies([&faults]),
            ..found
        });
    }
}

/// An inner or bottom voice on a tension a step from a guide tone that is missing: it stands in its place.
fn beside(chord: &free::FreeChord<'_>, class: PitchClass) -> Option<(usize, Pitch)> {
    let voices = &chord.sonority.voices;
    (1..voices.len()).find_map(|i| {
        let voice = voices.get(i)?;
        let own = voice.pitch.class();
        let is_tension = !chord.frame.chord.contains(own) && chord.frame.bass() != own;
        let near = chord
            .alternatives(i)
            .into_iter()
            .find(|to| to.class() == class && (1..=2).contains(&(to.midi() - voice.midi).abs()))?;
        is_tension.then_some((i, near))
    })
}

fn doubled_words(score: &Score, chord: &free::FreeChord<'_>, doubled: &[usize]) -> String {
    let mut names: Vec<String> = doubled
        .iter()
        .filter_map(|&i| chord.sonority.voices.get(i))
        .map(|v| format!("{} ({})", v.pitch.name(), wording::part(score, v.note.part)))
        .collect();
    names.dedup();
    format!(
        "{} doubled",
        wording::join(&names) + if names.len() > 1 { " are" } else { " is" }
    )
}

/// Everything any part sounds in a stretch of time, ties and held notes included.
fn all_sounding(score: &Score, from: Ticks, to: Ticks) -> Vec<PitchClass> {
    let mut found = Vec::new();
    for part in &score.parts {
        // Notes are in order of onset: one that began long before may still sound.
        let until = part.notes.partition_point(|n| n.onset < to);
        for note in part.notes.get(..until).unwrap_or_default().iter().rev() {
            if note.sounds() && note.end() > from && !found.contains(&note.sounding.class()) {
                found.push(note.sounding.class());
            }
            if from - note.onset > longest_held(score) {
                break;
            }
        }
    }
    found
}

/// How far back a note is looked for that still sounds: two whole notes.
fn longest_held(score: &Score) -> Ticks {
    score.per_quarter.times(8)
}

crate::rules::test_examples!(RULE);
