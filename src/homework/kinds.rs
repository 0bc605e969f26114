//! The kinds of mistakes in homework, and which of them make a sonority wrong.

use crate::diagnosis::Passage;
use crate::finding::{Finding, Level};
use crate::rules::{self, Group};
use crate::score::Place;

/// Where what is said against a key comes from.
pub(super) const SOURCE: &str = "the answer key";

/// A kind of mistake that only a comparison with an answer key shows.
#[derive(Debug)]
pub struct Kind {
    /// Its name, as rules have them.
    pub name: &'static str,
    /// How much it weighs.
    pub level: Level,
    /// What is asked, in one sentence.
    pub asks: &'static str,
    /// Why.
    pub why: &'static str,
}

pub(super) const MELODY: Kind = Kind {
    name: "melody-changed",
    level: Level::Error,
    asks: "The melody is the one that was given.",
    why: "The exercise is to voice a given melody; the voicing under this note was judged as if the note were right.",
};
pub(super) const MELODY_RHYTHM: Kind = Kind {
    name: "melody-rhythm",
    level: Level::Error,
    asks: "The melody has the rhythm that was given.",
    why: "The notes are those of the given melody, but they come at other places of the bar; the voicings were judged where they stand.",
};
pub(super) const NOT_WRITTEN: Kind = Kind {
    name: "not-written",
    level: Level::Error,
    asks: "Every note of the melody is voiced.",
    why: "The answer key has a melody note here, and nothing is written for it.",
};
pub(super) const ADDED: Kind = Kind {
    name: "melody-added",
    level: Level::Warning,
    asks: "The melody has no notes beside those that were given.",
    why: "The answer key has no melody note here.",
};
pub(super) const THIN: Kind = Kind {
    name: "voices-missing",
    level: Level::Error,
    asks: "Every melody note has all the voices of the technique, struck with it.",
    why: "A sonority with fewer voices, or with voices held from before, is not in the technique that was asked for.",
};
pub(super) const OTHER_VOICING: Kind = Kind {
    name: "not-a-known-voicing",
    level: Level::Warning,
    asks: "Every sonority is a right voicing of the melody note, the chord and the technique.",
    why: "It is neither the key's voicing nor another that is known to be right; have a look at it.",
};
pub(super) const OTHER_KEY: Kind = Kind {
    name: "other-key",
    level: Level::Warning,
    asks: "The exercise stands in the key and the octave that were given.",
    why: "The melody agrees with the key's when it is moved.",
};

/// Every kind of mistake that only a key shows.
pub(super) static KINDS: [&Kind; 7] = [
    &MELODY,
    &MELODY_RHYTHM,
    &NOT_WRITTEN,
    &ADDED,
    &THIN,
    &OTHER_VOICING,
    &OTHER_KEY,
];

/// A kind of mistake in a teacher's words: `wrong-voice-dropped` is "wrong voice dropped".
pub fn title(kind: &str) -> String {
    kind.replace('-', " ")
}

/// What a kind of mistake goes against, in one sentence, and why that is asked.
pub fn reason(kind: &str) -> (&'static str, &'static str) {
    let own = KINDS.iter().find(|k| k.name == kind);
    own.map(|k| (k.asks, k.why))
        .or_else(|| rules::named(kind).map(|r| (r.asks, r.why)))
        .unwrap_or_default()
}

/// Whether a finding of this rule makes the sonority it stands at a wrong one.
pub(super) fn is_of_a_sonority(rule: &str) -> bool {
    match rules::named(rule) {
        Some(rule) => {
            rule.name != "chord-symbol-agreement"
                && (matches!(rule.group, Group::Harmony | Group::Voicing | Group::Rubs)
                    || matches!(rule.name, "written-range" | "rhythm-unison"))
        }
        None => [
            MELODY.name,
            MELODY_RHYTHM.name,
            THIN.name,
            OTHER_VOICING.name,
        ]
        .contains(&rule),
    }
}

impl Kind {
    pub(super) fn at(&self, at: Place, message: String, passage: &Passage) -> Finding {
        Finding {
            section: Some(passage.section.name.clone()),
            why: self.why.to_owned(),
            source: SOURCE,
            ..Finding::new(self.name, self.level, at, message)
        }
    }
}
