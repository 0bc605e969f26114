//! Who plays a passage: sections, and the techniques that are written for them. Ranges are those of
//! `ensembles::bands`; seating: common practice, no source.

use super::voicing::Technique::{
    self, Close, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop23, Drop24, Octaves, Pad, Spread,
    ThreePart, Unison,
};
use crate::ensembles::bands::{
    ALTO, ALTO_SAX, BARITONE_SAX, BASS, BASS_TROMBONE, CLARINET, Instrument, PIANO, SOPRANO, TENOR,
    TENOR_SAX, TROMBONE, TRUMPET,
};

/// A part: its name, its instrument in words, and its ranges.
pub type Player = (&'static str, &'static str, &'static Instrument);

#[derive(Debug)]
pub struct Band {
    pub name: &'static str,
    /// The section that a grid may state.
    pub section: Option<&'static str>,
    pub players: &'static [Player],
    pub techniques: &'static [Technique],
    pub low_horns: bool,
    /// Two hands of one player.
    pub chordal: bool,
}

const A1: Player = ("alto 1", "alto saxophone", &ALTO_SAX);
const A2: Player = ("alto 2", "alto saxophone", &ALTO_SAX);
const T1: Player = ("tenor 1", "tenor saxophone", &TENOR_SAX);
const T2: Player = ("tenor 2", "tenor saxophone", &TENOR_SAX);
const B: Player = ("baritone", "baritone saxophone", &BARITONE_SAX);
const CL: Player = ("clarinet", "clarinet", &CLARINET);
const TPT: [Player; 4] = [
    ("trumpet 1", "trumpet", &TRUMPET),
    ("trumpet 2", "trumpet", &TRUMPET),
    ("trumpet 3", "trumpet", &TRUMPET),
    ("trumpet 4", "trumpet", &TRUMPET),
];
const TBN: [Player; 4] = [
    ("trombone 1", "trombone", &TROMBONE),
    ("trombone 2", "trombone", &TROMBONE),
    ("trombone 3", "trombone", &TROMBONE),
    ("trombone 4", "bass trombone", &BASS_TROMBONE),
];

pub static BANDS: [Band; 9] = [
    Band {
        name: "five saxes",
        section: Some("saxes"),
        players: &[A1, A2, T1, T2, B],
        techniques: &[
            DoubledLead,
            Drop2Doubled,
            DoubledLead,
            Drop2Doubled,
            Spread,
            Octaves,
        ],
        low_horns: false,
        chordal: false,
    },
    Band {
        name: "four saxes",
        section: Some("saxes"),
        players: &[A1, A2, T1, T2],
        techniques: &[Close, Drop2, Close, Drop2, Drop3, Drop24, Drop23, Unison],
        low_horns: false,
        chordal: false,
    },
    Band {
        name: "trumpets",
        section: Some("trumpets"),
        players: &TPT,
        techniques: &[Close, Close, Drop2, Unison],
        low_horns: false,
        chordal: false,
    },
    Band {
        name: "trombones",
        section: Some("trombones"),
        players: &TBN,
        techniques: &[Drop2, Drop2, Drop3, Drop24, Spread, Pad, Pad, Unison],
        low_horns: true,
        chordal: false,
    },
    Band {
        name: "SATB",
        section: Some("voices"),
        players: &[
            ("soprano", "soprano voice", &SOPRANO),
            ("alto", "alto voice", &ALTO),
            ("tenor", "tenor voice", &TENOR),
            ("bass", "bass voice", &BASS),
        ],
        techniques: &[Drop2, Drop2, Spread],
        low_horns: true,
        chordal: false,
    },
    Band {
        name: "locked hands",
        section: Some("piano"),
        players: &[("piano", "piano", &PIANO)],
        techniques: &[DoubledLead, DoubledLead, Drop2, Drop2Doubled],
        low_horns: false,
        chordal: true,
    },
    Band {
        name: "clarinet and saxes",
        section: Some("saxes"),
        players: &[CL, A1, A2, T1, T2],
        techniques: &[DoubledLead, Drop2Doubled],
        low_horns: false,
        chordal: false,
    },
    Band {
        name: "small band",
        section: None,
        players: &[
            ("trumpet", "trumpet", &TRUMPET),
            ("alto", "alto saxophone", &ALTO_SAX),
            ("tenor", "tenor saxophone", &TENOR_SAX),
            ("trombone", "trombone", &TROMBONE),
        ],
        techniques: &[Close, Drop2, Drop2, Spread, Unison],
        low_horns: false,
        chordal: false,
    },
    Band {
        name: "three horns",
        section: None,
        players: &[
            ("trumpet", "trumpet", &TRUMPET),
            ("tenor", "tenor saxophone", &TENOR_SAX),
            ("trombone", "trombone", &TROMBONE),
        ],
        techniques: &[ThreePart],
        low_horns: false,
        chordal: false,
    },
];

impl Band {
    pub fn voices(&self, technique: Technique) -> usize {
        match technique {
            _ if !self.chordal => self.players.len(),
            DoubledLead | Drop2Doubled => 5,
            _ => 4,
        }
    }
    /// Comfortable sounding ranges of the voices; a lead goes higher.
    pub fn ranges(&self, technique: Technique) -> Vec<(i16, i16)> {
        if self.chordal {
            return vec![(43, 86); self.voices(technique)];
        }
        let range = |(seat, player): (usize, &Player)| {
            let above = if seat == 0 { player.2.lead_above } else { 0 };
            (player.2.range.0, player.2.range.1 + above)
        };
        self.players.iter().enumerate().map(range).collect()
    }
    /// The part that plays a voice.
    pub fn part(&self, voice: usize) -> &'static str {
        self.players[if self.chordal { 0 } else { voice }].0
    }
}
