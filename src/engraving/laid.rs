//! How a part's bars look on paper: note values and ties, tuplets, beams, stems, accidentals.
//!
//! Positions are exact, in quarter notes since the bar line.

use crate::ground::pitch::{NoteName, Pitch};
use crate::ground::time::{Meter, Ticks, checked_lcm, gcd};
use crate::score::identity::Identity;
use crate::score::{Clef, NoteFlags, Part, Score, in_force};
use num_rational::Ratio;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::Range;

/// Time in quarter notes.
pub(crate) type Quarters = Ratio<i64>;

pub(crate) const ZERO: Quarters = Ratio::new_raw(0, 1);

/// Note values from the breve down, as MusicXML calls them; the one at `i` lasts `8 / 2^i` quarters.
pub(crate) const VALUES: [&str; 14] = [
    "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th",
    "512th", "1024th", "long", "maxima",
];

const LONGER: [(usize, i64); 2] = [(12, 16), (13, 32)];

/// The place of the quarter in [`VALUES`].
const QUARTER: usize = 3;

/// A note value with its dots.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Shape {
    /// Index into [`VALUES`].
    pub value: usize,
    pub dots: u8,
}

impl Shape {
    /// The single value that lasts `length`, when there is one.
    pub(crate) fn of(length: Quarters) -> Option<Self> {
        let mut best = None;
        let plain = (0..12).map(|i| (i, Ratio::new(8, 1i64 << i)));
        let long = LONGER.map(|(i, n)| (i, Ratio::from_integer(n)));
        for (value, whole) in plain.chain(long) {
            for dots in 0..=2u8 {
                let part = 1i64 << dots;
                if whole * Ratio::new(2 * part - 1, part) == length {
                    best = Some(Self { value, dots });
                }
            }
        }
        best
    }

    /// How many beams or flags it has.
    pub(crate) const fn beams(self) -> usize {
        if self.value > QUARTER && self.value < 12 {
            self.value - QUARTER
        } else {
            0
        }
    }
}

/// A stem's direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stem {
    Up,
    Down,
}

/// What one beam does at a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Beam {
    Begin,
    Continue,
    End,
    ForwardHook,
    BackwardHook,
}

/// One notehead of a piece.
#[derive(Clone, Copy, Debug)]
#[allow(clippy::struct_excessive_bools)] // each is a fact of its own
pub(crate) struct Head {
    /// Index into the part's notes.
    pub note: usize,
    /// As it is printed.
    pub pitch: Pitch,
    pub tie_in: bool,
    pub tie_out: bool,
    /// The attack of its note.
    pub first: bool,
    /// The end of its note.
    pub last: bool,
    /// The accidental before it, in semitones.
    pub accidental: Option<i8>,
    pub staff: u8,
}

/// What a piece is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Note,
    Grace,
    Cue,
    Rest,
    /// A rest that fills the bar.
    BarRest,
}

/// A note, chord or rest as it is printed: one value.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    pub start: Quarters,
    pub length: Quarters,
    pub kind: Kind,
    pub staff: u8,
    pub heads: Vec<Head>,
    pub shape: Option<Shape>,
    /// Notes in the time of: (3, 2) for a triplet.
    pub tuplet: Option<(i64, i64)>,
    pub tuplet_start: bool,
    pub tuplet_stop: bool,
    /// Whether the tuplet that starts here is not shown by its beam.
    pub bracket: bool,
    pub beams: Vec<Beam>,
    pub stem: Option<Stem>,
}

impl Piece {
    fn new(start: Quarters, length: Quarters, kind: Kind, staff: u8) -> Self {
        Self {
            start,
            length,
            kind,
            staff,
            heads: Vec::new(),
            shape: None,
            tuplet: None,
            tuplet_start: false,
            tuplet_stop: false,
            bracket: false,
            beams: Vec::new(),
            stem: None,
        }
    }

    pub(crate) fn end(&self) -> Quarters {
        self.start + self.length
    }

    const fn is_rest(&self) -> bool {
        matches!(self.kind, Kind::Rest | Kind::BarRest)
    }

    /// Cut in two at a time inside it; the noteheads are tied.
    fn cut(self, at: Quarters) -> [Self; 2] {
        let mut first = self.clone();
        let mut second = self;
        second.length = second.end() - at;
        second.start = at;
        first.length = at - first.start;
        for head in &mut first.heads {
            head.tie_out = true;
            head.last = false;
        }
        for head in &mut second.heads {
            head.tie_in = true;
            head.first = false;
        }
        [first, second]
    }
}

/// One voice of one bar, in order of time, nothing overlapping.
#[derive(Clone, Debug)]
pub(crate) struct Lane {
    pub voice: u8,
    pub pieces: Vec<Piece>,
    /// Which of overlapping lanes of its voice; 0 keeps the voice's number.
    extra: u8,
}

/// The bars of one part, each with its voices.
pub(crate) struct Laid {
    pub bars: Vec<Vec<Lane>>,
}

/// How a bar is divided.
#[derive(Clone, Copy)]
struct Frame {
    /// The felt beat.
    beat: Quarters,
    compound: bool,
    /// The place inside the bar that must be seen.
    middle: Option<Quarters>,
    /// The bar as its meter has it.
    full: Quarters,
    /// What a pickup lacks before its first note.
    missing: Quarters,
    meter: Meter,
}

impl Frame {
    fn new(meter: Meter, length: Quarters, pickup: bool) -> Self {
        let unit = meter.unit_quarters();
        let compound = meter.unit >= 8 && meter.beats.is_multiple_of(3) && meter.beats > 3;
        let beat = if compound { unit * 3 } else { unit };
        let beats = if compound {
            meter.beats / 3
        } else {
            meter.beats
        };
        let middle = match beats {
            4 => Some(2),
            5 | 6 => Some(3),
            7 | 8 => Some(4),
            _ => None,
        };
        let full = unit * i64::from(meter.beats.max(1));
        Self {
            beat,
            compound,
            middle: middle.map(|m| beat * m),
            full,
            missing: if pickup && length < full {
                full - length
            } else {
                ZERO
            },
            meter,
        }
    }

    fn beat_start(&self, at: Quarters) -> Quarters {
        (at / self.beat).floor() * self.beat
    }

    /// Where something that starts and ends at these times must be cut to show the beats, if it
    /// must.
    fn cut(&self, piece: &Piece) -> Option<Quarters> {
        let at = self.cut_within(
            piece.start + self.missing,
            piece.end() + self.missing,
            piece.is_rest(),
        )?;
        let at = at - self.missing;
        (at > piece.start && at < piece.end()).then_some(at)
    }

    fn cut_within(&self, start: Quarters, end: Quarters, rest: bool) -> Option<Quarters> {
        let length = end - start;
        let dots = Shape::of(length).map(|s| s.dots);
        let beat = self.beat;
        let first = self.beat_start(start);
        let on_beat = start == first;
        if end <= first + beat {
            let fits = match dots {
                Some(0) => true,
                Some(1) => !rest || self.compound || on_beat || end == first + beat,
                Some(_) => !rest,
                None => false,
            };
            return if fits {
                None
            } else {
                self.divide(start, end, first)
            };
        }
        let crosses_middle = self.middle.filter(|m| start < *m && *m < end);
        if rest {
            if !on_beat {
                return Some(first + beat);
            }
            // Rests never blur the beats: two of them only as the first or the second half.
            let two = beat * 2;
            let paired = (start / two).is_integer()
                && self.middle.is_none_or(|m| (m / two).is_integer())
                && (self.full / two).is_integer();
            let whole = paired && start == ZERO && end == self.full && dots == Some(0);
            if whole || (paired && length == two) {
                return None;
            }
            return Some(if paired && length > two {
                start + two
            } else {
                first + beat
            });
        }
        if let Some(middle) = crosses_middle {
            let four = middle + middle == self.full;
            let from_bar_line = start == ZERO && (four || end == self.full);
            let syncopated = start == middle - beat && end == middle + beat;
            let one = dots.is_some_and(|d| d <= 1);
            if !(one && (from_bar_line || syncopated)) {
                return Some(middle);
            }
            return None;
        }
        if on_beat {
            let beats = length / beat;
            let fits = match dots {
                Some(d) if self.compound => beats.is_integer() && d <= 1,
                Some(d) => d <= 1 || length < beat * 2,
                None => false,
            };
            if fits {
                return None;
            }
            let last = self.beat_start(end);
            return Some(if last == end {
                // Whole beats, but no single value.
                let two = first + beat * 2;
                if two < end { two } else { first + beat }
            } else {
                last
            });
        }
        let off = first + beat / 2;
        let one = dots.is_some_and(|d| d <= 1);
        let ends_on_beat = (end / beat).is_integer();
        let syncopated = !self.compound
            && one
            && start == off
            && (length == beat || (ends_on_beat && length == beat * Ratio::new(3, 2)));
        if syncopated { None } else { Some(first + beat) }
    }

    /// The strongest place inside a beat at which something that is no single value is cut.
    fn divide(&self, start: Quarters, end: Quarters, beat: Quarters) -> Option<Quarters> {
        // Lengths finer than notation goes come from files whose durations were rounded: cutting
        // them up would help nobody.
        if *(end - start).denom() > 64 {
            return None;
        }
        let mut step = if self.compound {
            self.beat / 3
        } else {
            self.beat / 2
        };
        for _ in 0..10 {
            let next = beat + ((start - beat) / step).floor() * step + step;
            if next < end {
                return Some(next);
            }
            step /= 2;
        }
        None
    }

    /// Which window of beams a time falls in: eighths alone may share half a bar of four.
    fn window(&self, at: Quarters, eighths: bool) -> Quarters {
        let at = at + self.missing;
        let wide = match (self.meter.beats, self.meter.unit) {
            (4, 4) if eighths => self.beat * 2,
            (3, 8) => self.full,
            (b, u) if u >= 8 && !self.compound => {
                return match self.middle {
                    Some(m) if b >= 5 => {
                        if at >= m {
                            m
                        } else {
                            ZERO
                        }
                    }
                    _ => (at / (self.beat * 2)).floor(),
                };
            }
            _ => self.beat,
        };
        (at / wide).floor()
    }
}

/// The odd factor of a number.
fn odd(mut n: i64) -> i64 {
    n = n.abs().max(1);
    n >> n.trailing_zeros()
}

fn binary(at: Quarters) -> bool {
    odd(*at.denom()) == 1
}

/// The least common multiple, `a` when it would overflow.
pub(crate) fn lcm(a: i64, b: i64) -> i64 {
    checked_lcm(a, b).unwrap_or(a).max(1)
}

/// The greatest time that both are multiples of.
fn common(a: Quarters, b: Quarters) -> Quarters {
    let below = lcm(*a.denom(), *b.denom());
    let up = |q: Quarters| (q * below).to_integer();
    Ratio::new(gcd(up(a), up(b)), below)
}

/// The tuplets of a lane: each the range of its pieces.
fn tuplets(pieces: &[Piece]) -> Vec<std::ops::Range<usize>> {
    let mut groups = Vec::new();
    let mut i = 0;
    while let Some(piece) = pieces.get(i) {
        let whole = binary(piece.start) && binary(piece.end());
        if piece.length == ZERO || piece.kind == Kind::BarRest || whole {
            i += 1;
            continue;
        }
        let from = i;
        let mut at = piece.end();
        i += 1;
        while let Some(next) = pieces.get(i) {
            if binary(at) || next.start != at {
                break;
            }
            at = next.end();
            i += 1;
        }
        groups.push(from..i);
    }
    groups
}

/// How many notes stand in the time of how many.
fn ratio(group: &[Piece]) -> Option<(i64, i64)> {
    let actual = group.iter().fold(1, |k, p| {
        lcm(k, lcm(odd(*p.length.denom()), odd(*p.start.denom())))
    });
    // Nobody plays finer ones: such lengths come from files whose durations do not add up.
    if !(3..=15).contains(&actual) {
        return None;
    }
    let mut normal = 1;
    while normal * 2 < actual {
        normal *= 2;
    }
    Some((actual, normal))
}

/// Cuts what is no single value or hides a beat, until nothing is left to cut.
fn cut_all(mut pieces: Vec<Piece>, frame: &Frame) -> Vec<Piece> {
    for _ in 0..64 {
        let mut cuts: BTreeMap<usize, Quarters> = BTreeMap::new();
        let groups = tuplets(&pieces);
        let mut grouped = BTreeSet::new();
        for range in &groups {
            grouped.extend(range.clone());
            let Some(group) = pieces.get(range.clone()) else {
                continue;
            };
            let Some(head) = group.first() else { continue };
            let step = group.iter().fold(head.length, |u, p| common(u, p.length));
            let tuplet = ratio(group);
            for (i, piece) in range.clone().zip(group) {
                let next =
                    frame.beat_start(piece.start + frame.missing) + frame.beat - frame.missing;
                if next < piece.end() && ((next - head.start) / step).is_integer() {
                    cuts.insert(i, next);
                    break;
                }
                let Some((actual, normal)) = tuplet else {
                    continue;
                };
                let nominal = piece.length * Ratio::new(actual, normal);
                if Shape::of(nominal).is_none()
                    && let Some(value) = largest(nominal)
                {
                    cuts.insert(i, piece.start + value * Ratio::new(normal, actual));
                    break;
                }
            }
        }
        for (i, piece) in pieces.iter().enumerate() {
            let plain = matches!(piece.kind, Kind::Note | Kind::Cue | Kind::Rest)
                && piece.length > ZERO
                && !grouped.contains(&i);
            if plain && let Some(at) = frame.cut(piece) {
                cuts.insert(i, at);
            }
        }
        if cuts.is_empty() {
            break;
        }
        pieces = pieces
            .into_iter()
            .enumerate()
            .flat_map(|(i, piece)| match cuts.get(&i) {
                Some(at) if *at > piece.start && *at < piece.end() => piece.cut(*at).to_vec(),
                _ => vec![piece],
            })
            .collect();
    }
    pieces
}

/// The largest plain value below a length.
fn largest(length: Quarters) -> Option<Quarters> {
    (0..12)
        .map(|i| Ratio::new(8, 1i64 << i))
        .find(|v| *v < length)
}

/// Gives every piece its value and marks the tuplets.
fn shape_all(pieces: &mut [Piece]) {
    for range in tuplets(pieces) {
        let Some(group) = pieces.get_mut(range) else {
            continue;
        };
        let Some(tuplet) = ratio(group) else { continue };
        for piece in group.iter_mut() {
            piece.tuplet = Some(tuplet);
        }
        if let Some(first) = group.first_mut() {
            first.tuplet_start = true;
        }
        if let Some(last) = group.last_mut() {
            last.tuplet_stop = true;
        }
    }
    let mut i = 0;
    while i < pieces.len() {
        // Grace notes that stand together are sixteenths, one alone is an eighth.
        let graces = pieces
            .iter()
            .skip(i)
            .take_while(|p| p.kind == Kind::Grace)
            .count();
        if graces > 0 {
            let value = if graces > 1 { QUARTER + 2 } else { QUARTER + 1 };
            for (n, piece) in pieces.iter_mut().skip(i).take(graces).enumerate() {
                piece.shape = Some(Shape { value, dots: 0 });
                if graces > 1 {
                    let beam = if n == 0 {
                        Beam::Begin
                    } else if n + 1 == graces {
                        Beam::End
                    } else {
                        Beam::Continue
                    };
                    piece.beams = vec![beam; 2];
                }
            }
            i += graces;
            continue;
        }
        if let Some(piece) = pieces.get_mut(i)
            && piece.kind != Kind::BarRest
        {
            let (actual, normal) = piece.tuplet.unwrap_or((1, 1));
            piece.shape = Shape::of(piece.length * Ratio::new(actual, normal));
        }
        i += 1;
    }
}

/// Joins neighbouring rests, so that they can be divided as the meter wants.
fn join_rests(pieces: Vec<Piece>) -> Vec<Piece> {
    let mut out: Vec<Piece> = Vec::with_capacity(pieces.len());
    for piece in pieces {
        if let Some(last) = out.last_mut()
            && last.kind == Kind::Rest
            && piece.kind == Kind::Rest
            && last.staff == piece.staff
            && last.end() == piece.start
            && binary(last.start)
            && binary(last.end())
            && binary(piece.end())
        {
            last.length += piece.length;
            continue;
        }
        out.push(piece);
    }
    out
}

fn beam_all(pieces: &mut [Piece], frame: &Frame) {
    // Runs of neighbouring notes with flags; grace notes between them do not break a beam.
    let mut runs: Vec<Vec<usize>> = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    let mut end = None;
    for (i, piece) in pieces.iter().enumerate() {
        if piece.kind == Kind::Grace {
            continue;
        }
        let flags = piece.shape.map_or(0, Shape::beams);
        let joins = flags > 0
            && !piece.is_rest()
            && end == Some(piece.start)
            && open
                .last()
                .and_then(|&l| pieces.get(l))
                .is_some_and(|l| l.staff == piece.staff && l.kind == piece.kind);
        if !joins {
            runs.push(std::mem::take(&mut open));
        }
        if flags > 0 && !piece.is_rest() {
            open.push(i);
            end = Some(piece.end());
        } else {
            end = None;
        }
    }
    runs.push(open);
    for run in runs {
        let split = |indices: &[usize], eighths: bool| -> Vec<Vec<usize>> {
            let mut out: Vec<Vec<usize>> = Vec::new();
            let mut last = None;
            for &i in indices {
                let window = pieces.get(i).map(|p| frame.window(p.start, eighths));
                match out.last_mut() {
                    Some(group) if last == window => group.push(i),
                    _ => out.push(vec![i]),
                }
                last = window;
            }
            out
        };
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for half in split(&run, true) {
            let eighths = half.iter().all(|&i| {
                pieces
                    .get(i)
                    .is_some_and(|p| p.tuplet.is_none() && p.length == Ratio::new(1, 2))
            });
            if eighths {
                groups.push(half);
            } else {
                groups.extend(split(&half, false));
            }
        }
        for group in groups.into_iter().filter(|g| g.len() > 1) {
            let counts: Vec<usize> = group
                .iter()
                .map(|&i| pieces.get(i).and_then(|p| p.shape).map_or(0, Shape::beams))
                .collect();
            for (n, &i) in group.iter().enumerate() {
                let count = |n: Option<usize>| n.and_then(|n| counts.get(n)).copied().unwrap_or(0);
                let (before, here, after) =
                    (count(n.checked_sub(1)), count(Some(n)), count(Some(n + 1)));
                let Some(piece) = pieces.get_mut(i) else {
                    continue;
                };
                let early = (piece.start / (piece.length * 2)).is_integer();
                piece.beams = (1..=here)
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
    }
    // A tuplet whose notes one beam holds together needs no bracket.
    for range in tuplets(pieces) {
        let Some(group) = pieces.get_mut(range) else {
            continue;
        };
        let first = group.first().and_then(|p| p.beams.first()).copied();
        let last = group.last().and_then(|p| p.beams.first()).copied();
        let inside = group
            .iter()
            .skip(1)
            .take(group.len().saturating_sub(2))
            .all(|p| p.beams.first() == Some(&Beam::Continue));
        let beamed = first == Some(Beam::Begin) && last == Some(Beam::End) && inside;
        if let Some(first) = group.first_mut() {
            first.bracket = !beamed;
        }
    }
}

/// The staff position, in letter steps, of the middle line.
pub(crate) fn middle_line(clef: Clef) -> i16 {
    let on_its_line = match clef.sign {
        'F' => Pitch::new(crate::ground::pitch::Step::F, 0, 3),
        'C' => Pitch::new(crate::ground::pitch::Step::C, 0, 4),
        _ => Pitch::new(crate::ground::pitch::Step::G, 0, 4),
    };
    let line = if clef.sign == 'P' {
        2
    } else {
        i16::from(clef.line)
    };
    on_its_line.diatonic() + 2 * (3 - line) + 7 * i16::from(clef.octave)
}

/// Stems by the middle line; with two voices on a staff the upper one's go up.
fn stem_all(lanes: &mut [Lane], clef: &impl Fn(u8, Quarters) -> Clef) {
    let mut on_staff: HashMap<u8, Vec<usize>> = HashMap::new();
    for (n, lane) in lanes.iter().enumerate() {
        for piece in lane.pieces.iter().filter(|p| !p.is_rest()) {
            let list = on_staff.entry(piece.staff).or_default();
            if !list.contains(&n) {
                list.push(n);
            }
        }
    }
    for (n, lane) in lanes.iter_mut().enumerate() {
        let mut i = 0;
        while i < lane.pieces.len() {
            // A beam has one direction for all its notes.
            let mut end = i + 1;
            let begins = |p: &Piece| p.beams.first() == Some(&Beam::Begin);
            let grace = lane.pieces.get(i).map(|p| p.kind) == Some(Kind::Grace);
            if lane.pieces.get(i).is_some_and(begins) {
                while let Some(p) = lane.pieces.get(end) {
                    end += 1;
                    let own = (p.kind == Kind::Grace) == grace;
                    if own && p.beams.first() == Some(&Beam::End) {
                        break;
                    }
                }
            }
            let Some(group) = lane.pieces.get_mut(i..end) else {
                break;
            };
            i = end;
            let Some(staff) = group.first().map(|p| p.staff) else {
                continue;
            };
            let voices = on_staff.get(&staff).map_or(&[][..], Vec::as_slice);
            let place = voices.iter().position(|v| *v == n).unwrap_or(0);
            let direction = if voices.len() > 1 {
                if place % 2 == 0 { Stem::Up } else { Stem::Down }
            } else {
                let positions = group.iter().flat_map(|p| {
                    let middle = middle_line(clef(staff, p.start));
                    p.heads.iter().map(move |h| h.pitch.diatonic() - middle)
                });
                let (low, high) =
                    positions.fold((i16::MAX, i16::MIN), |(l, h), p| (l.min(p), h.max(p)));
                if i32::from(low) + i32::from(high) >= 0 {
                    Stem::Down
                } else {
                    Stem::Up
                }
            };
            for piece in group {
                // Breves and wholes have none; a lone grace note's goes up by custom.
                let stemless = piece.shape.is_none_or(|s| s.value < 2 || s.value >= 12);
                if !piece.is_rest() && !stemless {
                    piece.stem = Some(if piece.kind == Kind::Grace && voices.len() < 2 {
                        Stem::Up
                    } else {
                        direction
                    });
                }
            }
        }
    }
}

/// What a key signature does to a letter.
pub(crate) fn key_alter(fifths: i8, pitch: Pitch) -> i8 {
    let natural = NoteName::new(pitch.step, 0).fifths();
    // The sharps of a key are F C G D A E B, the flats the same from the other end.
    let sharps = (i16::from(fifths) - 1 - (natural + 1)).div_euclid(7) + 1;
    sharps.clamp(-2, 2) as i8
}

/// Accidentals where the bar and the key signature do not say them already.
fn accidentals(lanes: &mut [Lane], key: &impl Fn(Quarters) -> i8) {
    let mut order: Vec<(Quarters, bool, usize, usize, usize)> = Vec::new();
    for (l, lane) in lanes.iter().enumerate() {
        for (p, piece) in lane.pieces.iter().enumerate() {
            for h in 0..piece.heads.len() {
                order.push((piece.start, piece.kind != Kind::Grace, l, p, h));
            }
        }
    }
    order.sort_by_key(|(start, grace, ..)| (*start, *grace));
    let mut seen: HashMap<(u8, i16), i8> = HashMap::new();
    let mut in_key = None;
    for (start, _, l, p, h) in order {
        let fifths = key(start);
        if in_key != Some(fifths) {
            seen.clear();
            in_key = Some(fifths);
        }
        let head = lanes
            .get_mut(l)
            .and_then(|lane| lane.pieces.get_mut(p))
            .and_then(|piece| piece.heads.get_mut(h));
        let Some(head) = head else { continue };
        if head.tie_in {
            continue; // the accidental stands before the first of the tied notes
        }
        let place = (head.staff, head.pitch.diatonic());
        let before = seen
            .get(&place)
            .copied()
            .unwrap_or_else(|| key_alter(fifths, head.pitch));
        if before != head.pitch.alter {
            head.accidental = Some(head.pitch.alter);
            seen.insert(place, head.pitch.alter);
        }
    }
}

/// Ticks as quarter notes.
pub(crate) fn quarters(ticks: Ticks, per_quarter: Ticks) -> Quarters {
    Ratio::new(ticks.0, per_quarter.0.max(1))
}

/// Lays out the bars in `range` of a part; the others stay empty. `pitch` gives what is printed for a note of the part; `meter` the
/// meter of a bar; `clef` and `key` what is in force at a time of the score.
pub(crate) fn lay_out(
    score: &Score,
    part: &Part,
    range: Range<usize>,
    pitch: &dyn Fn(usize) -> Pitch,
    meter: &dyn Fn(usize) -> Meter,
    clef: &dyn Fn(u8, Ticks) -> Clef,
    key: &dyn Fn(Ticks) -> i8,
) -> Laid {
    let per_quarter = score.per_quarter;
    let length = |bar: usize| {
        let ticks = score.bars.get(bar).map_or(Ticks::ZERO, |b| b.length);
        quarters(ticks, per_quarter)
    };
    let count = score.bars.len();
    let mut bars: Vec<Vec<Lane>> = vec![Vec::new(); count];
    let mut events: Vec<Vec<(u8, Piece)>> = vec![Vec::new(); count];
    collect(part, per_quarter, &range, pitch, &length, &mut events);
    let hidden = part.unpitched > 0;
    for (slot, mut here) in bars.iter_mut().zip(events) {
        here.sort_by_key(|(_, p)| (p.start, p.is_rest(), p.kind != Kind::Grace));
        *slot = lanes(here);
    }
    number_lanes(&mut bars);
    for (bar, lanes) in bars.iter_mut().enumerate() {
        if !range.contains(&bar) {
            continue;
        }
        let pickup = score.bars.get(bar).is_some_and(|b| b.pickup);
        let frame = Frame::new(meter(bar), length(bar), pickup);
        let own = part.bars.get(bar);
        let filled = own
            .map(|b| quarters(b.filled, per_quarter))
            .filter(|f| *f > ZERO)
            .unwrap_or_else(|| length(bar));
        if !hidden && !own.is_some_and(|b| b.slashes) {
            fill(lanes, part.staves.max(1), filled);
        }
        lanes.sort_by_key(|l| l.voice);
        for lane in lanes.iter_mut() {
            let mut pieces = std::mem::take(&mut lane.pieces);
            // Cutting a tuplet's rests can leave rests that belong together again.
            for _ in 0..8 {
                let joined = bar_rests(join_rests(pieces.clone()), &frame, filled, pickup);
                let before: Vec<Quarters> = pieces.iter().map(|p| p.start).collect();
                pieces = cut_all(joined, &frame);
                if pieces.iter().map(|p| p.start).eq(before) {
                    break;
                }
            }
            shape_all(&mut pieces);
            beam_all(&mut pieces, &frame);
            lane.pieces = pieces;
        }
        let start = score.bars.get(bar).map_or(Ticks::ZERO, |b| b.start);
        let when = |at: Quarters| start + Ticks((at * per_quarter.0).to_integer());
        stem_all(lanes, &|staff, at| clef(staff, when(at)));
        accidentals(lanes, &|at| key(when(at)));
    }
    Laid { bars }
}

/// The pieces of a bar by voice; what overlaps in one voice goes to a lane of its own.
fn lanes(pieces: Vec<(u8, Piece)>) -> Vec<Lane> {
    let mut lanes: Vec<Lane> = Vec::new();
    for (voice, piece) in pieces {
        let free = lanes
            .iter_mut()
            .find(|l| l.voice == voice && l.pieces.last().is_none_or(|p| p.end() <= piece.start));
        if let Some(lane) = free {
            lane.pieces.push(piece);
            continue;
        }
        let extra = lanes.iter().filter(|l| l.voice == voice).count();
        if piece.is_rest() && extra > 0 {
            continue; // something sounds there in the same voice
        }
        lanes.push(Lane {
            voice,
            pieces: vec![piece],
            extra: extra as u8,
        });
    }
    lanes
}

/// Notes and rests of a part by bar, what crosses a bar line cut there.
fn collect(
    part: &Part,
    per_quarter: Ticks,
    range: &Range<usize>,
    pitch: &dyn Fn(usize) -> Pitch,
    length: &dyn Fn(usize) -> Quarters,
    events: &mut [Vec<(u8, Piece)>],
) {
    let mut add = |bar: u32, voice: u8, member: bool, mut piece: Piece| {
        let mut bar = bar as usize;
        loop {
            let end = length(bar);
            let next = events.get(bar + 1).is_some();
            if piece.start < end && piece.end() > end && next {
                let [first, mut second] = piece.cut(end);
                join(events.get_mut(bar), voice, member, first);
                second.start = ZERO;
                piece = second;
                bar += 1;
            } else {
                join(events.get_mut(bar), voice, member, piece);
                return;
            }
        }
    };
    // A note may reach over a bar line into the range.
    let near = |bar: u32| (range.start.saturating_sub(1)..range.end).contains(&(bar as usize));
    for (index, note) in part.notes.iter().enumerate() {
        if !near(note.at.bar) {
            continue;
        }
        let kind = if note.flags.has(NoteFlags::GRACE) {
            Kind::Grace
        } else if note.flags.has(NoteFlags::CUE) {
            Kind::Cue
        } else {
            Kind::Note
        };
        let lasts = match kind {
            Kind::Grace => ZERO,
            _ => quarters(note.duration, per_quarter),
        };
        let start = quarters(note.at.offset, per_quarter);
        let mut piece = Piece::new(start, lasts, kind, note.staff.max(1));
        piece.heads.push(Head {
            note: index,
            pitch: pitch(index),
            tie_in: note.flags.has(NoteFlags::TIED_IN),
            tie_out: note.flags.has(NoteFlags::TIED_OUT),
            first: true,
            last: true,
            accidental: None,
            staff: note.staff.max(1),
        });
        let member = note.flags.has(NoteFlags::CHORD_MEMBER);
        add(note.at.bar, note.voice, member, piece);
    }
    for rest in &part.rests {
        let lasts = quarters(rest.duration, per_quarter);
        if lasts > ZERO && near(rest.at.bar) {
            let start = quarters(rest.at.offset, per_quarter);
            let piece = Piece::new(start, lasts, Kind::Rest, rest.staff.max(1));
            add(rest.at.bar, rest.voice, false, piece);
        }
    }
}

/// Puts a piece among a bar's others: into the chord it belongs to, or by itself.
fn join(bar: Option<&mut Vec<(u8, Piece)>>, voice: u8, member: bool, mut piece: Piece) {
    let Some(bar) = bar else { return };
    if !piece.is_rest() {
        let chord = bar.iter_mut().rev().find(|(v, p)| {
            *v == voice
                && p.kind == piece.kind
                && p.start == piece.start
                && p.length == piece.length
                && (member || (p.staff == piece.staff && p.kind != Kind::Grace))
        });
        if let Some((_, chord)) = chord {
            chord.heads.append(&mut piece.heads);
            return;
        }
    }
    bar.push((voice, piece));
}

/// Rests where the first voice of a staff has nothing: a page shows the whole bar.
fn fill(lanes: &mut Vec<Lane>, staves: u8, filled: Quarters) {
    let crosses = lanes.iter().any(|l| {
        let first = l.pieces.first().map(|p| p.staff);
        l.pieces
            .iter()
            .any(|p| Some(p.staff) != first || p.heads.iter().any(|h| h.staff != p.staff))
    });
    if crosses {
        return;
    }
    for staff in 1..=staves {
        let on_staff = |l: &Lane| l.pieces.first().is_some_and(|p| p.staff == staff);
        let first = lanes
            .iter_mut()
            .filter(|l| on_staff(l))
            .min_by_key(|l| (l.voice, l.extra));
        let Some(lane) = first else {
            let usual = staff.saturating_sub(1).saturating_mul(4).saturating_add(1);
            let voice = (usual..=200)
                .find(|v| lanes.iter().all(|l| l.voice != *v))
                .unwrap_or(usual);
            lanes.push(Lane {
                voice,
                pieces: vec![Piece::new(ZERO, filled, Kind::Rest, staff)],
                extra: 0,
            });
            continue;
        };
        let mut at = ZERO;
        let mut whole = Vec::with_capacity(lane.pieces.len());
        for piece in std::mem::take(&mut lane.pieces) {
            if piece.start > at {
                whole.push(Piece::new(at, piece.start - at, Kind::Rest, staff));
            }
            at = at.max(piece.end());
            whole.push(piece);
        }
        if at < filled {
            whole.push(Piece::new(at, filled - at, Kind::Rest, staff));
        }
        lane.pieces = whole;
    }
}

/// A rest that fills a bar is a bar's rest; in a pickup it stays what it lasts.
fn bar_rests(mut pieces: Vec<Piece>, frame: &Frame, filled: Quarters, pickup: bool) -> Vec<Piece> {
    if let [only] = pieces.as_mut_slice()
        && only.kind == Kind::Rest
        && only.start == ZERO
        && !pickup
        && (only.length == frame.full || only.length == filled)
    {
        only.kind = Kind::BarRest;
    }
    pieces
}

/// Gives lanes that had to be split off their voice a number of their own, the same in all bars.
fn number_lanes(bars: &mut [Vec<Lane>]) {
    let mut used: BTreeSet<u8> = BTreeSet::new();
    let mut wanted: BTreeSet<(u8, u8)> = BTreeSet::new();
    for lane in bars.iter().flatten() {
        used.insert(lane.voice);
        if lane.extra > 0 {
            wanted.insert((lane.voice, lane.extra));
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
    for lane in bars.iter_mut().flatten() {
        if let Some(number) = numbers.get(&(lane.voice, lane.extra)) {
            lane.voice = *number;
        }
    }
}

/// The clef in force for a staff, when the part says one.
pub(crate) fn clef_at(part: &Part, staff: u8, onset: Ticks) -> Option<Clef> {
    let before = in_force(&part.clefs, onset)?;
    if before.value.staff == staff {
        return Some(before.value);
    }
    part.clefs
        .iter()
        .take_while(|m| m.onset <= onset)
        .filter(|m| m.value.staff == staff)
        .last()
        .map(|m| m.value)
}

/// The clef of a staff that states none.
pub(crate) fn default_clef(clefs: &[Clef], staff: u8) -> Clef {
    clefs
        .get(usize::from(staff.saturating_sub(1)))
        .copied()
        .unwrap_or(Clef {
            sign: 'G',
            line: 2,
            octave: 0,
            staff,
        })
}

/// The clefs a part without any is written in: those of its instrument, else by its pitches.
pub(crate) fn default_clefs(part: &Part, identity: Option<&Identity<'_>>) -> Vec<Clef> {
    let clef = |sign: char, octave: i8, staff: u8| Clef {
        sign,
        line: match sign {
            'G' => 2,
            'F' => 4,
            _ => 3,
        },
        octave,
        staff,
    };
    let known: Vec<Clef> = identity
        .iter()
        .flat_map(|i| &i.instrument.clefs)
        .map(|name| {
            let sign = name.chars().next().unwrap_or('G');
            clef(sign, if name.ends_with("8vb") { -1 } else { 0 }, 1)
        })
        .collect();
    (1..=part.staves.max(1))
        .map(|staff| {
            let heights: Vec<i64> = part
                .notes
                .iter()
                .filter(|n| n.staff.max(1) == staff)
                .map(|n| i64::from(n.written.midi()))
                .collect();
            if heights.is_empty() && part.staves > 1 {
                return clef(if staff == 1 { 'G' } else { 'F' }, 0, staff);
            }
            if heights.is_empty() && part.unpitched > 0 {
                return clef('P', 0, staff);
            }
            let mean = match i64::try_from(heights.len()) {
                Ok(n) if n > 0 => heights.iter().sum::<i64>() / n,
                _ => 67,
            };
            // The clef whose staff lies around the notes; an instrument's first is its usual one.
            let off = |c: &Clef| {
                let middle = match c.sign {
                    'F' => 50,
                    'C' => 60,
                    _ => 71,
                };
                (mean - middle - 12 * i64::from(c.octave)).abs()
            };
            let usual = known.first().copied();
            match usual {
                // Trombones and bassoons leave their clef only for what lies far above it.
                Some(c) if off(&c) <= 12 || known.len() == 1 => Clef { staff, ..c },
                _ => {
                    let any = [clef('G', 0, staff), clef('F', 0, staff)];
                    let among = if known.is_empty() { &any[..] } else { &known };
                    among
                        .iter()
                        .min_by_key(|c| off(c))
                        .map_or(clef('G', 0, staff), |c| Clef { staff, ..*c })
                }
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_of_lengths() {
        let shape = |n, d| Shape::of(Ratio::new(n, d)).map(|s| (VALUES[s.value], s.dots));
        assert_eq!(shape(1, 1), Some(("quarter", 0)));
        assert_eq!(shape(3, 2), Some(("quarter", 1)));
        assert_eq!(shape(7, 4), Some(("quarter", 2)));
        assert_eq!(shape(3, 8), Some(("16th", 1)));
        assert_eq!(shape(5, 2), None);
        assert_eq!(shape(1, 3), None);
    }

    #[test]
    fn key_signatures_alter_letters() {
        let altered = |fifths: i8| -> String {
            ["F", "C", "G", "D", "A", "E", "B"]
                .iter()
                .filter(|l| key_alter(fifths, format!("{l}4").parse().unwrap()) != 0)
                .copied()
                .collect()
        };
        assert_eq!(altered(0), "");
        assert_eq!(altered(2), "FC");
        assert_eq!(altered(-3), "AEB");
        assert_eq!(key_alter(7, "B4".parse().unwrap()), 1);
        assert_eq!(key_alter(-7, "F4".parse().unwrap()), -1);
    }

    #[test]
    fn middle_lines_of_clefs() {
        let middle = |sign, line, octave| {
            middle_line(Clef {
                sign,
                line,
                octave,
                staff: 1,
            })
        };
        let at = |text: &str| text.parse::<Pitch>().unwrap().diatonic();
        assert_eq!(middle('G', 2, 0), at("B4"));
        assert_eq!(middle('G', 2, -1), at("B3"));
        assert_eq!(middle('F', 4, 0), at("D3"));
        assert_eq!(middle('C', 3, 0), at("C4"));
        assert_eq!(middle('C', 4, 0), at("A3"));
    }
}
