//! The outlines of musical signs, from a font that follows SMuFL (see `build.rs` and
//! LICENSE-FONT).

/// A glyph: its box and its outline. Lengths are in staff spaces, measured from the glyph's origin,
/// up and to the right.
#[derive(Debug)]
pub(crate) struct Outline {
    /// The SMuFL code point, in hexadecimal.
    pub code: &'static str,
    pub left: f64,
    pub bottom: f64,
    pub width: f64,
    pub height: f64,
    /// How far the next glyph of a word stands off.
    pub advance: f64,
    /// The outline as an SVG path in thousandths of four staff spaces, y upwards.
    pub path: &'static str,
}

/// One of the glyphs that are built in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Glyph(u8);

include!(concat!(env!("OUT_DIR"), "/glyphs.rs"));

/// An empty outline, for a glyph that is not there (there is none such).
static NOTHING: Outline = Outline {
    code: "",
    left: 0.0,
    bottom: 0.0,
    width: 0.0,
    height: 0.0,
    advance: 0.0,
    path: "",
};

impl Glyph {
    pub(crate) fn outline(self) -> &'static Outline {
        OUTLINES.get(usize::from(self.0)).unwrap_or(&NOTHING)
    }

    /// The right edge of its ink.
    pub(crate) fn right(self) -> f64 {
        let o = self.outline();
        o.left + o.width
    }

    /// The upper edge of its ink, above the origin.
    pub(crate) fn top(self) -> f64 {
        let o = self.outline();
        o.bottom + o.height
    }

    pub(crate) fn advance(self) -> f64 {
        self.outline().advance
    }

    /// A figure of a time signature.
    pub(crate) const fn figure(digit: u8) -> Self {
        Self(FIGURE_0.0 + digit % 10)
    }

    /// A figure of a tuplet.
    pub(crate) const fn tuplet(digit: u8) -> Self {
        Self(TUPLET_0.0 + digit % 10)
    }

    /// A letter of a dynamic.
    pub(crate) const fn dynamic(letter: char) -> Option<Self> {
        Some(match letter {
            'p' => DYNAMIC_P,
            'm' => DYNAMIC_M,
            'f' => DYNAMIC_F,
            'r' => DYNAMIC_R,
            's' => DYNAMIC_S,
            'z' => DYNAMIC_Z,
            'n' => DYNAMIC_N,
            _ => return None,
        })
    }

    /// The accidental that stands for an alteration in semitones.
    pub(crate) const fn accidental(alter: i8) -> Self {
        match alter {
            i8::MIN..=-2 => DOUBLE_FLAT,
            -1 => FLAT,
            0 => NATURAL,
            1 => SHARP,
            2..=i8::MAX => DOUBLE_SHARP,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn glyphs_are_what_their_names_say() {
        // SMuFL 1.4, code points of the standard.
        assert_eq!(HEAD_BLACK.outline().code, "E0A4");
        assert_eq!(Glyph::figure(7).outline().code, "E087");
        assert_eq!(Glyph::tuplet(3).outline().code, "E883");
        assert_eq!(Glyph::accidental(-1).outline().code, "E260");
        assert_eq!(Glyph::dynamic('f').map(|g| g.outline().code), Some("E522"));
        for outline in OUTLINES {
            assert!(outline.path.starts_with('M'), "{}", outline.code);
            assert!(
                outline.width > 0.0 && outline.height > 0.0,
                "{}",
                outline.code
            );
        }
        // A notehead is a staff space high.
        let head = HEAD_BLACK.outline();
        assert!((0.9..1.2).contains(&head.height), "{}", head.height);
    }
}
