//! `meter-agreement`: one time signature for all, changed at bar lines. Published: university
//! proofreading checklists.

use crate::finding::{Finding, Level};
use crate::ground::time::{Meter, Ticks};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::meters::{meters, own_meter, own_meters};
use crate::rules::shared::whole;
use crate::score::{Place, Score, in_force};
use std::collections::BTreeSet;

pub static RULE: Rule = Rule {
    name: "meter-agreement",
    group: Group::Agreement,
    asks: "Every part has the same time signature, and it changes at a bar line; another one of the same length (2/2 beside 4/4), or one that a part keeps for bars on end (12/8 beside 4/4), is a note.",
    why: "A part that misses a change of meter counts its bars wrong from there on.",
    source: "published: university proofreading checklists",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  4  | 1  2  3  4  |
                          ^ trumpet 3
trumpet 1 | E5 F5 G5 F5 | E5 D5 C5 D5 |
trumpet 2 | C5 D5 E5 D5 | C5 B4 A4 B4 |
trumpet 3 | G4 A4 B4 A4 | G4 F4 E4 F4 |
on the page:
trumpet 1, bar 1, beat 1: dynamic mf
trumpet 2, bar 1, beat 1: dynamic mf
trumpet 3, bar 1, beat 1: dynamic mf
trumpet 3, bar 2: meter 3/4
suggestion: trumpet 3: write the time signature 4/4
",
        right: "\
not on the page:
trumpet 3, bar 2: meter 3/4
",
    }],
    exceptions: &[
        Exception {
            says: "parts that state no meter at all",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  4  |
trumpet 1 | C5 E5 F5 G5 |
trumpet 2 | A4 C5 D5 D5 |
trumpet 3 | F4 A4 A4 B4 |

meter: 3/4
count     | 1  2  3  |
trumpet 1 | E5 D5 C5 |
trumpet 2 | C5 B4 A4 |
trumpet 3 | G4 F4 E4 |
on the page:
trumpet 3, bar 1: no time signature
",
                but: "\
on the page:
trumpet 3, bar 1: meter 4/4
",
            },
        },
        Exception {
            says: "parts with another number of bars",
            silent: Silent::With(
                "\
on the page:
trumpet 3, bar 2: ends before
",
            ),
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    let stating: Vec<u32> = input
        .whole()
        .in_step
        .iter()
        .copied()
        .filter(|&p| {
            score
                .parts
                .get(p as usize)
                .is_some_and(|p| !p.meters.is_empty())
        })
        .collect();
    let changes: BTreeSet<Ticks> = stating
        .iter()
        .filter_map(|&p| score.parts.get(p as usize))
        .flat_map(|p| p.meters.iter().map(|m| m.onset))
        .collect();
    inside_bars(score, &stating, out);
    let own_meters = own_meters(score, &meters(score));
    let mut reported: Vec<(Meter, Meter, Vec<u32>)> = Vec::new();
    for onset in changes {
        let values: Vec<(u32, Meter)> = stating
            .iter()
            .filter_map(|&p| {
                let part = score.parts.get(p as usize)?;
                Some((p, in_force(&part.meters, onset)?.value))
            })
            .collect();
        let Some((most, with, differ)) = whole::split(&values) else {
            reported.clear();
            continue;
        };
        let mut now = Vec::new();
        for d in differ {
            let key = (most, d.own, d.parts.clone());
            // The same difference going on was reported where it begins.
            if reported.contains(&key) {
                now.push(key);
                continue;
            }
            let names = whole::names(score, &d.parts);
            let same_length = most.bar(score.per_quarter) == d.own.bar(score.per_quarter);
            let bar = score.place_of(onset).bar as usize;
            let keeps = |p: &u32| own_meter(&own_meters, *p, bar).is_some();
            // Of two alone either may be the one with a meter of its own.
            let on_purpose = d.parts.iter().all(keeps) || with.iter().all(keeps);
            // 2/4 beside 6/8: beat by beat they stay together, whatever the lengths in the file.
            let same_beats = {
                let beats =
                    |m: Meter| m.bar(score.per_quarter).0 / m.felt_beat(score.per_quarter).0.max(1);
                beats(most) == beats(d.own)
            };
            let level = if same_length || same_beats || on_purpose {
                Level::Note
            } else {
                Level::Error
            };
            let taken = if on_purpose {
                "; its bars are full, so both meters are taken as meant"
            } else {
                ""
            };
            let finding = RULE.finding(
                score.place_of(onset),
                format!(
                    "{names} {} {} where the other parts have {most}{taken}",
                    if d.parts.len() > 1 { "are in" } else { "is in" },
                    d.own
                ),
            );
            let finding = finding.level(level).parts(d.parts.clone());
            out.push(if on_purpose {
                finding
            } else {
                finding.instead(format!("{names}: write the time signature {most}"))
            });
            now.push(key);
        }
        reported = now;
    }
}

/// New time signatures that stand inside a bar: one finding for each place.
fn inside_bars(score: &Score, stating: &[u32], out: &mut Vec<Finding>) {
    let mut inside: Vec<(Place, Vec<u32>)> = Vec::new();
    for &p in stating {
        let Some(part) = score.parts.get(p as usize) else {
            continue;
        };
        for m in &part.meters {
            // Empty staves are filled by some programs after the change: only what interrupts music.
            let filled = part
                .bars
                .get(m.at.bar as usize)
                .map_or(Ticks::ZERO, |b| b.filled);
            if m.at.offset > Ticks::ZERO && m.at.offset < filled {
                match inside.iter_mut().find(|(at, _)| *at == m.at) {
                    Some((_, parts)) => parts.push(p),
                    None => inside.push((m.at, vec![p])),
                }
            }
        }
    }
    for (at, parts) in inside {
        let names = whole::names(score, &parts);
        out.push(
            RULE.finding(
                at,
                format!(
                    "{names} {} a new time signature inside the bar",
                    whole::has(&parts)
                ),
            )
            .parts(parts.clone())
            .instead("put it at a bar line: end the bar before it"),
        );
    }
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::finding::Level;
    use crate::rules::shared::whole::pages::{places, said, score};

    #[test]
    fn a_missed_change_is_told_where_it_is_missed() {
        let full: &[&str] = &["meter-4/4 C5:8", "meter-3/4 D5:6", "meter-4/4 E5:8"];
        let missed: &[&str] = &["meter-4/4 C4:8", "D4:8", "E4:8"];
        let wrong = score(&[("Flute", full), ("Oboe", full), ("Bassoon", missed)]);
        assert_eq!(places(&wrong, "meter-agreement"), ["2 1: Bassoon"]);
        let right = score(&[("Flute", full), ("Oboe", full)]);
        assert!(places(&right, "meter-agreement").is_empty());
    }

    #[test]
    fn another_signature_of_the_same_length_is_a_note() {
        let full: &[&str] = &["meter-4/4 C5:8", "D5:8"];
        let cut: &[&str] = &["meter-2/2 C4:8", "D4:8"];
        let wrong = score(&[("Flute", full), ("Oboe", full), ("Bassoon", cut)]);
        let found = said(&wrong, "meter-agreement");
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].level, Level::Note);
    }

    #[test]
    fn two_meters_that_stay_together_are_one_note() {
        let four: &[&str] = &["meter-4/4 C5:8", "D5:8", "E5:8", "F5:8", "E5:8"];
        let twelve: &[&str] = &["meter-12/8 C4:12", "D4:12", "E4:12", "D4:12", "C4:12"];
        for parts in [
            [("Voice", four), ("Harp", twelve)],
            [("Harp", twelve), ("Voice", four)],
        ] {
            let both = score(&parts);
            let found = said(&both, "meter-agreement");
            assert_eq!(found.len(), 1, "{found:?}");
            assert_eq!(found[0].level, Level::Note);
            assert!(places(&both, "bar-length").is_empty());
        }
        // A bar that does not fill its own meter is measured by that one.
        let short: &[&str] = &[
            "meter-12/8 C4:12",
            "D4:12",
            "E4:10",
            "D4:12",
            "C4:12",
            "D4:12",
            "E4:12",
            "D4:12",
            "C4:12",
            "B3:12",
        ];
        let long: &[&str] = &[
            "meter-4/4 C5:8",
            "D5:8",
            "E5:8",
            "F5:8",
            "E5:8",
            "C5:8",
            "D5:8",
            "E5:8",
            "F5:8",
            "E5:8",
        ];
        let slip = score(&[("Voice", long), ("Harp", short)]);
        assert_eq!(places(&slip, "bar-length"), ["3 6: Harp"]);
    }

    #[test]
    fn a_change_inside_a_bar_is_wrong() {
        let inside: &[&str] = &["meter-4/4 C5:4 meter-3/4 D5:4", "E5:6"];
        let wrong = score(&[("Flute", inside)]);
        assert_eq!(places(&wrong, "meter-agreement"), ["1 3: Flute"]);
    }
}
