//! MusicXML's kinds of chords, with the degrees that a file adds, alters or takes away.

use super::degree_set::{DegreeSet, usual};
use super::vocabulary::VOCABULARY;
use super::{Chord, Degree, Family, symbol};
use crate::ground::pitch::NoteName;

/// What a MusicXML `<degree>` does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DegreeEdit {
    /// Adds a degree, counted against a dominant chord.
    Add,
    /// Alters a degree the kind has.
    Alter,
    /// Takes a degree away.
    Subtract,
}

/// A MusicXML `<degree>`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct DegreeChange {
    /// What it does.
    pub edit: DegreeEdit,
    /// `degree-value`.
    pub number: u8,
    /// `degree-alter` in semitones.
    pub alter: i8,
}

/// A kind or a degree of it that the vocabulary lacks; holds the whole sentence.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct KindError(pub String);

/// Builds a chord from MusicXML's `<kind>` value, its `text` attribute and its degrees; `Ok(None)`
/// is the kind `none`. `root` and `bass` may be at written or sounding pitch; the chord is at the
/// same.
pub fn from_kind(
    root: NoteName,
    kind: &str,
    text: Option<&str>,
    degrees: &[DegreeChange],
    bass: Option<NoteName>,
) -> Result<Option<Chord>, KindError> {
    let value = kind.trim();
    if value == "none" {
        return Ok(None);
    }
    let Some(found) = VOCABULARY.kinds.get(value) else {
        return Err(unknown_kind(value));
    };
    let changes = degrees
        .iter()
        .map(|c| in_compass(value, *c))
        .collect::<Result<Vec<_>, _>>()?;
    let text = text.map(str::trim).filter(|t| !t.is_empty());
    let is_altered = text.is_some_and(|t| t.to_lowercase().contains("alt"));
    let by_text = if is_altered {
        // Files write arbitrary degrees beside "alt"; what is meant is the altered set.
        let degrees = [(1, 0), (3, 0), (7, -1)].map(|(n, a)| Degree::new(n, a));
        Some((degrees.to_vec(), true))
    } else {
        text.filter(|_| changes.is_empty())
            .and_then(|t| believed_text(root, value, &found.played, t))
    };
    if let Some((degrees, altered)) = by_text {
        return Ok(Some(Chord {
            root,
            bass,
            degrees,
            altered,
            text: print(root, text.unwrap_or_default(), bass),
        }));
    }
    // Who edits the third or the eleventh of an eleventh chord counts on the schema's set.
    let schema = value == "dominant-11th" && changes.iter().any(|c| matches!(c.number, 3 | 11));
    let base = if schema {
        &found.degrees
    } else {
        &found.played
    };
    let degrees = degrees_after(base, &changes, text);
    let printed = printed_text(root, text, &found.text, &changes, &degrees);
    Ok(Some(Chord {
        root,
        bass,
        degrees,
        altered: false,
        text: print(root, &printed, bass),
    }))
}

/// The degrees that the text of a kind says, and whether they are the altered set. Only where the kind
/// is too poor for the text is the text believed: `None` elsewhere.
fn believed_text(
    root: NoteName,
    kind: &str,
    played: &[Degree],
    text: &str,
) -> Option<(Vec<Degree>, bool)> {
    let read = symbol::parse(&format!("{root}{text}")).ok().flatten()?;
    let suspended = played.contains(&Degree::new(3, 0)) || played.contains(&Degree::new(4, 0));
    let says_sus = suspended
        && matches!(
            read.family(),
            Family::DominantSuspended | Family::SuspendedTriad
        )
        && text.to_lowercase().contains("sus");
    (kind == "other" || says_sus).then_some((read.degrees, read.altered))
}

/// The degrees of a kind after the file's changes.
fn degrees_after(base: &[Degree], changes: &[DegreeChange], text: Option<&str>) -> Vec<Degree> {
    let mut set = DegreeSet::new(base);
    for c in changes {
        apply(&mut set, base, *c);
    }
    let touches_third = changes.iter().any(|c| matches!(c.number, 2 | 3 | 4 | 11));
    if !touches_third && set.has_number(3) && text.is_some_and(|t| t.to_lowercase().contains("sus"))
    {
        set.suspend(4);
    }
    set.finish()
}

/// How the chord is printed after its root: a text that reads as these degrees, if there is one.
fn printed_text(
    root: NoteName,
    text: Option<&str>,
    text_of_kind: &str,
    changes: &[DegreeChange],
    degrees: &[Degree],
) -> String {
    let reads = |tail: &str| matches!(symbol::parse(&format!("{root}{tail}")), Ok(Some(c)) if c.degrees == degrees);
    match text {
        Some(t) => {
            // The text may leave the degrees to be printed after it, or may hold them already.
            let spelled = spell(t, changes);
            if !reads(t) && reads(&spelled) {
                spelled
            } else {
                t.to_owned()
            }
        }
        None if changes.is_empty() => text_of_kind.to_owned(),
        None => {
            let spelled = spell(text_of_kind, changes);
            match VOCABULARY.text_of(degrees) {
                Some(text) => text.to_owned(),
                None if reads(&spelled) => spelled,
                None => VOCABULARY
                    .nearest_texts(degrees)
                    .into_iter()
                    .find(|t| reads(t))
                    .unwrap_or(spelled),
            }
        }
    }
}

fn unknown_kind(value: &str) -> KindError {
    let near = VOCABULARY
        .kinds
        .keys()
        .map(|k| (strsim::jaro_winkler(&value.to_lowercase(), k), k))
        .filter(|(score, _)| *score > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0).then_with(|| b.1.cmp(a.1)));
    let advice = match near {
        Some((_, k)) => format!("the nearest is `{k}`"),
        None => "write `other` and give the chord's degrees".to_owned(),
    };
    let shown: String = value.chars().take(40).collect();
    KindError(format!(
        "`{shown}` is not a chord kind of MusicXML 4.0; {advice}"
    ))
}

/// The change with its number brought within 1 to 13.
fn in_compass(kind: &str, change: DegreeChange) -> Result<DegreeChange, KindError> {
    let number = match change.number {
        // Octaves and compounds that have no name of their own.
        8 => 1,
        10 => 3,
        12 => 5,
        n @ 1..=13 => n,
        n => {
            return Err(KindError(format!(
                "the degree {n} of a `{kind}` chord is not one of 1 to 13: write the degree within them"
            )));
        }
    };
    if number == 1 && change.alter != 0 {
        return Err(KindError(format!(
            "the root of a `{kind}` chord is altered by {} semitones: write the altered note as \
             `root-step` and `root-alter`",
            change.alter
        )));
    }
    if !(-2..=2).contains(&change.alter) {
        return Err(KindError(format!(
            "the degree {} of a `{kind}` chord is altered by {} semitones: write -2 to 2",
            change.number, change.alter
        )));
    }
    Ok(DegreeChange { number, ..change })
}

/// What an added degree is: counted against a dominant chord, whose seventh is minor.
fn added(number: u8, alter: i8) -> Degree {
    Degree::new(number, if number == 7 { alter - 1 } else { alter })
}

fn apply(set: &mut DegreeSet, base: &[Degree], change: DegreeChange) {
    let DegreeChange {
        edit,
        number,
        alter,
    } = change;
    match edit {
        DegreeEdit::Subtract => {
            // The root names the chord whether it sounds or not.
            if number != 1 {
                set.remove_number(number);
            }
        }
        DegreeEdit::Alter => match base.iter().find(|d| d.number == number) {
            Some(&old) if number != 1 => {
                set.remove(old);
                let relative = Degree::new(number, old.alter + alter);
                // A fifth raised twice was raised by the kind already: such files write the
                // degree as it ends up.
                let sane =
                    (-1..=1).contains(&relative.alter) || (number, relative.alter) == (7, -2);
                set.insert(usual(if sane { relative } else { added(number, alter) }));
            }
            // Files alter degrees that the kind lacks: what is meant is to add them.
            _ => add(set, base, added(number, alter)),
        },
        DegreeEdit::Add => add(set, base, added(number, alter)),
    }
}

/// Adds a degree. An altered fifth, ninth, eleventh or thirteenth takes the place of the natural
/// that the kind brought along: nobody plays both.
fn add(set: &mut DegreeSet, base: &[Degree], degree: Degree) {
    if matches!(degree.number, 5 | 9 | 11 | 13)
        && base.contains(&Degree::new(degree.number, 0))
        && degree.alter != 0
    {
        set.alter(usual(degree));
    } else {
        set.insert(usual(degree));
    }
}

/// A quality's text with the changes spelled out after it.
fn spell(text: &str, changes: &[DegreeChange]) -> String {
    let pieces: Vec<String> = changes
        .iter()
        .map(|c| match c.edit {
            DegreeEdit::Subtract => format!("no{}", c.number),
            DegreeEdit::Add if c.number == 7 && c.alter == 1 => "maj7".to_owned(),
            DegreeEdit::Add if c.alter == 0 => format!("add{}", c.number),
            _ => Degree::new(c.number, c.alter).to_string(),
        })
        .collect();
    if pieces.is_empty() {
        return text.to_owned();
    }
    // Alone after a root, `b5` would be read as the root's accidental.
    if text.is_empty() || pieces.len() > 1 {
        format!("{text}({})", pieces.join(","))
    } else {
        format!("{text}{}", pieces.concat())
    }
}

fn print(root: NoteName, text: &str, bass: Option<NoteName>) -> String {
    match bass {
        Some(b) => format!("{root}{text}/{b}"),
        None => format!("{root}{text}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::pitch::Step;

    const C: NoteName = NoteName::new(Step::C, 0);

    const fn change(edit: DegreeEdit, number: u8, alter: i8) -> DegreeChange {
        DegreeChange {
            edit,
            number,
            alter,
        }
    }

    const fn plus(number: u8, alter: i8) -> DegreeChange {
        change(DegreeEdit::Add, number, alter)
    }

    const fn altered(number: u8, alter: i8) -> DegreeChange {
        change(DegreeEdit::Alter, number, alter)
    }

    const fn minus(number: u8) -> DegreeChange {
        change(DegreeEdit::Subtract, number, 0)
    }

    fn built(kind: &str, text: Option<&str>, changes: &[DegreeChange]) -> Chord {
        from_kind(C, kind, text, changes, None).unwrap().unwrap()
    }

    fn degrees(chord: &Chord) -> String {
        let all: Vec<String> = chord.degrees.iter().map(ToString::to_string).collect();
        all.join(" ")
    }

    #[test]
    fn added_degrees_count_against_a_dominant() {
        // Published: MusicXML 4.0 schema; the #9 is its author's own example (format issue 369).
        let c = built("dominant", None, &[plus(9, 1)]);
        assert_eq!(
            (degrees(&c).as_str(), c.text.as_str()),
            ("1 3 5 b7 #9", "C7#9")
        );
        assert_eq!(degrees(&built("major", None, &[plus(7, 0)])), "1 3 5 b7");
        assert_eq!(degrees(&built("major", None, &[plus(7, 1)])), "1 3 5 7");
        let sus = built("suspended-fourth", None, &[plus(7, 0)]);
        assert_eq!(
            (degrees(&sus).as_str(), sus.text.as_str()),
            ("1 4 5 b7", "C7sus4")
        );
        let six_nine = built("major-sixth", None, &[plus(9, 0)]);
        assert_eq!(
            (degrees(&six_nine).as_str(), six_nine.text.as_str()),
            ("1 3 5 6 9", "C6/9")
        );
    }

    #[test]
    fn altered_degrees_count_against_the_kind() {
        // Published: MusicXML 4.0 schema.
        let c = built("dominant", None, &[altered(5, -1)]);
        assert_eq!(
            (degrees(&c).as_str(), c.text.as_str()),
            ("1 3 b5 b7", "C7b5")
        );
        assert_eq!(
            degrees(&built("dominant-13th", None, &[altered(9, -1)])),
            "1 3 5 b7 b9 13"
        );
        assert_eq!(
            degrees(&built("dominant", None, &[altered(7, 1)])),
            "1 3 5 7"
        );
        // The kind has it already. common practice, no source
        assert_eq!(
            degrees(&built("augmented-seventh", None, &[altered(5, 1)])),
            "1 3 #5 b7"
        );
        // Missing from the kind, so added. common practice, no source
        assert_eq!(
            degrees(&built("dominant", None, &[altered(9, -1), altered(11, 1)])),
            "1 3 5 b7 b9 #11"
        );
        assert_eq!(
            degrees(&built("dominant-13th", None, &[altered(11, 1)])),
            "1 3 5 b7 9 #11 13"
        );
    }

    #[test]
    fn degrees_are_taken_away_but_never_the_root() {
        let c = built("dominant", None, &[minus(3), minus(5)]);
        assert_eq!(
            (degrees(&c).as_str(), c.text.as_str()),
            ("1 b7", "C7(no3,no5)")
        );
        assert_eq!(degrees(&built("major", None, &[minus(1)])), "1 3 5");
        assert_eq!(degrees(&built("major", None, &[minus(13)])), "1 3 5");
    }

    #[test]
    fn eleventh_chords_give_up_their_third_unless_the_degrees_say_otherwise() {
        assert_eq!(degrees(&built("dominant-11th", None, &[])), "1 4 5 b7 9");
        assert_eq!(
            degrees(&built("dominant-11th", None, &[altered(11, 1)])),
            "1 3 5 b7 9 #11"
        );
        assert_eq!(
            degrees(&built("dominant-11th", None, &[altered(9, -1)])),
            "1 4 5 b7 b9"
        );
    }

    #[test]
    fn the_text_is_believed_only_where_the_kind_says_too_little() {
        // common practice, no source
        let sus = built("dominant-13th", Some("13sus"), &[]);
        assert_eq!(
            (degrees(&sus).as_str(), sus.text.as_str()),
            ("1 4 5 b7 9 13", "C13sus")
        );
        let alt = built("dominant", Some("7alt"), &[plus(9, 1), altered(5, 1)]);
        assert!(alt.altered);
        assert_eq!(
            (degrees(&alt).as_str(), alt.text.as_str()),
            ("1 3 b7", "C7alt")
        );
        assert_eq!(degrees(&built("other", Some("7b9"), &[])), "1 3 5 b7 b9");
        // A text that contradicts its kind is display only.
        let odd = built("minor", Some("maj7"), &[]);
        assert_eq!(
            (degrees(&odd).as_str(), odd.text.as_str()),
            ("1 b3 5", "Cmaj7")
        );
    }

    #[test]
    fn degrees_are_printed_once() {
        let beside = built("dominant", Some("7"), &[plus(9, 1)]);
        assert_eq!(beside.text, "C7#9");
        let within = built("dominant", Some("7(#9)"), &[plus(9, 1)]);
        assert_eq!(within.text, "C7(#9)");
    }

    #[test]
    fn other_is_built_from_what_is_added() {
        assert_eq!(
            degrees(&built("other", None, &[plus(3, 0), plus(9, 0)])),
            "1 3 9"
        );
        assert_eq!(degrees(&built("other", None, &[])), "1");
    }

    #[test]
    fn none_is_no_chord_and_the_unknown_an_error() {
        assert_eq!(from_kind(C, "none", None, &[], None), Ok(None));
        let error = from_kind(C, "dominant-nineth", None, &[], None).unwrap_err();
        assert_eq!(
            error.to_string(),
            "`dominant-nineth` is not a chord kind of MusicXML 4.0; the nearest is \
             `dominant-ninth`"
        );
        for bad in [
            plus(0, 0),
            plus(14, 0),
            plus(9, 3),
            altered(1, 1),
            plus(9, i8::MIN),
        ] {
            assert!(
                from_kind(C, "dominant", None, &[bad], None).is_err(),
                "{bad:?}"
            );
        }
    }

    #[test]
    fn a_bass_is_printed_and_changes_nothing() {
        let bass = NoteName::new(Step::B, -1);
        let c = from_kind(C, "dominant", None, &[], Some(bass))
            .unwrap()
            .unwrap();
        assert_eq!(
            (degrees(&c).as_str(), c.text.as_str()),
            ("1 3 5 b7", "C7/Bb")
        );
        assert_eq!(c.bass, Some(bass));
    }

    #[test]
    fn what_a_kind_prints_reads_as_the_same_chord() {
        let changes = [
            vec![],
            vec![plus(9, 0)],
            vec![plus(9, -1)],
            vec![altered(5, -1)],
            vec![altered(5, 1), plus(9, 1)],
            vec![plus(13, 0)],
            vec![minus(5)],
            vec![plus(11, 1), plus(13, -1)],
        ];
        for kind in VOCABULARY.kinds.keys() {
            // What is named by its function is no symbol over a staff.
            if [
                "none",
                "Neapolitan",
                "Italian",
                "French",
                "German",
                "Tristan",
                "pedal",
                "other",
            ]
            .contains(&kind.as_str())
            {
                continue;
            }
            for edits in &changes {
                let c = built(kind, None, edits);
                let read = symbol::parse(&c.text).unwrap().unwrap();
                assert_eq!(
                    read.degrees, c.degrees,
                    "{kind} {edits:?} prints {}",
                    c.text
                );
            }
        }
    }
}
