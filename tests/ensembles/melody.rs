//! Rhythms and lead lines: note by note the cheapest way through the candidates, with random costs.

use super::notes::{Chord, Dice, Meter, Placed, in_force};
use super::voicing::{Candidate, Kind, in_range, too_low};

/// One note of a phrase, before its pitch; eighths from the start of the chart.
#[derive(Clone, Copy, Debug)]
pub struct Slot {
    pub at: i32,
    pub len: i32,
    pub chord: Chord,
    pub next: Option<Chord>,
    /// It may be a passing note: short, weak, followed at once by another.
    pub weak: bool,
}

/// Rhythms of a bar in eighths; negative is silence.
type Bar = &'static [i32];

const FOUR: [Bar; 11] = [
    &[2, 1, 1, 2, 2],
    &[3, 1, 2, 2],
    &[1, 1, 1, 1, 2, 2],
    &[1, 1, 2, 4],
    &[2, 2, 4],
    &[1, 1, 1, 1, 1, 1, 1, 1],
    &[2, 2, 1, 1, 2],
    &[3, 1, 1, 1, 2],
    &[4, 1, 1, 2],
    &[2, 1, 1, 1, 1, 2],
    &[-2, 1, 1, 2, 2],
];
const FOUR_LAST: [Bar; 5] = [&[4, -4], &[2, 2, -4], &[1, 1, 2, -4], &[2, -6], &[3, -5]];
const FOUR_HELD: [Bar; 4] = [&[4, 4], &[8], &[4, 2, 2], &[6, 2]];
const THREE: [Bar; 7] = [
    &[2, 2, 2],
    &[2, 1, 1, 2],
    &[4, 2],
    &[3, 1, 2],
    &[1, 1, 1, 1, 2],
    &[2, 1, 1, 1, 1],
    &[4, 1, 1],
];
const THREE_LAST: [Bar; 3] = [&[3, -3], &[2, -4], &[2, 1, -3]];
const THREE_HELD: [Bar; 3] = [&[6], &[4, 2], &[2, 2, 2]];
const SIX: [Bar; 6] = [
    &[3, 3],
    &[2, 1, 2, 1],
    &[1, 1, 1, 3],
    &[3, 2, 1],
    &[1, 1, 1, 2, 1],
    &[2, 1, 1, 1, 1],
];
const SIX_LAST: [Bar; 3] = [&[3, -3], &[2, 1, -3], &[2, -4]];
const SIX_HELD: [Bar; 3] = [&[6], &[3, 3], &[3, 3]];

fn bars(meter: Meter, held: bool, last: bool) -> &'static [Bar] {
    match (meter.beats, held, last) {
        (4, _, true) => &FOUR_LAST,
        (4, true, _) => &FOUR_HELD,
        (4, ..) => &FOUR,
        (3, _, true) => &THREE_LAST,
        (3, true, _) => &THREE_HELD,
        (3, ..) => &THREE,
        (_, _, true) => &SIX_LAST,
        (_, true, _) => &SIX_HELD,
        _ => &SIX,
    }
}

/// What a rhythm is asked for.
#[derive(Clone, Copy)]
pub struct Span {
    pub start: i32,
    pub bars: i32,
    pub held: bool,
}

/// The rhythm of a phrase: notes with their chords; some anticipate the chord of the next bar.
pub fn rhythm(dice: &mut Dice, meter: Meter, span: Span, chords: &[Placed]) -> Vec<Slot> {
    let mut notes: Vec<(i32, i32)> = Vec::new();
    let mut at = span.start;
    for index in 0..span.bars {
        let last = index == span.bars - 1;
        for len in *dice.pick(bars(meter, span.held, last)) {
            if *len > 0 {
                notes.push((at, *len));
            }
            at += len.abs();
        }
    }
    let mut early = Vec::new();
    if !span.held && dice.chance(35) {
        let lines: Vec<i32> = (1..span.bars).map(|b| span.start + b * meter.bar).collect();
        let line = *dice.pick(&lines.iter().copied().chain([-1]).collect::<Vec<_>>());
        early.extend(anticipated(dice, &mut notes, line));
    }
    let mut slots: Vec<Slot> = Vec::new();
    for (index, (at, len)) in notes.iter().enumerate() {
        let chord_at = if early.contains(at) { at + 1 } else { *at };
        let chord = in_force(chords, chord_at);
        let after = notes.get(index + 1);
        let follows = after.is_some_and(|n| n.0 == at + len);
        let position = at.rem_euclid(meter.bar);
        let strong = position == 0 || position == meter.half && meter.beats != 3;
        let starts = chords.iter().any(|c| c.at == chord_at);
        // A note that is held over a change belongs to one chord only where it is short of the change.
        slots.push(Slot {
            at: *at,
            len: *len,
            chord,
            next: None,
            weak: !strong && !starts && *len <= 2 && follows && index > 0 && !early.contains(at),
        });
    }
    for index in 1..slots.len() {
        slots[index - 1].next = Some(slots[index].chord);
    }
    cut_at_changes(slots, chords, &early)
}

/// A note that would sound into another chord ends where that begins (a rest follows).
fn cut_at_changes(mut slots: Vec<Slot>, chords: &[Placed], early: &[i32]) -> Vec<Slot> {
    for slot in &mut slots {
        let from = if early.contains(&slot.at) {
            slot.at + 1
        } else {
            slot.at
        };
        let change = chords
            .iter()
            .find(|c| c.at > from && c.at < slot.at + slot.len);
        if let Some(change) = change {
            slot.len = change.at - slot.at;
            slot.weak = false;
        }
    }
    slots
}

/// Moves the note on a barline an eighth ahead of it: tied over, or short with silence after it.
fn anticipated(dice: &mut Dice, notes: &mut [(i32, i32)], line: i32) -> Option<i32> {
    let index = notes.iter().position(|n| n.0 == line).filter(|i| *i > 0)?;
    if notes[index - 1].0 + notes[index - 1].1 != line || notes[index - 1].1 < 2 {
        return None;
    }
    notes[index - 1].1 -= 1;
    notes[index].0 -= 1;
    notes[index].1 = if dice.chance(40) {
        1
    } else {
        notes[index].1 + 1
    };
    Some(line - 1)
}

/// The cost of going from one note to the next, or none where the trade would not.
fn step(from: &Candidate, to: &Candidate, slots: (&Slot, &Slot)) -> Option<i32> {
    let between = (from.lead().midi - to.lead().midi).abs();
    let joined = slots.0.at + slots.0.len == slots.1.at;
    if from.kind.moves() && (!joined || to.kind.moves() || !(1..=2).contains(&between)) {
        return None;
    }
    let inside = matches!(
        from.kind,
        Kind::TonicSixth | Kind::Related | Kind::SecondReading
    );
    if inside && slots.0.chord != slots.1.chord {
        return None;
    }
    let mut cost = match between {
        1..=4 => 0,
        5..=7 => 10,
        0 | 8..=9 => 25,
        _ => return None,
    };
    if to.kind.moves() {
        let strict = !matches!(to.kind, Kind::Passing | Kind::Dominant);
        if between == 0 || between > 5 || strict && (between > 2 || slots.0.chord != slots.1.chord)
        {
            return None;
        }
        cost += if between > 2 { 30 } else { 0 };
    }
    for (old, new) in from.voices.iter().zip(&to.voices) {
        match (old.midi - new.midi).abs() {
            0..=7 => {}
            8..=12 => cost += 12,
            _ => return None,
        }
    }
    Some(cost)
}

fn own_cost(dice: &mut Dice, candidate: &Candidate) -> i32 {
    let random = dice.roll(45) as i32;
    match candidate.kind {
        Kind::Chord | Kind::SecondReading | Kind::Related => random,
        Kind::Tension => random - 8,
        Kind::Passing => random - 30,
        Kind::Dominant => random - 5,
        Kind::TonicSixth => random - 25,
        Kind::Chromatic => random + 100,
    }
}

/// The cheapest line; none when some note has no candidate that can be reached.
pub fn line(dice: &mut Dice, slots: &[Slot], choices: &[Vec<Candidate>]) -> Option<Vec<Candidate>> {
    let mut table: Vec<Vec<Option<(i32, usize)>>> = Vec::new();
    for (index, choice) in choices.iter().enumerate() {
        let mut row = Vec::new();
        for candidate in choice {
            let own = own_cost(dice, candidate);
            if index == 0 {
                row.push((!candidate.kind.moves()).then_some((own, 0)));
                continue;
            }
            let around = (&slots[index - 1], &slots[index]);
            let before = table[index - 1]
                .iter()
                .enumerate()
                .filter_map(|(from, best)| {
                    let (cost, _) = (*best)?;
                    let way = step(&choices[index - 1][from], candidate, around)?;
                    Some((cost + way + own, from))
                });
            row.push(before.min());
        }
        table.push(row);
    }
    let last = table.last()?;
    let ends = last
        .iter()
        .enumerate()
        .filter_map(|(i, best)| Some((best.as_ref()?.0, i)));
    let mut at = ends.min()?.1;
    let mut line = Vec::new();
    for index in (0..choices.len()).rev() {
        line.push(choices[index][at].clone());
        at = table[index][at]?.1;
    }
    line.reverse();
    Some(line)
}

/// Some short weak notes a half step from the next become chromatic approaches: the next voicing moved
/// by that half step.
pub fn chromatic(dice: &mut Dice, slots: &[Slot], line: &mut [Candidate], ranges: &[(i16, i16)]) {
    for index in 1..line.len().saturating_sub(1) {
        let (slot, next) = (&slots[index], &line[index + 1]);
        if !slot.weak || slot.len != 1 || next.kind.moves() || line[index - 1].kind.moves() {
            continue;
        }
        let up: i16 = if dice.chance(70) { -1 } else { 1 };
        let target: Vec<_> = next
            .voices
            .iter()
            .map(|t| t.moved(up, up).plain())
            .collect();
        let from = (line[index - 1].lead().midi - target[0].midi).abs();
        let pitched = slot
            .chord
            .tones()
            .iter()
            .any(|d| slot.chord.at(*d).class() == target[0].class());
        let low = target.windows(2).any(|w| too_low(w[0].midi, w[1].midi));
        let fits = in_range(&target, ranges) && !low && next.voices.len() > 1;
        if dice.chance(12) && (1..=4).contains(&from) && !pitched && fits {
            line[index] = Candidate {
                kind: Kind::Chromatic,
                voices: target,
            };
        }
    }
}
