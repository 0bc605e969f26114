//! `courtesy-accidental`: a reminder where the eye still holds the accidental of the bar before.

use crate::finding::{Finding, Level};
use crate::ground::pitch::{NoteName, Step};
use crate::ground::text::Span;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::page::pitched;
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::score::{Key, NoteFlags, Part};
use std::collections::{HashMap, HashSet};

pub static RULE: Rule = Rule {
    name: "courtesy-accidental",
    group: Group::Notation,
    asks: "A note that was altered in the bar before, on the same line or space, is reminded of its signature by an accidental.",
    why: "The accidental ended at the bar line, but the player's eye still holds it.",
    source: "published: a university's page on accidentals and a university proofreading checklist; whether always or only where it confuses, they differ",
    level: Level::Note,
    off: true,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
parts: trombone 1 = trombone

count      | 1   2  3  | 1  2  3 |
trombone 1 | C4 F#4 E4 | F4 E4 D4 |
                         ^^ a natural, as a reminder
on the page:
trombone 1, bar 1, beat 2: accidental
suggestion: trombone 1: print the natural before F4
",
        right: "\
on the page:
trombone 1, bar 2, beat 1: accidental
",
    }],
    exceptions: &[
        Exception {
            says: "parts whose file prints no accidentals",
            silent: Silent::With(
                "\
not on the page:
trombone 1, bar 1, beat 2: accidental
",
            ),
        },
        Exception {
            says: "a note that is tied over the bar line",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
parts: trombone 1 = trombone

count      | 1   2  3   | 1  3  |
trombone 1 | F#4 B3 E#4 | F4 C4 |
on the page:
trombone 1, bar 1, beat 1: accidental
trombone 1, bar 1, beat 3: tie starts
trombone 1, bar 2, beat 1: tie ends
",
                but: "\
not on the page:
trombone 1, bar 1, beat 3: tie starts
trombone 1, bar 2, beat 1: tie ends
",
            },
        },
        Exception {
            says: "a note that has come earlier in the bar, where the reminder stood",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
parts: bassoon = bassoon

count   | 1  2  3  4  | 1   2  3   4 |
bassoon | G3 F3 E3 D3 | F#3 G3 F#3 - |
on the page:
bassoon, bar 1, beat 2: accidental
bassoon, bar 2, beat 1: accidental
",
                but: "\
not on the page:
bassoon, bar 2, beat 1: accidental
",
            },
        },
    ],
};

/// What the signature does to a letter.
fn in_signature(key: Key, step: Step) -> i8 {
    let natural = NoteName::new(step, 0).fifths();
    // Sharps start at F (-1) and go up the line of fifths, flats at B (5) and go down.
    let fifths = i16::from(key.fifths);
    if natural + 1 < fifths {
        1
    } else if 5 - natural < -fifths {
        -1
    } else {
        0
    }
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for (index, part) in pitched(input.score) {
        if !part.accidentals.is_empty() {
            part_reminders(input, index, part, out);
        }
    }
}

/// A line or space of a staff.
type Position = (u8, i16);

fn part_reminders(input: &RuleInput<'_>, index: u32, part: &Part, out: &mut Vec<Finding>) {
    let printed: HashSet<Span> = part.accidentals.iter().copied().collect();
    // What each line and space last had in the bar before and in this one.
    let mut before: HashMap<Position, i8> = HashMap::new();
    let mut here: HashMap<Position, i8> = HashMap::new();
    let mut bar = None;
    for (i, note) in part.notes.iter().enumerate() {
        if note.flags.has(NoteFlags::CUE) {
            continue;
        }
        if bar != Some(note.at.bar) {
            before = if bar.is_some_and(|b| b + 1 == note.at.bar) {
                std::mem::take(&mut here)
            } else {
                HashMap::new()
            };
            here.clear();
            bar = Some(note.at.bar);
        }
        let place = (note.staff, note.written.diatonic());
        let seen = here.insert(place, note.written.alter).is_some();
        let key = part.key(note.onset);
        let own = in_signature(key, note.written.step);
        let misled = before
            .get(&place)
            .is_some_and(|alter| *alter != note.written.alter);
        if seen
            || !misled
            || note.written.alter != own
            || printed.contains(&note.span)
            || note.flags.has(NoteFlags::TIED_IN)
        {
            continue;
        }
        let name = wording::part(input.score, index);
        let sign = match own {
            1.. => "sharp",
            0 => "natural",
            _ => "flat",
        };
        let was = NoteName::new(
            note.written.step,
            before.get(&place).copied().unwrap_or_default(),
        );
        out.push(
            RULE.finding(
                note.at,
                format!(
                    "{name}: {} comes without a reminder after the {was} of the bar before",
                    note.written
                ),
            )
            .parts([index])
            .instead(format!("{name}: print the {sign} before {}", note.written))
            .at_notes(
                [NoteRef {
                    part: index,
                    note: i as u32,
                }],
                1,
                &format!("a {sign}, as a reminder"),
            ),
        );
    }
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signatures_alter_the_letters_they_should() {
        let key = |fifths| Key {
            fifths,
            minor: false,
        };
        assert_eq!(in_signature(key(1), Step::F), 1);
        assert_eq!(in_signature(key(1), Step::C), 0);
        assert_eq!(in_signature(key(-2), Step::B), -1);
        assert_eq!(in_signature(key(-2), Step::E), -1);
        assert_eq!(in_signature(key(-2), Step::A), 0);
        assert_eq!(in_signature(key(0), Step::B), 0);
        assert_eq!(in_signature(key(7), Step::B), 1);
        assert_eq!(in_signature(key(-7), Step::F), -1);
    }
}
