//! The one voicing engine: given lead, chord, technique and house style, which voicings are right?
//!
//! The checker, the fixes and the model answer all ask it. It works at sounding pitch, in MIDI
//! semitones, voices from the top; [`harmonise`] says which four notes a lead note may stand on,
//! [`Mechanical`] says where in the octaves they go; [`Form`] knows the voicings that no transform makes.

mod categories;
mod colour;
mod form;
pub mod harmonise;
pub mod low;
mod mechanical;
mod scale;
mod search;
mod technique;

pub use colour::{Colour, Frame, leads};
pub use form::Form;
pub use harmonise::{Harmonisation, Label, Way};
pub use mechanical::Mechanical;
pub use scale::Scale;
pub use technique::{Technique, UnknownTechnique};

use crate::ground::pitch::PitchClass;
use smallvec::SmallVec;

/// Voices from the top in MIDI semitones. Sections of the trade have at most six.
pub type Voicing = SmallVec<[i16; 8]>;

/// A few notes or moves in semitones that are no voicing.
pub type Semitones = SmallVec<[i16; 8]>;

/// Pitch classes of a voicing.
pub type Classes = SmallVec<[PitchClass; 8]>;

/// The pitch classes of a voicing in ascending order, each once.
pub fn classes_of(voicing: &[i16]) -> Classes {
    let mut classes: Classes = voicing.iter().map(|&m| PitchClass::new(m)).collect();
    classes.sort_unstable();
    classes.dedup();
    classes
}

/// Close position: `lead` on top and below it each other pitch class at its highest place under
/// the lead. `None` when the lead is not one of the classes, or a class stands twice.
pub fn close_position(lead: i16, classes: &[PitchClass]) -> Option<Voicing> {
    let top = PitchClass::new(lead);
    let mut below = Voicing::new();
    let mut leads = 0;
    for &class in classes {
        if class == top {
            leads += 1;
        } else {
            below.push(top.above(class));
        }
    }
    below.sort_unstable();
    below.dedup();
    if leads != 1 || below.len() + 1 != classes.len() {
        return None;
    }
    let below = below.into_iter().map(|down| lead - down);
    Some(std::iter::once(lead).chain(below).collect())
}

/// The mechanical technique a voicing is in, whatever the chord: its own pitch classes are put back into
/// close position and each technique is tried. `voicing` is from the top; `None` when no
/// mechanical technique gives it.
pub fn mechanical_of(voicing: &[i16]) -> Option<Mechanical> {
    let lead = *voicing.first()?;
    let classes = classes_of(voicing);
    if classes.len() != 4 {
        return None;
    }
    let close = close_position(lead, &classes)?;
    Mechanical::EVERY
        .into_iter()
        .find(|t| t.voices() == voicing.len() && *t.apply(&close) == *voicing)
}

/// A pair of voices a minor ninth apart (13 semitones, or 25): indices into the voicing, upper
/// first.
pub fn minor_ninths(voicing: &[i16]) -> impl Iterator<Item = (usize, usize)> + '_ {
    (0..voicing.len()).flat_map(move |upper| {
        (upper + 1..voicing.len())
            .filter(move |&lower| matches!(voicing[upper] - voicing[lower], 13 | 25))
            .map(move |lower| (upper, lower))
    })
}

/// The first of three neighbouring voices two seconds in a row apart, a half step among them: index
/// into a voicing from the top.
pub fn crowd(voicing: &[i16]) -> Option<usize> {
    voicing.windows(3).position(|w| match w {
        [a, b, c] => matches!((a - b, b - c), (1 | 2, 1) | (1, 2)),
        _ => false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn classes(list: &[i16]) -> Vec<PitchClass> {
        list.iter().map(|&c| PitchClass::new(c)).collect()
    }

    #[test]
    fn close_position_hangs_under_the_lead() {
        // C6 under C5: C5 A4 G4 E4.
        assert_eq!(
            close_position(72, &classes(&[0, 4, 7, 9])),
            Some(smallvec::smallvec![72, 69, 67, 64])
        );
        assert_eq!(close_position(74, &classes(&[0, 4, 7, 9])), None);
        assert_eq!(close_position(72, &classes(&[0, 0, 7, 9])), None);
    }

    #[test]
    fn every_technique_is_recognised_in_every_quality_and_inversion() {
        // Computed from the definitions: the transforms are unambiguous over these qualities.
        let qualities: [[i16; 4]; 12] = [
            [0, 4, 7, 9],
            [0, 3, 7, 9],
            [0, 4, 7, 11],
            [0, 3, 7, 11],
            [0, 4, 7, 10],
            [0, 3, 7, 10],
            [0, 3, 6, 10],
            [0, 3, 6, 9],
            [0, 4, 6, 10],
            [0, 4, 8, 10],
            [0, 5, 7, 10],
            [2, 4, 7, 9],
        ];
        for quality in qualities {
            for root in 0..12 {
                for member in quality {
                    let lead = 72 + (root + member) % 12;
                    let set: Vec<PitchClass> =
                        quality.iter().map(|&m| PitchClass::new(root + m)).collect();
                    let close = close_position(lead, &set).unwrap();
                    for t in Mechanical::EVERY {
                        let voiced = t.apply(&close);
                        assert_eq!(mechanical_of(&voiced), Some(t), "{quality:?} {lead}");
                    }
                }
            }
        }
    }

    #[test]
    fn minor_ninths_are_found_over_the_octave_too() {
        assert_eq!(
            minor_ninths(&[72, 67, 64, 59]).collect::<Vec<_>>(),
            [(0, 3)]
        );
        assert_eq!(minor_ninths(&[84, 59]).collect::<Vec<_>>(), [(0, 1)]);
        assert_eq!(minor_ninths(&[72, 67, 64, 57]).count(), 0);
    }
}
