//! `repeated-inner-note`: an inner voice does not hammer one note under a moving lead. The idea is
//! published: large-ensemble voicing textbook, on approach notes; the count is common practice, no
//! source.

use crate::diagnosis::Passage;
use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::lines::static_voice;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::sonority::{Sonority, Voice};
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "repeated-inner-note",
    group: Group::Lines,
    asks: "Under short notes of a lead that moves each time, an inner voice repeats its note at most twice.",
    why: "Tonguing one note fast under a moving line sounds stiff and drags the phrase.",
    source: "published: large-ensemble voicing textbook, on approach notes; the count: common practice, no source",
    level: Level::Note,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[Setting {
        name: "repeats",
        about: "how many times in a row a note may be repeated",
        default: 2.0,
    }],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  &  4  & |
trumpet 1 | C5 D5 E5 D5 C5 D5 |
trumpet 2 | F4 A4 G4 G4 G4 G4 |
                  ^^ ^^ ^^ ^^ again
trumpet 3 | C4 F4 C4 D4 E4 D4 |
suggestion: trumpet 2: exchange notes with a neighbour on every second chord, or harmonise the short notes as passing notes
",
        right: "\
trumpet 2 | F4 A4 G4 A4 G4 A4 |
trumpet 3 | C4 F4 C4 F4 E4 F4 |
",
    }],
    exceptions: &[
        Exception {
            says: "the bottom voice (a pedal)",
            silent: Silent::With("\
trumpet 2 | F4 A4 G4 F4 E4 F4 |
trumpet 3 | C4 F4 G3 G3 G3 G3 |
"),
        },
        Exception {
            says: "a note that doubles the lead at the octave",
            silent: Silent::With("trumpet 1 | C5 D5 E5 D5 G5 D5 |"),
        },
        Exception {
            says: "notes of a beat or longer",
            silent: Silent::Passage {
                passage: "\
key: Ab major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

count      | 1   2   3   4   | 1   |
trombone 1 | Eb4 F4  Eb4 Db4 | C4  |
trombone 2 | C4  C4  C4  C4  | Ab3 |
trombone 3 | Ab3 Bb3 Ab3 F3  | Eb3 |
",
                but: "\
meter: 2/4
count      | 1   &   2   &   | 1   |
",
            },
        },
        Exception {
            says: "a voice that stands still for the whole phrase: static-voice reports it",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  &  2   &  3   &  4  |
trumpet 1 | B4 C5 D5  E5 D5  C5 B4 |
trumpet 2 | G4 G4 G4  G4 G4  G4 G4 |
trumpet 3 | D4 E4 F#4 E4 F#4 E4 D4 |
",
                but: "off: static-voice",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let limit = input.setting(&RULE, "repeats") as usize;
    let static_is_on = input.style.is_on(&static_voice::RULE);
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
                if static_is_on && static_voice::stands_still(input, sonorities, member.part) {
                    continue;
                }
                runs(input, passage, sonorities, member.part, limit, out);
            }
        }
    }
}

/// The voice of a part in a block of short notes, when it is an inner one.
fn inner<'s>(input: &RuleInput<'_>, sonority: &'s Sonority, part: u32) -> Option<&'s Voice> {
    let beat = input.score.felt_beat_at(sonority.onset);
    let at = sonority.voices.iter().position(|v| v.note.part == part)?;
    let (voice, lead) = (sonority.voices.get(at)?, sonority.voices.first()?);
    (sonority.is_block()
        && at > 0
        && at + 1 < sonority.voices.len()
        && (lead.midi - voice.midi) % 12 != 0
        && voice.end - sonority.onset < beat
        && !input.is_explained(voice.note))
    .then_some(voice)
}

fn runs(
    input: &RuleInput<'_>,
    passage: &Passage,
    sonorities: &[Sonority],
    part: u32,
    limit: usize,
    out: &mut Vec<Finding>,
) {
    let mut run: SmallVec<[(&Sonority, &Voice); 8]> = SmallVec::new();
    for sonority in sonorities {
        let voice = inner(input, sonority, part);
        let goes_on = match (voice, run.last()) {
            (Some(v), Some((before, w))) => {
                let lead = |s: &Sonority| s.voices.first().map(|v| v.midi);
                v.midi == w.midi && lead(sonority) != lead(before) && w.end == sonority.onset
            }
            _ => false,
        };
        if !goes_on {
            out.extend(finding(input, passage, &run, limit));
            run.clear();
        }
        run.extend(voice.map(|v| (sonority, v)));
    }
    out.extend(finding(input, passage, &run, limit));
}

fn finding(
    input: &RuleInput<'_>,
    passage: &Passage,
    run: &[(&Sonority, &Voice)],
    limit: usize,
) -> Option<Finding> {
    let (first, voice) = run.first()?;
    if run.len() <= limit + 1 {
        return None;
    }
    let who = wording::part(input.score, voice.note.part);
    let message = format!(
        "{who} repeats {} {} times while the lead moves",
        wording::for_player(input.score, voice.note, voice.pitch),
        run.len() - 1
    );
    let notes: Vec<NoteRef> = run.iter().map(|(_, v)| v.note).collect();
    Some(
        RULE
            .finding(first.at, message)
            .section(&passage.section.name)
            .parts([voice.note.part])
            .at_notes(notes, 0, "again")
            .instead(format!(
                "{who}: exchange notes with a neighbour on every second chord, or harmonise the short notes as passing notes"
            )),
    )
}

crate::rules::test_examples!(RULE);
