//! The main job on one score: `Score` -> [`Heard`] -> [`Proofed`].

pub mod fingerprint;
mod grouping;
mod heard;
pub mod ledger;
#[cfg(test)]
pub(crate) mod sample;

pub use heard::Heard;

use self::grouping::grouping;
use crate::diagnosis::{How, Passage, frame_at, passages};
use crate::editing::{self, ScoreEdits};
use crate::file_text::limits::{LONGEST_NAME, LONGEST_TEXT};
use crate::finding::{Finding, SetAside};
use crate::fixing::{self, TryBudget};
use crate::rules::{self, RuleInput};
use crate::score::{Addition, Place, Score};
use crate::sonority::Section;
use crate::style::Style;
use crate::voicing::{Technique, mechanical_of};

/// A technique that was inferred, not stated: the report says so.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Inferred {
    /// The section's name.
    pub section: String,
    /// The technique's name.
    pub technique: String,
    /// First and last bar (0-based) of the phrases it was inferred for.
    pub from: Place,
    /// See `from`.
    pub to: Place,
    /// How many sonorities fit it, of how many.
    pub fits: usize,
    /// See `fits`.
    pub of: usize,
}

/// What proofing a score gave.
#[derive(Clone, Debug, Default)]
pub struct Proofed {
    /// All findings in order of place, then part.
    pub findings: Vec<Finding>,
    /// Findings that do not count, each with the reason; no fix was looked for.
    pub set_aside: Vec<SetAside>,
    /// How many sonorities were looked at, over all sections.
    pub sonorities: usize,
    /// Techniques that were inferred.
    pub inferred: Vec<Inferred>,
    /// Sentences about what was not checked and why (no chord symbols, say).
    pub remarks: Vec<String>,
    /// The sections of the score, in its order.
    pub sections: Vec<Section>,
    /// The passages that were judged, one a section: its sonorities, techniques and diagnoses.
    pub passages: Vec<Passage>,
}

impl Proofed {
    /// Sets aside the findings that `why` has a reason for, by their index and themselves.
    pub fn set_aside_where(&mut self, mut why: impl FnMut(usize, &Finding) -> Option<SetAside>) {
        let mut index = 0;
        let set_aside = &mut self.set_aside;
        self.findings.retain(|finding| {
            let reason = why(index, finding);
            index += 1;
            let stays = reason.is_none();
            set_aside.extend(reason);
            stays
        });
    }
}

/// Hears and proofs a copy of a score under a house style.
pub fn proof(score: &Score, style: &Style) -> Proofed {
    Heard::new(score.clone(), style).proofed(style)
}

impl Heard {
    /// Proofs the score under the style it was heard in.
    pub fn proofed(&self, style: &Style) -> Proofed {
        let mut proofed = self.looked_over(style);
        self.look_for_fixes(style, &mut proofed, &mut TryBudget::of_a_score());
        proofed
    }

    /// The same without a fix for any finding.
    pub(crate) fn looked_over(&self, style: &Style) -> Proofed {
        let score = self.judged();
        let passages = passages(score, style);
        let reading = RuleInput::new(score, style, &passages);
        let mut findings = rules::check(&reading);
        let not_checked = reading.remarks();
        let (mut set_aside, waived) = rules::waive(&reading, &mut findings);
        let (by_style, accepted) = rules::accept(style, score, &mut findings);
        set_aside.extend(by_style);
        let remarks = remarks(score, style, &passages);
        Proofed {
            findings,
            set_aside,
            sonorities: passages.iter().map(|p| p.sonorities.len()).sum(),
            inferred: passages.iter().flat_map(|p| inferred(score, p)).collect(),
            remarks: remarks
                .into_iter()
                .chain(not_checked)
                .chain(waived)
                .chain(accepted)
                .collect(),
            sections: passages.iter().map(|p| p.section.clone()).collect(),
            passages,
        }
    }

    /// Looks for a fix for each finding, as long as the budget lasts; a remark says where it ends.
    pub(crate) fn look_for_fixes(
        &self,
        style: &Style,
        proofed: &mut Proofed,
        budget: &mut TryBudget,
    ) {
        let score = self.judged();
        let Proofed {
            findings, passages, ..
        } = proofed;
        let untried = fixing::verify(score, style, passages, findings, budget);
        let can_be_added = |addition: &Addition| editing::can_be_added(score, addition);
        fixing::verify_marks(score, style, passages, findings, can_be_added);
        let mut edits = ScoreEdits::new(score);
        for fix in findings.iter_mut().filter_map(|f| f.fix.as_mut()) {
            fix.edits = edits.with_marks(&fix.changes, &fix.additions).ok();
        }
        if untried > 0 {
            proofed.remarks.push(format!(
                "no fix was tried for {untried} of {} findings: the tries that one score is given came to \
                 their end; mend or accept what comes first, then proof the score again",
                proofed.findings.len()
            ));
        }
    }
}

/// The techniques inferred for a section, each with the stretch it was inferred for.
fn inferred(score: &Score, passage: &Passage) -> Vec<Inferred> {
    let mut found: Vec<Inferred> = Vec::new();
    for (index, force) in passage.in_force.iter().enumerate() {
        let (Some(force), Some(sonority)) = (force, passage.sonorities.get(index)) else {
            continue;
        };
        if force.how != How::Inferred {
            continue;
        }
        let name = force.technique.name();
        let fits = usize::from(match force.technique {
            Technique::Mechanical(m) => mechanical_of(&sonority.midi()) == Some(m),
            Technique::Form(form) => {
                let frame = frame_at(score, sonority.onset, passage.key_at(score, sonority.onset));
                form.fits(&sonority.midi(), frame.as_ref())
            }
        });
        match found.last_mut().filter(|i| i.technique == name) {
            Some(last) => {
                last.to = sonority.at;
                last.fits += fits;
                last.of += 1;
            }
            None => found.push(Inferred {
                section: passage.section.name.clone(),
                technique: name.to_owned(),
                from: sonority.at,
                to: sonority.at,
                fits,
                of: 1,
            }),
        }
    }
    found
}

/// What was not checked, and why.
fn remarks(score: &Score, style: &Style, passages: &[Passage]) -> Vec<String> {
    let mut remarks: Vec<String> = grouping(score, passages).into_iter().collect();
    if let Some(fault) = &score.spoiled_contents {
        remarks.push(format!("{fault}; the only score in the container was read"));
    }
    if score.cut_texts > 0 {
        remarks.push(format!(
            "texts of the score were cut, {} in all: {LONGEST_NAME} characters of a name, a number or a \
             chord symbol are read, {LONGEST_TEXT} of any other text",
            score.cut_texts
        ));
    }
    let blocks = passages
        .iter()
        .flat_map(|p| &p.in_force)
        .any(Option::is_some);
    let readable = score.chords.iter().any(|m| m.value.chord.is_some());
    if blocks && !readable {
        remarks.push(
            "no chord symbols: notes were not checked against chords, voicings only against each other"
                .to_owned(),
        );
    }
    let once: Vec<&str> = score
        .parts
        .iter()
        .filter(|p| p.octave_counted_once)
        .map(|p| p.name.as_str())
        .collect();
    if !once.is_empty() {
        remarks.push(format!(
            "{}: the clef and the transposition both name an octave, which was counted once",
            once.join(", ")
        ));
    }
    // The rule about chord symbols speaks of those that cannot be read.
    let reported = style.levels.get("chord-symbol-agreement") != Some(&None);
    for mark in score.chords.iter().filter(|_| !reported) {
        if let Some(why) = &mark.value.unread {
            remarks.push(format!(
                "bar {}, beat {}: the chord symbol `{}` could not be read ({why}); nothing was checked against it",
                score.bar_number(mark.at.bar),
                score.beat_at(mark.at),
                mark.value.written,
            ));
        }
    }
    remarks
}
