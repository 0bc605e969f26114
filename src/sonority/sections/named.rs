//! Sections by the names of their instruments, and as the house style or the passage says.

use super::{Section, SectionPart};
use crate::ground::instrument::{Properties, Property, Section as Entry};
use crate::score::identity::identify_all;
use crate::score::{Part, Score};

/// The sections by name, in score order; and whether the passage itself says so for all of them.
pub(super) fn sections(score: &Score) -> (Vec<Section>, bool) {
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
            own: true,
        };
        let said = part.section.as_deref().or(stated);
        let own = identity.as_ref().map(|i| i.instrument);
        let own = own.filter(|i| !i.is(Property::Apart));
        let own = own.and_then(|i| catalogue.section(&i.section));
        let called = said.and_then(|words| catalogue.section_called(words));
        let mut known: Option<&Entry> = called.as_ref().and_then(|c| c.section);
        let (key, name) = match (called, said, own) {
            (Some(called), ..) => (called.key, called.name),
            (None, Some(words), _) => (words.to_lowercase(), words.to_owned()),
            (None, None, Some(section)) => {
                known = Some(section);
                (section.key.clone(), section.name.clone())
            }
            (None, None, None) => (format!("part {}", index + 1), part.name.clone()),
        };
        let chordal = known.is_some_and(|s| s.chordal)
            || is_chordal(part) && (known.is_none() || part.section.is_none() && said.is_some());
        match sections.iter_mut().find(|s| s.key == key) {
            Some(section) => section.parts.push(member),
            None => sections.push(Section {
                key,
                name,
                parts: vec![member],
                chordal,
                properties: known.map_or_else(Properties::default, |s| s.properties),
                stretches: Vec::new(),
                evidence: None,
            }),
        }
    }
    // Seats that a house style gives are the order; else the score's order is.
    for section in &mut sections {
        if section.parts.iter().any(|m| has_given_seat(score, m)) {
            section.parts.sort_by_key(|m| m.seat.unwrap_or(u8::MAX));
        }
    }
    (sections, stated.is_some())
}

/// Whether a house style gives the part's seat.
pub(super) fn has_given_seat(score: &Score, member: &SectionPart) -> bool {
    let part = score.parts.get(member.part as usize);
    part.is_some_and(|p| p.seat.is_some())
}

/// Several notes at once in one voice: a keyboard, a guitar, a section written on one staff.
fn is_chordal(part: &Part) -> bool {
    part.notes
        .windows(2)
        .any(|w| matches!(w, [a, b] if a.onset == b.onset && a.sounds() && b.sounds()))
}
