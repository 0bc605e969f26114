//! Pitches, chords and a reproducible random source. Tables: trade tables of degrees, of the
//! sixth-diminished system (published in lessons on block chords, checked by computation) and of tensions.

/// A small reproducible random source (the mixing step of SplitMix64, published).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D_4C95_7F2D)
    }
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    pub fn roll(&mut self, n: usize) -> usize {
        (self.next() >> 33) as usize % n.max(1)
    }
    pub fn chance(&mut self, percent: usize) -> bool {
        self.roll(100) < percent
    }
    pub fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.roll(list.len())]
    }
}

const NATURAL: [i16; 7] = [0, 2, 4, 5, 7, 9, 11];
const SHARPS_ORDER: [i16; 7] = [3, 0, 4, 1, 5, 2, 6];

/// A spelled pitch: letter steps from C0 (C4 is 28) and MIDI number (C4 is 60).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Tone {
    pub letter: i16,
    pub midi: i16,
}

impl Tone {
    pub fn alter(self) -> i16 {
        self.midi
            - 12 * (self.letter.div_euclid(7) + 1)
            - NATURAL[self.letter.rem_euclid(7) as usize]
    }
    pub fn octave(self) -> i16 {
        self.letter.div_euclid(7)
    }
    pub fn class(self) -> i16 {
        self.midi.rem_euclid(12)
    }
    pub fn step(self) -> char {
        ['C', 'D', 'E', 'F', 'G', 'A', 'B'][self.letter.rem_euclid(7) as usize]
    }
    pub fn moved(self, letters: i16, semitones: i16) -> Self {
        Self {
            letter: self.letter + letters,
            midi: self.midi + semitones,
        }
    }
    pub fn octaves(self, n: i16) -> Self {
        self.moved(7 * n, 12 * n)
    }
    /// The same sound without double accidentals.
    pub fn plain(self) -> Self {
        match self.alter() {
            2.. => self.moved(1, 0).plain(),
            ..=-2 => self.moved(-1, 0).plain(),
            _ => self,
        }
    }
    /// The nearest letter for a MIDI number, sharps or flats as the key has them.
    pub fn spelled(midi: i16, fifths: i16) -> Self {
        let flat = [0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6];
        let sharp = [0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 5, 6];
        let letters = if fifths < 1 { flat } else { sharp };
        Self {
            letter: 7 * (midi.div_euclid(12) - 1) + letters[midi.rem_euclid(12) as usize],
            midi,
        }
    }
    /// A diatonic step up or down on the staff in a key.
    pub fn staff_step(self, by: i16, fifths: i16) -> Self {
        let letter = self.letter + by;
        let alter = key_alter(letter.rem_euclid(7), fifths);
        let midi = 12 * (letter.div_euclid(7) + 1) + NATURAL[letter.rem_euclid(7) as usize] + alter;
        Self { letter, midi }
    }
    pub fn name(self) -> String {
        let sign = match self.alter() {
            1 => "#",
            -1 => "b",
            0 => "",
            _ => "?",
        };
        format!("{}{sign}{}", self.step(), self.octave())
    }
}

/// What a key signature does to a letter (0 is C).
pub fn key_alter(letter: i16, fifths: i16) -> i16 {
    let at = SHARPS_ORDER.iter().position(|l| *l == letter).unwrap() as i16;
    if fifths > at {
        1
    } else if -fifths > 6 - at {
        -1
    } else {
        0
    }
}

/// The tonic of a major key, in the fourth octave.
pub fn tonic(fifths: i16) -> Tone {
    let letter = (4 * fifths).rem_euclid(7);
    let alter = key_alter(letter, fifths);
    Tone {
        letter: 28 + letter,
        midi: 60 + NATURAL[letter as usize] + alter,
    }
}

/// A degree above a root: letter steps and semitones.
pub type Degree = (i16, i16);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quality {
    Sixth,
    MinorSixth,
    Major7,
    Minor7,
    Seventh,
    SeventhFlat9,
    Ninth,
    Thirteenth,
    SeventhSus4,
    HalfDim,
    Dim7,
}

use Quality::{
    Dim7, HalfDim, Major7, Minor7, MinorSixth, Ninth, Seventh, SeventhFlat9, SeventhSus4, Sixth,
    Thirteenth,
};

/// The passing diminished seventh a half step below the root: 7, 2, 4, flat 6.
pub const PASSING: [Degree; 4] = [(6, 11), (1, 2), (3, 5), (5, 8)];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chord {
    pub root: Tone,
    pub quality: Quality,
}

impl Chord {
    pub fn tones(self) -> [Degree; 4] {
        match self.quality {
            Sixth => [(0, 0), (2, 4), (4, 7), (5, 9)],
            MinorSixth => [(0, 0), (2, 3), (4, 7), (5, 9)],
            Major7 => [(0, 0), (2, 4), (4, 7), (6, 11)],
            Minor7 => [(0, 0), (2, 3), (4, 7), (6, 10)],
            SeventhSus4 => [(0, 0), (3, 5), (4, 7), (6, 10)],
            Seventh | SeventhFlat9 | Ninth | Thirteenth => [(0, 0), (2, 4), (4, 7), (6, 10)],
            HalfDim => [(0, 0), (2, 3), (4, 6), (6, 10)],
            Dim7 => [(0, 0), (2, 3), (4, 6), (6, 9)],
        }
    }
    /// Guide tones: third, and seventh or sixth.
    pub fn guides(self) -> [Degree; 2] {
        let tones = self.tones();
        [tones[1], tones[3]]
    }
    /// Tensions that may stand long in the lead, each with the place in `tones` that it takes.
    pub fn tensions(self) -> &'static [(Degree, usize)] {
        match self.quality {
            Sixth | Major7 | MinorSixth | SeventhSus4 => &[((1, 2), 0)],
            Minor7 => &[((1, 2), 0), ((3, 5), 1)],
            Seventh => &[((1, 2), 0), ((5, 9), 2)],
            SeventhFlat9 => &[((1, 1), 0)],
            Ninth | Thirteenth | HalfDim | Dim7 => &[],
        }
    }
    /// Semitones above the root that nobody calls wrong on it: chord notes and every tension.
    pub fn allowed(self) -> &'static [i16] {
        match self.quality {
            Sixth | Major7 => &[0, 2, 4, 6, 7, 9, 11],
            MinorSixth => &[0, 2, 3, 5, 7, 9, 11],
            Minor7 => &[0, 2, 3, 5, 7, 9, 10],
            Seventh | Ninth | Thirteenth => &[0, 1, 2, 3, 4, 6, 7, 8, 9, 10],
            SeventhSus4 => &[0, 1, 2, 4, 5, 7, 8, 9, 10],
            SeventhFlat9 => &[0, 1, 3, 4, 6, 7, 8, 9, 10],
            HalfDim => &[0, 2, 3, 5, 6, 8, 10],
            Dim7 => &[0, 2, 3, 5, 6, 8, 9, 11],
        }
    }
    /// Third and minor seventh, whatever stands over them.
    pub fn dominant(self) -> bool {
        matches!(self.quality, Seventh | SeventhFlat9 | Ninth | Thirteenth)
    }
    pub fn at(self, degree: Degree) -> Tone {
        self.root.moved(degree.0, degree.1)
    }
    pub fn kind(self) -> (&'static str, &'static str) {
        match self.quality {
            Sixth => ("major-sixth", "6"),
            MinorSixth => ("minor-sixth", "m6"),
            Major7 => ("major-seventh", "maj7"),
            Minor7 => ("minor-seventh", "m7"),
            Seventh => ("dominant", "7"),
            SeventhFlat9 => ("dominant", "7b9"),
            Ninth => ("dominant-ninth", "9"),
            Thirteenth => ("dominant-13th", "13"),
            SeventhSus4 => ("suspended-fourth", "7sus4"),
            HalfDim => ("half-diminished", "m7b5"),
            Dim7 => ("diminished-seventh", "dim7"),
        }
    }
    pub fn name(self) -> String {
        let root = self.root.name();
        format!("{}{}", &root[..root.len() - 1], self.kind().1)
    }
}

/// A meter; all lengths are eighths.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meter {
    pub beats: i32,
    pub unit: i32,
    pub bar: i32,
    pub beat: i32,
    /// Where the second chord of a bar stands.
    pub half: i32,
}

pub const METERS: [Meter; 3] = [
    Meter {
        beats: 4,
        unit: 4,
        bar: 8,
        beat: 2,
        half: 4,
    },
    Meter {
        beats: 3,
        unit: 4,
        bar: 6,
        beat: 2,
        half: 4,
    },
    Meter {
        beats: 6,
        unit: 8,
        bar: 6,
        beat: 3,
        half: 3,
    },
];

impl Meter {
    /// The 1-based bar, and the 1-based beat in units of the lower figure.
    pub fn place(self, at: i32) -> (i32, f64) {
        let beat = f64::from(at.rem_euclid(self.bar)) * f64::from(self.unit) / 8.0 + 1.0;
        (at.div_euclid(self.bar) + 1, beat)
    }
}

/// A chord and where it stands, in eighths from the start.
#[derive(Clone, Copy, Debug)]
pub struct Placed {
    pub at: i32,
    pub len: i32,
    pub chord: Chord,
}

/// Degrees of a major key with their chords: letters and semitones above the tonic, quality.
type Step = (i16, i16, Quality);

const I6: Step = (0, 0, Sixth);
const IM: Step = (0, 0, Major7);
const II: Step = (1, 2, Minor7);
const II7: Step = (1, 2, Seventh);
const III: Step = (2, 4, Minor7);
const IV: Step = (3, 5, Sixth);
const IVM: Step = (3, 5, Major7);
const IVN: Step = (3, 5, MinorSixth);
const V: Step = (4, 7, Seventh);
const VI: Step = (5, 9, Minor7);
const VI7: Step = (5, 9, SeventhFlat9);
const VIN: Step = (5, 9, MinorSixth);
const VII: Step = (6, 11, HalfDim);
const III7: Step = (2, 4, SeventhFlat9);
const I7: Step = (0, 0, Seventh);
const IDIM: Step = (0, 1, Dim7);

/// Four bars of changes, one or two a bar. Common practice, no source.
const CHANGES: [[&[Step]; 4]; 12] = [
    [&[I6], &[I6], &[II, V], &[I6]],
    [&[II], &[V], &[I6], &[I6]],
    [&[I6], &[VI7], &[II, V], &[I6]],
    [&[IM], &[IVM], &[II, V], &[I6]],
    [&[I6, VI], &[II, V], &[III, VI7], &[II, V]],
    [&[VII], &[III7], &[VIN], &[VIN]],
    [&[I6], &[I7], &[IV], &[IVN]],
    [&[II, V], &[IM], &[VII, III7], &[VIN]],
    [&[I6, IDIM], &[II, V], &[I6], &[V]],
    [&[IV], &[IVN], &[I6], &[II, V]],
    [&[II7], &[II, V], &[I6, IV], &[I6]],
    [&[VI], &[II], &[V], &[IM]],
];

/// Changes for some bars of a phrase, from a bar on; the last phrase of a chart ends on the tonic.
pub fn changes(
    dice: &mut Dice,
    fifths: i16,
    meter: Meter,
    start: i32,
    bars: i32,
    ends: bool,
) -> Vec<Placed> {
    let home = tonic(fifths);
    let bar = meter.bar;
    let mut placed = Vec::new();
    let mut four = dice.pick(&CHANGES);
    for index in 0..bars {
        if index > 0 && index % 4 == 0 {
            four = dice.pick(&CHANGES);
        }
        let last = ends && index == bars - 1;
        let steps: &[Step] = if last {
            &[I6]
        } else {
            four[(index % 4) as usize]
        };
        for (at, step) in steps.iter().enumerate() {
            let from = if at == 0 { 0 } else { meter.half };
            let to = if at + 1 == steps.len() {
                bar
            } else {
                meter.half
            };
            let mut root = home.moved(step.0, step.1).plain();
            while root.midi > 69 {
                root = root.octaves(-1);
            }
            placed.push(Placed {
                at: start + index * bar + from,
                len: to - from,
                chord: Chord {
                    root,
                    quality: coloured(dice, *step),
                },
            });
        }
    }
    placed
}

/// The dominant of the key may carry its ninth or thirteenth, or be suspended.
fn coloured(dice: &mut Dice, step: Step) -> Quality {
    match dice.roll(8) {
        0 if step == V => Ninth,
        1 if step == V => Thirteenth,
        2 if step == V => SeventhSus4,
        _ => step.2,
    }
}

/// The chord in force.
pub fn in_force(chords: &[Placed], at: i32) -> Chord {
    let before = chords.iter().take_while(|c| c.at <= at).last();
    before.unwrap_or(&chords[0]).chord
}

/// The same sound, one octave or more away, that stands highest at or under a limit.
pub fn under(tone: Tone, limit: i16) -> Tone {
    let octaves = (limit - tone.midi).div_euclid(12);
    tone.octaves(octaves)
}
