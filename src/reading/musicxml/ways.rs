//! The ways in which the text of a score can be read.

/// Which quick ways are taken. The slow way, over the events of quick-xml, needs none of them. A quick way
/// reads what is written as in nearly all files and declines everything else, so that the outcome is the
/// same whichever are taken: tests read each text by all of [`Ways::ALL`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ways {
    /// Plain tags, their attributes and leaves are read straight from the text (`xml/plain.rs`).
    pub plain: bool,
    /// The text ahead is compared with whole usual tags (`xml/ahead.rs`).
    pub ahead: bool,
    /// The parts of a partwise score are read side by side (`side_by_side.rs`).
    pub side_by_side: bool,
}

impl Ways {
    /// The slow way alone.
    #[cfg(any(test, feature = "inside"))]
    pub const SLOW: Self = Self {
        plain: false,
        ahead: false,
        side_by_side: false,
    };

    /// All quick ways of one thread.
    pub const QUICK: Self = Self {
        plain: true,
        ahead: true,
        side_by_side: false,
    };

    /// The ways to try on a text, each with its name; the slow way is first.
    #[cfg(any(test, feature = "inside"))]
    pub const ALL: [(&'static str, Self); 5] = [
        ("events only", Self::SLOW),
        (
            "plain tags",
            Self {
                ahead: false,
                ..Self::QUICK
            },
        ),
        (
            "text ahead",
            Self {
                plain: false,
                ..Self::QUICK
            },
        ),
        ("plain tags and text ahead", Self::QUICK),
        (
            "parts side by side",
            Self {
                side_by_side: true,
                ..Self::QUICK
            },
        ),
    ];
}
