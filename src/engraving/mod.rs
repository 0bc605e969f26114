//! A few bars of a score engraved as SVG: section staves with a sonority's column shown.
//!
//! `notation` lays out the page: note values, ties, tuplets, beams, stems, accidentals. A picture of
//! it is drawn in four steps: the events of a staff (`events`), where their onsets stand (`spacing`),
//! each staff by itself (`staff`), the staves under each other (`system`).
//!
//! Pictures take their signs from symbols that stand once in the page: [`Glyphs::symbols`].

mod events;
mod filed;
mod glyphs;
mod shown_part;
mod spacing;
mod staff;
mod svg;
mod system;
mod text;

pub use svg::escape;

use crate::ground::instrument::catalogue;
use crate::notation::clefs::default_clefs;
use crate::score::NoteRef;
use crate::score::identity::identify_all;
use crate::score::{Clef, Part, Place, Score};
use glyphs::Glyph;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::ops::Range;

/// Which pitch is on the page.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ShownPitch {
    /// As each player reads it.
    Written,
    /// At concert pitch. Instruments that transpose by octaves alone keep their octave, and their
    /// clef says so.
    Sounding,
}

/// Why a note is highlighted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Highlight {
    /// It is at fault: coloured, in a ring.
    Fault,
    /// It was changed: coloured, in a frame.
    Mended,
    /// It is no chord note: coloured.
    Passing,
}

/// Words under a time of the music.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WordsUnder {
    /// Where.
    pub at: Place,
    /// 0-based row, from the top.
    pub row: u8,
    /// How they are set.
    pub class: WordsClass,
    /// The words.
    pub text: String,
}

/// How words under the staves are set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WordsClass {
    /// Plain.
    Plain,
    /// They stand out: a note that passes.
    Strong,
    /// They stand back: numbers, places.
    Soft,
}

impl WordsClass {
    /// The class in the page.
    const fn name(self) -> &'static str {
        match self {
            Self::Plain => "u",
            Self::Strong => "u q",
            Self::Soft => "u v",
        }
    }

    /// The size of its letters in staff spaces, with room for bold ones.
    const fn size(self) -> f64 {
        match self {
            Self::Strong => 1.8,
            Self::Plain | Self::Soft => 1.6,
        }
    }
}

/// What is to be drawn.
#[derive(Clone, Debug)]
pub struct Excerpt<'a> {
    /// 0-based parts, from the top.
    pub parts: &'a [u32],
    /// 0-based bars.
    pub bars: Range<u32>,
    /// Written or sounding pitch.
    pub shown: ShownPitch,
    /// The sonority whose column is tinted, and the words under it.
    pub column: Option<(Place, String)>,
    /// Notes to be highlighted.
    pub marks: &'a [(NoteRef, Highlight)],
    /// Words under the lowest staff, in rows.
    pub under: &'a [WordsUnder],
    /// Whether the parts' names stand before the staves.
    pub names: bool,
    /// What the picture shows, for those who cannot see it.
    pub label: String,
}

/// The glyphs that pictures use.
#[derive(Clone, Debug, Default)]
pub struct Glyphs(BTreeSet<Glyph>);

impl Glyphs {
    /// Adds another picture's.
    pub fn join(&mut self, other: &Self) {
        self.0.extend(&other.0);
    }

    /// One `<symbol>` for each; they belong into an `<svg>` of the page the pictures stand in.
    pub fn symbols(&self) -> String {
        let mut out = String::new();
        for glyph in &self.0 {
            let o = glyph.outline();
            let _ = write!(
                out,
                "<symbol id=\"g{}\" overflow=\"visible\"><path transform=\"scale(.04 -.04)\" d=\"{}\"/></symbol>",
                o.code, o.path
            );
        }
        out
    }
}

/// A picture: an `<svg>` element for a page.
#[derive(Clone, Debug, Default)]
pub struct Picture {
    /// The element.
    pub svg: String,
    /// The glyphs it needs as symbols.
    pub glyphs: Glyphs,
    /// How wide it is drawn, in pixels.
    pub width: f64,
}

/// Draws excerpts of one score, and of copies of it with other pitches.
#[derive(Debug)]
pub struct Engraver {
    /// Of each part: the clefs of staves that state none, at written pitch.
    written: Vec<Vec<Clef>>,
    /// The clefs at sounding pitch, for parts whose written clef would not do.
    sounding: Vec<Option<Clef>>,
}

impl Engraver {
    /// Makes ready to draw a score.
    pub fn new(score: &Score) -> Self {
        let identities = identify_all(catalogue(), &score.parts);
        let mut identities = identities.iter();
        Self {
            written: score
                .parts
                .iter()
                .map(|p| default_clefs(p, identities.next().and_then(Option::as_ref)))
                .collect(),
            sounding: score.parts.iter().map(concert_clef).collect(),
        }
    }

    /// Draws some bars. Parts and bars that the score does not have are left out.
    pub fn draw(&self, score: &Score, excerpt: &Excerpt<'_>) -> Picture {
        system::draw(self, score, excerpt)
    }
}

/// The clef in which a transposing part is read at concert pitch; none when its own serves.
fn concert_clef(part: &Part) -> Option<Clef> {
    let moves = part.transpositions.iter().any(|t| t.value.key_shift() != 0);
    let count = i64::try_from(part.notes.len()).ok().filter(|n| *n > 0)?;
    if !moves {
        return None;
    }
    let sum: i64 = part
        .notes
        .iter()
        .map(|n| i64::from(n.sounding.midi()))
        .sum();
    let (sign, line) = if sum / count >= 59 {
        ('G', 2)
    } else {
        ('F', 4)
    };
    Some(Clef {
        sign,
        line,
        octave: 0,
        staff: 1,
    })
}

#[cfg(test)]
mod tests;
