//! Fixes: each is tried on the score in memory before anybody sees it.
#![cfg_attr(
    not(test),
    warn(
        clippy::indexing_slicing,
        clippy::string_slice,
        clippy::arithmetic_side_effects
    )
)]

mod correct;

pub use correct::{Correction, Done, correct};

use crate::diagnosis::Passage;
use crate::finding::{Change, Finding, Fix, NoteRef};
use crate::pitch::Pitch;
use crate::rules::{self, Reading};
use crate::score::{Place, Score};
use crate::style::Style;
use rayon::prelude::*;

/// How many sonorities to either side of a fix are looked at again, within its phrase.
const REACH: usize = 24;

/// How many ways to mend a finding are tried.
const TRIES: usize = 12;

/// What makes two findings the same one before and after a change.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Identity {
    rule: &'static str,
    at: Place,
    parts: Vec<u32>,
}

impl Identity {
    fn of(finding: &Finding) -> Self {
        Self {
            rule: finding.rule,
            at: finding.at,
            parts: finding.parts.clone(),
        }
    }
}

/// Gives each finding the first of its remedies that mends it and brings no new finding, in place of
/// the rule's suggestion. `score` is left as it was.
pub fn verify(score: &Score, style: &Style, passages: &[Passage], findings: &mut [Finding]) {
    if findings.iter().all(|f| f.remedies.is_empty()) {
        return;
    }
    // One scratch copy for each thread.
    let each = findings.len().div_ceil(rayon::current_num_threads());
    findings.par_chunks_mut(each.max(1)).for_each(|findings| {
        let mut scratch = score.clone();
        for finding in findings.iter_mut().filter(|f| !f.remedies.is_empty()) {
            finding.fix = try_out(score, &mut scratch, style, passages, finding);
            if let Some(fix) = &finding.fix {
                finding.suggestion = Some(fix.summary.clone());
            }
        }
    });
}

fn try_out(
    score: &Score,
    scratch: &mut Score,
    style: &Style,
    passages: &[Passage],
    finding: &Finding,
) -> Option<Fix> {
    let (passage, around) = place(score, passages, finding)?;
    let look = |score: &Score| -> Vec<Finding> {
        let window = [passage.window(score, style, around, REACH)];
        let bars = bars_of(&window);
        let reading = Reading::new(score, style, &window).within(bars);
        rules::check(&reading)
    };
    let wanted = Identity::of(finding);
    let before: Vec<Identity> = look(score).iter().map(Identity::of).collect();
    if !before.contains(&wanted) {
        return None;
    }
    for remedy in finding.remedies.iter().take(TRIES) {
        let undo = apply(scratch, remedy);
        let after = look(scratch);
        restore(scratch, &undo);
        let gone = !after.iter().any(|f| Identity::of(f) == wanted);
        let nothing_new = after.iter().all(|f| before.contains(&Identity::of(f)));
        if gone && nothing_new {
            return Some(Fix {
                summary: rules::in_words(score, remedy)?,
                changes: remedy.clone(),
            });
        }
    }
    None
}

/// The passage a finding is about and the sonority it stands at (or that sounds then).
fn place<'p>(
    score: &Score,
    passages: &'p [Passage],
    finding: &Finding,
) -> Option<(&'p Passage, usize)> {
    let passage = passages.iter().find(|p| {
        p.section
            .parts
            .iter()
            .any(|m| finding.parts.contains(&m.part))
    })?;
    let onset = score.bars.get(finding.at.bar as usize)?.start + finding.at.offset;
    let at = passage.sonorities.partition_point(|s| s.onset <= onset);
    Some((passage, at.checked_sub(1)?))
}

fn bars_of(window: &[Passage]) -> std::ops::Range<u32> {
    let bars = || window.iter().flat_map(|p| &p.sonorities).map(|s| s.at.bar);
    bars().min().unwrap_or(0)..bars().max().map_or(0, |b| b.saturating_add(1))
}

/// Written and sounding pitch of a note before a change.
struct Undo {
    note: NoteRef,
    written: Pitch,
    sounding: Pitch,
}

fn apply(score: &mut Score, changes: &[Change]) -> Vec<Undo> {
    let mut undo = Vec::new();
    for change in changes {
        for note in score.tied_chain(change.note) {
            let old = score
                .parts
                .get(note.part as usize)
                .and_then(|p| p.notes.get(note.note as usize));
            undo.extend(old.map(|n| Undo {
                note,
                written: n.written,
                sounding: n.sounding,
            }));
        }
    }
    score.change(changes);
    undo
}

fn restore(score: &mut Score, undo: &[Undo]) {
    for u in undo {
        let note = score
            .parts
            .get_mut(u.note.part as usize)
            .and_then(|p| p.notes.get_mut(u.note.note as usize));
        if let Some(note) = note {
            note.written = u.written;
            note.sounding = u.sounding;
        }
    }
}
