//! Notes and rests, child by child.

use super::direction;
use super::note_ahead::usual;
use super::note_fields::{Head, Notations, NoteFields, tie};
use super::part::PartReader;
use super::scale::Scale;
use super::values;
use super::xml::{Element, Xml};
use crate::ground::pitch::Pitch;
use crate::reading::fault::{Fault, Parsed};

/// Reads a `<note>`.
pub(super) fn read(
    xml: &mut Xml<'_>,
    element: &Element<'_>,
    part: &mut PartReader,
    scale: &mut Scale,
) -> Parsed<()> {
    let mut fields = NoteFields::new();
    let closed = xml.look_ahead(|ahead| {
        usual(&mut fields, ahead, part);
        ahead.passes("</note>").is_some()
    });
    while !closed && let Some(child) = xml.child()? {
        read_child(&mut fields, xml, &child, part, scale)?;
    }
    fields.finish(xml, element, part, scale)
}

/// One child of the note.
fn read_child(
    fields: &mut NoteFields,
    xml: &mut Xml<'_>,
    child: &Element<'_>,
    part: &mut PartReader,
    scale: &mut Scale,
) -> Parsed<()> {
    match child.name() {
        "pitch" => {
            let (pitch, impossible) = pitch(xml, child)?;
            fields.head(Head::Pitched(pitch));
            fields.impossible = impossible;
        }
        "duration" => fields.duration(part.duration(xml, child, scale)?),
        "voice" => fields.voice(part.voice_number(&xml.text()?)),
        "staff" => fields.staff(xml.whole(child)?),
        "notehead" => {
            let bracketed = child.is("parentheses", "yes")?;
            fields.notehead(&xml.text()?, bracketed);
        }
        "notations" => notations(&mut fields.notations, xml)?,
        "lyric" => {
            let mut ends_word = true;
            while let Some(field) = xml.child()? {
                if field.name() == "syllabic" {
                    ends_word = matches!(xml.text()?.trim(), "single" | "end");
                } else {
                    xml.skip()?;
                }
            }
            fields.lyric(ends_word);
        }
        "type" => fields.note_type(&xml.text()?),
        "time-modification" if fields.counts_shape() => {
            let (mut actual, mut normal) = (1, 1);
            while let Some(field) = xml.child()? {
                match field.name() {
                    "actual-notes" => actual = xml.whole(&field)?,
                    "normal-notes" => normal = xml.whole(&field)?,
                    _ => xml.skip()?,
                }
            }
            fields.time_modification(actual, normal);
        }
        name => {
            match name {
                "chord" => fields.chord(),
                "rest" => {
                    let measure = child.is("measure", "yes")?;
                    fields.head(Head::Rest { measure });
                }
                "unpitched" => fields.head(Head::Unpitched),
                "grace" => fields.grace(),
                "cue" => fields.cue(),
                "tie" => fields.tie(tie(child)?),
                "accidental" => fields.accidental(),
                "dot" => fields.dot(),
                _ => {}
            }
            xml.skip()?;
        }
    }
    Ok(())
}

/// The children of a `<notations>`.
fn notations(notations: &mut Notations, xml: &mut Xml<'_>) -> Parsed<()> {
    while let Some(child) = xml.child()? {
        match child.name() {
            "articulations" => {
                while let Some(mark) = xml.child()? {
                    notations.mark(mark.name());
                    xml.skip()?;
                }
            }
            "dynamics" => notations.dynamics = direction::dynamics(xml)?,
            _ => {
                notations.childless(&child)?;
                xml.skip()?;
            }
        }
    }
    Ok(())
}

/// Reads a `<pitch>`: written pitch, and why there is no such note.
fn pitch(xml: &mut Xml<'_>, element: &Element<'_>) -> Parsed<(Pitch, Option<String>)> {
    let mut impossible = None;
    let mut step = None;
    let mut alter = 0;
    let mut octave = None;
    while let Some(child) = xml.child()? {
        match child.name() {
            "step" => {
                let text = xml.text()?;
                step = Some(values::step(&text).ok_or_else(|| {
                    fault(
                        xml,
                        &child,
                        format!(
                            "<step> holds `{}`, where a letter A to G was expected",
                            text.trim()
                        ),
                    )
                })?);
            }
            "alter" => {
                let semitones = xml.rounded(&child)?;
                alter = values::alteration(semitones).unwrap_or_else(|| {
                    impossible = Some(format!("altered by {semitones} semitones"));
                    0
                });
            }
            "octave" => {
                let number = xml.whole(&child)?;
                octave = Some(values::octave(number).ok_or_else(|| {
                    fault(
                        xml,
                        &child,
                        format!(
                            "octave {number} does not exist; octaves are 0 to 9 (C4 is middle C)"
                        ),
                    )
                })?);
            }
            _ => xml.skip()?,
        }
    }
    match (step, octave) {
        (Some(step), Some(octave)) => Ok((Pitch::new(step, alter, octave), impossible)),
        _ => Err(fault(
            xml,
            element,
            "this <pitch> lacks its <step> or its <octave>".to_owned(),
        )),
    }
}

/// A fault of an element that has been read to its end.
fn fault(xml: &Xml<'_>, element: &Element<'_>, message: String) -> Box<Fault> {
    Fault::new(element.start()..xml.position(), message)
}
