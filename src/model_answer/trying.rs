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
use crate::proof::Heard;
use crate::score::{Place, Score};
use crate::voicing::Technique;
use std::collections::HashSet;

/// How often it is made again without becoming better.
const ROUNDS_WITHOUT_GAIN: usize = 6;

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
    /// What they say of the names of notes.
    spelling: Vec<Finding>,
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

/// Whether a finding is about nothing but the lead's own notes, which others double.
fn is_of_lead(answer: &Score, line: &[Weighed], job: &Job<'_>, finding: &Finding) -> bool {
    let at = onset_of(answer, finding).and_then(|o| {
        let sonorities = &job.passage.sonorities;
        sonorities.partition_point(|s| s.onset <= o).checked_sub(1)
    });
    let Some(chosen) = at.and_then(|at| line.get(at)) else {
        return false;
    };
    let together = matches!(chosen.technique, Technique::Form(f) if f.is_doubling());
    let lead = chosen.voicing.first().copied().unwrap_or(0);
    let of_note = |n: &crate::finding::NoteAtFault| {
        let part = answer.parts.get(n.note.part as usize);
        part.and_then(|p| p.notes.get(n.note.note as usize))
    };
    together
        && !finding.notes.is_empty()
        && finding
            .notes
            .iter()
            .all(|n| of_note(n).is_some_and(|n| (n.sounding.midi() - lead) % 12 == 0))
        && ["unavailable-tension", "wrong-note", "awkward-leap"].contains(&finding.rule)
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
        let mut since_best = 0;
        for round in 0..ROUNDS {
            self.fill(&mut options, &mut levels, &banned, stand_ins);
            let Some(line) = cheapest(&options, &banned) else {
                break;
            };
            let answer = writing_out::answer(self, &line);
            let all = self.found(&answer);
            // How a lead is spelled is its writer's business: no voicing cures it.
            let (spelling, all): (Vec<Finding>, Vec<Finding>) =
                all.into_iter().partition(|f| f.rule == "spelling");
            let of_lead = |f: &Finding| {
                let own = own.get_or_insert_with(|| self.of_lead(&answer));
                own.contains(&(f.rule, f.at)) || is_of_lead(&answer, &line, self, f)
            };
            let (of_lead, findings): (Vec<Finding>, Vec<Finding>) =
                all.into_iter().partition(of_lead);
            let tried = Tried {
                answer,
                line,
                options: Vec::new(),
                findings,
                of_lead,
                spelling,
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
            since_best += 1;
            if best.as_ref().is_none_or(|b| tried.weight() < b.weight()) {
                best = Some(tried);
                since_best = 0;
            }
            let no_better = since_best >= ROUNDS_WITHOUT_GAIN;
            if done || no_better || only_notes && round + 1 >= ROUNDS_FOR_NOTES {
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
        self.respell(&mut best);
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

    /// Names inner notes as their lines ask for, where the rules know a better name.
    fn respell(&self, tried: &mut Tried) {
        let lead = self.seats.first().map_or(0, |s| s.place as u32);
        let mut changes = Vec::new();
        for finding in &tried.spelling {
            let inner = finding.notes.iter().all(|n| n.note.part != lead);
            if let Some(remedy) = finding.remedies.first().filter(|_| inner) {
                changes.extend(remedy.iter().filter(|c| c.note.part != lead).copied());
            }
        }
        if !changes.is_empty() {
            tried.answer.change(&changes);
            tried.answer.lay_out();
        }
    }

    /// What the rules say of an answer.
    fn found(&self, answer: &Score) -> Vec<Finding> {
        let heard = Heard::as_it_stands(answer.clone(), self.style);
        heard.looked_over(self.style).findings
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
