//! `double-stop`: an instrument that plays one note at a time is given one note at a time.

use crate::finding::{Finding, Level};
use crate::ground::instrument::{Family, Property, names_several};
use crate::ground::time::Ticks;
use crate::ground::words::{is_among, known_words};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::score::{Mark, Note, NoteFlags, Part, Words};

pub static RULE: Rule = Rule {
    name: "double-stop",
    group: Group::Players,
    asks: "A part for one wind player, or for the bass, has one pitch at a time.",
    why: "One player cannot play both: one of the notes is lost, and nobody knows which.",
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: trombones
parts: trombone 2 = trombone

count      | 1  2     3  4  |
trombone 2 | C4 D4+F4 E4 D4 |
                ^^ ^^ two at once
suggestion: trombone 2: take one of the notes out, give it to another part, or write \"div.\" if two players read the part
",
        right: "\
count      | 1  2  3  4  |
trombone 2 | C4 D4 E4 D4 |
",
    }],
    exceptions: &[
        Exception {
            says: "parts marked div. or a2",
            silent: Silent::With(
                "\
on the page:
trombone 2, bar 1, beat 1: words div.
",
            ),
        },
        Exception {
            says: "parts named for two players or more",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2/3 = trombone

count        | 1   2      3  4   | 1   3 |
trombone 1   | D4  Eb4    F4 Eb4 | D4  . |
trombone 2/3 | Bb3 G3+C4  D4 C4  | Bb3 . |
",
                but: "trombone 1   | D4  Eb4+G4 F4 Eb4 | D4  . |",
            },
        },
        Exception {
            says: "a staff on which two notes at once are the rule, so that several players read it",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 3/4
section: french horns
parts: horn = french horn

count | 1     2      3     | 1     3  |
horn  | F4+A4 G4+Bb4 A4+C5 | F4+A4 C4 |
",
                but: "horn  | F4    G4+Bb4 A4    | F4    C4 |",
            },
        },
        Exception {
            says: "voices, of which several share a part",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 3/4
section: voices
parts: alto = alto

count | 1  2     3  | 1  |
alto  | D4 E4+G4 E4 | D4 |
",
                but: "parts: alto = alto saxophone",
            },
        },
        Exception {
            says: "double stops asked for in words",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: bass
parts: bass = double bass

count | 1  2  3  4     | 1  3 |
bass  | G1 B1 D2 D2+A2 | G1 - |
on the page:
bass, bar 1, beat 4: words double stop
",
                but: "\
not on the page:
bass, bar 1, beat 4: words double stop
",
            },
        },
    ],
};

/// Stops at most this many bars apart are one slip.
const ONE_SLIP: u32 = 2;

/// A part with stops in a quarter of this many bars or more is read by several players.
const SHARED_BARS: usize = 8;

/// Two notes at once.
struct Stop<'a> {
    note: &'a Note,
    at: NoteRef,
    with: NoteRef,
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for passage in input.passages {
        for member in passage.section.own_parts() {
            let Some(instrument) = member
                .instrument
                .filter(|i| i.single_line && !i.is(Property::Unpitched) && !i.is(Property::Sung))
                .filter(|i| i.range.is_known())
            else {
                continue;
            };
            let Some(part) = input.score.parts.get(member.part as usize) else {
                continue;
            };
            if part.staves > 1 || names_several(&part.name) {
                continue;
            }
            let stops = stops(input, member.part, part);
            for run in stops.chunk_by(|a, b| b.note.at.bar <= a.note.at.bar + ONE_SLIP) {
                let found = finding(
                    input,
                    (member.part, &instrument.name),
                    run,
                    &passage.section.name,
                );
                // Bowed strings divide without a word, and some double stops are easy.
                let stringed = instrument.family == Family::String;
                out.extend(found.map(|f| {
                    let level = if stringed { Level::Note } else { f.level };
                    f.level(level)
                }));
            }
        }
    }
}

fn stops<'a>(input: &RuleInput<'a>, index: u32, part: &'a Part) -> Vec<Stop<'a>> {
    let divisions = divisions(&part.words);
    let is_divided = |onset: Ticks| {
        let until = divisions.partition_point(|(at, _)| *at <= onset);
        let last = until.checked_sub(1).and_then(|i| divisions.get(i));
        last.is_some_and(|(_, divided)| *divided)
    };
    let mut sounding: Vec<(Ticks, i16, NoteRef)> = Vec::new();
    let mut stops: Vec<Stop<'a>> = Vec::new();
    let (mut attacks, mut bars) = (0usize, 0usize);
    let mut last: Option<(Ticks, u32)> = None;
    for (i, note) in input.notes(index) {
        if !note.sounds() || note.duration <= Ticks::ZERO {
            continue;
        }
        let at = NoteRef {
            part: index,
            note: i,
        };
        attacks += usize::from(last.is_none_or(|(onset, _)| onset < note.onset));
        bars += usize::from(last.is_none_or(|(_, bar)| bar != note.at.bar));
        last = Some((note.onset, note.at.bar));
        sounding.retain(|(end, ..)| *end > note.onset);
        let midi = note.sounding.midi();
        let other = sounding.iter().find(|(_, m, _)| *m != midi);
        if let Some((.., with)) = other
            && !note.flags.has(NoteFlags::TIED_IN)
            && !is_divided(note.onset)
        {
            stops.push(Stop {
                note,
                at,
                with: *with,
            });
        }
        sounding.push((note.end(), midi, at));
    }
    let mut with_stops: Vec<u32> = stops.iter().map(|s| s.note.at.bar).collect();
    with_stops.dedup();
    let shared = stops.len() * 2 > attacks || bars >= SHARED_BARS && with_stops.len() * 4 >= bars;
    if shared { Vec::new() } else { stops }
}

/// The words that speak of dividing, in order: when, and whether they divide.
fn divisions(words: &[Mark<Words>]) -> Vec<(Ticks, bool)> {
    let known = &known_words().dividing;
    let said = words.iter().filter_map(|w| {
        let text = w.value.text.to_lowercase();
        let has = |list: &[Box<str>]| {
            text.split(|c: char| !c.is_alphanumeric())
                .any(|word| is_among(list, word))
        };
        if has(&known.together) {
            Some((w.onset, false))
        } else if has(&known.divided) || is_among(&known.divided_alone, text.trim()) {
            Some((w.onset, true))
        } else {
            None
        }
    });
    said.collect()
}

fn finding(
    input: &RuleInput<'_>,
    (index, instrument): (u32, &str),
    run: &[Stop<'_>],
    section: &str,
) -> Option<Finding> {
    let first = run.first()?;
    let who = wording::part(input.score, index);
    let part = input.score.parts.get(index as usize)?;
    let with = part.notes.get(first.with.note as usize)?;
    let also = match run.len() {
        1 => String::new(),
        n => format!(
            " ({n} times to bar {})",
            input.score.bar_number(run.last()?.note.at.bar)
        ),
    };
    let message = format!(
        "{who} has {} and {} at once{also}; {} plays one note at a time",
        wording::for_player(input.score, first.with, with.sounding),
        wording::for_player(input.score, first.at, first.note.sounding),
        wording::with_article(instrument),
    );
    let mut notes: Vec<NoteRef> = run.iter().flat_map(|s| [s.with, s.at]).collect();
    notes.sort_unstable();
    notes.dedup();
    Some(
        RULE
            .finding(first.note.at, message)
            .section(section)
            .parts([index])
            .at_notes(notes, 1, "two at once")
            .instead(format!(
                "{who}: take one of the notes out, give it to another part, or write \"div.\" if two players read the part"
            )),
    )
}

crate::rules::test_examples!(RULE);
