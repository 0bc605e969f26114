//! The line of voicings that costs least.

use super::answer::Weighed;
use crate::voicing::Voicing;
use std::collections::{BTreeMap, HashSet};

/// What moving from one voicing to the next costs: how far the inner voices go, leaps more.
fn cost_of_moving(from: &[i16], to: &[i16]) -> i32 {
    if from.len() != to.len() {
        return 6;
    }
    let lead = match (from.first(), to.first()) {
        (Some(a), Some(b)) => (a - b).abs(),
        _ => 0,
    };
    from.iter()
        .zip(to)
        .skip(1)
        .map(|(a, b)| {
            let by = (a - b).abs();
            let leap = if by > 12 {
                12
            } else if by > 7 && by > lead {
                4
            } else {
                0
            };
            i32::from(by / 2 + leap)
        })
        .sum()
}

/// The line of voicings that costs least from first to last.
pub(super) fn cheapest(
    options: &[Vec<Weighed>],
    banned: &HashSet<(usize, Voicing)>,
) -> Option<Vec<Weighed>> {
    // For each option of a note: its cost with everything before it, and which came before.
    let mut table: Vec<BTreeMap<usize, (i32, usize)>> = Vec::with_capacity(options.len());
    for (at, here) in options.iter().enumerate() {
        let mut row = BTreeMap::new();
        let before = at
            .checked_sub(1)
            .and_then(|i| Some((table.get(i)?, options.get(i)?)));
        for (index, option) in here.iter().enumerate() {
            if banned.contains(&(at, option.voicing.clone())) {
                continue;
            }
            let own = option.cost * 2;
            let best = match before {
                None => Some((own, 0)),
                Some((costs, list)) => costs
                    .iter()
                    .filter_map(|(i, (cost, _))| {
                        let moved = cost_of_moving(&list.get(*i)?.voicing, &option.voicing);
                        Some((cost + own + moved, *i))
                    })
                    .min(),
            };
            if let Some(best) = best {
                row.insert(index, best);
            }
        }
        if row.is_empty() {
            return None;
        }
        table.push(row);
    }
    let mut line = Vec::with_capacity(options.len());
    let (mut index, _) = table.last()?.iter().min_by_key(|(_, (cost, _))| *cost)?;
    for at in (0..options.len()).rev() {
        line.push(options.get(at)?.get(*index)?.clone());
        index = &table.get(at)?.get(index)?.1;
    }
    line.reverse();
    Some(line)
}
