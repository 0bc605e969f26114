//! One part as it is shown in a picture: its staves with everything that stands on them, not yet
//! placed.

use super::events::{DrawnEvent, DrawnHead};
use super::glyphs::{self, Glyph};
use super::spacing::{Staff, StaffChange};
use super::{Engraver, Excerpt, Highlight, ShownPitch};
use crate::ground::pitch::{Pitch, Step};
use crate::ground::time::{Meter, Ticks};
use crate::notation::clefs::{clef_at, default_clef, middle_line};
use crate::notation::{
    self, EventKind, PlayersPage, PrintedEvent, PrintedVoice, Quarters, quarters,
};
use crate::score::{Articulations, Clef, Mark, NoteFlags, Part, Score, in_force};
use std::collections::HashMap;

/// A part with the pitch in which it is shown.
pub(super) struct ShownPart<'a> {
    score: &'a Score,
    part: &'a Part,
    /// 0-based, among the score's parts.
    index: u32,
    shown: ShownPitch,
    /// Of each staff that states none, at written pitch.
    default_clefs: &'a [Clef],
    /// At sounding pitch, where the written clef would not do.
    concert_clef: Option<Clef>,
    meters: &'a [Mark<Meter>],
}

impl PlayersPage for ShownPart<'_> {
    fn pitch(&self, note: usize) -> Pitch {
        let note = self.part.notes.get(note);
        note.map_or(Pitch::new(Step::C, 0, 4), |n| match self.shown {
            ShownPitch::Written => n.written,
            ShownPitch::Sounding => n.sounding,
        })
    }

    fn meter(&self, onset: Ticks) -> Meter {
        in_force(self.meters, onset).map_or(Meter::COMMON, |m| m.value)
    }

    fn clef(&self, staff: u8, onset: Ticks) -> Clef {
        if let (ShownPitch::Sounding, Some(clef)) = (self.shown, self.concert_clef) {
            return Clef { staff, ..clef };
        }
        let mut clef = clef_at(self.part, staff, onset)
            .unwrap_or_else(|| default_clef(self.default_clefs, staff));
        if self.shown == ShownPitch::Sounding {
            let octaves = self.part.transposition(onset).chromatic / 12;
            clef.octave = clef.octave.saturating_add(octaves as i8);
        }
        clef
    }

    fn fifths(&self, onset: Ticks) -> i8 {
        match self.shown {
            ShownPitch::Written => self.part.key(onset).fifths,
            ShownPitch::Sounding => self.part.concert_fifths(onset),
        }
    }
}

/// The bars of a picture as times of the score.
struct Shown {
    start: Ticks,
    end: Ticks,
}

impl Shown {
    /// Whether a time lies after the start: a change there is drawn where it happens.
    fn has_inside(&self, onset: Ticks) -> bool {
        onset > self.start && onset < self.end
    }
}

/// Where a printed voice stands.
#[derive(Clone, Copy)]
struct VoicePlace {
    /// 0-based bar of the score.
    bar: u32,
    /// 0-based, among the voices of its bar.
    voice: usize,
    /// 1-based, from the top of the part.
    staff: u8,
    /// Where several voices share the staff: whether this is an upper one.
    upper: Option<bool>,
}

impl<'a> ShownPart<'a> {
    /// The part with an index; none when the score has no such part.
    pub(super) fn new(
        engraver: &'a Engraver,
        score: &'a Score,
        index: u32,
        shown: ShownPitch,
    ) -> Option<Self> {
        let part = score.parts.get(index as usize)?;
        Some(Self {
            score,
            part,
            index,
            shown,
            default_clefs: engraver
                .written
                .get(index as usize)
                .map_or(&[][..], Vec::as_slice),
            concert_clef: engraver.sounding.get(index as usize).copied().flatten(),
            meters: notation::meters(score, part),
        })
    }

    /// The staves of the part in the bars of an excerpt.
    pub(super) fn staves(&self, excerpt: &Excerpt<'_>) -> Vec<Staff> {
        let range = excerpt.bars.start as usize..excerpt.bars.end as usize;
        let printed = notation::lay_out(self.score, self.part, range.clone(), self);
        let highlights: HashMap<u32, Highlight> = excerpt
            .marks
            .iter()
            .filter(|(note, _)| note.part == self.index)
            .map(|(note, highlight)| (note.note, *highlight))
            .collect();
        (1..=self.part.staves.max(1))
            .map(|number| {
                let mut staff = self.empty_staff(number, excerpt);
                for bar in range.clone() {
                    let voices = printed.bars.get(bar).map_or(&[][..], Vec::as_slice);
                    for place in voice_places(bar, number, voices) {
                        if let Some(voice) = voices.get(place.voice) {
                            self.add_voice(&mut staff, place, voice, &highlights);
                        }
                    }
                }
                staff
            })
            .collect()
    }

    /// A staff with its signatures and dynamics, but without notes.
    fn empty_staff(&self, number: u8, excerpt: &Excerpt<'_>) -> Staff {
        let bars = excerpt.bars.clone();
        let bar = |bar: u32| self.score.bars.get(bar as usize);
        let onset = |b: u32| bar(b).map_or(Ticks::ZERO, |b| b.start);
        let start = onset(bars.start);
        let end = bar(bars.end.saturating_sub(1)).map_or(start, |b| b.start + b.length);
        let new_meter = bars.start == 0 || self.meters.iter().any(|m| m.onset == start);
        let dynamics = if number == 1 {
            self.part
                .dynamics
                .iter()
                .filter(|m| m.onset >= start && m.onset < end)
                .map(|m| {
                    let (bar, at) = self.place(m.onset);
                    (bar, at, m.value.clone())
                })
                .collect()
        } else {
            Vec::new()
        };
        let slashes = bars
            .filter(|b| self.part.bars.get(*b as usize).is_some_and(|b| b.slashes))
            .map(|b| (b, self.meter(onset(b)).beats))
            .collect();
        Staff {
            part: self.index,
            events: Vec::new(),
            clef: self.clef(number, start),
            fifths: self.fifths(start),
            meter: new_meter.then(|| self.meter(start)),
            changes: self.changes(number, &Shown { start, end }),
            dynamics,
            slashes,
        }
    }

    /// The bar of a time of the score and the time in it.
    fn place(&self, onset: Ticks) -> (u32, Quarters) {
        let place = self.score.place_of(onset);
        (place.bar, quarters(place.offset, self.score.per_quarter))
    }

    /// The changes of clef, key and meter on a staff, in order of time.
    fn changes(&self, number: u8, shown: &Shown) -> Vec<(u32, Quarters, StaffChange)> {
        let mut changes = Vec::new();
        let mut add = |onset: Ticks, change: StaffChange| {
            let (bar, at) = self.place(onset);
            changes.push((bar, at, change));
        };
        if !(self.shown == ShownPitch::Sounding && self.concert_clef.is_some()) {
            let mut last = self.clef(number, shown.start);
            for mark in self.part.clefs.iter().filter(|m| m.value.staff == number) {
                let clef = self.clef(number, mark.onset);
                if shown.has_inside(mark.onset) && clef != last {
                    add(mark.onset, StaffChange::Clef(clef));
                    last = clef;
                }
            }
        }
        let mut last = self.fifths(shown.start);
        let keys = self.part.keys.iter().map(|m| m.onset);
        let transpositions = self.part.transpositions.iter().map(|m| m.onset);
        for onset in keys.chain(transpositions) {
            let fifths = self.fifths(onset);
            if shown.has_inside(onset) && fifths != last {
                add(onset, StaffChange::Key(fifths, last));
                last = fifths;
            }
        }
        let mut last = self.meter(shown.start);
        for mark in self.meters {
            if shown.has_inside(mark.onset) && mark.value != last {
                add(mark.onset, StaffChange::Meter(mark.value));
                last = mark.value;
            }
        }
        changes.sort_by_key(|c| (c.0, c.1));
        changes
    }

    /// Adds the events of a voice that stand on a staff.
    fn add_voice(
        &self,
        staff: &mut Staff,
        place: VoicePlace,
        voice: &PrintedVoice,
        highlights: &HashMap<u32, Highlight>,
    ) {
        let mut graces: Vec<DrawnEvent> = Vec::new();
        for printed in voice.events.iter().filter(|p| p.staff == place.staff) {
            let mut event = DrawnEvent::new(place.bar, place.voice, printed);
            event.upper = place.upper;
            let middle = middle_line(staff.clef_at(place.bar, printed.start));
            for head in &printed.heads {
                let note = self.part.notes.get(head.note);
                let flags = note.map(|n| n.flags).unwrap_or_default();
                if head.first {
                    let marks = note.map(|n| n.articulations).unwrap_or_default();
                    event.marks = Articulations(event.marks.0 | marks.0);
                }
                event.heads.push(DrawnHead {
                    pos: i32::from(head.pitch.diatonic() - middle),
                    glyph: head_glyph(flags, printed.value.map_or(3, |v| v.index)),
                    pitch: head.pitch,
                    dx: 0.0,
                    accidental: head.accidental.map(|a| (Glyph::accidental(a), 0.0)),
                    tie_in: head.tie_in,
                    tie_out: head.tie_out,
                    highlight: highlights.get(&(head.note as u32)).copied(),
                });
            }
            if printed.kind == EventKind::Grace {
                graces.push(event);
            } else {
                event.graces = std::mem::take(&mut graces);
                staff.events.push(event);
            }
        }
    }
}

/// The places of a bar's voices on a staff: of those with notes on it, every other one is an upper
/// one.
fn voice_places(bar: usize, staff: u8, voices: &[PrintedVoice]) -> Vec<VoicePlace> {
    let sounds = |p: &PrintedEvent| p.staff == staff && !p.is_rest();
    let sounding: Vec<usize> = voices
        .iter()
        .enumerate()
        .filter(|(_, voice)| voice.events.iter().any(sounds))
        .map(|(v, _)| v)
        .collect();
    (0..voices.len())
        .map(|voice| {
            let rank = sounding.iter().position(|v| *v == voice);
            VoicePlace {
                bar: bar as u32,
                voice,
                staff,
                upper: (sounding.len() > 1).then(|| rank.is_none_or(|r| r % 2 == 0)),
            }
        })
        .collect()
}

fn head_glyph(flags: NoteFlags, value: usize) -> Glyph {
    if flags.has(NoteFlags::SLASH) {
        return glyphs::HEAD_SLASH;
    }
    match value {
        0 | 12 | 13 => glyphs::HEAD_BREVE,
        1 => glyphs::HEAD_WHOLE,
        2 => glyphs::HEAD_HALF,
        _ if flags.has(NoteFlags::GHOST) => glyphs::HEAD_CROSS,
        _ => glyphs::HEAD_BLACK,
    }
}
