//! How often a score has each chord.

use super::kinds::{Classes, SIZES, alike, likely, size};

/// How many sets of pitch classes there are.
const SETS: usize = 4096;

/// Buckets by how many others strike: 2, 3, 4, 5 and more.
pub const BUCKETS: usize = 4;

/// How often each set of classes is struck in this score, by how many strike.
#[derive(Default)]
pub struct Usage {
    /// The set itself: its chord in its key.
    own: [Vec<f32>; BUCKETS],
    /// The share of its chord, wherever the root is.
    chord: [Vec<f32>; BUCKETS],
    /// How often its chord is struck, wherever the root is.
    kinds: [Vec<f32>; BUCKETS],
    /// All chords.
    all: [f32; BUCKETS],
    /// Chords that are of their symbol, and those with one note that is not.
    pub named: [f32; 2],
    /// Chords by how many notes of different names they have.
    pub sizes: [[f32; SIZES]; BUCKETS],
}

impl Usage {
    /// How much the likelihood before anything is known weighs.
    const PRIOR: f32 = 2.0;

    /// How much a chord elsewhere weighs against the same chord here.
    const ELSEWHERE: f32 = 5.0;

    /// Nothing counted yet.
    pub fn new() -> Self {
        let none = || std::array::from_fn(|_| vec![0.0; SETS]);
        Self {
            own: none(),
            kinds: none(),
            chord: none(),
            all: [0.0; BUCKETS],
            named: [0.0; 2],
            sizes: [[0.0; SIZES]; BUCKETS],
        }
    }

    /// Counts a chord of so many notes, while these symbols are in force or near.
    pub fn add(&mut self, set: Classes, notes: usize, symbols: [Classes; 2]) {
        let out = symbols.iter().filter(|n| **n != 0);
        let out = out.map(|n| (set & !n).count_ones() as usize).min();
        if let Some(slot) = out.and_then(|out| self.named.get_mut(out)) {
            *slot += 1.0;
        }
        let bucket = bucket(notes.saturating_sub(1));
        self.all[bucket] += 1.0;
        self.sizes[bucket][size(set)] += 1.0;
        if let Some(n) = self.own[bucket].get_mut(usize::from(set)) {
            *n += 1.0;
        }
        if let Some(n) = self.kinds[bucket].get_mut(alike(set)) {
            *n += 1.0;
        }
    }

    /// Works out the shares, once all are counted.
    pub fn done(&mut self) {
        for bucket in 0..BUCKETS {
            let all = 6.0 * Self::PRIOR + self.all[bucket];
            let kinds = self.kinds[bucket].iter();
            for ((set, n), share) in (0..).zip(kinds).zip(&mut self.chord[bucket]) {
                *share = (n + Self::PRIOR * likely(set)) / all;
            }
        }
    }

    /// How often a set is struck by so many.
    pub fn count(&self, bucket: usize, set: Classes) -> f32 {
        let of = self.own.get(bucket).and_then(|b| b.get(usize::from(set)));
        of.copied().unwrap_or_default()
    }

    /// How often a chord is, wherever its root is: by the least of its sets.
    pub fn kind(&self, bucket: usize, kind: usize) -> f32 {
        let of = self.kinds.get(bucket).and_then(|b| b.get(kind));
        of.copied().unwrap_or_default()
    }

    /// How many chords there are.
    pub fn all(&self, bucket: usize) -> f32 {
        self.all.get(bucket).copied().unwrap_or_default()
    }

    /// How much it speaks for a set in a company of so many.
    pub fn weight(&self, bucket: usize, set: Classes) -> f32 {
        let at = |all: &[Vec<f32>; BUCKETS], set: usize| {
            all.get(bucket)
                .and_then(|b| b.get(set))
                .copied()
                .unwrap_or_default()
        };
        at(&self.own, usize::from(set)) + Self::ELSEWHERE * at(&self.chord, alike(set))
    }
}

/// The bucket of a note that so many others strike with.
pub fn bucket(others: usize) -> usize {
    others.clamp(2, BUCKETS + 1) - 2
}
