//! The cheapest way to read the notes of a part, where each may be read in several ways.

use super::witness::Line;
use crate::ground::time::Ticks;
use crate::score::Score;

/// Whether no rest stands before an attack.
pub fn follows(own: &Line, index: usize) -> bool {
    let before = index.checked_sub(1).and_then(|i| own.attacks.get(i));
    let here = own.attacks.get(index);
    before.zip(here).is_some_and(|(b, a)| b.end >= a.onset)
}

/// What starting to read otherwise costs before an attack: less at a bar line and after a rest.
pub fn border(score: &Score, own: &Line, index: usize) -> f32 {
    let Some(attack) = own.attacks.get(index) else {
        return 0.0;
    };
    let at = score.place_of(attack.onset);
    match (at.offset == Ticks::ZERO, !follows(own, index)) {
        (true, true) => 2.0,
        (true, false) | (false, true) => 2.5,
        (false, false) => 4.0,
    }
}

/// How much of a change it costs to read on as the notes stand.
const BACK: f32 = 0.4;

/// The cheapest way through readings, by dynamic programming over the attacks: `costs[i][s]` is
/// what attack `i` costs in reading `s`.
pub fn cheapest<const N: usize>(
    costs: &[[f32; N]],
    borders: impl Fn(usize) -> f32,
    prior: impl Fn(usize) -> f32,
) -> Vec<usize> {
    let mut total = [f32::INFINITY; N];
    total[0] = 0.0;
    let mut from: Vec<[usize; N]> = Vec::with_capacity(costs.len());
    for (index, cost) in costs.iter().enumerate() {
        let change = borders(index);
        let mut next = [f32::INFINITY; N];
        let mut back = [0; N];
        let cheapest = (0..N)
            .min_by(|a, b| total[*a].total_cmp(&total[*b]))
            .unwrap_or(0);
        for s in 0..N {
            let stay = total[s];
            let come = total[cheapest]
                + if s == 0 {
                    change * BACK
                } else {
                    change + prior(s)
                };
            let first = index == 0 && s > 0;
            let (best, origin) = if come < stay || first {
                (come, cheapest)
            } else {
                (stay, s)
            };
            next[s] = best + cost[s];
            back[s] = origin;
        }
        total = next;
        from.push(back);
    }
    let mut at = (0..N)
        .min_by(|a, b| total[*a].total_cmp(&total[*b]))
        .unwrap_or(0);
    let mut path = vec![0; costs.len()];
    for (index, back) in from.iter().enumerate().rev() {
        path[index] = at;
        at = back[at];
    }
    path
}

/// The runs of one reading other than as it stands, cut down to the attacks that say something.
pub fn runs(
    path: &[usize],
    says: impl Fn(usize) -> bool,
    held_on: impl Fn(usize) -> bool,
) -> Vec<(usize, usize, usize)> {
    let mut runs = Vec::new();
    let mut start = 0;
    while start < path.len() {
        let state = path[start];
        let mut end = start;
        while path.get(end) == Some(&state) {
            end += 1;
        }
        if state != 0 {
            let first = (start..end).find(|i| says(*i));
            let last = (start..end).rev().find(|i| says(*i));
            if let (Some(mut first), Some(mut last)) = (first, last) {
                // Notes that say nothing go with the phrase.
                while first > start && held_on(first) {
                    first -= 1;
                }
                while last + 1 < end && held_on(last + 1) {
                    last += 1;
                }
                runs.push((state, first, last + 1));
            }
        }
        start = end;
    }
    runs
}

/// The note after the last one of an attack.
pub fn last_note(score: &Score, own: &Line, to: usize) -> Option<u32> {
    let part = score.parts.get(own.part as usize)?;
    let end = own.attacks.get(to.checked_sub(1)?)?.end;
    Some(part.notes.partition_point(|n| n.onset < end) as u32)
}
