//! The children of a `<note>` as they are taken into it: what each of them means.
//!
//! Both ways of reading a note end here: child by child (`note.rs`), and the usual children compared with
//! the text ahead (`note_ahead.rs`).
#![allow(
    clippy::arithmetic_side_effects,
    reason = "a note type, its dots and 16-bit figures of a tuplet; counts of elements"
)]

use super::part::{PartReader, SlurEnd, span};
use super::scale::Scale;
use super::values::{dotted, note_type};
use super::xml::{Element, Xml};
use crate::ground::pitch::Pitch;
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::reading::fault::{Fault, Parsed};
use crate::score::{Articulations, Mark, Note, NoteFlags, Place, Rest};
use num_rational::Ratio;
use smallvec::SmallVec;

/// What a `<note>` is, as far as its first children have said.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Head {
    Pitched(Pitch),
    Unpitched,
    /// A rest; the file may say that it stands for the whole bar.
    Rest {
        measure: bool,
    },
}

/// What the children of a `<note>` say, until its end is reached.
pub(super) struct NoteFields {
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
    /// Words stand under the note.
    lyric: bool,
    /// Why there is no such note, in words that go on after its name.
    pub impossible: Option<String>,
    pub notations: Notations,
    /// The note type, its dots and its time modification: the length when there is no duration.
    shape: Option<Ratio<i64>>,
    dots: u32,
    modification: Ratio<i64>,
}

/// What the `<notations>` of a note say.
#[derive(Default)]
pub(super) struct Notations {
    tied: NoteFlags,
    articulations: Articulations,
    /// Ends of slurs: their number, and whether they start here.
    slurs: SmallVec<[(u8, bool); 2]>,
    pub dynamics: Option<String>,
}

impl NoteFields {
    #[inline]
    pub(super) fn new() -> Self {
        Self {
            head: None,
            flags: NoteFlags::default(),
            chord: false,
            duration: None,
            voice: None,
            staff: 1,
            tie: NoteFlags::default(),
            accidental: false,
            lyric: false,
            impossible: None,
            notations: Notations::default(),
            shape: None,
            dots: 0,
            modification: Ratio::from_integer(1),
        }
    }

    #[inline]
    fn flag(&mut self, flag: NoteFlags) {
        self.flags = self.flags.with(flag);
    }

    /// A `<pitch>`, `<unpitched>` or `<rest>`.
    #[inline]
    pub(super) fn head(&mut self, head: Head) {
        self.head = Some(head);
    }

    /// A `<chord>`: the note stands with the one before it.
    #[inline]
    pub(super) fn chord(&mut self) {
        self.chord = true;
    }

    /// A `<grace>`.
    pub(super) fn grace(&mut self) {
        self.flag(NoteFlags::GRACE);
    }

    /// A `<cue>`.
    pub(super) fn cue(&mut self) {
        self.flag(NoteFlags::CUE);
    }

    /// A `<duration>`.
    #[inline]
    pub(super) fn duration(&mut self, ticks: Ticks) {
        self.duration = Some(ticks);
    }

    /// A `<voice>`, by the number that its name has in the part.
    #[inline]
    pub(super) fn voice(&mut self, number: u8) {
        self.voice = Some(number);
    }

    /// A `<staff>`, counted from 1; some files count from 0.
    #[inline]
    pub(super) fn staff(&mut self, number: u8) {
        self.staff = number.max(1);
    }

    /// A `<tie>`.
    #[inline]
    pub(super) fn tie(&mut self, end: NoteFlags) {
        self.tie = self.tie.with(end);
    }

    /// An `<accidental>`: that there is one, not which.
    #[inline]
    pub(super) fn accidental(&mut self) {
        self.accidental = true;
    }

    /// A `<lyric>`: that there is one, and whether a word ends with it; not what it says.
    pub(super) fn lyric(&mut self, ends_word: bool) {
        self.lyric = true;
        if ends_word {
            self.flag(NoteFlags::WORD_END);
        }
    }

    /// A `<notehead>`, which may stand in brackets.
    #[inline]
    pub(super) fn notehead(&mut self, text: &str, bracketed: bool) {
        match notehead(text) {
            Some(flag) => self.flag(flag),
            None if bracketed => self.flag(NoteFlags::GHOST),
            None => {}
        }
    }

    /// Whether `<type>`, `<dot>` and `<time-modification>` are looked at: only where no duration has come
    /// before them, as it should have.
    #[inline]
    pub(super) fn counts_shape(&self) -> bool {
        self.duration.is_none()
    }

    /// A `<type>`.
    #[inline]
    pub(super) fn note_type(&mut self, text: &str) {
        if self.counts_shape() {
            self.shape = note_type(text.trim());
        }
    }

    /// A `<dot>`.
    #[inline]
    pub(super) fn dot(&mut self) {
        if self.counts_shape() {
            self.dots = self.dots.saturating_add(1);
        }
    }

    /// A `<time-modification>`: so many notes in the time of so many.
    pub(super) fn time_modification(&mut self, actual: u16, normal: u16) {
        self.modification = Ratio::new(i64::from(normal.max(1)), i64::from(actual.max(1)));
    }

    /// How long the note lasts.
    fn length(
        &self,
        head: Head,
        xml: &Xml<'_>,
        element: &Element<'_>,
        part: &PartReader,
        scale: &mut Scale,
    ) -> Parsed<Ticks> {
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

    /// Adds a note with a pitch to its part: when it stands, how long it lasts, its voice and its bytes.
    fn pitched(
        &mut self,
        written: Pitch,
        (at, duration, voice, span): (Place, Ticks, u8, Span),
        part: &mut PartReader,
    ) {
        let ties = if self.tie == NoteFlags::default() {
            self.notations.tied
        } else {
            self.tie
        };
        self.flag(ties);
        self.flag(self.notations.slur_ends());
        if self.chord {
            self.flag(NoteFlags::CHORD_MEMBER);
        }
        if let Some(why) = self.impossible.take() {
            self.flag(NoteFlags::LEFT_OUT);
            part.part.impossible.push(Mark::new(at, why, span));
        }
        if part.slashes {
            self.flag(NoteFlags::SLASH);
        }
        part.part.lyrics += u32::from(self.lyric);
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

    /// Puts the note where it belongs, now that all of it is known.
    pub(super) fn finish(
        mut self,
        xml: &Xml<'_>,
        element: &Element<'_>,
        part: &mut PartReader,
        scale: &mut Scale,
    ) -> Parsed<()> {
        let span = span(element.start(), xml);
        // Some files leave the sign of a grace note out of all but the first of a chord.
        if self.chord && part.grace {
            self.flag(NoteFlags::GRACE);
        }
        part.grace = self.flags.has(NoteFlags::GRACE);
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
            Head::Pitched(written) => self.pitched(written, (at, duration, voice, span), part),
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
    /// Whether slurs start or stop here.
    fn slur_ends(&self) -> NoteFlags {
        let slurs = self.slurs.iter();
        slurs.fold(NoteFlags::default(), |flags, (_, start)| {
            flags.with(if *start {
                NoteFlags::SLUR_START
            } else {
                NoteFlags::SLUR_STOP
            })
        })
    }

    /// A child that says all in its tag.
    pub(super) fn childless(&mut self, child: &Element<'_>) -> Parsed<()> {
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
            "arpeggiate" => self.articulations = self.articulations.with(Articulations::ROLLED),
            _ => {}
        }
        Ok(())
    }

    /// A child of `<articulations>`.
    pub(super) fn mark(&mut self, name: &str) {
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

/// The end of a tie that a `<tie>` or `<tied>` stands for.
pub(super) fn tie(element: &Element<'_>) -> Parsed<NoteFlags> {
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
