//! The part list: what each part is called, and the parts themselves while they are read.

use super::part::PartReader;
use super::scale::Scale;
use super::xml::{Element, Xml};
use crate::file_text::limits;
use crate::ground::text::Span;
use crate::reading::fault::Parsed;
use crate::reading::waiver::WaiverText;
use crate::score::Part;
use std::collections::HashMap;

/// The parts of a score, in the order of its list, and which has which id.
#[derive(Default)]
pub(super) struct Parts {
    pub list: Vec<PartReader>,
    pub by_id: HashMap<String, usize>,
}

impl Parts {
    /// Reads a `<part-list>`.
    pub(super) fn read_list(&mut self, xml: &mut Xml<'_>, scale: &Scale) -> Parsed<()> {
        while let Some(child) = xml.child()? {
            if child.name() != "score-part" {
                xml.skip()?;
                continue;
            }
            let (id, part) = score_part(xml, &child)?;
            let part = PartReader::new(part, scale);
            self.add(&child, id, part, xml.limits.parts)?;
        }
        Ok(())
    }

    fn add(
        &mut self,
        element: &Element<'_>,
        id: String,
        part: PartReader,
        most: u64,
    ) -> Parsed<usize> {
        let index = self.list.len();
        if index as u64 >= most {
            return Err(element
                .fault(format!("the score has more than {most} parts"))
                .help(limits::raise("parts")));
        }
        if self.by_id.contains_key(&id) {
            return Err(element
                .fault(format!("the part list has two parts with the id `{id}`"))
                .help("give each <score-part> and its <part> an id of their own"));
        }
        self.by_id.insert(id, index);
        self.list.push(part);
        Ok(index)
    }

    /// The part a `<part>` belongs to. One that the list does not name is taken in at the end,
    /// called by its id.
    pub(super) fn index_of(
        &mut self,
        element: &Element<'_>,
        scale: &Scale,
        most: u64,
    ) -> Parsed<usize> {
        let id = element.attr("id")?.unwrap_or_default();
        let id = id.trim();
        if let Some(index) = self.by_id.get(id) {
            return Ok(*index);
        }
        let part = Part {
            name: if id.is_empty() { "unnamed part" } else { id }.to_owned(),
            staves: 1,
            ..Part::default()
        };
        let part = PartReader::new(part, scale);
        self.add(element, id.to_owned(), part, most)
    }
}

/// Reads one `<score-part>`; gives its id and a part that has its names and nothing else.
fn score_part(xml: &mut Xml<'_>, element: &Element<'_>) -> Parsed<(String, Part)> {
    let id = element.attr("id")?.unwrap_or_default().trim().to_owned();
    let mut name = String::new();
    let mut abbreviation = String::new();
    let mut instrument = String::new();
    let mut sound = String::new();
    while let Some(child) = xml.child()? {
        match child.name() {
            "part-name" => name = xml.words()?,
            "part-abbreviation" => abbreviation = xml.words()?,
            // A part may list several instruments (doubling, drum sets): the first stands for it.
            "score-instrument" if instrument.is_empty() && sound.is_empty() => {
                while let Some(field) = xml.child()? {
                    match field.name() {
                        "instrument-name" => instrument = xml.words()?,
                        "instrument-sound" => sound = xml.words()?,
                        _ => xml.skip()?,
                    }
                }
            }
            _ => xml.skip()?,
        }
    }
    let some = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    let name = some(&name)
        .or_else(|| some(&abbreviation))
        .or_else(|| some(&instrument))
        .or_else(|| some(&id))
        .unwrap_or_else(|| "unnamed part".to_owned());
    let part = Part {
        instrument_name: some(&instrument).filter(|i| *i != name),
        abbreviation: some(&abbreviation),
        sound: some(&sound),
        name,
        staves: 1,
        ..Part::default()
    };
    Ok((id, part))
}

/// Takes the waivers that stand between the parts.
pub(super) fn for_all(xml: &mut Xml<'_>, said: &mut Vec<WaiverText>) {
    let passed = xml.instructions.drain(..);
    said.extend(passed.map(|(text, at)| WaiverText {
        text: text.to_owned(),
        part: None,
        bars: None,
        span: Span::of(&at),
    }));
}
