//! A class's homework: how many sonorities of each student are right, and which mistakes there are.
//!
//! A sonority counts when it is one of a passage that is held to a technique (three or more voices
//! struck together), or when something is wrong with it. It is right when no rule of harmony,
//! voicing or rubs, no range and no shared rhythm has an error or a warning there. Marks on the page
//! (slurs, dynamics, clefs ...) and the way voices move are mistakes too, but make no sonority wrong.
//!
//! With an answer key ([`Key`]) the sonorities are those under the key's melody notes, one that is
//! missing is not right, and chord symbols and technique are the key's.

mod alignment;
mod class;
mod compare;
mod key;
mod kinds;
mod melody;
pub mod roll;

pub use class::{Cell, Class, Mistake, Sheet};
pub use key::Key;
pub use kinds::{reason, title};

use crate::finding::{Finding, Level};
use crate::proof::{Proofed, proof};
use crate::score::{Place, Score};
use crate::style::Style;
use kinds::is_of_a_sonority;
use std::collections::{BTreeMap, BTreeSet};

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
        let compared = compare::compare(&score, style, key);
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
