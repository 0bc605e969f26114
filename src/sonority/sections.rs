//! Parts grouped into sections, each from its top seat down.

use crate::ground::instrument::{Instrument, Properties, Property};
use crate::score::identity::identify_all;
use crate::score::{Part, Score};

/// A part as a member of its section.
#[derive(Clone, Debug)]
pub struct SectionPart {
    /// 0-based index into the score's parts.
    pub part: u32,
    /// The instrument, when it is known.
    pub instrument: Option<&'static Instrument>,
    /// The seat number of its name or order, 1-based.
    pub seat: Option<u8>,
}

/// Parts that are voiced together.
#[derive(Clone, Debug)]
pub struct Section {
    /// The key of `rules/instruments.toml`, or `horns` for a small mixed band.
    pub key: String,
    /// The name people read.
    pub name: String,
    /// Its parts from the top seat down.
    pub parts: Vec<SectionPart>,
    /// One part plays many notes (a piano).
    pub chordal: bool,
    /// What it is like, by `rules/instruments.toml`.
    pub properties: Properties,
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
}

/// The most parts a mixed band of single horns has before it is no longer one section.
const MIXED_BAND: usize = 6;

/// The sections of a score, in score order. Drums and parts without pitched notes are in none.
pub fn sections(score: &Score) -> Vec<Section> {
    let catalogue = score.instruments.catalogue();
    let identities = identify_all(catalogue, &score.parts);
    let stated = score.stated.iter().find_map(|m| m.value.section.as_deref());
    let mut sections: Vec<Section> = Vec::new();
    for (index, (part, identity)) in score.parts.iter().zip(&identities).enumerate() {
        if part.notes.is_empty() {
            continue;
        }
        let member = SectionPart {
            part: index as u32,
            instrument: identity.as_ref().map(|i| i.instrument),
            seat: part.seat.or_else(|| identity.as_ref().and_then(|i| i.seat)),
        };
        let placed = part.section.as_deref();
        let known = placed
            .or_else(|| {
                let own = identity.as_ref().map(|i| i.instrument);
                own.filter(|i| !i.is(Property::Apart))
                    .map(|i| i.section.as_str())
            })
            .and_then(|key| catalogue.section(key));
        let (key, name, chordal, kind) = match (stated.filter(|_| placed.is_none()), known) {
            (Some(words), _) => {
                let known = catalogue.section_named(words);
                (
                    known.map_or_else(|| words.to_lowercase(), |s| s.key.clone()),
                    known.map_or_else(|| words.to_owned(), |s| s.name.clone()),
                    known.is_some_and(|s| s.chordal) || is_chordal(part),
                    known,
                )
            }
            (None, Some(s)) => (s.key.clone(), s.name.clone(), s.chordal, known),
            (None, None) => (
                format!("part {}", index + 1),
                part.name.clone(),
                is_chordal(part),
                None,
            ),
        };
        match sections.iter_mut().find(|s| s.key == key) {
            Some(section) => section.parts.push(member),
            None => sections.push(Section {
                key,
                name,
                parts: vec![member],
                chordal,
                properties: kind.map_or_else(Properties::default, |s| s.properties),
            }),
        }
    }
    // Seats that a house style gives are the order; else the score's order is.
    for section in &mut sections {
        let given = |m: &SectionPart| {
            let part = score.parts.get(m.part as usize);
            part.is_some_and(|p| p.seat.is_some())
        };
        if section.parts.iter().any(given) {
            section.parts.sort_by_key(|m| m.seat.unwrap_or(u8::MAX));
        }
    }
    if stated.is_none() {
        join_mixed_band(&mut sections);
    }
    sections
}

/// Several notes at once in one voice: a keyboard, a guitar, a section written on one staff.
fn is_chordal(part: &Part) -> bool {
    part.notes
        .windows(2)
        .any(|w| matches!(w, [a, b] if a.onset == b.onset && a.sounds() && b.sounds()))
}

/// A band of single horns (trumpet, alto, tenor, trombone) is voiced as one section.
fn join_mixed_band(sections: &mut Vec<Section>) {
    let is_horn = |s: &Section| {
        !s.chordal
            && s.parts.iter().all(|p| {
                p.instrument.is_some_and(|i| {
                    i.single_line
                        && ![
                            Property::Choir,
                            Property::BassLine,
                            Property::Unpitched,
                            Property::Apart,
                        ]
                        .iter()
                        .any(|p| i.is(*p))
                })
            })
    };
    let horns: Vec<usize> = (0..sections.len())
        .filter(|&i| sections.get(i).is_some_and(is_horn))
        .collect();
    let total: usize = horns
        .iter()
        .filter_map(|&i| sections.get(i))
        .map(|s| s.parts.len())
        .sum();
    let largest = horns
        .iter()
        .filter_map(|&i| sections.get(i))
        .map(|s| s.parts.len())
        .max()
        .unwrap_or(0);
    if horns.len() < 2 || !(3..=MIXED_BAND).contains(&total) || largest > 2 {
        return;
    }
    let mut joined = Section {
        key: "horns".to_owned(),
        name: "horns".to_owned(),
        parts: Vec::new(),
        chordal: false,
        properties: Properties::default(),
    };
    let mut kept = Vec::new();
    for (index, section) in std::mem::take(sections).into_iter().enumerate() {
        if horns.contains(&index) {
            joined.parts.extend(section.parts);
        } else {
            kept.push(section);
        }
    }
    joined.parts.sort_by_key(|p| p.part);
    kept.insert(0, joined);
    *sections = kept;
}
