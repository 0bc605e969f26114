//! `wrong-note`: a voice sounds a note that is in no right voicing of its chord. Published: jazz
//! harmony course on chord notes and available tensions.

use super::{Example, Group, Reading, Rule, wording};
use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};

pub(super) static RULE: Rule = Rule {
    name: "wrong-note",
    group: Group::Harmony,
    asks: "Every voice sounds a chord note, an available tension, or a note of the passing chord.",
    why: "The other voices spell the chord; this one contradicts it, and the rhythm section plays the symbol.",
    exceptions: &[
        "9 for 1, 13 for 5 and the other substitutions the chord's family allows",
        "altered tensions on a dominant that the symbol does not name are a note, not an error",
    ],
    source: "published: jazz harmony course cards on chord notes and available tensions; common practice, no source",
    level: Level::Error,
    examples: &[Example {
        wrong: "meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | F6  -   -  |
count     | 1   2   3  |
trumpet 1 | A4  C5  F5 |
trumpet 2 | F4  A4  D5 |
trumpet 3 | D4  F#4 C5 |
trumpet 4 | C4  D4  A4 |
",
        at: ("1", "2"),
        right: "meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | F6  -   -  |
count     | 1   2   3  |
trumpet 1 | A4  C5  F5 |
trumpet 2 | F4  A4  D5 |
trumpet 3 | D4  F4  C5 |
trumpet 4 | C4  D4  A4 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for at in reading.slips() {
        let chord = at.diagnosis.chord.as_deref().unwrap_or("the chord");
        let who = wording::who_has(reading.score, &at.slip.faults);
        let right = at.slip.harmony.as_deref().unwrap_or(chord);
        let (level, message) = match at.slip.kind {
            SlipKind::WrongNote if right == chord => {
                (Level::Error, format!("{who}, which is not in {chord}"))
            }
            SlipKind::WrongNote => (
                Level::Error,
                format!(
                    "{who}, which is not in {right}, the chord under this lead note over {chord}"
                ),
            ),
            SlipKind::AlteredTension(name) => (
                Level::Note,
                format!(
                    "{who}: {name} alters {chord}, and neither the symbol nor the lead says so"
                ),
            ),
            _ => continue,
        };
        out.push(at.finding(reading.score, &RULE, level, message));
    }
}
