//! `entry-dynamic`: an entry says how loud it is.

use crate::finding::{Finding, Level};
use crate::ground::instrument::Property;
use crate::ground::time::{Meter, Ticks};
use crate::ground::words::known_words;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::page::{names, pitched};
use crate::score::NoteRef;
use crate::score::{Note, NoteFlags, Part, Place, Score, in_force};
use std::collections::BTreeMap;

pub static RULE: Rule = Rule {
    name: "entry-dynamic",
    group: Group::Notation,
    asks: "A part has a dynamic at its first note and where it comes in again after four bars of rest or more (a note where the others have none there either; of singers only where others who come in with them have one).",
    why: "After a long rest the player no longer knows which dynamic is meant, and asks in the rehearsal.",
    source: "published: orchestra librarians' guidelines (from memory); a university proofreading checklist",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[Setting {
        name: "bars",
        about: "full bars of rest after which an entry needs a dynamic",
        default: 4.0,
    }],
    examples: &[Example {
        wrong: "\
meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  | 1 | 1 | 1 | 1 | 1  |
trumpet 1 | C5 | . | . | . | . | E5 |
                                 ^^ how loud?
on the page:
trumpet 1, bar 1, beat 1: dynamic mf
suggestion: trumpet 1: write a dynamic at the entry, as the other parts of the section have it
",
        right: "\
on the page:
trumpet 1, bar 6, beat 1: dynamic mf
",
    }],
    exceptions: &[
        Exception {
            says: "scores in which most parts have no dynamics",
            silent: Silent::With(
                "\
not on the page:
trumpet 1, bar 1, beat 1: dynamic mf
",
            ),
        },
        Exception {
            says: "rhythm parts in slashes",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
section: guitar
parts: guitar = guitar

count  | 1           | 1 | 1 | 1 | 1 | 1           |
guitar | E4+C4+G3+A2 | . | . | . | . | F4+C4+A3+D3 |
on the page:
guitar, bar 1, beat 1: dynamic mp
guitar, bar 6: slashes
",
                but: "\
not on the page:
guitar, bar 6: slashes
",
            },
        },
        Exception {
            says: "singers, where no other who comes in with them has a dynamic",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
section: voices
parts: alto = alto
       tenor = tenor

count | 1  | 1 | 1 | 1 | 1 | 1  |
alto  | A4 | . | . | . | . | G4 |
tenor | F4 | . | . | . | . | E4 |
on the page:
alto, bar 1, beat 1: dynamic mf
tenor, bar 1, beat 1: dynamic mf
",
                but: "\
on the page:
tenor, bar 6, beat 1: dynamic p
",
            },
        },
        Exception {
            says: "words that say how loud",
            silent: Silent::With(
                "\
on the page:
trumpet 1, bar 6, beat 1: words sotto voce
",
            ),
        },
        Exception {
            says: "a dynamic in the rest before the entry, or up to a beat after it",
            silent: Silent::With(
                "\
on the page:
trumpet 1, bar 6, beat 2: dynamic mf
",
            ),
        },
    ],
};

/// Words that are a dynamic though they stand as words.
fn is_dynamic(words: &str) -> bool {
    let known = &known_words().dynamics;
    let words = words.to_lowercase();
    words
        .split(|c: char| !c.is_alphanumeric())
        .any(|w| known.in_words.contains(w))
        || known.phrases.iter().any(|p| words.contains(&**p))
}

/// When the part says how loud it is, in order.
fn dynamics(part: &Part) -> Vec<Ticks> {
    let words = part.words.iter().filter(|w| is_dynamic(&w.value.text));
    let mut all: Vec<Ticks> = part
        .dynamics
        .iter()
        .map(|d| d.onset)
        .chain(words.map(|w| w.onset))
        .collect();
    all.sort_unstable();
    all
}

/// An entry without a dynamic.
struct Entry {
    note: NoteRef,
    /// Full bars of rest before it; `None` at the first note of the part.
    rest: Option<u32>,
    sung: bool,
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    let parts: Vec<(u32, &Part, Vec<Ticks>)> = pitched(score)
        .map(|(index, part)| (index, part, dynamics(part)))
        .collect();
    let with = parts.iter().filter(|(_, _, d)| !d.is_empty()).count();
    if with * 2 <= parts.len() {
        return;
    }
    let bars = input.setting(&RULE, "bars");
    // Parts that come in together without a dynamic are one omission.
    let mut bare: BTreeMap<(Place, bool), Vec<Entry>> = BTreeMap::new();
    for (index, part, marks) in &parts {
        let sung = is_sung(input, *index, part);
        let mut silent_from = Ticks::ZERO;
        let mut last_bar: Option<u32> = None;
        // A stretch that is not judged is no rest either.
        let plays = |n: &Note| n.sounds() || n.flags.has(NoteFlags::LEFT_OUT);
        for (i, note) in part.notes.iter().enumerate().filter(|(_, n)| plays(n)) {
            let rest = last_bar.map(|bar| note.at.bar.saturating_sub(bar + 1));
            let entry = rest.is_none_or(|n| f64::from(n) >= bars);
            if entry && !is_slashed(part, note) {
                if !is_marked(marks, silent_from, latest(score, part, note)) {
                    let note_ref = NoteRef {
                        part: *index,
                        note: i as u32,
                    };
                    bare.entry((note.at, rest.is_none()))
                        .or_default()
                        .push(Entry {
                            note: note_ref,
                            rest,
                            sung,
                        });
                }
                // A part without any is reported once.
                if marks.is_empty() {
                    break;
                }
            }
            silent_from = silent_from.max(note.end());
            last_bar = last_bar.max(Some(note.at.bar));
        }
    }
    for ((at, first), mut entries) in bare {
        let others = others(input, &parts, &entries);
        if !others.singers {
            entries.retain(|e| !e.sung);
        }
        if entries.is_empty() {
            continue;
        }
        let level = if first || others.any || others.alone {
            Level::Warning
        } else {
            Level::Note
        };
        out.push(without(score, at, first, &entries).level(level));
    }
}

/// How far into its first note an entry may have its dynamic: a beat.
fn latest(score: &Score, part: &Part, note: &Note) -> Ticks {
    let meter = in_force(&part.meters, note.onset).map_or(Meter::COMMON, |m| m.value);
    note.onset + meter.felt_beat(score.per_quarter)
}

/// Whether a dynamic stands between two times.
fn is_marked(marks: &[Ticks], from: Ticks, to: Ticks) -> bool {
    let first = marks.partition_point(|m| *m < from);
    marks.get(first).is_some_and(|m| *m <= to)
}

/// What stands in the parts that have no such entry, at the same time.
struct Others {
    /// One has a dynamic there.
    any: bool,
    /// A singer who strikes there has one.
    singers: bool,
    /// There are none.
    alone: bool,
}

fn others(input: &RuleInput<'_>, parts: &[(u32, &Part, Vec<Ticks>)], bare: &[Entry]) -> Others {
    let mut found = Others {
        any: false,
        singers: false,
        alone: true,
    };
    for (index, part, marks) in parts {
        if bare.iter().any(|e| e.note.part == *index) {
            continue;
        }
        found.alone = false;
        let Some(note) = bare.first().and_then(|e| {
            let part = input.score.parts.get(e.note.part as usize)?;
            part.notes.get(e.note.note as usize)
        }) else {
            continue;
        };
        let marked = is_marked(marks, note.onset, latest(input.score, part, note));
        let from = part.notes.partition_point(|n| n.onset < note.onset);
        let strikes = part.notes.get(from).is_some_and(|n| n.onset == note.onset);
        found.any |= marked;
        found.singers |= marked && strikes && is_sung(input, *index, part);
    }
    found
}

/// Singers read a text; in songs their loudness follows from it and from the piano.
fn is_sung(input: &RuleInput<'_>, index: u32, part: &Part) -> bool {
    let members = input.passages.iter().flat_map(|p| &p.section.parts);
    part.lyrics > 0
        || members
            .filter(|m| m.part == index)
            .any(|m| m.instrument.is_some_and(|i| i.is(Property::Sung)))
}

fn is_slashed(part: &Part, note: &Note) -> bool {
    part.bars
        .get(note.at.bar as usize)
        .is_some_and(|b| b.slashes)
}

fn without(score: &Score, at: Place, first: bool, entries: &[Entry]) -> Finding {
    let mut parts: Vec<u32> = entries.iter().map(|e| e.note.part).collect();
    parts.dedup();
    let who = names(score, &parts);
    let message = if first {
        format!("{who}: no dynamic at the first note")
    } else {
        let bars = entries.iter().filter_map(|e| e.rest).min().unwrap_or(0);
        format!("{who}: no dynamic at the entry after {bars} bars of rest")
    };
    RULE.finding(at, message)
        .parts(parts)
        .instead(format!(
            "{who}: write a dynamic at the entry, as the other parts of the section have it"
        ))
        .at_notes(entries.iter().map(|e| e.note), 1, "how loud?")
}

crate::rules::test_examples!(RULE);
