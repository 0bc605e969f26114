//! Findings: what a rule says of a score. They know no output format.

pub use crate::style::Level;

use crate::ground::pitch::Pitch;
use crate::ground::text::Edit;
use crate::score::{Change, NoteRef, Place};

/// A note at fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoteAtFault {
    /// Which.
    pub note: NoteRef,
    /// Voice from the top, 1-based, as the sonority should have it.
    pub voice: u8,
    /// What it should sound, when the rule knows.
    pub expected: Option<Pitch>,
    /// A short label to stand under the note.
    pub label: String,
}

/// A fix that was tried on the score in memory: the finding goes, and no new one comes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fix {
    /// What to write instead, in words a player understands.
    pub summary: String,
    /// The notes it changes.
    pub changes: Vec<Change>,
    /// The same as edits of the files, sorted by source and place; none when the notes cannot be
    /// edited where they stand. Set by proofing.
    pub edits: Option<Vec<Edit>>,
}

/// One thing wrong at one place, with its reason.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// The rule's name.
    pub rule: &'static str,
    /// How much it weighs.
    pub level: Level,
    /// The section's name, when the finding is about one.
    pub section: Option<String>,
    /// 0-based part indices at fault.
    pub parts: Vec<u32>,
    /// Where.
    pub at: Place,
    /// What is wrong, in one sentence that names part and pitches.
    pub message: String,
    /// Why it is wrong.
    pub why: String,
    /// Where the rule comes from.
    pub source: &'static str,
    /// The chord symbol in force.
    pub chord: Option<String>,
    /// The technique in force.
    pub technique: Option<String>,
    /// The notes at fault.
    pub notes: Vec<NoteAtFault>,
    /// The whole sonority at sounding pitch, top down.
    pub found: Vec<Pitch>,
    /// The sonority that was expected, at sounding pitch, top down; empty when there is none.
    pub expected: Vec<Pitch>,
    /// What to write instead, in words a player understands.
    pub suggestion: Option<String>,
    /// Changes that may mend it, the best first, not yet tried.
    pub remedies: Vec<Vec<Change>>,
    /// The first of them that was verified.
    pub fix: Option<Fix>,
}

impl Finding {
    /// A finding with nothing but a rule, a level, a place and a sentence.
    pub fn new(rule: &'static str, level: Level, at: Place, message: String) -> Self {
        Self {
            rule,
            level,
            section: None,
            parts: Vec::new(),
            at,
            message,
            why: String::new(),
            source: "",
            chord: None,
            technique: None,
            notes: Vec::new(),
            found: Vec::new(),
            expected: Vec::new(),
            suggestion: None,
            remedies: Vec::new(),
            fix: None,
        }
    }
}

/// Why a finding does not count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Grounds {
    /// The house style accepts it.
    Style,
    /// It is recorded on the ledger.
    Ledger,
    /// The score itself says that it is meant.
    Waiver,
    /// The revision that is compared with has it too.
    Revision,
}

impl Grounds {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Style => "style",
            Self::Ledger => "ledger",
            Self::Waiver => "waiver",
            Self::Revision => "revision",
        }
    }
}

/// A finding that does not count.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAside {
    /// What was found.
    pub finding: Finding,
    /// Why it does not count.
    pub grounds: Grounds,
    /// Why it is meant, where somebody has said so.
    pub reason: Option<String>,
    /// Where this is said: a file and its line, a revision.
    pub origin: String,
}
