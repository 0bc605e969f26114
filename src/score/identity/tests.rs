use super::*;
use crate::ground::instrument::catalogue;
use crate::ground::pitch::Transposition;
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::score::{Articulations, Clef, Mark, Note, NoteFlags, Place};

fn mark<T>(value: T) -> Mark<T> {
    Mark::new(Place::default(), value, Span::default())
}

fn part(name: &str) -> Part {
    Part {
        name: name.to_owned(),
        ..Part::default()
    }
}

fn transposing(name: &str, chromatic: i16, diatonic: i16) -> Part {
    Part {
        transpositions: vec![mark(Transposition {
            diatonic,
            chromatic,
        })],
        states_transposition: true,
        ..part(name)
    }
}

fn keys(parts: &[Part]) -> Vec<String> {
    identify_all(catalogue(), parts)
        .iter()
        .map(|i| {
            i.as_ref().map_or("-".to_owned(), |i| match i.seat {
                Some(seat) => format!("{} {seat}", i.instrument.key),
                None => i.instrument.key.clone(),
            })
        })
        .collect()
}

fn keys_of(names: &[&str]) -> Vec<String> {
    keys(&names.iter().map(|n| part(n)).collect::<Vec<_>>())
}

#[test]
fn a_big_band() {
    assert_eq!(
        keys_of(&[
            "Alto Sax 1",
            "Alto Sax 2",
            "Tenor 1",
            "Tenor 2",
            "Bari",
            "Trumpet 1",
            "Trumpet 2",
            "Trombone",
            "Trombone",
            "Trombone 4 (Bass)",
            "Guitar",
            "Piano",
            "Bass",
            "Drums",
        ]),
        [
            "alto-saxophone 1",
            "alto-saxophone 2",
            "tenor-saxophone 1",
            "tenor-saxophone 2",
            "baritone-saxophone",
            "trumpet 1",
            "trumpet 2",
            "trombone 1",
            "trombone 2",
            "bass-trombone 4",
            "guitar",
            "piano",
            "double-bass",
            "drums"
        ]
    );
    assert_eq!(
        keys_of(&["Alto 1", "Alto 2", "Tenor 1", "Tenor 2", "Baritone"]),
        [
            "alto-saxophone 1",
            "alto-saxophone 2",
            "tenor-saxophone 1",
            "tenor-saxophone 2",
            "baritone-saxophone"
        ]
    );
}

#[test]
fn a_choir() {
    let satb = ["soprano-voice", "alto-voice", "tenor-voice", "bass-voice"];
    assert_eq!(keys_of(&["Soprano", "Alto", "Tenor", "Bass"]), satb);
    assert_eq!(keys_of(&["S", "A", "T", "B"]), satb);
    assert_eq!(keys_of(&["Sopran", "Alt", "Tenor", "Bass"]), satb);
    assert_eq!(
        keys_of(&["Soprano 1", "Soprano 2", "Alto", "Piano"]),
        ["soprano-voice 1", "soprano-voice 2", "alto-voice", "piano"]
    );
    assert_eq!(
        keys_of(&["Tenor 1", "Tenor 2", "Bass 1", "Bass 2"]),
        [
            "tenor-voice 1",
            "tenor-voice 2",
            "bass-voice 1",
            "bass-voice 2"
        ]
    );
    assert_eq!(
        keys_of(&["Soprano", "Alto", "Tenor", "Baritone"])[3],
        "baritone-saxophone"
    );
}

#[test]
fn a_choir_beside_a_band() {
    let band = [
        "Alto Sax 1",
        "Alto Sax 2",
        "Tenor Sax",
        "Trumpet 1",
        "Bass Guitar",
    ];
    let names = ["Soprano", "Alto", "Tenor", "Bass"].into_iter().chain(band);
    assert_eq!(
        keys_of(&names.collect::<Vec<_>>())[..5],
        [
            "soprano-voice",
            "alto-voice",
            "tenor-voice",
            "bass-voice",
            "alto-saxophone 1"
        ]
    );
    assert_eq!(
        keys_of(&["Tenor I", "Tenor II", "Bariton", "Bass"]),
        [
            "tenor-voice 1",
            "tenor-voice 2",
            "baritone-voice",
            "bass-voice"
        ]
    );
    // Three parts: the baritone's clef tells the choir from the saxes.
    let mut baritone = part("Baritone");
    baritone.clefs.push(mark(Clef {
        sign: 'F',
        line: 4,
        octave: 0,
        staff: 1,
    }));
    assert_eq!(
        keys(&[part("Soprano"), part("Alto"), baritone]),
        ["soprano-voice", "alto-voice", "baritone-voice"]
    );
}

#[test]
fn a_baritone_among_horns() {
    assert_eq!(
        keys_of(&[
            "Alto Sax", "Bari Sax", "Trumpet", "Horn", "Baritone", "Tuba"
        ])[4],
        "euphonium"
    );
    assert_eq!(keys_of(&["Horn", "Baritone", "Tuba"])[1], "euphonium");
    assert_eq!(
        keys_of(&["Alto", "Tenor", "Baritone", "Tuba"])[2],
        "baritone-saxophone"
    );
    // A concert score, where nothing is added.
    let untransposed =
        ["Alto 1", "Alto 2", "Tenor 1", "Tenor 2", "Baritone"].map(|name| transposing(name, 0, 0));
    assert_eq!(keys(&untransposed)[4], "baritone-saxophone");
}

#[test]
fn a_small_band_with_a_bass() {
    assert_eq!(
        keys_of(&["Trumpet", "Alto", "Tenor", "Bass", "Drums"]),
        [
            "trumpet",
            "alto-saxophone",
            "tenor-saxophone",
            "double-bass",
            "drums"
        ]
    );
}

#[test]
fn transposition_and_clef_break_ties() {
    assert_eq!(
        keys(&[
            transposing("Soprano", -2, -1),
            transposing("Alto", -9, -5),
            transposing("Saxophone 3", -14, -8),
            transposing("Sax 4", -21, -12),
            transposing("Baritone", -14, -8),
            transposing("Clarinet", -3, -2),
            transposing("Trumpet", 0, 0),
        ]),
        [
            "soprano-saxophone",
            "alto-saxophone",
            "tenor-saxophone 3",
            "baritone-saxophone 4",
            "euphonium-treble-clef",
            "clarinet-in-a",
            "trumpet-in-c"
        ]
    );
    // In a concert score a trumpet that adds nothing is still a trumpet in Bb.
    assert_eq!(
        keys(&[transposing("Alto Sax", 0, 0), transposing("Trumpet", 0, 0)]),
        ["alto-saxophone", "trumpet"]
    );
    let mut tenor = part("Tenor");
    tenor.clefs.push(mark(Clef {
        sign: 'G',
        line: 2,
        octave: -1,
        staff: 1,
    }));
    assert_eq!(keys(&[part("Alto"), tenor]), ["alto-voice", "tenor-voice"]);
}

#[test]
fn sound_ids_and_names() {
    let with = |name: &str, sound: &str| Part {
        sound: Some(sound.to_owned()),
        ..part(name)
    };
    assert_eq!(
        keys(&[
            with("Melody 2", "wind.reed.saxophone.tenor"),
            with("Trombone 4", "brass.trombone.bass"),
            with("Alto Sax 1", "keyboard.piano"),
            with("Alto", "voice.alto"),
            with("Bass", "wind.reed.saxophone.bass"),
            with("Bass", "pluck.bass.electric"),
            with("Keys", "keyboard.piano.honky-tonk"),
            with("Something", "brass.trombone.alto"),
            with("Something", "metal.bells.church"),
        ]),
        [
            "tenor-saxophone 2",
            "bass-trombone 4",
            "alto-saxophone 1",
            "alto-voice",
            "bass-saxophone",
            "electric-bass",
            "piano",
            "alto-trombone",
            "-"
        ]
    );
    let named = Part {
        instrument_name: Some("Alto Saxophone".to_owned()),
        ..part("Alto 2")
    };
    assert_eq!(
        keys(&[part("Soprano"), part("Bass"), named])[2],
        "alto-saxophone 2"
    );
}

/// A part with words under its notes.
fn sung(name: &str, sound: Option<&str>) -> Part {
    let note = |pitch: &str| Note {
        at: Place::default(),
        onset: Ticks::ZERO,
        duration: Ticks(1),
        written: pitch.parse().unwrap(),
        sounding: pitch.parse().unwrap(),
        staff: 1,
        voice: 1,
        flags: NoteFlags::default(),
        articulations: Articulations::default(),
        span: Span::default(),
    };
    Part {
        notes: ["D4", "E4", "F4", "G4", "A4", "G4", "F4", "E4", "D4", "E4"]
            .map(note)
            .into_iter()
            .collect(),
        lyrics: 10,
        sound: sound.map(str::to_owned),
        ..part(name)
    }
}

#[test]
fn names_that_other_words_surround() {
    // (Basso) says the octave of the key, (a) the player; synonyms are one name.
    for (name, key) in [
        ("Bb (basso) Horn 3", "natural-horn 3"),
        ("(Basso) Horn 3", "french-horn 3"),
        ("B basso Horn 1", "natural-horn 1"),
        ("Bass Guitar (a)", "electric-bass"),
        ("Fretless Bass Guitar (a)", "electric-bass"),
        ("Contrebasson", "contrabassoon"),
        ("Bratsche. Viola", "viola"),
        ("Gesang. Voice", "voice"),
        ("2d Dessus Voice 2", "soprano-voice 2"),
        ("Klavier Piano", "piano"),
        ("Violin I con sordino", "violin 1"),
        ("Flute/Piccolo", "flute"),
        ("Horns in F a 2", "french-horn 2"),
        ("Cor anglais 2", "english-horn 2"),
    ] {
        assert_eq!(keys_of(&[name]), [key], "{name}");
    }
}

#[test]
fn lyrics_make_a_voice() {
    let oboe = Some("wind.reed.oboe");
    let found = keys(&[
        sung("Chant", oboe),
        sung("Gesang Voice", oboe),
        sung("Altos", None),
        sung("The Miller", oboe),
    ]);
    assert_eq!(found, ["voice 1", "voice 2", "alto-voice", "voice 3"]);
    // A few words are those of an analysis; an instrument that is named stays one.
    let mut violin = sung("Violin", None);
    assert_eq!(keys(&[violin.clone(), sung("Alto", None)])[0], "violin");
    violin.lyrics = 1;
    assert_eq!(keys(&[violin]), ["violin"]);
    // A melody over a piano that is called by its sound.
    let melody = Part {
        instrument_name: None,
        ..sung("Oboe", oboe)
    };
    assert_eq!(keys(&[melody, part("Piano")]), ["voice", "piano"]);
}

#[test]
fn altos_and_their_company() {
    let saxes = ["Soprano Sax", "Altos", "Tenor Sax", "Baritone Sax"];
    assert_eq!(keys_of(&saxes)[1], "alto-saxophone");
    // published: music21 10.5.1, names in French: alto is Viola
    let strings = [
        "Violons I",
        "Violons II",
        "Altos",
        "Violoncelles",
        "Contrebasses",
    ];
    assert_eq!(keys_of(&strings)[2], "viola");
    let choir = [
        "Sopranos",
        "Altos",
        "Tenors",
        "Violins 1",
        "Violins 2",
        "Cello",
    ];
    assert_eq!(keys_of(&choir)[1], "alto-voice");
    let sound = Part {
        sound: Some("voice.vocals".to_owned()),
        ..part("Contralto")
    };
    assert_eq!(keys(&[sound, part("Piano")])[0], "alto-voice");
    assert_eq!(keys_of(&["Contralto", "Piano"])[0], "alto-voice");
    assert_eq!(
        keys_of(&["Violin", "Viola", "Cello", "Bass"])[3],
        "double-bass"
    );
}

#[test]
fn old_voices_have_the_names_of_their_books() {
    let old = ["Cantus", "Altus", "Tenor", "Quintus", "Bassus"];
    assert_eq!(
        keys_of(&old),
        [1, 2, 3, 4, 5].map(|n| format!("choirbook-voice {n}"))
    );
    assert_eq!(keys_of(&["Quinto"]), ["choirbook-voice"]);
    assert_eq!(
        keys_of(&["Canto", "Alto", "Tenore", "Basso", "Quinto"])[1],
        "choirbook-voice 1"
    );
    // The clef of a high tenor.
    let mut alto = part("Alto");
    alto.clefs.push(mark(Clef {
        sign: 'G',
        line: 2,
        octave: -1,
        staff: 1,
    }));
    let choir = [part("Soprano"), alto, part("Tenor"), part("Bass")];
    assert_eq!(keys(&choir)[1], "choirbook-voice");
}

#[test]
fn the_evidence_is_kept() {
    let known = [sung("Alto", None), part("Piano")];
    let found = identify_all(catalogue(), &known);
    let evidence = &found[0].as_ref().unwrap().evidence;
    assert_eq!(
        evidence,
        &[Evidence::Name("Alto".to_owned()), Evidence::Lyrics(10)]
    );
    let trumpet = [transposing("Trumpet", 0, 0)];
    let found = identify_all(catalogue(), &trumpet);
    let evidence: Vec<String> = found[0]
        .as_ref()
        .unwrap()
        .evidence
        .iter()
        .map(ToString::to_string)
        .collect();
    assert_eq!(evidence, ["its name \"Trumpet\"", "it sounds as written"]);
}

#[test]
fn seats() {
    assert_eq!(
        keys_of(&["Trumpet", "Trumpet 1", "Trumpet", "Piano"]),
        ["trumpet 2", "trumpet 1", "trumpet 3", "piano"]
    );
    let crowd: Vec<Part> = (0..300).map(|_| part("Trumpet")).collect();
    assert_eq!(keys(&crowd)[299], "trumpet");
}
