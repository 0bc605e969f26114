//! Chord symbols.

use super::part::{PartReader, span};
use super::scale::Scale;
use super::symbol::Symbol;
use super::values;
use super::xml::{Element, Xml};
use crate::ground::chord::{DegreeChange, DegreeEdit};
use crate::ground::pitch::NoteName;
use crate::ground::time::Ticks;
use crate::reading::fault::Parsed;
use crate::score::Mark;

/// How many `<degree>`s of one chord are read; no symbol has more than a dozen.
const MAX_DEGREES: usize = 32;

/// Reads a `<harmony>`.
pub(super) fn read(
    xml: &mut Xml<'_>,
    element: &Element<'_>,
    part: &mut PartReader,
    scale: &mut Scale,
) -> Parsed<()> {
    let mut symbol = Symbol::default();
    // An element may hold alternatives one after the other: the first one counts.
    let mut further = false;
    let mut offset = Ticks::ZERO;
    let mut staff = 1;
    while let Some(child) = xml.child()? {
        match child.name() {
            "offset" => offset = part.offset(xml, &child, scale)?,
            "staff" => staff = xml.whole::<u8>(&child)?.max(1),
            name @ ("root" | "numeral" | "function") => {
                further |= symbol.started;
                symbol.started = true;
                match name {
                    _ if further => xml.skip()?,
                    "root" => symbol.root(xml)?,
                    "numeral" => symbol.numeral(xml)?,
                    _ => symbol.function(xml)?,
                }
            }
            _ if further => xml.skip()?,
            "kind" => {
                symbol.text = child
                    .attr("text")?
                    .map(|t| t.trim().to_owned())
                    .filter(|t| !t.is_empty());
                symbol.kind = Some(xml.text()?.trim().to_owned());
            }
            "bass" => symbol.bass(xml)?,
            "degree" => symbol.degree(xml)?,
            _ => xml.skip()?,
        }
    }
    let at = part.near(offset);
    let span = span(element.start(), xml);
    let alternative = element.is("type", "alternate")? || element.is("type", "implied")?;
    if alternative && part.part.chords.last().is_some_and(|m| m.at == at) {
        // The explicit symbol stands here already.
        return Ok(());
    }
    let by = part.transposition(staff);
    // A chart has few symbols, many times each.
    let key = (symbol, by);
    let mark = if let Some(known) = part.symbols.get(&key) {
        known.clone()
    } else {
        let mark = key.0.clone().finish(by);
        part.symbols.entry(key).or_insert(mark).clone()
    };
    part.part.chords.push(Mark::new(at, mark, span));
    Ok(())
}

impl Symbol {
    /// Reads a step and its alteration from `<root>` or `<bass>`.
    fn name(&mut self, xml: &mut Xml<'_>, which: &str) -> Parsed<Option<NoteName>> {
        let mut step = None;
        let mut alter = 0;
        while let Some(child) = xml.child()? {
            match child.name() {
                "root-step" | "bass-step" => {
                    let text = xml.text()?;
                    step = values::step(&text);
                    if step.is_none() {
                        self.refuse(format!(
                            "its {which} is `{}`, where a letter A to G was expected",
                            text.trim()
                        ));
                    }
                }
                "root-alter" | "bass-alter" => alter = xml.rounded(&child)?,
                _ => xml.skip()?,
            }
        }
        if alter.abs() > 2 {
            self.refuse(format!(
                "its {which} is altered by {alter} semitones; at most 2 are readable"
            ));
            return Ok(None);
        }
        Ok(step.map(|step| NoteName::new(step, alter as i8)))
    }

    fn root(&mut self, xml: &mut Xml<'_>) -> Parsed<()> {
        self.root = self.name(xml, "root")?;
        Ok(())
    }

    fn bass(&mut self, xml: &mut Xml<'_>) -> Parsed<()> {
        self.bass = self.name(xml, "bass")?;
        Ok(())
    }

    fn numeral(&mut self, xml: &mut Xml<'_>) -> Parsed<()> {
        while let Some(child) = xml.child()? {
            if child.name() == "numeral-root" {
                let printed = child.attr("text")?.map(|t| t.trim().to_owned());
                let number = xml.words()?;
                self.rootless = Some(printed.filter(|t| !t.is_empty()).unwrap_or(number));
            } else {
                xml.skip()?;
            }
        }
        self.refuse("it is a numeral of a key, not a chord symbol with a root");
        Ok(())
    }

    fn function(&mut self, xml: &mut Xml<'_>) -> Parsed<()> {
        self.rootless = Some(xml.words()?);
        self.refuse("it names a function in a key, not a chord symbol with a root");
        Ok(())
    }

    fn degree(&mut self, xml: &mut Xml<'_>) -> Parsed<()> {
        let mut number = None;
        let mut alter = 0;
        let mut edit = None;
        while let Some(child) = xml.child()? {
            match child.name() {
                "degree-value" => {
                    let text = xml.text()?;
                    number = text.trim().parse().ok().filter(|n| (1..=13u8).contains(n));
                    if number.is_none() {
                        self.refuse(format!(
                            "a degree is `{}`, where a number from 1 to 13 was expected",
                            text.trim()
                        ));
                    }
                }
                "degree-alter" => alter = xml.rounded(&child)?,
                "degree-type" => {
                    let text = xml.text()?;
                    edit = match text.trim() {
                        "add" => Some(DegreeEdit::Add),
                        "alter" => Some(DegreeEdit::Alter),
                        "subtract" => Some(DegreeEdit::Subtract),
                        other => {
                            self.refuse(format!(
                                "a degree is to `{other}`, where add, alter or subtract was expected"
                            ));
                            None
                        }
                    };
                }
                _ => xml.skip()?,
            }
        }
        match (number, edit) {
            _ if alter.abs() > 2 => self.refuse(format!(
                "a degree is altered by {alter} semitones; at most 2 are readable"
            )),
            (Some(number), Some(edit)) if self.degrees.len() < MAX_DEGREES => {
                self.degrees.push(DegreeChange {
                    edit,
                    number,
                    alter: alter as i8,
                });
            }
            (Some(_), Some(_)) => {
                self.refuse(format!("it has more than {MAX_DEGREES} altered degrees"));
            }
            _ => self.refuse("a degree lacks its value or its type"),
        }
        Ok(())
    }
}
