//! What is handed back: the score, what there is to say of it, and each step of it.

use crate::ground::pitch::{NoteName, Pitch};
use crate::ground::time::Ticks;
use crate::score::Score;
use crate::sonority::lead::LeadFunction;
use crate::voicing::{Technique, Voicing, Way};

/// A voiced lead.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The parts, written out.
    pub score: Score,
    /// What the reader should know, in order of time.
    pub remarks: Vec<Remark>,
    /// What stands under each lead note, in order of time.
    pub steps: Vec<Step>,
}

/// Something to say beside an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// When it is heard; `None` when it is about the whole.
    pub onset: Option<Ticks>,
    /// Bar and beat, in words.
    pub place: String,
    /// A sentence.
    pub text: String,
}

/// What stands under one lead note.
#[derive(Clone, Debug)]
pub struct Step {
    /// When it is struck.
    pub onset: Ticks,
    /// When it ends.
    pub end: Ticks,
    /// The lead at sounding pitch, in semitones.
    pub lead: i16,
    /// The lead as its writer spelled it, at sounding pitch.
    pub pitch: Pitch,
    /// What the lead note is for.
    pub function: Option<LeadFunction>,
    /// The chord symbol that it is read under.
    pub symbol: Option<String>,
    /// The lead is held from before, and the chord changes under it.
    pub held: bool,
    /// What was taken.
    pub chosen: Weighed,
    /// All right voicings there, the cheapest first; the one that was taken among them.
    pub choices: Vec<Weighed>,
}

/// A voicing for one lead note.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Weighed {
    /// Sounding semitones, seat by seat.
    pub voicing: Voicing,
    /// How its notes are named.
    pub names: Vec<NoteName>,
    /// How the lead is harmonised and what the harmony is called; `None` where nothing is harmonised.
    pub harmony: Option<(Way, String)>,
    /// The technique it stands in.
    pub technique: Technique,
    /// What was done where the technique has no voicing; `None` where it stands in the technique.
    pub way_out: Option<WayOut>,
    /// How far from the first choice it is by itself, in points; 0 is the first choice.
    pub cost: i32,
}

/// What is written at a note for which the technique has no voicing that can be played.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum WayOut {
    /// All voices move with the lead, into the next chord or out of the last.
    InParallel,
    /// Another technique that is right there.
    OtherTechnique,
    /// A note of the chord is doubled within it.
    InnerDoubling,
    /// All play the lead, each in an octave of its own.
    Together,
    /// No way out: the lead asks for another technique here.
    Asked,
    /// No way out: the lead asks for a solo here, and plays alone.
    Solo,
}
