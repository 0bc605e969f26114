//! Articulations and ornaments of a note.

use super::{StaffDrawing, y};
use crate::engraving::events::DrawnEvent;
use crate::engraving::glyphs::{self, Glyph};
use crate::score::Articulations;

/// Signs outside the staff, from the note outwards: above and below the note. Those with one form only
/// always stand above.
const OUTSIDE: [(Articulations, Glyph, Option<Glyph>); 4] = [
    (
        Articulations::STACCATISSIMO,
        glyphs::STACCATISSIMO_ABOVE,
        Some(glyphs::STACCATISSIMO_BELOW),
    ),
    (
        Articulations::ACCENT,
        glyphs::ACCENT_ABOVE,
        Some(glyphs::ACCENT_BELOW),
    ),
    (Articulations::MARCATO, glyphs::MARCATO, None),
    (Articulations::FERMATA, glyphs::FERMATA, None),
];

impl StaffDrawing {
    pub(super) fn articulations(&mut self, event: &DrawnEvent) {
        if event.is_rest() || event.marks == Articulations::default() {
            return;
        }
        let middle = event.x + event.shift + event.head_width() / 2.0;
        let above = match event.upper {
            Some(upper) => upper,
            None if event.stem.is_some() => !event.up(),
            None => event.highest() < 0,
        };
        let edge = self.short_signs(event, middle, above);
        for (mark, over, under) in OUTSIDE {
            if event.marks.has(mark) {
                let (glyph, above) = match under {
                    Some(under) if !above => (under, false),
                    _ => (over, true),
                };
                let (x0, x1) = (middle - 0.9, middle + 0.9);
                let at = if above {
                    edge.min(self.reach.top(x0, x1)).min(-2.0) - 0.35
                } else {
                    edge.max(self.reach.bottom(x0, x1)).max(2.0) + 0.35
                };
                self.put(glyph, middle - glyph.right() / 2.0, at, "");
            }
        }
        if event.marks.has(Articulations::BREATH) {
            self.put(glyphs::BREATH, event.x + event.right - 0.8, -2.2, "");
        }
        self.slides(event);
    }

    /// Short signs next to the head, in a space while they are on the staff. Returns the height of
    /// the outer edge of what stands there.
    fn short_signs(&mut self, event: &DrawnEvent, middle: f64, above: bool) -> f64 {
        let side = if above { -1.0 } else { 1.0 };
        let mut edge = if above {
            y(event.highest())
        } else {
            y(event.lowest())
        } + side * 0.5;
        for (mark, glyph, height) in [
            (Articulations::STACCATO, glyphs::STACCATO, 0.4),
            (Articulations::TENUTO, glyphs::TENUTO, 0.2),
        ] {
            if !event.marks.has(mark) {
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
        edge
    }

    /// Falls and doits leave the note, scoops and plops come into it.
    fn slides(&mut self, event: &DrawnEvent) {
        let x = event.x + event.shift;
        let at = y(event.highest());
        let right = x + event.head_width() + 0.25;
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
            if event.marks.has(mark) {
                let rise = if to.1 > from.1 { 0.5 } else { -0.5 };
                self.canvas.curve(from, to, rise);
                self.reach.add(from.0, to.0, from.1, to.1);
            }
        }
    }
}
