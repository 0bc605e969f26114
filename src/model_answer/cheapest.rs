//! The line of voicings that costs least.

use super::answer::Weighed;
use crate::voicing::Voicing;
use std::collections::HashSet;

/// What is not taken: voicings at a note that the rules found fault with.
pub(super) type Banned = HashSet<(usize, Voicing)>;

/// A voicing's own cost counts so many times the cost of moving a voice.
const OWN: i32 = 2;
/// A leap of an inner voice over a fifth while the lead goes by step.
const LEAP_UNDER_A_STEP: i32 = 20;
/// A leap of an inner voice over a fifth that is wider than the lead's.
const LEAP: i32 = 4;
/// A leap over an octave.
const WIDE_LEAP: i32 = 12;
/// An inner note that is struck again under a lead that moves.
const REPEAT: i32 = 2;
/// Another technique than before, or a way out after none.
const CHANGE: i32 = 6;
/// Two voices alone that go on in octaves.
const BARE_OCTAVES: i32 = 12;
/// Two voices alone that go on in perfect fifths.
const BARE_FIFTHS: i32 = 4;

/// What a voicing costs by itself in a line.
pub(super) const fn own_cost(option: &Weighed) -> i32 {
    option.cost * OWN
}

/// What moving from one voicing to the next costs: how far the inner voices go, leaps and repetitions more.
pub(super) fn cost_of_moving(before: &Weighed, after: &Weighed) -> i32 {
    let (from, to) = (&before.voicing, &after.voicing);
    if from.len() != to.len() {
        return CHANGE;
    }
    let lead = match (from.first(), to.first()) {
        (Some(a), Some(b)) => (a - b).abs(),
        _ => 0,
    };
    let change = before.technique != after.technique || before.way_out != after.way_out;
    let mut cost = if change { CHANGE } else { 0 };
    for (a, b) in from.iter().zip(to).skip(1) {
        let by = (a - b).abs();
        cost += i32::from(by / 2);
        cost += match by {
            0 if lead > 0 => REPEAT,
            0..=7 => 0,
            _ if lead <= 2 => LEAP_UNDER_A_STEP,
            13.. => WIDE_LEAP,
            _ if by > lead => LEAP,
            _ => 0,
        };
    }
    if let ([a, b], [c, d]) = (from.as_slice(), to.as_slice())
        && lead > 0
    {
        cost += match ((a - b) % 12, (c - d) % 12) {
            (0, 0) => BARE_OCTAVES,
            (7, 7) => BARE_FIFTHS,
            _ => 0,
        };
    }
    cost
}

/// The line of voicings that costs least from first to last.
pub(super) fn cheapest(options: &[Vec<Weighed>], banned: &Banned) -> Option<Vec<Weighed>> {
    // For each note and each option that may be taken: its index, its cost with everything before it, and the
    // place in the row before that it comes from.
    let mut table: Vec<Vec<(usize, i32, usize)>> = Vec::with_capacity(options.len());
    for (at, here) in options.iter().enumerate() {
        let before = at
            .checked_sub(1)
            .and_then(|i| Some((table.get(i)?, options.get(i)?)));
        let mut row = Vec::with_capacity(here.len());
        for (index, option) in here.iter().enumerate() {
            if !banned.is_empty() && banned.contains(&(at, option.voicing.clone())) {
                continue;
            }
            let own = own_cost(option);
            let best = match before {
                None => Some((own, 0)),
                Some((costs, list)) => costs
                    .iter()
                    .enumerate()
                    .filter_map(|(place, (i, cost, _))| {
                        let moved = cost_of_moving(list.get(*i)?, option);
                        Some((cost + own + moved, place))
                    })
                    .min(),
            };
            if let Some((cost, place)) = best {
                row.push((index, cost, place));
            }
        }
        if row.is_empty() {
            return None;
        }
        table.push(row);
    }
    let last = table.last()?.iter().enumerate();
    let (mut place, _) = last.min_by_key(|(_, (_, cost, _))| *cost)?;
    let mut line = Vec::with_capacity(options.len());
    for at in (0..options.len()).rev() {
        let (index, _, before) = table.get(at)?.get(place)?;
        line.push(options.get(at)?.get(*index)?.clone());
        place = *before;
    }
    line.reverse();
    Some(line)
}
