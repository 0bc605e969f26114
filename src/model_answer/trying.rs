//! The line of voicings in which the rules find nothing: what they find is banned, and the line made again.

use super::answer::Weighed;
use super::cheapest::{Banned, cheapest};
use super::job::Job;
use super::nothing_fits;
use super::request::VoiceError;
use super::ways_out::{LEVELS, StandIns};
use super::writing_out;
use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::proof::proof;
use crate::score::{Place, Score};
use std::collections::HashSet;

/// How often the answer is made again without what the rules found wrong in it.
const ROUNDS: usize = 12;

/// The same where they find nothing but notes.
const ROUNDS_FOR_NOTES: usize = 4;

/// The best line that was tried.
pub(super) struct Tried {
    pub answer: Score,
    pub line: Vec<Weighed>,
    /// What may stand under each note.
    pub options: Vec<Vec<Weighed>>,
    /// What the rules find in it.
    pub findings: Vec<Finding>,
    /// What they find in the lead by itself.
    pub of_lead: Vec<Finding>,
}

impl Tried {
    /// The first thing that is found, as the reason why nothing is written.
    pub(super) fn first(&self) -> VoiceError {
        let first = self.findings.first();
        VoiceError::Unclean(first.map_or_else(String::new, |f| {
            format!(
                "bar {}, beat {}: {}",
                self.answer.bar_number(f.at.bar),
                self.answer.beat_at(f.at),
                f.message
            )
        }))
    }

    /// How bad it is.
    fn weight(&self) -> usize {
        let of = |f: &Finding| if f.level == Level::Note { 1 } else { 4 };
        self.findings.iter().map(of).sum()
    }
}

/// When what is found is heard.
pub(super) fn onset_of(answer: &Score, finding: &Finding) -> Option<Ticks> {
    let bar = answer.bars.get(finding.at.bar as usize)?;
    Some(bar.start + finding.at.offset)
}

impl Job<'_> {
    /// The cheapest line of these voicings in which the rules find nothing, written out; else the best of those
    /// tried. Where a note has no voicing, ways out are taken, if there may be any.
    pub(super) fn line(
        &self,
        mut options: Vec<Vec<Weighed>>,
        stand_ins: Option<&StandIns>,
    ) -> Result<Tried, VoiceError> {
        let empty: Vec<usize> = (0..options.len())
            .filter(|&i| options.get(i).is_none_or(Vec::is_empty))
            .collect();
        if !empty.is_empty() && stand_ins.is_none() {
            let explained = nothing_fits::explain(self, &empty);
            return Err(VoiceError::NothingFits(Box::new(explained)));
        }
        let mut levels = vec![0u8; options.len()];
        let mut banned = Banned::new();
        let mut best: Option<Tried> = None;
        let mut own: Option<HashSet<(&'static str, Place)>> = None;
        for round in 0..ROUNDS {
            self.fill(&mut options, &mut levels, &banned, stand_ins);
            let Some(line) = cheapest(&options, &banned) else {
                break;
            };
            let answer = writing_out::answer(self, &line);
            let own = own.get_or_insert_with(|| self.of_lead(&answer));
            let (of_lead, findings): (Vec<Finding>, Vec<Finding>) = self
                .found(&answer)
                .into_iter()
                .partition(|f| own.contains(&(f.rule, f.at)));
            let tried = Tried {
                answer,
                line,
                options: Vec::new(),
                findings,
                of_lead,
            };
            let before = banned.len();
            for finding in &tried.findings {
                let at = onset_of(&tried.answer, finding).and_then(|o| {
                    let sonorities = &self.passage.sonorities;
                    sonorities.partition_point(|s| s.onset <= o).checked_sub(1)
                });
                if let Some(at) = at
                    && let Some(chosen) = tried.line.get(at)
                {
                    banned.insert((at, chosen.voicing.clone()));
                }
            }
            let done = tried.findings.is_empty() || banned.len() == before;
            let only_notes = tried.findings.iter().all(|f| f.level == Level::Note);
            if best.as_ref().is_none_or(|b| tried.weight() < b.weight()) {
                best = Some(tried);
            }
            if done || only_notes && round + 1 >= ROUNDS_FOR_NOTES {
                break;
            }
        }
        let mut best = best.ok_or_else(|| VoiceError::Unclean(String::new()))?;
        // What the rules found fault with is no choice.
        for (at, (list, taken)) in options.iter_mut().zip(&best.line).enumerate() {
            list.retain(|o| {
                o.voicing == taken.voicing || !banned.contains(&(at, o.voicing.clone()))
            });
        }
        best.options = options;
        Ok(best)
    }

    /// Gives each note that has nothing left the ways out of the next level.
    fn fill(
        &self,
        options: &mut [Vec<Weighed>],
        levels: &mut [u8],
        banned: &Banned,
        stand_ins: Option<&StandIns>,
    ) {
        let Some(stand_ins) = stand_ins else { return };
        let left = |at: usize, list: &[Weighed]| {
            let free = |o: &Weighed| !banned.contains(&(at, o.voicing.clone()));
            list.iter().any(free)
        };
        // From the end, so that a note may move in parallel with the one after it.
        for at in (0..options.len()).rev() {
            while let (Some(list), Some(level)) = (options.get(at), levels.get_mut(at)) {
                if *level >= LEVELS || left(at, list) {
                    break;
                }
                let more = self.ways_out(at, *level, options, stand_ins);
                *level += 1;
                if let Some(list) = options.get_mut(at) {
                    list.extend(more);
                }
            }
        }
    }

    /// What the rules say of an answer. How a lead is spelled is its writer's business: no voicing cures it.
    fn found(&self, answer: &Score) -> Vec<Finding> {
        let mut style = self.style.clone();
        style.levels.insert("spelling".to_owned(), None);
        proof(answer, &style).findings
    }

    /// What the rules say of the lead alone, as its player has it.
    fn of_lead(&self, answer: &Score) -> HashSet<(&'static str, Place)> {
        let mut alone = answer.clone();
        let place = self.seats.first().map_or(0, |s| s.place);
        alone.parts = answer.parts.get(place).cloned().into_iter().collect();
        alone.lay_out();
        let found = self.found(&alone).into_iter();
        found.map(|f| (f.rule, f.at)).collect()
    }
}
