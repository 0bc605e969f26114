//! How likely the chords of a score are: by what they are, and by how often the score has them. The
//! chords that a reading of some notes makes are counted with the rest, so that a fault that goes on for
//! long is no evidence for itself.

use super::kinds::{Classes, SIZES, alike, bit, likely, size};
use super::usage::BUCKETS;
use super::witness::{Attack, Witness};
use crate::ground::pitch::PitchClass;
use rustc_hash::FxHashMap;

/// A note of a line as it stands, and as it is read.
#[derive(Clone, Copy)]
pub struct Reread {
    pub attack: Attack,
    /// Sounding semitones.
    pub midi: i16,
}

/// How much the kinds of chords that are usual weigh before any is heard, in chords.
const KINDS: f32 = 12.0;

/// How much each root of a kind weighs before any is heard, in chords.
const ROOT: f32 = 0.7;

/// The sum of what all kinds weigh, for `KINDS` 1: about what the usual ones do.
const ALL_KINDS: f32 = 30.0;

/// How often the last note of a chord goes with a symbol that the others go with, before any is heard:
/// so many times it does and does not.
const NAMED: [f32; 2] = [8.0, 1.0];

/// How much more likely the chords of a score are with some notes of a line read otherwise, in nats.
pub fn gain(witness: &Witness, line: usize, notes: impl Iterator<Item = Reread>) -> f32 {
    let mut change = Change::default();
    for Reread { attack, midi } in notes {
        let Some(company) = witness.company(attack.moment, line) else {
            continue;
        };
        let bucket = company.bucket();
        for (by, midi) in [(-1, attack.midi), (1, midi)] {
            let class = bit(PitchClass::new(midi));
            let set = company.classes | class;
            change.sizes[bucket][size(set)] += by;
            if company.named != 0 {
                let out = usize::from(company.named & class == 0);
                change.named[out] += by;
                if out == 0 {
                    continue;
                }
            }
            *change.sets.entry((bucket, set)).or_default() += by;
        }
    }
    change.gain(witness)
}

/// By how many chords the counts of a score change.
#[derive(Default)]
struct Change {
    /// Notes that go with the symbol, and that do not.
    named: [i32; 2],
    /// Chords by how many notes they have.
    sizes: [[i32; SIZES]; BUCKETS],
    sets: FxHashMap<(usize, Classes), i32>,
}

impl Change {
    fn gain(&self, witness: &Witness) -> f32 {
        let usage = witness.usage();
        let mut gain = 0.0;
        for (slot, prior) in NAMED.into_iter().enumerate() {
            gain += rising(usage.named[slot] + prior, self.named[slot]);
        }
        for (bucket, sizes) in self.sizes.iter().enumerate() {
            // Four voices or more have a chord of four notes, three of three.
            let usual = (bucket + 2).min(3);
            for (size, by) in sizes.iter().enumerate() {
                let prior = match size.abs_diff(usual) {
                    0 => 6.0,
                    1 => 2.0,
                    _ => 0.3,
                };
                gain += rising(usage.sizes[bucket][size] + prior, *by);
            }
        }
        let mut kinds: FxHashMap<(usize, usize), (i32, Classes)> = FxHashMap::default();
        let mut all: FxHashMap<usize, i32> = FxHashMap::default();
        for ((bucket, set), by) in &self.sets {
            gain += rising(usage.count(*bucket, *set) + ROOT, *by);
            kinds.entry((*bucket, alike(*set))).or_insert((0, *set)).0 += by;
            *all.entry(*bucket).or_default() += by;
        }
        for ((bucket, kind), (by, set)) in kinds {
            let n = usage.kind(bucket, kind);
            gain += rising(n + KINDS * likely(set), by) - rising(n + 12.0 * ROOT, by);
        }
        for (bucket, by) in all {
            gain -= rising(usage.all(bucket) + KINDS * ALL_KINDS, by);
        }
        gain
    }
}

/// The logarithm of `n (n + 1) ...`, `by` factors; of its inverse from `n` down, where `by` is negative.
fn rising(n: f32, by: i32) -> f32 {
    let mut sum = 0.0;
    for i in 0..by.abs() {
        if by > 0 {
            sum += (n + i as f32).ln();
        } else {
            sum -= (n - 1.0 - i as f32).max(0.05).ln();
        }
    }
    sum
}
