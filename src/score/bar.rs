//! Bars: as the whole score has them, and as one part has them.

use crate::ground::text::Span;
use crate::ground::time::Ticks;

/// A bar of the whole score.
#[derive(Clone, Debug, Default)]
pub struct Bar {
    /// The printed number, as text (`12`, `12a`, `0`).
    pub number: String,
    /// When the bar starts. Set by [`Score::lay_out`].
    pub start: Ticks,
    /// How long it is: the longest part's content, or the meter's bar when every part is silent.
    /// Set by [`Score::lay_out`].
    pub length: Ticks,
    /// A pickup or a bar the file says not to count.
    pub pickup: bool,
    /// What its meter's bar has before it: all that a pickup lacks, or the first half of a bar that a
    /// bar line divides. Set by [`Score::lay_out`].
    pub missing: Ticks,
}

/// A bar as one part has it.
#[derive(Clone, Debug, Default)]
#[allow(clippy::struct_excessive_bools)] // each stands for a printed sign
pub struct PartBar {
    /// The printed number in this part.
    pub number: String,
    /// How much time its notes and rests fill, in the fullest voice.
    pub filled: Ticks,
    /// The file says the bar is not counted (a pickup).
    pub uncounted: bool,
    /// A double or final bar line at its end.
    pub double_bar: bool,
    /// No bar line is drawn at its end: the bar goes on in the next.
    pub goes_on: bool,
    /// A repeat sign at its start.
    pub repeat_start: bool,
    /// A repeat sign at its end.
    pub repeat_end: bool,
    /// The rehearsal mark over it.
    pub rehearsal: Option<String>,
    /// The ending that starts here, as printed (`1`, `1, 2`).
    pub ending: Option<String>,
    /// Signs and words of the road map: segno, coda, D.S. and the like.
    pub signs: Signs,
    /// How many bars a multi-bar rest that starts here covers.
    pub multi_rest: Option<u16>,
    /// Written as slashes: rhythm players make up the notes.
    pub slashes: bool,
    /// No meter is in force (a cadenza).
    pub unmeasured: bool,
    /// The bytes of the bar.
    pub span: Span,
}

/// Signs and words that send the players elsewhere, as a set of bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Signs(pub u16);

impl Signs {
    /// The segno sign.
    pub const SEGNO: Self = Self(1);
    /// The coda sign.
    pub const CODA: Self = Self(2);
    /// "To Coda".
    pub const TO_CODA: Self = Self(4);
    /// "D.S."
    pub const DAL_SEGNO: Self = Self(8);
    /// "D.C."
    pub const DA_CAPO: Self = Self(16);
    /// "Fine", where the piece ends.
    pub const FINE: Self = Self(32);
    /// "... al Coda".
    pub const AL_CODA: Self = Self(64);
    /// "... al Fine".
    pub const AL_FINE: Self = Self(128);

    /// Both sets together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether every sign of `other` is here.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// What words over the staff say of the road map.
    pub fn in_words(text: &str) -> Self {
        let text = text.to_lowercase();
        let text = text.trim();
        let mut signs = Self::default();
        let mut when = |said: bool, sign: Self| {
            if said {
                signs = signs.with(sign);
            }
        };
        let segno = text.contains("d.s.") || text.contains("dal segno");
        let capo = text.contains("d.c.") || text.contains("da capo");
        when(segno, Self::DAL_SEGNO);
        when(capo, Self::DA_CAPO);
        when(
            (segno || capo) && [" al coda", " alla coda"].iter().any(|w| text.contains(w)),
            Self::AL_CODA,
        );
        when((segno || capo) && text.contains("fine"), Self::AL_FINE);
        when(text.starts_with("to coda"), Self::TO_CODA);
        when(text == "fine", Self::FINE);
        signs
    }
}
