//! `bar-length`: a bar holds what its meter says.

use crate::finding::{Finding, Level};
use crate::ground::time::{Meter, Ticks};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::meters::{OwnMeter, meters, own_meter, own_meters};
use crate::rules::shared::page::{beats, names};
use crate::score::NoteRef;
use crate::score::{Part, PartBar, Place, Score};
use num_rational::Ratio;
use std::collections::BTreeMap;

pub static RULE: Rule = Rule {
    name: "bar-length",
    group: Group::Notation,
    asks: "The notes and rests of every bar add up to its meter; where all parts have the same odd length it is a warning.",
    why: "With a beat too many or too few the player is out by a beat from here on, and the rehearsal stops.",
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  2  3 | 1 2  | 1  |
                    ^ trumpet 1
trumpet 1 | C5 D5 E5 | F5 - | E5 |
                  ^^ the bar does not add up
on the page:
trumpet 1, bar 1, beat 3: lasts 3
suggestion: trumpet 1: take out 1 beat, or write the meter that is meant
",
        right: "\
not on the page:
trumpet 1, bar 1, beat 3: lasts 3
on the page:
trumpet 1, bar 1, beat 3: lasts 2
",
    }],
    exceptions: &[
        Exception {
            says: "a first bar that is shorter (a pickup), unless it is full in most parts",
            silent: Silent::With(
                "\
not on the page:
trumpet 1, bar 1, beat 3: lasts 3
on the page:
trumpet 1, bar 1, beat 3: lasts 1
",
            ),
        },
        Exception {
            says: "a bar that the file says not to count",
            silent: Silent::Passage {
                passage: "\
meter: 3/4
parts: flute = flute

count | 1  2  3  | 1  2  | 1  |
flute | G5 A5 B5 | C6 A5 | G5 |
on the page:
flute, bar 2, beat 2: lasts 1
flute, bar 2: uncounted
",
                but: "\
not on the page:
flute, bar 2: uncounted
",
            },
        },
        Exception {
            says: "a cadenza, which has no meter",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
parts: clarinet = clarinet

count    | 1  2  3  | 1  2  3  4  | 1  |
clarinet | E4 G4 C5 | G5 F5 D5 B4 | C5 |
on the page:
clarinet, bar 2, beat 4: lasts 4
clarinet, bar 2: cadenza
",
                but: "\
not on the page:
clarinet, bar 2: cadenza
",
            },
        },
        Exception {
            says: "a last bar that is shorter, unless it is full in most parts",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
parts: horn = french horn

count | 1  2  3  | 1  2  3  | 1  |
horn  | C4 F4 G4 | A4 G4 E4 | F4 |
on the page:
horn, bar 3, beat 1: lasts 3
",
                but: "\
not on the page:
horn, bar 3, beat 1: lasts 3
on the page:
horn, bar 2, beat 3: lasts 1
",
            },
        },
        Exception {
            says: "a bar that a repeat sign or a double bar cuts short",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
parts: flute = flute
       oboe = oboe

count | 1  2  3  | 1  2  3  | 1  | 1  |
flute | E5 F5 G5 | A5 G5 F5 | E5 | D5 |
oboe  | C5 D5 E5 | F5 E5 D5 | C5 | B4 |
on the page:
flute, bar 2, beat 3: lasts 1
oboe, bar 2, beat 3: lasts 1
flute, bar 2: repeat ends
",
                but: "\
not on the page:
flute, bar 2: repeat ends
",
            },
        },
        Exception {
            says: "a bar written as two that add up to it",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
parts: trumpet = trumpet
       trombone = trombone

count    | 1  3  | 1  2  3  | 1  | 1  |
trumpet  | C5 D5 | E5 F5 E5 | G5 | D5 |
trombone | E4 F4 | G4 A4 G4 | B3 | B3 |
on the page:
trumpet, bar 2, beat 3: lasts 1
trombone, bar 2, beat 3: lasts 1
trumpet, bar 3, beat 1: lasts 1
trombone, bar 3, beat 1: lasts 1
",
                but: "\
not on the page:
trumpet, bar 3, beat 1: lasts 1
trombone, bar 3, beat 1: lasts 1
",
            },
        },
        Exception {
            says: "a bar that no bar line ends: it goes on in the next",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
parts: flute = flute
       oboe = oboe

count | 1  2  3  | 1  2  3  | 1  | 1  |
flute | E5 F5 G5 | A5 G5 F5 | E5 | D5 |
oboe  | C5 D5 E5 | F5 E5 D5 | C5 | B4 |
on the page:
flute, bar 2, beat 3: lasts 3
oboe, bar 2, beat 3: lasts 3
flute, bar 2: no bar line
",
                but: "\
not on the page:
flute, bar 2: no bar line
",
            },
        },
        Exception {
            says: "a bar of rest, whatever its length in the file",
            silent: Silent::Passage {
                passage: "\
meter: 3/4
parts: oboe = oboe
       bassoon = bassoon

count   | 1  2  3  | 1  2  | 1  |
oboe    | G4 A4 B4 | C5 E5 | D5 |
bassoon | E3 F3 G3 | .  .  | G3 |
on the page:
bassoon, bar 2: holds 4
",
                but: "bassoon | E3 F3 G3 | A3 C4 | G3 |",
            },
        },
        Exception {
            says: "a part that keeps a meter of its own for bars on end; it is measured by that one",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
parts: voice = voice
       harp = harp

count | 1  2  3  4  | 1  2  3  4  | 1  2  3  4  | 1  2  3  4  |
voice | C4 D4 E4 D4 | E4 F4 G4 F4 | E4 D4 C4 D4 | E4 F4 E4 D4 |
harp  | C4 G4 E4 G4 | C4 A4 F4 A4 | C4 G4 E4 G4 | C4 A4 F4 A4 |
on the page:
harp, bar 1: meter 12/8
harp, bar 1, beat 4: lasts 3
harp, bar 2, beat 4: lasts 3
harp, bar 3, beat 4: lasts 3
harp, bar 4, beat 4: lasts 3
",
                but: "\
not on the page:
harp, bar 1: meter 12/8
",
            },
        },
    ],
};

/// What all parts have in one bar.
struct Contents {
    /// Parts by how much they hold, where anything but rest stands.
    by_length: BTreeMap<Ticks, Vec<u32>>,
    /// Parts that keep a meter of their own, how much they hold.
    of_own_meter: Vec<(u32, Meter, Ticks)>,
    /// How much the bars of rest hold, each with the number of parts.
    resting: BTreeMap<Ticks, usize>,
    /// A repeat sign or a double bar stands at its start or end.
    bounded: bool,
    /// No bar line is drawn at its start or end: it is a part of a longer one.
    joined: bool,
    /// The file says not to count it.
    uncounted: bool,
}

fn contents(
    score: &Score,
    index: usize,
    resting: &[Vec<bool>],
    own_meters: &[OwnMeter],
) -> Contents {
    let mut of_own_meter = Vec::new();
    let mut silences: BTreeMap<Ticks, usize> = BTreeMap::new();
    let mut by_length: BTreeMap<Ticks, Vec<u32>> = BTreeMap::new();
    let (mut before, mut after) = (false, false);
    let (mut joined, mut uncounted) = (false, false);
    for (part, own) in score.parts.iter().enumerate() {
        let Some(bar) = part_bar(own, index) else {
            continue;
        };
        before |= bar.repeat_start
            || index
                .checked_sub(1)
                .and_then(|i| part_bar(own, i))
                .is_some_and(|b| b.double_bar || b.repeat_end);
        after |= bar.double_bar || bar.repeat_end;
        let last = index.checked_sub(1).and_then(|i| part_bar(own, i));
        joined |= bar.goes_on || last.is_some_and(|b| b.goes_on);
        uncounted |= bar.uncounted;
        let silent = resting
            .get(part)
            .and_then(|r| r.get(index))
            .copied()
            .unwrap_or(false);
        if silent && !bar.uncounted {
            *silences.entry(bar.filled).or_default() += 1;
        }
        if bar.filled > Ticks::ZERO && !bar.unmeasured && !bar.uncounted && !silent {
            match own_meter(own_meters, part as u32, index) {
                Some(own) if own.loose => {}
                Some(own) => of_own_meter.push((part as u32, own.meter, bar.filled)),
                None => by_length.entry(bar.filled).or_default().push(part as u32),
            }
        }
    }
    Contents {
        by_length,
        of_own_meter,
        resting: silences,
        bounded: before || after,
        joined,
        uncounted,
    }
}

fn part_bar(part: &Part, index: usize) -> Option<&PartBar> {
    part.bars.get(index)
}

/// For each bar of a part, whether no note stands in it.
fn resting(part: &Part) -> Vec<bool> {
    let mut silent = vec![part.unpitched == 0; part.bars.len()];
    for note in &part.notes {
        if let Some(slot) = silent.get_mut(note.at.bar as usize) {
            *slot = false;
        }
    }
    silent
}

/// Files round tuplets and tremolos: less than a sixty-fourth, or a bit of a beat that no written note
/// lasts, is no mistake of a writer's.
fn is_rounding(a: Ticks, b: Ticks, per_quarter: Ticks) -> bool {
    let off = (a - b).0.abs();
    if off.saturating_mul(16) < per_quarter.0 {
        return true;
    }
    let mut parts = *Ratio::new(off, per_quarter.0.max(1)).denom();
    for tuplet in [2, 3, 5, 7] {
        while parts % tuplet == 0 {
            parts /= tuplet;
        }
    }
    parts > 1 && off.saturating_mul(2) < per_quarter.0
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    let resting: Vec<Vec<bool>> = score.parts.iter().map(resting).collect();
    let meters = meters(score);
    let own_meters = own_meters(score, &meters);
    let bars: Vec<Contents> = (0..score.bars.len())
        .map(|i| contents(score, i, &resting, &own_meters))
        .collect();
    let last = score.bars.len().saturating_sub(1);
    let mut before: Option<(usize, (Ticks, Vec<u32>))> = None;
    for (index, (bar, meter)) in bars.iter().zip(&meters).enumerate() {
        let short_ok = index == 0 || index == last;
        for &(part, meter, length) in &bar.of_own_meter {
            let nominal = meter.bar(score.per_quarter);
            if !(is_rounding(length, nominal, score.per_quarter) || length < nominal && short_ok) {
                out.push(wrong_length(score, index, meter, length, &[part], false));
            }
        }
        let Some(meter) = *meter else { continue };
        let nominal = meter.bar(score.per_quarter);
        let united = bar.by_length.len() == 1;
        for (&length, parts) in &bar.by_length {
            if is_rounding(length, nominal, score.per_quarter)
                || length < nominal && short_ok && !is_full(bar, length, nominal)
                || united && is_split(&bars, index, length, nominal)
            {
                continue;
            }
            // The same parts going on in the same way are one mistake, reported where it begins.
            let same = (length, parts.clone());
            let run = before
                .as_ref()
                .is_some_and(|b| b.1 == same && b.0 + 1 == index);
            before = Some((index, same));
            if !run {
                out.push(wrong_length(score, index, meter, length, parts, united));
            }
        }
    }
}

/// Whether a first or last bar that is short in some parts is full in most: no pickup then, and no end
/// that completes one. Where all others rest, their rests say it, if none of them is short.
fn is_full(bar: &Contents, short: Ticks, nominal: Ticks) -> bool {
    let count = |length: Ticks| bar.by_length.get(&length).map_or(0, Vec::len);
    let rests = bar.resting.get(&nominal).copied().unwrap_or(0);
    let full_rests = rests > 1 && bar.resting.len() == 1;
    count(nominal) > count(short) || full_rests && count(nominal) + rests > 2 * count(short)
}

/// Whether all parts have a bar of this length on purpose: a bar split in two, one that a repeat sign or a
/// double bar cuts, or one that no bar line ends.
fn is_split(bars: &[Contents], index: usize, length: Ticks, nominal: Ticks) -> bool {
    let Some(bar) = bars.get(index) else {
        return false;
    };
    let alone = |c: &Contents| match c.by_length.first_key_value() {
        Some((l, _)) if c.by_length.len() == 1 => Some(*l),
        _ => None,
    };
    let before = index.checked_sub(1).and_then(|i| bars.get(i));
    let after = bars.get(index + 1);
    let completes = |other: Option<&Contents>| {
        other
            .and_then(alone)
            .is_some_and(|l| l < nominal && l + length == nominal)
    };
    // What is not counted is the rest of it, or the pickup of what follows.
    let uncounted = |other: Option<&Contents>| other.is_some_and(|c| c.uncounted);
    let split = completes(before) || completes(after) || uncounted(before) || uncounted(after);
    bar.joined || length < nominal && (split || bar.bounded)
}

fn wrong_length(
    score: &Score,
    index: usize,
    meter: Meter,
    length: Ticks,
    parts: &[u32],
    united: bool,
) -> Finding {
    let nominal = meter.bar(score.per_quarter);
    // Where all agree nobody gets lost.
    let level = if united && parts.len() > 1 {
        Level::Warning
    } else {
        Level::Error
    };
    let who = if united && parts.len() > 1 {
        "every part".to_owned()
    } else {
        names(score, parts)
    };
    let holds = if parts.len() > 1 && !united {
        "hold"
    } else {
        "holds"
    };
    let (difference, offset, advice) = if length > nominal {
        (length - nominal, nominal, "take out")
    } else {
        (nominal - length, length, "add")
    };
    let by = beats(difference, meter, score.per_quarter);
    let what = if length > nominal {
        format!("{who}: {advice} {by}, or write the meter that is meant")
    } else {
        format!("{who}: {advice} {by} of rest or length, or write the meter that is meant")
    };
    let notes = parts.iter().filter_map(|&p| {
        let own = score.parts.get(p as usize);
        let notes = own.map_or(&[][..], |p| &p.notes);
        let from = notes.partition_point(|n| (n.at.bar as usize) < index);
        let here = notes
            .iter()
            .enumerate()
            .skip(from)
            .take_while(|(_, n)| n.at.bar as usize == index);
        // What crosses the end of the bar, or the last note before the gap.
        here.max_by_key(|(_, n)| n.at.offset + n.duration)
            .map(|(i, _)| NoteRef {
                part: p,
                note: i as u32,
            })
    });
    RULE.finding(
        Place {
            bar: index as u32,
            offset,
        },
        format!(
            "{who} {holds} {} in this bar; {meter} has {}",
            beats(length, meter, score.per_quarter),
            beats(nominal, meter, score.per_quarter),
        ),
    )
    .level(level)
    .parts(parts.to_vec())
    .instead(what)
    .at_notes(notes, 1, "the bar does not add up")
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::shared::whole::pages::{places, score};

    #[test]
    fn a_first_or_last_bar_that_is_short_in_one_part_only_is_told() {
        let full: &[&str] = &["C5:2 D5:2 E5:4", "F5:8", "E5:2 D5:2 C5:4"];
        let first: &[&str] = &["C4:2 D4:2", "F4:8", "E4:2 D4:2 C4:4"];
        let last: &[&str] = &["C4:2 D4:2 E4:4", "F4:8", "E4:2 D4:2"];
        let pickup: &[&str] = &["C4:2", "F4:8", "E4:2 D4:2 C4:2"];
        let with = |own| {
            places(
                &score(&[("Flute", full), ("Oboe", full), ("Horn", own)]),
                RULE.name,
            )
        };
        assert_eq!(with(first), ["1 3: Horn"]);
        assert_eq!(with(last), ["3 3: Horn"]);
        let all = score(&[("Flute", pickup), ("Oboe", pickup), ("Horn", pickup)]);
        assert!(places(&all, RULE.name).is_empty());
    }

    #[test]
    fn what_a_file_rounds_is_told_from_what_a_writer_leaves_out() {
        // An eighth, a triplet eighth, a sixty-fourth.
        assert!(!is_rounding(Ticks(48), Ticks(42), Ticks(12)));
        assert!(!is_rounding(Ticks(48), Ticks(44), Ticks(12)));
        assert!(!is_rounding(Ticks(64), Ticks(63), Ticks(16)));
        // A tremolo of seventeen parts, and a single tick of many.
        assert!(is_rounding(Ticks(51), Ticks(48), Ticks(17)));
        assert!(is_rounding(Ticks(1920), Ticks(1919), Ticks(480)));
    }
}
