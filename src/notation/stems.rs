//! Stems: by the middle line, or away from the other voice of the staff.

use super::clefs::middle_line;
use super::event::{Beam, EventKind, PrintedEvent, PrintedVoice, Stem};
use super::note_value::NoteValue;
use super::quarters::Quarters;
use crate::score::Clef;
use std::collections::HashMap;
use std::ops::Range;

/// Gives stems to the voices of a bar: by the middle line, but with two voices on a staff those of the
/// upper one go up. `clef` gives the clef of a staff at a time of the bar.
pub(super) fn set_all(voices: &mut [PrintedVoice], clef: &impl Fn(u8, Quarters) -> Clef) {
    let on_staff = voices_by_staff(voices);
    for (n, voice) in voices.iter_mut().enumerate() {
        for range in groups(&voice.events) {
            let Some(group) = voice.events.get_mut(range) else {
                break;
            };
            let Some(staff) = group.first().map(|p| p.staff) else {
                continue;
            };
            let others = on_staff.get(&staff).map_or(&[][..], Vec::as_slice);
            let alone = others.len() < 2;
            let place = others.iter().position(|v| *v == n).unwrap_or(0);
            let direction = if alone {
                by_middle_line(group, &|at| clef(staff, at))
            } else if place % 2 == 0 {
                Stem::Up
            } else {
                Stem::Down
            };
            for event in group {
                if !event.is_rest() && event.value.is_some_and(NoteValue::has_stem) {
                    // Where no other voice is in the way, a grace note's goes up by custom.
                    let up = event.kind == EventKind::Grace && alone;
                    event.stem = Some(if up { Stem::Up } else { direction });
                }
            }
        }
    }
}

/// For each staff the voices with notes on it, from the top, as indices.
fn voices_by_staff(voices: &[PrintedVoice]) -> HashMap<u8, Vec<usize>> {
    let mut on_staff: HashMap<u8, Vec<usize>> = HashMap::new();
    for (n, voice) in voices.iter().enumerate() {
        for event in voice.events.iter().filter(|p| !p.is_rest()) {
            let list = on_staff.entry(event.staff).or_default();
            if !list.contains(&n) {
                list.push(n);
            }
        }
    }
    on_staff
}

/// The events that share a direction: those under one beam, each other one alone.
fn groups(events: &[PrintedEvent]) -> Vec<Range<usize>> {
    let mut out = Vec::new();
    let mut i = 0;
    while let Some(first) = events.get(i) {
        let mut end = i + 1;
        if first.beams.first() == Some(&Beam::Begin) {
            let grace = first.kind == EventKind::Grace;
            while let Some(event) = events.get(end) {
                end += 1;
                let own = (event.kind == EventKind::Grace) == grace;
                if own && event.beams.first() == Some(&Beam::End) {
                    break;
                }
            }
        }
        out.push(i..end);
        i = end;
    }
    out
}

/// Down where the outer noteheads lie on the middle line or, taken together, above it.
fn by_middle_line(group: &[PrintedEvent], clef: &impl Fn(Quarters) -> Clef) -> Stem {
    let positions = group.iter().flat_map(|p| {
        let middle = middle_line(clef(p.start));
        p.heads.iter().map(move |h| h.pitch.diatonic() - middle)
    });
    let (low, high) = positions.fold((i16::MAX, i16::MIN), |(l, h), p| (l.min(p), h.max(p)));
    if i32::from(low) + i32::from(high) >= 0 {
        Stem::Down
    } else {
        Stem::Up
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::{Notehead, ZERO, values};
    use num_rational::Ratio;

    const TREBLE: Clef = Clef {
        sign: 'G',
        line: 2,
        octave: 0,
        staff: 1,
    };

    fn chord(start: Quarters, length: Quarters, pitches: &[&str]) -> PrintedEvent {
        let mut event = PrintedEvent::new(start, length, EventKind::Note, 1);
        event.heads = pitches
            .iter()
            .map(|pitch| Notehead {
                note: 0,
                pitch: pitch.parse().unwrap(),
                tie_in: false,
                tie_out: false,
                first: true,
                last: true,
                accidental: None,
                staff: 1,
            })
            .collect();
        event
    }

    fn voice(number: u8, mut events: Vec<PrintedEvent>) -> PrintedVoice {
        values::set_all(&mut events);
        PrintedVoice {
            number,
            events,
            overlap: 0,
        }
    }

    fn stems(voices: &mut [PrintedVoice]) -> Vec<Option<Stem>> {
        set_all(voices, &|_, _| TREBLE);
        let events = voices.iter().flat_map(|v| &v.events);
        events.map(|p| p.stem).collect()
    }

    // Common practice, no source: the note farthest from the middle line decides, down where both
    // sides are equal.
    #[test]
    fn the_farthest_note_decides() {
        let quarter = |pitches: &[&str]| {
            let one = Ratio::from_integer(1);
            stems(&mut [voice(1, vec![chord(ZERO, one, pitches)])])[0]
        };
        assert_eq!(quarter(&["A4"]), Some(Stem::Up));
        assert_eq!(quarter(&["B4"]), Some(Stem::Down));
        assert_eq!(quarter(&["G4", "D5"]), Some(Stem::Down));
        assert_eq!(quarter(&["F4", "D5"]), Some(Stem::Up));
    }

    #[test]
    fn wholes_and_rests_have_no_stem() {
        let whole = chord(ZERO, Ratio::from_integer(4), &["A4"]);
        let rest = chord(ZERO, Ratio::from_integer(1), &[]);
        let rest = PrintedEvent {
            kind: EventKind::Rest,
            ..rest
        };
        assert_eq!(stems(&mut [voice(1, vec![whole])]), [None]);
        assert_eq!(stems(&mut [voice(1, vec![rest])]), [None]);
    }

    #[test]
    fn two_voices_of_a_staff_turn_away_from_each_other() {
        let one = Ratio::from_integer(1);
        let upper = voice(1, vec![chord(ZERO, one, &["E5"])]);
        let lower = voice(2, vec![chord(ZERO, one, &["F4"])]);
        let found = stems(&mut [upper, lower]);
        assert_eq!(found, [Some(Stem::Up), Some(Stem::Down)]);
    }

    #[test]
    fn a_beam_has_one_direction() {
        let half = Ratio::new(1, 2);
        let mut events = vec![chord(ZERO, half, &["C4"]), chord(half, half, &["C5"])];
        events[0].beams = vec![Beam::Begin];
        events[1].beams = vec![Beam::End];
        let found = stems(&mut [voice(1, events)]);
        assert_eq!(found, [Some(Stem::Up); 2]);
    }
}
