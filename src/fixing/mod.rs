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
use std::ops::Range;

/// How many sonorities to either side of a fix are looked at again, within its phrase.
const REACH: usize = 24;

/// How many ways to mend a finding are tried.
const TRIES: usize = 12;

/// What makes two findings the same one before and after a change.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
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
        let mut bench = Bench {
            score,
            scratch: score.clone(),
            style,
            before: None,
        };
        for finding in findings.iter_mut().filter(|f| !f.remedies.is_empty()) {
            finding.fix = bench.try_out(passages, finding);
            if let Some(fix) = &finding.fix {
                finding.suggestion = Some(fix.summary.clone());
            }
        }
    });
}

/// Where fixes are tried out.
struct Bench<'a> {
    score: &'a Score,
    /// The score again, to change notes in.
    scratch: Score,
    style: &'a Style,
    /// What was found in the stretch looked at last, as it stands: neighbours ask for it again.
    before: Option<(Stretch<'a>, Vec<Identity>)>,
}

/// Some sonorities of a passage.
#[derive(Clone)]
struct Stretch<'a> {
    passage: &'a Passage,
    range: Range<usize>,
}

impl Stretch<'_> {
    fn is(&self, other: &Self) -> bool {
        std::ptr::eq(self.passage, other.passage) && self.range == other.range
    }

    /// Lets the rules look at it, when a score reads like this.
    fn look<T>(&self, score: &Score, style: &Style, ask: impl FnOnce(&Reading<'_>) -> T) -> T {
        let window = [self.passage.window(score, style, self.range.clone())];
        ask(&Reading::new(score, style, &window).within(bars_of(&window)))
    }
}

impl<'a> Bench<'a> {
    /// The first remedy that mends the finding and brings nothing new.
    fn try_out(&mut self, passages: &'a [Passage], finding: &Finding) -> Option<Fix> {
        let (passage, around) = place(self.score, passages, finding)?;
        let stretch = Stretch {
            passage,
            range: passage.stretch(around, REACH),
        };
        let wanted = Identity::of(finding);
        let mut others = self.before(&stretch).to_vec();
        let known = others.len();
        others.retain(|f| *f != wanted);
        if others.len() == known {
            return None;
        }
        for remedy in finding.remedies.iter().take(TRIES) {
            let undo = apply(&mut self.scratch, remedy);
            let mends = stretch.look(&self.scratch, self.style, |reading| {
                rules::all_pass(reading, |f| others.contains(&Identity::of(f)))
            });
            restore(&mut self.scratch, &undo);
            if mends {
                return Some(Fix {
                    summary: rules::in_words(self.score, remedy)?,
                    changes: remedy.clone(),
                });
            }
        }
        None
    }

    fn before(&mut self, stretch: &Stretch<'a>) -> &[Identity] {
        let (score, style) = (self.score, self.style);
        let known = self.before.take().filter(|(known, _)| known.is(stretch));
        let look = || {
            stretch.look(score, style, |reading| {
                rules::check(reading).iter().map(Identity::of).collect()
            })
        };
        let (_, found) = self
            .before
            .insert(known.unwrap_or_else(|| (stretch.clone(), look())));
        found
    }
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

fn bars_of(window: &[Passage]) -> Range<u32> {
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
