//! Staves under each other: names, brackets, bar lines, chord symbols, bar numbers, the column of a
//! sonority.

use super::filed;
use super::glyphs;
use super::shown_part::ShownPart;
use super::spacing::{Layout, SpacedWord, Staff, space};
use super::staff::{self, DrawnStaff};
use super::svg::{Canvas, escape, n};
use super::text::{name_lines, printed_symbol, text_width};
use super::{Engraver, Excerpt, Glyphs, Picture, ShownPitch};
use crate::ground::pitch::Transposition;
use crate::ground::time::Ticks;
use crate::notation::{Quarters, ZERO, quarters};
use crate::score::{ChordMark, Score};
use std::fmt::Write as _;

/// Room above and below the outermost signs.
const MARGIN: f64 = 0.6;
/// How many pixels a staff space takes on a screen.
const PIXELS: f64 = 7.6;
const NAME: f64 = 1.6;
/// With room for bold letters.
const SYMBOL: f64 = 2.1;
/// How many letters of a name stand in a line.
const NAME_LETTERS: usize = 22;
/// How high a row of words under the staves is.
const UNDER: f64 = 2.0;

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
        if let Some(part) = ShownPart::new(engraver, score, *index, excerpt.shown) {
            staves.extend(part.staves(excerpt));
        }
    }
    said_once(&mut staves);
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
    let mut words: Vec<SpacedWord> = symbols
        .iter()
        .map(|(bar, at, text)| SpacedWord {
            bar: *bar,
            at: *at,
            width: text_width(text, SYMBOL),
            row: 0,
        })
        .collect();
    words.extend(excerpt.under.iter().map(|w| SpacedWord {
        bar: w.at.bar,
        at: quarters(w.at.offset, score.per_quarter),
        width: text_width(&w.text, w.class.size()),
        row: usize::from(w.row) + 1,
    }));
    let names = names(score, &staves);
    let left = if excerpt.names {
        let lines = names.iter().flat_map(|(_, _, n)| n);
        let widest = lines.map(|n| text_width(n, NAME));
        widest.fold(0.0, f64::max) + 1.8
    } else {
        1.2
    };
    let layout = space(&mut staves, &bars, &words, left);
    let drawn: Vec<DrawnStaff> = staves.iter_mut().map(|s| staff::draw(s, &layout)).collect();
    System {
        score,
        excerpt,
        layout: &layout,
        names: &names,
        symbols: &symbols,
    }
    .compose(drawn)
}

/// Whether a part's staves (by their heights) are joined by a brace.
fn first_is_braced(first: f64, last: f64) -> bool {
    last > first
}

/// What all parts have over the same beat stands over the first of them alone; where they disagree, each shows its own.
fn said_once(staves: &mut [Staff]) {
    let tops: Vec<usize> = (0..staves.len())
        .filter(|s| *s == 0 || staves.get(s - 1).map(|b| b.part) != staves.get(*s).map(|b| b.part))
        .collect();
    let Some((first, others)) = tops.split_first().filter(|(_, o)| !o.is_empty()) else {
        return;
    };
    let common: Vec<_> = staves
        .get(*first)
        .into_iter()
        .flat_map(|s| &s.directions)
        .filter(|d| d.above && !matches!(d.sign, filed::Sign::Octave(_)))
        .filter(|d| {
            others
                .iter()
                .all(|o| staves.get(*o).is_some_and(|s| s.directions.contains(d)))
        })
        .cloned()
        .collect();
    for other in others {
        if let Some(staff) = staves.get_mut(*other) {
            staff.directions.retain(|d| !common.contains(d));
        }
    }
}

/// Whether a bar ends in a sign wider than a line.
fn repeats(score: &Score, parts: &[u32], bar: u32) -> bool {
    parts
        .iter()
        .filter_map(|p| score.parts.get(*p as usize)?.bars.get(bar as usize))
        .any(|b| b.repeat_end || b.double_bar)
}

/// What brings concert pitch to the players', where all of them read the same: their own symbols stand over
/// their own notes.
fn own_pitch(score: &Score, excerpt: &Excerpt<'_>, at: Ticks) -> Option<Transposition> {
    let parts = excerpt
        .parts
        .iter()
        .filter_map(|p| score.parts.get(*p as usize));
    let mut shifts = parts.map(|p| p.transposition(at));
    let first = shifts.next()?;
    let same = |t: Transposition| t.key_shift() == first.key_shift();
    let moves = excerpt.shown == ShownPitch::Written && first.key_shift() != 0;
    (moves && shifts.all(same)).then(|| first.inverse())
}

/// The chord symbols of some bars, at concert pitch unless all players shown read another one, the one in force at their start first.
fn symbols(score: &Score, excerpt: &Excerpt<'_>) -> Vec<(u32, Quarters, String)> {
    let start = |bar: u32| score.bars.get(bar as usize).map(|b| b.start);
    let Some(from) = start(excerpt.bars.start) else {
        return Vec::new();
    };
    let own = own_pitch(score, excerpt, from);
    let text = |mark: &ChordMark| match &mark.chord {
        Some(chord) => match own {
            Some(by) => printed_symbol(&chord.transposed(by).text),
            None => printed_symbol(&chord.text),
        },
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
fn names(score: &Score, staves: &[Staff]) -> Vec<(usize, usize, Vec<String>)> {
    let mut names: Vec<(usize, usize, Vec<String>)> = Vec::new();
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
        names.push((s, s, name_lines(name, NAME_LETTERS)));
    }
    names
}

struct System<'a> {
    score: &'a Score,
    excerpt: &'a Excerpt<'a>,
    layout: &'a Layout,
    names: &'a [(usize, usize, Vec<String>)],
    symbols: &'a [(u32, Quarters, String)],
}

impl System<'_> {
    fn compose(&self, drawn: Vec<DrawnStaff>) -> Picture {
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
        let rows = self.excerpt.under.iter().map(|w| w.row + 1).max();
        let under = f64::from(rows.unwrap_or(0)) * UNDER;
        let foot = down + 0.6 + under;
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
        for under in self.excerpt.under {
            let at = quarters(under.at.offset, self.score.per_quarter);
            if let Some(space) = self.layout.bar(under.at.bar) {
                let y = down + 0.2 + f64::from(under.row + 1) * UNDER;
                words.text(space.x(at), y, under.class.name(), &under.text);
            }
        }
        if self.excerpt.names {
            for (first, last, name) in self.names {
                let (Some(a), Some(b)) = (heights.get(*first), heights.get(*last)) else {
                    continue;
                };
                let middle = f64::midpoint(*a, *b) + 0.5;
                let first = middle - 0.85 * (name.len() as f64 - 1.0);
                // A brace stands between a name and its staves.
                let left = self.layout.left - if first_is_braced(*a, *b) { 2.1 } else { 1.5 };
                for (i, line) in name.iter().enumerate() {
                    words.text(left, first + 1.7 * i as f64, "p", line);
                }
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
        Picture {
            svg,
            glyphs,
            width: width * PIXELS,
        }
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
                line(&mut canvas, 0.5, bar.from - 1.15);
                line(&mut canvas, 0.16, bar.from - 0.75);
                dots(&mut canvas, bar.from - 0.5);
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
