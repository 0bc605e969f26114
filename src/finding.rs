//! Findings: what a rule says of a score. They know no output format.

pub use crate::style::Level;

use crate::diagnosis::Fault;
use crate::ground::pitch::Pitch;
use crate::ground::text::Edit;
use crate::score::{Addition, Change, NoteRef, Place};
use crate::voicing::Technique;

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

/// A fix that was tried on the score in memory: the finding goes, and no new error or warning comes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fix {
    /// What to write instead, in words a player understands.
    pub summary: String,
    /// The notes it changes.
    pub changes: Vec<Change>,
    /// The marks it adds.
    pub additions: Vec<Addition>,
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
    /// How many of them, the first ones, the rule marked, where the fix that was taken marks more.
    pub marked_by_rule: Option<usize>,
    /// The whole sonority at sounding pitch, top down.
    pub found: Vec<Pitch>,
    /// The sonority that was expected, at sounding pitch, top down; empty when there is none.
    pub expected: Vec<Pitch>,
    /// What to write instead, in words a player understands.
    pub suggestion: Option<String>,
    /// Changes that may mend it, the best first, not yet tried.
    pub remedies: Vec<Vec<Change>>,
    /// Marks that mend it where they are added, not yet tried.
    pub additions: Vec<Addition>,
    /// The first of them that was verified.
    pub fix: Option<Fix>,
    /// How much dearer the best account without this finding is, where an account was weighed: in the
    /// points of `rules/diagnosis.toml`, in which a note a step off costs 30.
    pub margin: Option<i32>,
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
            marked_by_rule: None,
            found: Vec::new(),
            expected: Vec::new(),
            suggestion: None,
            remedies: Vec::new(),
            additions: Vec::new(),
            fix: None,
            margin: None,
        }
    }

    /// Sets how much dearer the best account without it is.
    #[must_use]
    pub const fn margin(mut self, margin: i32) -> Self {
        self.margin = Some(margin);
        self
    }

    /// Sets how much it weighs.
    #[must_use]
    pub fn level(mut self, level: Level) -> Self {
        self.level = level;
        self
    }

    /// Names the section.
    #[must_use]
    pub fn section(mut self, name: &str) -> Self {
        self.section = Some(name.to_owned());
        self
    }

    /// Names the parts at fault (0-based indices), in this order.
    #[must_use]
    pub fn parts(mut self, parts: impl IntoIterator<Item = u32>) -> Self {
        self.parts = parts.into_iter().collect();
        self
    }

    /// Sets the chord symbol in force.
    #[must_use]
    pub fn chord(mut self, chord: Option<&str>) -> Self {
        self.chord = chord.map(str::to_owned);
        self
    }

    /// Sets the technique in force.
    #[must_use]
    pub fn technique(mut self, technique: Option<Technique>) -> Self {
        self.technique = technique.map(|t| t.name().to_owned());
        self
    }

    /// Puts a label under voices. Their parts are the parts at fault, unless others are named.
    #[must_use]
    pub fn at_fault(self, voices: &[Fault], label: &str) -> Self {
        self.mark(voices.iter().map(|v| NoteAtFault {
            note: v.note,
            voice: v.voice,
            expected: None,
            label: label.to_owned(),
        }))
    }

    /// Puts a label under notes of parts that are looked at one by one; `voice` is 1, or 0 where the
    /// part's place in its section says nothing. Their parts are the parts at fault, unless others are
    /// named.
    #[must_use]
    pub fn at_notes(
        self,
        notes: impl IntoIterator<Item = NoteRef>,
        voice: u8,
        label: &str,
    ) -> Self {
        self.mark(notes.into_iter().map(|note| NoteAtFault {
            note,
            voice,
            expected: None,
            label: label.to_owned(),
        }))
    }

    /// Adds notes at fault. Their parts are the parts at fault, unless others are named.
    #[must_use]
    pub fn mark(mut self, notes: impl IntoIterator<Item = NoteAtFault>) -> Self {
        self.notes.extend(notes);
        if self.parts.is_empty() {
            self.parts = self.notes.iter().map(|n| n.note.part).collect();
            self.parts.sort_unstable();
            self.parts.dedup();
        }
        self
    }

    /// Keeps the whole sonority, at sounding pitch, top down.
    #[must_use]
    pub fn sounding(mut self, found: Vec<Pitch>) -> Self {
        self.found = found;
        self
    }

    /// Says what to write instead, in words a player understands.
    #[must_use]
    pub fn instead(mut self, suggestion: impl Into<String>) -> Self {
        self.suggestion = Some(suggestion.into());
        self
    }

    /// Says what to write instead, where there is something to say.
    #[must_use]
    pub fn suggestion(mut self, suggestion: Option<String>) -> Self {
        self.suggestion = suggestion;
        self
    }

    /// Keeps the sonority that was expected, at sounding pitch, top down.
    #[must_use]
    pub fn expecting(mut self, expected: Vec<Pitch>) -> Self {
        self.expected = expected;
        self
    }

    /// Adds marks that may mend it. They are tried before they are offered as a fix.
    #[must_use]
    pub fn may_add(mut self, additions: Vec<Addition>) -> Self {
        self.additions = additions;
        self
    }

    /// Adds changes that may mend it, the best first. They are tried before one is offered as a fix.
    #[must_use]
    pub fn may_mend(mut self, remedies: impl IntoIterator<Item = Vec<Change>>) -> Self {
        self.remedies.extend(remedies);
        self
    }

    /// Gives another reason than the rule's own.
    #[must_use]
    pub fn because(mut self, why: impl Into<String>) -> Self {
        self.why = why.into();
        self
    }

    /// Gives another source than the rule's own.
    #[must_use]
    pub fn source(mut self, source: &'static str) -> Self {
        self.source = source;
        self
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
