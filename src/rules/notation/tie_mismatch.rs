//! `tie-mismatch`: a tie joins two notes of one pitch.

use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::rules::shared::page::{at_fault, finding, pitched};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule};
use crate::score::NoteRef;
use crate::score::{Note, NoteFlags, Part, Score};
use std::collections::{HashMap, HashSet};

pub static RULE: Rule = Rule {
    name: "tie-mismatch",
    group: Group::Notation,
    asks: "A tie leads to the same pitch, and a note held by a tie has one before it.",
    why: "A tie to another pitch cannot be held: one player slurs, another holds on, a third strikes the note again.",
    exceptions: &[
        "ties into repeats, endings and double bars",
        "notes left to ring",
        "a pitch spelled another way",
    ],
    source: "published: MusicXML 4.0, tie and tied; common practice, no source",
    level: Level::Error,
    off: false,
    settings: &[],
    examples: &[Example {
        wrong: "meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  2  3  | 1 2  | 1  |
trumpet 1 | C5 D5 F4 | G4 - | E5 |
on the page:
trumpet 1, bar 1, beat 3: tie starts
trumpet 1, bar 2, beat 1: tie ends
",
        at: ("1", "3"),
        right: "meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  2  3  | 1 2  | 1  |
trumpet 1 | C5 D5 F4 | - -  | E5 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    // A change of pitch takes the whole tied chain along.
    if reading.is_recheck() {
        return;
    }
    for (index, part) in pitched(reading.score) {
        part_ties(reading.score, index, part, out);
    }
}

/// When the note after this one starts: at its end, or, where its bar stops short, at the bar line.
fn next_onset(score: &Score, part: &Part, note: &Note) -> Ticks {
    let bar = note.at.bar as usize;
    let full = part
        .bars
        .get(bar)
        .is_some_and(|b| note.at.offset + note.duration >= b.filled);
    match score.bars.get(bar + 1) {
        Some(next) if full => next.start,
        _ => note.end(),
    }
}

/// Whether playing may go on elsewhere than at the next bar, or have come from elsewhere.
fn is_joint(part: &Part, bar: usize) -> bool {
    let ends = |i: usize| {
        part.bars
            .get(i)
            .is_some_and(|b| b.double_bar || b.repeat_end)
    };
    let next_starts = part.bars.get(bar + 1).is_none_or(|b| b.repeat_start);
    ends(bar) || next_starts
}

fn part_ties(score: &Score, index: u32, part: &Part, out: &mut Vec<Finding>) {
    let notes = &part.notes;
    let name = wording::part(score, index);
    let reference = |i: usize| NoteRef {
        part: index,
        note: i as u32,
    };
    let joined = joined(notes);
    let is_loose = |(i, note): (usize, &Note)| {
        note.sounds()
            && [NoteFlags::TIED_OUT, NoteFlags::TIED_IN]
                .into_iter()
                .any(|end| note.flags.has(end) && !joined.contains(&(i, end.0)))
    };
    if !notes.iter().enumerate().any(is_loose) {
        return;
    }
    // When notes end, with their pitch; and when ties end that a finding has spoken of.
    let mut ends: HashSet<(Ticks, i16)> = HashSet::new();
    let mut spoken: HashSet<Ticks> = HashSet::new();
    for (i, note) in notes.iter().enumerate().filter(|(_, n)| n.sounds()) {
        let next = next_onset(score, part, note);
        ends.insert((next, note.written.midi()));
        if !note.flags.has(NoteFlags::TIED_OUT)
            || note.duration <= Ticks::ZERO
            || joined.contains(&(i, NoteFlags::TIED_OUT.0))
        {
            continue;
        }
        let from = notes.partition_point(|n| n.onset < next);
        let after: Vec<(usize, &Note)> = notes
            .iter()
            .enumerate()
            .skip(from)
            .take_while(|(_, n)| n.onset == next)
            .filter(|(_, n)| n.sounds())
            .collect();
        if after
            .iter()
            .any(|(_, n)| n.written.midi() == note.written.midi())
            || next != note.end() && after.is_empty()
            || is_joint(part, note.at.bar as usize) && ends_bar(part, note)
        {
            continue;
        }
        // The notes of one chord are one mistake.
        if !spoken.insert(next)
            && let Some(open) = out.last_mut()
            && open.at == note.at
        {
            open.notes.extend(at_fault([reference(i)], "tied"));
            continue;
        }
        let target = after
            .iter()
            .filter(|(_, n)| n.voice == note.voice || n.flags.has(NoteFlags::TIED_IN))
            .min_by_key(|(_, n)| {
                (
                    !n.flags.has(NoteFlags::TIED_IN),
                    (n.written.midi() - note.written.midi()).abs(),
                )
            });
        let (message, suggestion, faults) = match target {
            Some((j, other)) => (
                format!(
                    "{name}: the tie from {} leads to {}",
                    note.written, other.written
                ),
                format!(
                    "{name}: write a slur if both notes are meant, or the same pitch twice if it is held"
                ),
                vec![reference(i), reference(*j)],
            ),
            None => (
                format!("{name}: the tie from {} leads to no note", note.written),
                format!("{name}: take the tie away, or write the note it leads to"),
                vec![reference(i)],
            ),
        };
        out.push(Finding {
            notes: at_fault(faults, "tied"),
            ..finding(
                &RULE,
                Level::Error,
                vec![index],
                note.at,
                message,
                suggestion,
            )
        });
    }
    for (i, note) in notes.iter().enumerate().filter(|(_, n)| n.sounds()) {
        let bar = note.at.bar as usize;
        let from_elsewhere =
            note.at.offset == Ticks::ZERO && bar.checked_sub(1).is_none_or(|b| is_joint(part, b));
        if !note.flags.has(NoteFlags::TIED_IN)
            || joined.contains(&(i, NoteFlags::TIED_IN.0))
            || ends.contains(&(note.onset, note.written.midi()))
            || spoken.contains(&note.onset)
            || from_elsewhere
        {
            continue;
        }
        out.push(Finding {
            notes: at_fault([reference(i)], "tied from nothing"),
            ..finding(
                &RULE,
                Level::Error,
                vec![index],
                note.at,
                format!(
                    "{name}: {} is held by a tie, but no {} stands before it",
                    note.written, note.written
                ),
                format!("{name}: take the tie away, or write the note it comes from"),
            )
        });
    }
}

/// Ends of ties that find each other by pitch, in this bar or the next, whatever the layers and
/// lengths in the file say.
fn joined(notes: &[Note]) -> HashSet<(usize, u16)> {
    let mut open: HashMap<i16, usize> = HashMap::new();
    let mut joined = HashSet::new();
    for (i, note) in notes.iter().enumerate().filter(|(_, n)| n.sounds()) {
        let pitch = note.written.midi();
        if note.flags.has(NoteFlags::TIED_IN)
            && let Some(from) = open.remove(&pitch)
            && let Some(first) = notes.get(from)
            && note.at.bar <= first.at.bar + 1
            && note.onset > first.onset
        {
            joined.insert((from, NoteFlags::TIED_OUT.0));
            joined.insert((i, NoteFlags::TIED_IN.0));
        }
        if note.flags.has(NoteFlags::TIED_OUT) {
            open.insert(pitch, i);
        }
    }
    joined
}

fn ends_bar(part: &Part, note: &Note) -> bool {
    part.bars
        .get(note.at.bar as usize)
        .is_none_or(|b| note.at.offset + note.duration >= b.filled)
}
