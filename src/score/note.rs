//! Notes and rests.

use super::place::Place;
use super::spoken::PlayerPitch;
use crate::ground::pitch::Pitch;
use crate::ground::text::Span;
use crate::ground::time::Ticks;

/// A pitched note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Note {
    /// Where it stands.
    pub at: Place,
    /// When it sounds. Set by [`Score::lay_out`].
    pub onset: Ticks,
    /// How long this written note lasts (a tied chain is several notes); zero for a grace note.
    pub duration: Ticks,
    /// As the player reads it.
    pub written: Pitch,
    /// Concert pitch.
    pub sounding: Pitch,
    /// 1-based staff of the part.
    pub staff: u8,
    /// The voice (layer) of its part, as numbered in the file.
    pub voice: u8,
    /// Ties, grace, cue, slurs.
    pub flags: NoteFlags,
    /// Marks on it.
    pub articulations: Articulations,
    /// The bytes of the whole note.
    pub span: Span,
}

impl Note {
    /// When it stops sounding (as written; a tie goes on).
    pub fn end(&self) -> Ticks {
        self.onset + self.duration
    }

    /// Its pitch, as it is read and as it sounds.
    pub const fn pitch(&self) -> PlayerPitch {
        PlayerPitch {
            written: self.written,
            sounding: self.sounding,
        }
    }

    /// Whether it takes part in a sonority: not a grace, cue or slash note, and not left out.
    pub const fn sounds(&self) -> bool {
        const SILENT: NoteFlags = NoteFlags::GRACE
            .with(NoteFlags::CUE)
            .with(NoteFlags::SLASH)
            .with(NoteFlags::LEFT_OUT);
        self.flags.0 & SILENT.0 == 0
    }
}

/// A rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rest {
    /// Where it stands.
    pub at: Place,
    /// When it starts. Set by [`Score::lay_out`].
    pub onset: Ticks,
    /// How long it lasts.
    pub duration: Ticks,
    /// 1-based staff of the part.
    pub staff: u8,
    /// The voice (layer) of its part.
    pub voice: u8,
    /// It fills the bar.
    pub whole_bar: bool,
    /// The bytes of the rest.
    pub span: Span,
}

/// Facts about a note that are either so or not, as a set of bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct NoteFlags(pub u16);

impl NoteFlags {
    /// Tied from the note before: it is held, not attacked.
    pub const TIED_IN: Self = Self(1);
    /// Tied into the next note of its pitch.
    pub const TIED_OUT: Self = Self(2);
    /// A grace note: it takes no time.
    pub const GRACE: Self = Self(4);
    /// A cue note: not played by this part.
    pub const CUE: Self = Self(8);
    /// A slash notehead: rhythm only.
    pub const SLASH: Self = Self(16);
    /// A slur starts here.
    pub const SLUR_START: Self = Self(32);
    /// A slur ends here.
    pub const SLUR_STOP: Self = Self(64);
    /// Stands in one chord with the note before it in the same voice.
    pub const CHORD_MEMBER: Self = Self(128);
    /// A ghost (bracketed) or cross notehead.
    pub const GHOST: Self = Self(256);
    /// Left out of what is judged: it cannot be meant where it stands.
    pub const LEFT_OUT: Self = Self(512);
    /// A word of the text ends under it.
    pub const WORD_END: Self = Self(1024);

    /// Both sets together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether every flag of `other` is here.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }
}

/// Marks on a note, as a set of bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Articulations(pub u16);

impl Articulations {
    /// `>`
    pub const ACCENT: Self = Self(1);
    /// A dot.
    pub const STACCATO: Self = Self(2);
    /// A line.
    pub const TENUTO: Self = Self(4);
    /// A hat.
    pub const MARCATO: Self = Self(8);
    /// A falloff.
    pub const FALL: Self = Self(16);
    /// A doit.
    pub const DOIT: Self = Self(32);
    /// A scoop.
    pub const SCOOP: Self = Self(64);
    /// A plop.
    pub const PLOP: Self = Self(128);
    /// A breath mark or caesura after the note.
    pub const BREATH: Self = Self(256);
    /// A fermata.
    pub const FERMATA: Self = Self(512);
    /// Very short.
    pub const STACCATISSIMO: Self = Self(1024);
    /// An arpeggio sign: the chord is rolled.
    pub const ROLLED: Self = Self(2048);

    /// Both sets together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether every mark of `other` is here.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }
}
