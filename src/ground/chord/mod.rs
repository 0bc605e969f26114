//! Chords: root, degrees, bass; read from text ([`parse`]) or from MusicXML's kinds
//! ([`from_kind`]). The vocabulary is data: `rules/chords.toml`.

mod degree_set;
mod kind;
mod symbol;
mod vocabulary;

pub use kind::{DegreeChange, DegreeEdit, from_kind};
pub use symbol::parse;
pub use vocabulary::{Leads, name_of, tensions_leading};

use crate::ground::pitch::{NoteName, PitchClass, Step, Transposition};
use serde::Deserialize;
use std::fmt;

/// A chord degree: number 1 to 13, altered against the major scale on the root
/// (b3 is number 3, alter -1; the diminished seventh is number 7, alter -2).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Degree {
    /// 1 to 13.
    pub number: u8,
    /// Semitones against the major scale.
    pub alter: i8,
}

impl Degree {
    /// A degree by number and alteration.
    pub const fn new(number: u8, alter: i8) -> Self {
        Self { number, alter }
    }

    /// Semitones above the root, 0 to 11.
    pub const fn semitones(self) -> i16 {
        const MAJOR: [i16; 7] = [0, 2, 4, 5, 7, 9, 11];
        (MAJOR[(self.number.saturating_sub(1) % 7) as usize] + self.alter as i16).rem_euclid(12)
    }

    /// The note name of this degree over `root`, spelled on its own letter.
    pub fn over(self, root: NoteName) -> NoteName {
        let letters = i16::from(self.number.saturating_sub(1) % 7);
        let step = Step::from_index(root.step.index() + letters);
        let class = root.class().plus(self.semitones());
        NoteName::on_step(class, step).unwrap_or_else(|| NoteName::in_key(class, 0))
    }

    /// Reads `b9`, `#11`, `bb7`, `5`.
    pub fn read(text: &str) -> Option<Self> {
        let (alter, rest) = crate::ground::pitch::read_accidentals(text);
        let number: u8 = rest.parse().ok()?;
        (1..=13)
            .contains(&number)
            .then_some(Self::new(number, alter))
    }
}

impl fmt::Display for Degree {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mark = if self.alter < 0 { "b" } else { "#" };
        for _ in 0..self.alter.unsigned_abs() {
            write!(f, "{mark}")?;
        }
        write!(f, "{}", self.number)
    }
}

/// What a chord is for, read off its degrees; decides its tensions and its passing chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// 1 3 5, with no sixth or seventh.
    MajorTriad,
    /// 1 b3 5.
    MinorTriad,
    /// 1 3 #5.
    AugmentedTriad,
    /// 1 b3 b5.
    DiminishedTriad,
    /// 1 4 5 or 1 2 5.
    SuspendedTriad,
    /// 1 3 5 6.
    Sixth,
    /// 1 b3 5 6.
    MinorSixth,
    /// 1 3 5 7, the fifth altered or not.
    MajorSeventh,
    /// 1 b3 5 7.
    MinorMajor,
    /// 1 3 5 b7, the fifth altered or not.
    Dominant,
    /// 1 4 5 b7.
    DominantSuspended,
    /// Third and seventh of a dominant with altered tensions only.
    Altered,
    /// 1 b3 5 b7.
    MinorSeventh,
    /// 1 b3 b5 b7.
    HalfDiminished,
    /// 1 b3 b5 bb7.
    DiminishedSeventh,
    /// 1 b3 b5 7.
    DiminishedMajor,
    /// Anything else: power chords, pedals, functional sixths, sets built of added degrees only.
    Other,
}

/// A chord symbol's meaning.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Chord {
    /// The root.
    pub root: NoteName,
    /// The bass note after a slash.
    pub bass: Option<NoteName>,
    /// The degrees it names, in ascending order of number, the root first.
    pub degrees: Vec<Degree>,
    /// "alt": any of b9 #9 #11 b13 may stand beside 1 3 b7.
    pub altered: bool,
    /// The symbol as people write it, at the same pitch as `root`.
    pub text: String,
}

impl Chord {
    /// Whether it names this degree.
    pub fn has(&self, number: u8, alter: i8) -> bool {
        self.degrees.contains(&Degree::new(number, alter))
    }

    /// The pitch classes it names, in the order of its degrees.
    pub fn classes(&self) -> impl Iterator<Item = PitchClass> + '_ {
        let root = self.root.class();
        self.degrees.iter().map(move |d| root.plus(d.semitones()))
    }

    /// The notes it names, each on its own letter, in the order of its degrees.
    pub fn names(&self) -> impl Iterator<Item = NoteName> + '_ {
        self.degrees.iter().map(|d| d.over(self.root))
    }

    /// Whether the pitch class is one of those it names.
    pub fn contains(&self, class: PitchClass) -> bool {
        let up = class.above(self.root.class());
        self.degrees.iter().any(|d| d.semitones() == up)
    }

    /// The third, or what stands for it: b3, 3, 4 or 2.
    pub fn third(&self) -> Option<Degree> {
        [(3, 0), (3, -1), (4, 0), (2, 0)]
            .into_iter()
            .map(|(n, a)| Degree::new(n, a))
            .find(|d| self.degrees.contains(d))
    }

    /// The fifth it names, altered or not.
    pub fn fifth(&self) -> Option<Degree> {
        [(5, 0), (5, -1), (5, 1)]
            .into_iter()
            .map(|(n, a)| Degree::new(n, a))
            .find(|d| self.degrees.contains(d))
    }

    /// The seventh, or the sixth that stands for it.
    pub fn seventh(&self) -> Option<Degree> {
        [(7, -1), (7, 0), (7, -2), (6, 0)]
            .into_iter()
            .map(|(n, a)| Degree::new(n, a))
            .find(|d| self.degrees.contains(d))
    }

    /// What the chord is for.
    pub fn family(&self) -> Family {
        if self.altered {
            return Family::Altered;
        }
        let flat5 = || self.has(5, -1);
        let seventh = self.seventh().map(|d| (d.number, d.alter));
        if self.has(3, 0) {
            return match seventh {
                Some((7, -1)) => Family::Dominant,
                Some((7, 0)) => Family::MajorSeventh,
                Some((6, _)) => Family::Sixth,
                None if self.has(5, 1) => Family::AugmentedTriad,
                None => Family::MajorTriad,
                Some(_) => Family::Other,
            };
        }
        if self.has(3, -1) {
            return match seventh {
                Some((7, -1)) if flat5() => Family::HalfDiminished,
                Some((7, -1)) => Family::MinorSeventh,
                Some((7, 0)) if flat5() => Family::DiminishedMajor,
                Some((7, 0)) => Family::MinorMajor,
                Some((7, -2)) => Family::DiminishedSeventh,
                Some((6, _)) if flat5() => Family::DiminishedSeventh,
                Some((6, _)) => Family::MinorSixth,
                None if flat5() => Family::DiminishedTriad,
                None => Family::MinorTriad,
                Some(_) => Family::Other,
            };
        }
        let fourth = self.has(4, 0) || self.has(11, 0) && seventh == Some((7, -1));
        match seventh {
            _ if !fourth && !self.has(2, 0) => Family::Other,
            Some((7, -1)) => Family::DominantSuspended,
            None => Family::SuspendedTriad,
            Some(_) => Family::Other,
        }
    }

    /// The same chord moved by an interval (from written to concert pitch, say), its text too.
    #[must_use]
    pub fn transposed(&self, by: Transposition) -> Self {
        if by.key_shift() == 0 {
            return self.clone();
        }
        let root = self.root.transposed(by);
        let bass = self.bass.map(|b| b.transposed(by));
        let mut text = self.text.clone();
        if let Some(b) = self.bass
            && let Some(head) = text.strip_suffix(&format!("/{b}"))
        {
            text = format!("{head}/{}", b.transposed(by));
        }
        if let Some(tail) = text.strip_prefix(&self.root.to_string()) {
            text = format!("{root}{tail}");
        }
        Self {
            root,
            bass,
            degrees: self.degrees.clone(),
            altered: self.altered,
            text,
        }
    }

    /// What the degree of a pitch class over the root is called: `b9`, `5`, `13` ... as this chord
    /// names it when it does, else as tensions are usually named.
    pub fn degree_name(&self, class: PitchClass) -> String {
        let up = class.above(self.root.class());
        if let Some(d) = self.degrees.iter().find(|d| d.semitones() == up) {
            return d.to_string();
        }
        let minor = self.has(3, -1);
        let seventh = self.has(7, -1) || self.has(7, 0) || self.altered;
        match up {
            0 => "1",
            1 => "b9",
            2 => "9",
            3 if minor => "b3",
            3 => "#9",
            4 => "3",
            5 => "11",
            6 => "#11",
            7 => "5",
            8 => "b13",
            9 if seventh => "13",
            9 => "6",
            10 => "b7",
            _ => "7",
        }
        .to_owned()
    }
}

impl fmt::Display for Chord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}
