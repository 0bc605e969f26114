//! The chord vocabulary against published tables. `tests/tables/make_chord_tables.py` and
//! `make_chord_tables.mjs` made those of the two libraries.

#![allow(
    clippy::unwrap_used,
    reason = "a test's table that cannot be read fails the test"
)]

use chartproof::inside::ground::chord::{Chord, Degree, from_kind, parse};
use chartproof::inside::ground::pitch::{NoteName, PitchClass};
use std::collections::{BTreeMap, BTreeSet};

/// Lines of a table, comments left out, split into columns.
fn rows(table: &str) -> Vec<Vec<&str>> {
    table
        .lines()
        .filter(|l| !l.starts_with("# ") && !l.is_empty())
        .map(|l| l.split('\t').collect())
        .collect()
}

fn root(name: &str) -> NoteName {
    parse(name).unwrap().unwrap().root
}

fn kind(root_name: &str, kind: &str) -> Chord {
    from_kind(root(root_name), kind, None, &[], None)
        .unwrap()
        .unwrap()
}

fn classes(chord: &Chord) -> BTreeSet<i16> {
    chord.classes().map(PitchClass::get).collect()
}

fn set(numbers: &str) -> BTreeSet<i16> {
    numbers
        .split(' ')
        .map(|n| n.parse::<i16>().unwrap())
        .collect()
}

fn degrees(text: &str) -> Vec<Degree> {
    text.split(' ').map(|d| Degree::read(d).unwrap()).collect()
}

/// Published: MusicXML 4.0 schema, the documentation of `kind-value`. The last column is the jazz
/// reading where it differs (common practice, no source): thirteenths without their eleventh,
/// eleventh chords without their third.
const KINDS: [(&str, &str, Option<&str>); 26] = [
    ("major", "1 3 5", None),
    ("minor", "1 b3 5", None),
    ("augmented", "1 3 #5", None),
    ("diminished", "1 b3 b5", None),
    ("dominant", "1 3 5 b7", None),
    ("major-seventh", "1 3 5 7", None),
    ("minor-seventh", "1 b3 5 b7", None),
    ("diminished-seventh", "1 b3 b5 bb7", None),
    ("augmented-seventh", "1 3 #5 b7", None),
    ("half-diminished", "1 b3 b5 b7", None),
    ("major-minor", "1 b3 5 7", None),
    ("major-sixth", "1 3 5 6", None),
    ("minor-sixth", "1 b3 5 6", None),
    ("dominant-ninth", "1 3 5 b7 9", None),
    ("major-ninth", "1 3 5 7 9", None),
    ("minor-ninth", "1 b3 5 b7 9", None),
    ("dominant-11th", "1 3 5 b7 9 11", Some("1 4 5 b7 9")),
    ("major-11th", "1 3 5 7 9 11", None),
    ("minor-11th", "1 b3 5 b7 9 11", None),
    ("dominant-13th", "1 3 5 b7 9 11 13", Some("1 3 5 b7 9 13")),
    ("major-13th", "1 3 5 7 9 11 13", Some("1 3 5 7 9 13")),
    ("minor-13th", "1 b3 5 b7 9 11 13", None),
    ("suspended-second", "1 2 5", None),
    ("suspended-fourth", "1 4 5", None),
    ("pedal", "1", None),
    ("power", "1 5", None),
];

/// Published: MusicXML 4.0 schema names these without a set of degrees; the sets are compared
/// with music21's below, `other` is what its degrees make of it, `none` is no chord.
const WITHOUT_A_SET: [&str; 7] = [
    "Neapolitan",
    "Italian",
    "French",
    "German",
    "Tristan",
    "other",
    "none",
];

#[test]
fn all_kinds_of_the_schema_have_their_degrees() {
    for (value, schema, played) in KINDS {
        assert_eq!(
            kind("C", value).degrees,
            degrees(played.unwrap_or(schema)),
            "{value}"
        );
    }
    assert_eq!(KINDS.len() + WITHOUT_A_SET.len(), 33);
    for value in WITHOUT_A_SET {
        assert!(
            from_kind(root("C"), value, None, &[], None).is_ok(),
            "{value}"
        );
    }
    // No other word is a kind, not even one of another library's.
    for value in ["dominant-seventh", "Major", "", "minor-major"] {
        assert!(
            from_kind(root("C"), value, None, &[], None).is_err(),
            "{value}"
        );
    }
}

/// How a kind of music21 is called here: a MusicXML kind, or a symbol where MusicXML has none.
enum Here {
    Kind(&'static str),
    Symbol(&'static str),
    /// Not in the vocabulary: no chart writes it as one quality.
    Nowhere,
}

fn here(theirs: &str) -> Here {
    match theirs {
        "dominant-seventh" => Here::Kind("dominant"),
        "minor-major-seventh" => Here::Kind("major-minor"),
        "half-diminished-seventh" => Here::Kind("half-diminished"),
        "augmented-major-seventh" => Here::Symbol("maj7#5"),
        "augmented-major-ninth" => Here::Symbol("maj9#5"),
        "augmented-dominant-ninth" => Here::Symbol("9#5"),
        "seventh-flat-five" => Here::Symbol("7b5"),
        "minor-major-ninth" => Here::Symbol("m(maj9)"),
        "minor-major-11th" => Here::Symbol("m(maj11)"),
        "half-diminished-ninth" => Here::Symbol("m9b5"),
        "half-diminished-minor-ninth" => Here::Symbol("m7b5(b9)"),
        "half-diminished-11th" => Here::Symbol("m11b5"),
        "diminished-ninth" => Here::Symbol("dim7(9)"),
        "diminished-minor-ninth" => Here::Symbol("dim7(b9)"),
        "diminished-11th" => Here::Symbol("dim7(9,11)"),
        "suspended-fourth-seventh" => Here::Symbol("7sus4"),
        "augmented-major-11th"
        | "augmented-11th"
        | "minor-major-13th"
        | "augmented-major-13th"
        | "augmented-dominant-13th"
        | "half-diminished-13th" => Here::Nowhere,
        _ => KINDS
            .iter()
            .map(|k| k.0)
            .chain(WITHOUT_A_SET)
            .find(|k| *k == theirs)
            .map_or_else(|| panic!("{theirs} has no place"), Here::Kind),
    }
}

#[test]
fn kinds_have_the_members_music21_gives_them() {
    // Published: music21 10.5.1. Semitones above the root that it has and the jazz reading drops
    // (common practice, no source).
    let dropped = BTreeMap::from([
        ("dominant-11th", 4),
        ("dominant-13th", 5),
        ("major-13th", 5),
    ]);
    let mut compared = BTreeSet::new();
    for row in rows(include_str!("tables/chord_members.tsv")) {
        let [theirs, name, numbers] = row[..] else {
            panic!("{row:?}");
        };
        let ours = match here(theirs) {
            Here::Kind(value) => kind(name, value),
            Here::Symbol(tail) => parse(&format!("{name}{tail}")).unwrap().unwrap(),
            Here::Nowhere => continue,
        };
        let mut expected = set(numbers);
        if let Some(up) = dropped.get(theirs) {
            assert!(expected.remove(&((root(name).class().get() + up) % 12)));
        }
        assert_eq!(classes(&ours), expected, "{theirs} on {name}");
        compared.insert((theirs, name));
    }
    assert_eq!(compared.len(), 12 * 44, "44 kinds on twelve roots");
}

/// Why a symbol of tonal's is left unread or read otherwise, by its tail. Set against the sources
/// and defaults that `rules/chords.toml` names.
fn difference(tail: &str) -> Option<&'static str> {
    Some(match tail {
        "67" => "unread: a sixth and a seventh in one figure; charts write 13 or 7(13)",
        "4" | "quartal" => "unread: a stack of fourths is a voicing, not a chord of degrees",
        "m11A" => "unread: the library's own shorthand",
        "phryg" => "unread: a scale's name",
        "^" => "a triangle alone is a major seventh (university list of jazz chord symbols)",
        "^#5" => "as above: a major seventh with its fifth raised",
        "M7b6" | "^7b6" | "mb6M7" | "mb6b9" => "b6 leaves the fifth: nothing says it is altered",
        "7b13" | "9b13" => "music21 keeps the fifth under a b13; tonal leaves it out",
        "M6b5" | "6b5" => "b5 takes the fifth's place, as in 7b5; tonal reads a #11",
        "7b5#9" | "7#9b5" | "7b5b9" | "7b9b5" | "7b5b13" | "9b5b13" | "7b5b9b13" => {
            "b5 takes the fifth's place, as in 7b5; tonal keeps both"
        }
        "7alt" | "alt7" => "any altered tensions over 1 3 b7; tonal fixes one set",
        "2" => "music21's suspended second; tonal reads an added ninth",
        "M7add13" => "an added thirteenth brings no ninth; tonal adds one",
        "m13" | "-13" => "the schema and music21 have the eleventh; tonal leaves it out",
        _ => return None,
    })
}

#[test]
fn symbols_mean_what_tonal_says_or_the_difference_is_known() {
    let mut agreed = 0;
    let mut differing = BTreeSet::new();
    for row in rows(include_str!("tables/chord_symbols_tonal.tsv")) {
        let [symbol, numbers] = row[..] else {
            panic!("{row:?}");
        };
        let tail = ["C", "Eb", "F#"]
            .iter()
            .find_map(|r| symbol.strip_prefix(r))
            .unwrap();
        let same = match parse(symbol) {
            Ok(Some(chord)) => classes(&chord) == set(numbers),
            _ => false,
        };
        match (same, difference(tail)) {
            (true, None) => agreed += 1,
            (false, Some(_)) => {
                differing.insert(tail);
            }
            (true, Some(why)) => panic!("{symbol} agrees by now, though: {why}"),
            (false, None) => panic!("{symbol}: tonal has {numbers}, here {:?}", parse(symbol)),
        }
    }
    assert!(agreed > 500, "{agreed}");
    assert_eq!(differing.len(), 28, "{differing:?}");
}
