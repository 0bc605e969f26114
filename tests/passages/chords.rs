//! Chords, the sets of four under a lead note, and what nobody calls wrong. Tables: trade tables of chord
//! symbols and tensions; sets of four by one note from each category (published: handbooks of jazz voicing);
//! qualities of the suspended family and the sets of altered dominants: common practice, no source.

use crate::ensembles::notes::{Degree, Tone};

/// A quality of chord: its symbol, the note of each category, and the sets of four that are right under a lead.
#[derive(Debug)]
pub struct Quality {
    pub suffix: &'static str,
    pub family: Family,
    /// Root, third, fifth, and seventh or sixth.
    pub four: &'static str,
    /// Other sets; after the colon the leads that take it (all of its notes without one). `long` asks for more than
    /// a beat or a strong beat, `colour` stands for what the symbol leaves to the writer.
    pub sets: &'static [&'static str],
    /// Degrees that nobody calls wrong in any voice.
    pub takes: &'static str,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    Major,
    Minor,
    Dominant,
    Suspended,
    HalfDiminished,
    Diminished,
}

use Family::{Diminished, Dominant, HalfDiminished, Major, Minor, Suspended};

const fn quality(
    suffix: &'static str,
    family: Family,
    four: &'static str,
    sets: &'static [&'static str],
    takes: &'static str,
) -> Quality {
    Quality {
        suffix,
        family,
        four,
        sets,
        takes,
    }
}

const MAJOR: &str = "1 9 3 #11 5 6 7";
/// A minor sixth keeps its third.
const MINOR_SIXTH: &str = "1 9 b3 11 5 6 7";
const ANY_DOMINANT: &str = "1 b9 9 #9 3 #11 5 b13 13 b7";

pub static QUALITIES: [Quality; 29] = [
    quality("6", Major, "1 3 5 6", &["1 3 5 6", "9 3 5 6:9 long"], MAJOR),
    quality("6/9", Major, "1 3 5 6", &["1 3 5 6:1", "9 3 5 6"], MAJOR),
    quality(
        "maj7",
        Major,
        "1 3 5 7",
        &["1 3 5 6:1 6", "1 3 5 7:3 5 7", "9 3 5 7:9 long"],
        MAJOR,
    ),
    quality(
        "maj9",
        Major,
        "1 3 5 7",
        &["1 3 5 6:1 6", "9 3 5 7:9 5 7", "1 3 5 7:3"],
        MAJOR,
    ),
    quality(
        "maj7#11",
        Major,
        "1 3 #11 7",
        &[
            "1 3 #11 7:3 7",
            "9 3 #11 7:9 #11",
            "#11 3 5 7:#11",
            "1 3 5 7:5",
        ],
        MAJOR,
    ),
    quality(
        "m7",
        Minor,
        "1 b3 5 b7",
        &["1 b3 5 b7", "9 b3 5 b7:9 long", "1 11 5 b7:11 long"],
        "1 9 b3 11 5 13 b7",
    ),
    quality(
        "m9",
        Minor,
        "1 b3 5 b7",
        &["9 b3 5 b7:9 5 b7", "1 b3 5 b7:1 b3"],
        "1 9 b3 11 5 13 b7",
    ),
    quality(
        "m11",
        Minor,
        "1 b3 5 b7",
        &["1 11 5 b7:1 11 5 b7", "1 b3 5 b7:b3"],
        "1 9 b3 11 5 13 b7",
    ),
    quality(
        "m6",
        Minor,
        "1 b3 5 6",
        &["1 b3 5 6", "9 b3 5 6:9 long"],
        MINOR_SIXTH,
    ),
    quality(
        "m(maj7)",
        Minor,
        "1 b3 5 7",
        &["1 b3 5 6:1 6", "1 b3 5 7:b3 5 7"],
        MINOR_SIXTH,
    ),
    quality(
        "7",
        Dominant,
        "1 3 5 b7",
        &["1 3 5 b7", "9 3 5 b7:9 long", "1 3 13 b7:13 long"],
        ANY_DOMINANT,
    ),
    quality(
        "9",
        Dominant,
        "1 3 5 b7",
        &["9 3 5 b7", "1 3 5 b7:1"],
        ANY_DOMINANT,
    ),
    quality(
        "13",
        Dominant,
        "1 3 5 b7",
        &["9 3 13 b7:9 3 13 b7", "1 3 13 b7:1 13", "9 3 5 b7:5"],
        ANY_DOMINANT,
    ),
    quality(
        "7#11",
        Dominant,
        "1 3 #11 b7",
        &["1 3 #11 b7", "9 3 #11 b7:9 3 #11 b7", "9 3 5 b7:5"],
        "1 b9 9 #9 3 #11 5 13 b7",
    ),
    quality(
        "7b5",
        Dominant,
        "1 3 b5 b7",
        &["1 3 b5 b7"],
        "1 b9 9 #9 3 #11 b13 13 b7",
    ),
    quality(
        "7b9",
        Dominant,
        "1 3 5 b7",
        &["b9 3 5 b7", "1 3 5 b7:1"],
        "1 b9 #9 3 #11 5 b13 13 b7",
    ),
    quality(
        "7#9",
        Dominant,
        "1 3 5 b7",
        &["#9 3 5 b7:#9 5 b7", "1 3 5 b7:1 3"],
        "1 b9 #9 3 #11 5 b13 13 b7",
    ),
    quality(
        "7b13",
        Dominant,
        "1 3 b13 b7",
        &["1 3 b13 b7"],
        "1 b9 9 #9 3 #11 5 b13 b7",
    ),
    quality(
        "7b9b13",
        Dominant,
        "1 3 b13 b7",
        &["b9 3 b13 b7", "1 3 b13 b7:1"],
        "1 b9 #9 3 #11 5 b13 b7",
    ),
    quality(
        "13b9",
        Dominant,
        "1 3 13 b7",
        &["b9 3 13 b7", "b9 3 5 b7:5", "1 3 13 b7:1"],
        "1 b9 #9 3 #11 5 13 b7",
    ),
    quality(
        "7alt",
        Dominant,
        "1 3 b13 b7",
        &[
            "b9 3 b13 b7",
            "#9 3 b13 b7:#9 b13 b7",
            "b9 3 #11 b7:#11",
            "1 3 b13 b7:1",
        ],
        "1 b9 #9 3 #11 5 b13 b7",
    ),
    quality(
        "7sus4",
        Suspended,
        "1 4 5 b7",
        &["1 4 5 b7", "9 4 5 b7:9 4 5 b7"],
        "1 9 4 5 13 b7",
    ),
    quality(
        "9sus4",
        Suspended,
        "1 4 5 b7",
        &["9 4 5 b7", "1 4 5 b7:1"],
        "1 9 4 5 13 b7",
    ),
    quality(
        "7sus4(b9)",
        Suspended,
        "1 4 5 b7",
        &["1 4 b9 b7:1", "b9 4 5 b7"],
        "1 b9 4 5 b7",
    ),
    quality(
        "m7b5",
        HalfDiminished,
        "1 b3 b5 b7",
        &["1 b3 b5 b7", "1 11 b5 b7:11 long"],
        "1 9 b3 11 b5 b13 b7",
    ),
    quality(
        "dim7",
        Diminished,
        "1 b3 b5 bb7",
        &["1 b3 b5 bb7"],
        "1 9 b3 11 b5 b13 bb7 7",
    ),
    quality("6/3", Major, "1 3 5 6", &["1 3 5 6"], MAJOR),
    quality(
        "m7/4",
        Minor,
        "1 b3 5 b7",
        &["1 b3 5 b7", "9 b3 5 b7:9 long"],
        "1 9 b3 11 5 13 b7",
    ),
    quality(
        "maj7/2",
        Major,
        "1 3 5 7",
        &["1 3 5 6:1 6", "1 3 5 7:3 5 7"],
        MAJOR,
    ),
];

/// A degree by its name: letter steps and semitones above the root.
pub fn degree(name: &str) -> Degree {
    match name {
        "1" => (0, 0),
        "b9" => (1, 1),
        "9" => (1, 2),
        "#9" => (1, 3),
        "b3" => (2, 3),
        "3" => (2, 4),
        "4" | "11" => (3, 5),
        "#11" => (3, 6),
        "b5" => (4, 6),
        "5" => (4, 7),
        "#5" => (4, 8),
        "b13" => (5, 8),
        "6" | "13" => (5, 9),
        "bb7" => (6, 9),
        "b7" => (6, 10),
        "7" => (6, 11),
        other => panic!("no degree is called {other}"),
    }
}

pub fn degrees(names: &str) -> Vec<Degree> {
    names.split_whitespace().map(degree).collect()
}

#[derive(Clone, Copy, Debug)]
pub struct Chord {
    pub root: Tone,
    pub quality: &'static Quality,
}

impl PartialEq for Chord {
    fn eq(&self, other: &Self) -> bool {
        self.root.class() == other.root.class() && self.quality.suffix == other.quality.suffix
    }
}

/// A set of four under one lead degree.
#[derive(Clone, Debug)]
pub struct Set {
    pub lead: Degree,
    pub four: [Degree; 4],
    /// The lead is a tension that a short weak note cannot be.
    pub long: bool,
}

impl Chord {
    pub fn new(root: Tone, suffix: &str) -> Self {
        let quality = QUALITIES.iter().find(|q| q.suffix == suffix);
        Self {
            root,
            quality: quality.unwrap_or_else(|| panic!("no quality is written {suffix}")),
        }
    }
    pub fn at(self, degree: Degree) -> Tone {
        self.root.moved(degree.0, degree.1)
    }
    pub fn above(self, tone: Tone) -> i16 {
        (tone.midi - self.root.midi).rem_euclid(12)
    }
    pub fn is(self, family: Family) -> bool {
        self.quality.family == family
    }
    pub fn four(self) -> [Degree; 4] {
        degrees(self.quality.four).try_into().unwrap()
    }
    /// Classes above the root that nobody calls wrong.
    pub fn takes(self, tone: Tone) -> bool {
        let takes = degrees(self.quality.takes);
        takes.iter().any(|d| d.1 == self.above(tone))
    }
    /// Third (or fourth), and seventh or sixth.
    pub fn guides(self) -> [Tone; 2] {
        let four = self.four();
        [self.at(four[1]), self.at(four[3])]
    }
    pub fn sets(self) -> Vec<Set> {
        let mut out = Vec::new();
        for row in self.quality.sets {
            let (notes, leads) = row.split_once(':').unwrap_or((row, row));
            let four: [Degree; 4] = degrees(notes).try_into().unwrap();
            let long = leads.ends_with("long");
            for lead in degrees(leads.trim_end_matches("long")) {
                out.push(Set { lead, four, long });
            }
        }
        out
    }
    /// The bass that the symbol asks for.
    pub fn bass(self) -> Tone {
        match self.quality.suffix {
            "6/3" => self.at((2, 4)),
            "m7/4" => self.at((3, 5)),
            "maj7/2" => self.at((1, 2)),
            _ => self.root,
        }
    }
    pub fn symbol(self) -> String {
        let letter = |t: Tone| {
            let name = t.plain().name();
            name[..name.len() - 1].to_owned()
        };
        let root = letter(self.root);
        match self.quality.suffix {
            "6/3" => format!("{root}6/{}", letter(self.bass())),
            "m7/4" => format!("{root}m7/{}", letter(self.bass())),
            "maj7/2" => format!("{root}maj7/{}", letter(self.bass())),
            other => format!("{root}{other}"),
        }
    }
    pub fn tones(self, four: &[Degree; 4]) -> [Tone; 4] {
        four.map(|d| self.at(d).plain())
    }
}

/// The passing diminished seventh, a half step below the root: 7, 2, 4, flat 6.
pub fn passing(chord: Chord) -> [Tone; 4] {
    chord.tones(&crate::ensembles::notes::PASSING)
}
