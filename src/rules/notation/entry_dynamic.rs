//! `entry-dynamic`: an entry says how loud it is.

use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::page::{names, pitched};
use crate::score::NoteRef;
use crate::score::{Note, NoteFlags, Part, Place, Score};
use std::collections::BTreeMap;

pub static RULE: Rule = Rule {
    name: "entry-dynamic",
    group: Group::Notation,
    asks: "A part has a dynamic at its first note and where it comes in again after four bars of rest or more.",
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
    words
        .to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .any(|w| {
            crate::ground::words::known_words()
                .dynamics
                .in_words
                .contains(w)
        })
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
    let mut bare: BTreeMap<(Place, bool), Vec<(NoteRef, u32)>> = BTreeMap::new();
    for (index, part, marks) in &parts {
        let mut silent_from = Ticks::ZERO;
        let mut last_bar: Option<u32> = None;
        // A stretch that is not judged is no rest either.
        let plays = |n: &Note| n.sounds() || n.flags.has(NoteFlags::LEFT_OUT);
        for (i, note) in part.notes.iter().enumerate().filter(|(_, n)| plays(n)) {
            let rest = last_bar.map(|bar| note.at.bar.saturating_sub(bar + 1));
            let entry = rest.is_none_or(|n| f64::from(n) >= bars);
            if entry && !is_slashed(part, note) {
                let meter = crate::score::in_force(&part.meters, note.onset)
                    .map_or(crate::ground::time::Meter::COMMON, |m| m.value);
                let latest = note.onset + meter.felt_beat(score.per_quarter);
                let from = marks.partition_point(|m| *m < silent_from);
                let marked = marks.get(from).is_some_and(|m| *m <= latest);
                if !marked {
                    let at = NoteRef {
                        part: *index,
                        note: i as u32,
                    };
                    bare.entry((note.at, rest.is_none()))
                        .or_default()
                        .push((at, rest.unwrap_or_default()));
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
    for ((at, first), entries) in bare {
        out.push(without(score, at, first, &entries));
    }
}

fn is_slashed(part: &Part, note: &Note) -> bool {
    part.bars
        .get(note.at.bar as usize)
        .is_some_and(|b| b.slashes)
}

fn without(score: &Score, at: Place, first: bool, entries: &[(NoteRef, u32)]) -> Finding {
    let mut parts: Vec<u32> = entries.iter().map(|(n, _)| n.part).collect();
    parts.dedup();
    let who = names(score, &parts);
    let message = if first {
        format!("{who}: no dynamic at the first note")
    } else {
        let bars = entries.iter().map(|(_, rest)| *rest).min().unwrap_or(0);
        format!("{who}: no dynamic at the entry after {bars} bars of rest")
    };
    RULE.finding(at, message)
        .parts(parts)
        .instead(format!(
            "{who}: write a dynamic at the entry, as the other parts of the section have it"
        ))
        .at_notes(entries.iter().map(|(n, _)| *n), 1, "how loud?")
}

crate::rules::test_examples!(RULE);
