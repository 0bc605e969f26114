//! Long notes and rests cut into several: tied notes, or rests that show the beats.

use super::beats::Beats;
use super::event::{EventKind, PrintedEvent};
use super::note_value::{NoteValue, largest_below};
use super::quarters::{Quarters, ZERO};
use super::tuplets::{self, is_binary};
use num_rational::Ratio;
use std::collections::BTreeMap;

/// Cuts events that are no single value or hide a beat, until nothing is left to cut.
pub(super) fn cut_all(mut events: Vec<PrintedEvent>, beats: &Beats) -> Vec<PrintedEvent> {
    for _ in 0..64 {
        let cuts = find_cuts(&events, beats);
        if cuts.is_empty() {
            break;
        }
        events = events
            .into_iter()
            .enumerate()
            .flat_map(|(i, event)| match cuts.get(&i) {
                Some(at) if *at > event.start && *at < event.end() => event.cut(*at).to_vec(),
                _ => vec![event],
            })
            .collect();
    }
    events
}

/// The next cut of each event that needs one, by index: at most one in a tuplet.
fn find_cuts(events: &[PrintedEvent], beats: &Beats) -> BTreeMap<usize, Quarters> {
    let mut cuts: BTreeMap<usize, Quarters> = BTreeMap::new();
    let groups = tuplets::find(events);
    for range in &groups {
        let cut = events
            .get(range.clone())
            .and_then(|group| cut_in_tuplet(group, beats));
        if let Some((i, at)) = cut {
            cuts.insert(range.start + i, at);
        }
    }
    for (i, event) in events.iter().enumerate() {
        let plain = matches!(
            event.kind,
            EventKind::Note | EventKind::Cue | EventKind::Rest
        ) && event.length > ZERO
            && !groups.iter().any(|g| g.contains(&i));
        if plain && let Some(at) = beats.cut(event) {
            cuts.insert(i, at);
        }
    }
    cuts
}

/// The first event of a tuplet that must be cut, and where: at a beat, or after its largest value.
fn cut_in_tuplet(group: &[PrintedEvent], beats: &Beats) -> Option<(usize, Quarters)> {
    let start = group.first()?.start;
    let step = tuplets::common_step(group)?;
    let tuplet = tuplets::ratio(group);
    for (i, event) in group.iter().enumerate() {
        let next = beats.next_beat(event.start);
        if next < event.end() && ((next - start) / step).is_integer() {
            return Some((i, next));
        }
        let Some((actual, normal)) = tuplet else {
            continue;
        };
        let nominal = event.length * Ratio::new(actual, normal);
        if NoteValue::of(nominal).is_none()
            && let Some(value) = largest_below(nominal)
        {
            return Some((i, event.start + value * Ratio::new(normal, actual)));
        }
    }
    None
}

/// Joins neighbouring rests, so that they can be divided as the meter wants.
pub(super) fn join_rests(events: Vec<PrintedEvent>) -> Vec<PrintedEvent> {
    let mut out: Vec<PrintedEvent> = Vec::with_capacity(events.len());
    for event in events {
        if let Some(last) = out.last_mut()
            && last.kind == EventKind::Rest
            && event.kind == EventKind::Rest
            && last.staff == event.staff
            && last.end() == event.start
            && is_binary(last.start)
            && is_binary(last.end())
            && is_binary(event.end())
        {
            last.length += event.length;
            continue;
        }
        out.push(event);
    }
    out
}

/// A rest that fills a bar is a bar's rest; in a pickup it keeps its value.
pub(super) fn bar_rest(
    mut events: Vec<PrintedEvent>,
    beats: &Beats,
    filled: Quarters,
) -> Vec<PrintedEvent> {
    if let [only] = events.as_mut_slice()
        && only.kind == EventKind::Rest
        && only.start == ZERO
        && !beats.pickup
        && (only.length == beats.full || only.length == filled)
    {
        only.kind = EventKind::BarRest;
    }
    events
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::time::Meter;

    fn common_time() -> Beats {
        Beats::new(Meter::COMMON, Ratio::from_integer(4), false)
    }

    /// The events of a voice that starts at the bar line, as kind and length in 24ths of a quarter.
    fn voice(lengths: &[(EventKind, i64)]) -> Vec<PrintedEvent> {
        let mut at = ZERO;
        let mut out = Vec::new();
        for (kind, length) in lengths {
            let event = PrintedEvent::new(at, Ratio::new(*length, 24), *kind, 1);
            at = event.end();
            out.push(event);
        }
        out
    }

    fn lengths(events: &[PrintedEvent]) -> Vec<i64> {
        let in_24ths = |p: &PrintedEvent| (p.length * 24).to_integer();
        events.iter().map(in_24ths).collect()
    }

    #[test]
    fn a_note_of_five_eighths_is_two_tied_ones() {
        let note = voice(&[(EventKind::Note, 60), (EventKind::Note, 36)]);
        let cut = cut_all(note, &common_time());
        assert_eq!(lengths(&cut), [48, 12, 36]);
    }

    #[test]
    fn a_long_note_of_a_triplet_is_cut_at_the_beat() {
        // A quarter of a triplet, then two thirds of a beat held into the next one.
        let notes = [8, 32, 8].map(|length| (EventKind::Note, length));
        let cut = cut_all(voice(&notes), &common_time());
        assert_eq!(lengths(&cut), [8, 16, 16, 8]);
    }

    #[test]
    fn rests_are_joined_and_then_divided_by_the_meter() {
        let rests = voice(&[
            (EventKind::Note, 24),
            (EventKind::Rest, 24),
            (EventKind::Rest, 48),
        ]);
        let joined = join_rests(rests);
        assert_eq!(lengths(&joined), [24, 72]);
        assert_eq!(lengths(&cut_all(joined, &common_time())), [24, 24, 48]);
    }

    #[test]
    fn a_whole_bar_of_silence_is_one_rest() {
        let beats = common_time();
        let silence = voice(&[(EventKind::Rest, 96)]);
        let rest = bar_rest(silence.clone(), &beats, beats.full);
        assert_eq!(rest[0].kind, EventKind::BarRest);
        let pickup = Beats::new(Meter::COMMON, Ratio::from_integer(4), true);
        let rest = bar_rest(silence, &pickup, pickup.full);
        assert_eq!(rest[0].kind, EventKind::Rest);
    }
}
