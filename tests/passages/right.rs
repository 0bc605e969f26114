//! What a changed sonority could rightly be: a slip that gives another right reading is no slip. Written from the
//! trade's tables (tensions, approach chords), wider than what the passages use.

use super::chords::{Chord, Family, degrees, passing};
use super::passage::{Hit, Passage};
use super::voicing::minor_ninth;
use crate::ensembles::notes::Tone;

fn classes(voices: &[Tone]) -> Vec<i16> {
    let mut all: Vec<i16> = voices.iter().map(|t| t.class()).collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// Every note is taken by the chord, and its guide tones sound or are replaced as the trade does.
pub fn fits(chord: Chord, voices: &[Tone]) -> bool {
    let above: Vec<i16> = voices.iter().map(|t| chord.above(*t)).collect();
    let has = |semitones: &[i16]| semitones.iter().any(|s| above.contains(s));
    let thirds: &[i16] = match chord.quality.family {
        Family::Minor if matches!(chord.quality.suffix, "m6" | "m(maj7)") => &[3],
        Family::Minor | Family::HalfDiminished => &[3, 5],
        Family::Suspended => &[5],
        Family::Diminished => &[3],
        _ => &[4],
    };
    let sevenths: &[i16] = match chord.quality.family {
        Family::Major | Family::Diminished => &[9, 11],
        Family::Minor if chord.takes(chord.at((6, 11))) => &[9, 11],
        _ => &[10],
    };
    let both = |a: i16, b: i16| above.contains(&a) && above.contains(&b);
    let clash = both(1, 2)
        || both(7, 8)
        || both(6, 7) && chord.quality.suffix == "7alt"
        || both(4, 5) && !chord.is(Family::Suspended);
    voices.iter().all(|t| chord.takes(*t)) && has(thirds) && has(sevenths) && !clash
}

/// Chords that lead into a target: its dominant and what stands for that, its two, its minor four.
fn approaches(target: Chord) -> Vec<Vec<i16>> {
    let rows = [
        ((4, 7), "1 3 5 b7"),
        ((4, 7), "9 3 5 b7"),
        ((4, 7), "9 3 13 b7"),
        ((4, 7), "1 3 13 b7"),
        ((4, 7), "b9 3 13 b7"),
        ((4, 7), "1 4 5 b7"),
        ((1, 1), "1 3 5 b7"),
        ((1, 1), "9 3 5 b7"),
        ((1, 2), "1 b3 5 b7"),
        ((1, 2), "1 b3 b5 b7"),
        ((3, 5), "1 b3 5 6"),
        ((3, 5), "1 3 5 6"),
        ((6, 11), "1 b3 b5 bb7"),
        ((6, 11), "1 b3 b5 b7"),
    ];
    let set = |row: &((i16, i16), &str)| {
        let root = target.at(row.0);
        let mut all: Vec<i16> = degrees(row.1)
            .iter()
            .map(|d| (root.midi + d.1).rem_euclid(12))
            .collect();
        all.sort_unstable();
        all
    };
    rows.iter().map(set).collect()
}

/// The suspended form of a dominant, complete: its fourth, its seventh, and its fifth or ninth.
fn suspended(chord: Chord, voices: &[Tone]) -> bool {
    let set = |suffix: &str| fits(Chord::new(chord.root, suffix), voices);
    chord.is(Family::Dominant) && (set("7sus4") || set("7sus4(b9)"))
}

/// One of the chords that lead into a target, or that are heard over it from there.
pub fn approach(target: Chord, voices: &[Tone]) -> bool {
    approaches(target).contains(&classes(voices))
}

/// All voices go into the next sonority by step, one way.
pub fn parallel(voices: &[Tone], after: &Hit) -> bool {
    let moved: Vec<i16> = voices
        .iter()
        .zip(&after.voices)
        .map(|(a, b)| a.midi - b.midi)
        .collect();
    let up = moved.iter().all(|m| (1..=2).contains(m));
    let down = moved.iter().all(|m| (-2..=-1).contains(m));
    voices.len() == after.voices.len() && (up || down)
}

/// Whether what a hit has become may be meant.
pub fn may_be_right(passage: &Passage, at: usize, voices: &[Tone]) -> bool {
    let hit = &passage.hits[at];
    let sound = classes(voices);
    let complete = sound.len() == classes(&hit.voices).len()
        && voices.windows(2).all(|w| w[0].midi > w[1].midi);
    if !complete {
        return false;
    }
    let short = hit.len <= 12;
    let mut heard = voices.to_vec();
    heard.sort_by_key(|t| -t.midi);
    if minor_ninth(&heard, hit.chord) {
        return false;
    }
    if fits(hit.chord, voices) || suspended(hit.chord, voices) {
        return true;
    }
    let after = passage.after(at);
    let chord_at = |index: usize| passage.chords.get(index).map(|c| c.chord);
    let ends = passage.chords[hit.index].at + passage.chords[hit.index].len;
    if ends - hit.at <= 6 && chord_at(hit.index + 1).is_some_and(|c| fits(c, voices)) {
        return true;
    }
    // What is struck ahead of a change may still belong to the chord before it.
    let ahead = hit.at < passage.chords[hit.index].at;
    if ahead && hit.index > 0 && chord_at(hit.index - 1).is_some_and(|c| fits(c, voices)) {
        return true;
    }
    if !short || !hit.weak {
        return false;
    }
    let mut targets = vec![hit.chord];
    targets.extend(after.map(|n| n.chord));
    if after.is_some_and(|n| parallel(voices, n)) {
        return true;
    }
    let two = Chord::new(hit.chord.at((4, 7)).plain(), "m7");
    let related = hit.chord.is(Family::Dominant) && fits(two, voices);
    let dim = classes(&passing(hit.chord)) == sound;
    related || dim || targets.iter().any(|t| approaches(*t).contains(&sound))
}
