//! Whether a stretch is plainly meant at another pitch: by how many of its notes go with the others as
//! they are read and as they stand, and by where it lies in its part.

use super::witness::Line;

/// Fewer notes than this that can be compared are single notes.
pub const FEW: usize = 4;

/// Fewer than this must say it plainly.
const ENOUGH: usize = 6;

/// So many notes are nearly a part.
const MANY: usize = 20;

/// So many notes at least go with the others that as they stand do not; a quarter of many.
const WORSE: usize = 3;

/// How much easier each note must make it, in nats.
const EACH: f32 = 0.7;

/// The same where as they stand all are chords too: others of the score are likelier by far.
const FAR: f32 = 2.5;

/// The same for a few notes.
const PLAINLY: f32 = 3.2;

/// From a fifth on, notes that are displaced lie away from where the part plays elsewhere.
const WIDE: i16 = 7;

/// How many notes of a stretch could be compared, and how many went with the others.
pub struct Counts {
    pub compared: usize,
    pub fit: usize,
    pub stand: usize,
    /// How much cheaper the notes are as they are read, in nats.
    pub gain: f32,
    /// They are all notes of the part.
    pub whole: bool,
    /// Most of them are the top or the bottom of the section.
    pub outer: bool,
    /// They are an octave off; and whether each of them is plainly out of the order of seats.
    pub octave: Option<bool>,
}

impl Counts {
    /// Nearly all do as they are read, and many do not as they stand.
    fn go_with_the_others(&self) -> bool {
        let each = self.gain / self.compared.max(1) as f32;
        let crossed = self.octave == Some(true);
        let worse = self.fit >= self.stand + WORSE.max(self.compared / 4);
        let plain = worse && each >= EACH && (self.octave.is_none() || crossed || each >= FAR);
        // The top and the bottom are free to be what others never are.
        let few = if self.outer { 3 * FEW } else { FEW };
        (self.compared >= ENOUGH || each >= PLAINLY || crossed)
            && self.fit * 10 >= self.compared * 8
            && (plain
                || self.compared >= few && each >= FAR
                || self.whole && self.compared >= MANY && each >= EACH)
    }
}

/// Enough moving notes of more than one pitch that nearly all fit, where as they stand many do not.
/// `shift` is by how many semitones they are moved.
pub fn convinces(
    own: &Line,
    (from, to): (usize, usize),
    counts: &Counts,
    shift: Option<i16>,
) -> bool {
    let notes = own.attacks.get(from..to).unwrap_or_default();
    let moves = notes
        .windows(2)
        .filter(|w| matches!(w, [a, b] if a.midi != b.midi))
        .count();
    counts.compared >= FEW
        && moves >= 2
        && (counts.compared * 2 >= notes.len() || counts.whole)
        && counts.go_with_the_others()
        && shift.is_none_or(|shift| comes_back(own, from, to, shift))
}

/// Whether notes moved by a wide interval lie nearer to where the part plays elsewhere than they stand.
fn comes_back(own: &Line, from: usize, to: usize, shift: i16) -> bool {
    if shift.abs() < WIDE {
        return true;
    }
    let middle = |notes: &mut Vec<i16>| {
        notes.sort_unstable();
        notes.get(notes.len() / 2).copied()
    };
    let outside = own
        .attacks
        .iter()
        .take(from)
        .chain(own.attacks.iter().skip(to));
    let mut elsewhere: Vec<i16> = outside.map(|a| a.midi).collect();
    if elsewhere.len() < FEW {
        return true;
    }
    let here = own.attacks.get(from..to).unwrap_or_default();
    let mut here: Vec<i16> = here.iter().map(|a| a.midi).collect();
    let (Some(usual), Some(found)) = (middle(&mut elsewhere), middle(&mut here)) else {
        return false;
    };
    (found + shift - usual).abs() + 2 <= (found - usual).abs() || leaps(own, from, to, shift)
}

/// Whether wide leaps at both ends of a stretch vanish as it is read.
pub fn leaps(own: &Line, from: usize, to: usize, shift: i16) -> bool {
    let midi = |i: Option<usize>| i.and_then(|i| own.attacks.get(i)).map(|a| a.midi);
    let leap = |inside: Option<i16>, outside: Option<i16>| {
        let apart = inside.zip(outside).map(|(a, b)| a - b);
        apart.is_some_and(|a| a.abs() > WIDE && (a + shift).abs() <= WIDE)
    };
    leap(midi(Some(from)), midi(from.checked_sub(1)))
        && leap(midi(to.checked_sub(1)), midi(Some(to)))
}
