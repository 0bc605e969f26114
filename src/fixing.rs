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
use crate::rules::{self, Group, RuleInput};
use crate::score::{Addition, Change, NoteRef};
use crate::score::{Place, Score};
use crate::sonority::Sonority;
use crate::style::{Level, ListLooks, Style};
use rustc_hash::{FxHashMap, FxHashSet};
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

/// Whether a finding that comes with a fix is none against it: a remark on how a line goes on, where an
/// error or a warning goes. What was written may have been so before the mistake.
pub(crate) fn is_remark_beside(gone: Level, new: &Finding) -> bool {
    gone > Level::Note
        && new.level == Level::Note
        && rules::ALL
            .iter()
            .any(|r| r.name == new.rule && r.group == Group::Lines)
}

/// How much may be spent on trying fixes: each rule that looks at each note again counts 1. A score
/// is given it once, whatever the machine and however many threads there are. A try at a section of
/// five looks at some 250 notes in their sonorities and as many in their bars, under some 40 rules: that
/// is 20,000, so that 60,000 tries are within it.
const MOST_LOOKS: u64 = 1_200_000_000;

/// What is left for trying fixes on a score.
#[derive(Clone, Copy, Debug)]
pub struct TryBudget {
    looks: u64,
}

impl TryBudget {
    /// What one score is given.
    pub const fn of_a_score() -> Self {
        Self { looks: MOST_LOOKS }
    }

    /// So many looks of a rule at a note.
    #[cfg(any(test, feature = "inside"))]
    pub const fn of(looks: u64) -> Self {
        Self { looks }
    }

    /// Takes what a finding may need; `false` once there is not enough left, for it and all after it.
    fn allows(&mut self, looks: u64) -> bool {
        let left = self.looks.checked_sub(looks);
        self.looks = left.unwrap_or(0);
        left.is_some()
    }
}

/// Gives each finding the first of its remedies that mends it and brings no new finding (but for remarks on a
/// line), in place of the rule's suggestion. `score` is left as it was. Findings beyond the budget keep their suggestion and get
/// no fix: the answer is how many of them there are.
pub fn verify(
    score: &Score,
    style: &Style,
    passages: &[Passage],
    findings: &mut [Finding],
    budget: &mut TryBudget,
) -> usize {
    if findings.iter().all(|f| f.remedies.is_empty()) {
        return 0;
    }
    let by_part = by_part(passages);
    // A value in the message of an own rule costs as much as a look.
    let own = style
        .own
        .iter()
        .map(|r| (r.message.len() as u64).saturating_add(1));
    let rules = own.fold(rules::ALL.len() as u64, u64::saturating_add);
    let list_looks: Vec<ListLooks> = style.own.iter().filter_map(|r| r.list_looks()).collect();
    let mut untried = 0usize;
    // Shared out before anything is tried, in order, so that threads change nothing.
    let mut trials: Vec<Trial<'_>> = Vec::new();
    for finding in findings.iter_mut().filter(|f| !f.remedies.is_empty()) {
        let Some((passage, around)) = place(score, passages, &by_part, finding) else {
            continue;
        };
        let range = passage.stretch(around, REACH);
        let stretch = passage.sonorities.get(range.clone()).unwrap_or_default();
        let voices = stretch.iter().map(|s| s.voices.len() as u64).sum::<u64>();
        let notes = voices.saturating_add(notes_in_bars(score, passage, stretch));
        let tries = finding.remedies.len().min(TRIES) as u64;
        // The stretch is looked at once as it stands.
        let in_lists = list_looks
            .iter()
            .flat_map(|looks| stretch.iter().map(|s| looks.at(s.voices.len())));
        let looks = notes
            .saturating_mul(rules)
            .saturating_add(in_lists.fold(0, u64::saturating_add))
            .saturating_mul(tries.saturating_add(1));
        if budget.allows(looks) {
            trials.push(Trial {
                finding,
                passage,
                range,
            });
        } else {
            untried = untried.saturating_add(1);
        }
    }
    // One scratch copy for each thread.
    let each = trials.len().div_ceil(threads::count()).max(1);
    threads::for_chunks(&mut trials, each, |trials| {
        let mut on_copy = TrialCopy {
            score,
            scratch: score.clone(),
            style,
            before: None,
        };
        for trial in trials {
            on_copy.try_out(trial);
        }
    });
    untried
}

/// Gives findings about marks that are missing their fix: all the marks are added to a copy of the score and the
/// rules of the page run on it. Those that leave their finding, or bring another in their bar, are none.
pub fn verify_marks(
    score: &Score,
    style: &Style,
    passages: &[Passage],
    findings: &mut [Finding],
    can_be_added: impl Fn(&Addition) -> bool,
) {
    let is_open = |f: &Finding| f.fix.is_none() && !f.additions.is_empty();
    let mut tried: Vec<&mut Finding> = findings
        .iter_mut()
        .filter(|f| is_open(f) && f.additions.iter().all(&can_be_added))
        .collect();
    if tried.is_empty() {
        return;
    }
    let of_page = |score: &Score| -> FxHashSet<Identity> {
        let found = rules::check_page(&RuleInput::new(score, style, passages));
        found.iter().map(Identity::of).collect()
    };
    let before = of_page(score);
    for _ in 0..MARK_ROUNDS {
        let mut copy = score.clone();
        for finding in &tried {
            copy.add(&finding.additions);
        }
        let after = of_page(&copy);
        let new: FxHashSet<u32> = after
            .iter()
            .filter(|found| !before.contains(found))
            .map(|found| found.at.bar)
            .collect();
        let count = tried.len();
        tried.retain(|f| {
            let mut bars = f.additions.iter().filter_map(|a| {
                let part = score.parts.get(a.note.part as usize)?;
                Some(part.notes.get(a.note.note as usize)?.at.bar)
            });
            !after.contains(&Identity::of(f)) && !bars.any(|bar| new.contains(&bar))
        });
        if tried.len() == count {
            for finding in tried {
                finding.fix = Some(Fix {
                    summary: finding.suggestion.clone().unwrap_or_default(),
                    changes: Vec::new(),
                    additions: finding.additions.clone(),
                    edits: None,
                });
            }
            return;
        }
    }
}

/// How often marks are tried again without those that do not mend.
const MARK_ROUNDS: usize = 4;

/// How many notes the parts of a passage have in the bars of these sonorities.
fn notes_in_bars(score: &Score, passage: &Passage, stretch: &[Sonority]) -> u64 {
    let (Some(first), Some(last)) = (stretch.first(), stretch.last()) else {
        return 0;
    };
    let members = passage.section.parts.iter();
    let parts = members.filter_map(|m| score.parts.get(m.part as usize));
    let notes = parts.map(|part| {
        let before = part.notes.partition_point(|n| n.at.bar < first.at.bar);
        let until = part.notes.partition_point(|n| n.at.bar <= last.at.bar);
        until.saturating_sub(before) as u64
    });
    notes.sum()
}

/// A finding to be mended, and the sonorities to look at again.
struct Trial<'a> {
    finding: &'a mut Finding,
    passage: &'a Passage,
    range: Range<usize>,
}

/// A copy of a score to try fixes on.
struct TrialCopy<'a> {
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
    found: FxHashSet<Identity>,
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

impl<'a> TrialCopy<'a> {
    /// Gives the finding the first remedy that mends it and brings nothing new.
    fn try_out(&mut self, trial: &mut Trial<'a>) {
        trial.finding.fix = self.first_that_mends(trial.passage, &trial.range, trial.finding);
        if let Some(fix) = trial.finding.fix.clone() {
            rules::agree(self.score, trial.finding, &fix.changes);
            trial.finding.suggestion = Some(fix.summary);
        }
    }

    fn first_that_mends(
        &mut self,
        passage: &'a Passage,
        range: &Range<usize>,
        finding: &Finding,
    ) -> Option<Fix> {
        let (score, style) = (self.score, self.style);
        let last = self.before.take();
        let before = last
            .filter(|s| std::ptr::eq(s.passage, passage) && s.range == *range)
            .unwrap_or_else(|| Stretch::new(score, style, passage, range.clone()));
        let before = &*self.before.insert(before);
        let wanted = Identity::of(finding);
        if !before.found.contains(&wanted) {
            return None;
        }
        let may_stay = |found: &Finding| {
            let own = Identity::of(found);
            own != wanted && (before.found.contains(&own) || is_remark_beside(finding.level, found))
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
                        additions: Vec::new(),
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

/// For each part of the score the passages that it is in, at different times.
fn by_part(passages: &[Passage]) -> FxHashMap<u32, Vec<usize>> {
    let mut all: FxHashMap<u32, Vec<usize>> = FxHashMap::default();
    for (index, passage) in passages.iter().enumerate() {
        for member in &passage.section.parts {
            all.entry(member.part).or_default().push(index);
        }
    }
    all
}

/// The passage a finding is about and the sonority it stands at (or that sounds then).
fn place<'p>(
    score: &Score,
    passages: &'p [Passage],
    by_part: &FxHashMap<u32, Vec<usize>>,
    finding: &Finding,
) -> Option<(&'p Passage, usize)> {
    let onset = score.bars.get(finding.at.bar as usize)?.start + finding.at.offset;
    let plays = |i: &&usize| passages.get(**i).is_some_and(|p| p.section.plays_at(onset));
    let of = finding.parts.iter().filter_map(|p| by_part.get(p));
    let passage = passages.get(*of.flatten().filter(plays).min()?)?;
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
