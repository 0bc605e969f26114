//! A class's homework: how many sonorities of each student are right, and which mistakes there are.
//!
//! A sonority counts when it is one of a passage that is held to a technique (three or more voices
//! struck together), or when something is wrong with it. It is right when no rule of harmony,
//! voicing or rubs, no range and no shared rhythm has an error or a warning there. Marks on the page
//! (slurs, dynamics, clefs ...) and the way voices move are mistakes too, but make no sonority wrong.
//!
//! With an answer key ([`Key`]) the sonorities are those under the key's melody notes, one that is
//! missing is not right, and chord symbols and technique are the key's.

mod class;
mod key;
pub mod roll;

pub use class::{Cell, Class, Mistake, Sheet};
pub use key::Key;

use crate::finding::{Finding, Level};
use crate::proof::{Proofed, proof};
use crate::rules::{self, Group};
use crate::score::{Place, Score};
use crate::style::Style;
use std::collections::{BTreeMap, BTreeSet};

/// Where what is said against a key comes from.
const SOURCE: &str = "the answer key";

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

const MELODY: Kind = Kind {
    name: "melody-changed",
    level: Level::Error,
    asks: "The melody is the one that was given.",
    why: "The exercise is to voice a given melody; the voicing under this note was judged as if the note were right.",
};
const MELODY_RHYTHM: Kind = Kind {
    name: "melody-rhythm",
    level: Level::Error,
    asks: "The melody has the rhythm that was given.",
    why: "The notes are those of the given melody, but they come at other places of the bar; the voicings were judged where they stand.",
};
const NOT_WRITTEN: Kind = Kind {
    name: "not-written",
    level: Level::Error,
    asks: "Every note of the melody is voiced.",
    why: "The answer key has a melody note here, and nothing is written for it.",
};
const ADDED: Kind = Kind {
    name: "melody-added",
    level: Level::Warning,
    asks: "The melody has no notes beside those that were given.",
    why: "The answer key has no melody note here.",
};
const THIN: Kind = Kind {
    name: "voices-missing",
    level: Level::Error,
    asks: "Every melody note has all the voices of the technique, struck with it.",
    why: "A sonority with fewer voices, or with voices held from before, is not in the technique that was asked for.",
};
const OTHER_VOICING: Kind = Kind {
    name: "not-a-known-voicing",
    level: Level::Warning,
    asks: "Every sonority is a right voicing of the melody note, the chord and the technique.",
    why: "It is neither the key's voicing nor another that is known to be right; have a look at it.",
};
const OTHER_KEY: Kind = Kind {
    name: "other-key",
    level: Level::Warning,
    asks: "The exercise stands in the key and the octave that were given.",
    why: "The melody agrees with the key's when it is moved.",
};

/// Every kind of mistake that only a key shows.
pub static KINDS: [&Kind; 7] = [
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
fn is_of_a_sonority(rule: &str) -> bool {
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

/// The marks for one piece of homework.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Marks {
    /// Sonorities that are right.
    pub right: usize,
    /// Of how many.
    pub of: usize,
    /// How often each mistake (error or warning) was made.
    pub mistakes: BTreeMap<&'static str, usize>,
    /// How many findings are notes, which count for nothing.
    pub notes: usize,
}

impl Marks {
    fn new(
        right: usize,
        of: usize,
        findings: &[Finding],
        several: &BTreeMap<&'static str, usize>,
    ) -> Self {
        let mut mistakes: BTreeMap<&'static str, usize> = BTreeMap::new();
        for finding in findings.iter().filter(|f| f.level > Level::Note) {
            *mistakes.entry(finding.rule).or_default() += 1;
        }
        mistakes.extend(several);
        Self {
            right,
            of,
            mistakes,
            notes: findings.iter().filter(|f| f.level == Level::Note).count(),
        }
    }

    /// How many mistakes there are.
    pub fn count(&self) -> usize {
        self.mistakes.values().sum()
    }
}

/// Homework that was looked through.
#[derive(Debug)]
pub struct Marked {
    /// The score, under the key's chord symbols when there is a key.
    pub score: Score,
    /// What was found.
    pub proofed: Proofed,
    /// The marks.
    pub marks: Marks,
}

/// Looks through one score, by itself or against a key.
pub fn mark(mut score: Score, style: &Style, key: Option<&Key>) -> Marked {
    // Nobody waives mistakes in their own homework.
    score.waivers.clear();
    if let Some(key) = key {
        let compared = key::compare(&score, style, key);
        let marks = Marks::new(
            compared.right,
            compared.of,
            &compared.findings,
            &compared.several,
        );
        let proofed = Proofed {
            findings: compared.findings,
            sonorities: compared.of,
            remarks: compared.remarks,
            sections: compared
                .passages
                .iter()
                .map(|p| p.section.clone())
                .collect(),
            passages: compared.passages,
            ..Proofed::default()
        };
        return Marked {
            score: compared.score,
            proofed,
            marks,
        };
    }
    let proofed = proof(&score, style);
    let mut all: BTreeSet<(usize, Place)> = BTreeSet::new();
    let mut wrong: BTreeSet<(usize, Place)> = BTreeSet::new();
    for (index, passage) in proofed.passages.iter().enumerate() {
        let sounds: BTreeSet<Place> = passage.sonorities.iter().map(|s| s.at).collect();
        // What is held over into a chord is at fault where the chord comes in and nobody strikes; what
        // two sections have between them may stand where one of them has nothing.
        let own = |f: &Finding| f.section.as_ref() == Some(&passage.section.name);
        let at_fault: BTreeSet<Place> = proofed
            .findings
            .iter()
            .filter(|f| f.level > Level::Note && is_of_a_sonority(f.rule))
            .filter(|f| {
                let mut parts = passage.section.parts.iter();
                parts.any(|m| f.parts.contains(&m.part))
            })
            .filter(|f| sounds.contains(&f.at) || own(f))
            .map(|f| f.at)
            .collect();
        let judged = passage.sonorities.iter().zip(&passage.in_force);
        let judged = judged.filter(|(s, force)| s.is_block() && force.is_some());
        all.extend(judged.map(|(s, _)| (index, s.at)));
        for at in at_fault {
            all.insert((index, at));
            wrong.insert((index, at));
        }
    }
    let marks = Marks::new(
        all.len() - wrong.len(),
        all.len(),
        &proofed.findings,
        &BTreeMap::new(),
    );
    Marked {
        score,
        proofed,
        marks,
    }
}
