//! What chords are, as sets of pitch classes: how likely each is before anything is known of a score.

use crate::ground::pitch::PitchClass;
use std::sync::LazyLock;

/// A set of pitch classes, a bit each from C.
pub type Classes = u16;

/// The set of one class.
pub const fn bit(class: PitchClass) -> Classes {
    1 << class.get()
}

/// Four-note chords that a section voices, and those with tensions for chord notes, as semitones above a
/// root. Common practice, no source.
const USUAL: [[u8; 4]; 6] = [
    [0, 4, 7, 9],
    [0, 4, 7, 10],
    [0, 4, 7, 11],
    [0, 3, 7, 9],
    [0, 3, 6, 9],
    [0, 5, 7, 10],
];
const RARE: [[u8; 4]; 10] = [
    [0, 3, 7, 11],
    [0, 4, 8, 10],
    [0, 4, 6, 10],
    [0, 4, 8, 11],
    [0, 2, 4, 7],
    [0, 2, 3, 7],
    [2, 4, 9, 10],
    [1, 4, 9, 10],
    [3, 4, 7, 10],
    [0, 3, 5, 10],
];

/// What a section of five adds to each usual chord, as semitones above its root. Common practice, no source.
const TENSIONS: [&[u8]; 6] = [
    &[2, 5, 6, 11],
    &[1, 2, 3, 6, 8, 9],
    &[2, 6, 9],
    &[2, 5, 10, 11],
    &[2, 5, 8, 11],
    &[2, 9],
];

/// Sets of pitch classes by the chord they are, wherever its root is.
struct Sets {
    /// The same for all sets that are one another moved: the least of them.
    alike: Vec<Classes>,
    /// How likely a chord is before anything is known of the score: 1 for a usual one and its parts.
    likely: Vec<f32>,
}

static SETS: LazyLock<Sets> = LazyLock::new(|| {
    let turned = |set: u16, by: u32| (set << by | set >> (12 - by)) & 0xfff;
    let alike = (0..4096u16)
        .map(|set| (0..12).map(|by| turned(set, by)).min().unwrap_or(set))
        .collect();
    let mut likely = vec![0.03; 4096];
    for (chord, tensions) in USUAL.iter().zip(TENSIONS) {
        for (root, tension) in (0..12u8).flat_map(|r| tensions.iter().map(move |t| (r, t))) {
            let all = chord.iter().chain([tension]);
            let set = all.fold(0usize, |set, c| set | 1 << ((c + root) % 12));
            if let Some(slot) = likely.get_mut(set) {
                *slot = 0.25;
            }
        }
    }
    for (chords, value) in [(&RARE[..], 0.25), (&USUAL[..], 1.0)] {
        for chord in chords {
            for (root, part) in (0..12u8).flat_map(|r| (1..16u8).map(move |p| (r, p))) {
                let chosen = chord.iter().enumerate().filter(|(i, _)| part >> i & 1 == 1);
                let set = chosen.fold(0usize, |set, (_, c)| set | 1 << ((c + root) % 12));
                if let Some(slot) = likely.get_mut(set) {
                    *slot = value;
                }
            }
        }
    }
    Sets { alike, likely }
});

/// How likely a chord is before anything is known of the score, 1 for a usual one.
pub fn likely(set: Classes) -> f32 {
    SETS.likely
        .get(usize::from(set))
        .copied()
        .unwrap_or_default()
}

/// The least of the sets that are one another moved.
pub fn alike(set: Classes) -> usize {
    SETS.alike
        .get(usize::from(set))
        .map_or(0, |s| usize::from(*s))
}

/// More notes of different names than this are as many.
pub const SIZES: usize = 8;

/// How many notes of different names a chord has, from 0 for one or none.
pub fn size(set: Classes) -> usize {
    (set.count_ones() as usize).clamp(1, SIZES) - 1
}
