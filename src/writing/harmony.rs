//! A chord as MusicXML's kind and degrees: the way back from [`from_kind`].

use crate::ground::chord::{Chord, DegreeChange, DegreeEdit, from_kind};

/// MusicXML's kinds and the degrees (number, alteration) they stand for as they are played.
/// The sets of the MusicXML 4.0 schema; the eleventh of thirteenth chords is left out, as readers
/// of lead sheets do.
const KINDS: &[(&str, &[(u8, i8)])] = &[
    ("major", &[(1, 0), (3, 0), (5, 0)]),
    ("minor", &[(1, 0), (3, -1), (5, 0)]),
    ("dominant", &[(1, 0), (3, 0), (5, 0), (7, -1)]),
    ("major-seventh", &[(1, 0), (3, 0), (5, 0), (7, 0)]),
    ("minor-seventh", &[(1, 0), (3, -1), (5, 0), (7, -1)]),
    ("major-sixth", &[(1, 0), (3, 0), (5, 0), (6, 0)]),
    ("minor-sixth", &[(1, 0), (3, -1), (5, 0), (6, 0)]),
    ("half-diminished", &[(1, 0), (3, -1), (5, -1), (7, -1)]),
    ("diminished-seventh", &[(1, 0), (3, -1), (5, -1), (7, -2)]),
    ("diminished", &[(1, 0), (3, -1), (5, -1)]),
    ("augmented", &[(1, 0), (3, 0), (5, 1)]),
    ("augmented-seventh", &[(1, 0), (3, 0), (5, 1), (7, -1)]),
    ("major-minor", &[(1, 0), (3, -1), (5, 0), (7, 0)]),
    ("dominant-ninth", &[(1, 0), (3, 0), (5, 0), (7, -1), (9, 0)]),
    ("major-ninth", &[(1, 0), (3, 0), (5, 0), (7, 0), (9, 0)]),
    ("minor-ninth", &[(1, 0), (3, -1), (5, 0), (7, -1), (9, 0)]),
    (
        "dominant-11th",
        &[(1, 0), (3, 0), (5, 0), (7, -1), (9, 0), (11, 0)],
    ),
    ("dominant-11th", &[(1, 0), (5, 0), (7, -1), (9, 0), (11, 0)]),
    (
        "major-11th",
        &[(1, 0), (3, 0), (5, 0), (7, 0), (9, 0), (11, 0)],
    ),
    (
        "minor-11th",
        &[(1, 0), (3, -1), (5, 0), (7, -1), (9, 0), (11, 0)],
    ),
    (
        "dominant-13th",
        &[(1, 0), (3, 0), (5, 0), (7, -1), (9, 0), (13, 0)],
    ),
    (
        "major-13th",
        &[(1, 0), (3, 0), (5, 0), (7, 0), (9, 0), (13, 0)],
    ),
    (
        "minor-13th",
        &[(1, 0), (3, -1), (5, 0), (7, -1), (9, 0), (13, 0)],
    ),
    (
        "minor-13th",
        &[(1, 0), (3, -1), (5, 0), (7, -1), (9, 0), (11, 0), (13, 0)],
    ),
    ("suspended-fourth", &[(1, 0), (4, 0), (5, 0)]),
    ("suspended-second", &[(1, 0), (2, 0), (5, 0)]),
    ("power", &[(1, 0), (5, 0)]),
    ("pedal", &[(1, 0)]),
    ("Neapolitan", &[(1, 0), (2, -1), (3, 0), (5, -1)]),
    ("Italian", &[(1, 0), (4, 1), (6, -1)]),
    ("French", &[(1, 0), (2, 0), (4, 1), (6, -1)]),
    ("German", &[(1, 0), (3, -1), (4, 1), (6, -1)]),
    ("other", &[(1, 0)]),
];

/// A chord as a `<harmony>` says it.
pub(super) struct Spelled {
    /// The value of `<kind>`.
    pub kind: &'static str,
    /// What is printed after the root.
    pub text: String,
    /// Its `<degree>`s.
    pub degrees: Vec<DegreeChange>,
}

/// What stands after the root in the symbol, without the bass.
fn tail(chord: &Chord) -> &str {
    let text = chord.text.as_str();
    let text = text.strip_prefix(&chord.root.to_string()).unwrap_or(text);
    match chord.bass {
        Some(bass) => text.strip_suffix(&format!("/{bass}")).unwrap_or(text),
        None => text,
    }
}

/// What turns a kind's degrees into the chord's.
fn changes(from: &[(u8, i8)], chord: &Chord) -> Vec<DegreeChange> {
    let mut out = Vec::new();
    let has = |number: u8, alter: i8| chord.has(number, alter);
    for &(number, alter) in from {
        if has(number, alter) {
            continue;
        }
        let mut there = chord.degrees.iter().filter(|d| d.number == number);
        match (there.next(), there.next()) {
            (Some(d), None) => out.push(DegreeChange {
                edit: DegreeEdit::Alter,
                number,
                alter: d.alter - alter,
            }),
            // Two forms of it are added below; an altered one takes the plain one's place.
            (Some(_), Some(_)) => {}
            (None, _) => out.push(DegreeChange {
                edit: DegreeEdit::Subtract,
                number,
                alter: 0,
            }),
        }
    }
    for d in &chord.degrees {
        let altered = out
            .iter()
            .any(|c| c.edit == DegreeEdit::Alter && c.number == d.number);
        if from.contains(&(d.number, d.alter)) || altered {
            continue;
        }
        out.push(DegreeChange {
            edit: DegreeEdit::Add,
            number: d.number,
            // Added degrees are counted against a dominant chord, whose seventh is minor.
            alter: if d.number == 7 { d.alter + 1 } else { d.alter },
        });
    }
    out
}

/// The kinds in order of how little has to be changed.
fn ways(chord: &Chord) -> Vec<(&'static str, Vec<DegreeChange>)> {
    let mut ways: Vec<(&'static str, Vec<DegreeChange>)> = KINDS
        .iter()
        .map(|(kind, degrees)| (*kind, changes(degrees, chord)))
        .collect();
    if chord.altered {
        ways.insert(0, ("dominant", Vec::new()));
    }
    // A subtracted degree reads worse than an added one.
    ways.sort_by_key(|(kind, changes)| {
        let cost = changes.iter().map(|c| match c.edit {
            DegreeEdit::Subtract => 3usize,
            DegreeEdit::Alter | DegreeEdit::Add => 2,
        });
        // The kinds of functional harmony are for those chords alone.
        let rare = matches!(
            *kind,
            "other" | "Neapolitan" | "Italian" | "French" | "German"
        );
        cost.sum::<usize>() + usize::from(rare && !changes.is_empty()) * 4
    });
    ways
}

/// The chord's kind, text and degrees, such that they read back as this chord.
pub(super) fn spell(chord: &Chord) -> Spelled {
    let text = tail(chord);
    let ways = ways(chord);
    let exact = |with: &str, same: &dyn Fn(&Chord) -> bool| {
        ways.iter()
            .find(|(kind, degrees)| {
                from_kind(chord.root, kind, Some(with), degrees, chord.bass)
                    .ok()
                    .flatten()
                    .is_some_and(|read| same(&read))
            })
            .map(|(kind, degrees)| Spelled {
                kind,
                text: with.to_owned(),
                degrees: degrees.clone(),
            })
    };
    exact(text, &|read| read == chord)
        .or_else(|| {
            exact(text, &|read| {
                read.degrees == chord.degrees && read.altered == chord.altered
            })
        })
        .or_else(|| exact("", &|read| read.degrees == chord.degrees))
        .unwrap_or_else(|| {
            let (kind, degrees) = ways.into_iter().next().unwrap_or(("other", Vec::new()));
            Spelled {
                kind,
                text: text.to_owned(),
                degrees,
            }
        })
}

/// The chord's symbol as its degrees alone give it, when `chord.text` does not say them.
pub(super) fn symbol(chord: &Chord) -> Option<String> {
    let reads = |text: &str| {
        matches!(crate::ground::chord::parse(text), Ok(Some(read))
            if read.degrees == chord.degrees
                && read.altered == chord.altered
                && read.root == chord.root
                && read.bass == chord.bass)
    };
    let plain: String = chord.text.split_whitespace().collect();
    if reads(&plain) && !plain.contains(['|', ';']) {
        return Some(plain);
    }
    ways(chord)
        .iter()
        .filter_map(|(kind, degrees)| {
            from_kind(chord.root, kind, None, degrees, chord.bass)
                .ok()
                .flatten()
        })
        .map(|read| read.text.split_whitespace().collect::<String>())
        .find(|text| reads(text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::chord::parse;

    #[test]
    fn symbols_come_back_as_the_same_chord() {
        for tail in [
            "",
            "m",
            "7",
            "maj7",
            "m7",
            "6",
            "m6",
            "m7b5",
            "dim7",
            "dim",
            "aug",
            "+7",
            "7b5",
            "7#5",
            "9",
            "maj9",
            "m9",
            "13",
            "m11",
            "6/9",
            "7b9",
            "7#9",
            "7(b9,#11)",
            "7(b9,#9)",
            "7alt",
            "sus4",
            "sus2",
            "7sus4",
            "9sus4",
            "13sus4",
            "m(maj7)",
            "maj7#11",
            "add9",
            "madd9",
            "13b9",
            "7b13",
            "5",
            "9#11",
            "maj13",
            "7(b5,b9)",
            "m7add11",
        ] {
            for bass in ["", "/E"] {
                let text = format!("Bb{tail}{bass}");
                let Ok(Some(chord)) = parse(&text) else {
                    panic!("{text}")
                };
                let spelled = spell(&chord);
                let back = from_kind(
                    chord.root,
                    spelled.kind,
                    Some(&spelled.text),
                    &spelled.degrees,
                    chord.bass,
                )
                .unwrap()
                .unwrap();
                assert_eq!(back, chord, "{text} as {}", spelled.kind);
            }
        }
    }

    #[test]
    fn the_usual_kind_is_taken() {
        let kind = |text: &str| {
            let spelled = spell(&parse(text).unwrap().unwrap());
            (spelled.kind, spelled.degrees.len())
        };
        assert_eq!(kind("C6"), ("major-sixth", 0));
        assert_eq!(kind("C7b9"), ("dominant", 1));
        assert_eq!(kind("Cm7b5"), ("half-diminished", 0));
        assert_eq!(kind("C13"), ("dominant-13th", 0));
        assert_eq!(kind("C7alt"), ("dominant", 0));
    }
}
