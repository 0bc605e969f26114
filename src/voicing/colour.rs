//! What a note is to a chord: a member, a tension, or a note that undoes it.
//!
//! Sources: the tables of `rules/chords.toml`; which alterations shut each other out is common
//! practice, no source.

use super::Classes;
use crate::ground::chord::{Chord, Family, Leads, tensions_leading};
use crate::ground::pitch::PitchClass;
use smallvec::smallvec;

/// What a pitch class is to a chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Colour {
    /// Named by the symbol.
    Member,
    /// A tension any voice may take.
    Available,
    /// A tension when key or melody call for it.
    Conditional,
    /// A half step above a chord note, or against an alteration the symbol names.
    Avoid,
    /// Neither chord note nor tension.
    Foreign,
}

impl Colour {
    /// Whether it may stand in an inner voice.
    pub const fn may_sound(self) -> bool {
        matches!(self, Self::Member | Self::Available | Self::Conditional)
    }
}

/// A chord with where it leads, which decides a dominant's tensions.
#[derive(Clone, Copy, Debug)]
pub struct Frame<'a> {
    /// The chord.
    pub chord: &'a Chord,
    /// Where it leads.
    pub leads: Leads,
}

impl Frame<'_> {
    /// What a pitch class is to the chord.
    pub fn colour(&self, class: PitchClass) -> Colour {
        let chord = self.chord;
        let up = class.above(chord.root.class());
        if chord.bass.is_some_and(|b| b.class() == class)
            || chord.contains(class)
            || chord.altered && up == 10
        {
            return Colour::Member;
        }
        if self.shuts_out(class) {
            return Colour::Avoid;
        }
        let family = chord.family();
        if family == Family::Other {
            return Colour::Conditional;
        }
        let holds =
            |list: &[crate::ground::chord::Degree]| list.iter().any(|d| d.semitones() == up);
        let tensions = tensions_leading(family, self.leads);
        // The sixth stands for the seventh of a tonic chord, and the other way round.
        let stands_in = match family {
            Family::MajorTriad | Family::MajorSeventh | Family::DiminishedTriad => up == 9,
            Family::MinorTriad | Family::MinorMajor => matches!(up, 9 | 11),
            _ => false,
        };
        if stands_in || holds(&tensions.available) {
            Colour::Available
        } else if holds(&tensions.conditional) {
            Colour::Conditional
        } else if holds(&tensions.avoid) {
            Colour::Avoid
        } else {
            Colour::Foreign
        }
    }

    /// Whether an alteration that the symbol names leaves no place for a pitch class: 9 beside b9, 5
    /// beside b5.
    pub fn shuts_out(&self, class: PitchClass) -> bool {
        let chord = self.chord;
        let either = |number| chord.has(number, -1) || chord.has(number, 1);
        let flat_thirteen = || chord.has(13, -1) || chord.has(5, 1);
        match class.above(chord.root.class()) {
            1 => chord.has(9, 0),
            2 => either(9) && !chord.has(9, 0),
            5 => chord.has(11, 1) && !chord.has(11, 0) && !chord.has(4, 0),
            7 => either(5) && !chord.has(5, 0),
            8 => chord.has(13, 0) && !flat_thirteen(),
            9 => flat_thirteen() && !chord.has(13, 0) && !chord.has(6, 0),
            _ => false,
        }
    }

    /// Whether a pitch may stand in an inner voice.
    pub fn may_sound(&self, midi: i16) -> bool {
        self.colour(PitchClass::new(midi)).may_sound()
    }

    /// The root, or the slash note that stands under it.
    pub fn bass(&self) -> PitchClass {
        self.chord.bass.unwrap_or(self.chord.root).class()
    }

    /// The third, or the fourth or second that stands for it.
    pub fn third(&self) -> Option<PitchClass> {
        let root = self.chord.root.class();
        match self.chord.third() {
            Some(t) => Some(root.plus(t.semitones())),
            None if self.chord.family() == Family::Altered => Some(root.plus(4)),
            None if self.chord.family() == Family::DominantSuspended => Some(root.plus(5)),
            None => None,
        }
    }

    /// The fifth it names.
    pub fn fifth(&self) -> Option<PitchClass> {
        let fifth = self.chord.fifth()?;
        Some(self.chord.root.class().plus(fifth.semitones()))
    }

    /// Pitch classes that do for its seventh: b7 of a dominant; 6 or 7 of a tonic chord. Empty for
    /// a triad, which needs none.
    pub fn sevenths(&self) -> Classes {
        let root = self.chord.root.class();
        match self.chord.family() {
            Family::Sixth | Family::MajorSeventh | Family::MinorSixth | Family::MinorMajor => {
                smallvec![root.plus(9), root.plus(11)]
            }
            _ => self
                .chord
                .seventh()
                .map(|s| root.plus(s.semitones()))
                .into_iter()
                .collect(),
        }
    }

    /// Whether it is a dominant of any kind.
    pub fn is_dominant(&self) -> bool {
        matches!(
            self.chord.family(),
            Family::Dominant | Family::Altered | Family::DominantSuspended
        )
    }
}

/// Where a chord leads: to the chord a fifth or a half step below, by what follows it, or where
/// nothing follows by the key (`fifths` sharps).
pub fn leads(chord: &Chord, next: Option<&Chord>, fifths: i8) -> Leads {
    let Some(next) = next else {
        let tonic = PitchClass::new(i16::from(fifths) * 7);
        return match chord.root.class().above(tonic) {
            7 => Leads::ToMajor,
            4 => Leads::ToMinor,
            _ => Leads::Nowhere,
        };
    };
    let is_minor = || {
        matches!(
            next.family(),
            Family::MinorTriad | Family::MinorSixth | Family::MinorMajor | Family::MinorSeventh
        )
    };
    match next.root.class().above(chord.root.class()) {
        5 if is_minor() => Leads::ToMinor,
        5 => Leads::ToMajor,
        11 => Leads::HalfStepDown,
        _ => Leads::Nowhere,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::chord::parse;

    fn colours(symbol: &str, leads: Leads) -> Vec<Colour> {
        let chord = parse(symbol).unwrap().unwrap();
        let frame = Frame {
            chord: &chord,
            leads,
        };
        (0..12)
            .map(|up| frame.colour(chord.root.class().plus(up)))
            .collect()
    }

    #[test]
    fn tensions_by_function() {
        // Published: harmony course cards; dominants: common practice, no source.
        use Colour::{Available, Avoid, Conditional, Foreign, Member};
        let f6 = colours("F6", Leads::Nowhere);
        assert_eq!((f6[0], f6[2], f6[5]), (Member, Available, Avoid));
        let to_major = colours("G7", Leads::ToMajor);
        assert_eq!([to_major[1], to_major[3], to_major[8]], [Available; 3]);
        assert_eq!((to_major[5], to_major[11]), (Avoid, Avoid));
        let to_minor = colours("G7", Leads::ToMinor);
        assert_eq!((to_minor[1], to_minor[2]), (Available, Conditional));
        let substitute = colours("Db7", Leads::HalfStepDown);
        assert_eq!(
            (substitute[6], substitute[1], substitute[8]),
            (Available, Avoid, Avoid)
        );
        let dorian = colours("Dm7", Leads::Nowhere);
        assert_eq!(
            (dorian[2], dorian[5], dorian[1], dorian[4]),
            (Available, Available, Avoid, Foreign)
        );
    }

    #[test]
    fn the_symbols_alterations_shut_the_plain_notes_out() {
        // Common practice, no source: natural 9 or 13 against an altered one, 5 against b5 and #5.
        assert_eq!(colours("C7b9", Leads::ToMajor)[2], Colour::Avoid);
        assert_eq!(colours("C9", Leads::ToMajor)[1], Colour::Avoid);
        assert_eq!(colours("C7alt", Leads::ToMajor)[2], Colour::Avoid);
        assert_eq!(colours("C7alt", Leads::ToMajor)[7], Colour::Avoid);
        assert_eq!(colours("C7#5", Leads::ToMajor)[9], Colour::Avoid);
        assert_eq!(colours("C7b5", Leads::ToMajor)[7], Colour::Avoid);
        assert_eq!(colours("C13", Leads::ToMajor)[8], Colour::Avoid);
        assert_eq!(colours("C7", Leads::ToMajor)[7], Colour::Member);
    }

    #[test]
    fn a_dominant_leads_where_the_next_chord_says() {
        let c = |s: &str| parse(s).unwrap().unwrap();
        assert_eq!(leads(&c("G7"), Some(&c("Cmaj7")), 0), Leads::ToMajor);
        assert_eq!(leads(&c("G7"), Some(&c("Cm6")), 0), Leads::ToMinor);
        assert_eq!(leads(&c("Db7"), Some(&c("C6")), 0), Leads::HalfStepDown);
        assert_eq!(leads(&c("C7"), Some(&c("G7")), 0), Leads::Nowhere);
        assert_eq!(leads(&c("G7"), None, 0), Leads::ToMajor);
        assert_eq!(leads(&c("E7"), None, 0), Leads::ToMinor);
    }
}
