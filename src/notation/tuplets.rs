//! Tuplets: neighbouring notes whose times no halving of the beat reaches.

use super::event::{Beam, EventKind, PrintedEvent};
use super::quarters::{Quarters, ZERO};
use crate::ground::time::{checked_lcm, gcd};
use num_rational::Ratio;
use std::ops::Range;

/// The odd factor of a number.
fn odd(mut n: i64) -> i64 {
    n = n.abs().max(1);
    n >> n.trailing_zeros()
}

/// Whether halving quarters reaches a time.
pub(super) fn is_binary(at: Quarters) -> bool {
    odd(*at.denom()) == 1
}

/// The least common multiple, `a` when it would overflow.
pub(crate) fn lcm(a: i64, b: i64) -> i64 {
    checked_lcm(a, b).unwrap_or(a).max(1)
}

/// The longest length of which all events are multiples.
pub(super) fn common_step(group: &[PrintedEvent]) -> Option<Quarters> {
    let lengths = group.iter().map(|p| p.length);
    lengths.reduce(|a, b| {
        let below = lcm(*a.denom(), *b.denom());
        let up = |q: Quarters| (q * below).to_integer();
        Ratio::new(gcd(up(a), up(b)), below)
    })
}

/// The tuplets among the events of a voice: the range of each.
pub(super) fn find(events: &[PrintedEvent]) -> Vec<Range<usize>> {
    let mut groups = Vec::new();
    let mut i = 0;
    while let Some(event) = events.get(i) {
        let whole = is_binary(event.start) && is_binary(event.end());
        if event.length == ZERO || event.kind == EventKind::BarRest || whole {
            i += 1;
            continue;
        }
        let from = i;
        let mut at = event.end();
        i += 1;
        while let Some(next) = events.get(i) {
            if is_binary(at) || next.start != at {
                break;
            }
            at = next.end();
            i += 1;
        }
        groups.push(from..i);
    }
    groups
}

/// How many notes stand in the time of how many: (3, 2) for a triplet.
pub(super) fn ratio(group: &[PrintedEvent]) -> Option<(i64, i64)> {
    let actual = group.iter().fold(1, |k, p| {
        lcm(k, lcm(odd(*p.length.denom()), odd(*p.start.denom())))
    });
    // Nobody plays finer ones: such lengths come from files whose durations do not add up.
    if !(3..=15).contains(&actual) {
        return None;
    }
    let mut normal = 1;
    while normal * 2 < actual {
        normal *= 2;
    }
    Some((actual, normal))
}

/// Marks the events of each tuplet, its start and its end.
pub(super) fn mark(events: &mut [PrintedEvent]) {
    for range in find(events) {
        let Some(group) = events.get_mut(range) else {
            continue;
        };
        let Some(tuplet) = ratio(group) else { continue };
        for event in group.iter_mut() {
            event.tuplet = Some(tuplet);
        }
        if let Some(first) = group.first_mut() {
            first.tuplet_start = true;
        }
        if let Some(last) = group.last_mut() {
            last.tuplet_stop = true;
        }
    }
}

/// Gives brackets to tuplets. One whose notes one beam holds together needs none.
pub(super) fn set_brackets(events: &mut [PrintedEvent]) {
    for range in find(events) {
        let Some(group) = events.get_mut(range) else {
            continue;
        };
        let first = group.first().and_then(|p| p.beams.first()).copied();
        let last = group.last().and_then(|p| p.beams.first()).copied();
        let inside = group
            .iter()
            .skip(1)
            .take(group.len().saturating_sub(2))
            .all(|p| p.beams.first() == Some(&Beam::Continue));
        let beamed = first == Some(Beam::Begin) && last == Some(Beam::End) && inside;
        if let Some(first) = group.first_mut() {
            first.bracket = !beamed;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Notes one after the other, each of so many parts of a quarter.
    fn row(lengths: &[(i64, i64)]) -> Vec<PrintedEvent> {
        let mut at = ZERO;
        let mut out = Vec::new();
        for (n, d) in lengths {
            let event = PrintedEvent::new(at, Ratio::new(*n, *d), EventKind::Note, 1);
            at = event.end();
            out.push(event);
        }
        out
    }

    #[test]
    fn a_triplet_ends_where_halving_reaches_again() {
        let events = row(&[(1, 1), (1, 3), (1, 3), (1, 3), (1, 2), (1, 2)]);
        assert_eq!(find(&events), std::slice::from_ref(&(1..4)));
        assert_eq!(ratio(&events[1..4]), Some((3, 2)));
        let unequal = row(&[(2, 3), (1, 3)]);
        assert_eq!(find(&unequal), std::slice::from_ref(&(0..2)));
        assert_eq!(common_step(&unequal), Some(Ratio::new(1, 3)));
    }

    // Common practice, no source: five in the time of four, six as two triplets, seven in four.
    #[test]
    fn ratios_of_tuplets() {
        assert_eq!(ratio(&row(&[(1, 5); 5])), Some((5, 4)));
        assert_eq!(ratio(&row(&[(1, 6); 6])), Some((3, 2)));
        assert_eq!(ratio(&row(&[(1, 7); 7])), Some((7, 4)));
        assert_eq!(ratio(&row(&[(1, 17); 17])), None);
    }

    #[test]
    fn a_beam_over_the_whole_tuplet_saves_the_bracket() {
        let mut events = row(&[(1, 3), (1, 3), (1, 3)]);
        mark(&mut events);
        assert!(events[0].tuplet_start && events[2].tuplet_stop);
        set_brackets(&mut events);
        assert!(events[0].bracket);
        for (event, beam) in events
            .iter_mut()
            .zip([Beam::Begin, Beam::Continue, Beam::End])
        {
            event.beams = vec![beam];
        }
        set_brackets(&mut events);
        assert!(!events[0].bracket);
    }
}
