//! Instruments and ensembles. Transpositions and ranges: published tables (Wikipedia list of transposing
//! instruments, textbook appendices); comfortable ranges and seating: common practice, no source.

use super::voicing::Technique::{
    self, Close, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop24, Spread, ThreePart,
};

/// A kind of player.
#[derive(Debug, PartialEq, Eq)]
pub struct Instrument {
    /// How engravers name its parts; `#` is the seat.
    pub names: &'static [&'static str],
    pub sound: &'static str,
    /// Added to written pitch: letters, semitones, octaves.
    pub transpose: (i16, i16, i16),
    pub clef: (&'static str, i16, i16),
    /// Comfortable, sounding.
    pub range: (i16, i16),
    /// Semitones above that a lead seat goes.
    pub lead_above: i16,
    pub sung: bool,
}

impl Instrument {
    /// Fifths that its key signature stands above the concert key.
    pub fn key_above(&self) -> i16 {
        match self.transpose.1 {
            -2 => 2,
            -9 => 3,
            -7 => 1,
            _ => 0,
        }
    }
    pub fn transposes(&self) -> bool {
        self.transpose.1 != 0
    }
    /// Letters and semitones from sounding to written pitch.
    pub fn to_written(&self) -> (i16, i16) {
        let (letters, semitones, octaves) = self.transpose;
        (-letters - 7 * octaves, -semitones - 12 * octaves)
    }
}

const fn wind(
    names: &'static [&'static str],
    sound: &'static str,
    transpose: (i16, i16, i16),
    range: (i16, i16),
    lead_above: i16,
) -> Instrument {
    Instrument {
        names,
        sound,
        transpose,
        clef: ("G", 2, 0),
        range,
        lead_above,
        sung: false,
    }
}

const fn low(
    names: &'static [&'static str],
    sound: &'static str,
    transpose: (i16, i16, i16),
    range: (i16, i16),
    lead_above: i16,
) -> Instrument {
    Instrument {
        names,
        sound,
        transpose,
        clef: ("F", 4, 0),
        range,
        lead_above,
        sung: false,
    }
}

const fn voice(
    names: &'static [&'static str],
    sound: &'static str,
    clef: (&'static str, i16, i16),
    range: (i16, i16),
) -> Instrument {
    Instrument {
        names,
        sound,
        transpose: (0, 0, 0),
        clef,
        range,
        lead_above: 0,
        sung: true,
    }
}

pub static SOPRANO_SAX: Instrument = wind(
    &["Soprano Sax", "Soprano Saxophone"],
    "wind.reed.saxophone.soprano",
    (-1, -2, 0),
    (60, 82),
    0,
);
pub static ALTO_SAX: Instrument = wind(
    &["Alto Sax#", "Alto Saxophone#", "Alto#"],
    "wind.reed.saxophone.alto",
    (-5, -9, 0),
    (53, 75),
    2,
);
pub static TENOR_SAX: Instrument = wind(
    &["Tenor Sax#", "Tenor Saxophone#", "Tenor#"],
    "wind.reed.saxophone.tenor",
    (-1, -2, -1),
    (46, 70),
    0,
);
pub static BARITONE_SAX: Instrument = wind(
    &["Baritone Sax", "Baritone Saxophone", "Bari Sax"],
    "wind.reed.saxophone.baritone",
    (-5, -9, -1),
    (37, 62),
    0,
);
pub static FLUTE: Instrument = wind(&["Flute#"], "wind.flutes.flute", (0, 0, 0), (62, 93), 0);
pub static OBOE: Instrument = wind(&["Oboe#"], "wind.reed.oboe", (0, 0, 0), (62, 86), 0);
pub static CLARINET: Instrument = wind(
    &["Clarinet#", "Clarinet in Bb#", "Bb Clarinet#"],
    "wind.reed.clarinet.bflat",
    (-1, -2, 0),
    (50, 82),
    0,
);
pub static ENGLISH_HORN: Instrument = wind(
    &["English Horn", "Cor Anglais"],
    "wind.reed.english-horn",
    (-4, -7, 0),
    (55, 77),
    0,
);
pub static BASSOON: Instrument = low(&["Bassoon#"], "wind.reed.bassoon", (0, 0, 0), (36, 67), 0);
pub static TRUMPET: Instrument = wind(
    &["Trumpet#", "Trumpet in Bb#", "Bb Trumpet#"],
    "brass.trumpet.bflat",
    (-1, -2, 0),
    (53, 79),
    3,
);
pub static HORN: Instrument = wind(
    &["Horn#", "Horn in F#", "French Horn#"],
    "brass.french-horn",
    (-4, -7, 0),
    (41, 72),
    3,
);
pub static TROMBONE: Instrument = low(
    &["Trombone#"],
    "brass.trombone.tenor",
    (0, 0, 0),
    (41, 65),
    5,
);
pub static BASS_TROMBONE: Instrument = low(
    &["Bass Trombone", "Trombone#", "Bass Trombone"],
    "brass.trombone.bass",
    (0, 0, 0),
    (36, 62),
    0,
);
pub static DOUBLE_BASS: Instrument = low(
    &["Double Bass", "Bass", "Acoustic Bass"],
    "pluck.bass.acoustic",
    (0, 0, -1),
    (28, 50),
    0,
);
pub static PIANO: Instrument = low(&["Piano"], "keyboard.piano", (0, 0, 0), (36, 84), 0);
pub static SOPRANO: Instrument = voice(&["Soprano"], "voice.soprano", ("G", 2, 0), (62, 79));
pub static ALTO: Instrument = voice(&["Alto"], "voice.alto", ("G", 2, 0), (55, 71));
pub static TENOR: Instrument = voice(&["Tenor"], "voice.tenor", ("G", 2, -1), (50, 67));
pub static BASS: Instrument = voice(&["Bass"], "voice.bass", ("F", 4, 0), (42, 60));

/// What a phrase is made of: who plays (indices of the ensemble's players, from the top voice), and how.
#[derive(Debug)]
pub enum Recipe {
    Block(&'static [usize], &'static [Technique]),
    Unison(&'static [usize]),
    Octaves(&'static [usize]),
    /// One player calls, the others answer in block.
    Call(usize, &'static [usize], &'static [Technique]),
    /// One player's own line over held voicings of the others.
    Solo(usize, &'static [usize]),
    /// One group in block, then the other.
    Trade(
        &'static [usize],
        &'static [Technique],
        &'static [usize],
        &'static [Technique],
    ),
}

use Recipe::{Block, Call, Octaves, Solo, Trade, Unison};

#[derive(Debug)]
pub struct Ensemble {
    pub name: &'static str,
    pub players: &'static [&'static Instrument],
    pub low_horns: bool,
    /// Percent of charts with piano and bass (piano alone where people sing).
    pub rhythm: usize,
    /// Phrases of the first and of the second half.
    pub halves: [&'static [Recipe]; 2],
    /// Held chords, in four, slower.
    pub chorale: bool,
}

const FIVE: &[Technique] = &[DoubledLead, Drop2Doubled];
const FOUR: &[Technique] = &[Close, Drop2, Drop3, Drop24];
const HIGH: &[Technique] = &[Close, Drop2];
const BRASS8: &[Technique] = &[
    Technique::TuttiBelow,
    Technique::TuttiOpen,
    Technique::TuttiComplete,
];

const fn plain(
    name: &'static str,
    players: &'static [&'static Instrument],
    rhythm: usize,
    recipes: &'static [Recipe],
) -> Ensemble {
    Ensemble {
        name,
        players,
        low_horns: false,
        rhythm,
        halves: [recipes, recipes],
        chorale: false,
    }
}

const L5: &[Recipe] = &[
    Block(&[0, 1, 2, 3, 4], FIVE),
    Block(&[0, 1, 2, 3, 4], FIVE),
    Octaves(&[0, 1, 2, 3, 4]),
    Call(0, &[0, 1, 2, 3, 4], FIVE),
    Block(&[0, 1, 2, 3, 4], &[Spread]),
    Solo(0, &[1, 2, 3, 4]),
];
const L4: &[Recipe] = &[
    Block(&[0, 1, 2, 3], FOUR),
    Block(&[0, 1, 2, 3], FOUR),
    Octaves(&[0, 1, 2, 3]),
    Call(0, &[0, 1, 2, 3], FOUR),
    Block(&[0, 1, 2, 3], &[Spread]),
    Unison(&[0, 1, 2, 3]),
];
const W4: &[Recipe] = &[
    Block(&[0, 1, 2, 3], FOUR),
    Block(&[0, 1, 2, 3], HIGH),
    Octaves(&[0, 1, 2, 3]),
    Unison(&[0, 1, 2, 3]),
    Call(0, &[0, 1, 2, 3], HIGH),
];

pub static ENSEMBLES: [Ensemble; 17] = [
    plain(
        "clarinet-AATT",
        &[&CLARINET, &ALTO_SAX, &ALTO_SAX, &TENOR_SAX, &TENOR_SAX],
        50,
        L5,
    ),
    plain(
        "soprano-ATTB",
        &[
            &SOPRANO_SAX,
            &ALTO_SAX,
            &TENOR_SAX,
            &TENOR_SAX,
            &BARITONE_SAX,
        ],
        50,
        L5,
    ),
    plain(
        "flute-AATT",
        &[&FLUTE, &ALTO_SAX, &ALTO_SAX, &TENOR_SAX, &TENOR_SAX],
        50,
        L5,
    ),
    plain(
        "2-flutes-2-clarinets",
        &[&FLUTE, &FLUTE, &CLARINET, &CLARINET],
        0,
        W4,
    ),
    plain(
        "small-band",
        &[&TRUMPET, &ALTO_SAX, &TENOR_SAX, &TROMBONE],
        100,
        L4,
    ),
    plain(
        "2-trumpets-2-trombones",
        &[&TRUMPET, &TRUMPET, &TROMBONE, &TROMBONE],
        40,
        L4,
    ),
    plain(
        "trumpet-tenor-trombone",
        &[&TRUMPET, &TENOR_SAX, &TROMBONE],
        70,
        &[
            Block(&[0, 1, 2], &[ThreePart]),
            Block(&[0, 1, 2], &[ThreePart]),
            Octaves(&[0, 1, 2]),
            Call(0, &[0, 1, 2], &[ThreePart]),
        ],
    ),
    Ensemble {
        name: "brass-tutti",
        players: &[
            &TRUMPET,
            &TRUMPET,
            &TRUMPET,
            &TRUMPET,
            &TROMBONE,
            &TROMBONE,
            &TROMBONE,
            &BASS_TROMBONE,
        ],
        low_horns: false,
        rhythm: 40,
        halves: [
            &[
                Trade(&[0, 1, 2, 3], &[Close], &[4, 5, 6, 7], &[Close, Drop2]),
                Block(&[0, 1, 2, 3, 4, 5, 6, 7], BRASS8),
                Solo(0, &[4, 5, 6, 7]),
            ],
            &[Block(&[0, 1, 2, 3, 4, 5, 6, 7], BRASS8)],
        ],
        chorale: false,
    },
    Ensemble {
        name: "full-tutti",
        players: &[
            &TRUMPET,
            &TRUMPET,
            &TRUMPET,
            &TRUMPET,
            &TROMBONE,
            &TROMBONE,
            &TROMBONE,
            &BASS_TROMBONE,
            &ALTO_SAX,
            &ALTO_SAX,
            &TENOR_SAX,
            &TENOR_SAX,
            &BARITONE_SAX,
        ],
        low_horns: false,
        rhythm: 60,
        halves: [
            &[
                Block(&[8, 9, 10, 11, 12], FIVE),
                Trade(&[8, 9, 10, 11, 12], FIVE, &[0, 1, 2, 3], &[Close]),
                Unison(&[8, 9, 10, 11]),
            ],
            &[
                Block(&[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12], BRASS8),
                Trade(&[0, 1, 2, 3], &[Close], &[8, 9, 10, 11, 12], FIVE),
            ],
        ],
        chorale: false,
    },
    Ensemble {
        name: "alto-over-trombones",
        players: &[&ALTO_SAX, &TROMBONE, &TROMBONE, &TROMBONE, &BASS_TROMBONE],
        low_horns: true,
        rhythm: 60,
        halves: [
            &[Solo(0, &[1, 2, 3, 4])],
            &[
                Solo(0, &[1, 2, 3, 4]),
                Block(&[1, 2, 3, 4], &[Drop2, Spread]),
            ],
        ],
        chorale: false,
    },
    Ensemble {
        name: "four-horns",
        players: &[&HORN, &HORN, &HORN, &HORN],
        low_horns: true,
        rhythm: 0,
        halves: [
            &[Block(&[0, 2, 1, 3], &[Spread, Drop2])],
            &[
                Block(&[0, 2, 1, 3], &[Spread, Drop2]),
                Unison(&[0, 2, 1, 3]),
            ],
        ],
        chorale: true,
    },
    plain(
        "mixed-woodwinds",
        &[&FLUTE, &OBOE, &CLARINET, &ENGLISH_HORN, &BASSOON],
        0,
        L5,
    ),
    Ensemble {
        name: "SATB-piano",
        players: &[&SOPRANO, &ALTO, &TENOR, &BASS],
        low_horns: true,
        rhythm: 100,
        halves: [
            &[Block(&[0, 1, 2, 3], &[Drop2])],
            &[Block(&[0, 1, 2, 3], &[Drop2]), Octaves(&[0, 1, 2, 3])],
        ],
        chorale: false,
    },
    plain(
        "saxes",
        &[&ALTO_SAX, &ALTO_SAX, &TENOR_SAX, &TENOR_SAX, &BARITONE_SAX],
        50,
        &[
            Block(&[0, 1, 2, 3, 4], FIVE),
            Block(&[0, 1, 2, 3, 4], FIVE),
            Block(&[0, 1, 2, 3, 4], &[Spread]),
            Octaves(&[0, 1, 2, 3, 4]),
            Call(2, &[0, 1, 2, 3, 4], FIVE),
            Solo(2, &[0, 1, 3, 4]),
        ],
    ),
    plain(
        "trumpets",
        &[&TRUMPET, &TRUMPET, &TRUMPET, &TRUMPET],
        40,
        W4,
    ),
    Ensemble {
        name: "trombones",
        players: &[&TROMBONE, &TROMBONE, &TROMBONE, &BASS_TROMBONE],
        low_horns: true,
        rhythm: 40,
        halves: [
            &[
                Block(&[0, 1, 2, 3], &[Drop2, Spread]),
                Block(&[0, 1, 2, 3], &[Close, Drop2]),
                Unison(&[0, 1, 2, 3]),
            ],
            &[Block(&[0, 1, 2, 3], &[Drop2, Close]), Solo(0, &[1, 2, 3])],
        ],
        chorale: false,
    },
    Ensemble {
        name: "clarinet-joins-AATTB",
        players: &[
            &CLARINET,
            &ALTO_SAX,
            &ALTO_SAX,
            &TENOR_SAX,
            &TENOR_SAX,
            &BARITONE_SAX,
        ],
        low_horns: false,
        rhythm: 50,
        halves: [
            &[
                Block(&[1, 2, 3, 4, 5], FIVE),
                Octaves(&[1, 2, 3, 4, 5]),
                Block(&[1, 2, 3, 4, 5], &[Spread]),
            ],
            &[
                Block(&[0, 1, 2, 3, 4], FIVE),
                Call(0, &[0, 1, 2, 3, 4], FIVE),
            ],
        ],
        chorale: false,
    },
];
