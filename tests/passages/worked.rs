//! The trade's worked examples come out of the voicings of this yardstick. Source of every row: computed from the
//! definitions of close position, the drops, the doubled lead and the sixth-diminished system (published: jazz
//! arranging texts, web lessons and a guitar journal).

use super::chords::Chord;
use super::line::{Frame, Kind};
use super::plan::{Key, Placed, Slot};
use super::voicing::Technique::{
    self, Close, Cluster, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop23, Drop24, Fourths, Spread,
    ThreePart,
};
use crate::ensembles::notes::Tone;

/// Fifths and mode of the key, root and suffix of the chord, technique, kind of the lead note, length in ticks, pitches.
type Row = (
    i16,
    bool,
    &'static str,
    &'static str,
    Technique,
    Kind,
    i32,
    &'static [i16],
);

const P: Kind = Kind::Passing;
const C: Kind = Kind::Chord;
const T: Kind = Kind::Tension;

#[rustfmt::skip]
const ROWS: [Row; 39] = [
    (0, false, "C", "6", Close, C, 6, &[72, 69, 67, 64]),
    (0, false, "C", "6", Close, P, 6, &[74, 71, 68, 65]),
    (-3, false, "Eb", "6", DoubledLead, C, 6, &[67, 63, 60, 58, 55]),
    (-3, false, "Eb", "6", DoubledLead, P, 6, &[65, 62, 59, 56, 53]),
    (-2, false, "Bb", "6", Drop2Doubled, C, 6, &[70, 65, 62, 58, 55]),
    (-2, false, "Bb", "6", Drop2Doubled, P, 6, &[72, 66, 63, 60, 57]),
    (0, false, "C", "6", Drop2, C, 6, &[76, 69, 67, 60]),
    (-1, false, "D", "m7", Close, P, 6, &[76, 73, 70, 67]),
    (-1, false, "D", "m7", Close, T, 24, &[76, 72, 69, 65]),
    (-1, false, "D", "m7", Close, T, 24, &[79, 74, 72, 69]),
    (0, false, "G", "7", Drop2, C, 6, &[77, 71, 67, 62]),
    (0, false, "G", "7", Close, P, 6, &[69, 66, 63, 60]),
    (0, false, "G", "7", Close, Kind::SecondReading, 6, &[79, 76, 73, 70]),
    (0, false, "G", "13", Drop2, C, 6, &[76, 69, 65, 59]),
    (-3, true, "G", "7b9", Drop2, C, 6, &[80, 74, 71, 65]),
    (0, false, "C", "maj7", Close, C, 24, &[71, 67, 64, 60]),
    (0, false, "C", "maj7", Drop2, C, 24, &[72, 67, 64, 57]),
    (-3, true, "C", "m6", Close, P, 6, &[77, 74, 71, 68]),
    (0, true, "A", "m6", Close, P, 6, &[74, 71, 68, 65]),
    (0, true, "B", "m7b5", Drop2, C, 6, &[69, 62, 59, 53]),
    (0, true, "B", "m7b5", Close, P, 6, &[67, 64, 61, 58]),
    (-4, false, "F", "m7", Drop2, P, 6, &[73, 67, 64, 58]),
    (-2, false, "Bb", "maj7", Drop3, C, 24, &[77, 74, 69, 58]),
    (-2, false, "Bb", "6", Drop3, C, 24, &[74, 70, 65, 55]),
    (-2, false, "F", "7", Drop24, C, 24, &[75, 69, 60, 53]),
    (-4, false, "Ab", "6", Drop23, C, 24, &[72, 63, 56, 53]),
    (-1, false, "C", "7b5", Close, P, 6, &[77, 74, 71, 68]),
    (-2, false, "Eb", "dim7", Close, P, 6, &[65, 62, 59, 56]),
    (-2, false, "F", "7sus4", Close, C, 6, &[70, 65, 63, 60]),
    (-4, false, "Eb", "9", Close, C, 6, &[77, 73, 70, 67]),
    (-2, false, "F", "7", Drop2, C, 6, &[63, 57, 53, 48]),
    (0, false, "G", "13", Spread, C, 48, &[69, 64, 59, 53, 43]),
    (0, false, "D", "m9", Spread, C, 48, &[64, 60, 53, 38]),
    (0, false, "C", "6/9", Fourths, C, 12, &[79, 74, 69, 64, 59]),
    (0, false, "D", "m11", Fourths, C, 12, &[69, 65, 60, 55, 50]),
    (0, false, "F", "maj7#11", Cluster, C, 48, &[76, 72, 71, 69]),
    (0, false, "D", "m7", ThreePart, C, 12, &[69, 65, 60]),
    (0, false, "G", "9", ThreePart, C, 12, &[69, 65, 59]),
    (0, false, "C", "maj7", ThreePart, C, 12, &[67, 64, 59]),
];

/// What is right although it is easily called wrong.
#[rustfmt::skip]
const RIGHT: [Row; 12] = [
    (0, false, "G", "7", Close, Kind::TonicSixth, 6, &[72, 69, 67, 64]),
    (0, true, "E", "7", Close, Kind::TonicSixth, 6, &[72, 69, 66, 64]),
    (-1, false, "C", "7", Close, Kind::Related, 6, &[74, 70, 67, 65]),
    (-1, false, "F", "6", Close, Kind::Dominant, 6, &[67, 64, 60, 58]),
    (-1, false, "D", "m7", Close, T, 12, &[76, 72, 69, 65]),
    (0, false, "C", "maj7", Close, T, 12, &[74, 71, 67, 64]),
    (0, false, "G", "7", Close, T, 12, &[69, 65, 62, 59]),
    (-2, false, "F", "7sus4", Close, C, 6, &[79, 75, 72, 70]),
    (-4, false, "Ab", "maj7", Close, Kind::CommonTone, 6, &[77, 74, 71, 68]),
    (0, false, "C", "maj7", Spread, C, 48, &[64, 59, 55, 48]),
    (-1, false, "F", "maj7#11", Close, C, 12, &[71, 69, 64, 60]),
    (0, false, "G", "7sus4(b9)", Close, C, 12, &[67, 65, 60, 56]),
];

fn root(name: &str) -> Tone {
    let letter = ["C", "D", "E", "F", "G", "A", "B"]
        .iter()
        .position(|l| *l == &name[..1])
        .unwrap() as i16;
    let natural = [0, 2, 4, 5, 7, 9, 11][letter as usize];
    Tone {
        letter: 28 + letter,
        midi: 60 + natural,
    }
    .moved(0, if name.ends_with('b') { -1 } else { 0 })
}

/// The voicings under a lead note between two others of its chord.
fn voicings(row: &Row) -> Vec<(Kind, Vec<i16>)> {
    let (fifths, minor, name, suffix, technique, kind, len, wanted) = *row;
    let chords = [Placed {
        at: 0,
        len: 480,
        chord: Chord::new(root(name), suffix),
        silent: false,
    }];
    let ranges = vec![(36, 90); wanted.len()];
    let frame = Frame {
        key: Key { fifths, minor },
        technique,
        ranges: &ranges,
        low_horns: true,
        chords: &chords,
        habit: (kind == Kind::CommonTone).then_some(kind),
        beat: 12,
        against: &[],
    };
    let slot = |at, len, weak| Slot {
        at,
        len,
        chord: 0,
        weak,
        push: None,
        delayed: false,
    };
    let slots = [
        slot(0, 12, false),
        slot(12, len, kind.moves()),
        slot(60, 12, false),
    ];
    let found = frame.candidates(&slots, 1);
    found
        .into_iter()
        .map(|c| (c.kind, c.voices.iter().map(|v| v.midi).collect()))
        .collect()
}

#[test]
fn worked_examples_come_out() {
    for row in ROWS.iter().chain(&RIGHT) {
        let found = voicings(row);
        let wanted = (row.5, row.7.to_vec());
        let under: Vec<_> = found.iter().filter(|f| f.1[0] == row.7[0]).collect();
        assert!(found.contains(&wanted), "{row:?}: {under:?}");
    }
}

/// C6 and its diminished by turns, over an octave.
#[test]
fn a_scale_alternates() {
    let close: [[i16; 4]; 9] = [
        [72, 69, 67, 64],
        [74, 71, 68, 65],
        [76, 72, 69, 67],
        [77, 74, 71, 68],
        [79, 76, 72, 69],
        [80, 77, 74, 71],
        [81, 79, 76, 72],
        [83, 80, 77, 74],
        [84, 81, 79, 76],
    ];
    for (index, voices) in close.iter().enumerate() {
        let kind = if index % 2 == 0 { C } else { P };
        for technique in [Close, Drop2] {
            let mut wanted = voices.to_vec();
            if technique == Drop2 {
                wanted[1] -= 12;
                wanted.sort_unstable_by_key(|m| -m);
            }
            let row = (0, false, "C", "6", technique, kind, 6, &[0, 0, 0, 0][..]);
            assert!(
                voicings(&row).contains(&(kind, wanted)),
                "{technique:?} {index}"
            );
        }
    }
}

/// Parallel approaches: a half step in every voice, or a step of the scale.
#[test]
fn parallel_approaches_are_moved_targets() {
    let target = [76, 72, 69, 67].map(|m| Tone::spelled(m, 0));
    let chromatic: Vec<i16> = target
        .iter()
        .map(|t| Tone::spelled(t.midi - 1, 0).midi)
        .collect();
    assert_eq!(chromatic, [75, 71, 68, 66]);
    let third = [76, 74, 71, 67].map(|m| Tone::spelled(m, 0));
    let diatonic: Vec<i16> = third.iter().map(|t| t.staff_step(-1, 0).midi).collect();
    assert_eq!(diatonic, [74, 72, 69, 65]);
}
