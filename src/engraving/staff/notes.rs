//! Noteheads, rests, dots, ledger lines and grace notes.

use super::stems::{STEM, lone_tip, stem_x};
use super::{StaffDrawing, y};
use crate::engraving::Highlight;
use crate::engraving::events::{DrawnEvent, DrawnHead, GRACE_STEP, SMALL};
use crate::engraving::glyphs::{self, Glyph};
use crate::engraving::spacing::Layout;
use crate::notation::EventKind;

impl StaffDrawing {
    pub(super) fn draw_event(&mut self, event: &mut DrawnEvent, layout: &Layout) {
        if let Some(glyph) = event.rest() {
            self.rest(event, glyph, layout);
            return;
        }
        let x = event.x + event.shift;
        self.ledgers(event.x + event.shift, &event.heads, 1.0);
        for head in &event.heads {
            self.head(head, event.x, x);
        }
        self.highlights(event, x);
        if event.stem.is_some() {
            if event.beams.is_empty() {
                event.tip = lone_tip(event);
            }
            let at = stem_x(event);
            let from = if event.up() {
                y(event.lowest()) - 0.16
            } else {
                y(event.highest()) + 0.16
            };
            self.canvas.line(STEM, (at, from), (at, event.tip));
            self.reach.add(at - 0.1, at + 0.1, from, event.tip);
            if let Some(flag) = event.flag() {
                self.put(flag, at - STEM / 2.0, event.tip, "");
            }
        }
        self.dots(event);
        self.graces(event);
    }

    pub(super) fn rest(&mut self, event: &DrawnEvent, glyph: Glyph, layout: &Layout) {
        let middle = y(event.rest_pos());
        let (x, y) = match (event.kind, layout.bar(event.bar)) {
            (EventKind::BarRest, Some(bar)) => (
                f64::midpoint(bar.from, bar.right) - glyph.right() / 2.0,
                middle - 1.0,
            ),
            _ if glyph == glyphs::REST_WHOLE => (event.x, middle - 1.0),
            _ => (event.x, middle),
        };
        self.put(glyph, x, y, "");
        self.dots(event);
    }

    pub(super) fn dots(&mut self, event: &DrawnEvent) {
        let count = event.value.map_or(0, |s| s.dots);
        for pos in &event.dots {
            for n in 0..count {
                let x = event.x + event.dot_x + 0.7 * f64::from(n);
                self.put(glyphs::DOT, x, y(*pos), "");
            }
        }
    }

    pub(super) fn head(&mut self, head: &DrawnHead, onset: f64, x: f64) {
        let class = match head.highlight {
            Some(Highlight::Fault | Highlight::Passing) => "f",
            Some(Highlight::Mended) => "d",
            None => "",
        };
        let at = y(head.pos);
        self.put(head.glyph, x + head.dx, at, class);
        if let Some((glyph, dx)) = head.accidental {
            self.put(glyph, onset + dx, at, class);
            if head.courtesy {
                self.put(glyphs::BRACKET_LEFT, onset + dx - 0.45, at, class);
                let right = onset + dx + glyph.right() + 0.08;
                self.put(glyphs::BRACKET_RIGHT, right, at, class);
            }
        }
        if head.brackets {
            self.put(glyphs::BRACKET_LEFT, x + head.dx - 0.5, at, class);
            let right = x + head.dx + head.glyph.right() + 0.12;
            self.put(glyphs::BRACKET_RIGHT, right, at, class);
        }
    }

    /// Rings and frames: one for neighbours in a chord, so that they do not run into each other.
    fn highlights(&mut self, event: &DrawnEvent, x: f64) {
        let mut groups: Vec<(Highlight, f64, i32, i32)> = Vec::new();
        for head in &event.heads {
            let Some(highlight) = head.highlight else {
                continue;
            };
            let middle = x + head.dx + head.glyph.right() / 2.0;
            match groups.last_mut() {
                // Heads go upwards; a third apart two rings would touch.
                Some((of, at, _, high))
                    if *of == highlight && head.pos - *high <= 3 && (*at - middle).abs() < 0.1 =>
                {
                    *high = head.pos;
                }
                _ => groups.push((highlight, middle, head.pos, head.pos)),
            }
        }
        for (highlight, middle, low, high) in groups {
            let (top, bottom) = (y(high), y(low));
            match highlight {
                Highlight::Fault => self.canvas.ring(middle, (top, bottom), "r"),
                Highlight::Mended => self.canvas.frame(middle, (top, bottom), "k"),
                Highlight::Passing => continue,
            }
            self.reach
                .add(middle - 0.9, middle + 0.9, top - 0.9, bottom + 0.9);
        }
    }

    pub(super) fn ledgers(&mut self, x: f64, heads: &[DrawnHead], scale: f64) {
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
    pub(super) fn graces(&mut self, event: &DrawnEvent) {
        if event.graces.is_empty() {
            return;
        }
        let step = (-event.left
            + event
                .heads
                .iter()
                .filter_map(|h| h.accidental.map(|(_, x)| x))
                .fold(0.0, f64::min)
            - 0.3)
            / event.graces.len() as f64;
        let mut tips: Vec<(f64, f64)> = Vec::new();
        let highest = event
            .graces
            .iter()
            .map(DrawnEvent::highest)
            .max()
            .unwrap_or(0);
        for (n, grace) in event.graces.iter().enumerate() {
            let x = event.x + event.left + step * (n as f64 + 1.0) - GRACE_STEP + 0.3;
            self.ledgers(x, &grace.heads, SMALL);
            for head in &grace.heads {
                let class = if head.highlight.is_some() { "f" } else { "" };
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
            let tip = if event.graces.len() > 1 {
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
                if event.graces.first().is_some_and(|g| g.signs.plain_grace) {
                    return;
                }
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
}
