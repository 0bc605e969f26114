//! Fixes: each is tried on the score in memory before anybody sees it.
#![cfg_attr(
    not(test),
    warn(
        clippy::indexing_slicing,
        clippy::string_slice,
        clippy::arithmetic_side_effects
    )
)]

use crate::diagnosis::Passage;
use crate::finding::{Finding, Fix};
use crate::ground::pitch::Pitch;
use crate::ground::threads;
use crate::rules::{self, RuleInput};
use crate::score::{Change, NoteRef};
use crate::score::{Place, Score};
use crate::style::Style;
use std::ops::Range;

/// How many sonorities to either side of a fix are looked at again, within its phrase.
const REACH: usize = 24;

/// How many ways to mend a finding are tried.
const TRIES: usize = 12;

/// What makes two findings the same one before and after a change.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Identity {
    rule: &'static str,
    at: Place,
    parts: Vec<u32>,
}

impl Identity {
    pub(crate) fn of(finding: &Finding) -> Self {
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
    let each = findings.len().div_ceil(threads::count());
    threads::for_chunks(findings, each, |findings| {
        let mut trial = FixTrial {
            score,
            scratch: score.clone(),
            style,
            before: None,
        };
        for finding in findings.iter_mut().filter(|f| !f.remedies.is_empty()) {
            finding.fix = trial.try_out(passages, finding);
            if let Some(fix) = &finding.fix {
                finding.suggestion = Some(fix.summary.clone());
            }
        }
    });
}

/// The trial of fixes on a copy of a score.
struct FixTrial<'a> {
    score: &'a Score,
    /// The score again, to change notes in.
    scratch: Score,
    style: &'a Style,
    /// The stretch looked at last, as it stands: neighbours ask for it again.
    before: Option<Stretch<'a>>,
}

/// Some sonorities of a passage, as they stand.
struct Stretch<'a> {
    passage: &'a Passage,
    range: Range<usize>,
    /// The stretch as a passage of its own.
    heard: Passage,
    /// What is found in it.
    found: Vec<Identity>,
}

impl<'a> Stretch<'a> {
    fn new(score: &Score, style: &Style, passage: &'a Passage, range: Range<usize>) -> Self {
        let heard = passage.window(score, style, range.clone());
        let found = ask_rules(score, style, &heard, |reading| {
            rules::check(reading).iter().map(Identity::of).collect()
        });
        Self {
            passage,
            range,
            heard,
            found,
        }
    }
}

/// Lets the rules look at a stretch by itself.
fn ask_rules<T>(
    score: &Score,
    style: &Style,
    stretch: &Passage,
    ask: impl FnOnce(&RuleInput<'_>) -> T,
) -> T {
    let passages = std::slice::from_ref(stretch);
    ask(&RuleInput::new(score, style, passages).within(bars_of(stretch)))
}

impl<'a> FixTrial<'a> {
    /// The first remedy that mends the finding and brings nothing new.
    fn try_out(&mut self, passages: &'a [Passage], finding: &Finding) -> Option<Fix> {
        let (score, style) = (self.score, self.style);
        let (passage, around) = place(score, passages, finding)?;
        let range = passage.stretch(around, REACH);
        let last = self.before.take();
        let before = last
            .filter(|s| std::ptr::eq(s.passage, passage) && s.range == range)
            .unwrap_or_else(|| Stretch::new(score, style, passage, range));
        let before = &*self.before.insert(before);
        let wanted = Identity::of(finding);
        if !before.found.contains(&wanted) {
            return None;
        }
        let may_stay = |found: &Finding| {
            let found = Identity::of(found);
            found != wanted && before.found.contains(&found)
        };
        // What objects to one remedy is likely to object to the next.
        let mut likely = finding.rule;
        for remedy in finding.remedies.iter().take(TRIES) {
            let undo = apply(&mut self.scratch, remedy);
            let heard = before.heard.heard_again(&self.scratch, style);
            let objector = ask_rules(&self.scratch, style, &heard, |reading| {
                rules::objector(reading, likely, may_stay)
            });
            restore(&mut self.scratch, &undo);
            match objector {
                Some(rule) => likely = rule,
                None => {
                    return Some(Fix {
                        summary: rules::in_words(score, remedy)?,
                        changes: remedy.clone(),
                        edits: None,
                    });
                }
            }
        }
        None
    }
}

/// The passage a finding is about and the sonority it stands at (or that sounds then).
fn place<'p>(
    score: &Score,
    passages: &'p [Passage],
    finding: &Finding,
) -> Option<(&'p Passage, usize)> {
    let onset = score.bars.get(finding.at.bar as usize)?.start + finding.at.offset;
    let passage = passages.iter().find(|p| {
        let mut parts = p.section.parts.iter();
        p.section.plays_at(onset) && parts.any(|m| finding.parts.contains(&m.part))
    })?;
    let at = passage.sonorities.partition_point(|s| s.onset <= onset);
    Some((passage, at.checked_sub(1)?))
}

fn bars_of(stretch: &Passage) -> Range<u32> {
    let bars = || stretch.sonorities.iter().map(|s| s.at.bar);
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
