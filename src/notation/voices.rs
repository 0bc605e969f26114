//! The printed voices of each bar: notes and rests cut at bar lines, chords put together.

use super::event::{EventKind, Notehead, PrintedEvent, PrintedVoice};
use super::page::{PlayersPage, bar_length};
use super::quarters::{Quarters, ZERO, quarters};
use crate::ground::time::Ticks;
use crate::score::{Note, NoteFlags, Part, Score};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

/// The printed voices of all bars of a part; bars outside `range` (0-based) stay empty, but for notes
/// that reach into it.
pub(super) fn collect(
    score: &Score,
    part: &Part,
    range: &Range<usize>,
    page: &impl PlayersPage,
) -> Vec<Vec<PrintedVoice>> {
    let mut bars = Bars {
        score,
        events: vec![Vec::new(); score.bars.len()],
    };
    // A note may reach over a bar line into the range.
    let near = |bar: u32| (range.start.saturating_sub(1)..range.end).contains(&(bar as usize));
    for (index, note) in part.notes.iter().enumerate() {
        if near(note.at.bar) {
            let event = note_event(index, note, score.per_quarter, page);
            let member = note.flags.has(NoteFlags::CHORD_MEMBER);
            bars.add(note.at.bar, note.voice, member, event);
        }
    }
    for rest in &part.rests {
        let length = quarters(rest.duration, score.per_quarter);
        if length > ZERO && near(rest.at.bar) {
            let start = quarters(rest.at.offset, score.per_quarter);
            let event = PrintedEvent::new(start, length, EventKind::Rest, rest.staff.max(1));
            bars.add(rest.at.bar, rest.voice, false, event);
        }
    }
    let mut voices: Vec<Vec<PrintedVoice>> = Vec::with_capacity(bars.events.len());
    for mut here in bars.events {
        here.sort_by_key(|(_, p)| (p.start, p.is_rest(), p.kind != EventKind::Grace));
        voices.push(apart(here));
    }
    number_overlaps(&mut voices);
    voices
}

/// A note by itself, not yet cut.
fn note_event(
    index: usize,
    note: &Note,
    per_quarter: Ticks,
    page: &impl PlayersPage,
) -> PrintedEvent {
    let kind = if note.flags.has(NoteFlags::GRACE) {
        EventKind::Grace
    } else if note.flags.has(NoteFlags::CUE) {
        EventKind::Cue
    } else {
        EventKind::Note
    };
    let length = match kind {
        EventKind::Grace => ZERO,
        _ => quarters(note.duration, per_quarter),
    };
    let start = quarters(note.at.offset, per_quarter);
    let mut event = PrintedEvent::new(start, length, kind, note.staff.max(1));
    event.heads.push(Notehead {
        note: index,
        pitch: page.pitch(index),
        tie_in: note.flags.has(NoteFlags::TIED_IN),
        tie_out: note.flags.has(NoteFlags::TIED_OUT),
        first: true,
        last: true,
        accidental: None,
        staff: note.staff.max(1),
    });
    event
}

/// The events of each bar with the numbers of their voices.
struct Bars<'a> {
    score: &'a Score,
    events: Vec<Vec<(u8, PrintedEvent)>>,
}

impl Bars<'_> {
    /// Adds an event, cut at each bar line it crosses.
    fn add(&mut self, bar: u32, voice: u8, member: bool, mut event: PrintedEvent) {
        let mut bar = bar as usize;
        loop {
            let end = bar_length(self.score, bar);
            let next = self.events.get(bar + 1).is_some();
            if event.start < end && event.end() > end && next {
                let [first, mut second] = event.cut(end);
                self.put(bar, voice, member, first);
                second.start = ZERO;
                event = second;
                bar += 1;
            } else {
                self.put(bar, voice, member, event);
                return;
            }
        }
    }

    /// Puts an event among those of a bar: into the chord it belongs to, or by itself.
    fn put(&mut self, bar: usize, voice: u8, member: bool, mut event: PrintedEvent) {
        let Some(bar) = self.events.get_mut(bar) else {
            return;
        };
        if !event.is_rest() {
            let chord = bar.iter_mut().rev().find(|(v, p)| {
                *v == voice
                    && p.kind == event.kind
                    && p.start == event.start
                    && p.length == event.length
                    && (member || (p.staff == event.staff && p.kind != EventKind::Grace))
            });
            if let Some((_, chord)) = chord {
                chord.heads.append(&mut event.heads);
                return;
            }
        }
        bar.push((voice, event));
    }
}

/// The events of a bar by voice; those that overlap in one voice go to a printed voice of their own.
fn apart(events: Vec<(u8, PrintedEvent)>) -> Vec<PrintedVoice> {
    let mut voices: Vec<PrintedVoice> = Vec::new();
    for (number, event) in events {
        let free = voices
            .iter_mut()
            .find(|v| v.number == number && v.events.last().is_none_or(|p| p.end() <= event.start));
        if let Some(voice) = free {
            voice.events.push(event);
            continue;
        }
        let overlap = voices.iter().filter(|v| v.number == number).count();
        if event.is_rest() && overlap > 0 {
            continue; // a note sounds there in the same voice
        }
        voices.push(PrintedVoice {
            number,
            events: vec![event],
            overlap: overlap as u8,
        });
    }
    voices
}

/// Gives voices that had to be split off another a number of their own, the same in all bars.
fn number_overlaps(bars: &mut [Vec<PrintedVoice>]) {
    let mut used: BTreeSet<u8> = BTreeSet::new();
    let mut wanted: BTreeSet<(u8, u8)> = BTreeSet::new();
    for voice in bars.iter().flatten() {
        used.insert(voice.number);
        if voice.overlap > 0 {
            wanted.insert((voice.number, voice.overlap));
        }
    }
    let mut numbers: BTreeMap<(u8, u8), u8> = BTreeMap::new();
    for key in wanted {
        let number = (key.0..=u8::MAX)
            .chain(1..key.0)
            .find(|n| *n > 0 && !used.contains(n))
            .unwrap_or(key.0);
        used.insert(number);
        numbers.insert(key, number);
    }
    for voice in bars.iter_mut().flatten() {
        if let Some(number) = numbers.get(&(voice.number, voice.overlap)) {
            voice.number = *number;
        }
    }
}

/// Adds rests where the first voice of a staff has nothing: a page shows the whole bar. `filled` is
/// how much of the bar the part fills.
pub(super) fn fill_with_rests(voices: &mut Vec<PrintedVoice>, staves: u8, filled: Quarters) {
    let crosses = voices.iter().any(|v| {
        let first = v.events.first().map(|p| p.staff);
        v.events
            .iter()
            .any(|p| Some(p.staff) != first || p.heads.iter().any(|h| h.staff != p.staff))
    });
    if crosses {
        return;
    }
    let rest = |from: Quarters, to: Quarters, staff: u8| {
        PrintedEvent::new(from, to - from, EventKind::Rest, staff)
    };
    for staff in 1..=staves {
        let on_staff = |v: &PrintedVoice| v.events.first().is_some_and(|p| p.staff == staff);
        let first = voices
            .iter_mut()
            .filter(|v| on_staff(v))
            .min_by_key(|v| (v.number, v.overlap));
        let Some(voice) = first else {
            let usual = staff.saturating_sub(1).saturating_mul(4).saturating_add(1);
            let number = (usual..=200)
                .find(|n| voices.iter().all(|v| v.number != *n))
                .unwrap_or(usual);
            voices.push(PrintedVoice {
                number,
                events: vec![rest(ZERO, filled, staff)],
                overlap: 0,
            });
            continue;
        };
        let mut at = ZERO;
        let mut whole = Vec::with_capacity(voice.events.len());
        for event in std::mem::take(&mut voice.events) {
            if event.start > at {
                whole.push(rest(at, event.start, staff));
            }
            at = at.max(event.end());
            whole.push(event);
        }
        if at < filled {
            whole.push(rest(at, filled, staff));
        }
        voice.events = whole;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_rational::Ratio;

    fn event(start: i64, length: i64, kind: EventKind, staff: u8) -> PrintedEvent {
        PrintedEvent::new(
            Ratio::from_integer(start),
            Ratio::from_integer(length),
            kind,
            staff,
        )
    }

    fn spans(voice: &PrintedVoice) -> Vec<(i64, i64)> {
        let whole = |q: Quarters| q.to_integer();
        let span = |p: &PrintedEvent| (whole(p.start), whole(p.length));
        voice.events.iter().map(span).collect()
    }

    #[test]
    fn overlapping_notes_of_a_voice_stand_apart_and_keep_their_number_in_all_bars() {
        let held = (1, event(0, 4, EventKind::Note, 1));
        let moves = (1, event(1, 1, EventKind::Note, 1));
        let silent = (1, event(2, 2, EventKind::Rest, 1));
        let bar = apart(vec![held, moves, silent]);
        assert_eq!(bar.len(), 2, "the rest is left out: a note sounds there");
        let other = apart(vec![(2, event(0, 4, EventKind::Note, 1))]);
        let mut bars = [bar.clone(), other, bar];
        number_overlaps(&mut bars);
        let numbers: Vec<Vec<u8>> = bars
            .iter()
            .map(|b| b.iter().map(|v| v.number).collect())
            .collect();
        assert_eq!(numbers, [vec![1, 3], vec![2], vec![1, 3]]);
    }

    #[test]
    fn silence_becomes_rests_on_every_staff() {
        let mut voices = apart(vec![(1, event(1, 2, EventKind::Note, 1))]);
        fill_with_rests(&mut voices, 2, Ratio::from_integer(4));
        assert_eq!(spans(&voices[0]), [(0, 1), (1, 2), (3, 1)]);
        assert_eq!((voices[1].number, voices[1].events[0].staff), (5, 2));
        assert_eq!(spans(&voices[1]), [(0, 4)]);
    }

    #[test]
    fn a_voice_that_crosses_staves_gets_no_rests() {
        let (upper, lower) = (
            event(0, 1, EventKind::Note, 1),
            event(1, 1, EventKind::Note, 2),
        );
        let mut voices = apart(vec![(1, upper), (1, lower)]);
        fill_with_rests(&mut voices, 2, Ratio::from_integer(4));
        assert_eq!(voices.len(), 1);
        assert_eq!(voices[0].events.len(), 2);
    }
}
