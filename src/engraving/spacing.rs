//! Where the onsets of some bars stand, so that nothing on any staff runs into its neighbour.

use super::events::{DrawnEvent, settle};
use super::filed::{Direction, MeterSign};
use super::glyphs::{self, Glyph};
use crate::ground::time::Meter;
use crate::notation::{EventKind, Quarters, ZERO};
use crate::score::Clef;

/// A meter as it is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct ShownMeter {
    pub meter: Meter,
    pub sign: Option<MeterSign>,
}

/// Something that changes on a staff.
#[derive(Clone, Copy, Debug)]
pub(super) enum StaffChange {
    Clef(Clef),
    /// To so many sharps (flats, when negative), from so many.
    Key(i8, i8),
    Meter(ShownMeter),
}

/// A staff with all that stands on it.
#[derive(Debug)]
pub(super) struct Staff {
    /// 0-based part of the score.
    pub part: u32,
    pub events: Vec<DrawnEvent>,
    /// In force at the start.
    pub clef: Clef,
    pub fifths: i8,
    /// ShownPitch at the start.
    pub meter: Option<ShownMeter>,
    /// Later changes: bar, time in it.
    pub changes: Vec<(u32, Quarters, StaffChange)>,
    /// Dynamics: bar, time in it.
    pub dynamics: Vec<(u32, Quarters, String)>,
    /// Bars that are slashes.
    pub slashes: Vec<(u32, u16)>,
    /// Words and signs of its file, in order of time.
    pub directions: Vec<Direction>,
}

impl Staff {
    /// The clef in force at a time.
    pub fn clef_at(&self, bar: u32, at: Quarters) -> Clef {
        self.changes
            .iter()
            .filter(|(b, t, _)| (*b, *t) <= (bar, at))
            .filter_map(|(_, _, change)| match change {
                StaffChange::Clef(clef) => Some(*clef),
                _ => None,
            })
            .next_back()
            .unwrap_or(self.clef)
    }
}

/// Words at a time, in a row that they have for themselves.
#[derive(Clone, Copy, Debug)]
pub(super) struct SpacedWord {
    pub bar: u32,
    pub at: Quarters,
    /// How wide they are.
    pub width: f64,
    /// 0-based.
    pub row: usize,
}

/// An onset.
#[derive(Clone, Copy, Debug)]
pub(super) struct Column {
    pub at: Quarters,
    pub x: f64,
    /// How far what stands there reaches.
    pub left: f64,
    pub right: f64,
}

/// A bar's place.
#[derive(Clone, Debug)]
pub(super) struct BarSpace {
    pub bar: u32,
    pub left: f64,
    /// Where changes at its start stand.
    pub changes: f64,
    /// Where its notes may start.
    pub from: f64,
    pub right: f64,
    pub length: Quarters,
    pub columns: Vec<Column>,
}

impl BarSpace {
    /// Where a time stands, between the onsets if it is none.
    pub fn x(&self, at: Quarters) -> f64 {
        let next = self.columns.iter().position(|c| c.at >= at);
        let before = match next {
            Some(n) => n.checked_sub(1).and_then(|i| self.columns.get(i)),
            None => self.columns.last(),
        };
        let (t0, x0) = before.map_or((ZERO, self.from), |c| (c.at, c.x));
        let (t1, x1) = next
            .and_then(|n| self.columns.get(n))
            .map_or((self.length, self.right), |c| (c.at, c.x));
        if t1 == at || t1 <= t0 {
            return x1;
        }
        x0 + (x1 - x0) * number((at - t0) / (t1 - t0))
    }

    pub fn column(&self, at: Quarters) -> Option<&Column> {
        self.columns.iter().find(|c| c.at == at)
    }
}

/// Where everything stands from left to right.
#[derive(Debug)]
pub(super) struct Layout {
    /// The left end of the staves.
    pub left: f64,
    pub key_x: f64,
    pub meter_x: f64,
    pub bars: Vec<BarSpace>,
    pub right: f64,
}

impl Layout {
    pub fn bar(&self, bar: u32) -> Option<&BarSpace> {
        self.bars.iter().find(|b| b.bar == bar)
    }
}

pub(super) fn number(q: Quarters) -> f64 {
    *q.numer() as f64 / (*q.denom()).max(1) as f64
}

/// The room that a duration likes to have: twice the length, 1.42 times the room.
fn ideal(duration: Quarters) -> f64 {
    /// The logarithm of 1.42 to the base 2.
    const GROWTH: f64 = 0.505_890_929_729_957_3;
    let quarters = number(duration).max(1.0 / 32.0);
    (3.5 * power(quarters, GROWTH)).clamp(1.9, 11.0)
}

/// A power with an exponent from 0 to 1, from square roots, one for each binary digit of the exponent:
/// the system's library of functions is half a megabyte in memory, and nothing else here asks for it.
fn power(base: f64, exponent: f64) -> f64 {
    let (mut root, mut digits, mut power) = (base, exponent, 1.0);
    for _ in 0..f64::MANTISSA_DIGITS {
        root = root.sqrt();
        digits *= 2.0;
        if digits >= 1.0 {
            digits -= 1.0;
            power *= root;
        }
    }
    power
}

/// The clef's sign and its height above the middle line.
pub(super) fn clef_sign(clef: Clef) -> (Glyph, i32) {
    let pos = 2 * (i32::from(clef.line) - 3);
    match (clef.sign, clef.octave) {
        ('F', i8::MIN..=-1) => (glyphs::F_CLEF_8VB, pos),
        ('F', 0) => (glyphs::F_CLEF, pos),
        ('F', _) => (glyphs::F_CLEF_8VA, pos),
        ('C', _) => (glyphs::C_CLEF, pos),
        ('P', _) => (glyphs::PERCUSSION_CLEF, 0),
        (_, i8::MIN..=-1) => (glyphs::G_CLEF_8VB, pos),
        (_, 0) => (glyphs::G_CLEF, pos),
        (_, _) => (glyphs::G_CLEF_8VA, pos),
    }
}

/// The accidentals of a key signature with their heights above the middle line; those of the key
/// before are cancelled where no others take their place.
pub(super) fn key_signature(fifths: i8, before: i8, clef: Clef) -> Vec<(Glyph, i32)> {
    const SHARPS: [i32; 7] = [4, 1, 5, 2, -1, 3, 0];
    const FLATS: [i32; 7] = [0, 3, -1, 2, -2, 1, -3];
    const TENOR_SHARPS: [i32; 7] = [-2, 2, -1, 3, 0, 4, 1];
    let lower = match (clef.sign, clef.line) {
        ('P', _) => return Vec::new(),
        ('F', line) => -2 + 2 * (i32::from(line) - 4),
        ('C', line) => -1 + 2 * (i32::from(line) - 3),
        (_, line) => 2 * (i32::from(line) - 2),
    };
    let of = |fifths: i8| -> Vec<i32> {
        let count = usize::from(fifths.unsigned_abs());
        if fifths > 0 && clef.sign == 'C' && clef.line == 4 {
            return TENOR_SHARPS.into_iter().take(count).collect();
        }
        let row = if fifths > 0 { SHARPS } else { FLATS };
        let row = row.into_iter().take(count);
        row.map(|p| p + lower).collect()
    };
    let cancelled = if before.signum() != fifths.signum() && fifths == 0 {
        of(before)
    } else {
        Vec::new()
    };
    let glyph = if fifths > 0 {
        glyphs::SHARP
    } else {
        glyphs::FLAT
    };
    cancelled
        .into_iter()
        .map(|p| (glyphs::NATURAL, p))
        .chain(of(fifths).into_iter().map(|p| (glyph, p)))
        .collect()
}

/// How far apart the accidentals of a key signature stand.
pub(super) fn key_step(glyph: Glyph) -> f64 {
    glyph.right() + if glyph == glyphs::NATURAL { 0.25 } else { 0.1 }
}

fn key_width(signs: &[(Glyph, i32)]) -> f64 {
    signs.iter().map(|(g, _)| key_step(*g)).sum()
}

/// The figures of a number, as the digits of a meter.
pub(super) fn figures(number: u16) -> Vec<Glyph> {
    number
        .to_string()
        .bytes()
        .map(|b| Glyph::figure(b.wrapping_sub(b'0')))
        .collect()
}

/// The upper figures of a meter, with a sign between those that are added up.
pub(super) fn upper_figures(shown: ShownMeter) -> Vec<Glyph> {
    let Some(MeterSign::Added(beats)) = shown.sign else {
        return figures(shown.meter.beats);
    };
    let mut row = Vec::new();
    for beats in beats.into_iter().filter(|b| *b > 0) {
        if !row.is_empty() {
            row.push(glyphs::BEATS_PLUS);
        }
        row.extend(figures(u16::from(beats)));
    }
    row
}

/// The sign that stands for both figures.
pub(super) const fn meter_glyph(shown: ShownMeter) -> Option<Glyph> {
    match shown.sign {
        Some(MeterSign::Common) => Some(glyphs::COMMON_TIME),
        Some(MeterSign::Cut) => Some(glyphs::CUT_TIME),
        _ => None,
    }
}

pub(super) fn meter_width(shown: ShownMeter) -> f64 {
    if let Some(glyph) = meter_glyph(shown) {
        return glyph.advance();
    }
    let width = |row: Vec<Glyph>| row.into_iter().map(Glyph::advance).sum::<f64>();
    width(upper_figures(shown)).max(width(figures(shown.meter.unit)))
}

/// A clef within a line is smaller than one at its start.
pub(super) const CHANGED_CLEF: f64 = 0.75;

/// How wide what changes at one time of a staff is.
fn changes_width(staff: &Staff, bar: u32, at: Quarters) -> f64 {
    staff
        .changes
        .iter()
        .filter(|(b, t, _)| *b == bar && *t == at)
        .map(|(_, _, change)| match change {
            StaffChange::Clef(clef) => clef_sign(*clef).0.right() * CHANGED_CLEF + 0.5,
            StaffChange::Key(to, from) => {
                key_width(&key_signature(*to, *from, staff.clef_at(bar, at))) + 0.5
            }
            StaffChange::Meter(meter) => meter_width(*meter) + 0.5,
        })
        .sum()
}

/// Puts every onset in its place. `bars` are index, length and the room their closing bar line takes;
/// `words` stand over and under the staves, in rows.
pub(super) fn space(
    staves: &mut [Staff],
    bars: &[(u32, Quarters, f64)],
    words: &[SpacedWord],
    left: f64,
) -> Layout {
    for staff in staves.iter_mut() {
        settle_all(&mut staff.events);
    }
    let widest = |width: &dyn Fn(&Staff) -> f64| staves.iter().map(width).fold(0.0, f64::max);
    let clef = widest(&|s| clef_sign(s.clef).0.right());
    let key = widest(&|s| key_width(&key_signature(s.fifths, 0, s.clef)));
    let meter = widest(&|s| s.meter.map_or(0.0, meter_width));
    let key_x = left + 0.7 + clef + 0.6;
    let meter_x = key_x + key + if key > 0.0 { 0.5 } else { 0.0 };
    let mut x = meter_x + meter + if meter > 0.0 { 0.4 } else { 0.0 };
    let mut layout = Layout {
        left,
        key_x,
        meter_x,
        bars: Vec::with_capacity(bars.len()),
        right: x,
    };
    for (n, (bar, length, line)) in bars.iter().enumerate() {
        let changes = if n == 0 { x } else { x + 0.6 };
        let room = staves
            .iter()
            .map(|s| {
                if n == 0 {
                    0.0
                } else {
                    changes_width(s, *bar, ZERO)
                }
            })
            .fold(0.0, f64::max);
        let from = changes + room + 0.7;
        let mut space = bar_space(staves, *bar, *length, words, (x, changes, from));
        space.right += line;
        x = space.right;
        layout.bars.push(space);
    }
    layout.right = x;
    for staff in staves.iter_mut() {
        for event in &mut staff.events {
            if let Some(space) = layout.bars.iter().find(|b| b.bar == event.bar) {
                event.x = space.x(event.start);
            }
        }
    }
    layout
}

fn bar_space(
    staves: &[Staff],
    bar: u32,
    length: Quarters,
    words: &[SpacedWord],
    (left, changes, from): (f64, f64, f64),
) -> BarSpace {
    let moves = |i: &&DrawnEvent| i.bar == bar && i.kind != EventKind::BarRest;
    let mut times: Vec<Quarters> = staves
        .iter()
        .flat_map(|s| s.events.iter().filter(moves).map(|i| i.start))
        .chain(words.iter().filter(|w| w.bar == bar).map(|w| w.at))
        .collect();
    times.sort_unstable();
    times.dedup();
    let mut columns: Vec<Column> = Vec::with_capacity(times.len());
    // How far each staff is filled, and each row of words.
    let mut filled = vec![from - 0.3; staves.len()];
    let rows = words.iter().map(|w| w.row + 1).max().unwrap_or(0);
    let mut words_end = vec![from - 1.0; rows];
    for at in &times {
        let reach: Vec<Option<(f64, f64)>> = staves
            .iter()
            .map(|s| {
                let change = if *at == ZERO {
                    0.0
                } else {
                    changes_width(s, bar, *at)
                };
                let here = s.events.iter().filter(moves).filter(|i| i.start == *at);
                here.map(|i| (i.left - change, i.right))
                    .reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
            })
            .collect();
        let mut x = match columns.last() {
            Some(last) => last.x + ideal(*at - last.at),
            None if *at > ZERO => from + ideal(*at),
            None => from,
        };
        for (reach, filled) in reach.iter().zip(&filled) {
            if let Some((left, _)) = reach {
                x = x.max(filled + 0.3 - left);
            }
        }
        let here = words.iter().filter(|w| w.bar == bar && w.at == *at);
        for end in here.clone().filter_map(|w| words_end.get(w.row)) {
            x = x.max(end + 0.6);
        }
        for word in here {
            if let Some(end) = words_end.get_mut(word.row) {
                *end = x + word.width;
            }
        }
        let mut column = Column {
            at: *at,
            x,
            left: 0.0,
            right: 0.0,
        };
        for (reach, filled) in reach.iter().zip(&mut filled) {
            if let Some((left, right)) = reach {
                *filled = x + right;
                column.left = column.left.min(*left);
                column.right = column.right.max(*right);
            }
        }
        columns.push(column);
    }
    let last = columns.last().map_or(from, |c| {
        c.x + ideal((length - c.at).max(Quarters::new(1, 8)))
    });
    let right = filled
        .iter()
        .fold(last, |x, f| x.max(f + 0.8))
        .max(words_end.into_iter().fold(from, f64::max))
        .max(from + 6.0);
    BarSpace {
        bar,
        left,
        changes,
        from,
        right,
        length,
        columns,
    }
}

/// Settles the events of a staff onset by onset.
fn settle_all(events: &mut [DrawnEvent]) {
    events.sort_by_key(|i| (i.bar, i.start, i.voice));
    let mut rest = events;
    while let Some(first) = rest.first() {
        let key = (first.bar, first.start);
        let count = rest.iter().take_while(|i| (i.bar, i.start) == key).count();
        let (here, after) = rest.split_at_mut(count);
        for event in here.iter_mut() {
            for grace in &mut event.graces {
                settle(&mut [grace]);
            }
        }
        settle(&mut here.iter_mut().collect::<Vec<_>>());
        rest = after;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clef(sign: char, line: u8) -> Clef {
        Clef {
            sign,
            line,
            octave: 0,
            staff: 1,
        }
    }

    #[test]
    fn key_signatures_stand_where_each_clef_has_them() {
        let heights = |fifths, c| -> Vec<i32> {
            key_signature(fifths, 0, c)
                .into_iter()
                .map(|s| s.1)
                .collect()
        };
        // Common practice, no source: F#5 on the top line, C#5 in the third space.
        assert_eq!(heights(2, clef('G', 2)), [4, 1]);
        assert_eq!(heights(-2, clef('G', 2)), [0, 3]);
        assert_eq!(heights(2, clef('F', 4)), [2, -1]);
        assert_eq!(heights(-1, clef('C', 3)), [-1]);
        assert_eq!(heights(1, clef('C', 4)), [-2]);
        assert_eq!(heights(3, clef('P', 3)), [0; 0]);
        let cancelled = key_signature(0, -2, clef('G', 2));
        assert!(cancelled.iter().all(|s| s.0 == glyphs::NATURAL));
        assert_eq!(cancelled.len(), 2);
    }

    #[test]
    fn longer_values_get_more_room_but_not_in_proportion() {
        let q = |n, d| ideal(Quarters::new(n, d));
        assert!(q(1, 2) < q(1, 1) && q(1, 1) < q(2, 1));
        assert!(q(4, 1) < 4.0 * q(1, 1));
        for n in 1..200 {
            let quarters = f64::from(n) / 48.0;
            let exact = (3.5 * 1.42_f64.powf(quarters.log2())).clamp(1.9, 11.0);
            assert!((q(n.into(), 48) - exact).abs() < 1e-12, "{n}/48");
        }
    }
}
