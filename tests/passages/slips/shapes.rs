//! Slips of place: an octave, a seat, a drop, a doubling, a step beside a line.

use super::super::passage::{Hit, Passage};
use super::super::right::fits;
use super::super::voicing::{Technique, same_sounds, shaped};
use crate::ensembles::notes::{Dice, Tone};
use crate::ensembles::voicing::too_low;

#[derive(Clone, Copy)]
pub enum Seat {
    Lead,
    Inner,
    Bottom,
    Any,
}

pub fn seat(dice: &mut Dice, hit: &Hit, which: Seat) -> usize {
    let last = hit.voices.len() - 1;
    match which {
        Seat::Lead => 0,
        Seat::Inner if last == 1 => 1,
        Seat::Inner => 1 + dice.roll(last - 1),
        Seat::Bottom => last,
        Seat::Any => 1 + dice.roll(last),
    }
}

/// The voice that doubles the lead, where one does.
pub fn doubling_seat(hit: &Hit) -> Option<usize> {
    let doubled = matches!(
        hit.technique,
        Technique::DoubledLead | Technique::Drop2Doubled | Technique::FiveNote
    );
    let below = hit.voices[0].midi - 12;
    hit.voices.iter().position(|v| doubled && v.midi == below)
}

pub fn octave(dice: &mut Dice, passage: &Passage, at: usize, by: i16) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let seat = 1 + dice.roll(hit.voices.len() - 1);
    let by = match by {
        0 if dice.chance(50) => 1,
        0 => -1,
        other => other,
    };
    let mut voices = hit.voices.clone();
    voices[seat] = voices[seat].octaves(by);
    // A drop of one voice more may be a technique; a lowest voice lower still may be a spread.
    let shape = sorted(&voices);
    let technique = shapes(hit).iter().any(|v| same_sounds(v, &shape));
    let lower = by < 0 && seat + 1 == voices.len();
    let out_of_hand = passage.band.chordal && (voices[seat].midi < 36 || by > 0);
    (!technique && !lower && !out_of_hand).then_some(voices)
}

pub fn sorted(voices: &[Tone]) -> Vec<Tone> {
    let mut all = voices.to_vec();
    all.sort_by_key(|t| -t.midi);
    all
}

/// The same sonority in each transform that has its number of voices.
pub fn shapes(hit: &Hit) -> Vec<Vec<Tone>> {
    use Technique::{Close, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop23, Drop24};
    let all: &[Technique] = match hit.voices.len() {
        5 => &[DoubledLead, Drop2Doubled],
        _ => &[Close, Drop2, Drop3, Drop23, Drop24],
    };
    all.iter()
        .filter_map(|t| shaped(hit.voices[0], &hit.set, *t))
        .collect()
}

/// The lead an octave too low, under others.
pub fn lead_octave(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let mut voices = hit.voices.clone();
    voices[0] = voices[0].octaves(-1);
    let told = voices.len() == 4 && voices[0].midi < voices[2].midi;
    (told && !passage.band.chordal).then_some(voices)
}

pub fn exchanged(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    if passage.band.chordal || hit.voices.len() < 4 {
        return None;
    }
    let mut voices = hit.voices.clone();
    let seat = 1 + dice.roll(voices.len() - 2);
    voices.swap(seat, seat + 1);
    Some(voices)
}

pub fn lead_under(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    if passage.band.chordal {
        return None;
    }
    let mut voices = passage.hits[at].voices.clone();
    voices.swap(0, 1);
    Some(voices)
}

pub fn wrong_drop(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let of_phrase = passage
        .hits
        .iter()
        .filter(|h| h.phrase == hit.phrase)
        .count();
    let mut others = shapes(hit);
    others.retain(|v| !same_sounds(v, &hit.voices));
    others.retain(|v| !v.windows(2).any(|w| too_low(w[0].midi, w[1].midi)));
    let enough = passage.stated || of_phrase >= 6 && hit.len <= 24;
    (enough && !others.is_empty()).then(|| dice.pick(&others).clone())
}

pub fn close_for_drop(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let of_phrase = passage
        .hits
        .iter()
        .filter(|h| h.phrase == hit.phrase)
        .count();
    let voices = shaped(hit.voices[0], &hit.set, Technique::Close)?;
    let sounds = !voices.windows(2).any(|w| too_low(w[0].midi, w[1].midi));
    ((passage.stated || of_phrase >= 8) && sounds && hit.len <= 24).then_some(voices)
}

pub fn doubling(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let seat = doubling_seat(hit)?;
    let mut voices = hit.voices.clone();
    voices[seat] = Tone::spelled(
        voices[seat].midi + *dice.pick(&[-2, -1, 1, 2]),
        passage.key.fifths,
    );
    let crossed = voices.windows(2).any(|w| w[0].midi <= w[1].midi);
    // A tension in place of the doubling is five-note writing.
    let five = fits(hit.chord, &voices) && !hit.kind.moves();
    let sounding = voices
        .iter()
        .enumerate()
        .any(|(i, v)| i != seat && v.class() == voices[seat].class());
    (!crossed && !five && !sounding).then_some(voices)
}

/// One player of a line off by a step.
pub fn line_slip(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let mut voices = hit.voices.clone();
    let seat = 1 + dice.roll(voices.len() - 1);
    voices[seat] = Tone::spelled(
        voices[seat].midi + *dice.pick(&[-2, -1, 1, 2]),
        passage.key.fifths,
    );
    (voices.len() > 2).then_some(voices)
}
