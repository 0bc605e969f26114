//! Instruments against what others publish. Every value names its source; "from memory" and
//! "common practice, no source" say so.

use chartproof::inside::ground::instrument::{Instrument, RangeVerdict, catalogue};
use chartproof::inside::ground::pitch::Pitch;

fn instrument(key: &str) -> &'static Instrument {
    catalogue()
        .instrument(key)
        .unwrap_or_else(|| panic!("no instrument {key}"))
}

fn p(text: &str) -> Pitch {
    text.parse()
        .unwrap_or_else(|e| panic!("no pitch {text}: {e}"))
}

#[test]
fn transpositions() {
    // Sounding minus written, in semitones.
    let table = [
        // reference library: music21 10.5.1; published: Wikipedia, list of transposing instruments
        ("soprano-saxophone", -2),
        ("alto-saxophone", -9),
        ("tenor-saxophone", -14),
        ("baritone-saxophone", -21),
        ("clarinet", -2),
        ("bass-clarinet", -14),
        ("english-horn", -7),
        ("french-horn", -7),
        ("trumpet", -2),
        ("piccolo", 12),
        ("double-bass", -12),
        // published: Wikipedia, list of transposing instruments
        ("flugelhorn", -2),
        ("cornet", -2),
        ("alto-flute", -5),
        ("euphonium-treble-clef", -14),
        ("guitar", -12),
    ];
    for (key, semitones) in table {
        assert_eq!(instrument(key).transposition.chromatic, semitones, "{key}");
    }
}

#[test]
fn letters_of_transpositions() {
    // published: MusicXML 4.0, transpose: spelling moves by letters as well as semitones.
    for (key, written, sounding) in [
        ("alto-saxophone", "C5", "Eb4"),
        ("tenor-saxophone", "C5", "Bb3"),
        ("baritone-saxophone", "A3", "C2"),
        ("french-horn", "C5", "F4"),
        ("trumpet", "F#3", "E3"),
        ("clarinet-in-a", "C5", "A4"),
        ("alto-flute", "C5", "G4"),
        ("piccolo", "D4", "D5"),
    ] {
        let found = p(written).transposed(instrument(key).transposition);
        assert_eq!(found, p(sounding), "{key}");
    }
}

#[test]
fn written_lows() {
    // reference library: music21 10.5.1; published: a textbook's range appendix and
    // orchestralibrary.com
    for (key, low) in [
        ("soprano-saxophone", "Bb3"),
        ("alto-saxophone", "Bb3"),
        ("tenor-saxophone", "Bb3"),
        ("trumpet", "F#3"),
        ("flute", "C4"),
        ("piccolo", "D4"),
        ("oboe", "Bb3"),
        ("english-horn", "B3"),
        ("clarinet", "E3"),
        ("bass-clarinet", "Eb3"),
        ("bassoon", "Bb1"),
        ("trombone", "E2"),
        ("tuba", "D1"),
    ] {
        assert_eq!(instrument(key).range.professional.0, p(low), "{key}");
    }
}

#[test]
fn the_baritone_saxophone_has_a_low_a() {
    // common practice, no source
    let bari = instrument("baritone-saxophone");
    assert_eq!(
        bari.judge_range(p("A3").midi(), None),
        RangeVerdict::Professional
    );
    assert_eq!(
        bari.judge_range(p("Ab3").midi(), None),
        RangeVerdict::Impossible { limit: p("A3") }
    );
}

#[test]
fn saxophone_tops() {
    // published: Wikipedia, Alto saxophone: F6, F#6 with its key. orchestralibrary.com has G6, which
    // is refused here.
    for key in [
        "soprano-saxophone",
        "alto-saxophone",
        "tenor-saxophone",
        "baritone-saxophone",
    ] {
        let sax = instrument(key);
        assert_eq!(
            sax.judge_range(p("F6").midi(), None),
            RangeVerdict::Professional,
            "{key}"
        );
        assert_eq!(
            sax.judge_range(p("F#6").midi(), None),
            RangeVerdict::Professional,
            "{key}"
        );
        assert_eq!(
            sax.judge_range(p("G6").midi(), None),
            RangeVerdict::Impossible { limit: p("F#6") },
            "{key}"
        );
    }
}

#[test]
fn trumpets() {
    let trumpet = instrument("trumpet");
    // published: a textbook's range appendix
    assert_eq!(trumpet.range.professional, (p("F#3"), p("C6")));
    // common practice, no source
    assert_eq!(trumpet.range.lead, Some((p("F#3"), p("G6"))));
    assert_eq!(
        trumpet.judge_range(p("G6").midi(), Some(1)),
        RangeVerdict::Professional
    );
    assert_eq!(
        trumpet.judge_range(p("D6").midi(), Some(3)),
        RangeVerdict::Stretched { limit: p("C6") }
    );
    // published: the US Army Field Band's grading page: a lead of middle grades goes to C6 or D6
    assert_ne!(
        trumpet.judge_range(p("D6").midi(), Some(1)),
        RangeVerdict::Stretched { limit: p("C6") }
    );
}

#[test]
fn trombones() {
    // published: Wikipedia, Trombone and Bass trombone
    let tenor = instrument("trombone");
    assert_eq!(tenor.range.professional, (p("E2"), p("Bb4")));
    for gap in ["B1", "C2", "D2", "Eb2"] {
        assert_eq!(
            tenor.judge_range(p(gap).midi(), None),
            RangeVerdict::Extension {
                name: "F attachment",
                limit: p("E2")
            },
            "{gap}"
        );
    }
    let bass = instrument("bass-trombone");
    assert_eq!(bass.range.professional.1, p("G4"));
    assert_eq!(bass.range.possible.0, p("E1"));
    assert_eq!(
        bass.judge_range(p("F1").midi(), None),
        RangeVerdict::Stretched { limit: p("Bb1") }
    );
    assert_eq!(
        bass.judge_range(p("Eb1").midi(), None),
        RangeVerdict::Impossible { limit: p("E1") }
    );
    // published: orchestralibrary.com has F5 as the top
    assert_eq!(
        tenor.judge_range(p("F5").midi(), None),
        RangeVerdict::Stretched { limit: p("Bb4") }
    );
    assert_eq!(
        tenor.judge_range(p("F#5").midi(), None),
        RangeVerdict::Impossible { limit: p("F5") }
    );
}

#[test]
fn horn_vibraphone_piano() {
    // published: a textbook's range appendix and orchestralibrary.com
    assert_eq!(
        instrument("french-horn").range.professional,
        (p("F#2"), p("C6"))
    );
    // published: trpercussion.com
    assert_eq!(
        instrument("vibraphone").range.professional,
        (p("F3"), p("F6"))
    );
    // reference library: music21 10.5.1 for the low end
    assert_eq!(instrument("piano").range.professional, (p("A0"), p("C8")));
}

#[test]
fn choir() {
    // published: a choral textbook's cards, a professional choir's guide for composers, Wikipedia;
    // they differ by up to a third, which is the tolerance.
    for (key, low, high) in [
        ("soprano-voice", "C4", "A5"),
        ("alto-voice", "G3", "D5"),
        ("tenor-voice", "C3", "G4"),
        ("bass-voice", "E2", "C4"),
    ] {
        let (l, h) = instrument(key).range.professional;
        assert!((l.midi() - p(low).midi()).abs() <= 4, "{key} low {l}");
        assert!((h.midi() - p(high).midi()).abs() <= 4, "{key} high {h}");
    }
}

/// Where the table and the catalogue differ on purpose: class, what differs, why.
const EXCEPTIONS: [(&str, &str, &str); 4] = [
    (
        "BaritoneSaxophone",
        "lowest",
        "the low A key (common practice, no source)",
    ),
    (
        "Horn",
        "lowest",
        "published: a textbook's range appendix and orchestralibrary.com start at F#2",
    ),
    (
        "Guitar",
        "both",
        "the library keeps sounding pitch and no transposition",
    ),
    (
        "ElectricBass",
        "both",
        "the library keeps sounding pitch and no transposition",
    ),
];

/// Names that a source gives to another instrument than the program does, with ours and the reason.
const OTHER_NAMES: [(&str, &str, &str); 9] = [
    (
        "clarino",
        "natural-trumpet",
        "the trumpet of its time; common practice, no source",
    ),
    (
        "batterie",
        "drums",
        "the drum set of a band; common practice, no source",
    ),
    ("batteria", "drums", "the same"),
    ("batería", "drums", "the same"),
    ("schlagzeug", "drums", "the same"),
    ("Slagwerk", "drums", "the same"),
    (
        "alto",
        "alto-saxophone",
        "a name that parts share; the other parts decide",
    ),
    ("altos", "alto-saxophone", "the same"),
    ("bass", "double-bass", "the same"),
];

#[test]
fn names_of_parts_that_others_publish() {
    // Sources of tests/tables/part_names.tsv:
    // music21: reference library: music21 10.5.1, its tables of names in five languages; halves of names,
    // translations word for word and words that mean something else too are left out
    // orchestra-library: published: a table of part names in seven languages, open library for orchestras
    // unimarc: published: IFLA/UNIMARC medium of performance, English, Dutch, German
    // orchestra-pt: published: instruments of two Brazilian orchestras, Portuguese
    // daniels: published: daniels-orchestral.com, abbreviations
    // musicsales: published: musicsalesclassical.com, abbreviations
    let rows: Vec<Vec<&str>> = include_str!("tables/part_names.tsv")
        .lines()
        .skip(1)
        .map(|l| l.split('\t').collect())
        .collect();
    assert!(rows.len() > 1000);
    let mut wrong = Vec::new();
    for row in &rows {
        let [language, name, key, source] = row[..] else {
            panic!("{row:?}: expected language, name, instrument, source");
        };
        let other = OTHER_NAMES.iter().find(|(n, ..)| *n == name);
        let wanted = other.map_or(key, |(_, ours, _)| ours);
        let found = catalogue().named(name).map_or("-", |i| i.key.as_str());
        if found != wanted {
            wrong.push(format!(
                "{name} ({language}, {source}): {found}, expected {wanted}"
            ));
        }
    }
    assert!(
        wrong.is_empty(),
        "{} names:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

#[test]
fn the_reference_librarys_table() {
    // reference library: music21 10.5.1, by tests/tables/make_instruments.py
    let keys = [
        ("SopranoSaxophone", "soprano-saxophone"),
        ("AltoSaxophone", "alto-saxophone"),
        ("TenorSaxophone", "tenor-saxophone"),
        ("BaritoneSaxophone", "baritone-saxophone"),
        ("Piccolo", "piccolo"),
        ("Flute", "flute"),
        ("Clarinet", "clarinet"),
        ("BassClarinet", "bass-clarinet"),
        ("Oboe", "oboe"),
        ("EnglishHorn", "english-horn"),
        ("Bassoon", "bassoon"),
        ("Trumpet", "trumpet"),
        ("Horn", "french-horn"),
        ("Trombone", "trombone"),
        ("BassTrombone", "bass-trombone"),
        ("Tuba", "tuba"),
        ("Guitar", "guitar"),
        ("Contrabass", "double-bass"),
        ("ElectricBass", "electric-bass"),
        ("Piano", "piano"),
        ("Vibraphone", "vibraphone"),
        ("Soprano", "soprano-voice"),
        ("Alto", "alto-voice"),
        ("Tenor", "tenor-voice"),
        ("Baritone", "baritone-voice"),
        ("Bass", "bass-voice"),
    ];
    let rows: Vec<Vec<&str>> = include_str!("tables/instruments_music21.tsv")
        .lines()
        .skip(1)
        .map(|l| l.split('\t').collect())
        .collect();
    assert_eq!(rows.len(), keys.len());
    for (row, (class, key)) in rows.iter().zip(keys) {
        assert_eq!(row[0], class);
        let ours = instrument(key);
        let differs = |what: &str| {
            EXCEPTIONS
                .iter()
                .any(|(c, w, _)| *c == class && (*w == what || *w == "both"))
        };
        let semitones: i16 = row[1].parse().unwrap();
        let same = ours.transposition.chromatic == semitones;
        assert_eq!(same, !differs("transposition"), "{class} transposition");
        if row[2] != "-" {
            let same = ours.range.professional.0 == p(row[2]);
            assert_eq!(same, !differs("lowest"), "{class} lowest {}", row[2]);
        }
        // An exception of octaves is one: the sounding low is the same.
        if differs("both") {
            let sounding = ours.range.professional.0.transposed(ours.transposition);
            assert_eq!(sounding, p(row[2]), "{class} sounding low");
        }
    }
}

#[test]
fn school_grades() {
    let top = |key: &str, grade, seat| instrument(key).graded(grade, seat).1;
    // published: the US Army Field Band's grading page: easy charts take the trumpet to G5 and the
    // trombone to D4 (octave inferred), a lead of middle grades to C6 or D6, and the bass trombone
    // down to the pedal Bb1.
    assert_eq!(top("trumpet", 2, Some(2)), p("G5"));
    assert_eq!(top("trombone", 1, None), p("D4"));
    assert_eq!(top("trumpet", 3, Some(1)), p("C6"));
    assert_eq!(top("trumpet", 4, Some(1)), p("D6"));
    assert_eq!(instrument("bass-trombone").graded(4, None).0, p("Bb1"));
    // published: a band publisher's grade table, octaves inferred: the clarinet's grade 1 stays
    // under the break.
    assert_eq!(top("clarinet", 1, None), p("Bb4"));
    for i in &catalogue().instruments {
        for grade in 1..=6 {
            let (low, high) = i.graded(grade, Some(2));
            assert!(low.midi() < high.midi(), "{} {grade}", i.key);
        }
        assert_eq!(i.graded(6, Some(2)), i.range.professional, "{}", i.key);
    }
}

#[test]
fn awkward_registers() {
    use chartproof::inside::ground::instrument::RegisterKind::{Break, Missing, NoSoftStart};
    let has = |key: &str, kind, low, high| {
        instrument(key)
            .registers
            .iter()
            .any(|r| r.kind == kind && r.range == (p(low), p(high)) && !r.source.is_empty())
    };
    // published: an open orchestration course and an arranging tutorial: soprano and alto cannot
    // start softly from Bb3 to C#4, the tenor to D4; the baritone can.
    assert!(has("alto-saxophone", NoSoftStart, "Bb3", "C#4"));
    assert!(has("soprano-saxophone", NoSoftStart, "Bb3", "C#4"));
    assert!(has("tenor-saxophone", NoSoftStart, "Bb3", "D4"));
    assert!(!has("baritone-saxophone", NoSoftStart, "Bb3", "C#4"));
    // published: a band publisher's grade table and an orchestration text
    assert!(has("clarinet", Break, "Bb4", "B4"));
    // published: Wikipedia, Trombone: not there without an F attachment
    assert!(has("trombone", Missing, "B1", "Eb2"));
}
