//! `unclosed-slur`: a slur has two ends.

use crate::finding::{Finding, Level};
use crate::rules::shared::page::finding;
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};
use crate::score::{LooseSlur, Mark, Part};

pub static RULE: Rule = Rule {
    name: "unclosed-slur",
    group: Group::Notation,
    asks: "Every slur that starts ends, and every slur that ends has started.",
    why: "The slur is drawn to the wrong note or not at all, and the player guesses where to tongue.",
    exceptions: &[
        "slurs into repeats, endings and double bars",
        "many of them in one part are one finding",
    ],
    source: "common practice, no source",
    level: Level::Warning,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  2  3  | 1 2  | 1  |
trumpet 1 | C5 D5 F4 | G4 - | E5 |
on the page:
trumpet 1, bar 1, beat 2: slur starts
",
        at: ("1", "2"),
        right: "meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  2  3  | 1 2  | 1  |
trumpet 1 | C5 D5 F4 | G4 - | E5 |
on the page:
trumpet 1, bar 1, beat 2: slur starts
trumpet 1, bar 1, beat 3: slur ends
",
    }],
    check,
};

/// From so many loose ends in one part on it is the file that is at fault, not the writer.
const MANY: usize = 4;

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    if reading.is_recheck() {
        return;
    }
    for (index, part) in (0u32..).zip(&reading.score.parts) {
        let loose: Vec<&Mark<LooseSlur>> = part
            .loose_slurs
            .iter()
            .filter(|m| !is_at_joint(part, m))
            .collect();
        let name = wording::part(reading.score, index);
        let say = |end: LooseSlur| match end {
            LooseSlur::Start => "a slur starts here and never ends",
            LooseSlur::Stop => "a slur ends here that never started",
        };
        if loose.len() >= MANY {
            if let Some(first) = loose.first() {
                out.push(finding(
                    &RULE,
                    RULE.level,
                    vec![index],
                    first.at,
                    format!(
                        "{name}: {} slurs have only one end; the first is here",
                        loose.len()
                    ),
                    format!("{name}: draw the slurs again, or export the score again"),
                ));
            }
            continue;
        }
        for mark in loose {
            out.push(finding(
                &RULE,
                RULE.level,
                vec![index],
                mark.at,
                format!("{name}: {}", say(mark.value)),
                format!("{name}: draw the slur from its first note to its last, or take it away"),
            ));
        }
    }
}

/// Near a repeat sign, an ending or a double bar a slur may come from elsewhere or go on there.
pub fn is_at_joint(part: &Part, mark: &Mark<LooseSlur>) -> bool {
    let bar = mark.at.bar as usize;
    let closes = |i: usize| {
        part.bars
            .get(i)
            .is_some_and(|b| b.double_bar || b.repeat_end)
    };
    let opens = |i: usize| part.bars.get(i).is_none_or(|b| b.repeat_start);
    match mark.value {
        LooseSlur::Start => closes(bar) || opens(bar + 1),
        LooseSlur::Stop => opens(bar) || bar.checked_sub(1).is_none_or(closes),
    }
}
