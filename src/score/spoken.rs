//! At which pitch people are told of a note: the one that stands in its file comes first.

use super::change::NoteRef;
use super::score::Score;
use crate::ground::pitch::Pitch;
use std::fmt;

/// Which pitch of a note people are told.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum SpokenPitch {
    /// The one that stands in the file, and the other in brackets where it differs.
    #[default]
    Both,
    /// What the player reads.
    Written,
    /// Concert pitch.
    Sounding,
}

/// A pitch as its player reads it, and as it sounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct PlayerPitch {
    /// On the player's page.
    pub written: Pitch,
    /// At concert pitch.
    pub sounding: Pitch,
}

/// What people are told of a pitch: `D4 (written B4)`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SpokenName {
    /// The pitch that comes first.
    pub first: Pitch,
    /// The other one, with the word for it, where it is told too.
    pub other: Option<(&'static str, Pitch)>,
}

impl fmt::Display for SpokenName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.other {
            None => write!(f, "{}", self.first),
            Some((word, other)) => write!(f, "{} ({word} {other})", self.first),
        }
    }
}

impl Score {
    /// Whether sounding pitch comes first where a part (0-based) is spoken of.
    pub fn speaks_sounding(&self, part: u32) -> bool {
        match self.spoken {
            SpokenPitch::Written => false,
            SpokenPitch::Sounding => true,
            // What the player reads stands nowhere in such a file.
            SpokenPitch::Both => self.parts.get(part as usize).is_some_and(|p| p.worked_out),
        }
    }

    /// What people are told of a pitch of a part (0-based).
    pub fn spoken_name(&self, part: u32, pitch: PlayerPitch) -> SpokenName {
        let PlayerPitch { written, sounding } = pitch;
        let (first, word, other) = if self.speaks_sounding(part) {
            (sounding, "written", written)
        } else {
            (written, "sounding", sounding)
        };
        let both = self.spoken == SpokenPitch::Both && written.midi() != sounding.midi();
        SpokenName {
            first,
            other: both.then_some((word, other)),
        }
    }

    /// A sounding pitch for the player of a note, named as [`Score::change`] would spell it.
    pub fn player_pitch(&self, at: NoteRef, sounding: Pitch) -> PlayerPitch {
        let written = self.written_for(at, sounding);
        let part = self.parts.get(at.part as usize);
        let note = part.and_then(|p| p.notes.get(at.note as usize));
        let stands = note.is_some_and(|n| n.written == written && n.sounding == sounding);
        let spelled = part.filter(|p| !(stands || p.worked_out)).map(|p| {
            let onset = note.map(|n| n.onset).unwrap_or_default();
            written.transposed(p.transposition(onset))
        });
        PlayerPitch {
            written,
            sounding: spelled
                .filter(|s| s.midi() == sounding.midi())
                .unwrap_or(sounding),
        }
    }

    /// What people are told of a sounding pitch for the player of a note.
    pub fn spoken(&self, at: NoteRef, sounding: Pitch) -> SpokenName {
        self.spoken_name(at.part, self.player_pitch(at, sounding))
    }
}
