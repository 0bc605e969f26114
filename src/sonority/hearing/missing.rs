//! A bar that is missing in the middle of a part: up to it the part goes with the others, after it one
//! bar later.

use super::delaying::together_at;
use super::witness::{Line, Witness};
use crate::ground::time::Ticks;
use crate::score::{PartBar, Place, Score, Stretch, StretchFault};

/// How much easier the score must be to understand with the bar put in, in nats.
const GAIN: f32 = 8.0;

/// What a sign of the road map costs that stands in another bar than in the other parts.
const ELSEWHERE: f32 = 5.0;

/// What a chord symbol costs where another part has another one.
const SYMBOL: f32 = 2.0;

/// What a note costs that nobody strikes with.
const ALONE: f32 = 3.0;

/// What a note costs less than when it goes with the others.
const FITS: f32 = super::witness::FITS;

/// The parts that lack one bar, each with the bar.
pub fn bars(score: &Score) -> Vec<Stretch> {
    let mut counts: Vec<usize> = score.parts.iter().map(|p| p.bars.len()).collect();
    counts.retain(|n| *n > 0);
    counts.sort_unstable();
    // What most have: the longest of equal runs in the middle.
    let Some(most) = counts
        .chunk_by(|a, b| a == b)
        .max_by_key(|run| run.len())
        .and_then(|run| Some((*run.first()?, run.len())))
        .filter(|(_, parts)| *parts * 2 > counts.len())
        .map(|(bars, _)| bars)
    else {
        return Vec::new();
    };
    let lacks = |part: &usize| {
        score
            .parts
            .get(*part)
            .is_some_and(|p| p.bars.len() + 1 == most)
    };
    let lacking: Vec<usize> = (0..score.parts.len()).filter(lacks).collect();
    if lacking.is_empty() {
        return Vec::new();
    }
    let witness = Witness::of(score);
    let model = score.parts.iter().position(|p| p.bars.len() == most);
    lacking
        .into_iter()
        .filter_map(|part| missing(score, &witness, part as u32, model?))
        .collect()
}

fn missing(score: &Score, witness: &Witness, part: u32, model: usize) -> Option<Stretch> {
    let own = score.parts.get(part as usize)?;
    let model = score.parts.get(model)?;
    let count = own.bars.len();
    // What each bar costs where it stands, and one bar later.
    let mut stands = vec![0.0f32; count];
    let mut later = vec![0.0f32; count];
    for (bar, own) in own.bars.iter().enumerate() {
        for (costs, at) in [(&mut stands, bar), (&mut later, bar + 1)] {
            if let (Some(cost), Some(there)) = (costs.get_mut(bar), model.bars.get(at)) {
                *cost += signs_apart(own, there);
            }
        }
    }
    for mark in &own.chords {
        let bar = mark.at.bar as usize;
        for (costs, at) in [(&mut stands, bar), (&mut later, bar + 1)] {
            let there = model
                .chords
                .iter()
                .find(|m| m.at.bar as usize == at && m.at.offset == mark.at.offset);
            let same = there.is_some_and(|m| m.value.chord == mark.value.chord);
            if let Some(cost) = costs.get_mut(bar).filter(|_| !same && there.is_some()) {
                *cost += SYMBOL;
            }
        }
    }
    let line = witness.lines.iter().position(|l| l.part == part);
    let notes = line.map_or_else(Vec::new, |line| notes(score, witness, line));
    for note in &notes {
        if let (Some(a), Some(b)) = (stands.get_mut(note.bar), later.get_mut(note.bar)) {
            *a += note.stands;
            *b += note.later;
        }
    }
    // Bars before the missing one where they stand, those after it later.
    let mut cost: f32 = later.iter().sum();
    let (mut best, mut least) = (0, cost);
    for (bar, (stands, later)) in stands.iter().zip(&later).enumerate() {
        cost += stands - later;
        if cost < least - 0.01 {
            (best, least) = (bar + 1, cost);
        }
    }
    // `cost` is now that of a part that lacks its last bar.
    if best >= count || cost - least < GAIN {
        return None;
    }
    let after = notes.iter().filter(|n| n.bar >= best);
    let from = own.notes.partition_point(|n| (n.at.bar as usize) < best);
    Some(Stretch {
        part,
        from: from as u32,
        to: own.notes.len() as u32,
        fault: StretchFault::BarMissing(best as u32),
        compared: after.clone().count(),
        fit: after.clone().filter(|n| n.later < FITS).count(),
        stand: after.filter(|n| n.stands < FITS).count(),
    })
}

/// A note of the part with what it costs where it stands and a bar later.
struct NoteCosts {
    bar: usize,
    stands: f32,
    later: f32,
}

fn notes(score: &Score, witness: &Witness, line: usize) -> Vec<NoteCosts> {
    let own: Option<&Line> = witness.lines.get(line);
    let attacks = own.into_iter().flat_map(|l| &l.attacks);
    attacks
        .map(|attack| {
            let at = score.place_of(attack.onset);
            let next = score.bars.get(at.bar as usize + 1);
            let later = next.map(|b| b.start + at.offset);
            let cost = |onset: Option<Ticks>| {
                let moment = onset.and_then(|t| witness.moment_at(t));
                together_at(witness, line, moment, attack).unwrap_or(ALONE)
            };
            NoteCosts {
                bar: at.bar as usize,
                stands: cost(Some(attack.onset)),
                later: cost(later),
            }
        })
        .collect()
}

/// What the signs of a bar cost beside those of another part's bar.
fn signs_apart(own: &PartBar, there: &PartBar) -> f32 {
    let differ = [
        own.rehearsal != there.rehearsal,
        own.double_bar != there.double_bar,
        own.repeat_start != there.repeat_start,
        own.repeat_end != there.repeat_end,
        own.ending != there.ending,
    ];
    differ.iter().filter(|d| **d).count() as f32 * ELSEWHERE
}

/// Puts the missing bar into a part, empty, so that all after it stands where it is meant.
pub fn put_in(score: &mut Score, part: u32, bar: u32) {
    let model = score
        .parts
        .iter()
        .filter(|p| p.bars.len() > bar as usize)
        .max_by_key(|p| p.bars.len())
        .and_then(|p| p.bars.get(bar as usize));
    let empty = PartBar {
        number: model.map_or_else(String::new, |b| b.number.clone()),
        filled: model.map_or(Ticks::ZERO, |b| b.filled),
        uncounted: model.is_some_and(|b| b.uncounted),
        ..PartBar::default()
    };
    let Some(part) = score.parts.get_mut(part as usize) else {
        return;
    };
    if bar as usize > part.bars.len() {
        return;
    }
    part.bars.insert(bar as usize, empty);
    let later = |at: &mut Place| {
        if at.bar >= bar {
            at.bar += 1;
        }
    };
    part.notes.iter_mut().for_each(|n| later(&mut n.at));
    part.rests.iter_mut().for_each(|r| later(&mut r.at));
    part.keys.iter_mut().for_each(|m| later(&mut m.at));
    part.meters.iter_mut().for_each(|m| later(&mut m.at));
    part.clefs.iter_mut().for_each(|m| later(&mut m.at));
    let transpositions = part.transpositions.iter_mut();
    transpositions.for_each(|m| later(&mut m.at));
    part.words.iter_mut().for_each(|m| later(&mut m.at));
    part.loose_slurs.iter_mut().for_each(|m| later(&mut m.at));
    part.dynamics.iter_mut().for_each(|m| later(&mut m.at));
    part.hairpins.iter_mut().for_each(|m| later(&mut m.at));
    part.pedals.iter_mut().for_each(|m| later(&mut m.at));
    part.impossible.iter_mut().for_each(|m| later(&mut m.at));
    part.chords.iter_mut().for_each(|m| later(&mut m.at));
    part.tempos.iter_mut().for_each(|m| later(&mut m.at));
    score.lay_out();
}
