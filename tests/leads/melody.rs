//! A melody with chord symbols as a passage grid: chord notes where the beat is strong, passing and neighbour notes
//! between them, leaps, pushes, held notes and rests. Nothing here knows a voicing.

use crate::ensembles::notes::{Dice, Tone, key_alter, under};
use crate::passages::plan::{Bars, Key, METERS, Meter, Placed, Slot, changes, rhythm};
use chartproof::inside::reading::grid;
use chartproof::inside::score::Score;
use std::fmt::Write as _;
use std::path::Path;

struct Melody {
    key: Key,
    meter: Meter,
    bars: i32,
    chords: Vec<Placed>,
    notes: Vec<(i32, i32, Tone)>,
}

/// Sounding ranges of tunes: most lie in the treble staff, some below and some above it.
const RANGES: [(i16, i16); 4] = [(60, 76), (60, 79), (57, 74), (64, 81)];

fn melody(seed: u64) -> Melody {
    let mut dice = Dice::new(seed.wrapping_add(90_210));
    let key = Key {
        fifths: dice.roll(11) as i16 - 6,
        minor: dice.chance(30),
    };
    let meter = METERS[*dice.pick(&[0, 0, 0, 0, 0, 1, 1, 2, 3])];
    let phrases = 2 + dice.roll(2) as i32;
    let mut chords = Vec::new();
    let mut notes = Vec::new();
    let range = *dice.pick(&RANGES);
    let mut from = i16::midpoint(range.0, range.1);
    for phrase in 0..phrases {
        let bar = phrase * 4;
        let ends = phrase + 1 == phrases;
        chords.extend(changes(&mut dice, key, meter, bar, ends, false));
        let span = Bars { bar, bars: 4 };
        let held = dice.chance(8);
        let slots = rhythm(&mut dice, meter, span, &chords, held);
        from = line(&mut dice, key, &chords, &slots, range, from, &mut notes);
    }
    Melody {
        key,
        meter,
        bars: phrases * 4,
        chords,
        notes,
    }
}

/// Notes of a rhythm, one after the other.
fn line(
    dice: &mut Dice,
    key: Key,
    chords: &[Placed],
    slots: &[Slot],
    (low, high): (i16, i16),
    from: i16,
    notes: &mut Vec<(i32, i32, Tone)>,
) -> i16 {
    let mut at = from;
    let mut up = dice.chance(50);
    for (index, slot) in slots.iter().enumerate() {
        if at > high - 3 {
            up = false;
        } else if at < low + 3 {
            up = true;
        } else if dice.chance(25) {
            up = !up;
        }
        let chord = chords[slot.chord].chord;
        let scale = |t: &Tone| t.alter() == key_alter(t.letter.rem_euclid(7), key.fifths);
        let own: Vec<Tone> = chord.four().iter().map(|d| chord.at(*d).plain()).collect();
        let takes = (0..7).map(|l| Tone { letter: l, midi: 0 }.staff_step(0, key.fifths));
        let last = index + 1 == slots.len();
        let pool: Vec<Tone> = if slot.weak && !last && dice.chance(75) {
            // A step of the scale, sometimes one between.
            if dice.chance(12) {
                (at - 1..=at + 1)
                    .map(|m| Tone::spelled(m, key.fifths))
                    .collect()
            } else {
                takes.filter(scale).collect()
            }
        } else if !slot.weak && slot.len >= 12 && dice.chance(14) {
            takes.filter(|t| chord.takes(*t)).collect()
        } else {
            own
        };
        let reach = *dice.pick(&[2, 2, 3, 4, 4, 5, 7, 9]);
        let octaves = pool
            .iter()
            .flat_map(|t| [0, 12].map(|down| under(*t, high).octaves(-down / 12)))
            .filter(|t| t.midi >= low);
        let wanted = if slot.weak {
            at + if up { 2 } else { -2 }
        } else {
            at + if up { reach } else { -reach }
        };
        let next = octaves.min_by_key(|t| {
            let again = i16::from(t.midi == at) * 4;
            (t.midi - wanted).abs() * 2 + again
        });
        if let Some(tone) = next {
            at = tone.midi;
            notes.push((slot.at, slot.len, tone));
        }
    }
    at
}

fn gcd(a: i32, b: i32) -> i32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

fn count(meter: Meter, at: i32) -> String {
    let figure = meter.figure();
    let within = at.rem_euclid(meter.bar);
    let (beat, rest) = (within / figure + 1, within % figure);
    if rest == 0 {
        return beat.to_string();
    }
    let by = gcd(rest, figure);
    format!("{beat}+{}/{}", rest / by, figure / by)
}

/// The melody of a number as a grid, its one part a flute.
pub fn grid(seed: u64) -> String {
    let m = melody(seed);
    let mut out = format!(
        "title: melody {seed}\nkey: {}\nmeter: {}/{}\npitch: sounding\nparts: lead = flute\n",
        m.key.name(),
        m.meter.beats,
        m.meter.unit
    );
    for system in 0..m.bars / 4 {
        let mut columns: Vec<i32> = (system * 4..system * 4 + 4)
            .map(|b| b * m.meter.bar)
            .collect();
        columns.extend(m.notes.iter().flat_map(|n| [n.0, n.0 + n.1]));
        columns.extend(m.chords.iter().map(|c| c.at));
        let span = system * 4 * m.meter.bar..(system * 4 + 4) * m.meter.bar;
        columns.retain(|t| span.contains(t));
        columns.sort_unstable();
        columns.dedup();
        out.push('\n');
        let chord = |at: i32| {
            let placed = m.chords.iter().find(|c| c.at == at);
            placed.map_or_else(|| "-".to_owned(), |c| c.chord.symbol())
        };
        let lead = |at: i32| match m.notes.iter().find(|n| (n.0..n.0 + n.1).contains(&at)) {
            None => ".".to_owned(),
            Some(n) if n.0 < at => "-".to_owned(),
            Some(n) => n.2.name(),
        };
        let rows: [(&str, &dyn Fn(i32) -> String); 3] = [
            ("chord", &chord),
            ("count", &|at| count(m.meter, at)),
            ("lead", &lead),
        ];
        for (label, cell) in rows {
            let _ = write!(out, "{label:<6}|");
            for (index, at) in columns.iter().enumerate() {
                if index > 0 && at % m.meter.bar == 0 {
                    out.push_str(" |");
                }
                let _ = write!(out, " {:<5}", cell(*at));
            }
            out.push_str("|\n");
        }
    }
    out
}

pub fn read(text: &str) -> Score {
    grid::read(Path::new("lead.passage"), text.into()).unwrap_or_else(|e| panic!("{e}\n{text}"))
}
