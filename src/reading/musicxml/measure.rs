//! One bar of one part.

use super::part::PartReader;
use super::scale::Scale;
use super::xml::{Element, Xml};
use super::{attributes, direction, harmony, note};
use crate::file_text::limits::{self, LONGEST_NAME};
use crate::ground::text::{Span, cut};
use crate::reading::fault::Parsed;
use crate::score::{PartBar, Signs};
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

/// What a `<measure>` says of itself.
#[derive(Clone, Debug)]
pub(super) struct Heading {
    pub(super) number: String,
    uncounted: bool,
}

impl Heading {
    pub(super) fn of(measure: &Element<'_>) -> Parsed<Self> {
        Ok(Self {
            number: measure
                .attr("number")?
                // Cut here: the parts of a timewise score each have a copy.
                .map(|n| cut(n.trim(), LONGEST_NAME + 1).into_owned())
                .unwrap_or_default(),
            uncounted: measure.is("implicit", "yes")?,
        })
    }
}

/// Reads a bar's content up to the end of the element that is open: the `<measure>` of a partwise
/// score, the `<part>` of a timewise one.
pub(super) fn read(
    xml: &mut Xml<'_>,
    element: &Element<'_>,
    heading: Heading,
    part: &mut PartReader,
    scale: &mut Scale,
    concert: bool,
) -> Parsed<()> {
    let start = element.start();
    part.open_bar(PartBar {
        number: heading.number,
        uncounted: heading.uncounted,
        span: Span {
            source: 0,
            start: start as u32,
            end: start as u32,
        },
        ..PartBar::default()
    });
    while let Some(child) = xml.child()? {
        match child.name() {
            "note" => note::read(xml, &child, part, scale)?,
            "backup" => {
                while let Some(field) = xml.child()? {
                    match field.name() {
                        "duration" => {
                            let by = part.duration(xml, &field, scale)?;
                            part.back_up(by);
                        }
                        _ => xml.skip()?,
                    }
                }
            }
            "forward" => {
                while let Some(field) = xml.child()? {
                    match field.name() {
                        "duration" => {
                            let by = part.duration(xml, &field, scale)?;
                            part.move_on(by, &field)?;
                        }
                        _ => xml.skip()?,
                    }
                }
            }
            "attributes" => attributes::read(xml, part, scale, concert)?,
            "direction" => direction::read(xml, &child, part, scale)?,
            "harmony" => harmony::read(xml, &child, part, scale)?,
            "barline" => barline(xml, &child, part)?,
            "sound" => direction::sound(xml, &child, part, scale)?,
            _ => xml.skip()?,
        }
    }
    let bar = part.here().bar;
    for (words, at) in xml.instructions.drain(..) {
        part.waivers.push((words.to_owned(), bar, Span::of(&at)));
    }
    // Here, not note by note: reading takes a time that grows with the text only, looking at what
    // sounds together in one bar takes more.
    let most = xml.limits.bar;
    if part.in_open_bar() as u64 > most {
        return Err(element
            .fault(format!(
                "this bar has {} notes, rests and signs in one part; at most {most} are read",
                part.in_open_bar()
            ))
            .help(limits::raise("bar")));
    }
    part.close_bar(xml.position());
    Ok(())
}

fn barline(xml: &mut Xml<'_>, element: &Element<'_>, part: &mut PartReader) -> Parsed<()> {
    let left = element.is("location", "left")?;
    let middle = element.is("location", "middle")?;
    while let Some(child) = xml.child()? {
        match child.name() {
            "bar-style" => {
                let style = xml.text()?;
                part.bar.goes_on |= style.trim() == "none" && !left && !middle;
                if !matches!(style.trim(), "light-light" | "light-heavy") || middle {
                    continue;
                }
                if left {
                    // A double line at the start of a bar ends the bar before it.
                    if let Some(before) = part.part.bars.last_mut() {
                        before.double_bar = true;
                    }
                } else {
                    part.bar.double_bar = true;
                }
            }
            "segno" | "coda" => {
                let sign = if child.name() == "segno" {
                    Signs::SEGNO
                } else {
                    Signs::CODA
                };
                part.bar.signs = part.bar.signs.with(sign);
                xml.skip()?;
            }
            "ending" => {
                if child.is("type", "start")? {
                    let number = child.attr("number")?.unwrap_or_default();
                    part.bar.ending = Some(number.trim().to_owned());
                }
                xml.skip()?;
            }
            "repeat" => {
                part.bar.repeat_start |= child.is("direction", "forward")?;
                part.bar.repeat_end |= child.is("direction", "backward")?;
                xml.skip()?;
            }
            _ => xml.skip()?,
        }
    }
    Ok(())
}

/// The bars of a part, up to the end of the `<part>` that is open.
pub(super) fn part_bars(
    xml: &mut Xml<'_>,
    part: &mut PartReader,
    scale: &mut Scale,
    concert: bool,
    bars: &AtomicUsize,
) -> Parsed<()> {
    while let Some(child) = xml.child()? {
        if child.name() == "measure" {
            count_bar(bars, &child, xml.limits.bars)?;
            let heading = Heading::of(&child)?;
            read(xml, &child, heading, part, scale, concert)?;
        } else {
            xml.skip()?;
        }
    }
    Ok(())
}

/// Counts one more bar of the score, of which there may be so many.
pub(super) fn count_bar(bars: &AtomicUsize, element: &Element<'_>, most: u64) -> Parsed<()> {
    if bars.fetch_add(1, Relaxed) as u64 >= most {
        return Err(element
            .fault(format!(
                "the score has more than {most} bars in all its parts"
            ))
            .help(limits::raise("bars")));
    }
    Ok(())
}
