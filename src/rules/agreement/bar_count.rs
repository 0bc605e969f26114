//! `bar-count`: every part of a score has the same number of bars. Published: orchestra librarians'
//! guidelines (from memory).

use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::{whole, wording};
use crate::score::{Stretch, StretchFault};

pub static RULE: Rule = Rule {
    name: "bar-count",
    group: Group::Agreement,
    asks: "All parts of a score have the same number of bars.",
    why: "A part with a bar too many or too few is lost from that bar on, and nobody knows why.",
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
trumpet 3, bar 2: ends before
suggestion: compare trumpet 3 with the score bar by bar; then proof again: as it is, trumpet 3 cannot be judged against the other parts
",
        right: "\
not on the page:
trumpet 3, bar 2: ends before
",
    }],
    exceptions: &[Exception {
        says: "parts without any bar",
        silent: Silent::With(
            "\
not on the page:
trumpet 3, bar 2: ends before
on the page:
trumpet 3, bar 1: ends before
",
        ),
    }],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    let whole = input.whole();
    let missing = score.stretches.iter().filter_map(|s| missing(input, s));
    out.extend(missing);
    for (count, parts) in &whole.out_of_step {
        let at = whole::bar_line(count.min(&whole.bars).saturating_sub(1));
        let names = whole::names(score, parts);
        let has = whole::has(parts);
        let off = count.abs_diff(whole.bars);
        let side = if *count < whole.bars {
            "too few"
        } else {
            "too many"
        };
        let bars = |n: usize| if n == 1 { "bar" } else { "bars" };
        let hint = parts.first().and_then(|&p| first_shift(input, p)).map_or(
            String::new(),
            |mark| {
                format!(
                    "; up to rehearsal mark {mark} it still agrees or never did: look there first"
                )
            },
        );
        out.push(
            RULE
                .finding(
                    at,
                    format!(
                        "{names} {has} {count} {}, {off} {} {side}: the other parts have {}",
                        bars(*count),
                        bars(off),
                        whole.bars
                    ),
                )
                .parts(parts.clone())
                .instead(format!(
                    "compare {names} with the score bar by bar{hint}; then proof again: as it is, {names} cannot be judged against the other parts"
                )),
        );
    }
}

/// A bar that is missing in the middle of a part: after it the part was read one bar later.
fn missing(input: &RuleInput<'_>, found: &Stretch) -> Option<Finding> {
    let StretchFault::BarMissing(bar) = found.fault else {
        return None;
    };
    let score = input.score;
    let who = wording::part(score, found.part);
    let number = score.bar_number(bar);
    let has = score
        .parts
        .get(found.part as usize)?
        .bars
        .len()
        .checked_sub(1)?;
    Some(
        RULE.finding(
            whole::bar_line(bar as usize),
            format!(
                "{who} has {has} bars, 1 bar too few: the bar that the others count as {number} is missing. After it {} of {} notes go with what the others play, a bar later {}",
                found.stand, found.compared, found.fit
            ),
        )
        .parts([found.part])
        .instead(format!(
            "{who}: put bar {number} in; what follows was read a bar later"
        )),
    )
}

/// The first rehearsal mark that stands in another bar than in the parts that agree.
fn first_shift(input: &RuleInput<'_>, part: u32) -> Option<String> {
    let own = input.score.parts.get(part as usize)?;
    let model = input
        .whole()
        .in_step
        .iter()
        .filter_map(|&p| input.score.parts.get(p as usize))
        .find(|p| p.bars.iter().any(|b| b.rehearsal.is_some()))?;
    own.bars.iter().enumerate().find_map(|(bar, b)| {
        let mark = b.rehearsal.as_ref()?;
        let there = model
            .bars
            .iter()
            .position(|m| m.rehearsal.as_ref() == Some(mark))?;
        (there != bar).then(|| mark.clone())
    })
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::whole::pages::{places, score};

    #[test]
    fn a_bar_that_is_missing_in_the_middle_is_named() {
        let lead: &[&str] = &[
            "C5:2 D5:2 E5:4",
            "E5:4 D5:2 C5:2",
            "D5:2 D5:2 C5:4",
            "C5:2 E5:2 D5:4",
            "E5:2 D5:2 E5:4",
        ];
        let second: &[&str] = &[
            "A4:2 B4:2 C5:4",
            "C5:4 B4:2 A4:2",
            "B4:2 B4:2 A4:4",
            "A4:2 C5:2 B4:4",
            "C5:2 B4:2 C5:4",
        ];
        let third: &[&str] = &[
            "E4:2 G4:2 G4:4",
            "G4:4 G4:2 E4:2",
            "G4:2 G4:2 E4:4",
            "E4:2 G4:2 G4:4",
            "G4:2 G4:2 G4:4",
        ];
        let bars = |from: &[&'static str]| -> Vec<&'static str> { [from, from].concat() };
        let (lead, second, third) = (bars(lead), bars(second), bars(third));
        let full = [
            ("Flute", &lead[..]),
            ("Oboe", &second),
            ("Clarinet", &third),
        ];
        assert!(places(&score(&full), "bar-count").is_empty());
        let mut short = second.clone();
        short.remove(3);
        let wrong = score(&[full[0], ("Oboe", &short), full[2]]);
        assert_eq!(places(&wrong, "bar-count"), ["4 1: Oboe"]);
        // After it the part is read a bar later: nobody is out of step.
        assert!(places(&wrong, "rhythm-unison").is_empty());
    }

    #[test]
    fn a_part_with_a_bar_less_is_named_once() {
        let full: &[&str] = &["C5:8", "D5:8", "mark-B E5:8"];
        let short: &[&str] = &["C4:8", "mark-B D4:8"];
        let wrong = score(&[("Flute", full), ("Oboe", full), ("Bassoon", short)]);
        assert_eq!(places(&wrong, "bar-count"), ["2 1: Bassoon"]);
        // The missing bar is not reported again as a mark in the wrong place.
        assert!(places(&wrong, "rehearsal-mark-agreement").is_empty());
        let right = score(&[("Flute", full), ("Oboe", full), ("Bassoon", full)]);
        assert!(places(&right, "bar-count").is_empty());
    }
}
