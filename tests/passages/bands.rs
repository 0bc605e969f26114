//! Who plays a passage: sections, and the techniques that are written for them. Ranges are those of
//! `ensembles::bands`; seating: common practice, no source.

use super::voicing::Technique::{
    self, Close, Cluster, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop23, Drop24, FiveNote,
    Fourths, Octaves, Pad, Spread, ThreePart, Tutti, TuttiOpen, TwoPart, Unison,
};
use crate::ensembles::bands::{
    ALTO, ALTO_SAX, BARITONE_SAX, BASS, BASS_TROMBONE, CLARINET, Instrument, PIANO, SOPRANO, TENOR,
    TENOR_SAX, TROMBONE, TRUMPET,
};

/// A part: its name, its instrument in words, and its ranges.
pub type Player = (&'static str, &'static str, &'static Instrument);

/// Who plays a phrase (indices of players, from the top voice), and how.
#[derive(Debug)]
pub enum Recipe {
    Block(&'static [usize], &'static [Technique]),
    /// Figures of some over held chords of others.
    OverPad(&'static [usize], &'static [Technique], &'static [usize]),
    /// Some, and then others.
    Trade(
        &'static [usize],
        &'static [Technique],
        &'static [usize],
        &'static [Technique],
    ),
}

#[derive(Debug)]
pub struct Band {
    pub name: &'static str,
    /// The section that a grid may state.
    pub section: Option<&'static str>,
    pub players: &'static [Player],
    pub recipes: &'static [Recipe],
    pub low_horns: bool,
    /// Two hands of one player.
    pub chordal: bool,
}

use Recipe::{Block, OverPad, Trade};

const A1: Player = ("alto 1", "alto saxophone", &ALTO_SAX);
const A2: Player = ("alto 2", "alto saxophone", &ALTO_SAX);
const T1: Player = ("tenor 1", "tenor saxophone", &TENOR_SAX);
const T2: Player = ("tenor 2", "tenor saxophone", &TENOR_SAX);
const B: Player = ("baritone", "baritone saxophone", &BARITONE_SAX);
const CL: Player = ("clarinet", "clarinet", &CLARINET);
const TP1: Player = ("trumpet 1", "trumpet", &TRUMPET);
const TP2: Player = ("trumpet 2", "trumpet", &TRUMPET);
const TP3: Player = ("trumpet 3", "trumpet", &TRUMPET);
const TP4: Player = ("trumpet 4", "trumpet", &TRUMPET);
const TB1: Player = ("trombone 1", "trombone", &TROMBONE);
const TB2: Player = ("trombone 2", "trombone", &TROMBONE);
const TB3: Player = ("trombone 3", "trombone", &TROMBONE);
const TB4: Player = ("trombone 4", "bass trombone", &BASS_TROMBONE);

const ONE: &[usize] = &[0];
const TWO: &[usize] = &[0, 1];
const THREE: &[usize] = &[0, 1, 2];
const FOUR: &[usize] = &[0, 1, 2, 3];
const FIVE: &[usize] = &[0, 1, 2, 3, 4];
const EIGHT: &[usize] = &[0, 1, 2, 3, 4, 5, 6, 7];
const LOWER: &[usize] = &[4, 5, 6, 7];
const BELOW: &[usize] = &[5, 6, 7, 8];

const fn band(
    name: &'static str,
    section: Option<&'static str>,
    players: &'static [Player],
    recipes: &'static [Recipe],
) -> Band {
    Band {
        name,
        section,
        players,
        recipes,
        low_horns: false,
        chordal: false,
    }
}

const fn low(
    name: &'static str,
    section: Option<&'static str>,
    players: &'static [Player],
    recipes: &'static [Recipe],
) -> Band {
    Band {
        name,
        section,
        players,
        recipes,
        low_horns: true,
        chordal: false,
    }
}

pub static BANDS: [Band; 15] = [
    band(
        "five saxes",
        Some("saxes"),
        &[A1, A2, T1, T2, B],
        &[Block(
            FIVE,
            &[
                DoubledLead,
                Drop2Doubled,
                DoubledLead,
                Drop2Doubled,
                Spread,
                FiveNote,
                Fourths,
                Octaves,
                Cluster,
            ],
        )],
    ),
    band(
        "four saxes",
        Some("saxes"),
        &[A1, A2, T1, T2],
        &[Block(
            FOUR,
            &[
                Close, Drop2, Close, Drop2, Drop3, Drop24, Drop23, Fourths, Cluster, Unison,
            ],
        )],
    ),
    band(
        "trumpets",
        Some("trumpets"),
        &[TP1, TP2, TP3, TP4],
        &[Block(
            FOUR,
            &[Close, Close, Close, Drop2, Unison, Fourths, Cluster],
        )],
    ),
    low(
        "trombones",
        Some("trombones"),
        &[TB1, TB2, TB3, TB4],
        &[Block(
            FOUR,
            &[
                Drop2, Drop2, Drop3, Drop24, Spread, Pad, Pad, Unison, Fourths, Close,
            ],
        )],
    ),
    low(
        "SATB",
        Some("voices"),
        &[
            ("soprano", "soprano voice", &SOPRANO),
            ("alto", "alto voice", &ALTO),
            ("tenor", "tenor voice", &TENOR),
            ("bass", "bass voice", &BASS),
        ],
        &[Block(FOUR, &[Drop2, Drop2, Spread])],
    ),
    Band {
        name: "locked hands",
        section: Some("piano"),
        players: &[("piano", "piano", &PIANO)],
        recipes: &[Block(ONE, &[DoubledLead, DoubledLead, Drop2, Drop2Doubled])],
        low_horns: false,
        chordal: true,
    },
    band(
        "clarinet and saxes",
        Some("saxes"),
        &[CL, A1, A2, T1, T2],
        &[Block(FIVE, &[DoubledLead, Drop2Doubled])],
    ),
    band(
        "small band",
        None,
        &[
            ("trumpet", "trumpet", &TRUMPET),
            ("alto", "alto saxophone", &ALTO_SAX),
            ("tenor", "tenor saxophone", &TENOR_SAX),
            ("trombone", "trombone", &TROMBONE),
        ],
        &[Block(FOUR, &[Close, Drop2, Drop2, Spread, Drop3, Unison])],
    ),
    band(
        "three horns",
        None,
        &[
            ("trumpet", "trumpet", &TRUMPET),
            ("tenor", "tenor saxophone", &TENOR_SAX),
            ("trombone", "trombone", &TROMBONE),
        ],
        &[Block(THREE, &[ThreePart, ThreePart, ThreePart, Octaves])],
    ),
    band(
        "two horns",
        None,
        &[
            ("trumpet", "trumpet", &TRUMPET),
            ("tenor", "tenor saxophone", &TENOR_SAX),
        ],
        &[Block(TWO, &[TwoPart])],
    ),
    band(
        "brass",
        None,
        &[TP1, TP2, TP3, TP4, TB1, TB2, TB3, TB4],
        &[
            Block(EIGHT, &[Tutti, TuttiOpen]),
            OverPad(FOUR, &[Close, Close, Drop2], LOWER),
            Trade(FOUR, &[Close], LOWER, &[Drop2, Drop3]),
        ],
    ),
    band(
        "saxes over trombones",
        None,
        &[A1, A2, T1, T2, B, TB1, TB2, TB3, TB4],
        &[
            OverPad(FIVE, &[DoubledLead, Drop2Doubled], BELOW),
            Trade(FIVE, &[DoubledLead, Drop2Doubled], BELOW, &[Drop2]),
        ],
    ),
    low(
        "trombone pads",
        Some("trombones"),
        &[TB1, TB2, TB3, TB4],
        &[Block(FOUR, &[Pad, Pad, Spread])],
    ),
    band(
        "five saxes again",
        Some("saxes"),
        &[A1, A2, T1, T2, B],
        &[Block(FIVE, &[DoubledLead, Drop2Doubled])],
    ),
    band(
        "four saxes again",
        Some("saxes"),
        &[A1, A2, T1, T2],
        &[Block(FOUR, &[Close, Drop2])],
    ),
];

impl Band {
    /// Comfortable sounding ranges of some players' voices; a lead goes higher.
    pub fn ranges(&self, seats: &[usize], technique: Technique) -> Vec<(i16, i16)> {
        if self.chordal {
            let five = matches!(technique, DoubledLead | Drop2Doubled);
            return vec![(43, 86); if five { 5 } else { 4 }];
        }
        let range = |seat: &usize| {
            let player = self.players[*seat];
            // Held chords stay where a lead can stay long.
            let leads = (*seat == 0 || player.0.ends_with(" 1")) && technique != Pad;
            (
                player.2.range.0,
                player.2.range.1 + if leads { player.2.lead_above } else { 0 },
            )
        };
        seats.iter().map(range).collect()
    }
    /// The part that plays a voice of some players.
    pub fn part(&self, seats: &[usize], voice: usize) -> &'static str {
        self.players[if self.chordal { 0 } else { seats[voice] }].0
    }
}
