//! Notes and rests.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "a note type, its dots and 16-bit figures of a tuplet; counts of elements"
)]

use super::direction;
use super::part::{PartReader, SlurEnd, span, voice_of_its_own};
use super::scale::{Scale, dotted, note_type};
use super::xml::{Ahead, Element, Fault, Walk, Xml};
use crate::ground::pitch::{Pitch, Step};
use crate::ground::time::Ticks;
use crate::score::{Articulations, Mark, Note, NoteFlags, Rest};
use num_rational::Ratio;
use smallvec::SmallVec;
use std::ops::RangeInclusive;

/// What a `<note>` is, as far as its first children have said.
#[derive(Clone, Copy, PartialEq)]
enum Head {
    Pitched(Pitch),
    Unpitched,
    /// A rest; the file may say that it stands for the whole bar.
    Rest {
        measure: bool,
    },
}

/// What the children of a `<note>` say, until its end is reached.
struct Fields {
    head: Option<Head>,
    flags: NoteFlags,
    chord: bool,
    duration: Option<Ticks>,
    voice: Option<u8>,
    staff: u8,
    /// Ties as heard (`<tie>`), which count before those that are drawn (`<tied>`).
    tie: NoteFlags,
    /// An accidental is printed.
    accidental: bool,
    notations: Notations,
    /// The note type, its dots and its time modification: the length when there is no duration.
    shape: Option<Ratio<i64>>,
    dots: u32,
    modification: Ratio<i64>,
}

/// What the `<notations>` of a note say.
#[derive(Default)]
struct Notations {
    tied: NoteFlags,
    articulations: Articulations,
    /// Ends of slurs: their number, and whether they start here.
    slurs: SmallVec<[(u8, bool); 2]>,
    dynamics: Option<String>,
}

/// Reads a `<note>`.
pub(super) fn read(
    xml: &mut Xml<'_>,
    element: &Element<'_>,
    part: &mut PartReader,
    scale: &mut Scale,
) -> Walk<()> {
    let mut fields = Fields {
        head: None,
        flags: NoteFlags::default(),
        chord: false,
        duration: None,
        voice: None,
        staff: 1,
        tie: NoteFlags::default(),
        accidental: false,
        notations: Notations::default(),
        shape: None,
        dots: 0,
        modification: Ratio::from_integer(1),
    };
    let closed = xml.look_ahead(|ahead| {
        fields.usual(ahead, part);
        ahead.passes("</note>").is_some()
    });
    while !closed && let Some(child) = xml.child()? {
        fields.take(xml, &child, part, scale)?;
    }
    fields.finish(xml, element, part, scale)
}

impl Fields {
    fn flag(&mut self, flag: NoteFlags) {
        self.flags = self.flags.with(flag);
    }

    /// What nearly every note says, in the order that the schema asks for.
    fn usual(&mut self, ahead: &mut Ahead<'_>, part: &PartReader) {
        self.chord = ahead.passes("<chord/>").is_some();
        if let Some(pitch) = ahead.all_of(usual_pitch) {
            self.head = Some(Head::Pitched(pitch));
        } else if ahead.passes("<rest/>").is_some() {
            self.head = Some(Head::Rest { measure: false });
        } else if ahead.all_of(usual_unpitched).is_some() {
            self.head = Some(Head::Unpitched);
        }
        self.duration = ahead.leaf("<duration>", "</duration>", |text| {
            part.whole_divisions(text)
        });
        if self.duration.is_none() {
            return;
        }
        while let Some(end) = usual_tie(ahead) {
            self.tie = self.tie.with(end);
        }
        self.voice = ahead.leaf("<voice>", "</voice>", voice_of_its_own);
        // Beside a duration the shape says nothing more.
        ahead.leaf("<type>", "</type>", Some);
        while ahead.passes("<dot/>").is_some() {}
        let accidental = ahead.leaf("<accidental>", "</accidental>", Some);
        self.accidental = accidental.is_some();
        ahead.all_of(usual_modification);
        ahead.leaf("<stem>", "</stem>", Some);
        if let Some(flag) = ahead.leaf("<notehead>", "</notehead>", |text| Some(notehead(text))) {
            self.flag(flag.unwrap_or_default());
        }
        let staff = ahead.leaf("<staff>", "</staff>", |text| text.parse::<u8>().ok());
        self.staff = staff.unwrap_or(1).max(1);
        for beam in [r#"<beam number="1">"#, r#"<beam number="2">"#] {
            ahead.leaf(beam, "</beam>", Some);
        }
        if let Some(notations) = ahead.all_of(Notations::usual) {
            self.notations = notations;
        }
    }

    /// One child of the note.
    fn take(
        &mut self,
        xml: &mut Xml<'_>,
        child: &Element<'_>,
        part: &mut PartReader,
        scale: &mut Scale,
    ) -> Walk<()> {
        match child.name() {
            "pitch" => self.head = Some(Head::Pitched(pitch(xml, child)?)),
            "duration" => self.duration = Some(part.duration(xml, child, scale)?),
            "voice" => self.voice = Some(part.voice_number(&xml.text()?)),
            "staff" => self.staff = xml.whole::<u8>(child)?.max(1),
            "chord" => {
                self.chord = true;
                xml.skip()?;
            }
            "rest" => {
                let measure = child.is("measure", "yes")?;
                self.head = Some(Head::Rest { measure });
                xml.skip()?;
            }
            "unpitched" => {
                self.head = Some(Head::Unpitched);
                xml.skip()?;
            }
            "grace" => {
                self.flag(NoteFlags::GRACE);
                xml.skip()?;
            }
            "cue" => {
                self.flag(NoteFlags::CUE);
                xml.skip()?;
            }
            "tie" => {
                self.tie = self.tie.with(tie(child)?);
                xml.skip()?;
            }
            "accidental" => {
                self.accidental = true;
                xml.skip()?;
            }
            "notehead" => {
                let bracketed = child.is("parentheses", "yes")?;
                match notehead(&xml.text()?) {
                    Some(flag) => self.flag(flag),
                    None if bracketed => self.flag(NoteFlags::GHOST),
                    None => {}
                }
            }
            "notations" => self.notations.read(xml)?,
            // The shape matters only when no duration has come before it, as it should have.
            "type" if self.duration.is_none() => self.shape = note_type(xml.text()?.trim()),
            "dot" if self.duration.is_none() => {
                self.dots = self.dots.saturating_add(1);
                xml.skip()?;
            }
            "time-modification" if self.duration.is_none() => {
                let (mut actual, mut normal) = (1, 1);
                while let Some(field) = xml.child()? {
                    match field.name() {
                        "actual-notes" => actual = xml.whole::<u16>(&field)?.max(1),
                        "normal-notes" => normal = xml.whole::<u16>(&field)?.max(1),
                        _ => xml.skip()?,
                    }
                }
                self.modification = Ratio::new(i64::from(normal), i64::from(actual));
            }
            _ => xml.skip()?,
        }
        Ok(())
    }

    /// How long the note lasts.
    fn length(
        &self,
        head: Head,
        xml: &Xml<'_>,
        element: &Element<'_>,
        part: &PartReader,
        scale: &mut Scale,
    ) -> Walk<Ticks> {
        if self.flags.has(NoteFlags::GRACE) {
            return Ok(Ticks::ZERO);
        }
        if let Some(duration) = self.duration {
            return Ok(duration);
        }
        if head == (Head::Rest { measure: true }) {
            return Ok(part.meter.bar(Ticks(scale.per_quarter)));
        }
        let at = element.start()..xml.position();
        match self.shape {
            Some(shape) => {
                let quarters = dotted(shape, self.dots) * self.modification;
                scale.ticks(quarters, Ratio::from_integer(1), &at)
            }
            None => Err(Fault::new(
                at,
                "this note says neither its <duration> nor its <type>, so its length is unknown",
            )),
        }
    }

    /// Puts the note where it belongs, now that all of it is known.
    fn finish(
        mut self,
        xml: &Xml<'_>,
        element: &Element<'_>,
        part: &mut PartReader,
        scale: &mut Scale,
    ) -> Walk<()> {
        let span = span(element.start(), xml);
        // A note of tablature may have only its fret: it is a note whose pitch is not known.
        let head = self.head.unwrap_or(Head::Unpitched);
        let duration = self.length(head, xml, element, part, scale)?;
        let voice = match self.voice {
            Some(voice) => voice,
            // A chord member belongs to the note it stands with.
            None if self.chord => part.voice,
            None => 1,
        };
        let onset = if self.chord { part.onset } else { part.cursor };
        let at = part.place(onset);
        match head {
            Head::Pitched(written) => {
                let ties = if self.tie == NoteFlags::default() {
                    self.notations.tied
                } else {
                    self.tie
                };
                self.flag(ties);
                let slurs = self.notations.slurs.iter();
                self.flags = slurs.fold(self.flags, |flags, (_, start)| {
                    flags.with(if *start {
                        NoteFlags::SLUR_START
                    } else {
                        NoteFlags::SLUR_STOP
                    })
                });
                if self.chord {
                    self.flag(NoteFlags::CHORD_MEMBER);
                }
                if part.slashes {
                    self.flag(NoteFlags::SLASH);
                }
                if self.accidental {
                    part.part.accidentals.push(span);
                }
                let sounding = written.transposed(part.transposition(self.staff));
                part.part.notes.push(Note {
                    at,
                    onset: Ticks::ZERO,
                    duration,
                    written,
                    sounding,
                    staff: self.staff,
                    voice,
                    flags: self.flags,
                    articulations: self.notations.articulations,
                    span,
                });
            }
            Head::Unpitched => part.part.unpitched += 1,
            Head::Rest { measure } => part.part.rests.push(Rest {
                at,
                onset: Ticks::ZERO,
                duration,
                staff: self.staff,
                voice,
                whole_bar: measure,
                span,
            }),
        }
        for (number, start) in self.notations.slurs {
            part.slurs.push(SlurEnd {
                number,
                start,
                grace: self.flags.has(NoteFlags::GRACE),
                at,
                span,
            });
        }
        if let Some(dynamics) = self.notations.dynamics {
            part.part.dynamics.push(Mark::new(at, dynamics, span));
        }
        part.part.staves = part.part.staves.max(self.staff);
        part.voice = voice;
        if !self.chord {
            part.onset = part.cursor;
            part.move_on(duration, element)?;
        }
        Ok(())
    }
}

impl Notations {
    /// `<notations>` as nearly all are written.
    fn usual(ahead: &mut Ahead<'_>) -> Option<Self> {
        ahead.passes("<notations>")?;
        let mut notations = Self::default();
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
        ahead.passes("</notations>")?;
        Some(notations)
    }

    fn read(&mut self, xml: &mut Xml<'_>) -> Walk<()> {
        while let Some(child) = xml.child()? {
            match child.name() {
                "articulations" => {
                    while let Some(mark) = xml.child()? {
                        self.mark(mark.name());
                        xml.skip()?;
                    }
                }
                "dynamics" => self.dynamics = direction::dynamics(xml)?,
                _ => {
                    self.childless(&child)?;
                    xml.skip()?;
                }
            }
        }
        Ok(())
    }

    /// A child that says all in its tag.
    fn childless(&mut self, child: &Element<'_>) -> Walk<()> {
        match child.name() {
            "tied" => self.tied = self.tied.with(tie(child)?),
            "slur" => {
                let number = child.attr_number::<u8>("number")?.unwrap_or(1);
                match child.attr("type")?.as_deref().map(str::trim) {
                    Some("start") => self.slurs.push((number, true)),
                    Some("stop") => self.slurs.push((number, false)),
                    _ => {}
                }
            }
            "fermata" => self.articulations = self.articulations.with(Articulations::FERMATA),
            _ => {}
        }
        Ok(())
    }

    /// A child of `<articulations>`.
    fn mark(&mut self, name: &str) {
        self.articulations = self.articulations.with(articulation(name));
    }
}

/// What the text of a `<notehead>` says of its note.
fn notehead(text: &str) -> Option<NoteFlags> {
    match text.trim() {
        "slash" | "slashed" => Some(NoteFlags::SLASH),
        "x" | "cross" | "circle-x" => Some(NoteFlags::GHOST),
        _ => None,
    }
}

/// A `<tie>` as nearly all are written.
#[inline]
fn usual_tie(ahead: &mut Ahead<'_>) -> Option<NoteFlags> {
    if ahead.passes(r#"<tie type="start"/>"#).is_some() {
        return Some(NoteFlags::TIED_OUT);
    }
    ahead.passes(r#"<tie type="stop"/>"#)?;
    Some(NoteFlags::TIED_IN)
}

/// The end of a tie that a `<tie>` or `<tied>` stands for.
fn tie(element: &Element<'_>) -> Walk<NoteFlags> {
    Ok(match element.attr("type")?.as_deref() {
        Some("start") => NoteFlags::TIED_OUT,
        Some("stop") => NoteFlags::TIED_IN,
        Some("continue") => NoteFlags::TIED_IN.with(NoteFlags::TIED_OUT),
        // `let-ring` ties to nothing.
        _ => NoteFlags::default(),
    })
}

fn articulation(name: &str) -> Articulations {
    match name {
        "accent" => Articulations::ACCENT,
        "strong-accent" => Articulations::MARCATO,
        "staccato" => Articulations::STACCATO,
        "tenuto" => Articulations::TENUTO,
        "detached-legato" => Articulations::TENUTO.with(Articulations::STACCATO),
        "staccatissimo" => Articulations::STACCATISSIMO,
        "falloff" => Articulations::FALL,
        "doit" => Articulations::DOIT,
        "scoop" => Articulations::SCOOP,
        "plop" => Articulations::PLOP,
        "breath-mark" | "caesura" => Articulations::BREATH,
        _ => Articulations::default(),
    }
}

/// Semitones that a note can be altered by.
const ALTERS: RangeInclusive<i64> = -3..=3;

/// Octaves that are read.
const OCTAVES: RangeInclusive<i8> = -1..=10;

/// A `<pitch>` as nearly all are written: written pitch.
#[inline]
fn usual_pitch(ahead: &mut Ahead<'_>) -> Option<Pitch> {
    ahead.passes("<pitch>")?;
    let step = ahead.leaf("<step>", "</step>", one_letter)?;
    let alter = ahead.leaf("<alter>", "</alter>", |text| {
        text.parse().ok().filter(|a| ALTERS.contains(a))
    });
    let octave = ahead.leaf("<octave>", "</octave>", |text| {
        text.parse().ok().filter(|o| OCTAVES.contains(o))
    })?;
    ahead.passes("</pitch>")?;
    Some(Pitch::new(step, alter.unwrap_or(0) as i8, octave))
}

/// An `<unpitched>` as nearly all are written: where it is drawn is not asked.
#[inline]
fn usual_unpitched(ahead: &mut Ahead<'_>) -> Option<()> {
    ahead.passes("<unpitched>")?;
    ahead.leaf("<display-step>", "</display-step>", Some)?;
    ahead.leaf("<display-octave>", "</display-octave>", Some)?;
    ahead.passes("</unpitched>")
}

/// A `<time-modification>` as nearly all are written: the duration has it in it.
#[inline]
fn usual_modification(ahead: &mut Ahead<'_>) -> Option<()> {
    ahead.passes("<time-modification>")?;
    ahead.leaf("<actual-notes>", "</actual-notes>", Some)?;
    ahead.leaf("<normal-notes>", "</normal-notes>", Some)?;
    ahead.passes("</time-modification>")
}

/// Reads a `<pitch>`: written pitch.
fn pitch(xml: &mut Xml<'_>, element: &Element<'_>) -> Walk<Pitch> {
    let mut step = None;
    let mut alter = 0;
    let mut octave = None;
    while let Some(child) = xml.child()? {
        match child.name() {
            "step" => {
                let text = xml.text()?;
                step = one_letter(&text);
                if step.is_none() {
                    return Err(Fault::new(
                        child.start()..xml.position(),
                        format!(
                            "<step> holds `{}`, where a letter A to G was expected",
                            text.trim()
                        ),
                    ));
                }
            }
            "alter" => {
                alter = xml.rounded(&child)?;
                if !ALTERS.contains(&alter) {
                    return Err(Fault::new(
                        child.start()..xml.position(),
                        format!(
                            "an alteration of {alter} semitones is not readable; at most 3 are"
                        ),
                    ));
                }
            }
            "octave" => {
                let number = xml.whole::<i8>(&child)?;
                if !OCTAVES.contains(&number) {
                    return Err(Fault::new(
                        child.start()..xml.position(),
                        format!(
                            "octave {number} does not exist; octaves are 0 to 9 (C4 is middle C)"
                        ),
                    ));
                }
                octave = Some(number);
            }
            _ => xml.skip()?,
        }
    }
    match (step, octave) {
        (Some(step), Some(octave)) => Ok(Pitch::new(step, alter as i8, octave)),
        _ => Err(Fault::new(
            element.start()..xml.position(),
            "this <pitch> lacks its <step> or its <octave>",
        )),
    }
}

/// The step that a one-letter text names.
pub(super) fn one_letter(text: &str) -> Option<Step> {
    let mut chars = text.trim().chars();
    let step = Step::from_char(chars.next()?)?;
    chars.next().is_none().then_some(step)
}
