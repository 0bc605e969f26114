//! One staff drawn by itself, its middle line at height 0, downwards.
//!
//! Each file adds to the drawing what its name says; `DrawnBoxes` keeps how far the drawing reaches, so
//! that the signs drawn later find room.

mod articulations;
mod directions;
mod notes;
mod slurs;
mod stems;
mod ties;
mod tuplets;

use super::glyphs::{self, Glyph};
use super::spacing::{
    CHANGED_CLEF, Layout, ShownMeter, Staff, StaffChange, clef_sign, figures, key_signature,
    key_step, meter_glyph, meter_width, upper_figures,
};
use super::svg::Canvas;
use crate::notation::ZERO;
use crate::score::Clef;

/// How far the drawing of a staff reaches at each place, so that later signs find room.
#[derive(Debug, Default)]
struct DrawnBoxes {
    /// From, to, top, bottom.
    boxes: Vec<(f64, f64, f64, f64)>,
}

impl DrawnBoxes {
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
pub(super) struct DrawnStaff {
    pub canvas: Canvas,
    pub top: f64,
    pub bottom: f64,
}

/// How far down a height of `pos` steps above the middle line is.
pub(super) fn y(pos: i32) -> f64 {
    -f64::from(pos) / 2.0
}

/// Draws a staff without its bar lines.
pub(super) fn draw(staff: &mut Staff, layout: &Layout) -> DrawnStaff {
    let mut drawing = StaffDrawing {
        canvas: Canvas::default(),
        reach: DrawnBoxes::default(),
    };
    for line in -2..=2 {
        drawing.canvas.line(
            0.1,
            (layout.left, f64::from(line)),
            (layout.right, f64::from(line)),
        );
    }
    drawing.signature(staff, layout);
    for space in &layout.bars {
        let bar = &space.bar;
        let mut x = space.changes;
        for (_, at, change) in staff.changes.iter().filter(|t| t.0 == *bar) {
            let x = if *at == ZERO {
                &mut x
            } else {
                // Right before what stands at that time.
                let left = space.column(*at).map_or(0.0, |c| c.left);
                &mut (space.x(*at) + left)
            };
            drawing.change(*change, staff.clef_at(*bar, *at), x);
        }
    }
    for (bar, beats) in &staff.slashes {
        if let Some(space) = layout.bar(*bar) {
            let step = (space.right - space.from - 0.8) / f64::from((*beats).max(1));
            for beat in 0..*beats {
                drawing.canvas.glyph(
                    glyphs::HEAD_SLASH,
                    space.from + step * f64::from(beat),
                    0.0,
                    "",
                );
            }
        }
    }
    for group in stems::beam_groups(&staff.events) {
        drawing.beamed(&mut staff.events, &group);
    }
    for event in &mut staff.events {
        drawing.draw_event(event, layout);
    }
    drawing.ties(&staff.events, layout);
    for event in &staff.events {
        drawing.articulations(event);
    }
    drawing.tuplets(&staff.events);
    drawing.slurs(&staff.events, layout);
    for (bar, at, text) in &staff.dynamics {
        if let Some(space) = layout.bar(*bar) {
            drawing.dynamic(space.x(*at), text);
        }
    }
    drawing.directions(&staff.directions, layout);
    DrawnStaff {
        top: drawing.reach.top(f64::MIN, f64::MAX).min(-2.0),
        bottom: drawing.reach.bottom(f64::MIN, f64::MAX).max(2.0),
        canvas: drawing.canvas,
    }
}

/// A staff being drawn.
struct StaffDrawing {
    canvas: Canvas,
    reach: DrawnBoxes,
}

impl StaffDrawing {
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

    fn meter(&mut self, meter: ShownMeter, x: f64) {
        if let Some(glyph) = meter_glyph(meter) {
            self.put(glyph, x, 0.0, "");
            return;
        }
        let width = meter_width(meter);
        for (digits, y) in [
            (upper_figures(meter), -1.0),
            (figures(meter.meter.unit), 1.0),
        ] {
            let own: f64 = digits.iter().map(|g| g.advance()).sum();
            let mut at = x + (width - own) / 2.0;
            for glyph in digits {
                self.put(glyph, at, y, "");
                at += glyph.advance();
            }
        }
    }

    fn change(&mut self, change: StaffChange, clef: Clef, x: &mut f64) {
        match change {
            StaffChange::Clef(clef) => {
                let (glyph, pos) = clef_sign(clef);
                self.canvas.scaled(glyph, *x, y(pos), CHANGED_CLEF, "");
                *x += glyph.right() * CHANGED_CLEF + 0.5;
            }
            StaffChange::Key(to, from) => *x = self.key(to, from, clef, *x) + 0.5,
            StaffChange::Meter(meter) => {
                self.meter(meter, *x);
                *x += meter_width(meter) + 0.5;
            }
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
