//! Beams: which notes with flags are joined, and what each beam does at each note.

use super::beats::Beats;
use super::event::{Beam, EventKind, PrintedEvent};
use super::note_value::NoteValue;
use super::values::grace_groups;
use num_rational::Ratio;

/// Beams the events of a voice; their values are known.
pub(super) fn set_all(events: &mut [PrintedEvent], beats: &Beats) {
    join_graces(events);
    for run in runs(events) {
        for half in split(events, &run, beats, true) {
            let eighths = half.iter().all(|&i| {
                events
                    .get(i)
                    .is_some_and(|p| p.tuplet.is_none() && p.length == Ratio::new(1, 2))
            });
            if eighths {
                join(events, &half);
            } else {
                for group in split(events, &half, beats, false) {
                    join(events, &group);
                }
            }
        }
    }
}

/// Grace notes that stand together share two beams.
fn join_graces(events: &mut [PrintedEvent]) {
    for range in grace_groups(events) {
        let count = range.len();
        if count == 1 {
            continue;
        }
        for (n, grace) in events.get_mut(range).into_iter().flatten().enumerate() {
            let beam = match n {
                0 => Beam::Begin,
                n if n + 1 == count => Beam::End,
                _ => Beam::Continue,
            };
            grace.beams = vec![beam; 2];
        }
    }
}

/// How many flags an event has that a beam may replace.
fn flags(event: &PrintedEvent) -> usize {
    if event.is_rest() {
        0
    } else {
        event.value.map_or(0, NoteValue::beams)
    }
}

/// Runs of neighbouring notes with flags, by index. Grace notes between them do not break a beam.
fn runs(events: &[PrintedEvent]) -> Vec<Vec<usize>> {
    let mut runs: Vec<Vec<usize>> = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    let mut end = None;
    for (i, event) in events.iter().enumerate() {
        if event.kind == EventKind::Grace {
            continue;
        }
        let joins = flags(event) > 0
            && end == Some(event.start)
            && open
                .last()
                .and_then(|&l| events.get(l))
                .is_some_and(|l| l.staff == event.staff && l.kind == event.kind);
        if !joins {
            runs.push(std::mem::take(&mut open));
        }
        if flags(event) > 0 {
            open.push(i);
            end = Some(event.end());
        } else {
            end = None;
        }
    }
    runs.push(open);
    runs
}

/// A run divided where the meter wants a new beam.
fn split(events: &[PrintedEvent], run: &[usize], beats: &Beats, eighths: bool) -> Vec<Vec<usize>> {
    let mut out: Vec<Vec<usize>> = Vec::new();
    let mut last = None;
    for &i in run {
        let window = events.get(i).map(|p| beats.beam_window(p.start, eighths));
        match out.last_mut() {
            Some(group) if last == window => group.push(i),
            _ => out.push(vec![i]),
        }
        last = window;
    }
    out
}

/// Puts the notes of a group under one beam, the faster ones under more.
fn join(events: &mut [PrintedEvent], group: &[usize]) {
    if group.len() < 2 {
        return;
    }
    let counts: Vec<usize> = group
        .iter()
        .map(|&i| events.get(i).map_or(0, flags))
        .collect();
    let count = |n: Option<usize>| n.and_then(|n| counts.get(n)).copied().unwrap_or(0);
    for (n, &i) in group.iter().enumerate() {
        let (before, here, after) = (count(n.checked_sub(1)), count(Some(n)), count(Some(n + 1)));
        let Some(event) = events.get_mut(i) else {
            continue;
        };
        let early = (event.start / (event.length * 2)).is_integer();
        event.beams = (1..=here)
            .map(|level| match (before >= level, after >= level) {
                (true, true) => Beam::Continue,
                (false, true) => Beam::Begin,
                (true, false) => Beam::End,
                (false, false) if before == 0 || (after > 0 && early) => Beam::ForwardHook,
                (false, false) => Beam::BackwardHook,
            })
            .collect();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::time::Meter;
    use crate::notation::{ZERO, values};

    /// The beams of notes one after the other in a bar of four, each of so many 16ths: one word a
    /// note, the outermost beam first.
    fn beams(lengths: &[i64]) -> String {
        let mut at = ZERO;
        let mut events = Vec::new();
        for length in lengths {
            let event = PrintedEvent::new(at, Ratio::new(*length, 4), EventKind::Note, 1);
            at = event.end();
            events.push(event);
        }
        values::set_all(&mut events);
        let beats = Beats::new(Meter::COMMON, Ratio::from_integer(4), false);
        set_all(&mut events, &beats);
        let sign = |beam: &Beam| match beam {
            Beam::Begin => '[',
            Beam::Continue => '-',
            Beam::End => ']',
            Beam::ForwardHook => '>',
            Beam::BackwardHook => '<',
        };
        let words = events.iter().map(|p| match p.beams.as_slice() {
            [] => ".".to_owned(),
            beams => beams.iter().map(sign).collect(),
        });
        words.collect::<Vec<_>>().join(" ")
    }

    // Common practice, no source.
    #[test]
    fn eighths_share_half_a_bar_and_16ths_a_beat() {
        assert_eq!(beams(&[2, 2, 2, 2, 2, 2]), "[ - - ] [ ]");
        assert_eq!(beams(&[1, 1, 1, 1, 2, 2]), "[[ -- -- ]] [ ]");
        assert_eq!(beams(&[4, 2, 2]), ". [ ]");
        assert_eq!(beams(&[4, 4, 4, 2]), ". . . .");
    }

    // Common practice, no source: a hook points to the note that it fills the beat with.
    #[test]
    fn hooks_point_into_their_beat() {
        assert_eq!(beams(&[3, 1]), "[ ]<");
        assert_eq!(beams(&[1, 3]), "[> ]");
        assert_eq!(beams(&[1, 2, 1]), "[> - ]<");
    }

    #[test]
    fn grace_notes_do_not_break_a_beam() {
        let eighth = |n| PrintedEvent::new(Ratio::new(n, 2), Ratio::new(1, 2), EventKind::Note, 1);
        let grace = PrintedEvent::new(Ratio::new(1, 2), ZERO, EventKind::Grace, 1);
        let mut events = [eighth(0), grace.clone(), grace, eighth(1)];
        values::set_all(&mut events);
        let beats = Beats::new(Meter::COMMON, Ratio::from_integer(4), false);
        set_all(&mut events, &beats);
        let [first, _, _, last] = &events;
        assert_eq!(
            (&first.beams[..], &last.beams[..]),
            (&[Beam::Begin][..], &[Beam::End][..])
        );
        assert_eq!(events[1].beams, [Beam::Begin; 2]);
    }
}
