//! Words, rehearsal marks, dynamics and tempos.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "counts of elements, fewer than bytes of the text"
)]

use super::part::{PartReader, span};
use super::scale::Scale;
use super::values::{dotted, note_type};
use super::xml::{Element, Xml, tidy};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::reading::fault::Parsed;
use crate::reading::waiver;
use crate::score::{Hairpin, Mark, Signs, Words};

/// What one `<direction>` holds, until its offset and staff are known.
#[derive(Default)]
struct DirectionContent {
    words: Vec<(String, Span)>,
    dynamics: Vec<(String, Span)>,
    hairpins: Vec<(Hairpin, Span)>,
    pedals: Vec<(bool, Span)>,
    metronome: Option<f64>,
    sound: Option<f64>,
    offset: Ticks,
    staff: Option<u8>,
}

/// Reads a `<direction>`.
pub(super) fn read(
    xml: &mut Xml<'_>,
    element: &Element<'_>,
    part: &mut PartReader,
    scale: &mut Scale,
) -> Parsed<()> {
    let mut found = DirectionContent::default();
    let below = element.attr("placement")?.as_deref() == Some("below");
    while let Some(child) = xml.child()? {
        match child.name() {
            "direction-type" => direction_type(xml, part, &mut found)?,
            "offset" => found.offset = part.offset(xml, &child, scale)?,
            "staff" => found.staff = Some(xml.whole::<u8>(&child)?.max(1)),
            "sound" => {
                found.sound = tempo(&child)?;
                jumps(&child, part)?;
                xml.skip()?;
            }
            _ => xml.skip()?,
        }
    }
    let at = part.near(found.offset);
    let staff = found.staff.unwrap_or(1);
    for (hairpin, span) in found.hairpins {
        part.part.hairpins.push(Mark::new(at, hairpin, span));
    }
    for (down, span) in found.pedals {
        part.part.pedals.push(Mark::new(at, down, span));
    }
    for (text, span) in found.words {
        if let Some(words) = waiver::marked(&text) {
            part.waivers.push((words.to_owned(), at.bar, span));
            continue;
        }
        part.bar.signs = part.bar.signs.with(Signs::in_words(&text));
        let by = part.transposition(staff);
        part.said_symbols.look(&text, at, by, span);
        part.part
            .words
            .push(Mark::new(at, Words { text, staff, below }, span));
    }
    for (text, span) in found.dynamics {
        part.part.dynamics.push(Mark::new(at, text, span));
    }
    // The printed metronome mark counts before the tempo for playback.
    if let Some(tempo) = found.metronome.or(found.sound) {
        let mark = Mark::new(at, tempo, span(element.start(), xml));
        part.part.tempos.push(mark);
    }
    Ok(())
}

fn direction_type(
    xml: &mut Xml<'_>,
    part: &mut PartReader,
    found: &mut DirectionContent,
) -> Parsed<()> {
    // Several `<words>` in one direction-type are one text whose look changes midway.
    let mut text = String::new();
    let mut place: Option<Span> = None;
    while let Some(child) = xml.child()? {
        match child.name() {
            "words" => {
                let more = xml.text()?;
                let here = span(child.start(), xml);
                let all = place.get_or_insert(here);
                all.end = here.end;
                if !text.is_empty() {
                    text.push(' ');
                }
                text.push_str(&more);
            }
            "other-direction" => {
                let words = xml.words()?;
                if let Some(words) = waiver::marked(&words) {
                    let bar = part.here().bar;
                    let place = span(child.start(), xml);
                    part.waivers.push((words.to_owned(), bar, place));
                }
            }
            "rehearsal" => {
                let mark = xml.words()?;
                if !mark.is_empty() {
                    part.bar.rehearsal = Some(mark);
                }
            }
            "dynamics" => {
                if let Some(mark) = dynamics(xml)? {
                    found.dynamics.push((mark, span(child.start(), xml)));
                }
            }
            "wedge" => {
                let hairpin = match child.attr("type")?.as_deref() {
                    Some("crescendo") => Some(Hairpin::Crescendo),
                    Some("diminuendo") => Some(Hairpin::Diminuendo),
                    Some("stop") => Some(Hairpin::Stop),
                    _ => None,
                };
                xml.skip()?;
                if let Some(hairpin) = hairpin {
                    found.hairpins.push((hairpin, span(child.start(), xml)));
                }
            }
            "pedal" => {
                let down = match child.attr("type")?.as_deref() {
                    Some("start" | "change" | "resume") => Some(true),
                    Some("stop" | "discontinue") => Some(false),
                    _ => None,
                };
                xml.skip()?;
                if let Some(down) = down {
                    found.pedals.push((down, span(child.start(), xml)));
                }
            }
            sign @ ("segno" | "coda") => {
                let sign = if sign == "segno" {
                    Signs::SEGNO
                } else {
                    Signs::CODA
                };
                part.bar.signs = part.bar.signs.with(sign);
                xml.skip()?;
            }
            "metronome" => found.metronome = metronome(xml)?.or(found.metronome),
            _ => xml.skip()?,
        }
    }
    let text = tidy(&text);
    if let Some(place) = place
        && !text.is_empty()
    {
        found.words.push((text, place));
    }
    Ok(())
}

/// Reads a `<dynamics>` element: its marks as printed, one after the other.
pub(super) fn dynamics(xml: &mut Xml<'_>) -> Parsed<Option<String>> {
    let mut mark = String::new();
    while let Some(child) = xml.child()? {
        if child.name() == "other-dynamics" {
            mark.push_str(&xml.words()?);
        } else {
            mark.push_str(child.name());
            xml.skip()?;
        }
    }
    Ok((!mark.is_empty()).then_some(mark))
}

/// Reads a `<metronome>`: quarter notes a minute, when it says so in figures.
fn metronome(xml: &mut Xml<'_>) -> Parsed<Option<f64>> {
    let mut unit = None;
    let mut dots = 0u32;
    let mut per_minute = None;
    let mut units = 0u32;
    while let Some(child) = xml.child()? {
        match child.name() {
            "beat-unit" => {
                units += 1;
                let shape = note_type(xml.text()?.trim());
                unit = unit.or(shape);
            }
            "beat-unit-dot" => {
                // A dot after the second unit belongs to that one: quarter = dotted quarter.
                if units <= 1 {
                    dots += 1;
                }
                xml.skip()?;
            }
            "per-minute" => per_minute = first_number(&xml.text()?),
            _ => xml.skip()?,
        }
    }
    let (Some(unit), Some(per_minute)) = (unit, per_minute) else {
        return Ok(None);
    };
    let unit = dotted(unit, dots);
    let quarters = per_minute * (*unit.numer() as f64) / (*unit.denom() as f64);
    Ok(usable(quarters))
}

/// The first number in a text such as `c. 120` or `120-132`.
fn first_number(text: &str) -> Option<f64> {
    let start = text.find(|c: char| c.is_ascii_digit())?;
    let rest = text.get(start..)?;
    let end = rest
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .unwrap_or(rest.len());
    rest.get(..end)?.trim_end_matches('.').parse().ok()
}

fn usable(tempo: f64) -> Option<f64> {
    (tempo.is_finite() && tempo > 0.0).then_some(tempo)
}

/// The tempo of a `<sound>`: quarter notes a minute.
fn tempo(sound: &Element<'_>) -> Parsed<Option<f64>> {
    Ok(sound.attr_number::<f64>("tempo")?.and_then(usable))
}

/// The jumps a `<sound>` tells playback to make, which the page then has too.
fn jumps(sound: &Element<'_>, part: &mut PartReader) -> Parsed<()> {
    for (name, sign) in [
        ("segno", Signs::SEGNO),
        ("coda", Signs::CODA),
        ("tocoda", Signs::TO_CODA),
        ("dalsegno", Signs::DAL_SEGNO),
    ] {
        if sound.attr(name)?.is_some_and(|v| !v.trim().is_empty()) {
            part.bar.signs = part.bar.signs.with(sign);
        }
    }
    if sound.is("dacapo", "yes")? {
        part.bar.signs = part.bar.signs.with(Signs::DA_CAPO);
    }
    Ok(())
}

/// Reads a `<sound>` that stands in the bar by itself.
pub(super) fn sound(
    xml: &mut Xml<'_>,
    element: &Element<'_>,
    part: &mut PartReader,
    scale: &mut Scale,
) -> Parsed<()> {
    let tempo = tempo(element)?;
    jumps(element, part)?;
    let mut offset = Ticks::ZERO;
    while let Some(child) = xml.child()? {
        match child.name() {
            "offset" => offset = part.offset(xml, &child, scale)?,
            _ => xml.skip()?,
        }
    }
    if let Some(tempo) = tempo {
        let mark = Mark::new(part.near(offset), tempo, span(element.start(), xml));
        part.part.tempos.push(mark);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_metronome_marks() {
        assert_eq!(first_number("120"), Some(120.0));
        assert_eq!(first_number("c. 96-104"), Some(96.0));
        assert_eq!(first_number("112.5"), Some(112.5));
        assert_eq!(first_number("fast"), None);
    }
}
