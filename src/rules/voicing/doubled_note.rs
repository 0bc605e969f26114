//! `doubled-note`: a chord member sounds twice while another is missing. Published: textbook on
//! jazz part-writing (one note of each category).

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};

pub static RULE: Rule = Rule {
    name: "doubled-note",
    group: Group::Voicing,
    asks: "In four-part writing each of the four chord categories sounds once.",
    why: "The doubled note is suddenly loud and the chord thin: what is missing is what tells it from its neighbours.",
    exceptions: &[
        "the doubled lead of its techniques",
        "triads under a triad's symbol",
    ],
    source: "published: textbook on jazz part-writing; arranging text (one note of each category)",
    level: Level::Warning,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | F6  -   -  |
count   | 1   2   3  |
alto 1  | A4  C5  F5 |
alto 2  | F4  A4  D5 |
tenor 1 | D4  F4  C5 |
tenor 2 | C4  C4  A4 |
",
        at: ("1", "2"),
        right: "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | F6  -   -  |
count   | 1   2   3  |
alto 1  | A4  C5  F5 |
alto 2  | F4  A4  D5 |
tenor 1 | D4  F4  C5 |
tenor 2 | C4  D4  A4 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for at in reading.slips() {
        let SlipKind::DoubledNote(missing) = at.slip.kind else {
            continue;
        };
        let harmony = at.slip.harmony.as_deref().unwrap_or("the chord");
        let who = wording::who_has(reading.score, &at.slip.faults);
        let doubled = at.slip.faults.iter().all(|f| {
            at.sonority
                .voices
                .iter()
                .any(|v| v.note != f.note && v.pitch.class() == f.found.class())
        });
        let message = if doubled {
            format!(
                "{who}, which another voice has already, and the {missing} of {harmony} is missing"
            )
        } else {
            format!(
                "{who} where the {missing} of {harmony} belongs: the chord crowds there and lacks it"
            )
        };
        out.push(at.finding(reading.score, &RULE, Level::Warning, message));
    }
}
