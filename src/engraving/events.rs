//! The events of a staff as they are drawn: noteheads, seconds put aside, accidentals in their columns,
//! dots, and how far all that reaches to the left and to the right.
//!
//! Heights are steps from the middle line, upwards: a line is an even number. Lengths are in staff
//! spaces.

use super::Highlight;
use super::filed::NoteSigns;
use super::glyphs::{self, Glyph};
use crate::ground::pitch::Pitch;
use crate::notation::{Beam, EventKind, NoteValue, PrintedEvent, Quarters, Stem};
use crate::score::Articulations;

/// A notehead.
#[derive(Clone, Debug)]
#[allow(clippy::struct_excessive_bools)] // each is a fact of its own
pub(super) struct DrawnHead {
    /// Steps above the middle line.
    pub pos: i32,
    pub glyph: Glyph,
    pub pitch: Pitch,
    /// How far right of its chord's place it stands, because a neighbour is in the way.
    pub dx: f64,
    /// The accidental and how far right of the chord's place it stands.
    pub accidental: Option<(Glyph, f64)>,
    pub tie_in: bool,
    pub tie_out: bool,
    pub highlight: Option<Highlight>,
    /// It stands in brackets: a ghost note.
    pub brackets: bool,
    /// Its accidental stands in brackets: a reminder.
    pub courtesy: bool,
}

/// A chord, note or rest with what is drawn for it.
#[derive(Clone, Debug)]
pub(super) struct DrawnEvent {
    /// 0-based bar of the score.
    pub bar: u32,
    pub voice: usize,
    pub start: Quarters,
    pub end: Quarters,
    pub kind: EventKind,
    pub value: Option<NoteValue>,
    pub stem: Option<Stem>,
    pub beams: Vec<Beam>,
    pub tuplet: Option<(i64, i64)>,
    pub tuplet_start: bool,
    pub tuplet_stop: bool,
    pub bracket: bool,
    /// From the bottom.
    pub heads: Vec<DrawnHead>,
    /// Grace notes before it.
    pub graces: Vec<DrawnEvent>,
    pub marks: Articulations,
    /// What its file has at it.
    pub signs: NoteSigns,
    /// On a staff with several voices: whether this is an upper one.
    pub upper: Option<bool>,
    /// Where the whole chord stands right of its onset, because another voice is in the way.
    pub shift: f64,
    /// Heights of its dots, and where the first stands.
    pub dots: Vec<i32>,
    pub dot_x: f64,
    /// Reach to the left (negative) and to the right.
    pub left: f64,
    pub right: f64,
    /// Where its onset stands; set by `spacing`.
    pub x: f64,
    /// The end of its stem, downwards from the middle line; set when the staff is drawn.
    pub tip: f64,
}

impl DrawnEvent {
    pub fn new(bar: u32, voice: usize, piece: &PrintedEvent) -> Self {
        Self {
            bar,
            voice,
            start: piece.start,
            end: piece.end(),
            kind: piece.kind,
            value: piece.value,
            stem: piece.stem,
            beams: piece.beams.clone(),
            tuplet: piece.tuplet,
            tuplet_start: piece.tuplet_start,
            tuplet_stop: piece.tuplet_stop,
            bracket: piece.bracket,
            heads: Vec::new(),
            graces: Vec::new(),
            marks: Articulations::default(),
            signs: NoteSigns::default(),
            upper: None,
            shift: 0.0,
            dots: Vec::new(),
            dot_x: 0.0,
            left: 0.0,
            right: 0.0,
            x: 0.0,
            tip: 0.0,
        }
    }

    pub fn is_rest(&self) -> bool {
        self.heads.is_empty()
    }

    /// The width of a notehead of it.
    pub fn head_width(&self) -> f64 {
        self.heads.first().map_or(0.0, |h| h.glyph.right())
    }

    pub fn lowest(&self) -> i32 {
        self.heads.first().map_or(0, |h| h.pos)
    }

    pub fn highest(&self) -> i32 {
        self.heads.last().map_or(0, |h| h.pos)
    }

    pub fn up(&self) -> bool {
        self.stem == Some(Stem::Up)
    }

    /// The flag at its stem's end.
    pub fn flag(&self) -> Option<Glyph> {
        if !self.beams.is_empty() || self.is_rest() {
            return None;
        }
        let up = match self.stem? {
            Stem::Up => true,
            Stem::Down => false,
        };
        Some(match (self.value?.beams(), up) {
            (0, _) => return None,
            (1, true) => glyphs::FLAG_8_UP,
            (1, false) => glyphs::FLAG_8_DOWN,
            (2, true) => glyphs::FLAG_16_UP,
            (2, false) => glyphs::FLAG_16_DOWN,
            (3, true) => glyphs::FLAG_32_UP,
            (3, false) => glyphs::FLAG_32_DOWN,
            (_, true) => glyphs::FLAG_64_UP,
            (_, false) => glyphs::FLAG_64_DOWN,
        })
    }

    pub fn rest(&self) -> Option<Glyph> {
        if !self.is_rest() {
            return None;
        }
        if self.kind == EventKind::BarRest {
            return Some(glyphs::REST_WHOLE);
        }
        Some(match self.value?.index {
            0 | 12 | 13 => glyphs::REST_BREVE,
            1 => glyphs::REST_WHOLE,
            2 => glyphs::REST_HALF,
            3 => glyphs::REST_QUARTER,
            4 => glyphs::REST_8,
            5 => glyphs::REST_16,
            6 => glyphs::REST_32,
            _ => glyphs::REST_64,
        })
    }

    /// Where the middle of a rest stands, in steps above the middle line.
    pub fn rest_pos(&self) -> i32 {
        match self.upper {
            Some(true) => 4,
            Some(false) => -4,
            None => 0,
        }
    }

    /// Puts noteheads a second apart on the two sides of the stem.
    fn put_seconds_aside(&mut self) {
        self.heads.sort_by_key(|h| h.pos);
        let width = self.head_width();
        let down = self.stem == Some(Stem::Down);
        let mut last: Option<(i32, bool)> = None;
        let side = if down { -width } else { width };
        let step = |head: &mut DrawnHead, last: &mut Option<(i32, bool)>| {
            let aside = last.is_some_and(|(pos, aside)| (head.pos - pos).abs() <= 1 && !aside);
            head.dx = if aside { side } else { 0.0 };
            *last = Some((head.pos, aside));
        };
        if down {
            for head in self.heads.iter_mut().rev() {
                step(head, &mut last);
            }
        } else {
            for head in &mut self.heads {
                step(head, &mut last);
            }
        }
    }

    fn place_dots(&mut self, x: f64) {
        let count = self.value.map_or(0, |s| s.dots);
        if count == 0 {
            return;
        }
        self.dot_x = x;
        if self.is_rest() {
            self.dots = vec![self.rest_pos() + 1];
            return;
        }
        let below = self.upper == Some(false);
        let mut taken: Vec<i32> = Vec::new();
        for head in self.heads.iter().rev() {
            let own = if head.pos % 2 != 0 {
                head.pos
            } else if below {
                head.pos - 1
            } else {
                head.pos + 1
            };
            let free = [own, own - 2, own + 2]
                .into_iter()
                .find(|p| !taken.contains(p));
            taken.extend(free);
        }
        self.dots = taken;
    }

    /// How wide the dots are from the first one's left edge.
    fn dots_width(&self) -> f64 {
        match self.value.map_or(0, |s| s.dots) {
            0 => 0.0,
            n => glyphs::DOT.right() + 0.7 * f64::from(n - 1),
        }
    }
}

/// Room between what stands beside each other.
const GAP: f64 = 0.22;

/// How much room a bracket beside a notehead takes.
pub(super) const BRACKET: f64 = 0.55;

/// How large grace notes are.
pub(super) const SMALL: f64 = 0.62;

/// From one grace note to the next.
pub(super) const GRACE_STEP: f64 = 1.35;

/// Settles what stands at one onset of a staff: `group` holds one event for each voice.
pub(super) fn settle(group: &mut [&mut DrawnEvent]) {
    for event in group.iter_mut() {
        event.put_seconds_aside();
    }
    part_voices(group);
    accidentals(group);
    let heads_right = group
        .iter()
        .flat_map(|i| i.heads.iter().map(|h| i.shift + h.dx + h.glyph.right()))
        .fold(0.0, f64::max);
    for event in group.iter_mut() {
        let own = match event.rest() {
            Some(glyph) => glyph.right(),
            None if event.heads.iter().any(|h| h.brackets) => heads_right + BRACKET,
            None => heads_right,
        };
        let flag = match event.flag() {
            Some(flag) if event.up() => event.shift + event.head_width() + flag.right(),
            Some(flag) => event.shift + flag.right(),
            None => 0.0,
        };
        let dots_at = own.max(if event.up() { flag } else { 0.0 }) + 0.35;
        event.place_dots(dots_at);
        let dots = if event.dots.is_empty() {
            0.0
        } else {
            dots_at + event.dots_width()
        };
        let mut right = own.max(flag).max(dots);
        if event.marks.has(Articulations::FALL) || event.marks.has(Articulations::DOIT) {
            right += 1.9;
        }
        if event.marks.has(Articulations::BREATH) {
            right += 0.9;
        }
        event.right = right;
        let mut left = event
            .heads
            .iter()
            .flat_map(|h| {
                let aside = if h.brackets { BRACKET } else { 0.0 };
                let sign = h
                    .accidental
                    .map(|(_, x)| if h.courtesy { x - 0.5 } else { x });
                [Some(event.shift + h.dx - aside), sign]
            })
            .flatten()
            .fold(0.0, f64::min);
        if event.marks.has(Articulations::SCOOP) || event.marks.has(Articulations::PLOP) {
            left -= 1.7;
        }
        if !event.graces.is_empty() {
            let signs = event
                .graces
                .iter()
                .flat_map(|g| &g.heads)
                .any(|h| h.accidental.is_some());
            let step = GRACE_STEP + if signs { 0.7 } else { 0.0 };
            left -= 0.3 + step * event.graces.len() as f64;
        }
        event.left = left;
    }
}

/// Moves the lower of two voices aside where their noteheads would stand in each other.
fn part_voices(group: &mut [&mut DrawnEvent]) {
    let bounds = |event: &DrawnEvent| (event.lowest(), event.highest(), event.head_width());
    let upper = group
        .iter()
        .find(|i| !i.is_rest() && i.upper == Some(true))
        .map(|i| {
            let lowest = i.heads.first();
            let alter = lowest.map(|h| h.pitch.alter);
            (bounds(i), lowest.map(|h| h.glyph), alter, i.value)
        });
    let Some(((low, high, width), glyph, alter, shape)) = upper else {
        return;
    };
    for event in group
        .iter_mut()
        .filter(|i| !i.is_rest() && i.upper == Some(false))
    {
        let apart = low > event.highest() + 1 || event.lowest() > high + 1;
        let one = |event: &DrawnEvent| event.heads.last().map(|h| h.pitch.alter);
        let shared = low == event.highest()
            && alter == one(event)
            && event.heads.last().map(|h| h.glyph) == glyph
            && event.value.map(|s| s.dots) == shape.map(|s| s.dots);
        if !apart && !shared {
            event.shift = width + if low == event.highest() { 0.15 } else { 0.0 };
        }
    }
}

/// Puts the accidentals of an onset into columns left of the heads, the outer ones nearest.
fn accidentals(group: &mut [&mut DrawnEvent]) {
    let edge = group
        .iter()
        .flat_map(|i| i.heads.iter().map(|h| i.shift + h.dx))
        .fold(0.0, f64::min);
    let mut wanted: Vec<(i32, usize, usize, Glyph)> = Vec::new();
    for (i, event) in group.iter().enumerate() {
        for (h, head) in event.heads.iter().enumerate() {
            if let Some((glyph, _)) = head.accidental {
                wanted.push((head.pos, i, h, glyph));
            }
        }
    }
    wanted.sort_by_key(|w| -w.0);
    // Top, bottom, second from the top, second from the bottom ...
    let mut order = Vec::with_capacity(wanted.len());
    let (mut top, mut bottom) = (0, wanted.len());
    while top < bottom {
        order.extend(wanted.get(top).copied());
        top += 1;
        if top < bottom {
            bottom -= 1;
            order.extend(wanted.get(bottom).copied());
        }
    }
    let mut columns: Vec<Vec<(f64, f64, f64)>> = Vec::new();
    let mut placed = Vec::new();
    for (pos, i, h, glyph) in order {
        let middle = f64::from(pos) / 2.0;
        let o = glyph.outline();
        let (low, high) = (middle + o.bottom, middle + o.bottom + o.height);
        let free = columns
            .iter()
            .position(|c| c.iter().all(|(l, t, _)| low > t + 0.1 || high < l - 0.1));
        let column = free.unwrap_or(columns.len());
        match columns.get_mut(column) {
            Some(c) => c.push((low, high, glyph.right())),
            None => columns.push(vec![(low, high, glyph.right())]),
        }
        placed.push((i, h, glyph, column));
    }
    let mut edges = Vec::with_capacity(columns.len());
    let mut x = edge - GAP;
    for column in &columns {
        let width = column.iter().map(|c| c.2).fold(0.0, f64::max);
        edges.push(x);
        x -= width + 0.12;
    }
    for (i, h, glyph, column) in placed {
        let right = edges.get(column).copied().unwrap_or(x);
        let head = group.get_mut(i).and_then(|event| event.heads.get_mut(h));
        if let Some(head) = head {
            head.accidental = Some((glyph, right - glyph.right()));
        }
    }
}
