//! SVG text under construction. Lengths come in staff spaces, y downwards; a staff space is ten
//! units of the picture.

use super::glyphs::Glyph;
use crate::ground::shown::{begins_as_order, printable};
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// Text as it may stand in an element or in an attribute between double quotes. What XML has no
/// room for, and what turns the direction of writing, becomes a sign; no line begins as an order to a
/// build server.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let safe = printable(text);
    let order = begins_as_order(&safe);
    for c in safe.chars() {
        match c {
            ':' if order => out.push_str("&#58;"),
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// A length as it is written: a hundredth of a staff space is the finest that anybody sees.
pub(super) fn n(spaces: f64) -> String {
    let tenths = (spaces * 100.0).round();
    if !tenths.is_finite() {
        return "0".to_owned();
    }
    let tenths = tenths as i64;
    let (whole, rest) = (tenths / 10, tenths % 10);
    if rest == 0 {
        whole.to_string()
    } else if tenths < 0 {
        let whole = whole.abs();
        let lead = if whole == 0 {
            String::new()
        } else {
            whole.to_string()
        };
        format!("-{lead}.{}", rest.abs())
    } else {
        let lead = if whole == 0 {
            String::new()
        } else {
            whole.to_string()
        };
        format!("{lead}.{rest}")
    }
}

/// The place of one staff's drawing: solid shapes and lines are gathered into few paths.
#[derive(Debug, Default)]
pub(super) struct Canvas {
    /// Elements that are on their own.
    pub elements: String,
    /// Filled shapes.
    solid: String,
    /// Lines, by thickness in hundredths of a staff space.
    lines: Vec<(u16, String)>,
    /// The glyphs that were used.
    pub used: BTreeSet<Glyph>,
}

impl Canvas {
    /// A glyph with its origin at a place.
    pub fn glyph(&mut self, glyph: Glyph, x: f64, y: f64, class: &str) {
        self.used.insert(glyph);
        let class = attribute(class);
        let code = glyph.outline().code;
        let _ = write!(
            self.elements,
            "<use href=\"#g{code}\" x=\"{}\" y=\"{}\"{class}/>",
            n(x),
            n(y)
        );
    }

    /// A glyph drawn smaller or larger.
    pub fn scaled(&mut self, glyph: Glyph, x: f64, y: f64, scale: f64, class: &str) {
        self.used.insert(glyph);
        let class = attribute(class);
        let code = glyph.outline().code;
        let _ = write!(
            self.elements,
            "<use href=\"#g{code}\" transform=\"translate({} {})scale({scale})\"{class}/>",
            n(x),
            n(y)
        );
    }

    pub fn line(&mut self, thick: f64, from: (f64, f64), to: (f64, f64)) {
        let width = (thick * 100.0).round() as u16;
        let d = if (from.0 - to.0).abs() < 1e-9 {
            format!("M{} {}V{}", n(from.0), n(from.1), n(to.1))
        } else if (from.1 - to.1).abs() < 1e-9 {
            format!("M{} {}H{}", n(from.0), n(from.1), n(to.0))
        } else {
            format!("M{} {}L{} {}", n(from.0), n(from.1), n(to.0), n(to.1))
        };
        match self.lines.iter_mut().find(|(w, _)| *w == width) {
            Some((_, path)) => path.push_str(&d),
            None => self.lines.push((width, d)),
        }
    }

    /// A filled shape, as a path.
    pub fn fill(&mut self, path: &str) {
        self.solid.push_str(path);
    }

    /// A filled four-cornered shape: a beam.
    pub fn beam(&mut self, from: (f64, f64), to: (f64, f64), thick: f64) {
        self.fill(&format!(
            "M{} {}L{} {}v{}L{} {}z",
            n(from.0),
            n(from.1),
            n(to.0),
            n(to.1),
            n(thick),
            n(from.0),
            n(from.1 + thick),
        ));
    }

    /// A curve that swells towards its middle: a tie, or a slur. `rise` is how far its middle lies
    /// above its ends, negative below.
    pub fn curve(&mut self, from: (f64, f64), to: (f64, f64), rise: f64) {
        let third = (to.0 - from.0) * 0.3;
        let swell = rise.signum() * 0.22;
        let path = format!(
            "M{} {}C{} {} {} {} {} {}C{} {} {} {} {} {}z",
            n(from.0),
            n(from.1),
            n(from.0 + third),
            n(from.1 - rise * 1.3),
            n(to.0 - third),
            n(to.1 - rise * 1.3),
            n(to.0),
            n(to.1),
            n(to.0 - third),
            n(to.1 - rise * 1.3 + swell),
            n(from.0 + third),
            n(from.1 - rise * 1.3 + swell),
            n(from.0),
            n(from.1),
        );
        self.fill(&path);
    }

    pub fn text(&mut self, x: f64, y: f64, class: &str, text: &str) {
        let _ = write!(
            self.elements,
            "<text x=\"{}\" y=\"{}\"{}>{}</text>",
            n(x),
            n(y),
            attribute(class),
            escape(text)
        );
    }

    /// A ring round noteheads at fault, from the highest to the lowest: it leaves their accidentals free.
    pub fn ring(&mut self, x: f64, (top, bottom): (f64, f64), class: &str) {
        self.around(x, (top, bottom), 8.5, class);
    }

    /// A frame round noteheads that were changed.
    pub fn frame(&mut self, x: f64, (top, bottom): (f64, f64), class: &str) {
        self.around(x, (top, bottom), 1.5, class);
    }

    /// A box round noteheads, with corners of a radius.
    fn around(&mut self, x: f64, (top, bottom): (f64, f64), radius: f64, class: &str) {
        let _ = write!(
            self.elements,
            "<rect x=\"{}\" y=\"{}\" width=\"17\" height=\"{}\" rx=\"{radius}\"{}/>",
            n(x - 0.85),
            n(top - 0.75),
            n(bottom - top + 1.5),
            attribute(class)
        );
    }

    /// Everything, in a group moved down to `y`.
    pub fn finish(self, y: f64, into: &mut String, used: &mut BTreeSet<Glyph>) {
        used.extend(self.used);
        let _ = write!(into, "<g transform=\"translate(0 {})\">", n(y));
        for (width, path) in &self.lines {
            let _ = write!(
                into,
                "<path d=\"{path}\" class=\"l\" stroke-width=\"{}\"/>",
                n(f64::from(*width) / 100.0)
            );
        }
        if !self.solid.is_empty() {
            let _ = write!(into, "<path d=\"{}\"/>", self.solid);
        }
        into.push_str(&self.elements);
        into.push_str("</g>");
    }
}

fn attribute(class: &str) -> String {
    if class.is_empty() {
        String::new()
    } else {
        format!(" class=\"{class}\"")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_short() {
        assert_eq!(n(1.0), "10");
        assert_eq!(n(0.12), "1.2");
        assert_eq!(n(-0.05), "-.5");
        assert_eq!(n(-1.25), "-12.5");
        assert_eq!(n(0.001), "0");
        assert_eq!(n(f64::NAN), "0");
    }

    #[test]
    fn nothing_gets_out_of_its_place() {
        assert_eq!(
            escape("<b a='1' c=\"2\">&\u{0}\u{85}"),
            "&lt;b a=&#39;1&#39; c=&quot;2&quot;&gt;&amp;\u{fffd}\u{fffd}"
        );
    }
}
