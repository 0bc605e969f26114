//! `unclosed-slur`: a slur has two ends.

use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::page::is_slur_at_joint;
use crate::rules::shared::wording;
use crate::score::{LooseSlur, Mark};

pub static RULE: Rule = Rule {
    name: "unclosed-slur",
    group: Group::Notation,
    asks: "Every slur that starts ends, and every slur that ends has started.",
    why: "The slur is drawn to the wrong note or not at all, and the player guesses where to tongue.",
    source: "common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[
        Example {
            wrong: "\
meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  2  3  | 1 2  | 1  |
               ^ trumpet 1
trumpet 1 | C5 D5 F4 | G4 - | E5 |
on the page:
trumpet 1, bar 1, beat 2: slur starts
suggestion: trumpet 1: draw the slur from its first note to its last, or take it away
",
            right: "\
on the page:
trumpet 1, bar 1, beat 3: slur ends
",
        },
        // From four loose ends in a part on there is one finding.
        Example {
            wrong: "\
meter: 4/4
parts: bassoon = bassoon

count   | 1  2  3  4  | 1  2  3  4  | 1  |
          ^ bassoon
bassoon | C3 D3 E3 F3 | G3 F3 E3 D3 | C3 |
on the page:
bassoon, bar 1, beat 1: slur starts
bassoon, bar 1, beat 3: slur starts
bassoon, bar 2, beat 1: slur starts
bassoon, bar 2, beat 3: slur starts
suggestion: bassoon: draw the slurs again, or export the score again
",
            right: "\
on the page:
bassoon, bar 1, beat 2: slur ends
bassoon, bar 1, beat 4: slur ends
bassoon, bar 2, beat 2: slur ends
bassoon, bar 2, beat 4: slur ends
",
        },
    ],
    exceptions: &[Exception {
        says: "slurs at a repeat sign or a double bar, where playing goes on elsewhere",
        silent: Silent::With(
            "\
on the page:
trumpet 1, bar 1: repeat ends
",
        ),
    }],
};

/// From so many loose ends in one part on it is the file that is at fault, not the writer.
const MANY: usize = 4;

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for (index, part) in (0u32..).zip(&input.score.parts) {
        let loose: Vec<&Mark<LooseSlur>> = part
            .loose_slurs
            .iter()
            .filter(|m| !is_slur_at_joint(part, m))
            .collect();
        let name = wording::part(input.score, index);
        let say = |end: LooseSlur| match end {
            LooseSlur::Start => "a slur starts here and never ends",
            LooseSlur::Stop => "a slur ends here that never started",
        };
        if loose.len() >= MANY {
            if let Some(first) = loose.first() {
                out.push(
                    RULE.finding(
                        first.at,
                        format!(
                            "{name}: {} slurs have only one end; the first is here",
                            loose.len()
                        ),
                    )
                    .parts([index])
                    .instead(format!(
                        "{name}: draw the slurs again, or export the score again"
                    )),
                );
            }
            continue;
        }
        for mark in loose {
            out.push(
                RULE.finding(mark.at, format!("{name}: {}", say(mark.value)))
                    .parts([index])
                    .instead(format!(
                        "{name}: draw the slur from its first note to its last, or take it away"
                    )),
            );
        }
    }
}

crate::rules::test_examples!(RULE);
