//! How a `<note>` usually looks: its children in the order that the schema asks for, each written in the
//! usual way, compared with the text ahead. What each of them means is said in `note_fields.rs`; whatever
//! is not usual is left to `note.rs`.

use super::note_fields::{Head, Notations, NoteFields};
use super::part::{PartReader, voice_of_its_own};
use super::values;
use super::xml::Ahead;
use crate::ground::pitch::Pitch;
use crate::score::NoteFlags;

/// Takes the usual children that come next into the note.
#[inline]
pub(super) fn usual(fields: &mut NoteFields, ahead: &mut Ahead<'_>, part: &PartReader) {
    if ahead.passes("<chord/>").is_some() {
        fields.chord();
    }
    if let Some(pitch) = ahead.element("<pitch>", "</pitch>", pitch) {
        fields.head(Head::Pitched(pitch));
    } else if ahead.passes("<rest/>").is_some() {
        fields.head(Head::Rest { measure: false });
    } else if ahead
        .element("<unpitched>", "</unpitched>", place)
        .is_some()
    {
        fields.head(Head::Unpitched);
    }
    let ticks = |text| part.whole_divisions(text);
    let Some(ticks) = ahead.leaf("<duration>", "</duration>", ticks) else {
        return;
    };
    fields.duration(ticks);
    while let Some(end) = tie(ahead) {
        fields.tie(end);
    }
    if let Some(number) = ahead.leaf("<voice>", "</voice>", voice_of_its_own) {
        fields.voice(number);
    }
    if let Some(text) = ahead.leaf("<type>", "</type>", Some) {
        fields.note_type(text);
    }
    while ahead.passes("<dot/>").is_some() {
        fields.dot();
    }
    if ahead.leaf("<accidental>", "</accidental>", Some).is_some() {
        fields.accidental();
    }
    // Beside a duration its figures are not looked at.
    ahead.element("<time-modification>", "</time-modification>", |inside| {
        inside.leaf("<actual-notes>", "</actual-notes>", Some)?;
        inside.leaf("<normal-notes>", "</normal-notes>", Some)
    });
    ahead.leaf("<stem>", "</stem>", Some);
    if let Some(text) = ahead.leaf("<notehead>", "</notehead>", Some) {
        fields.notehead(text, false);
    }
    if let Some(number) = ahead.leaf("<staff>", "</staff>", |text| text.parse().ok()) {
        fields.staff(number);
    }
    for beam in [r#"<beam number="1">"#, r#"<beam number="2">"#] {
        ahead.leaf(beam, "</beam>", Some);
    }
    if let Some(notations) = ahead.element("<notations>", "</notations>", notations) {
        fields.notations = notations;
    }
}

/// Where an `<unpitched>` is drawn, which is not looked at.
#[inline]
fn place<'a>(inside: &mut Ahead<'a>) -> Option<&'a str> {
    inside.leaf("<display-step>", "</display-step>", Some)?;
    inside.leaf("<display-octave>", "</display-octave>", Some)
}

/// The children of a `<pitch>`: written pitch.
#[inline]
fn pitch(ahead: &mut Ahead<'_>) -> Option<Pitch> {
    let step = ahead.leaf("<step>", "</step>", values::step)?;
    let alter = ahead.leaf("<alter>", "</alter>", |text| {
        values::alteration(text.parse().ok()?)
    });
    let octave = ahead.leaf("<octave>", "</octave>", |text| {
        values::octave(text.parse().ok()?)
    })?;
    Some(Pitch::new(step, alter.unwrap_or(0), octave))
}

#[inline]
fn tie(ahead: &mut Ahead<'_>) -> Option<NoteFlags> {
    if ahead.passes(r#"<tie type="start"/>"#).is_some() {
        return Some(NoteFlags::TIED_OUT);
    }
    ahead.passes(r#"<tie type="stop"/>"#)?;
    Some(NoteFlags::TIED_IN)
}

/// The children of `<notations>`: articulations and elements without content.
fn notations(ahead: &mut Ahead<'_>) -> Option<Notations> {
    let mut notations = Notations::default();
    loop {
        if ahead.passes("<articulations>").is_some() {
            while let Some(mark) = ahead.childless() {
                notations.mark(mark.name());
            }
            ahead.passes("</articulations>")?;
        } else if let Some(child) = ahead.childless() {
            notations.childless(&child).ok()?;
        } else {
            break;
        }
    }
    Some(notations)
}
