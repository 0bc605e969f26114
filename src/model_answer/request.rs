//! What is asked for, and why it cannot be written.

use crate::ground::time::Ticks;
use crate::voicing::{Technique, Voicing};

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Request {
    /// The technique.
    pub technique: Technique,
    /// The section in the user's words; the lead's own when not given.
    pub section: Option<String>,
    /// The players from the top, such as "clarinet, alto, alto, tenor, tenor".
    pub players: Option<String>,
    /// The name of the part that has the lead; the first with notes when not given.
    pub part: Option<String>,
    /// What is preferred under passing notes.
    pub passing: Option<Passing>,
    /// Nothing but the technique, and nothing that `proof` would speak of: else it is refused.
    pub strict: bool,
    /// Voicings that are taken whatever they cost.
    pub fixed: Vec<Fixed>,
}

/// A voicing that is taken under the lead note at a time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fixed {
    /// When the note is struck.
    pub onset: Ticks,
    /// The voicing, seat by seat.
    pub voicing: Voicing,
}

impl Request {
    /// This technique, for the section that the score itself gives.
    pub const fn new(technique: Technique) -> Self {
        Self {
            technique,
            section: None,
            players: None,
            part: None,
            passing: None,
            strict: false,
            fixed: Vec::new(),
        }
    }
}

/// The harmony under passing notes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Passing {
    /// The diminished seventh that holds them.
    Diminished,
    /// The dominant of the chord that comes.
    Dominant,
    /// The chord that comes, moved with the lead.
    Parallel,
    /// Over a dominant the sixth chord that it leads to.
    Tonic,
}

/// Why a lead was not voiced.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum VoiceError {
    /// No part of that name.
    #[error("no part of this score is called `{found}`: the parts are {parts}")]
    NoSuchPart {
        /// What was asked for.
        found: String,
        /// What there is.
        parts: String,
    },
    /// A choice that a note has not.
    #[error(
        "{place}: choice {found} was asked for, and this note has {known}: `--alternatives 9` shows them"
    )]
    NoSuchChoice {
        /// Bar and beat.
        place: String,
        /// What was asked for.
        found: u8,
        /// How many there are, in words.
        known: String,
    },
    /// Nothing to voice.
    #[error("this score has no notes: a lead with chord symbols over it is needed")]
    NoLead,
    /// No chord symbols.
    #[error("this score has no chord symbols that can be read: write them over the lead")]
    NoChords,
    /// No such section.
    #[error("`{found}` is not a section that chartproof knows: {help}")]
    NoSuchSection {
        /// What was asked for.
        found: String,
        /// The nearest name, or all of them.
        help: String,
    },
    /// No such instrument.
    #[error("`{found}` is not an instrument that chartproof knows: {help}")]
    NoSuchInstrument {
        /// What was asked for.
        found: String,
        /// The nearest name.
        help: String,
    },
    /// Too few or too many.
    #[error(
        "{found} players are not voiced for: name two to {most}, or one that plays chords, such as piano"
    )]
    Seats {
        /// How many were asked for.
        found: usize,
        /// The most there may be.
        most: usize,
    },
    /// Nobody in it has a line of its own.
    #[error("`{0}` is not voiced as a section: name another, or the players")]
    NotVoiced(String),
    /// The section is not known and does not follow from the lead.
    #[error("the section of the lead `{0}` is not clear: name it, such as saxes")]
    WhichSection(String),
    /// So many players cannot be voiced so.
    #[error("{0} is not written for so many players: what is written is {1}")]
    WrongSize(Technique, String),
    /// No right voicing fits under some notes.
    #[error("{}", nothing_fits_in_words(.0))]
    NothingFits(Box<NothingFits>),
    /// Nothing right can be written where the chord changes under a held note: neither a voicing of the
    /// new chord nor the old one held.
    #[error(
        "bar {bar}, beat {beat}: no right voicing of {chord} under {lead} (sounding) in the ranges of the section, and none of the chord before can be held into it. Another technique or another lead note there may help"
    )]
    Change {
        /// Its bar.
        bar: String,
        /// Its beat.
        beat: String,
        /// The note that is held.
        lead: String,
        /// The new chord.
        chord: String,
    },
    /// What was made is not right by the program's own rules.
    #[error(
        "every voicing tried breaks a rule; the nearest: {0}. Another technique or another lead note there may help"
    )]
    Unclean(String),
}

/// Lead notes under which nothing fits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NothingFits {
    /// The technique.
    pub technique: Technique,
    /// Bar, beat and sounding lead of each, and the chord.
    pub places: Vec<(String, String, String, String)>,
    /// Techniques in which every note has a voicing.
    pub other_techniques: Vec<Technique>,
    /// The nearest moves of the whole lead, in semitones, after which every note has one.
    pub moves: Vec<i16>,
}

/// The error in words.
fn nothing_fits_in_words(notes: &NothingFits) -> String {
    let places: Vec<String> = notes
        .places
        .iter()
        .take(6)
        .map(|(bar, beat, lead, chord)| {
            format!("bar {bar}, beat {beat} ({lead} sounding, over {chord})")
        })
        .collect();
    let more = match notes.places.len().saturating_sub(6) {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    let mut help = Vec::new();
    if !notes.other_techniques.is_empty() {
        let names: Vec<&str> = notes.other_techniques.iter().map(|t| t.name()).collect();
        help.push(format!("write it in {}", names.join(" or ")));
    }
    for by in &notes.moves {
        let way = if *by > 0 { "up" } else { "down" };
        let unit = if by.abs() == 1 {
            "semitone"
        } else {
            "semitones"
        };
        help.push(format!("move it {way} {} {unit}", by.abs()));
    }
    if help.is_empty() {
        help.push("another section or an easier lead there".to_owned());
    }
    format!(
        "no right voicing in {} keeps every seat in its range and clear of the low interval limits at {}{more}. What would help: {}",
        notes.technique,
        places.join(", "),
        help.join(", or ")
    )
}
