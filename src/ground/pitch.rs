//! Pitches as they are spelled: letter, alteration, octave.
//!
//! Octaves are scientific (C4 is middle C, MIDI 60). Whether a pitch is written or
//! sounding is said by whoever holds it; this module does not know.

use std::fmt;
use std::str::FromStr;

/// A letter name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum Step {
    C,
    D,
    E,
    F,
    G,
    A,
    B,
}

impl Step {
    /// All seven letters from C.
    pub const ALL: [Self; 7] = [
        Self::C,
        Self::D,
        Self::E,
        Self::F,
        Self::G,
        Self::A,
        Self::B,
    ];

    /// Semitones above C of the natural note.
    pub const fn semitones(self) -> i16 {
        match self {
            Self::C => 0,
            Self::D => 2,
            Self::E => 4,
            Self::F => 5,
            Self::G => 7,
            Self::A => 9,
            Self::B => 11,
        }
    }

    /// Letters above C: C is 0, B is 6.
    pub const fn index(self) -> i16 {
        self as i16
    }

    /// What a key signature of `fifths` sharps (flats when negative) does to the letter, in semitones.
    pub fn altered_by_key(self, fifths: i8) -> i8 {
        // Sharps come in the order F C G D A E B: the letter's place in that order, from 0.
        let place = NoteName::new(self, 0).fifths() + 1;
        (i16::from(fifths) + 6 - place).div_euclid(7) as i8
    }

    /// The letter `index` steps above C, octaves left out.
    pub fn from_index(index: i16) -> Self {
        Self::ALL[index.rem_euclid(7) as usize]
    }

    /// The letter, in upper or lower case.
    pub const fn from_char(c: char) -> Option<Self> {
        Some(match c {
            'C' | 'c' => Self::C,
            'D' | 'd' => Self::D,
            'E' | 'e' => Self::E,
            'F' | 'f' => Self::F,
            'G' | 'g' => Self::G,
            'A' | 'a' => Self::A,
            'B' | 'b' => Self::B,
            _ => return None,
        })
    }
}

/// The name of an accidental of `alter` semitones in MusicXML (published: MusicXML 4.0,
/// accidental-value). More than three sharps or flats have none.
pub(crate) const fn accidental_name(alter: i8) -> &'static str {
    match alter {
        i8::MIN..=-3 => "triple-flat",
        -2 => "flat-flat",
        -1 => "flat",
        0 => "natural",
        1 => "sharp",
        2 => "double-sharp",
        3..=i8::MAX => "triple-sharp",
    }
}

/// A pitch class as a number: semitones above C, 0 to 11.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PitchClass(u8);

impl PitchClass {
    /// Any number of semitones above any C.
    pub const fn new(semitones: i16) -> Self {
        Self(semitones.rem_euclid(12) as u8)
    }

    /// Semitones above C, 0 to 11.
    pub const fn get(self) -> i16 {
        self.0 as i16
    }

    /// The pitch class `semitones` above (below, when negative).
    #[must_use]
    pub const fn plus(self, semitones: i16) -> Self {
        Self::new(self.0 as i16 + semitones)
    }

    /// Semitones from `root` up to this pitch class, 0 to 11.
    pub const fn above(self, root: Self) -> i16 {
        let up = self.0 as i16 - root.0 as i16;
        if up < 0 { up + 12 } else { up }
    }
}

/// A pitch class as it is spelled: letter and alteration.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NoteName {
    /// The letter.
    pub step: Step,
    /// Semitones of alteration: -1 flat, +1 sharp.
    pub alter: i8,
}

impl NoteName {
    /// A letter with its alteration in semitones.
    pub const fn new(step: Step, alter: i8) -> Self {
        Self { step, alter }
    }

    /// The pitch class, spelling forgotten.
    pub const fn class(self) -> PitchClass {
        PitchClass::new(self.step.semitones() + self.alter as i16)
    }

    /// The name moved by an interval; octaves in it do not matter.
    #[must_use]
    pub fn transposed(self, by: Transposition) -> Self {
        let p = Pitch::new(self.step, self.alter, 4).transposed(by);
        Self::new(p.step, p.alter)
    }

    /// The name of this pitch class on a given letter, when at most two accidentals away.
    pub fn on_step(class: PitchClass, step: Step) -> Option<Self> {
        let alter = (class.get() - step.semitones() + 6).rem_euclid(12) - 6;
        (-2..=2)
            .contains(&alter)
            .then(|| Self::new(step, alter as i8))
    }

    /// The usual name of a pitch class under a key signature of `fifths` sharps (flats when
    /// negative): the five black keys are sharps from two sharps on, else flats, except that
    /// notes of the key itself keep the key's spelling.
    pub fn in_key(class: PitchClass, fifths: i8) -> Self {
        // Position on the line of fifths, F C G D A E B = -1..5; choose the spelling whose
        // position lies within the window centred on the key.
        let base = (class.get() * 7).rem_euclid(12);
        let low = i16::from(fifths) - 4;
        let position = base + 12 * (low - base).div_euclid(12);
        let position = if position < low {
            position + 12
        } else {
            position
        };
        Self::from_fifths(position)
    }

    /// Position on the line of fifths: F is -1, C 0, G 1, Bb -2, F# 6.
    pub fn fifths(self) -> i16 {
        let natural = match self.step {
            Step::F => -1,
            Step::C => 0,
            Step::G => 1,
            Step::D => 2,
            Step::A => 3,
            Step::E => 4,
            Step::B => 5,
        };
        natural + 7 * i16::from(self.alter)
    }

    /// The name at a position on the line of fifths.
    pub fn from_fifths(position: i16) -> Self {
        const LINE: [Step; 7] = [
            Step::F,
            Step::C,
            Step::G,
            Step::D,
            Step::A,
            Step::E,
            Step::B,
        ];
        let p = position + 1;
        Self::new(LINE[p.rem_euclid(7) as usize], p.div_euclid(7) as i8)
    }
}

impl fmt::Display for NoteName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.step)?;
        let mark = if self.alter < 0 { 'b' } else { '#' };
        for _ in 0..self.alter.unsigned_abs() {
            write!(f, "{mark}")?;
        }
        Ok(())
    }
}

/// Reads the accidentals at the start of `text`; returns the alteration in semitones and the rest.
pub(crate) fn read_accidentals(text: &str) -> (i8, &str) {
    let mut alter = 0i8;
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let by = match c {
            'b' | '♭' => -1,
            '#' | '♯' => 1,
            'x' | '𝄪' => 2,
            '𝄫' => -2,
            '♮' => 0,
            _ => break,
        };
        if (alter + by).abs() > 3 {
            break;
        }
        alter += by;
        rest = &rest[c.len_utf8()..];
    }
    (alter, rest)
}

/// A pitch as it is spelled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Pitch {
    /// The letter.
    pub step: Step,
    /// Semitones of alteration: -1 flat, +1 sharp.
    pub alter: i8,
    /// Scientific octave number: C4 is middle C, and it is the letter's octave (Cb4 is B3's key).
    pub octave: i8,
}

impl Pitch {
    /// A letter, its alteration in semitones, its octave.
    pub const fn new(step: Step, alter: i8, octave: i8) -> Self {
        Self {
            step,
            alter,
            octave,
        }
    }

    /// Semitones, MIDI numbering: C4 is 60.
    pub const fn midi(self) -> i16 {
        12 * (self.octave as i16 + 1) + self.step.semitones() + self.alter as i16
    }

    /// Letter steps above C0's letter: what a staff position is counted in.
    pub const fn diatonic(self) -> i16 {
        7 * self.octave as i16 + self.step.index()
    }

    /// The pitch class, spelling and octave forgotten.
    pub const fn class(self) -> PitchClass {
        PitchClass::new(self.midi())
    }

    /// Letter and alteration without the octave.
    pub const fn name(self) -> NoteName {
        NoteName::new(self.step, self.alter)
    }

    /// The pitch with this name whose MIDI number is `midi`; `None` when the name does not fit it.
    pub fn named(name: NoteName, midi: i16) -> Option<Self> {
        let natural = midi - i16::from(name.alter);
        if (natural - name.step.semitones()).rem_euclid(12) != 0 {
            return None;
        }
        let octave = (natural - name.step.semitones()).div_euclid(12) - 1;
        i8::try_from(octave)
            .ok()
            .map(|o| Self::new(name.step, name.alter, o))
    }

    /// A MIDI number spelled as usual under a key signature of `fifths` sharps (flats when
    /// negative).
    pub fn in_key(midi: i16, fifths: i8) -> Self {
        let name = NoteName::in_key(PitchClass::new(midi), fifths);
        Self::named(name, midi).unwrap_or(Self::new(Step::C, 0, 4))
    }

    /// The pitch moved by an interval, letters and semitones both kept true. A result with more
    /// than two accidentals is respelled to the neighbouring letter.
    #[must_use]
    pub fn transposed(self, by: Transposition) -> Self {
        let midi = self.midi() + by.chromatic;
        let letters = self.diatonic() + by.diatonic;
        let step = Step::from_index(letters);
        match NoteName::on_step(PitchClass::new(midi), step) {
            Some(name) => Self::named(name, midi).unwrap_or(self),
            None => Self::in_key(midi, 0),
        }
    }

    /// The same key as a player likes to read it under a key signature of `fifths` sharps: no double
    /// accidental, no Cb or E# far from the keys that have them.
    #[must_use]
    pub fn readable(self, fifths: i8) -> Self {
        let double = self.alter.abs() > 1;
        let name = match (double, self.name().is_odd()) {
            (false, false) => return self,
            (false, true) => NoteName::in_key(self.class(), fifths),
            (true, _) => NoteName::plain_in_key(self.class(), fifths),
        };
        Self::named(name, self.midi()).unwrap_or(self)
    }

    /// The pitch `octaves` higher (lower, when negative).
    #[must_use]
    pub const fn octaves(self, octaves: i8) -> Self {
        Self::new(self.step, self.alter, self.octave + octaves)
    }
}

impl fmt::Display for Pitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.name(), self.octave)
    }
}

/// A pitch could not be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is not a pitch: write a letter A to G, accidentals (b, #) and an octave, such as Bb4"
)]
pub struct PitchError(pub String);

impl FromStr for Pitch {
    type Err = PitchError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let error = || PitchError(text.to_owned());
        let letter = text.chars().next().ok_or_else(error)?;
        let step = letter
            .is_ascii()
            .then(|| Step::from_char(letter))
            .flatten()
            .ok_or_else(error)?;
        let (alter, rest) = read_accidentals(&text[1..]);
        let octave: i8 = rest.parse().map_err(|_| error())?;
        if !(-1..=9).contains(&octave) || rest.starts_with('+') {
            return Err(error());
        }
        Ok(Self::new(step, alter, octave))
    }
}

/// An interval with its letters: what is added to a written pitch to get the sounding one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Transposition {
    /// Letter steps, octaves included (-1 for a trumpet in Bb, -8 for a tenor saxophone).
    pub diatonic: i16,
    /// Semitones, octaves included (-2 and -14).
    pub chromatic: i16,
}

impl Transposition {
    /// Sounds as written.
    pub const NONE: Self = Self {
        diatonic: 0,
        chromatic: 0,
    };

    /// From MusicXML's three numbers, which leave the octaves out of the first two.
    pub const fn from_parts(diatonic: i16, chromatic: i16, octaves: i16) -> Self {
        Self {
            diatonic: diatonic + 7 * octaves,
            chromatic: chromatic + 12 * octaves,
        }
    }

    /// The way back: what is added to a sounding pitch to get the written one.
    #[must_use]
    pub const fn inverse(self) -> Self {
        Self {
            diatonic: -self.diatonic,
            chromatic: -self.chromatic,
        }
    }

    /// The change of key signature, in fifths, from a concert key to the written key:
    /// +2 for a Bb instrument, +3 for Eb, +1 for F, 0 for octaves.
    pub const fn key_shift(self) -> i8 {
        let d = -self.diatonic;
        let c = -self.chromatic;
        // An interval of `d` letters and `c` semitones spans 7c - 12d fifths.
        (7 * c - 12 * d) as i8
    }
}

/// The written key signature of a part: concert fifths moved by its transposition, kept within
/// six sharps and six flats as trade-wide respelling does.
pub fn written_fifths(concert: i8, transposition: Transposition) -> i8 {
    let mut f = i16::from(concert) + i16::from(transposition.key_shift());
    while f > 6 {
        f -= 12;
    }
    while f < -7 {
        f += 12;
    }
    f as i8
}

#[cfg(test)]
mod tests {
    use super::*;

    fn p(text: &str) -> Pitch {
        text.parse().unwrap()
    }

    #[test]
    fn middle_c_is_midi_60() {
        assert_eq!(p("C4").midi(), 60);
        assert_eq!(p("Cb4").midi(), 59);
        assert_eq!(p("B#3").midi(), 60);
        assert_eq!(p("B♭4"), p("Bb4"));
        assert_eq!(p("A0").midi(), 21);
    }

    #[test]
    fn what_is_not_a_pitch_is_refused() {
        for text in ["", "H4", "C", "C44", "Cbbbb4", "4", "C+4", "é4", "Bb"] {
            assert!(text.parse::<Pitch>().is_err(), "{text}");
        }
    }

    #[test]
    fn key_signatures_alter_their_letters() {
        for fifths in -14..=14i8 {
            for step in Step::ALL {
                let alter = step.altered_by_key(fifths);
                // The seven notes of a key are neighbours on the line of fifths.
                let place = NoteName::new(step, alter).fifths();
                let from = i16::from(fifths) - 1;
                assert!(
                    (from..from + 7).contains(&place),
                    "{step:?} {fifths} {alter}"
                );
            }
        }
        // Common practice, no source: one flat is B, one sharp is F.
        assert_eq!(Step::B.altered_by_key(-1), -1);
        assert_eq!(Step::E.altered_by_key(-1), 0);
        assert_eq!(Step::F.altered_by_key(1), 1);
    }

    #[test]
    fn transposition_keeps_letters() {
        let alto = Transposition::from_parts(-5, -9, 0);
        let tenor = Transposition::from_parts(-1, -2, -1);
        assert_eq!(p("C5").transposed(alto), p("Eb4"));
        assert_eq!(p("G5").transposed(tenor), p("F4"));
        assert_eq!(p("Eb4").transposed(alto.inverse()), p("C5"));
        assert_eq!(p("E5").transposed(alto), p("G4"));
    }

    #[test]
    fn key_signatures_of_parts() {
        // Published: the written keys of transposing instruments (MusicXML 4.0, transpose).
        let bb = Transposition::from_parts(-1, -2, 0);
        let eb = Transposition::from_parts(-5, -9, -1);
        let f = Transposition::from_parts(-4, -7, 0);
        assert_eq!(bb.key_shift(), 2);
        assert_eq!(eb.key_shift(), 3);
        assert_eq!(f.key_shift(), 1);
        assert_eq!(Transposition::from_parts(0, 0, -1).key_shift(), 0);
        assert_eq!(written_fifths(-3, bb), -1);
        assert_eq!(written_fifths(5, eb), -4);
    }

    #[test]
    fn names_follow_the_key() {
        let n = |midi, fifths| NoteName::in_key(PitchClass::new(midi), fifths).to_string();
        assert_eq!(n(10, -1), "Bb");
        assert_eq!(n(10, 3), "A#");
        assert_eq!(n(6, 0), "F#");
        assert_eq!(n(1, -4), "Db");
        assert_eq!(n(8, 0), "Ab");
        assert_eq!(n(1, 2), "C#");
        for fifths in -7..=7 {
            for midi in 0..12 {
                let name = NoteName::in_key(PitchClass::new(midi), fifths);
                assert_eq!(name.class().get(), midi);
                assert_eq!(NoteName::from_fifths(name.fifths()), name);
            }
        }
    }

    #[test]
    fn a_name_finds_its_octave() {
        let cb = NoteName::new(Step::C, -1);
        assert_eq!(Pitch::named(cb, 59), Some(p("Cb4")));
        assert_eq!(Pitch::named(cb, 60), None);
    }
}
