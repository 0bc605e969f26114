//! `rehearsal-mark-agreement`: the same letters over the same bars. Published: orchestra librarians'
//! guidelines (from memory).

use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::whole;
use std::collections::BTreeSet;

pub static RULE: Rule = Rule {
    name: "rehearsal-mark-agreement",
    group: Group::Agreement,
    asks: "Rehearsal marks stand over the same bars in every part.",
    why: "\"From letter C\" has to be the same bar for everyone.",
    source: "published: orchestra librarians' guidelines (from memory)",
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
trumpet 1, bar 2: rehearsal mark B
trumpet 2, bar 2: rehearsal mark B
trumpet 3, bar 2: rehearsal mark C
suggestion: trumpet 3: write B
",
        right: "\
not on the page:
trumpet 3, bar 2: rehearsal mark C
on the page:
trumpet 3, bar 2: rehearsal mark B
",
    }],
    exceptions: &[
        Exception {
            says: "scores in which only some parts carry the marks (usually the top one)",
            silent: Silent::With(
                "\
not on the page:
trumpet 2, bar 2: rehearsal mark B
trumpet 3, bar 2: rehearsal mark C
",
            ),
        },
        Exception {
            says: "parts with another number of bars, which `bar-count` reports",
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
    let whole = input.whole();
    let mark = |part: u32, bar: usize| -> Option<&str> {
        let bar = score.parts.get(part as usize)?.bars.get(bar)?;
        bar.rehearsal.as_deref()
    };
    let marked = |part: u32| (0..whole.bars).any(|bar| mark(part, bar).is_some());
    let carriers: Vec<u32> = whole
        .in_step
        .iter()
        .copied()
        .filter(|&p| marked(p))
        .collect();
    // A score prints them over the top part, or over the top part of each section: then those are
    // compared, and one or two have nothing to be compared with.
    let all = carriers.len() >= 2 && carriers.len() * 2 > whole.in_step.len();
    let compared = if all { &whole.in_step } else { &carriers };
    if !all && carriers.len() < 3 {
        return;
    }
    let bars: BTreeSet<usize> = compared
        .iter()
        .filter_map(|&p| score.parts.get(p as usize))
        .flat_map(|p| p.bars.iter().enumerate())
        .filter(|(_, b)| b.rehearsal.is_some())
        .map(|(i, _)| i)
        .collect();
    // Marks found a bar or more away from where they belong: told with the place they belong to.
    let mut strays: BTreeSet<(u32, usize)> = BTreeSet::new();
    let mut later = Vec::new();
    for &bar in &bars {
        let values: Vec<(u32, Option<&str>)> =
            compared.iter().map(|&p| (p, mark(p, bar))).collect();
        let Some((most, _, differ)) = whole::split(&values) else {
            continue;
        };
        for d in differ {
            later.push((bar, most, d));
        }
    }
    for (bar, most, d) in &later {
        let (Some(wanted), None) = (most, d.own) else {
            continue;
        };
        for &p in &d.parts {
            if let Some(there) = (0..whole.bars).find(|&b| mark(p, b) == Some(wanted) && b != *bar)
            {
                strays.insert((p, there));
            }
        }
    }
    for (bar, most, d) in later {
        let parts: Vec<u32> = d
            .parts
            .iter()
            .copied()
            .filter(|&p| most.is_some() || !strays.contains(&(p, bar)))
            .collect();
        let Some(&first) = parts.first() else {
            continue;
        };
        let names = whole::names(score, &parts);
        let has = whole::has(&parts);
        let elsewhere =
            most.and_then(|m| (0..whole.bars).find(|&b| b != bar && mark(first, b) == Some(m)));
        let (message, suggestion) = match (most, d.own) {
            (Some(m), None) => match elsewhere {
                Some(there) => (
                    format!(
                        "{names} {has} rehearsal mark {m} over bar {}, the other parts over bar {}",
                        score.bar_number(there as u32),
                        score.bar_number(bar as u32)
                    ),
                    format!("{names}: move {m} to bar {}", score.bar_number(bar as u32)),
                ),
                None => (
                    format!("{names} {has} no rehearsal mark here, the other parts have {m}"),
                    format!("{names}: add {m}"),
                ),
            },
            (Some(m), Some(own)) => (
                format!("{names} {has} rehearsal mark {own} where the other parts have {m}"),
                format!("{names}: write {m}"),
            ),
            (None, Some(own)) => (
                format!("{names} {has} rehearsal mark {own} where the other parts have none"),
                format!("take {own} off, or add it to every part"),
            ),
            (None, None) => continue,
        };
        let level = if most.is_some() && d.own.is_none() && elsewhere.is_none() {
            Level::Warning
        } else {
            Level::Error
        };
        out.push(
            RULE.finding(whole::bar_line(bar), message)
                .level(level)
                .parts(parts)
                .instead(suggestion),
        );
    }
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::whole::pages::{places, said, score};

    const RIGHT: &[&str] = &["C5:8", "mark-B D5:8", "E5:8", "mark-C F5:8"];

    #[test]
    fn a_mark_in_another_bar_is_one_finding() {
        let moved: &[&str] = &["C4:8", "D4:8", "mark-B E4:8", "mark-C F4:8"];
        let wrong = score(&[("Flute", RIGHT), ("Oboe", RIGHT), ("Bassoon", moved)]);
        let found = said(&wrong, "rehearsal-mark-agreement");
        assert_eq!(places(&wrong, "rehearsal-mark-agreement"), ["2 1: Bassoon"]);
        assert!(
            found[0].message.contains("over bar 3"),
            "{}",
            found[0].message
        );
    }

    #[test]
    fn another_letter_and_a_missing_one_are_told_and_a_marked_top_part_is_no_mistake() {
        let other: &[&str] = &["C4:8", "mark-D D4:8", "E4:8", "F4:8"];
        let wrong = score(&[("Flute", RIGHT), ("Oboe", RIGHT), ("Bassoon", other)]);
        assert_eq!(
            places(&wrong, "rehearsal-mark-agreement"),
            ["2 1: Bassoon", "4 1: Bassoon"]
        );
        let bare: &[&str] = &["C4:8", "D4:8", "E4:8", "F4:8"];
        let top = score(&[("Flute", RIGHT), ("Oboe", bare), ("Bassoon", bare)]);
        assert!(places(&top, "rehearsal-mark-agreement").is_empty());
        // Marks over the top part of each section.
        let tops = score(&[
            ("Flute", RIGHT),
            ("Oboe", bare),
            ("Trumpet", RIGHT),
            ("Trombone", bare),
            ("Guitar", other),
            ("Bass", bare),
        ]);
        assert_eq!(
            places(&tops, "rehearsal-mark-agreement"),
            ["2 1: Guitar", "4 1: Guitar"]
        );
        let right = score(&[("Flute", RIGHT), ("Oboe", RIGHT)]);
        assert!(places(&right, "rehearsal-mark-agreement").is_empty());
    }
}
