//! Chord symbols.

use super::note::one_letter;
use super::part::{PartReader, span};
use super::scale::Scale;
use super::xml::{Element, Walk, Xml};
use crate::ground::chord::{DegreeChange, DegreeEdit, from_kind};
use crate::ground::pitch::{NoteName, Transposition};
use crate::ground::time::Ticks;
use crate::score::{ChordMark, Mark};

/// How many `<degree>`s of one chord are read; no symbol has more than a dozen.
const MAX_DEGREES: usize = 32;

/// A chord symbol as the file has it, at the written pitch of its part.
#[derive(Clone, Default, PartialEq, Eq, Hash)]
pub(super) struct Symbol {
    /// A root, or what stands instead of one, has been met.
    started: bool,
    root: Option<NoteName>,
    kind: Option<String>,
    /// What is printed after the root.
    text: Option<String>,
    bass: Option<NoteName>,
    degrees: Vec<DegreeChange>,
    /// What keeps the symbol from being read.
    unread: Option<String>,
    /// What is printed when there is no root.
    rootless: Option<String>,
}

/// Reads a `<harmony>`.
pub(super) fn read(
    xml: &mut Xml<'_>,
    element: &Element<'_>,
    part: &mut PartReader,
    scale: &mut Scale,
) -> Walk<()> {
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
    fn refuse(&mut self, why: impl Into<String>) {
        self.unread.get_or_insert_with(|| why.into());
    }

    /// Reads a step and its alteration from `<root>` or `<bass>`.
    fn name(&mut self, xml: &mut Xml<'_>, which: &str) -> Walk<Option<NoteName>> {
        let mut step = None;
        let mut alter = 0;
        while let Some(child) = xml.child()? {
            match child.name() {
                "root-step" | "bass-step" => {
                    let text = xml.text()?;
                    step = one_letter(&text);
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

    fn root(&mut self, xml: &mut Xml<'_>) -> Walk<()> {
        self.root = self.name(xml, "root")?;
        Ok(())
    }

    fn bass(&mut self, xml: &mut Xml<'_>) -> Walk<()> {
        self.bass = self.name(xml, "bass")?;
        Ok(())
    }

    fn numeral(&mut self, xml: &mut Xml<'_>) -> Walk<()> {
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

    fn function(&mut self, xml: &mut Xml<'_>) -> Walk<()> {
        self.rootless = Some(xml.words()?);
        self.refuse("it names a function in a key, not a chord symbol with a root");
        Ok(())
    }

    fn degree(&mut self, xml: &mut Xml<'_>) -> Walk<()> {
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

    /// The chord at concert pitch, its part being transposed by `by`.
    fn finish(mut self, by: Transposition) -> ChordMark {
        let kind = self.kind.take().unwrap_or_default();
        if kind == "none" {
            return ChordMark {
                chord: None,
                written: self.text.unwrap_or_else(|| "N.C.".to_owned()),
                unread: None,
            };
        }
        let Some(root) = self.root else {
            self.refuse("it has no root");
            let tail = self.text.unwrap_or(kind);
            let written = format!("{} {tail}", self.rootless.unwrap_or_default());
            return ChordMark {
                chord: None,
                written: written.trim().to_owned(),
                unread: self.unread,
            };
        };
        let bass = self.bass.map(|b| format!("/{b}")).unwrap_or_default();
        let printed = |tail: &str| format!("{root}{tail}{bass}");
        if kind.is_empty() {
            self.refuse("it has no <kind>");
        }
        if self.unread.is_none() {
            match from_kind(root, &kind, self.text.as_deref(), &self.degrees, self.bass) {
                Ok(Some(chord)) => {
                    let written = match &self.text {
                        // What is printed says it all only when no degree stands beside it.
                        Some(text) if self.degrees.is_empty() => printed(text),
                        _ => chord.text.clone(),
                    };
                    return ChordMark {
                        chord: Some(chord.transposed(by)),
                        written,
                        unread: None,
                    };
                }
                Ok(None) => {
                    return ChordMark {
                        chord: None,
                        written: "N.C.".to_owned(),
                        unread: None,
                    };
                }
                Err(e) => self.refuse(e.to_string()),
            }
        }
        ChordMark {
            chord: None,
            written: printed(self.text.as_deref().unwrap_or(&kind)),
            unread: self.unread,
        }
    }
}
