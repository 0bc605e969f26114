//! How it is known what a part is.

use crate::ground::pitch::{Pitch, Transposition};
use crate::score::{Clef, Part};
use std::fmt;

/// What says which instrument or voice a part is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// The file names the instrument outright, or a house style does.
    File,
    /// A name of the part, as it stands in the file.
    Name(String),
    /// What the part adds to its written pitch.
    Transposition(Transposition),
    /// The clef that the part begins with.
    Clef(Clef),
    /// So many notes have words under them.
    Lyrics(u32),
    /// The lowest and the highest note, sounding.
    WrittenRange(Pitch, Pitch),
    /// The MusicXML sound id.
    Sound(String),
    /// Another part, by its name.
    Company(String),
}

impl Evidence {
    pub(super) fn transposition(part: &Part) -> Self {
        let stated = part.transpositions.first().map(|m| m.value);
        Self::Transposition(stated.unwrap_or(Transposition::NONE))
    }

    pub(super) fn lyrics(part: &Part) -> Option<Self> {
        (part.lyrics > 0).then_some(Self::Lyrics(part.lyrics))
    }
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File => f.write_str("the file says so"),
            Self::Name(name) => write!(f, "its name \"{name}\""),
            Self::Transposition(by) => match by.chromatic {
                0 => f.write_str("it sounds as written"),
                n => write!(
                    f,
                    "it sounds {} semitones {}",
                    n.abs(),
                    if n < 0 {
                        "lower than written"
                    } else {
                        "higher than written"
                    }
                ),
            },
            Self::Clef(clef) => {
                let octave = match clef.octave {
                    0 => "",
                    n if n < 0 => ", an octave down",
                    _ => ", an octave up",
                };
                write!(f, "its {} clef{octave}", clef.sign)
            }
            Self::Lyrics(1) => f.write_str("words under 1 note"),
            Self::Lyrics(notes) => write!(f, "words under {notes} notes"),
            Self::WrittenRange(low, high) => write!(f, "its notes from {low} to {high}"),
            Self::Sound(sound) => write!(f, "its sound \"{sound}\""),
            Self::Company(name) => write!(f, "it stands beside \"{name}\""),
        }
    }
}
