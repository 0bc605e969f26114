//! Meters, keys, chord progressions and rhythms. Progressions and rhythms: common practice, no source.
//! Lengths are ticks, twelve to a quarter note.

use super::chords::Chord;
use crate::ensembles::notes::{Dice, Tone, tonic};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meter {
    pub beats: i32,
    pub unit: i32,
    pub bar: i32,
    /// A beat as it is felt.
    pub beat: i32,
    /// Where a second chord of the bar stands.
    pub half: i32,
}

pub const METERS: [Meter; 4] = [
    Meter {
        beats: 4,
        unit: 4,
        bar: 48,
        beat: 12,
        half: 24,
    },
    Meter {
        beats: 3,
        unit: 4,
        bar: 36,
        beat: 12,
        half: 24,
    },
    Meter {
        beats: 5,
        unit: 4,
        bar: 60,
        beat: 12,
        half: 36,
    },
    Meter {
        beats: 6,
        unit: 8,
        bar: 36,
        beat: 18,
        half: 18,
    },
];

impl Meter {
    /// Ticks of the lower figure.
    pub fn figure(self) -> i32 {
        48 / self.unit
    }
    /// The 1-based bar, and the 1-based beat in units of the lower figure.
    pub fn place(self, at: i32) -> (i32, f64) {
        let beat = f64::from(at.rem_euclid(self.bar)) / f64::from(self.figure()) + 1.0;
        (at.div_euclid(self.bar) + 1, beat)
    }
}

#[derive(Clone, Copy, Debug)]
pub struct Key {
    pub fifths: i16,
    pub minor: bool,
}

impl Key {
    /// In the fourth octave or just below.
    pub fn tonic(self) -> Tone {
        let major = tonic(self.fifths);
        if self.minor {
            major.moved(-2, -3)
        } else {
            major
        }
    }
    pub fn name(self) -> String {
        let name = self.tonic().name();
        let letter = &name[..name.len() - 1];
        format!("{letter}{}", if self.minor { "m" } else { "" })
    }
}

/// A chord and where it stands.
#[derive(Clone, Copy, Debug)]
pub struct Placed {
    pub at: i32,
    pub len: i32,
    pub chord: Chord,
    /// The symbol says that nobody plays chords.
    pub silent: bool,
}

const MAJOR: [&str; 23] = [
    "1:6|5:7|5:7|1:6",
    "2:m7|5:7|5:7|1:6",
    "1:maj7|1:maj7|2:m7|5:7",
    "1:7|1:7|4:7|1:7",
    "1:6|1:6|2:m7 5:7|1:6",
    "2:m7|5:7|1:maj7|1:6",
    "1:6 6:m7|2:m7 5:7|3:m7 6:7b9|2:m7 5:13",
    "1:maj7|4:maj7|2:m7 5:7alt|1:6/9",
    "1:6|1:7|4:6|4:m6",
    "7:m7b5|3:7b9|6:m6|6:m6",
    "1:6 #1:dim7|2:m7 #2:dim7|3:m7 6:7|2:m7 5:7b9",
    "2:7|2:m7 5:7sus4|1:6|1:6",
    "1:6|6:7|2:7|5:7",
    "2:m9|5:13|1:maj9|6:7#9",
    "4:maj7#11|4:m6|3:m7|6:7b9b13",
    "1:7|4:7|1:7|5:7",
    "2:m7/4|5:7|1:6/3|1:6",
    "2:m7|b2:7#11|1:maj7|1:6",
    "1:6|6:7b5|2:m7|5:7",
    "1:maj7|b3:7|b6:maj7|5:9sus4 5:7",
    "4:maj7/2 5:7|1:6|2:m7 5:9|1:maj9",
    "3:m7|6:7b13|2:m7|5:13b9",
    "2:m7|5:7sus4 5:7|1:6|6:m11",
];

const MINOR: [&str; 14] = [
    "1:m6|5:7|5:7|1:m6",
    "4:m6|5:7|1:m6|5:7",
    "1:m6|1:m6|2:m7b5 5:7b9|1:m6",
    "1:m7|4:m7|2:m7b5|5:7alt",
    "1:m6|4:m6|5:7|1:m6",
    "1:m(maj7)|1:m7|4:m7|b7:7",
    "b6:7#11|5:7b9|1:m6|1:m6",
    "4:m7|b7:7|b3:maj7|b6:maj7",
    "2:m7b5|5:7b9b13|1:m9|1:m6",
    "1:m7|1:m7|4:m7|4:m7",
    "1:m6 5:7|1:m6|4:m6|5:7",
    "b3:6|2:m7b5 5:7b9|1:m6|5:7#9",
    "1:m6|b7:9|b6:maj7|5:7sus4(b9) 5:7b9",
    "1:m7|2:m7b5 5:7b9|1:m(maj7)|1:m6",
];

/// Modal changes, for fourths and clusters.
const MODAL: [&str; 4] = [
    "1:6/9|2:m11|2:m11|1:6/9",
    "1:maj7|4:maj7#11|2:m7|1:6/9",
    "2:m11|5:9sus4|2:m7|1:6/9",
    "1:6/9|4:6/9|5:9sus4|1:6/9",
];
const MODAL_MINOR: [&str; 3] = [
    "1:m11|1:m7|4:m7|1:m11",
    "1:m7|4:m11|1:m7|1:m11",
    "1:m11|b7:9sus4|4:m7|1:m11",
];

fn step(name: &str) -> (i16, i16) {
    match name {
        "1" => (0, 0),
        "#1" => (0, 1),
        "b2" => (1, 1),
        "2" => (1, 2),
        "#2" => (1, 3),
        "b3" => (2, 3),
        "3" => (2, 4),
        "4" => (3, 5),
        "5" => (4, 7),
        "b6" => (5, 8),
        "6" => (5, 9),
        "b7" => (6, 10),
        "7" => (6, 11),
        other => panic!("no step is called {other}"),
    }
}

/// Four bars of changes from a bar on; the last four bars of a passage end on the tonic.
pub fn changes(
    dice: &mut Dice,
    key: Key,
    meter: Meter,
    bar: i32,
    ends: bool,
    modal: bool,
) -> Vec<Placed> {
    let row = match (modal, key.minor) {
        (true, false) => *dice.pick(&MODAL),
        (true, true) => *dice.pick(&MODAL_MINOR),
        (false, false) => *dice.pick(&MAJOR),
        (false, true) => *dice.pick(&MINOR),
    };
    let mut bars: Vec<&str> = row.split('|').collect();
    if ends && !modal {
        bars[3] = if key.minor {
            "1:m6"
        } else {
            *dice.pick(&["1:6", "1:6", "1:maj7", "1:6/9"])
        };
    }
    let mut placed: Vec<Placed> = Vec::new();
    for (index, steps) in bars.iter().enumerate() {
        let steps: Vec<&str> = steps.split(' ').collect();
        for (at, text) in steps.iter().enumerate() {
            let (name, suffix) = text.split_once(':').unwrap();
            let (letters, semitones) = step(name);
            let from = if at == 0 { 0 } else { meter.half };
            let to = if at + 1 == steps.len() {
                meter.bar
            } else {
                meter.half
            };
            let root = key.tonic().moved(letters, semitones).plain();
            placed.push(Placed {
                at: (bar + index as i32) * meter.bar + from,
                len: to - from,
                chord: Chord::new(root, suffix),
                silent: false,
            });
        }
    }
    placed
}

/// A note of the rhythm.
#[derive(Clone, Copy, Debug)]
pub struct Slot {
    pub at: i32,
    pub len: i32,
    /// Index of the chord that it belongs to.
    pub chord: usize,
    /// Off the beat and short: it may pass.
    pub weak: bool,
    pub push: Option<&'static str>,
    pub delayed: bool,
}

const FOUR: [&str; 15] = [
    "S12 S6 w6 S12 S6 w6",
    "S12 S6 w6 S6 w6 S12",
    "S6 w6 S6 w6 S12 S12",
    "S12 S12 S6 w6 S12",
    "S24 S24",
    "S24 S12 S6 w6",
    "S4 w4 S4 S12 S4 w4 S4 S12",
    "S12 S12 S4 w4 S4 S12",
    "S18 S6 S12 S6 w6",
    "S6 w6 S12 S6 w6 S12",
    "S12 r12 S6 w6 S12",
    "S36 S12",
    "S6 S12 S6 S12 S12",
    "S12 S6 w6 S24",
    "S48",
];
const THREE: [&str; 8] = [
    "S12 S6 w6 S12",
    "S12 S12 S6 w6",
    "S24 S6 w6",
    "S18 S6 S6 w6",
    "S6 w6 S6 w6 S12",
    "S4 w4 S4 S12 S12",
    "S12 S24",
    "S36",
];
const FIVE: [&str; 5] = [
    "S12 S6 w6 S12 S12 S6 w6",
    "S18 S6 S12 S24",
    "S36 S24",
    "S6 w6 S6 w6 S12 S12 S12",
    "S12 S12 S12 S6 w6 S12",
];
const SIX: [&str; 6] = [
    "S18 S18",
    "S6 w6 S6 S12 w6",
    "S12 w6 S6 w6 S6",
    "S12 w6 S18",
    "S36",
    "S6 w6 S6 S18",
];

fn patterns(meter: Meter) -> &'static [&'static str] {
    match (meter.beats, meter.unit) {
        (4, 4) => &FOUR,
        (3, 4) => &THREE,
        (5, 4) => &FIVE,
        _ => &SIX,
    }
}

/// Some bars of a passage.
#[derive(Clone, Copy, Debug)]
pub struct Bars {
    pub bar: i32,
    pub bars: i32,
}

/// The rhythm of some bars; a rest of a beat ends it.
pub fn rhythm(
    dice: &mut Dice,
    meter: Meter,
    span: Bars,
    chords: &[Placed],
    held: bool,
) -> Vec<Slot> {
    if held {
        return held_chords(meter, span, chords);
    }
    let mut slots: Vec<Slot> = Vec::new();
    let all = patterns(meter);
    let habit = *dice.pick(all);
    let ends = span.bar + span.bars;
    for index in span.bar..ends {
        let from = index * meter.bar;
        let row = if index == ends - 1 {
            *dice.pick(&["S24", "S18", "S12"])
        } else if dice.chance(25) {
            habit
        } else {
            *dice.pick(all)
        };
        let mut at = from;
        for word in row.split(' ') {
            let (kind, len) = word.split_at(1);
            let len: i32 = len.parse().unwrap();
            if kind != "r" {
                let weak = kind == "w";
                slots.push(Slot {
                    at,
                    len,
                    chord: 0,
                    weak,
                    push: None,
                    delayed: false,
                });
            }
            at += len;
        }
    }
    pushes(dice, meter, span, chords, &mut slots);
    assign(chords, &mut slots);
    slots
}

fn held_chords(meter: Meter, span: Bars, chords: &[Placed]) -> Vec<Slot> {
    let (from, to) = (span.bar * meter.bar, (span.bar + span.bars) * meter.bar);
    let placed = chords
        .iter()
        .enumerate()
        .filter(|(_, c)| (from..to).contains(&c.at));
    let slot = |(index, c): (usize, &Placed)| Slot {
        at: c.at,
        len: if c.at + c.len == to {
            (c.len - 12).max(12)
        } else {
            c.len
        },
        chord: index,
        weak: false,
        push: None,
        delayed: false,
    };
    placed.map(slot).collect()
}

/// Anticipations of bars and of chords within a bar, and delayed attacks.
fn pushes(dice: &mut Dice, meter: Meter, span: Bars, chords: &[Placed], slots: &mut Vec<Slot>) {
    let (from, to) = (span.bar * meter.bar, (span.bar + span.bars) * meter.bar);
    for index in span.bar + 1..span.bar + span.bars {
        let line = index * meter.bar;
        let first = slots.iter_mut().find(|s| s.at == line && s.len >= 12);
        if let Some(first) = first.filter(|_| dice.chance(10)) {
            first.at += 6;
            first.len -= 6;
            first.delayed = true;
        }
    }
    let form = *dice.pick(&["", "", "note", "rest", "tied", "rest-long"]);
    let mut lines: Vec<i32> = (span.bar + 1..span.bar + span.bars)
        .map(|b| b * meter.bar)
        .collect();
    lines.extend(
        chords
            .iter()
            .map(|c| c.at)
            .filter(|at| (from + 1..to).contains(at)),
    );
    lines.sort_unstable();
    lines.dedup();
    for line in lines {
        if !form.is_empty() && dice.chance(50) {
            push(meter, line, form, slots);
        }
    }
}

/// Puts an eighth before a bar line that belongs to what follows.
fn push(meter: Meter, line: i32, form: &str, slots: &mut Vec<Slot>) {
    let ahead = line - 6;
    if slots.iter().any(|s| s.delayed && s.at == line + 6)
        || slots.iter().any(|s| s.at < line && s.at + s.len > line)
    {
        return;
    }
    let first = slots.iter().find(|s| s.at == line).copied();
    let Some(first) = first else { return };
    // What stands in its way ends earlier.
    slots.retain(|s| !(ahead..line).contains(&s.at));
    if let Some(before) = slots.iter_mut().rfind(|s| s.at < ahead) {
        before.len = before.len.min(ahead - before.at);
    }
    let name = match form {
        "note" => "push-note",
        "rest" => "push-rest",
        "rest-long" => "push-rest-long",
        _ => "push-tied",
    };
    let mut len = 6;
    match form {
        "rest" => shift(slots, line, 6),
        "rest-long" => shift(slots, line, meter.figure().max(12)),
        "tied" => {
            len += first.len;
            slots.retain(|s| s.at != line);
        }
        _ => {}
    }
    slots.push(Slot {
        at: ahead,
        len,
        chord: 0,
        weak: false,
        push: Some(name),
        delayed: false,
    });
    slots.sort_by_key(|s| s.at);
}

/// A rest from a bar line on.
fn shift(slots: &mut Vec<Slot>, line: i32, rest: i32) {
    slots.retain(|s| !(s.at >= line && s.at + s.len <= line + rest));
    for slot in slots
        .iter_mut()
        .filter(|s| (line..line + rest).contains(&s.at))
    {
        let late = line + rest - slot.at;
        slot.at += late;
        slot.len -= late;
        slot.weak = false;
    }
}

/// Which chord each note belongs to. A note that runs over a change by half of it or more is a push, else it ends
/// there and the next chord is struck.
fn assign(chords: &[Placed], slots: &mut Vec<Slot>) {
    let in_force = |at: i32| chords.iter().rposition(|c| c.at <= at).unwrap_or(0);
    let mut more = Vec::new();
    for slot in slots.iter_mut() {
        slot.chord = in_force(slot.at);
        let end = chords[slot.chord].at + chords[slot.chord].len;
        if slot.push.is_some() {
            slot.chord = in_force(slot.at + 6);
        } else if slot.at + slot.len > end && end - slot.at == 6 {
            slot.chord = in_force(end);
            slot.push = Some("push-tied");
        } else if slot.at + slot.len > end {
            let left = slot.at + slot.len - end;
            slot.len = end - slot.at;
            if left >= 6 {
                more.push(Slot {
                    at: end,
                    len: left,
                    chord: in_force(end),
                    weak: false,
                    ..*slot
                });
            }
        }
        if slot.delayed {
            slot.chord = in_force(slot.at - 6);
        }
    }
    slots.extend(more);
    slots.sort_by_key(|s| s.at);
}
