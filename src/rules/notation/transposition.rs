//! `transposition`: a part says how it transposes, and says it right.

use crate::finding::{Finding, Fix, Level};
use crate::ground::pitch::Transposition;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::page::names;
use crate::rules::shared::wording;
use crate::score::{Change, Note, NoteRef, PartFault, Place, Presumed};
use crate::sonority::signs;

pub static RULE: Rule = Rule {
    name: "transposition",
    group: Group::Notation,
    asks: "The part of a transposing instrument carries its transposition, and its notes and key signature are written for it.",
    why: "Score and playback have the part at a wrong pitch, and every chord it takes part in looks wrong; or it sounds right, and its player plays another pitch than the page means. The part was read as it is meant.",
    source: "published: MusicXML 4.0, transpose and concert-score; how it is decided: common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[
        Example {
        wrong: "\
key: Eb major
meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Eb6 -   -   |
count   | 1   2   3   |
alto 1  | G5  Eb5 G5  |
alto 2  | Eb5 C5  Eb5 |
          ^^^ read as the instrument transposes
tenor 1 | C5  Bb4 C5  |
tenor 2 | Bb4 G4  Bb4 |
on the page:
alto 2, bar 1: no transposition
suggestion: alto 2: add the transposition; an alto saxophone sounds a major sixth below what is written
",
        right: "\
not on the page:
alto 2, bar 1: no transposition
",
    },
        Example {
            wrong: "\
key: Bb major
meter: 4/4
pitch: written
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       trombone 1 = trombone

count      | 1   2   3   4  | 1  2  3   4   |
alto 1     | B5  A5  B5  D6 | D6 B5 C6  B5  |
alto 2     | Bb4 A4  Bb4 D5 | D5 Bb4 C5 Bb4 |
             ^^^ at concert pitch
tenor 1    | G5  F5  G5  C6 | C6 G5 A5  G5  |
trombone 1 | D4  C4  D4  F4 | F4 D4 Eb4 D4  |
on the page:
alto 2, bar 1: no transposition
alto 2, bar 1: key -2
suggestion: write every note of alto 2 a major sixth higher, with 1 sharp, and add the transposition; an alto saxophone sounds a major sixth below what is written
",
            right: "\
alto 2     | G5  F#5 G5  B5 | B5 G5 A5 G5 |
not on the page:
alto 2, bar 1: no transposition
alto 2, bar 1: key -2
",
        },
        Example {
            wrong: "\
key: Bb major
meter: 4/4
pitch: written
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       trombone 1 = trombone

count      | 1   2   3   4  | 1  2   3   4   | 1  2  3  4  |
alto 1     | B5  A5  B5  D6 | D6 B5  C6  B5  | B5 A5 D6 B5 |
alto 2     | Bb4 A4  Bb4 D5 | D5 Bb4 C5  Bb4 | Bb4 A4 D5 Bb4 |
             ^^^ read at concert pitch
tenor 1    | G5  F5  G5  C6 | C6 G5  A5  G5  | G5 F5 C6 G5 |
trombone 1 | D4  C4  D4  F4 | F4 D4  Eb4 D4  | D4 C4 F4 D4 |
fix: write every note of alto 2 a major sixth higher
",
            right: "\
alto 2     | G5  F#5 G5  B5 | B5 G5  A5  G5  | G5 F#5 B5 G5 |
",
        },
    ],
    exceptions: &[
        Exception {
            says: "scores whose file says that they are at concert pitch",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 3/4
pitch: written
section: horns
parts: flute = flute
       alto = alto saxophone
       trombone = trombone

count    | 1   2   3   |
flute    | Bb4 C5  Bb4 |
alto     | G4  Ab4 G4  |
trombone | Eb3 F3  G3  |
on the page:
alto, bar 1: no transposition
alto, bar 1: concert score
",
                but: "\
not on the page:
alto, bar 1: concert score
",
            },
        },
        Exception {
            says: "scores whose parts all have one key signature, as at concert pitch",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
pitch: written
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone

count   | 1   2   3   |
alto 1  | G4  Bb4 G4  |
alto 2  | Eb4 G4  Eb4 |
tenor 1 | Bb3 Eb4 Bb3 |
on the page:
alto 1, bar 1: no transposition
alto 2, bar 1: no transposition
tenor 1, bar 1: no transposition
alto 1, bar 1: key -3
alto 2, bar 1: key -3
tenor 1, bar 1: key -3
",
                but: "\
not on the page:
alto 1, bar 1: key -3
alto 2, bar 1: key -3
tenor 1, bar 1: key -3
",
            },
        },
        Exception {
            says: "scores of which most parts are at concert pitch",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
pitch: written
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       trombone 1 = trombone

count      | 1   2   3   4  | 1  2  3   4   |
alto 1     | D5  C5  D5  F5 | F5 D5 Eb5 D5  |
alto 2     | Bb4 A4  Bb4 D5 | D5 Bb4 C5 Bb4 |
tenor 1    | G5  F5  G5  C6 | C6 G5 A5  G5  |
trombone 1 | D4  C4  D4  F4 | F4 D4 Eb4 D4  |
on the page:
alto 1, bar 1: no transposition
alto 1, bar 1: key -2
alto 2, bar 1: no transposition
alto 2, bar 1: key -2
",
                but: "\
alto 1     | B5  A5  B5  D6 | D6 B5 C6  B5  |
not on the page:
alto 1, bar 1: no transposition
alto 1, bar 1: key -2
",
            },
        },
        Exception {
            says: "horns and trumpets that were crooked in many keys, where the name says so or no other part of their kind is transposed",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
pitch: written
parts: clarinet 1 = clarinet
       clarinet 2 = clarinet
       trumpet = trumpet
       trombone 1 = trombone

count      | 1   2   3   4  | 1  2  3   4   |
clarinet 1 | E5  D5  E5  G5 | G5 E5 F5  E5  |
clarinet 2 | C5  B4  C5  E5 | E5 C5 D5  C5  |
trumpet    | F4 Eb4 F4 Bb4 | Bb4 F4 G4 F4 |
trombone 1 | D4  C4  D4  F4 | F4 D4 Eb4 D4  |
on the page:
trumpet, bar 1: no transposition
trumpet, bar 1: key -2
",
                but: "\
parts: clarinet 1 = clarinet
       clarinet 2 = clarinet
       trumpet = trumpet
       trumpet 2 = trumpet
       trombone 1 = trombone
trumpet 2  | G4  F4  G4 C5 | C5 G4 A4 G4 |
",
            },
        },
        Exception {
            says: "a part that nothing can be compared with",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 3/4
section: horns
parts: alto = alto saxophone

count    | 1  2  3   | 1  |
alto     | D4 F4 G4  | F4 |
on the page:
alto, bar 1: no transposition
",
                but: "\
parts: alto = alto saxophone
       trombone = trombone
trombone | F3 A3 Bb3 | A3 |
",
            },
        },
        Exception {
            says: "octaves of guitar, bass, piccolo and voices, which files write either way",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
pitch: written
section: horns
parts: solo = guitar
       trombone 1 = trombone

chord      | F6 -  -  -  |
count      | 1  2  3  4  |
solo       | C4 D4 F4 D4 |
trombone 1 | A3 C4 D4 C4 |
on the page:
solo, bar 1: sounds as written
",
                but: "\
parts: solo = alto saxophone
       trombone 1 = trombone
",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let presumed = || {
        let all = input.score.presumed.iter();
        all.filter(|p| p.fault != PartFault::ConcertKey)
    };
    // A whole score exported without its transpositions is one mistake, and so is one at concert pitch.
    let mut left: Vec<&Presumed> = presumed().collect();
    while let Some(first) = left.first().copied() {
        let alike = |p: &&Presumed| {
            p.part == first.part
                || p.fault == first.fault
                    && p.stated.is_none() == first.stated.is_none()
                    && is_of_the_score(p)
        };
        let (together, others): (Vec<_>, Vec<_>) = left.into_iter().partition(alike);
        out.extend(about(input, &together));
        left = others;
    }
}

/// Several parts are likely to have it from one cause.
const fn is_of_the_score(presumed: &Presumed) -> bool {
    match presumed.fault {
        PartFault::Transposition => presumed.stated.is_none(),
        PartFault::OtherInstrument(_) => false,
        _ => true,
    }
}

/// "a major sixth", with its octaves; nothing for a unison.
fn interval(semitones: i16) -> String {
    let semitones = semitones.abs();
    let name = match semitones % 12 {
        0 => "",
        1 => "a minor second",
        2 => "a major second",
        3 => "a minor third",
        4 => "a major third",
        5 => "a fourth",
        6 => "a tritone",
        7 => "a fifth",
        8 => "a minor sixth",
        9 => "a major sixth",
        10 => "a minor seventh",
        _ => "a major seventh",
    };
    let octaves = match semitones / 12 {
        0 => "",
        1 => "an octave",
        _ => "two octaves",
    };
    let and = if name.is_empty() || octaves.is_empty() {
        ""
    } else {
        " and "
    };
    format!("{octaves}{and}{name}")
}

/// "a major sixth below what is written", as a player would say it.
fn in_words(by: Transposition) -> String {
    let side = if by.chromatic < 0 { "below" } else { "above" };
    match by.chromatic {
        0 => "as written".to_owned(),
        semitones => format!("{} {side} what is written", interval(semitones)),
    }
}

/// "alto 1 a major sixth higher", from the page of the file to the page the player needs.
fn moved(input: &RuleInput<'_>, case: &Presumed) -> String {
    let by = case.meant.chromatic - case.own.chromatic;
    let side = if by < 0 { "lower" } else { "higher" };
    format!(
        "{} {} {side}",
        names(input.score, &[case.part]),
        interval(by)
    )
}

/// How it is to be mended: "write every note of alto 1 a major sixth higher, with 3 sharps".
fn written_out(input: &RuleInput<'_>, cases: &[&Presumed]) -> String {
    let key = |case: &Presumed| {
        let part = input.score.parts.get(case.part as usize)?;
        let key = part
            .keys
            .first()
            .filter(|_| case.fault.is_in_key_signature())?;
        Some(format!(", with {}", signs(key.value.fifths)))
    };
    let each: Vec<String> = cases
        .iter()
        .map(|c| format!("{}{}", moved(input, c), key(c).unwrap_or_default()))
        .collect();
    format!("write every note of {}", wording::join(&each))
}

/// What is wrong and what to write instead.
struct Said {
    message: String,
    suggestion: String,
    label: &'static str,
}

fn said(input: &RuleInput<'_>, cases: &[&Presumed], first: &Presumed) -> Said {
    let parts: Vec<u32> = cases.iter().map(|p| p.part).collect();
    let who = names(input.score, &parts);
    let many = parts.len() > 1;
    let instrument = wording::with_article(&first.instrument);
    let of = if many { "of the first, " } else { "" };
    let because = format!("{of}{}", first.because);
    let (are, have, their, do_) = if many {
        ("are", "have", "their", "")
    } else {
        ("is", "has", "its", "s")
    };
    let transposing = if many {
        "transposing instruments".to_owned()
    } else {
        instrument.clone()
    };
    let sounds = format!("{instrument} sounds {}", in_words(first.own));
    let said = |message: String, suggestion: String, label: &'static str| Said {
        message,
        suggestion,
        label,
    };
    match (&first.fault, first.stated) {
        (PartFault::Untransposed, _) => said(
            format!(
                "{who} stand{do_} at concert pitch among transposed parts, and {are} for {transposing}: {because}"
            ),
            format!(
                "{}, and add {}",
                written_out(input, cases),
                if many {
                    "their transpositions".to_owned()
                } else {
                    format!("the transposition; {sounds}")
                }
            ),
            "at concert pitch",
        ),
        (PartFault::OtherInstrument(other), _) => {
            let other = wording::with_article(other);
            said(
                format!(
                    "{who} is written for {other} (transposition, key signature and notes), not for {instrument}: {because}"
                ),
                format!(
                    "{}, and correct the transposition; {sounds}",
                    written_out(input, cases)
                ),
                "written for another instrument",
            )
        }
        (PartFault::ConcertNotes, _) => said(
            format!(
                "{who} {have} {their} notes at concert pitch, under the transposition and key signature of {transposing}: {because}"
            ),
            written_out(input, cases),
            "read at concert pitch",
        ),
        (PartFault::ConcertPitch, _) => said(
            format!(
                "{who} {are} written at concert pitch, but {their} file transposes {}: {because}",
                if many { "them" } else { "it" }
            ),
            written_out(input, cases),
            "read at concert pitch",
        ),
        (_, None) if many => said(
            format!(
                "{who} have no transposition, but are written for transposing instruments: {because}"
            ),
            "export the score again with its transpositions, or add them part by part".to_owned(),
            "read as the instrument transposes",
        ),
        (_, None) => said(
            format!("{who} has no transposition, but is written for {instrument}: {because}"),
            format!("{who}: add the transposition; {sounds}"),
            "read as the instrument transposes",
        ),
        (_, Some(stated)) => said(
            format!(
                "{who} sounds {} by its file, which is not {instrument}: {because}",
                in_words(stated)
            ),
            format!("{who}: correct the transposition; {sounds}"),
            "read as the instrument transposes",
        ),
    }
}

fn about(input: &RuleInput<'_>, cases: &[&Presumed]) -> Option<Finding> {
    let score = input.score;
    let first = cases.first()?;
    let parts: Vec<u32> = cases.iter().map(|p| p.part).collect();
    let first_note = |part: u32| {
        let notes = &score.parts.get(part as usize)?.notes;
        notes.iter().position(Note::sounds).map(|i| NoteRef {
            part,
            note: i as u32,
        })
    };
    let at = first_note(first.part)
        .and_then(|n| {
            let part = score.parts.get(n.part as usize)?;
            part.notes.get(n.note as usize).map(|n| n.at)
        })
        .unwrap_or(Place::default());
    let said = said(input, cases, first);
    let notes: Vec<NoteRef> = parts.iter().filter_map(|&p| first_note(p)).collect();
    let mut finding = RULE
        .finding(at, said.message)
        .parts(parts.iter().copied())
        .at_notes(notes, 1, said.label)
        .instead(said.suggestion.clone());
    if first.fault == PartFault::ConcertNotes {
        finding.fix = Some(Fix {
            additions: Vec::new(),
            summary: said.suggestion,
            changes: parts.iter().flat_map(|p| as_heard(input, *p)).collect(),
            edits: None,
        });
    }
    Some(finding)
}

/// Every note of a part as it is read: the rules have judged it so.
fn as_heard(input: &RuleInput<'_>, part: u32) -> Vec<Change> {
    let notes = input.score.parts.get(part as usize).map(|p| &p.notes);
    let each = notes.into_iter().flatten().zip(0..);
    each.map(|(note, index)| Change {
        note: NoteRef { part, note: index },
        sounding: note.sounding,
    })
    .collect()
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_are_named_as_players_name_them() {
        // Published: Wikipedia, list of transposing instruments.
        let by = Transposition::from_parts;
        assert_eq!(
            in_words(by(-5, -9, 0)),
            "a major sixth below what is written"
        );
        assert_eq!(
            in_words(by(-1, -2, -1)),
            "an octave and a major second below what is written"
        );
        assert_eq!(in_words(by(0, 0, 1)), "an octave above what is written");
        assert_eq!(in_words(by(0, 0, 0)), "as written");
    }
}
