//! `impossible-note`: a note that cannot be read, such as one altered by nine semitones.

use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::score::NoteRef;

pub static RULE: Rule = Rule {
    name: "impossible-note",
    group: Group::Notation,
    asks: "Every note can be read: it is altered by three semitones at most. What cannot be read is left out of all else.",
    why: "Nobody can say which note is meant, so no player can play it.",
    source: "published: MusicXML 4.0, semitones; common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
parts: flute = flute

count | 1  2  3  4  |
flute | E5 F5 G5 A5 |
              ^^ no such note
on the page:
flute, bar 1, beat 3: impossible altered by 9 semitones
suggestion: flute: write the note that is meant
",
        right: "\
not on the page:
flute, bar 1, beat 3: impossible altered by 9 semitones
",
    }],
    exceptions: &[Exception {
        says: "double sharps and double flats",
        silent: Silent::With(
            "\
flute | E5 F##5 G5 A5 |
not on the page:
flute, bar 1, beat 3: impossible altered by 9 semitones
",
        ),
    }],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for (part, index) in input.score.parts.iter().zip(0u32..) {
        for mark in &part.impossible {
            let note = part.notes.iter().position(|n| n.span == mark.span);
            let Some((at, note)) = note.and_then(|i| Some((i as u32, part.notes.get(i)?))) else {
                continue;
            };
            let name = wording::part(input.score, index);
            let written = note.written;
            let message = format!(
                "{name}: a {:?}{} {} cannot be read; the note is left out of all else",
                written.step, written.octave, mark.value
            );
            let reference = NoteRef {
                part: index,
                note: at,
            };
            out.push(
                RULE.finding(note.at, message)
                    .parts([index])
                    .at_notes([reference], 1, "no such note")
                    .instead(format!("{name}: write the note that is meant")),
            );
        }
    }
}

crate::rules::test_examples!(RULE);
