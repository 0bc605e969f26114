//! Slips that the shape alone shows, without a chord symbol: the technique's own pattern of drops and
//! doubling, with one voice out of it.

use super::build::VoiceOff;
use crate::diagnosis::account::{Meant, Reading, Says};
use crate::diagnosis::case::Case;
use crate::diagnosis::fault::difference;
use crate::diagnosis::outcome::SlipKind;
use crate::ground::pitch::PitchClass;
use crate::voicing::{Classes, Mechanical, Voicing, close_position, mechanical_of};

/// Adds every reading that the shape allows.
pub(in crate::diagnosis) fn add<'a>(case: &Case<'a>, readings: &mut Vec<Reading<'a>>) {
    other_drop(case, readings);
    octave(case, readings);
    doubling(case, readings);
}

fn slip<'a>(kind: SlipKind, voicing: Voicing, cost: i32) -> Reading<'a> {
    Reading {
        cost,
        says: Says::Slip(Meant {
            kind,
            harmony: None,
            voicing,
        }),
        chord: 0,
        approach: None,
    }
}

/// The same notes with other voices dropped.
fn other_drop<'a>(case: &Case<'a>, readings: &mut Vec<Reading<'a>>) {
    let costs = &case.judging.costs.slip;
    let Some(found) = mechanical_of(&case.written) else {
        return;
    };
    let Some(close) = close_position(case.top(), &case.classes()) else {
        return;
    };
    let cost = if Mechanical::ALL.contains(&found) {
        costs.other_drop
    } else {
        costs.odd_drop
    };
    let expected = case.technique.apply(&close);
    if expected != case.written {
        let cost = cost + case.cost_of_places();
        readings.push(slip(SlipKind::OtherDrop(found), expected, cost));
    }
}

/// One voice an octave or two from its place.
fn octave<'a>(case: &Case<'a>, readings: &mut Vec<Reading<'a>>) {
    let costs = &case.judging.costs.slip;
    for at in 0..case.written.len() {
        for octaves in [12, -12, 24, -24] {
            let mut moved = Voicing::from_slice(&case.written);
            if let Some(voice) = moved.get_mut(at) {
                *voice += octaves;
            }
            moved.sort_unstable_by(|a, b| b.cmp(a));
            if mechanical_of(&moved) != Some(case.technique) {
                continue;
            }
            // The lead is the tune: it is the last to be doubted.
            let tune = i32::from(moved.first() != case.written.first());
            let seats = case.cost_of_seats(&moved);
            let cost = costs.octave + tune * 3 + seats;
            readings.push(slip(SlipKind::WrongOctave, moved, cost));
        }
    }
}

/// The voice that should double the lead is on another note.
fn doubling<'a>(case: &Case<'a>, readings: &mut Vec<Reading<'a>>) {
    if !case.technique.doubles_lead() {
        return;
    }
    let Some(&lead) = case.written.first() else {
        return;
    };
    for at in 1..case.written.len() {
        let mut four = Voicing::from_slice(&case.written);
        four.remove(at);
        let classes: Classes = four.iter().map(|&m| PitchClass::new(m)).collect();
        let right = close_position(lead, &classes).map(|close| case.technique.apply(&close));
        let Some(right) = right.filter(|r| *r != case.written) else {
            continue;
        };
        let off = difference(&case.written, &right);
        if let ([found], [wanted]) = (off.extra.as_slice(), off.missing.as_slice()) {
            let off = VoiceOff {
                found: *found,
                wanted: *wanted,
            };
            // The nearest voice, in the place of the doubling, is the one that should have it.
            let moved = right.get(at) != Some(wanted);
            let near = i32::from((found - wanted).abs()) + if moved { 4 } else { 0 };
            let cost = case.cost_of_doubling(off) + case.cost_of_places() + near;
            readings.push(slip(SlipKind::LeadDoubling, right, cost));
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn without_symbols_the_shape_is_judged() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | .  -  -  -  |
             count | 1  2  3  4  |
             1     | A4 A4 F4 A4 |
             2     | F4 D4 D4 F4 |
             3     | D4 C4 C4 D4 |
             4     | C4 F3 A3 D4 |",
        );
        assert_eq!(passage.account(1, 1.0), "right");
        assert_eq!(passage.account(1, 2.0), "OtherDrop(Drop2), 4 F3 for F4");
        assert_eq!(passage.account(1, 4.0), "left alone");
    }

    #[test]
    fn the_doubling_and_an_octave_are_judged_without_symbols() {
        let passage = DiagnosedGrid::new(
            "technique: doubled lead
             chord | .  -   -  |
             count | 1  2   3  |
             1     | A4 C5  F4 |
             2     | F4 A4  D4 |
             3     | D4 F4  C4 |
             4     | C4 D4  A2 |
             5     | A3 Bb3 F3 |",
        );
        assert_eq!(passage.account(1, 2.0), "LeadDoubling, 5 Bb3 for C4");
        assert_eq!(passage.account(1, 3.0), "WrongOctave, 4 A2 for A3");
    }
}
