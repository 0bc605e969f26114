//! The part list: what each part is called.

use super::xml::{Element, Walk, Xml};
use crate::score::Part;

/// Reads one `<score-part>`; gives its id and a part that has its names and nothing else.
pub(super) fn score_part(xml: &mut Xml<'_>, element: &Element<'_>) -> Walk<(String, Part)> {
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
