//! `multi-rest`: a multi-bar rest stops where something happens.

use crate::finding::{Finding, Level};
use crate::ground::time::{Meter, Ticks};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Group, Rule};
use crate::rules::shared::wording;
use crate::score::{Key, Mark, Part, Place, Score};
use std::collections::BTreeMap;

pub static RULE: Rule = Rule {
    name: "multi-rest",
    group: Group::Notation,
    asks: "A multi-bar rest is split at rehearsal marks, double bars, endings and changes of tempo, meter or key, and covers bars of rest only.",
    why: "A player who counts eighteen bars across a rehearsal mark cannot find the place when the leader calls it.",
    source: "published: a community orchestra's submission guideline; encyclopaedia, Rest",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  | 1 | 1 | 1 | 1 | 1  |
                         ^ trumpet 1
trumpet 1 | C5 | . | . | . | . | E5 |
on the page:
trumpet 1, bar 2: multi-bar rest 4
trumpet 1, bar 4: rehearsal mark B
suggestion: trumpet 1: split the rest: 2 and 2
",
        right: "\
not on the page:
trumpet 1, bar 2: multi-bar rest 4
on the page:
trumpet 1, bar 2: multi-bar rest 2
trumpet 1, bar 4: multi-bar rest 2
",
    }],
    exceptions: &[],
};

/// What happens at the start of each bar, in words; the first thing only. Parts with other bars than
/// most count for nothing: their signs stand elsewhere.
fn events(score: &Score, in_step: &[u32]) -> BTreeMap<u32, String> {
    let parts = || in_step.iter().filter_map(|p| score.parts.get(*p as usize));
    let mut events: BTreeMap<u32, String> = BTreeMap::new();
    let mut add = |bar: u32, what: String| {
        events.entry(bar).or_insert(what);
    };
    for part in parts() {
        for (index, bar) in (0u32..).zip(&part.bars) {
            if let Some(mark) = &bar.rehearsal {
                add(index, format!("the rehearsal mark {mark} stands"));
            }
        }
    }
    for part in parts() {
        for (index, bar) in (0u32..).zip(&part.bars) {
            if bar.double_bar || bar.repeat_end {
                add(index + 1, "a double bar or repeat sign stands".to_owned());
            }
            if bar.repeat_start {
                add(index, "a repeat sign stands".to_owned());
            }
            if let Some(ending) = &bar.ending {
                add(index, format!("ending {ending} starts"));
            }
        }
        for mark in changes(&part.meters, |m: &Meter| *m) {
            add(mark.at.bar, format!("the meter changes to {}", mark.value));
        }
        for mark in changes(&part.keys, |k: &Key| k.fifths) {
            add(mark.at.bar, "the key changes".to_owned());
        }
        for mark in changes(&part.tempos, |t: &f64| t.to_bits()) {
            add(mark.at.bar, "the tempo changes".to_owned());
        }
    }
    events
}

/// Marks that change what was in force.
fn changes<T, K: PartialEq>(
    marks: &[Mark<T>],
    what: impl Fn(&T) -> K,
) -> impl Iterator<Item = &Mark<T>> {
    marks.windows(2).filter_map(move |w| match w {
        [a, b] if what(&a.value) != what(&b.value) => Some(b),
        _ => None,
    })
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    let rests = |p: &Part| p.bars.iter().any(|b| b.multi_rest.is_some_and(|n| n > 1));
    if !score.parts.iter().any(rests) {
        return;
    }
    let events = events(score, &input.whole().in_step);
    for (index, part) in (0u32..).zip(&score.parts).filter(|(_, p)| rests(p)) {
        let name = wording::part(score, index);
        for (bar, own) in (0u32..).zip(&part.bars) {
            let Some(count) = own.multi_rest.filter(|n| *n > 1) else {
                continue;
            };
            let end = bar + u32::from(count);
            let first = part.notes.partition_point(|n| n.at.bar < bar);
            let note = part.notes.get(first).filter(|n| n.at.bar < end);
            if let Some(note) = note {
                out.push(
                    RULE
                        .finding(
                            note.at,
                            format!(
                                "{name}: the rest of {count} bars from bar {} on runs over notes in bar {}",
                                score.bar_number(bar),
                                score.bar_number(note.at.bar)
                            ),
                        )
                        .parts([index])
                        .instead(format!(
                            "{name}: end the rest before bar {}",
                            score.bar_number(note.at.bar)
                        )),
                );
                continue;
            }
            if let Some((&at, what)) = events.range(bar + 1..end).next() {
                let before = at - bar;
                out.push(
                    RULE
                        .finding(
                            Place {
                        bar: at,
                        offset: Ticks::ZERO,
                    },
                            format!(
                                "{name}: the rest of {count} bars from bar {} on runs across bar {}, where {what}",
                                score.bar_number(bar),
                                score.bar_number(at)
                            ),
                        )
                        .parts([index])
                        .instead(format!(
                            "{name}: split the rest: {before} and {}",
                            u32::from(count) - before
                        )),
                );
            }
        }
    }
}

crate::rules::test_examples!(RULE);
