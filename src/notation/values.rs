//! Gives events their note values.

use super::event::{EventKind, PrintedEvent};
use super::note_value::{NoteValue, QUARTER};
use num_rational::Ratio;
use std::ops::Range;

/// The grace notes that stand together: the range of each group.
pub(super) fn grace_groups(events: &[PrintedEvent]) -> Vec<Range<usize>> {
    let mut groups: Vec<Range<usize>> = Vec::new();
    for (i, event) in events.iter().enumerate() {
        match groups.last_mut() {
            _ if event.kind != EventKind::Grace => {}
            Some(group) if group.end == i => group.end += 1,
            _ => groups.push(i..i + 1),
        }
    }
    groups
}

/// Gives every event its note value; tuplets are marked already. A bar's rest has none.
pub(super) fn set_all(events: &mut [PrintedEvent]) {
    for event in events.iter_mut() {
        if !matches!(event.kind, EventKind::Grace | EventKind::BarRest) {
            let (actual, normal) = event.tuplet.unwrap_or((1, 1));
            event.value = NoteValue::of(event.length * Ratio::new(actual, normal));
        }
    }
    for group in grace_groups(events) {
        // Grace notes that stand together are sixteenths, one alone is an eighth.
        let index = QUARTER + if group.len() > 1 { 2 } else { 1 };
        for grace in events.get_mut(group).into_iter().flatten() {
            grace.value = Some(NoteValue { index, dots: 0 });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::ZERO;

    #[test]
    fn grace_notes_are_sixteenths_unless_alone() {
        let grace = PrintedEvent::new(ZERO, ZERO, EventKind::Grace, 1);
        let quarter = PrintedEvent::new(ZERO, Ratio::new(1, 1), EventKind::Note, 1);
        let mut events = [grace.clone(), grace.clone(), quarter, grace];
        set_all(&mut events);
        let names = events.map(|e| e.value.map(NoteValue::name));
        assert_eq!(
            names,
            [Some("16th"), Some("16th"), Some("quarter"), Some("eighth")]
        );
    }
}
