//! Accidentals: where neither the bar nor the key signature states the alteration already.
//!
//! An accidental holds for its line or space, on its staff, to the end of the bar. A note tied in from
//! before has its accidental at the first of the tied notes.

use super::event::{EventKind, PrintedVoice};
use super::quarters::Quarters;
use std::collections::HashMap;

/// Puts accidentals before the noteheads of a bar. `fifths` is the printed key signature at a time of
/// the bar: sharps, or flats when negative.
pub(super) fn set_all(voices: &mut [PrintedVoice], fifths: &impl Fn(Quarters) -> i8) {
    let mut in_force: HashMap<(u8, i16), i8> = HashMap::new();
    let mut key = None;
    for at in reading_order(voices) {
        let now = fifths(at.start);
        if key != Some(now) {
            in_force.clear();
            key = Some(now);
        }
        let head = voices
            .get_mut(at.voice)
            .and_then(|voice| voice.events.get_mut(at.event))
            .and_then(|event| event.heads.get_mut(at.head));
        let Some(head) = head.filter(|h| !h.tie_in) else {
            continue;
        };
        let place = (head.staff, head.pitch.diatonic());
        let before = in_force
            .get(&place)
            .copied()
            .unwrap_or_else(|| head.pitch.step.altered_by_key(now));
        if before != head.pitch.alter {
            head.accidental = Some(head.pitch.alter);
            in_force.insert(place, head.pitch.alter);
        }
    }
}

/// The place of a notehead among the voices of a bar; indices are 0-based.
struct HeadPlace {
    start: Quarters,
    voice: usize,
    event: usize,
    head: usize,
}

/// All noteheads of a bar in the order in which they are read; grace notes before what they lead to.
fn reading_order(voices: &[PrintedVoice]) -> Vec<HeadPlace> {
    let mut order: Vec<(bool, HeadPlace)> = Vec::new();
    for (v, voice) in voices.iter().enumerate() {
        for (e, event) in voice.events.iter().enumerate() {
            for head in 0..event.heads.len() {
                let place = HeadPlace {
                    start: event.start,
                    voice: v,
                    event: e,
                    head,
                };
                order.push((event.kind != EventKind::Grace, place));
            }
        }
    }
    order.sort_by_key(|(struck, place)| (place.start, *struck));
    order.into_iter().map(|(_, place)| place).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::{Notehead, PrintedEvent, ZERO};
    use num_rational::Ratio;

    /// The accidentals of a bar's quarters in a key; `~` before a pitch ties it in from before.
    fn accidentals(pitches: &[&str], fifths: impl Fn(Quarters) -> i8) -> Vec<Option<i8>> {
        let mut at = ZERO;
        let mut events = Vec::new();
        for pitch in pitches {
            let mut event = PrintedEvent::new(at, Ratio::from_integer(1), EventKind::Note, 1);
            event.heads.push(Notehead {
                note: 0,
                pitch: pitch.trim_start_matches('~').parse().unwrap(),
                tie_in: pitch.starts_with('~'),
                tie_out: false,
                first: true,
                last: true,
                accidental: None,
                staff: 1,
            });
            at = event.end();
            events.push(event);
        }
        let mut voices = [PrintedVoice {
            number: 1,
            events,
            overlap: 0,
        }];
        set_all(&mut voices, &fifths);
        let [voice] = &voices;
        voice.events.iter().map(|p| p.heads[0].accidental).collect()
    }

    // Common practice, no source.
    #[test]
    fn an_accidental_holds_in_its_octave_to_the_end_of_the_bar() {
        let in_g = |pitches: &[&str]| accidentals(pitches, |_| 1);
        assert_eq!(
            in_g(&["F4", "F4", "F5", "F#4"]),
            [Some(0), None, Some(0), Some(1)]
        );
        assert_eq!(in_g(&["F#4", "Bb4", "C5"]), [None, Some(-1), None]);
    }

    #[test]
    fn a_tied_note_needs_no_accidental_and_puts_none_in_force() {
        assert_eq!(accidentals(&["~F#4", "F#4"], |_| 0), [None, Some(1)]);
    }

    #[test]
    fn a_new_key_signature_forgets_the_accidentals_of_the_old_one() {
        let key = |at: Quarters| i8::from(at >= Ratio::from_integer(1));
        assert_eq!(accidentals(&["F#4", "F#4"], key), [Some(1), None]);
        assert_eq!(accidentals(&["F4", "F4"], key), [None, Some(0)]);
    }
}
