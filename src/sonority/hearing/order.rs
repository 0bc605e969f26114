//! The order of the seats of each section, and how surely it is kept.

use super::witness::{Line, Strike};

/// In a section of more players there are several in each seat.
pub const MOST_SEATS: usize = 16;

/// Two seats that few chords turn round may be a part an octave off.
const CHORDS: u32 = 12;

/// In how many chords one of two seats is above the other, and below it.
#[derive(Clone, Copy, Default)]
struct Pair {
    above: u32,
    below: u32,
}

impl Pair {
    /// Nearly all chords have them the other way round than the score: that is their order.
    const fn is_turned(self) -> bool {
        self.below > 4 * self.above + CHORDS
    }

    /// Chords that have them out of their order.
    const fn out(self) -> u32 {
        if self.is_turned() {
            self.above
        } else {
            self.below
        }
    }
}

/// Which of two seats of a section is the upper one.
#[derive(Default)]
pub struct Order {
    /// Of each section, for each pair of seats; none in a section of too many.
    pairs: Vec<Vec<Pair>>,
    /// Of each line, what it costs to be out of order, by how seldom the others of its section are
    /// among themselves.
    costs: Vec<f32>,
}

fn at(upper: &Line, lower: &Line) -> usize {
    upper.seat * MOST_SEATS + lower.seat
}

impl Order {
    pub fn new(sections: usize, lines: &[Line]) -> Self {
        let mut pairs = vec![vec![Pair::default(); MOST_SEATS * MOST_SEATS]; sections];
        for line in lines.iter().filter(|l| l.seat >= MOST_SEATS) {
            if let Some(pairs) = pairs.get_mut(line.section) {
                pairs.clear();
            }
        }
        Self {
            pairs,
            costs: Vec::new(),
        }
    }

    /// Counts a chord of a section.
    pub fn add(&mut self, lines: &[Line], strikes: &[Strike]) {
        for (i, a) in strikes.iter().enumerate() {
            for b in strikes.iter().skip(i + 1) {
                let (Some(one), Some(other)) = (lines.get(a.line), lines.get(b.line)) else {
                    continue;
                };
                let (upper, lower, apart) = if one.seat < other.seat {
                    (one, other, a.midi - b.midi)
                } else {
                    (other, one, b.midi - a.midi)
                };
                let pairs = self.pairs.get_mut(one.section);
                if let Some(pair) = pairs.and_then(|p| p.get_mut(at(upper, lower))) {
                    pair.above += u32::from(apart >= 0);
                    pair.below += u32::from(apart < 0);
                }
            }
        }
    }

    /// Works out what being out of order costs, once all chords are counted.
    pub fn done(&mut self, lines: &[Line]) {
        let sums = |pairs: &[Pair], of: &dyn Fn(usize) -> bool| {
            let own = pairs.iter().enumerate().filter(|(at, _)| of(*at));
            own.fold((0, 0), |(all, out), (_, p)| {
                (all + p.above + p.below, out + p.out())
            })
        };
        self.costs = lines
            .iter()
            .map(|line| {
                let Some(pairs) = self.pairs.get(line.section).filter(|p| !p.is_empty()) else {
                    return 0.0;
                };
                let others =
                    |at: usize| at / MOST_SEATS != line.seat && at % MOST_SEATS != line.seat;
                let (all, out) = sums(pairs, &others);
                (-((out as f32 + 1.0) / (all as f32 + 6.0)).ln()).clamp(0.0, 3.5)
            })
            .collect();
    }

    /// Whether one seat is above another of its section; `None` where there is no order.
    pub fn is_above(&self, one: &Line, other: &Line) -> Option<bool> {
        let upper = one.seat < other.seat;
        let (first, second) = if upper { (one, other) } else { (other, one) };
        let pair = self.pairs.get(one.section)?.get(at(first, second))?;
        Some(upper != pair.is_turned())
    }

    /// What it costs a line to be out of order with several others.
    pub fn cost(&self, line: usize) -> f32 {
        self.costs.get(line).copied().unwrap_or_default()
    }

    /// How often a line is out of order with another.
    pub fn out(&self, line: &Line) -> u32 {
        let own = |at: usize| at / MOST_SEATS == line.seat || at % MOST_SEATS == line.seat;
        let pairs = self.pairs.get(line.section).into_iter().flatten();
        pairs
            .enumerate()
            .filter(|(at, _)| own(*at))
            .map(|(_, p)| p.out())
            .sum()
    }
}
