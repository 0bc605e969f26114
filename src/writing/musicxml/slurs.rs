//! Which ends of slurs belong together.

use crate::ground::time::Ticks;
use crate::score::{NoteFlags, Part};
use std::collections::HashMap;

/// One end of a slur.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct SlurEnd {
    /// Its first note.
    pub start: bool,
    /// The number that pairs it with the other end, from 1.
    pub number: u8,
}

/// The ends of slurs at each note, by 0-based index. A slur that never closes, or closes without
/// having started, is left out.
pub(super) fn slurs(part: &Part) -> HashMap<usize, Vec<SlurEnd>> {
    let mut open: Vec<(u8, usize)> = Vec::new();
    let mut pairs: Vec<(usize, usize)> = Vec::new();
    for (index, note) in part.notes.iter().enumerate() {
        if note.flags.has(NoteFlags::SLUR_STOP) {
            let own = open.iter().rposition(|(voice, _)| *voice == note.voice);
            if let Some(at) = own.or_else(|| open.len().checked_sub(1)) {
                let (_, start) = open.remove(at);
                pairs.push((start, index));
            }
        }
        if note.flags.has(NoteFlags::SLUR_START) {
            open.push((note.voice, index));
        }
    }
    let when = |note: usize| {
        let note = part.notes.get(note);
        note.map_or((Ticks::ZERO, 0), |n| (n.onset, n.written.midi()))
    };
    pairs.sort_by_key(|(start, stop)| (when(*start), when(*stop)));
    let mut out: HashMap<usize, Vec<SlurEnd>> = HashMap::new();
    // Numbers distinguish the slurs that are open at one time.
    let mut until: Vec<Ticks> = Vec::new();
    for (start, stop) in pairs {
        let free = until.iter().position(|end| *end < when(start).0);
        let number = free.unwrap_or(until.len());
        match until.get_mut(number) {
            Some(end) => *end = when(stop).0,
            None if number < 16 => until.push(when(stop).0),
            None => continue,
        }
        let number = number as u8 + 1;
        let end = |start| SlurEnd { start, number };
        out.entry(stop).or_default().insert(0, end(false));
        out.entry(start).or_default().push(end(true));
    }
    out
}
