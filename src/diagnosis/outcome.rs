//! What became of one sonority.

use super::technique::InForce;
use crate::ground::pitch::{NoteName, Pitch};
use crate::ground::time::Ticks;
use crate::score::NoteRef;
use crate::sonority::lead::LeadFunction;
use crate::style::Level;
use crate::voicing::{Mechanical, Technique, Way};
use std::borrow::Cow;

/// What became of one sonority.
#[derive(Clone, Debug, PartialEq)]
pub struct Diagnosis {
    /// The technique it was held to.
    pub technique: Option<InForce>,
    /// What its lead note is for.
    pub function: Option<LeadFunction>,
    /// Since when the chord it was read under is in force: later than the sonority where that anticipates it.
    pub under: Option<Ticks>,
    /// The outcome.
    pub verdict: Verdict,
}

impl Diagnosis {
    /// A sonority that no voicing rule looks at.
    pub const LEFT_ALONE: Self = Self {
        technique: None,
        function: None,
        under: None,
        verdict: Verdict::LeftAlone,
    };
}

/// The outcome for one sonority.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// Not a block sonority, no technique in force, or nothing to judge it by.
    LeftAlone,
    /// One of the right voicings; how its lead is harmonised, when a chord symbol says.
    Right(Option<Way>),
    /// A slip.
    Slip(Slip),
}

/// The least explanation of a sonority that is not right.
#[derive(Clone, Debug, PartialEq)]
pub struct Slip {
    /// What happened.
    pub kind: SlipKind,
    /// What the right harmonisation is called: `C6`, `Bdim7`.
    pub harmony: Option<String>,
    /// The right voicing at sounding pitch from the top.
    pub expected: Vec<Pitch>,
    /// The notes at fault with what they should sound.
    pub faults: Vec<Fault>,
    /// What to write instead, the best first: what each part has to play so that the right voicing
    /// sounds with the seats in order (more notes than `faults` where a dropped voice moves the
    /// others up a seat), then the faults alone, then other right voicings.
    pub remedies: Vec<Vec<Fault>>,
    /// How much dearer the best account without this slip is, in the points of `rules/diagnosis.toml`.
    pub margin: i32,
    /// The gravest level that its evidence allows.
    pub at_most: Level,
    /// It is one only by a technique that nobody stated.
    pub rests_on_technique: bool,
}

/// One note of a slip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Which.
    pub note: NoteRef,
    /// What it sounds.
    pub found: Pitch,
    /// The voice it should be, 1-based from the top.
    pub voice: u8,
    /// What it should sound.
    pub expected: Pitch,
}

/// The known slips.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SlipKind {
    /// The same close position chord with other voices dropped.
    OtherDrop(Mechanical),
    /// Right in another technique than the one in force.
    OtherTechnique(Technique),
    /// Not in the technique that is stated; what is expected is the nearest that is.
    NotInTechnique,
    /// The doubling is not an octave below the lead.
    LeadDoubling,
    /// A passing lead note stands on the prevailing chord.
    PassingOnChord,
    /// A passing lead note stands on a diminished seventh (or another chord) that is not its own.
    WrongPassingChord,
    /// A chord note stands on the passing chord.
    ChordNoteOnPassing,
    /// One or more voices off the chord.
    WrongNote,
    /// An altered tension that neither symbol nor lead brings in.
    AlteredTension(NoteName),
    /// The right note in the wrong octave.
    WrongOctave,
    /// A chord member doubled while this one is missing.
    DoubledNote(NoteName),
    /// The technique makes a minor ninth: upper and lower voice, 0-based from the top.
    MinorNinth(u8, u8),
    /// The second voice a half step under the lead.
    SemitoneUnderLead,
}

impl SlipKind {
    /// What happened, in a few words.
    pub fn in_words(self) -> Cow<'static, str> {
        Cow::Borrowed(match self {
            Self::OtherDrop(found) => return format!("in {found}").into(),
            Self::OtherTechnique(found) => return format!("in {found}").into(),
            Self::NotInTechnique => "not in the technique",
            Self::LeadDoubling => "the lead is not doubled",
            Self::PassingOnChord => "a passing note on the chord",
            Self::WrongPassingChord => "a passing note on another passing chord",
            Self::ChordNoteOnPassing => "a chord note on the passing chord",
            Self::WrongNote => "off the chord",
            Self::AlteredTension(name) => return format!("{name} alters the chord").into(),
            Self::WrongOctave => "in the wrong octave",
            Self::DoubledNote(missing) => return format!("doubled, {missing} is missing").into(),
            Self::MinorNinth(..) => "a minor ninth",
            Self::SemitoneUnderLead => "a half step under the lead",
        })
    }
}
