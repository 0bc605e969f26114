//! Families of instruments, and properties: words of `rules/instruments.toml` that rules ask for.
//!
//! A rule asks `instrument.is(Property::Slide)`, never for the name of a section or an instrument. So
//! a new instrument, section or family needs its entry in the table and no code.

use serde::Deserialize;
use std::fmt;

/// What kind of sounding body an instrument has.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(from = "String")]
pub enum Family {
    /// Saxophones, clarinets, flutes, double reeds.
    Woodwind,
    /// Trumpets, horns, trombones, tubas.
    Brass,
    /// Bowed and plucked strings.
    String,
    /// Piano and its relatives.
    Keyboard,
    /// Whatever is struck.
    Percussion,
    /// The human voice.
    Voice,
    /// A family that only the table knows, by its word there.
    Other(Box<str>),
}

impl Family {
    /// Its word in the table and in the rules of a house.
    pub fn as_str(&self) -> &str {
        match self {
            Self::Woodwind => "woodwind",
            Self::Brass => "brass",
            Self::String => "string",
            Self::Keyboard => "keyboard",
            Self::Percussion => "percussion",
            Self::Voice => "voice",
            Self::Other(word) => word,
        }
    }
}

impl From<String> for Family {
    fn from(word: String) -> Self {
        let known = [
            Self::Woodwind,
            Self::Brass,
            Self::String,
            Self::Keyboard,
            Self::Percussion,
            Self::Voice,
        ];
        known
            .into_iter()
            .find(|family| family.as_str() == word)
            .unwrap_or_else(|| Self::Other(word.into()))
    }
}

impl fmt::Display for Family {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A property of an instrument. `[property]` in `rules/instruments.toml` explains each and gives its source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Property {
    /// A person sings it.
    Sung,
    /// A player blows it.
    Blown,
    /// The player's lips make the tone.
    Lips,
    /// Its parts are read in many clefs.
    ManyClefs,
    /// A sound id one level finer than those listed is still this instrument.
    FinerSounds,
    /// It may be named by the key of its tube and still be read at concert pitch.
    NamedByTube,
    /// Its pitch is found with a slide.
    Slide,
    /// School grades keep to one side of its register break.
    GradedBreak,
    /// Its parts are those of a choir.
    Choir,
    /// It plays the bass line under a band.
    BassLine,
    /// Its notes have no pitch.
    Unpitched,
    /// It always sounds in the octave its name says.
    FixedOctave,
    /// It is built in one key only, so that its parts transpose in one way.
    OneTransposition,
    /// Its parts are written without a key signature.
    NoKeySignature,
    /// The same in an orchestra, not in a band.
    NoKeySignatureInOrchestra,
    /// Where it plays there is a band, not an orchestra.
    Band,
    /// The band calls the player by the short name: "alto".
    ShortName,
    /// A part called just "Baritone" may be one of these horns.
    BaritoneHorn,
    /// Beside one of these a part called just "Baritone" is a horn.
    BesideBaritoneHorn,
    /// Its instruments are a section by name only: often each plays by itself.
    GroupedByName,
    /// Its name alone puts it into no section.
    Apart,
    /// Its parts may carry any transposition.
    AnyKey,
    /// A voice of an old choirbook.
    OldVoice,
    /// Beside two of these a part called just "Alto" is a viola.
    StringCompany,
}

impl Property {
    /// All of them, in the order of the table.
    pub const ALL: &[Self] = &[
        Self::Sung,
        Self::Blown,
        Self::Lips,
        Self::ManyClefs,
        Self::FinerSounds,
        Self::NamedByTube,
        Self::Slide,
        Self::GradedBreak,
        Self::Choir,
        Self::BassLine,
        Self::Unpitched,
        Self::FixedOctave,
        Self::OneTransposition,
        Self::NoKeySignature,
        Self::NoKeySignatureInOrchestra,
        Self::Band,
        Self::ShortName,
        Self::BaritoneHorn,
        Self::BesideBaritoneHorn,
        Self::GroupedByName,
        Self::Apart,
        Self::AnyKey,
        Self::OldVoice,
        Self::StringCompany,
    ];
}

/// A set of properties.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(from = "Vec<Property>")]
pub struct Properties(u32);

impl Properties {
    /// Whether it is among them.
    pub const fn has(self, property: Property) -> bool {
        self.0 & (1 << property as u32) != 0
    }

    /// These, changed by what something nearer to the instrument says.
    #[must_use]
    pub(super) const fn changed(self, is: Self, is_not: Self) -> Self {
        Self((self.0 & !is_not.0) | is.0)
    }
}

impl From<Vec<Property>> for Properties {
    fn from(words: Vec<Property>) -> Self {
        Self(words.iter().fold(0, |set, word| set | 1 << *word as u32))
    }
}
