//! Staves under each other: names, brackets, bar lines, chord symbols, bar numbers, the column of a
//! sonority.

use super::glyphs::{self, Glyph};
use super::ink::{Head, Ink};
use super::laid::{self, Kind, Lane, Quarters, ZERO, clef_at, default_clef, middle_line, quarters};
use super::spacing::{Layout, Staff, Turn, space};
use super::staff;
use super::svg::{Canvas, escape, n};
use super::{Engraver, Excerpt, Glyphs, Picture, Said, Shown};
use crate::ground::pitch::{Pitch, Step};
use crate::ground::time::{Meter, Ticks};
use crate::score::{Articulations, Clef, Mark, Note, NoteFlags, Part, Score, in_force};
use std::collections::HashMap;
use std::fmt::Write as _;

/// Room above and below the outermost signs.
const MARGIN: f64 = 0.6;
/// How many pixels a staff space takes on a screen.
const PIXELS: f64 = 7.6;
/// The width of a letter in ems, on the safe side.
const LETTER: f64 = 0.56;

/// What a part is read in.
struct Sheet<'a> {
    score: &'a Score,
    part: &'a Part,
    shown: Shown,
    defaults: &'a [Clef],
    concert: Option<Clef>,
    meters: &'a [Mark<Meter>],
}

impl<'a> Sheet<'a> {
    fn new(engraver: &'a Engraver, score: &'a Score, index: u32, shown: Shown) -> Option<Self> {
        let part = score.parts.get(index as usize)?;
        let meters = if part.meters.is_empty() {
            // A passage says its meter once, in its first part.
            score
                .parts
                .iter()
                .map(|p| p.meters.as_slice())
                .find(|m| !m.is_empty())
                .unwrap_or_default()
        } else {
            &part.meters
        };
        Some(Self {
            score,
            part,
            shown,
            defaults: engraver
                .written
                .get(index as usize)
                .map_or(&[][..], Vec::as_slice),
            concert: engraver.sounding.get(index as usize).copied().flatten(),
            meters,
        })
    }

    fn pitch(&self, note: &Note) -> Pitch {
        match self.shown {
            Shown::Written => note.written,
            Shown::Sounding => note.sounding,
        }
    }

    fn clef(&self, staff: u8, onset: Ticks) -> Clef {
        if let (Shown::Sounding, Some(clef)) = (self.shown, self.concert) {
            return Clef { staff, ..clef };
        }
        let mut clef =
            clef_at(self.part, staff, onset).unwrap_or_else(|| default_clef(self.defaults, staff));
        if self.shown == Shown::Sounding {
            let octaves = self.part.transposition(onset).chromatic / 12;
            clef.octave = clef.octave.saturating_add(octaves as i8);
        }
        clef
    }

    fn fifths(&self, onset: Ticks) -> i8 {
        match self.shown {
            Shown::Written => self.part.key(onset).fifths,
            Shown::Sounding => self.part.concert_fifths(onset),
        }
    }

    fn meter(&self, onset: Ticks) -> Meter {
        in_force(self.meters, onset).map_or(Meter::COMMON, |m| m.value)
    }

    /// The staves of the part in some bars.
    fn staves(&self, index: u32, excerpt: &Excerpt<'_>) -> Vec<Staff> {
        let score = self.score;
        let start = |bar: usize| score.bars.get(bar).map_or(Ticks::ZERO, |b| b.start);
        let range = excerpt.bars.start as usize..excerpt.bars.end as usize;
        let pitch = |note: usize| {
            let note = self.part.notes.get(note);
            note.map_or(Pitch::new(Step::C, 0, 4), |n| self.pitch(n))
        };
        let laid = laid::lay_out(
            score,
            self.part,
            range.clone(),
            &pitch,
            &|bar| self.meter(start(bar)),
            &|staff, onset| self.clef(staff, onset),
            &|onset| self.fifths(onset),
        );
        let said: HashMap<u32, Said> = excerpt
            .marks
            .iter()
            .filter(|(note, _)| note.part == index)
            .map(|(note, said)| (note.note, *said))
            .collect();
        (1..=self.part.staves.max(1))
            .map(|number| {
                let mut staff = self.staff(index, number, excerpt);
                for bar in range.clone() {
                    let lanes = laid.bars.get(bar).map_or(&[][..], Vec::as_slice);
                    let voices: Vec<usize> = lanes
                        .iter()
                        .enumerate()
                        .filter(|(_, lane)| {
                            let sounds = |p: &laid::Piece| {
                                p.staff == number && !matches!(p.kind, Kind::Rest | Kind::BarRest)
                            };
                            lane.pieces.iter().any(sounds)
                        })
                        .map(|(l, _)| l)
                        .collect();
                    for (l, lane) in lanes.iter().enumerate() {
                        let upper = (voices.len() > 1).then(|| {
                            voices
                                .iter()
                                .position(|v| *v == l)
                                .is_none_or(|v| v % 2 == 0)
                        });
                        self.lane(&mut staff, (bar as u32, l, number), lane, upper, &said);
                    }
                }
                staff
            })
            .collect()
    }

    fn staff(&self, index: u32, number: u8, excerpt: &Excerpt<'_>) -> Staff {
        let score = self.score;
        let bars = excerpt.bars.clone();
        let onset = |bar: u32| {
            score
                .bars
                .get(bar as usize)
                .map_or(Ticks::ZERO, |b| b.start)
        };
        let start = onset(bars.start);
        let until = score
            .bars
            .get(bars.end.saturating_sub(1) as usize)
            .map_or(start, |b| b.start + b.length);
        let inside = |m: &Ticks| *m > start && *m < until;
        let place = |at: Ticks| {
            let place = score.place_of(at);
            (place.bar, quarters(place.offset, score.per_quarter))
        };
        let mut turns = Vec::new();
        if !(self.shown == Shown::Sounding && self.concert.is_some()) {
            let mut last = self.clef(number, start);
            for mark in self.part.clefs.iter().filter(|m| m.value.staff == number) {
                let clef = self.clef(number, mark.onset);
                if inside(&mark.onset) && clef != last {
                    let (bar, at) = place(mark.onset);
                    turns.push((bar, at, Turn::Clef(clef)));
                    last = clef;
                }
            }
        }
        let mut last = self.fifths(start);
        let changes = self.part.keys.iter().map(|m| m.onset);
        for at in changes.chain(self.part.transpositions.iter().map(|m| m.onset)) {
            let fifths = self.fifths(at);
            if inside(&at) && fifths != last {
                let (bar, time) = place(at);
                turns.push((bar, time, Turn::Key(fifths, last)));
                last = fifths;
            }
        }
        let mut last = self.meter(start);
        for mark in self.meters {
            if inside(&mark.onset) && mark.value != last {
                let (bar, at) = place(mark.onset);
                turns.push((bar, at, Turn::Meter(mark.value)));
                last = mark.value;
            }
        }
        turns.sort_by_key(|t| (t.0, t.1));
        let new_meter = bars.start == 0 || self.meters.iter().any(|m| m.onset == start);
        let dynamics = if number == 1 {
            self.part
                .dynamics
                .iter()
                .filter(|m| m.onset >= start && m.onset < until)
                .map(|m| {
                    let (bar, at) = place(m.onset);
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
            part: index,
            inks: Vec::new(),
            clef: self.clef(number, start),
            fifths: self.fifths(start),
            meter: new_meter.then(|| self.meter(start)),
            turns,
            dynamics,
            slashes,
        }
    }

    /// The pieces of a voice that stand on a staff.
    fn lane(
        &self,
        staff: &mut Staff,
        (bar, l, number): (u32, usize, u8),
        lane: &Lane,
        upper: Option<bool>,
        said: &HashMap<u32, Said>,
    ) {
        let mut graces: Vec<Ink> = Vec::new();
        for piece in lane.pieces.iter().filter(|p| p.staff == number) {
            let mut ink = Ink::new(bar, l, piece);
            ink.upper = upper;
            let middle = middle_line(staff.clef_at(bar, piece.start));
            for head in &piece.heads {
                let note = self.part.notes.get(head.note);
                let flags = note.map(|n| n.flags).unwrap_or_default();
                if head.first {
                    let marks = note.map(|n| n.articulations).unwrap_or_default();
                    ink.marks = Articulations(ink.marks.0 | marks.0);
                }
                ink.heads.push(Head {
                    pos: i32::from(head.pitch.diatonic() - middle),
                    glyph: head_glyph(flags, piece.shape.map_or(3, |s| s.value)),
                    pitch: head.pitch,
                    dx: 0.0,
                    accidental: head.accidental.map(|a| (Glyph::accidental(a), 0.0)),
                    tie_in: head.tie_in,
                    tie_out: head.tie_out,
                    said: said.get(&(head.note as u32)).copied(),
                });
            }
            if piece.kind == Kind::Grace {
                graces.push(ink);
            } else {
                ink.graces = std::mem::take(&mut graces);
                staff.inks.push(ink);
            }
        }
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

fn text_width(text: &str, size: f64) -> f64 {
    text.chars().count() as f64 * LETTER * size
}

const NAME: f64 = 1.6;
const SYMBOL: f64 = 2.0;

pub(super) fn draw(engraver: &Engraver, score: &Score, excerpt: &Excerpt<'_>) -> Picture {
    let count = u32::try_from(score.bars.len()).unwrap_or(u32::MAX);
    let excerpt = &Excerpt {
        bars: excerpt.bars.start.min(count)..excerpt.bars.end.min(count),
        label: excerpt.label.clone(),
        column: excerpt.column.clone(),
        ..*excerpt
    };
    let mut staves: Vec<Staff> = Vec::new();
    for index in excerpt.parts {
        if let Some(sheet) = Sheet::new(engraver, score, *index, excerpt.shown) {
            staves.extend(sheet.staves(*index, excerpt));
        }
    }
    let bars: Vec<(u32, Quarters, f64)> = excerpt
        .bars
        .clone()
        .filter_map(|b| {
            let bar = score.bars.get(b as usize)?;
            let thick = b + 1 == count || repeats(score, excerpt.parts, b);
            let line = if thick { 0.9 } else { 0.0 };
            Some((b, quarters(bar.length, score.per_quarter), line))
        })
        .collect();
    let symbols = symbols(score, excerpt);
    let words: Vec<(u32, Quarters, f64)> = symbols
        .iter()
        .map(|(bar, at, text)| (*bar, *at, text_width(text, SYMBOL)))
        .collect();
    let names = names(score, &staves);
    let left = if excerpt.names {
        let widest = names.iter().map(|(_, _, n)| text_width(n, NAME));
        widest.fold(0.0, f64::max) + 1.8
    } else {
        1.2
    };
    let layout = space(&mut staves, &bars, &words, left);
    let drawn: Vec<staff::Drawn> = staves.iter_mut().map(|s| staff::draw(s, &layout)).collect();
    System {
        score,
        excerpt,
        layout: &layout,
        names: &names,
        symbols: &symbols,
    }
    .compose(drawn)
}

/// Whether a bar ends in a sign wider than a line.
fn repeats(score: &Score, parts: &[u32], bar: u32) -> bool {
    parts
        .iter()
        .filter_map(|p| score.parts.get(*p as usize)?.bars.get(bar as usize))
        .any(|b| b.repeat_end || b.double_bar)
}

/// The chord symbols of some bars at concert pitch, the one in force at their start first.
fn symbols(score: &Score, excerpt: &Excerpt<'_>) -> Vec<(u32, Quarters, String)> {
    let start = |bar: u32| score.bars.get(bar as usize).map(|b| b.start);
    let Some(from) = start(excerpt.bars.start) else {
        return Vec::new();
    };
    let text = |mark: &crate::score::ChordMark| match &mark.chord {
        Some(chord) => chord.text.clone(),
        None if mark.unread.is_some() => mark.written.clone(),
        None => "N.C.".to_owned(),
    };
    let mut out = Vec::new();
    if let Some(mark) = score.chord_at(from).filter(|m| m.onset < from) {
        out.push((excerpt.bars.start, ZERO, format!("({})", text(&mark.value))));
    }
    for mark in &score.chords {
        let place = score.place_of(mark.onset);
        if mark.onset >= from && excerpt.bars.contains(&place.bar) {
            if mark.onset == from {
                out.clear();
            }
            let at = quarters(place.offset, score.per_quarter);
            out.push((place.bar, at, text(&mark.value)));
        }
    }
    out
}

/// The staves of each part: first, last, name.
fn names(score: &Score, staves: &[Staff]) -> Vec<(usize, usize, String)> {
    let mut names: Vec<(usize, usize, String)> = Vec::new();
    let mut last = None;
    for (s, staff) in staves.iter().enumerate() {
        if last == Some(staff.part) {
            if let Some(name) = names.last_mut() {
                name.1 = s;
            }
            continue;
        }
        last = Some(staff.part);
        let name = score.parts.get(staff.part as usize);
        let name = name.map_or("", |p| p.name.as_str());
        let mut short: String = name.chars().take(22).collect();
        if short.len() < name.len() {
            short.push('…');
        }
        names.push((s, s, short));
    }
    names
}

struct System<'a> {
    score: &'a Score,
    excerpt: &'a Excerpt<'a>,
    layout: &'a Layout,
    names: &'a [(usize, usize, String)],
    symbols: &'a [(u32, Quarters, String)],
}

impl System<'_> {
    fn compose(&self, drawn: Vec<staff::Drawn>) -> Picture {
        let symbols_room = if self.symbols.is_empty() { 0.0 } else { 2.2 };
        // Bar numbers on top, then chord symbols, then the first staff.
        let numbers = MARGIN + 1.1;
        let symbols = numbers + symbols_room;
        let mut heights = Vec::with_capacity(drawn.len());
        let mut down: f64 = symbols + 0.6;
        for (i, staff) in drawn.iter().enumerate() {
            let y = if i == 0 {
                down - staff.top
            } else {
                // Five spaces between staves at the least, and room between what is on them.
                let before: f64 = heights.last().copied().unwrap_or(0.0);
                (before + 9.0).max(down + 0.9 - staff.top)
            };
            heights.push(y);
            down = y + staff.bottom;
        }
        let label = self.excerpt.column.as_ref();
        let foot = down + 0.6;
        let height = foot + if label.is_some() { 2.2 } else { 0.0 } + MARGIN;
        let width = self.layout.right + 0.8;
        let mut body = String::new();
        self.tint(&mut body, symbols - 1.8, foot);
        let mut glyphs = Glyphs::default();
        self.frame(&heights, &mut body, &mut glyphs);
        for (staff, y) in drawn.into_iter().zip(&heights) {
            staff.canvas.finish(*y, &mut body, &mut glyphs.0);
        }
        let mut words = Canvas::default();
        for bar in &self.layout.bars {
            let number = self.score.bar_number(bar.bar);
            words.text(bar.left.max(self.layout.left), numbers, "n", &number);
        }
        for (bar, at, text) in self.symbols {
            if let Some(space) = self.layout.bar(*bar) {
                words.text(space.x(*at), symbols - 0.1, "c", text);
            }
        }
        if self.excerpt.names {
            for (first, last, name) in self.names {
                let (Some(a), Some(b)) = (heights.get(*first), heights.get(*last)) else {
                    continue;
                };
                words.text(
                    self.layout.left - 1.5,
                    f64::midpoint(*a, *b) + 0.5,
                    "p",
                    name,
                );
            }
        }
        words.finish(0.0, &mut body, &mut glyphs.0);
        let svg = format!(
            "<svg class=\"m\" viewBox=\"0 0 {} {}\" width=\"{:.0}\" height=\"{:.0}\" role=\"img\" \
             aria-label=\"{}\">{body}</svg>",
            n(width),
            n(height),
            width * PIXELS,
            height * PIXELS,
            escape(&self.excerpt.label),
        );
        Picture { svg, glyphs }
    }

    /// The column of the sonority, and the words under it.
    fn tint(&self, body: &mut String, top: f64, foot: f64) {
        let Some((place, label)) = &self.excerpt.column else {
            return;
        };
        let Some(space) = self.layout.bar(place.bar) else {
            return;
        };
        let at = quarters(place.offset, self.score.per_quarter);
        let x = space.x(at);
        let (left, right) = space
            .column(at)
            .map_or((0.0, 1.3), |c| (c.left, c.right.max(1.3)));
        let (x0, x1) = (x + left - 0.35, x + right + 0.35);
        let _ = write!(
            body,
            "<rect class=\"t\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
            n(x0),
            n(top),
            n(x1 - x0),
            n(foot - top)
        );
        let middle = f64::midpoint(x0, x1);
        let _ = write!(
            body,
            "<path class=\"w\" d=\"M{} {}l7 9h-14z\"/>",
            n(middle),
            n(foot - 0.1)
        );
        // The words stay inside the picture.
        let wide = text_width(label, NAME) / 2.0;
        let most = (self.layout.right - wide).max(wide);
        let _ = write!(
            body,
            "<text class=\"b\" x=\"{}\" y=\"{}\">{}</text>",
            n(middle.clamp(wide, most)),
            n(foot + 2.2),
            escape(label)
        );
    }

    /// Bracket, brace and bar lines.
    fn frame(&self, heights: &[f64], body: &mut String, glyphs: &mut Glyphs) {
        let (Some(first), Some(last)) = (heights.first(), heights.last()) else {
            return;
        };
        let mut canvas = Canvas::default();
        let (top, bottom) = (first - 2.0, last + 2.0);
        let left = self.layout.left;
        canvas.line(0.14, (left, top), (left, bottom));
        if self.names.len() > 1 {
            canvas.line(0.45, (left - 0.6, top - 0.25), (left - 0.6, bottom + 0.25));
            for (y, out) in [(top - 0.25, -0.5), (bottom + 0.25, 0.5)] {
                canvas.line(0.16, (left - 0.8, y), (left + 0.1, y + out * 0.4));
            }
        }
        for (a, b, _) in self.names.iter().filter(|(a, b, _)| a != b) {
            if let (Some(a), Some(b)) = (heights.get(*a), heights.get(*b)) {
                // The glyph is four spaces high.
                let scale = (b - a + 4.0) / 4.0;
                let scale = (scale * 100.0).round() / 100.0;
                canvas.scaled(
                    glyphs::BRACE,
                    left - 0.25 - 0.37 * scale.min(3.2),
                    b + 2.0,
                    scale,
                    "",
                );
            }
        }
        let count = self.layout.bars.len();
        for (i, bar) in self.layout.bars.iter().enumerate() {
            let own = self.sign(bar.bar);
            let next = self.sign(bar.bar + 1);
            let x = bar.right;
            let line = |canvas: &mut Canvas, thick: f64, x: f64| {
                canvas.line(thick, (x, top), (x, bottom));
            };
            let dots = |canvas: &mut Canvas, x: f64| {
                for y in heights {
                    for dy in [-0.5, 0.5] {
                        canvas.glyph(glyphs::DOT, x, y + dy, "");
                    }
                }
            };
            let final_bar = bar.bar as usize + 1 == self.score.bars.len();
            if own.repeat_end || final_bar {
                line(&mut canvas, 0.5, x - 0.25);
                line(&mut canvas, 0.16, x - 0.9);
                if own.repeat_end {
                    dots(&mut canvas, x - 1.7);
                }
            } else if own.double {
                line(&mut canvas, 0.16, x);
                line(&mut canvas, 0.16, x - 0.5);
            } else {
                line(&mut canvas, 0.16, x);
            }
            if next.repeat_start && i + 1 < count {
                line(&mut canvas, 0.5, x + 0.3);
                dots(&mut canvas, x + 0.75);
            }
            if i == 0 && own.repeat_start {
                dots(&mut canvas, bar.from - 0.6);
            }
        }
        canvas.finish(0.0, body, &mut glyphs.0);
    }

    /// The signs at a bar's ends, from any part that shows them.
    fn sign(&self, bar: u32) -> Sign {
        let mut sign = Sign::default();
        for part in self.excerpt.parts {
            let own = self
                .score
                .parts
                .get(*part as usize)
                .and_then(|p| p.bars.get(bar as usize));
            if let Some(own) = own {
                sign.double |= own.double_bar;
                sign.repeat_start |= own.repeat_start;
                sign.repeat_end |= own.repeat_end;
            }
        }
        sign
    }
}

#[derive(Default)]
struct Sign {
    double: bool,
    repeat_start: bool,
    repeat_end: bool,
}
