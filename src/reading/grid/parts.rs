//! The parts of a passage: as its header declares them, else as its rows are called.

use super::lines::{Block, Header, TextPiece, nearest};
use crate::file_text::limits::{self, Limits};
use crate::ground::instrument::{self, Instrument, Property};
use crate::reading::fault::{Fault, Parsed};
use crate::score::Part;
use crate::score::identity::identify_all;
use std::collections::HashSet;

/// A part, and the instrument that it is known to be.
pub(super) struct Declared {
    pub label: TextPiece,
    pub instrument: Option<&'static Instrument>,
}

/// Labels of rows that are no parts.
pub(super) const RESERVED: [&str; 4] = ["chord", "chords", "count", "choice"];

/// A label with one blank between its words and no capitals: by these two are the same.
pub(super) fn key(label: &str) -> String {
    let words: Vec<String> = label.split_whitespace().map(str::to_lowercase).collect();
    words.join(" ")
}

/// The parts in order.
pub(super) fn declared(
    blocks: &[Block],
    catalogue: &'static instrument::Catalogue,
    limits: &Limits,
) -> Parsed<Vec<Declared>> {
    let mut parts: Vec<Declared> = Vec::new();
    let mut keys: HashSet<String> = HashSet::new();
    // In a choir a bare "alto" is a voice.
    let choir = blocks.iter().any(|b| {
        matches!(b, Block::Header(Header::Section(p))
            if catalogue.section_named(&p.text).is_some_and(|s| s.is(Property::Choir)))
    });
    for block in blocks {
        let Block::Header(Header::Part(label, name)) = block else {
            continue;
        };
        within(limits, parts.len(), label)?;
        if !keys.insert(key(&label.text)) {
            return Err(Fault::new(
                label.at.clone(),
                format!("the part `{}` is declared twice", label.text),
            ));
        }
        if RESERVED.contains(&label.text.to_lowercase().as_str()) || label.text.is_empty() {
            return Err(Fault::new(
                label.at.clone(),
                format!("a part cannot be called `{}`", label.text),
            )
            .help("chord, count and choice are rows of their own"));
        }
        parts.push(Declared {
            label: label.clone(),
            instrument: Some(named(name, choir, catalogue)?),
        });
    }
    if parts.is_empty() {
        parts = labelled(blocks, catalogue, limits)?;
    }
    Ok(parts)
}

/// Makes sure that after so many parts there may be one more.
fn within(limits: &Limits, parts: usize, next: &TextPiece) -> Parsed<()> {
    if (parts as u64) < limits.parts {
        return Ok(());
    }
    let message = format!("the score has more than {} parts", limits.parts);
    Err(Fault::new(next.at.clone(), message).help(limits::raise("parts")))
}

/// The instrument that a header gives a part.
fn named(
    name: &TextPiece,
    choir: bool,
    catalogue: &'static instrument::Catalogue,
) -> Parsed<&'static Instrument> {
    let voice = choir
        .then(|| catalogue.named(&format!("{} voice", name.text)))
        .flatten()
        .filter(|i| i.is(Property::Choir));
    if let Some(found) = voice.or_else(|| catalogue.named(&name.text)) {
        return Ok(found);
    }
    let fault = Fault::new(
        name.at.clone(),
        format!("`{}` is not an instrument chartproof knows", name.text),
    );
    let known = nearest(
        &name.text,
        catalogue.instruments.iter().map(|i| i.name.as_str()),
    );
    Err(match known {
        Some(known) => fault.help(format!("did you mean `{known}`?")),
        None => fault.help(
            "write the instrument as on a part: alto saxophone, trumpet, soprano voice, piano",
        ),
    })
}

/// The parts as the rows of the first system are called.
fn labelled(
    blocks: &[Block],
    catalogue: &'static instrument::Catalogue,
    limits: &Limits,
) -> Parsed<Vec<Declared>> {
    let first = blocks.iter().find_map(|b| match b {
        Block::System(rows) => Some(rows),
        Block::Header(_) => None,
    });
    let labels: Vec<&TextPiece> = first
        .into_iter()
        .flatten()
        .map(|row| &row.label)
        .filter(|label| !RESERVED.contains(&label.text.to_lowercase().as_str()))
        .collect();
    if let Some(&next) = labels.get(usize::try_from(limits.parts).unwrap_or(usize::MAX)) {
        within(limits, labels.len(), next)?;
    }
    // Together the names say more than each alone: soprano, alto, tenor, bass are a choir.
    let named: Vec<Part> = labels
        .iter()
        .map(|label| Part {
            name: label.text.clone(),
            ..Part::default()
        })
        .collect();
    let identities = identify_all(catalogue, &named);
    Ok(labels
        .into_iter()
        .zip(identities)
        .map(|(label, identity)| Declared {
            label: label.clone(),
            instrument: identity.map(|i| i.instrument),
        })
        .collect())
}
