//! Judges one sonority that is held to a mechanical technique: by the cheapest of all its readings.

use super::account::{Account, Reading, Says};
use super::case::Case;
use super::right;
use super::slips;
use crate::ground::chord::Family;
use crate::voicing::{Way, mechanical_of};

/// The account of a sonority.
pub(super) fn judge(case: &Case<'_>) -> Account {
    match at_once(case) {
        Some(reading) => Account::cheapest(case, &[reading]),
        None => Account::cheapest(case, &readings(case)),
    }
}

/// What a sonority costs that is right and usual, as most are.
pub(super) fn plain(case: &Case<'_>) -> Option<i32> {
    at_once(case).map(|r| r.cost)
}

/// The reading of a sonority that candidates of the notes written are enough for. All others are needed
/// only where it may not be right.
fn at_once<'a>(case: &Case<'a>) -> Option<Reading<'a>> {
    (case.has_chord() && !case.is_one_note())
        .then(|| right::of_own_notes(case))
        .flatten()
}

/// Every reading of a sonority.
pub(super) fn readings<'a>(case: &Case<'a>) -> Vec<Reading<'a>> {
    let costs = case.judging.costs;
    let mut readings = Vec::new();
    if case.is_one_note() {
        readings.push(Reading::left_alone(0));
        return readings;
    }
    readings.push(Reading::left_alone(case.cost_of_free_writing()));
    let Some(chord) = case.chord().filter(|_| case.has_chord()) else {
        if mechanical_of(&case.written) == Some(case.technique) {
            readings.push(Reading {
                says: Says::Right(None),
                ..Reading::left_alone(case.cost_of_places())
            });
        }
        slips::shape::add(case, &mut readings);
        return readings;
    };
    if right::plain_triad(case, chord) {
        readings.push(Reading::right(0, Way::Chord, 0));
    }
    let at_top = case.candidates(case.top(), 0);
    right::add(case, &at_top, &mut readings);
    let least = readings.iter().map(|r| r.cost).min();
    // No slip is cheaper than what is right and usual.
    if least.is_some_and(|least| least <= costs.harmony.complete) {
        return readings;
    }
    for add in slips::ALL {
        add(case, &at_top, &mut readings);
    }
    readings
}

impl Case<'_> {
    /// Whether there is a chord symbol to read it under.
    fn has_chord(&self) -> bool {
        self.chord().is_some_and(|c| c.family() != Family::Other)
    }
}
