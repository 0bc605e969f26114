//! `transposition`: a part says how it transposes, and says it right.

use crate::finding::{Finding, Level};
use crate::ground::pitch::Transposition;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::page::names;
use crate::score::NoteRef;
use crate::score::{Note, Place, Presumed};

pub static RULE: Rule = Rule {
    name: "transposition",
    group: Group::Notation,
    asks: "The part of a transposing instrument carries its transposition, and the right one.",
    why: "Score and playback have the part at a wrong pitch, and every chord it takes part in looks wrong. The rest of the score was read with the transposition that is meant.",
    source: "published: MusicXML 4.0, transpose and concert-score; how it is decided: common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
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
    }],
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
    let presumed = &input.score.presumed;
    // A whole score exported without its transpositions is one mistake.
    let missing: Vec<&Presumed> = presumed.iter().filter(|p| p.stated.is_none()).collect();
    if !missing.is_empty() {
        out.extend(about(input, &missing));
    }
    for one in presumed.iter().filter(|p| p.stated.is_some()) {
        out.extend(about(input, &[one]));
    }
}

/// "a major sixth down" in semitones and letters as a player would say it.
fn in_words(by: Transposition) -> String {
    let semitones = by.chromatic.abs();
    let side = if by.chromatic < 0 { "below" } else { "above" };
    let name = match semitones % 12 {
        0 if semitones == 0 => return "as written".to_owned(),
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
    format!("{octaves}{and}{name} {side} what is written")
}

fn about(input: &RuleInput<'_>, cases: &[&Presumed]) -> Option<Finding> {
    let score = input.score;
    let first = cases.first()?;
    let parts: Vec<u32> = cases.iter().map(|p| p.part).collect();
    let who = names(score, &parts);
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
    let instrument = crate::rules::shared::wording::with_article(&first.instrument);
    let (message, suggestion) = match (first.stated, cases) {
        (None, [_]) => (
            format!(
                "{who} has no transposition, but is written for {instrument}: {}",
                first.because
            ),
            format!(
                "{who}: add the transposition; {instrument} sounds {}",
                in_words(first.meant)
            ),
        ),
        (None, _) => (
            format!(
                "{who} have no transposition, but are written for transposing instruments; of the first: {}",
                first.because
            ),
            "export the score again with its transpositions, or add them part by part".to_owned(),
        ),
        (Some(_), _) if first.meant == Transposition::NONE => (
            format!(
                "{who} is written at concert pitch, but its file transposes it: {}",
                first.because
            ),
            format!("{who}: write the part out for {instrument}, or take its transposition away"),
        ),
        (Some(stated), _) => (
            format!(
                "{who} sounds {} by its file, which is not {instrument}: {}",
                in_words(stated),
                first.because
            ),
            format!(
                "{who}: correct the transposition; {instrument} sounds {}",
                in_words(first.meant)
            ),
        ),
    };
    let notes: Vec<NoteRef> = parts.iter().filter_map(|&p| first_note(p)).collect();
    Some(
        RULE.finding(at, message)
            .parts(parts)
            .at_notes(notes, 1, "read as the instrument transposes")
            .instead(suggestion),
    )
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
