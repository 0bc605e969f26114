//! Kinds of values in a condition.

/// Which texts a text can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Among {
    /// Any: names of parts, rehearsal marks.
    Any,
    /// The instruments there are.
    Instruments,
    /// Families of instruments.
    Families,
    /// The sections there are.
    Sections,
    /// The techniques there are.
    Techniques,
    /// The marks a note can carry.
    Articulations,
    /// Degrees of a chord.
    Degrees,
    /// Chord symbols.
    Chords,
    /// Names of pitches.
    Pitches,
    /// Time signatures.
    Meters,
}

/// A single value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum One {
    /// Yes or no.
    Flag,
    /// A whole number.
    Whole,
    /// A number with decimals.
    Decimal,
    /// A pitch, counted in semitones; C4, the middle C, is 60.
    Pitch,
    /// A dynamic: 0 for none, then 1 for ppp to 8 for fff.
    Loudness,
    /// A text.
    Text(Among),
}

/// The kind of an expression's value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A single value.
    One(One),
    /// A list of them.
    List(One),
    /// A list with nothing in it.
    Empty,
    /// A pitch for each player: `sounding['tenor saxophone 2']`.
    Players,
    /// A note with names of its own: `from.written`.
    Note,
}

impl One {
    /// Its name with an article: "a pitch".
    pub const fn described(self) -> &'static str {
        match self {
            Self::Flag => "a yes or no",
            Self::Whole => "a whole number",
            Self::Decimal => "a number",
            Self::Pitch => "a pitch",
            Self::Loudness => "a dynamic",
            Self::Text(_) => "a text",
        }
    }

    const fn several(self) -> &'static str {
        match self {
            Self::Flag => "a list of yes and no",
            Self::Whole | Self::Decimal => "a list of numbers",
            Self::Pitch => "a list of pitches",
            Self::Loudness => "a list of dynamics",
            Self::Text(_) => "a list of texts",
        }
    }
}

impl Kind {
    /// Its name with an article: "a pitch", "a list of texts".
    pub const fn described(self) -> &'static str {
        match self {
            Self::One(one) => one.described(),
            Self::List(one) => one.several(),
            Self::Empty => "an empty list",
            Self::Players => "a pitch for each player",
            Self::Note => "a note",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_are_described_one_and_several() {
        assert_eq!(Kind::One(One::Loudness).described(), "a dynamic");
        assert_eq!(Kind::List(One::Loudness).described(), "a list of dynamics");
        // 1 and 2.5 can be in one list, so both lists are lists of numbers.
        assert_eq!(
            Kind::List(One::Whole).described(),
            Kind::List(One::Decimal).described()
        );
        assert_ne!(Kind::Empty.described(), Kind::List(One::Flag).described());
    }
}
