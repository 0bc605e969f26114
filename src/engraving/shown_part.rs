//! One part as it is shown in a picture: its staves with everything that stands on them, not yet
//! placed.

use super::events::{DrawnEvent, DrawnHead};
use super::filed::{Direction, FiledBar, FiledStem, FiledVoices, Sign};
use super::glyphs::{self, Glyph};
use super::spacing::{ShownMeter, Staff, StaffChange};
use super::{Engraver, Excerpt, Highlight, ShownPitch};
use crate::ground::pitch::{Pitch, Step};
use crate::ground::time::{Meter, Ticks};
use crate::notation::clefs::{clef_at, default_clef, middle_line};
use crate::notation::{
    self, Beam, EventKind, PlayersPage, PrintedEvent, PrintedVoice, Quarters, quarters,
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
        let bars: Vec<Option<FiledBar>> = range
            .clone()
            .map(|bar| FiledBar::read(self.score, self.part, bar))
            .collect();
        let filed = self.filed(&bars, range.start);
        let highlights: HashMap<u32, Highlight> = excerpt
            .marks
            .iter()
            .filter(|(note, _)| note.part == self.index)
            .map(|(note, highlight)| (note.note, *highlight))
            .collect();
        let directions: Vec<Direction> = (excerpt.bars.start..)
            .zip(&bars)
            .filter_map(|(bar, filed)| Some(filed.as_ref()?.directions(bar)))
            .flatten()
            .collect();
        (1..=self.part.staves.max(1))
            .map(|number| {
                let mut staff = self.empty_staff(number, excerpt, &bars);
                let own = directions.iter().filter(|d| d.staff == number);
                staff.directions = own.cloned().collect();
                for ((bar, filed), _) in range.clone().zip(&filed).zip(&bars) {
                    let own = printed.bars.get(bar).map_or(&[][..], Vec::as_slice);
                    let voices = filed.as_ref().map_or(own, |f| f.voices.as_slice());
                    let slashed = self.part.bars.get(bar).is_some_and(|b| b.slashes);
                    let heads = voices
                        .iter()
                        .any(|v| v.events.iter().any(|e| !e.heads.is_empty()));
                    if slashed && heads {
                        staff.slashes.retain(|s| s.0 as usize != bar);
                    } else if slashed {
                        continue; // slashes stand in place of its rest
                    }
                    for place in voice_places(bar, number, voices) {
                        if let Some(voice) = voices.get(place.voice) {
                            self.add_voice(&mut staff, place, voice, filed.as_ref(), &highlights);
                        }
                    }
                }
                staff
            })
            .collect()
    }

    /// The bars as their files have them, with what the files lack.
    fn filed(&self, bars: &[Option<FiledBar>], first: usize) -> Vec<Option<FiledVoices>> {
        let mut all: Vec<Option<FiledVoices>> = (first as u32..)
            .zip(bars)
            .map(|(bar, filed)| filed.as_ref()?.voices(self.part, bar))
            .collect();
        let beamed = all.iter().flatten().any(|f| f.beamed);
        for (bar, filed) in (first..).zip(&mut all) {
            let Some(filed) = filed else { continue };
            self.complete(filed, bar, !beamed);
        }
        all
    }

    /// Adds what the file of a bar leaves to be worked out, and keeps what it states.
    fn complete(&self, filed: &mut FiledVoices, bar: usize, beams: bool) {
        let heads = filed.voices.iter_mut().flat_map(|v| &mut v.events);
        for head in heads.flat_map(|e| &mut e.heads) {
            if head.note != usize::MAX {
                head.pitch = self.pitch(head.note);
            }
        }
        notation::complete(self.score, &mut filed.voices, bar, beams, self);
        let as_filed = self.shown == ShownPitch::Written || self.concert_clef.is_none();
        let mut stated = filed.stems.iter();
        for voice in &mut filed.voices {
            let stems = stated.next().map_or(&[][..], Vec::as_slice);
            for (event, stem) in voice.events.iter_mut().zip(stems) {
                if let (Some(stem), true) = (stem, as_filed && !filed.changed) {
                    event.stem = match stem {
                        FiledStem::Drawn(stem) => event.stem.map(|_| *stem),
                        FiledStem::None => None,
                    };
                }
            }
            one_way_under_beams(voice);
        }
        let exact = self.shown == ShownPitch::Written
            && !filed.changed
            && !self.part.accidentals.is_empty();
        let heads = filed.voices.iter_mut().flat_map(|v| &mut v.events);
        for head in heads.flat_map(|e| &mut e.heads) {
            let note = self.part.notes.get(head.note);
            let stated = filed.accidentals.get(&head.note).copied();
            // Where only some notes are changed, the others keep their accidentals.
            let kept =
                stated.filter(|a| self.shown == ShownPitch::Written && *a == head.pitch.alter);
            if note.is_none_or(|n| n.flags.has(NoteFlags::SLASH)) {
                head.accidental = None;
            } else if exact {
                head.accidental = stated;
            } else {
                head.accidental = head.accidental.or(kept);
            }
        }
    }

    /// A staff with its signatures and dynamics, but without notes.
    fn empty_staff(&self, number: u8, excerpt: &Excerpt<'_>, filed: &[Option<FiledBar>]) -> Staff {
        let bars = excerpt.bars.clone();
        let bars_from = bars.start;
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
            meter: new_meter.then(|| self.shown_meter(start, bars_from, filed)),
            changes: self.changes(number, &Shown { start, end }, bars_from, filed),
            dynamics,
            slashes,
            directions: Vec::new(),
        }
    }

    /// The bar of a time of the score and the time in it.
    fn place(&self, onset: Ticks) -> (u32, Quarters) {
        let place = self.score.place_of(onset);
        (place.bar, quarters(place.offset, self.score.per_quarter))
    }

    /// The meter at a time as its file prints it; `filed` are the bars from `first` on.
    fn shown_meter(&self, onset: Ticks, first: u32, filed: &[Option<FiledBar>]) -> ShownMeter {
        let (bar, _) = self.place(onset);
        let own = filed.get(bar.saturating_sub(first) as usize);
        ShownMeter {
            meter: self.meter(onset),
            sign: own.and_then(|f| f.as_ref()?.meter_sign()),
        }
    }

    /// The changes of clef, key and meter on a staff, in order of time.
    fn changes(
        &self,
        number: u8,
        shown: &Shown,
        first: u32,
        filed: &[Option<FiledBar>],
    ) -> Vec<(u32, Quarters, StaffChange)> {
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
                let shown = self.shown_meter(mark.onset, first, filed);
                add(mark.onset, StaffChange::Meter(shown));
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
        filed: Option<&FiledVoices>,
        highlights: &HashMap<u32, Highlight>,
    ) {
        let mut graces: Vec<DrawnEvent> = Vec::new();
        let own = voice.events.iter().enumerate();
        for (e, printed) in own.filter(|(_, p)| p.staff == place.staff) {
            let mut event = DrawnEvent::new(place.bar, place.voice, printed);
            event.upper = place.upper;
            if let Some(filed) = filed {
                let signs = filed.signs.get(place.voice).and_then(|v| v.get(e));
                event.signs = signs.cloned().unwrap_or_default();
                // Their figures are among the signs.
                event.tuplet = None;
            }
            let looks = filed.and_then(|f| f.looks.get(place.voice)?.get(e));
            let octaves = octaves_at(&staff.directions, place.bar, printed.start);
            let middle = middle_line(staff.clef_at(place.bar, printed.start));
            for (h, head) in printed.heads.iter().enumerate() {
                let look = looks.and_then(|l| l.get(h)).copied().unwrap_or_default();
                let note = self.part.notes.get(head.note);
                let flags = note.map(|n| n.flags).unwrap_or_default();
                if head.first {
                    let marks = note.map(|n| n.articulations).unwrap_or_default();
                    event.marks = Articulations(event.marks.0 | marks.0);
                }
                let middle = if look.drum { DRUMS_MIDDLE } else { middle };
                let value = printed.value.map_or(3, |v| v.index);
                let plain = match filed {
                    Some(_) => plain_head(value),
                    None => head_glyph(flags, value),
                };
                event.heads.push(DrawnHead {
                    pos: i32::from(head.pitch.diatonic() - middle) - 7 * i32::from(octaves),
                    glyph: look.glyph.unwrap_or(plain),
                    brackets: look.brackets,
                    courtesy: look.courtesy,
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

/// The height of the middle line of a staff of drums: its places are named as in the treble clef.
const DRUMS_MIDDLE: i16 = Pitch::new(Step::B, 0, 4).diatonic();

/// By how many octaves notes are printed lower than they are meant at a time.
fn octaves_at(directions: &[Direction], bar: u32, at: Quarters) -> i8 {
    let mut now = 0;
    for direction in directions {
        if let Sign::Octave(octaves) = direction.sign
            && (direction.bar, direction.at) <= (bar, at)
        {
            now = octaves;
        }
    }
    now
}

/// All stems under a beam go the way of the first.
fn one_way_under_beams(voice: &mut PrintedVoice) {
    let mut way = None;
    for event in voice.events.iter_mut().filter(|e| e.stem.is_some()) {
        match event.beams.first() {
            Some(Beam::Begin) => way = event.stem,
            Some(Beam::Continue | Beam::End) => event.stem = way.or(event.stem),
            _ => {}
        }
    }
}

const fn plain_head(value: usize) -> Glyph {
    match value {
        0 | 12 | 13 => glyphs::HEAD_BREVE,
        1 => glyphs::HEAD_WHOLE,
        2 => glyphs::HEAD_HALF,
        _ => glyphs::HEAD_BLACK,
    }
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
