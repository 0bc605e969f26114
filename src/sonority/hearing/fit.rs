//! How well the notes of a part stand with the other parts, as it is read with a transposition.

use crate::ground::pitch::{PitchClass, Transposition};
use crate::ground::time::Ticks;
use crate::score::{ChordMark, Mark, Note, Part, in_force};

/// How many notes of a part are listened to.
const SAMPLE: usize = 240;

/// How many other parts they are compared with.
const COMPANY: usize = 12;

/// A part, and what is added to its written pitch while it is listened to.
#[derive(Clone, Copy)]
pub struct Reading<'a> {
    pub part: &'a Part,
    pub by: Transposition,
}

/// How well the notes of a part stand with the rest.
#[derive(Clone, Copy, Debug, Default)]
pub struct Fit {
    /// Notes that could be compared.
    pub notes: usize,
    /// Of these, notes of the chord symbol in force; without a symbol, notes of the key that rub with
    /// nothing.
    pub good: usize,
    /// 0 to 1: the mean of what the other parts, the symbols and the key say.
    pub share: f64,
}

impl Fit {
    /// By how much the share must be better than another's before it says anything: few notes say little.
    pub fn margin(&self) -> f64 {
        (0.6 / (self.notes.max(1) as f64).sqrt()).max(0.15)
    }
}

/// The notes that are listened to.
pub fn sample(part: &Part) -> impl Iterator<Item = &Note> {
    let step = part.notes.len().div_ceil(SAMPLE).max(1);
    part.notes.iter().step_by(step).filter(|n| n.sounds())
}

/// Whether a class is one of the seven notes of a signature.
pub fn in_scale(class: PitchClass, fifths: i8) -> bool {
    // They lie on the line of fifths from one below its key.
    let tonic = PitchClass::new(i16::from(fifths) * 7);
    matches!(class.above(tonic), 0 | 2 | 4 | 5 | 7 | 9 | 11)
}

/// One kind of witness: how many notes it heard, and how many it found good.
#[derive(Default)]
struct Witness {
    all: usize,
    good: usize,
}

impl Witness {
    fn hears(&mut self, good: bool) {
        self.all += 1;
        self.good += usize::from(good);
    }
}

/// Listens to a part among others. `symbols` are the chord symbols that can be trusted, at concert pitch,
/// one list for each part that has any; `key` is the concert key.
pub fn fit(
    reading: Reading<'_>,
    others: &[Reading<'_>],
    symbols: &[&[Mark<ChordMark>]],
    key: impl Fn(Ticks) -> Option<i8>,
) -> Fit {
    let mut witnesses = [Witness::default(), Witness::default(), Witness::default()];
    let [rubs, chord, scale] = &mut witnesses;
    let mut fit = Fit::default();
    for note in sample(reading.part) {
        let class = PitchClass::new(note.written.midi() + reading.by.chromatic);
        let mut heard = false;
        let mut good = true;
        for other in others.iter().take(COMPANY) {
            let notes = &other.part.notes;
            let at = notes.partition_point(|n| n.onset <= note.onset);
            let sounding = at
                .checked_sub(1)
                .and_then(|i| notes.get(i))
                .filter(|n| n.sounds() && n.end() > note.onset);
            if let Some(sounding) = sounding {
                let other = PitchClass::new(sounding.written.midi() + other.by.chromatic);
                heard = true;
                good &= !matches!(class.above(other), 1 | 11);
            }
        }
        if heard {
            rubs.hears(good);
        }
        if let Some(key) = key(note.onset) {
            let inside = in_scale(class, key);
            scale.hears(inside);
            good &= inside;
        }
        let symbol = symbols
            .iter()
            .find_map(|marks| in_force(marks, note.onset))
            .and_then(|m| m.value.chord.as_ref());
        if let Some(symbol) = symbol {
            good = symbol.contains(class);
            chord.hears(good);
        }
        if heard || symbol.is_some() {
            fit.notes += 1;
            fit.good += usize::from(good);
        }
    }
    let shares: Vec<f64> = witnesses
        .iter()
        .filter(|w| w.all > 0)
        .map(|w| w.good as f64 / w.all as f64)
        .collect();
    if !shares.is_empty() {
        fit.share = shares.iter().sum::<f64>() / shares.len() as f64;
    }
    fit
}
