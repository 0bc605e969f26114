//! One staff drawn by itself, its middle line at height 0, downwards.

use super::Said;
use super::glyphs::{self, Glyph};
use super::ink::{GRACE_STEP, Head, Ink, SMALL};
use super::laid::{Beam, Kind, Shape, ZERO};
use super::spacing::{
    CHANGED_CLEF, Layout, Staff, Turn, clef_sign, figures, key_signature, key_step, meter_width,
};
use super::svg::Canvas;
use crate::ground::time::Meter;
use crate::score::{Articulations, Clef};

const STEM: f64 = 0.12;
const BEAM: f64 = 0.5;
/// From one beam to the next.
const BEAM_STEP: f64 = 0.75;
const LENGTH: f64 = 3.5;

/// How far the drawing of a staff reaches at each place, so that later signs find room.
#[derive(Debug, Default)]
struct Reach {
    /// From, to, top, bottom.
    boxes: Vec<(f64, f64, f64, f64)>,
}

impl Reach {
    fn add(&mut self, x0: f64, x1: f64, y0: f64, y1: f64) {
        self.boxes
            .push((x0.min(x1), x0.max(x1), y0.min(y1), y0.max(y1)));
    }

    fn glyph(&mut self, glyph: Glyph, x: f64, y: f64) {
        let o = glyph.outline();
        self.add(
            x + o.left,
            x + o.left + o.width,
            y - glyph.top(),
            y - o.bottom,
        );
    }

    fn top(&self, x0: f64, x1: f64) -> f64 {
        let over = self.boxes.iter().filter(|b| b.0 < x1 && b.1 > x0);
        over.map(|b| b.2).fold(-2.0, f64::min)
    }

    fn bottom(&self, x0: f64, x1: f64) -> f64 {
        let under = self.boxes.iter().filter(|b| b.0 < x1 && b.1 > x0);
        under.map(|b| b.3).fold(2.0, f64::max)
    }
}

/// A drawn staff and how far it reaches up and down.
pub(super) struct Drawn {
    pub canvas: Canvas,
    pub top: f64,
    pub bottom: f64,
}

pub(super) fn y(pos: i32) -> f64 {
    -f64::from(pos) / 2.0
}

/// Draws a staff without its bar lines.
pub(super) fn draw(staff: &mut Staff, layout: &Layout) -> Drawn {
    let mut pen = Pen {
        canvas: Canvas::default(),
        reach: Reach::default(),
    };
    for line in -2..=2 {
        pen.canvas.line(
            0.1,
            (layout.left, f64::from(line)),
            (layout.right, f64::from(line)),
        );
    }
    pen.signature(staff, layout);
    for space in &layout.bars {
        let bar = &space.bar;
        let mut x = space.turns;
        for (_, at, turn) in staff.turns.iter().filter(|t| t.0 == *bar) {
            let x = if *at == ZERO {
                &mut x
            } else {
                // Right before what stands at that time.
                let left = space.column(*at).map_or(0.0, |c| c.left);
                &mut (space.x(*at) + left)
            };
            pen.turn(*turn, staff.clef_at(*bar, *at), x);
        }
    }
    for (bar, beats) in &staff.slashes {
        if let Some(space) = layout.bar(*bar) {
            let step = (space.right - space.from) / f64::from((*beats).max(1));
            for beat in 0..*beats {
                pen.canvas.glyph(
                    glyphs::HEAD_SLASH,
                    space.from + step * f64::from(beat),
                    0.0,
                    "",
                );
            }
        }
    }
    for group in beam_groups(&staff.inks) {
        pen.beamed(&mut staff.inks, &group);
    }
    for ink in &mut staff.inks {
        pen.ink(ink, layout);
    }
    pen.ties(&staff.inks, layout);
    for ink in &staff.inks {
        pen.articulations(ink);
    }
    pen.tuplets(&staff.inks);
    for (bar, at, text) in &staff.dynamics {
        if let Some(space) = layout.bar(*bar) {
            pen.dynamic(space.x(*at), text);
        }
    }
    Drawn {
        top: pen.reach.top(f64::MIN, f64::MAX).min(-2.0),
        bottom: pen.reach.bottom(f64::MIN, f64::MAX).max(2.0),
        canvas: pen.canvas,
    }
}

/// The notes each beam holds together, by index.
fn beam_groups(inks: &[Ink]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    // One open beam for each voice.
    let mut open: Vec<(usize, Vec<usize>)> = Vec::new();
    for (i, ink) in inks.iter().enumerate() {
        match ink.beams.first() {
            Some(Beam::Begin) => {
                open.retain(|(lane, _)| *lane != ink.lane);
                open.push((ink.lane, vec![i]));
            }
            Some(Beam::Continue | Beam::End) => {
                let Some(at) = open.iter().position(|(lane, _)| *lane == ink.lane) else {
                    continue;
                };
                if let Some((_, group)) = open.get_mut(at) {
                    group.push(i);
                }
                if ink.beams.first() == Some(&Beam::End) {
                    groups.push(open.swap_remove(at).1);
                }
            }
            _ => {}
        }
    }
    groups
}

struct Pen {
    canvas: Canvas,
    reach: Reach,
}

impl Pen {
    fn put(&mut self, glyph: Glyph, x: f64, y: f64, class: &str) {
        self.canvas.glyph(glyph, x, y, class);
        self.reach.glyph(glyph, x, y);
    }

    fn signature(&mut self, staff: &Staff, layout: &Layout) {
        let (glyph, pos) = clef_sign(staff.clef);
        self.put(glyph, layout.left + 0.7, y(pos), "");
        self.key(staff.fifths, 0, staff.clef, layout.key_x);
        if let Some(meter) = staff.meter {
            self.meter(meter, layout.meter_x);
        }
    }

    fn key(&mut self, fifths: i8, before: i8, clef: Clef, mut x: f64) -> f64 {
        for (glyph, pos) in key_signature(fifths, before, clef) {
            self.put(glyph, x, y(pos), "");
            x += key_step(glyph);
        }
        x
    }

    fn meter(&mut self, meter: Meter, x: f64) {
        let width = meter_width(meter);
        for (number, y) in [(meter.beats, -1.0), (meter.unit, 1.0)] {
            let digits = figures(number);
            let own: f64 = digits.iter().map(|g| g.advance()).sum();
            let mut at = x + (width - own) / 2.0;
            for glyph in digits {
                self.put(glyph, at, y, "");
                at += glyph.advance();
            }
        }
    }

    fn turn(&mut self, turn: Turn, clef: Clef, x: &mut f64) {
        match turn {
            Turn::Clef(clef) => {
                let (glyph, pos) = clef_sign(clef);
                self.canvas.scaled(glyph, *x, y(pos), CHANGED_CLEF, "");
                *x += glyph.right() * CHANGED_CLEF + 0.5;
            }
            Turn::Key(to, from) => *x = self.key(to, from, clef, *x) + 0.5,
            Turn::Meter(meter) => {
                self.meter(meter, *x);
                *x += meter_width(meter) + 0.5;
            }
        }
    }

    /// The stem's place of a chord.
    fn stem_x(ink: &Ink) -> f64 {
        let x = ink.x + ink.shift;
        if ink.up() {
            x + ink.head_width() - STEM / 2.0
        } else {
            x + STEM / 2.0
        }
    }

    /// Where a stem by itself ends: an octave away, and at least at the middle line.
    fn lone_tip(ink: &Ink) -> f64 {
        let extra = f64::from(
            u8::try_from(ink.shape.map_or(0, Shape::beams))
                .unwrap_or(0)
                .max(2)
                - 2,
        ) * BEAM_STEP;
        if ink.up() {
            let tip = y(ink.highest()) - LENGTH - extra;
            if ink.upper.is_none() {
                tip.min(0.0)
            } else {
                tip
            }
        } else {
            let tip = y(ink.lowest()) + LENGTH + extra;
            if ink.upper.is_none() {
                tip.max(0.0)
            } else {
                tip
            }
        }
    }

    /// A beam over its notes: a slope that follows its ends, stems long enough for all.
    fn beamed(&mut self, inks: &mut [Ink], group: &[usize]) {
        let notes: Vec<(f64, f64, usize)> = group
            .iter()
            .filter_map(|i| inks.get(*i))
            .map(|k| {
                let near = if k.up() {
                    y(k.highest())
                } else {
                    y(k.lowest())
                };
                (Self::stem_x(k), near, k.beams.len())
            })
            .collect();
        let up = group
            .first()
            .and_then(|i| inks.get(*i))
            .is_some_and(Ink::up);
        let (Some(first), Some(last)) = (notes.first(), notes.last()) else {
            return;
        };
        let width = (last.0 - first.0).max(0.1);
        let sign = if up { -1.0 } else { 1.0 };
        // A note between that is nearer to the beam than both ends keeps the beam level.
        let outer = (first.1 * sign).max(last.1 * sign);
        let inner = notes.iter().any(|k| k.1 * sign > outer + 1e-9);
        let wanted = if inner { 0.0 } else { (last.1 - first.1) * 0.5 };
        let steepest = (0.12 * width).min(1.25);
        let slope = wanted.clamp(-steepest, steepest) / width;
        let at = |x: f64, from: f64| from + slope * (x - first.0);
        // The farthest start that every stem is content with.
        let from = notes
            .iter()
            .map(|(x, near, levels)| {
                let more = (levels.max(&1) - 1) as f64 * 0.5;
                let tip = near + sign * (3.0 + more);
                // Stems of notes far off the staff reach the middle line.
                let tip = if up { tip.min(0.0) } else { tip.max(0.0) };
                (tip - slope * (x - first.0)) * sign
            })
            .fold(f64::MIN, f64::max)
            * sign;
        for i in group {
            if let Some(ink) = inks.get_mut(*i) {
                ink.tip = at(Self::stem_x(ink), from);
            }
        }
        let thick = if up { BEAM } else { -BEAM };
        let deepest = notes.iter().map(|k| k.2).max().unwrap_or(1);
        for level in 0..deepest {
            let down = level as f64 * BEAM_STEP * -sign;
            let mut start: Option<f64> = None;
            for i in group {
                let Some(ink) = inks.get(*i) else { continue };
                let x = Self::stem_x(ink);
                let bar = |a: f64, b: f64| ((a, at(a, from) + down), (b, at(b, from) + down));
                match ink.beams.get(level) {
                    Some(Beam::Begin) => start = Some(x - STEM / 2.0),
                    Some(Beam::End) => {
                        if let Some(s) = start.take() {
                            let (a, b) = bar(s, x + STEM / 2.0);
                            self.canvas.beam(a, b, thick);
                        }
                    }
                    Some(Beam::ForwardHook) => {
                        let (a, b) = bar(x, x + 1.0);
                        self.canvas.beam(a, b, thick);
                    }
                    Some(Beam::BackwardHook) => {
                        let (a, b) = bar(x - 1.0, x);
                        self.canvas.beam(a, b, thick);
                    }
                    Some(Beam::Continue) | None => {}
                }
            }
        }
        let (y0, y1) = (at(first.0, from), at(last.0, from));
        self.reach.add(first.0, last.0, y0.min(y1), y0.max(y1));
    }

    fn ink(&mut self, ink: &mut Ink, layout: &Layout) {
        if let Some(glyph) = ink.rest() {
            self.rest(ink, glyph, layout);
            return;
        }
        let x = ink.x + ink.shift;
        self.ledgers(ink.x + ink.shift, &ink.heads, 1.0);
        for head in &ink.heads {
            self.head(head, ink.x, x);
        }
        if ink.stem.is_some() {
            if ink.beams.is_empty() {
                ink.tip = Self::lone_tip(ink);
            }
            let at = Self::stem_x(ink);
            let from = if ink.up() {
                y(ink.lowest()) - 0.16
            } else {
                y(ink.highest()) + 0.16
            };
            self.canvas.line(STEM, (at, from), (at, ink.tip));
            self.reach.add(at - 0.1, at + 0.1, from, ink.tip);
            if let Some(flag) = ink.flag() {
                self.put(flag, at - STEM / 2.0, ink.tip, "");
            }
        }
        self.dots(ink);
        self.graces(ink);
    }

    fn rest(&mut self, ink: &Ink, glyph: Glyph, layout: &Layout) {
        let middle = y(ink.rest_pos());
        let (x, y) = match (ink.kind, layout.bar(ink.bar)) {
            (Kind::BarRest, Some(bar)) => (
                f64::midpoint(bar.from, bar.right) - glyph.right() / 2.0,
                middle - 1.0,
            ),
            _ if glyph == glyphs::REST_WHOLE => (ink.x, middle - 1.0),
            _ => (ink.x, middle),
        };
        self.put(glyph, x, y, "");
        self.dots(ink);
    }

    fn dots(&mut self, ink: &Ink) {
        let count = ink.shape.map_or(0, |s| s.dots);
        for pos in &ink.dots {
            for n in 0..count {
                let x = ink.x + ink.dot_x + 0.7 * f64::from(n);
                self.put(glyphs::DOT, x, y(*pos), "");
            }
        }
    }

    fn head(&mut self, head: &Head, onset: f64, x: f64) {
        let class = match head.said {
            Some(Said::Fault) => "f",
            Some(Said::Mended) => "d",
            None => "",
        };
        let at = y(head.pos);
        self.put(head.glyph, x + head.dx, at, class);
        if let Some((glyph, dx)) = head.accidental {
            self.put(glyph, onset + dx, at, class);
        }
        let middle = x + head.dx + head.glyph.right() / 2.0;
        match head.said {
            Some(Said::Fault) => self.canvas.ring(middle, at, "r"),
            Some(Said::Mended) => self.canvas.frame(middle, at, "k"),
            None => return,
        }
        self.reach
            .add(middle - 1.2, middle + 1.2, at - 1.0, at + 1.0);
    }

    fn ledgers(&mut self, x: f64, heads: &[Head], scale: f64) {
        let span = |far: &dyn Fn(i32) -> bool| {
            heads
                .iter()
                .filter(|h| far(h.pos))
                .map(|h| (x + h.dx * scale, x + (h.dx + h.glyph.right()) * scale))
                .reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
        };
        let high = heads.iter().map(|h| h.pos).max().unwrap_or(0);
        let low = heads.iter().map(|h| h.pos).min().unwrap_or(0);
        // Nobody reads more; a pitch from a broken file must not draw a ladder.
        let (high, low) = (high.min(30), low.max(-30));
        let out = 0.35 * scale;
        for line in (6..=high).step_by(2) {
            if let Some((a, b)) = span(&|p| p >= line) {
                self.canvas
                    .line(0.16, (a - out, y(line)), (b + out, y(line)));
            }
        }
        for line in (low..=-6).filter(|l| l % 2 == 0) {
            if let Some((a, b)) = span(&|p| p <= line) {
                self.canvas
                    .line(0.16, (a - out, y(line)), (b + out, y(line)));
            }
        }
    }

    /// Small notes before a note, their stems up.
    fn graces(&mut self, ink: &Ink) {
        if ink.graces.is_empty() {
            return;
        }
        let step = (-ink.left
            + ink
                .heads
                .iter()
                .filter_map(|h| h.accidental.map(|(_, x)| x))
                .fold(0.0, f64::min)
            - 0.3)
            / ink.graces.len() as f64;
        let mut tips: Vec<(f64, f64)> = Vec::new();
        let highest = ink.graces.iter().map(Ink::highest).max().unwrap_or(0);
        for (n, grace) in ink.graces.iter().enumerate() {
            let x = ink.x + ink.left + step * (n as f64 + 1.0) - GRACE_STEP + 0.3;
            self.ledgers(x, &grace.heads, SMALL);
            for head in &grace.heads {
                let class = if head.said.is_some() { "f" } else { "" };
                self.canvas
                    .scaled(head.glyph, x + head.dx * SMALL, y(head.pos), SMALL, class);
                self.reach
                    .add(x, x + 1.0, y(head.pos) - 0.4, y(head.pos) + 0.4);
                if let Some((glyph, dx)) = head.accidental {
                    self.canvas
                        .scaled(glyph, x + dx * SMALL, y(head.pos), SMALL, class);
                }
            }
            let at = x + grace.head_width() * SMALL - 0.05;
            let tip = if ink.graces.len() > 1 {
                y(highest) - 2.3
            } else {
                y(grace.highest()) - 2.3
            };
            self.canvas
                .line(0.1, (at, y(grace.lowest()) - 0.1), (at, tip));
            self.reach.add(at - 0.1, at + 0.1, y(grace.lowest()), tip);
            tips.push((at, tip));
        }
        match (tips.first(), tips.last()) {
            (Some(only), _) if tips.len() == 1 => {
                self.canvas
                    .scaled(glyphs::FLAG_8_UP, only.0, only.1, SMALL, "");
                self.canvas.line(
                    0.1,
                    (only.0 - 0.6, only.1 + 1.5),
                    (only.0 + 0.8, only.1 + 0.5),
                );
            }
            (Some(first), Some(last)) => {
                for level in [0.0, 0.5] {
                    let (a, b) = ((first.0, first.1 + level), (last.0, last.1 + level));
                    self.canvas.beam(a, b, 0.3);
                }
            }
            _ => {}
        }
    }

    /// Ties between neighbouring notes of a pitch, and the halves of those that leave the picture.
    fn ties(&mut self, inks: &[Ink], layout: &Layout) {
        for (i, ink) in inks.iter().enumerate() {
            let left_edge = layout.bars.first().map_or(0.0, |b| b.from);
            for (h, head) in ink.heads.iter().enumerate() {
                let above = Self::tie_above(ink, h);
                let side = if above { -1.0 } else { 1.0 };
                let at = y(head.pos) + side * 0.45;
                let mine = ink.x + ink.shift + head.dx;
                if head.tie_out {
                    let from = mine + head.glyph.right() - 0.1;
                    let to = Self::tied_to(inks, i, head, layout)
                        .unwrap_or_else(|| layout.right.min(from + 3.5) - 0.2);
                    self.tie(from, to.max(from + 0.8), at, above);
                }
                if head.tie_in && !Self::tied_from(inks, i, head, layout) {
                    let to = mine + 0.1;
                    self.tie((to - 2.5).max(left_edge - 0.9).min(to - 1.0), to, at, above);
                }
            }
        }
    }

    fn tie(&mut self, from: f64, to: f64, at: f64, above: bool) {
        let rise = (0.3 + 0.05 * (to - from)).min(0.9);
        let rise = if above { rise } else { -rise };
        self.canvas.curve((from, at), (to, at), rise);
        self.reach.add(from, to, at, at - rise);
    }

    /// Ties lie away from the stem; in a chord the upper half above, the lower half below.
    fn tie_above(ink: &Ink, head: usize) -> bool {
        if let Some(upper) = ink.upper {
            return upper;
        }
        match ink.heads.len() {
            1 if ink.stem.is_some() => !ink.up(),
            1 => ink.highest() >= 0,
            n if n % 2 == 1 && head == n / 2 => !ink.up(),
            n => head >= n / 2,
        }
    }

    /// The left edge of the notehead a tie goes to.
    fn tied_to(inks: &[Ink], i: usize, head: &Head, layout: &Layout) -> Option<f64> {
        let ink = inks.get(i)?;
        let over = layout.bar(ink.bar).is_some_and(|b| b.length <= ink.end);
        let next = inks.iter().skip(i + 1).find(|k| {
            let follows = if over {
                k.bar == ink.bar + 1 && k.start == ZERO
            } else {
                k.bar == ink.bar && k.start == ink.end
            };
            follows && k.heads.iter().any(|h| h.tie_in && h.pitch == head.pitch)
        })?;
        let to = next
            .heads
            .iter()
            .find(|h| h.tie_in && h.pitch == head.pitch)?;
        Some(next.x + next.shift + to.dx + 0.1)
    }

    fn tied_from(inks: &[Ink], i: usize, head: &Head, layout: &Layout) -> bool {
        let Some(ink) = inks.get(i) else { return false };
        inks.iter().take(i).rev().any(|k| {
            let over = layout.bar(k.bar).is_some_and(|b| b.length <= k.end);
            let before = if over {
                k.bar + 1 == ink.bar && ink.start == ZERO
            } else {
                k.bar == ink.bar && k.end == ink.start
            };
            before && k.heads.iter().any(|h| h.tie_out && h.pitch == head.pitch)
        })
    }

    fn articulations(&mut self, ink: &Ink) {
        if ink.is_rest() || ink.marks == Articulations::default() {
            return;
        }
        let x = ink.x + ink.shift;
        let middle = x + ink.head_width() / 2.0;
        let has = |mark: Articulations| ink.marks.has(mark);
        let above = match ink.upper {
            Some(upper) => upper,
            None if ink.stem.is_some() => !ink.up(),
            None => ink.highest() < 0,
        };
        let side = if above { -1.0 } else { 1.0 };
        let mut edge = if above {
            y(ink.highest())
        } else {
            y(ink.lowest())
        } + side * 0.5;
        let (x0, x1) = (middle - 0.9, middle + 0.9);
        // Short signs next to the head, in a space while they are on the staff.
        for (mark, glyph, height) in [
            (Articulations::STACCATO, glyphs::STACCATO, 0.4),
            (Articulations::TENUTO, glyphs::TENUTO, 0.2),
        ] {
            if !has(mark) {
                continue;
            }
            let mut centre = edge + side * 0.45;
            if centre.abs() < 2.4 {
                // The nearest space that is not before it.
                let spaces = (centre * side - 0.5).ceil() + 0.5;
                centre = spaces * side;
            }
            let at = centre + height / 2.0;
            self.put(glyph, middle - glyph.right() / 2.0, at, "");
            edge = centre + side * height / 2.0;
        }
        // Long signs outside the staff.
        let outside = |pen: &Self, edge: f64, above: bool| {
            if above {
                edge.min(pen.reach.top(x0, x1)).min(-2.0) - 0.35
            } else {
                edge.max(pen.reach.bottom(x0, x1)).max(2.0) + 0.35
            }
        };
        let stack = |pen: &mut Self, over: Glyph, under: Glyph, above: bool| {
            let at = outside(pen, edge, above);
            let glyph = if above { over } else { under };
            pen.put(glyph, middle - glyph.right() / 2.0, at, "");
        };
        if has(Articulations::STACCATISSIMO) {
            stack(
                self,
                glyphs::STACCATISSIMO_ABOVE,
                glyphs::STACCATISSIMO_BELOW,
                above,
            );
        }
        if has(Articulations::ACCENT) {
            stack(self, glyphs::ACCENT_ABOVE, glyphs::ACCENT_BELOW, above);
        }
        if has(Articulations::MARCATO) {
            stack(self, glyphs::MARCATO, glyphs::MARCATO, true);
        }
        if has(Articulations::FERMATA) {
            stack(self, glyphs::FERMATA, glyphs::FERMATA, true);
        }
        if has(Articulations::BREATH) {
            self.put(glyphs::BREATH, ink.x + ink.right - 0.8, -2.2, "");
        }
        let at = y(ink.highest());
        let right = x + ink.head_width() + 0.25;
        // Falls and doits leave the note, scoops and plops come into it.
        for (mark, from, to) in [
            (
                Articulations::FALL,
                (right, at + 0.1),
                (right + 1.6, at + 1.6),
            ),
            (
                Articulations::DOIT,
                (right, at - 0.1),
                (right + 1.6, at - 1.6),
            ),
            (
                Articulations::SCOOP,
                (x - 1.6, at + 1.3),
                (x - 0.2, at + 0.1),
            ),
            (
                Articulations::PLOP,
                (x - 1.6, at - 1.4),
                (x - 0.2, at - 0.2),
            ),
        ] {
            if has(mark) {
                let rise = if to.1 > from.1 { 0.5 } else { -0.5 };
                self.canvas.curve(from, to, rise);
                self.reach.add(from.0, to.0, from.1, to.1);
            }
        }
    }

    fn tuplets(&mut self, inks: &[Ink]) {
        let mut open: Vec<(usize, Vec<usize>)> = Vec::new();
        for (i, ink) in inks.iter().enumerate() {
            if ink.tuplet.is_none() {
                continue;
            }
            if ink.tuplet_start {
                open.retain(|(lane, _)| *lane != ink.lane);
                open.push((ink.lane, Vec::new()));
            }
            let Some(at) = open.iter().position(|(lane, _)| *lane == ink.lane) else {
                continue;
            };
            if let Some((_, group)) = open.get_mut(at) {
                group.push(i);
            }
            if ink.tuplet_stop {
                let (_, group) = open.swap_remove(at);
                let group: Vec<&Ink> = group.iter().filter_map(|i| inks.get(*i)).collect();
                self.tuplet(&group);
            }
        }
    }

    fn tuplet(&mut self, group: &[&Ink]) {
        let (Some(first), Some(last)) = (group.first(), group.last()) else {
            return;
        };
        let Some((actual, _)) = first.tuplet else {
            return;
        };
        let stems = group.iter().filter(|i| i.stem.is_some());
        let ups = stems.clone().filter(|i| i.up()).count();
        let above = first
            .upper
            .unwrap_or_else(|| stems.count() == 0 || 2 * ups >= group.len() || first.bracket);
        let x0 = first.x + first.shift - 0.1;
        let x1 = last.x + last.shift + last.head_width().max(1.0) + 0.1;
        let digits: Vec<Glyph> = actual
            .to_string()
            .bytes()
            .map(|b| Glyph::tuplet(b.wrapping_sub(b'0')))
            .collect();
        let width: f64 = digits.iter().map(|g| g.advance()).sum();
        let height = 1.3;
        let middle = f64::midpoint(x0, x1);
        // The line the figure stands on.
        let base = if above {
            self.reach.top(x0, x1) - 0.45
        } else {
            self.reach.bottom(x0, x1) + 0.45 + height
        };
        let mut x = middle - width / 2.0;
        for glyph in digits {
            self.put(glyph, x, base, "");
            x += glyph.advance();
        }
        if first.bracket {
            let line = base - height / 2.0;
            let hook = if above { 0.7 } else { -0.7 };
            for (edge, inner) in [
                (x0, middle - width / 2.0 - 0.4),
                (x1, middle + width / 2.0 + 0.4),
            ] {
                self.canvas.line(STEM, (edge, line), (inner, line));
                self.canvas.line(STEM, (edge, line), (edge, line + hook));
            }
            self.reach.add(x0, x1, line - 0.2, line + 0.2);
        }
    }

    /// A dynamic under the staff.
    fn dynamic(&mut self, x: f64, text: &str) {
        let letters: Option<Vec<Glyph>> = text.chars().map(Glyph::dynamic).collect();
        let Some(letters) = letters.filter(|l| !l.is_empty() && l.len() <= 6) else {
            return;
        };
        let width: f64 = letters.iter().map(|g| g.advance()).sum();
        let base = self.reach.bottom(x - 0.5, x + width + 0.5).max(2.0) + 2.1;
        let mut at = x - 0.2;
        for glyph in letters {
            self.put(glyph, at, base, "");
            at += glyph.advance();
        }
    }
}
