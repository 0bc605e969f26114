//! Words and signs over and under a staff: tempo, rehearsal marks, hairpins, octave lines, endings.

use super::StaffDrawing;
use crate::engraving::filed::{Direction, Sign, WedgeKind};
use crate::engraving::glyphs;
use crate::engraving::spacing::Layout;
use crate::engraving::text::text_width;

/// The size of the letters, in staff spaces.
const WORDS: f64 = 1.5;
const MARK: f64 = 1.8;

impl StaffDrawing {
    pub(super) fn directions(&mut self, directions: &[Direction], layout: &Layout) {
        let place = |d: &Direction| layout.bar(d.bar).map(|b| b.x(d.at));
        let edge = layout.bars.first().map_or(0.0, |b| b.from) - 0.6;
        let mut wedge: Option<(f64, WedgeKind)> = None;
        let mut octave: Option<(f64, i8)> = None;
        let mut ending: Option<(f64, String)> = None;
        for direction in directions {
            let Some(x) = place(direction) else {
                continue;
            };
            match &direction.sign {
                Sign::Words(text) => self.words(x, direction.above, "i", text),
                Sign::Rehearsal(text) => self.rehearsal(x, text),
                Sign::Tempo(unit, dots, minute) => self.tempo(x, unit, *dots, minute),
                Sign::Wedge(WedgeKind::Stop) => {
                    if let Some((from, kind)) = wedge.take() {
                        self.wedge(from, x, kind);
                    }
                }
                Sign::Wedge(kind) => wedge = Some((x, *kind)),
                Sign::Octave(0) => {
                    if let Some((from, octaves)) = octave.take() {
                        self.octave(from, x - 0.4, octaves, true);
                    }
                }
                Sign::Octave(octaves) => octave = Some((x, *octaves)),
                Sign::Ending(text, false) if !text.is_empty() => {
                    let left = layout.bar(direction.bar).map_or(x, |b| b.left.max(edge));
                    ending = Some((left, text.clone()));
                }
                Sign::Ending(_, closed) => {
                    let right = layout.bar(direction.bar).map_or(x, |b| b.right);
                    let (left, text) = ending.take().unwrap_or((edge, String::new()));
                    self.ending(left, right - 0.3, &text, *closed);
                }
            }
        }
        // What goes on beyond the picture.
        let end = layout.right - 0.3;
        if let Some((from, kind)) = wedge {
            self.wedge(from, end, kind);
        }
        if let Some((from, octaves)) = octave {
            self.octave(from, end, octaves, false);
        }
        if let Some((from, text)) = ending {
            self.ending(from, end, &text, false);
        }
    }

    fn words(&mut self, x: f64, above: bool, class: &str, text: &str) {
        let wide = text_width(text, WORDS);
        let base = if above {
            self.reach.top(x - 0.3, x + wide) - 0.6
        } else {
            self.reach.bottom(x - 0.3, x + wide) + 1.7
        };
        self.canvas.text(x - 0.2, base, class, text);
        self.reach.add(x - 0.3, x + wide, base - 1.2, base + 0.4);
    }

    fn rehearsal(&mut self, x: f64, text: &str) {
        let wide = text_width(text, MARK) + 0.8;
        let base = self.reach.top(x - 1.0, x + wide) - 0.9;
        let (left, top) = (x - 0.6, base - 1.7);
        for (a, b) in [
            ((left, top), (left + wide, top)),
            ((left, top + 2.3), (left + wide, top + 2.3)),
            ((left, top), (left, top + 2.3)),
            ((left + wide, top), (left + wide, top + 2.3)),
        ] {
            self.canvas.line(0.16, a, b);
        }
        self.canvas.text(left + 0.4, base, "g", text);
        self.reach.add(left, left + wide, top - 0.2, top + 2.5);
    }

    fn tempo(&mut self, x: f64, unit: &str, dots: usize, minute: &str) {
        let text = format!("= {minute}");
        let wide = 2.2 + text_width(&text, WORDS);
        let base = self.reach.top(x - 0.3, x + wide) - 0.7;
        let head = match unit {
            "whole" | "breve" => glyphs::HEAD_WHOLE,
            "half" => glyphs::HEAD_HALF,
            _ => glyphs::HEAD_BLACK,
        };
        let small = 0.7;
        self.canvas.scaled(head, x, base - 0.35, small, "");
        let stem = x + head.right() * small - 0.05;
        if head != glyphs::HEAD_WHOLE {
            self.canvas
                .line(0.1, (stem, base - 0.4), (stem, base - 2.5));
        }
        let flag = match unit {
            "eighth" => Some(glyphs::FLAG_8_UP),
            "16th" => Some(glyphs::FLAG_16_UP),
            _ => None,
        };
        if let Some(flag) = flag {
            self.canvas.scaled(flag, stem, base - 2.5, small, "");
        }
        let mut right = stem + if flag.is_some() { 0.8 } else { 0.3 };
        for _ in 0..dots.min(2) {
            self.canvas
                .scaled(glyphs::DOT, right, base - 0.35, small, "");
            right += 0.5;
        }
        self.canvas.text(right + 0.2, base, "u", &text);
        self.reach.add(x - 0.3, x + wide, base - 2.7, base + 0.3);
    }

    fn wedge(&mut self, from: f64, to: f64, kind: WedgeKind) {
        let to = to.max(from + 2.0);
        let middle = self.reach.bottom(from, to) + 1.2;
        let open = 0.65;
        let (left, right) = match kind {
            WedgeKind::Diminuendo => (open, 0.0),
            _ => (0.0, open),
        };
        for side in [-1.0, 1.0] {
            let a = (from, middle + side * left);
            let b = (to, middle + side * right);
            self.canvas.line(0.14, a, b);
        }
        self.reach.add(from, to, middle - open, middle + open);
    }

    /// A line over notes that are printed lower than they sound, or under those printed higher.
    fn octave(&mut self, from: f64, to: f64, octaves: i8, closed: bool) {
        let to = to.max(from + 2.5);
        let above = octaves > 0;
        let (text, base) = match octaves {
            2.. => ("15ma", self.reach.top(from, to) - 0.8),
            1 => ("8va", self.reach.top(from, to) - 0.8),
            -1 => ("8vb", self.reach.bottom(from, to) + 2.0),
            _ => ("15mb", self.reach.bottom(from, to) + 2.0),
        };
        self.canvas.text(from - 0.4, base, "i", text);
        let line = base - if above { 0.9 } else { 0.2 };
        let mut x = from + text_width(text, WORDS);
        while x + 0.5 < to {
            self.canvas.line(0.12, (x, line), (x + 0.5, line));
            x += 0.9;
        }
        if closed {
            let hook = if above { 0.9 } else { -0.9 };
            self.canvas.line(0.12, (to, line), (to, line + hook));
        }
        self.reach.add(from - 0.4, to, base - 1.3, base + 0.3);
    }

    fn ending(&mut self, from: f64, to: f64, text: &str, closed: bool) {
        let line = self.reach.top(from, to) - 2.4;
        self.canvas.line(0.14, (from, line), (to, line));
        if !text.is_empty() {
            self.canvas.line(0.14, (from, line), (from, line + 1.8));
            self.canvas.text(from + 0.4, line + 1.5, "u", text);
        }
        if closed {
            self.canvas.line(0.14, (to, line), (to, line + 1.8));
        }
        self.reach.add(from, to, line - 0.2, line + 1.9);
    }
}
