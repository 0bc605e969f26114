//! The technique of each sonority where none is stated: the cheapest way through the passage.
//!
//! A stretch stays in its technique for nothing; to change it costs, less at a rest, a double bar or
//! words. What a sonority costs in a technique is worked out only where the cheapest way goes through it:
//! until then it is taken for as cheap as anything can be, so that the way found is the cheapest all the
//! same.

use super::approach::approach_in_form;
use super::case::{Case, Context, HeldTo};
use super::habits::Judging;
use super::judge::{plain, readings};
use super::passage::Passage;
use super::technique::{How, InForce, Said};
use crate::score::Score;
use crate::sonority::Sonority;
use crate::style::{Costs, Evidence, TechniqueCosts};
use crate::voicing::{Form, Mechanical, Technique, Voicing, classes_of, mechanical_of};
use std::ops::Range;

/// What a sonority costs in a technique, or in none.
#[derive(Clone, Copy)]
struct Node {
    /// As it is made for four voices; `None` for free writing.
    technique: Option<Technique>,
    cost: i32,
    /// Without any slip.
    clean: i32,
    /// Whether it has been worked out.
    known: bool,
}

/// A sonority that the way goes through.
struct Step {
    /// Its place in the passage.
    at: usize,
    nodes: Vec<Node>,
    /// What it costs to change the technique before it, and to leave any for free writing.
    change: i32,
    to_free: i32,
}

impl Step {
    /// What it costs to go from a node of the step before to one of this.
    fn change_between(&self, before: &Node, node: &Node) -> i32 {
        match (before.technique, node.technique) {
            (a, b) if a == b => 0,
            (Some(_), None) => self.to_free,
            _ => self.change,
        }
    }
}

/// The techniques of a passage, as the music shows them.
pub(super) struct CheapestWay {
    /// What is in force for each sonority.
    pub(super) in_force: Vec<Option<InForce>>,
    /// How much dearer the passage is without a slip at each sonority; `None` where a technique is stated.
    pub(super) margins: Vec<Option<i32>>,
}

/// The cheapest way through a passage.
pub(super) fn cheapest(
    score: &Score,
    passage: &Passage,
    said: &[Said],
    judging: Judging<'_>,
) -> CheapestWay {
    let mut way = CheapestWay {
        in_force: said
            .iter()
            .map(|said| match said {
                Said::Stated(in_force) => Some(*in_force),
                Said::Free | Said::Nothing => None,
            })
            .collect(),
        margins: vec![None; said.len()],
    };
    let mut steps = steps(passage, said, judging.costs);
    loop {
        let chosen = through(&steps);
        let mut all_known = true;
        for (step, node) in steps.iter_mut().zip(&chosen) {
            let Some(node) = step.nodes.get_mut(*node).filter(|n| !n.known) else {
                continue;
            };
            all_known = false;
            work_out(score, passage, step.at, node, judging);
        }
        if all_known {
            // Margins compare real costs only, so every technique is worked out where there may be a slip.
            let least = judging.costs.harmony.complete_elsewhere;
            for (step, node) in steps.iter_mut().zip(&chosen) {
                if step.nodes.get(*node).is_some_and(|n| n.cost > least) {
                    for node in step.nodes.iter_mut().filter(|n| !n.known) {
                        work_out(score, passage, step.at, node, judging);
                    }
                }
            }
            settle(passage, &steps, &chosen, &judging.costs.evidence, &mut way);
            return way;
        }
    }
}

/// The steps of a passage: its blocks of which nothing is said.
fn steps(passage: &Passage, said: &[Said], costs: &Costs) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let mut border = true;
    let mut phrase = None;
    for (at, sonority) in passage.sonorities.iter().enumerate() {
        // A player who has two notes at once in a full section makes no technique of it.
        let players = passage.section.parts.len();
        let doubled = !passage.section.chordal && players >= 4 && sonority.voices.len() > players;
        if !sonority.is_block() || doubled {
            continue;
        }
        if !matches!(said.get(at), Some(Said::Nothing)) {
            border = true;
            continue;
        }
        let own = passage.phrase_index(at);
        border |= own != phrase;
        phrase = own;
        let change = if border {
            costs.technique.change_at_border
        } else {
            costs.technique.change
        };
        border = false;
        steps.push(Step {
            at,
            nodes: nodes(sonority, costs),
            change,
            to_free: change.max(costs.technique.change_to_free),
        });
    }
    steps
}

/// The techniques a sonority may be in, each as cheap as it can be.
fn nodes(sonority: &Sonority, costs: &Costs) -> Vec<Node> {
    let written = sonority.midi();
    let voices = written.len();
    let one_note = written
        .first()
        .is_some_and(|top| written.iter().all(|m| (m - top) % 12 == 0));
    let shape = mechanical_of(&written);
    let free = if one_note { 0 } else { costs.free.writing };
    let mut nodes = vec![Node {
        technique: None,
        cost: free,
        clean: free,
        known: true,
    }];
    let departs = costs
        .harmony
        .technique_left_for_a_rub
        .min(costs.harmony.complete_elsewhere)
        .min(costs.harmony.parallel_approach);
    for technique in Mechanical::ALL {
        let Some(own) = technique.for_voices(voices) else {
            continue;
        };
        // Five voices without a doubled lead are the same technique as with it.
        if technique.voices() != voices && Mechanical::ALL.contains(&own) {
            continue;
        }
        let cost = if one_note || shape == Some(own) || shape.is_none() {
            0
        } else {
            departs
        };
        nodes.push(Node {
            technique: Some(Technique::Mechanical(four(technique))),
            cost,
            clean: cost,
            known: one_note,
        });
    }
    for form in Form::ALL {
        if form.voices().contains(&voices) {
            let cost = cost_of_form(form, &costs.technique);
            nodes.push(Node {
                technique: Some(Technique::Form(form)),
                cost,
                clean: cost,
                known: false,
            });
        }
    }
    nodes
}

/// A technique as it is for four voices: with as many drops, and no doubling.
fn four(technique: Mechanical) -> Mechanical {
    technique.for_voices(4).unwrap_or(technique)
}

const fn cost_of_form(form: Form, costs: &TechniqueCosts) -> i32 {
    match form {
        Form::Unison => costs.unison,
        Form::Octaves => costs.octaves,
        Form::UpperStructure => costs.upper_structure,
        Form::FiveNoteSoli => costs.five_note_soli,
        Form::Fourths => costs.fourths,
        Form::Cluster => costs.cluster,
        Form::TriadOverBass => costs.triad_over_bass,
        Form::Spread => costs.spread,
        Form::ThreePart => costs.three_part,
        Form::TwoPart => costs.two_part,
    }
}

/// Works out what a sonority costs in the technique of a node.
fn work_out(score: &Score, passage: &Passage, at: usize, node: &mut Node, judging: Judging<'_>) {
    node.known = true;
    let target = following(passage, at);
    let Some(context) = Context::at(score, passage, at) else {
        return;
    };
    let costs = judging.costs;
    let voices = context.sonority.voices.len();
    let Some(technique) = node.technique.and_then(|t| t.for_voices(voices)) else {
        return;
    };
    match technique {
        Technique::Mechanical(technique) => {
            let held_to = HeldTo {
                technique,
                how: How::Inferred,
                stated_for_four: None,
            };
            let case = Case::new(context, held_to, target.as_ref(), judging);
            if let Some(cost) = plain(&case) {
                (node.cost, node.clean) = (cost, cost);
                return;
            }
            let readings = readings(&case);
            let all = readings.iter().map(|r| r.cost).min();
            let clean = readings.iter().filter(|r| !r.is_slip()).map(|r| r.cost);
            node.clean = clean.min().unwrap_or(costs.free.inferred);
            node.cost = all.unwrap_or(costs.free.inferred);
        }
        Technique::Form(form) => {
            let written = context.sonority.midi();
            let fits = form.is_doubling() && form.fits(&written, None)
                || context.frames.iter().any(|f| form.fits(&written, Some(f)))
                || approach_in_form(&context, form, target.as_ref(), judging);
            if !fits {
                node.cost = costs.technique.misfit;
                node.clean = costs.free.inferred;
            }
        }
    }
}

/// What is written after a sonority, where it has as many voices.
fn following(passage: &Passage, at: usize) -> Option<Voicing> {
    let voices = passage.sonorities.get(at)?.voices.len();
    let next = passage.sonorities.get(at + 1);
    next.filter(|s| s.voices.len() == voices)
        .map(Sonority::midi)
}

/// The node of each step that the cheapest way goes through.
fn through(steps: &[Step]) -> Vec<usize> {
    // For each step, what the cheapest way to each node costs, and from which node before it comes.
    let mut reached: Vec<Vec<(i32, Option<usize>)>> = Vec::with_capacity(steps.len());
    for (i, step) in steps.iter().enumerate() {
        let before = i
            .checked_sub(1)
            .and_then(|b| Some((steps.get(b)?, reached.get(b)?)));
        let here = step
            .nodes
            .iter()
            .map(|node| {
                let from =
                    before.and_then(|(earlier, costs)| come_from(earlier, costs, node, step));
                (
                    node.cost + from.map_or(0, |(cost, _)| cost),
                    from.map(|(_, at)| at),
                )
            })
            .collect();
        reached.push(here);
    }
    let mut chosen = vec![0; steps.len()];
    let mut at = reached
        .last()
        .and_then(|last| (0..last.len()).min_by_key(|&i| last.get(i).map(|(cost, _)| *cost)));
    for (slot, costs) in chosen.iter_mut().zip(&reached).rev() {
        let Some(here) = at else { break };
        *slot = here;
        at = costs.get(here).and_then(|(_, from)| *from);
    }
    chosen
}

/// The cheapest way from the step before to a node: in the same technique, or with a change.
fn come_from(
    earlier: &Step,
    costs: &[(i32, Option<usize>)],
    node: &Node,
    step: &Step,
) -> Option<(i32, usize)> {
    earlier
        .nodes
        .iter()
        .zip(costs)
        .enumerate()
        .map(|(at, (before, (cost, _)))| {
            let change = step.change_between(before, node);
            (cost + change, change > 0, at)
        })
        .min()
        .map(|(cost, _, at)| (cost, at))
}

/// What the cheapest way from each node to the end costs, without the node itself.
fn onwards(steps: &[Step]) -> Vec<Vec<i32>> {
    let mut ahead: Vec<Vec<i32>> = vec![Vec::new(); steps.len()];
    for i in (0..steps.len()).rev() {
        let Some(step) = steps.get(i) else { continue };
        let next = steps.get(i + 1).zip(ahead.get(i + 1));
        let here = step.nodes.iter().map(|node| {
            let ways = next.iter().flat_map(|(next, costs)| {
                next.nodes
                    .iter()
                    .zip(costs.iter())
                    .map(|(n, on)| n.cost + on + next.change_between(node, n))
            });
            ways.min().unwrap_or(0)
        });
        let here = here.collect();
        if let Some(slot) = ahead.get_mut(i) {
            *slot = here;
        }
    }
    ahead
}

/// Writes down what the chosen way says.
fn settle(
    passage: &Passage,
    steps: &[Step],
    chosen: &[usize],
    asked: &Evidence,
    way: &mut CheapestWay,
) {
    let ahead = onwards(steps);
    let mut behind: Vec<i32> = Vec::new();
    for (i, step) in steps.iter().enumerate() {
        // What the cheapest way to each node costs, without the node itself.
        let before = i.checked_sub(1).and_then(|b| steps.get(b));
        let here: Vec<i32> = step
            .nodes
            .iter()
            .map(|node| {
                let ways = before.iter().flat_map(|earlier| {
                    earlier
                        .nodes
                        .iter()
                        .zip(&behind)
                        .map(|(n, cost)| n.cost + cost + step.change_between(n, node))
                });
                ways.min().unwrap_or(0)
            })
            .collect();
        let on = ahead.get(i).map_or(&[][..], Vec::as_slice);
        let total = |cost: fn(&Node) -> i32| {
            let all = step.nodes.iter().zip(&here).zip(on);
            all.map(|((n, before), on)| cost(n) + before + on).min()
        };
        let margin = total(|n| n.clean).zip(total(|n| n.cost));
        if let Some(slot) = way.margins.get_mut(step.at) {
            *slot = margin.map(|(clean, best)| clean - best);
        }
        behind = here;
    }
    let pads = pads(passage);
    for run in runs(passage, steps, chosen) {
        let Some(technique) = run.technique else {
            continue;
        };
        let (convicts, is_one) = (run.convicts(asked), run.is_one(asked));
        for step in steps.get(run.steps).unwrap_or_default() {
            let voices = passage
                .sonorities
                .get(step.at)
                .map_or(0, |s| s.voices.len());
            let own = technique.for_voices(voices).filter(|_| is_one);
            let convicts = convicts && pads.get(step.at) == Some(&false);
            if let Some(slot) = way.in_force.get_mut(step.at) {
                *slot = own.map(|t| InForce::inferred(t, convicts));
            }
        }
    }
}

/// So many chords one after the other that stay make a pad inside a phrase that moves.
const PAD: usize = 4;

/// Which sonorities are chords that stay for two beats among others that do: pads follow the smoothest line. The
/// last one of a phrase may be let go of early.
fn pads(passage: &Passage) -> Vec<bool> {
    let mut pads = vec![false; passage.sonorities.len()];
    for phrase in &passage.phrases {
        let is_block = |at: &usize| passage.sonorities.get(*at).is_some_and(Sonority::is_block);
        let blocks: Vec<usize> = phrase.clone().filter(is_block).collect();
        let staying: Vec<bool> = blocks.iter().map(|at| stays_among(passage, *at)).collect();
        let most = staying.iter().filter(|s| **s).count() * 2 >= blocks.len();
        let mut from = 0;
        for run in staying.chunk_by(|a, b| a == b) {
            let here = blocks.get(from..from + run.len()).unwrap_or_default();
            from += run.len();
            let chords = here
                .iter()
                .filter(|at| passage.same_chord(**at).start == **at);
            let is_pad = run.first() == Some(&true) && (most || chords.count() >= PAD);
            let lets_go = most && from == blocks.len() && here.len() == 1 && blocks.len() > 2;
            if is_pad || lets_go {
                for at in here {
                    if let Some(slot) = pads.get_mut(*at) {
                        *slot = true;
                    }
                }
            }
        }
    }
    pads
}

/// Whether a chord stays for two beats, or for one between two that do, as in a waltz.
fn stays_among(passage: &Passage, at: usize) -> bool {
    let same = passage.same_chord(at);
    stays(passage, at, 2)
        || stays(passage, at, 1)
            && same
                .start
                .checked_sub(1)
                .is_some_and(|b| stays(passage, b, 2))
            && stays(passage, same.end, 2)
}

/// Whether a chord stays for so many beats, struck again or not.
fn stays(passage: &Passage, at: usize, beats: i64) -> bool {
    let same = passage.same_chord(at);
    let first = passage.sonorities.get(same.start);
    let last = same
        .end
        .checked_sub(1)
        .and_then(|l| passage.sonorities.get(l));
    let lead = passage.leads.get(at).copied().flatten();
    let (Some(first), Some(last), Some(lead)) = (first, last, lead) else {
        return false;
    };
    last.end - first.onset >= lead.beat.times(beats) && !first.under_held_lead
}

/// Whether a sonority moves on within two beats.
fn moves(passage: &Passage, at: usize) -> Option<bool> {
    let sonority = passage.sonorities.get(at)?;
    let lead = passage.leads.get(at).copied().flatten()?;
    Some(sonority.end - sonority.onset < lead.beat.times(2))
}

/// Steps one after the other in one technique.
struct Run {
    technique: Option<Technique>,
    steps: Range<usize>,
    /// The sonorities that say something of the technique, and those of them that keep it.
    all: usize,
    all_fitting: usize,
    /// The same of those that move on within two beats.
    moving: usize,
    fitting: usize,
}

impl Run {
    /// Whether there is enough to call it a technique at all.
    const fn is_one(&self, asked: &Evidence) -> bool {
        self.all_fitting >= 2 && self.all_fitting * 100 >= self.all * asked.is_one
    }

    /// Whether a sonority may be held to it: most chords that move keep it. Unison and octaves are what
    /// nearly all keep, else somebody has a line of their own.
    fn convicts(&self, asked: &Evidence) -> bool {
        let doubling = matches!(self.technique, Some(Technique::Form(f)) if f.is_doubling());
        if doubling {
            let out = self.all - self.all_fitting;
            return self.all_fitting >= 3 && out <= (self.all * asked.leave_a_unison / 100).max(1);
        }
        self.fitting >= 3 && self.fitting * 100 >= self.moving * asked.convicts
    }
}

/// The runs of a way.
fn runs(passage: &Passage, steps: &[Step], chosen: &[usize]) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    for (i, (step, node)) in steps.iter().zip(chosen).enumerate() {
        let (Some(node), Some(sonority)) = (step.nodes.get(*node), passage.sonorities.get(step.at))
        else {
            continue;
        };
        let goes_on = runs.last().is_some_and(|r| r.technique == node.technique);
        if !goes_on {
            runs.push(Run {
                technique: node.technique,
                steps: i..i,
                all: 0,
                all_fitting: 0,
                moving: 0,
                fitting: 0,
            });
        }
        let Some(run) = runs.last_mut() else { continue };
        run.steps.end = i + 1;
        let Some(fits) = keeps(sonority, node) else {
            continue;
        };
        let moves = moves(passage, step.at) == Some(true);
        run.all += 1;
        run.all_fitting += usize::from(fits);
        run.moving += usize::from(moves);
        run.fitting += usize::from(moves && fits);
    }
    runs
}

/// Whether a sonority keeps the technique of its node; `None` where it says nothing of a technique.
fn keeps(sonority: &Sonority, node: &Node) -> Option<bool> {
    let written = sonority.midi();
    match node.technique? {
        Technique::Mechanical(technique) => {
            // A unison or a triad is in none.
            if classes_of(&written).len() < 4 {
                return None;
            }
            let own = technique.for_voices(written.len());
            Some(own.is_some() && mechanical_of(&written) == own)
        }
        Technique::Form(_) => Some(node.cost == node.clean),
    }
}
