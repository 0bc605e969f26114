//! Parts grouped into sections, each from its top seat down: by name and score order first, then by what is
//! played, phrase by phrase.

mod cells;
mod evidence;
mod joining;
mod named;
#[cfg(test)]
mod tests;
mod units;

pub use evidence::Evidence;

use crate::ground::instrument::{Instrument, Properties, Property};
use crate::ground::time::Ticks;
use crate::score::{Bar, Score};
use std::ops::Range;

/// A part as a member of its section.
#[derive(Clone, Debug)]
pub struct SectionPart {
    /// 0-based index into the score's parts.
    pub part: u32,
    /// The instrument, when it is known.
    pub instrument: Option<&'static Instrument>,
    /// The seat number of its name or order, 1-based.
    pub seat: Option<u8>,
    /// The part belongs here as a whole: what is asked of its line alone is asked here. So it is in one
    /// section of each score.
    pub own: bool,
}

/// Parts that are voiced together.
#[derive(Clone, Debug)]
pub struct Section {
    /// The key of `rules/instruments.toml`, else the name.
    pub key: String,
    /// The name people read.
    pub name: String,
    /// Its parts from the top seat down.
    pub parts: Vec<SectionPart>,
    /// One part plays many notes (a piano).
    pub chordal: bool,
    /// What it is like, by `rules/instruments.toml`.
    pub properties: Properties,
    /// Where it plays together, in order; everywhere when there are none.
    pub stretches: Vec<Range<Ticks>>,
    /// How it was found, where not by the names alone.
    pub evidence: Option<Evidence>,
}

impl Section {
    /// Whether it has a property.
    pub fn is(&self, property: Property) -> bool {
        self.properties.has(property)
    }

    /// Whether it is a choir, where seats never swap.
    pub fn is_choir(&self) -> bool {
        self.is(Property::Choir)
    }

    /// Whether it plays together at a time.
    pub fn plays_at(&self, onset: Ticks) -> bool {
        self.stretches.is_empty() || self.stretch_at(onset).is_some()
    }

    /// Whether a bar is one of those in which it plays together: its middle decides.
    pub fn plays_in(&self, bar: &Bar) -> bool {
        self.plays_at(bar.start + Ticks(bar.length.0 / 2))
    }

    /// Which of its stretches holds a time.
    pub fn stretch_at(&self, onset: Ticks) -> Option<usize> {
        let at = self.stretches.partition_point(|s| s.end <= onset);
        self.stretches
            .get(at)
            .is_some_and(|s| s.start <= onset)
            .then_some(at)
    }

    /// The parts that belong here as a whole.
    pub fn own_parts(&self) -> impl Iterator<Item = &SectionPart> {
        self.parts.iter().filter(|p| p.own)
    }
}

/// The sections of a score, in score order. Drums and parts without pitched notes are in none. A part may be
/// in several, at different times.
pub fn sections(score: &Score) -> Vec<Section> {
    let (named, fixed) = named::sections(score);
    if fixed {
        return named;
    }
    joining::joined(score, named)
}
