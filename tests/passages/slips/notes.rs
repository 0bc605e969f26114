//! Slips of harmony: a note or a chord that is not the one meant.

use super::super::chords::{Family, passing};
use super::super::line::Kind;
use super::super::passage::{Hit, Passage};
use super::super::right::{approach, fits, parallel};
use super::super::voicing::{Technique, shaped};
use super::shapes::{Seat, doubling_seat, seat};
use crate::ensembles::notes::{Dice, Tone, key_alter, under};

pub fn wrong(
    dice: &mut Dice,
    passage: &Passage,
    at: usize,
    which: Seat,
    by: i16,
) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let seat = seat(dice, hit, which);
    if doubling_seat(hit) == Some(seat) {
        return None;
    }
    let mut voices = hit.voices.clone();
    let by = if dice.chance(50) { by } else { -by };
    voices[seat] = Tone::spelled(voices[seat].midi + by, passage.key.fifths);
    foreign(passage, at, seat, &voices).then_some(voices)
}

/// The changed note is none that the chord takes, nor one that sounds in another voice.
pub fn foreign(passage: &Passage, at: usize, seat: usize, voices: &[Tone]) -> bool {
    let hit = &passage.hits[at];
    let tone = voices[seat];
    let sounding = voices
        .iter()
        .enumerate()
        .any(|(i, v)| i != seat && v.class() == tone.class());
    let outside = hit.kind.moves() || !hit.chord.takes(tone);
    // A short lead note by step is an approach note, whatever it is; a blue third or fifth may be held.
    let blue = matches!(hit.chord.above(tone), 3 | 6 | 10)
        && (hit.chord.is(Family::Major) || hit.chord.is(Family::Dominant));
    let melodic = seat == 0 && (hit.len < 24 || hit.weak || blue);
    outside && !sounding && !melodic
}

pub fn accidental_lost(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let seat = seat(dice, hit, Seat::Any);
    let fifths = passage.key.fifths;
    let tone = hit.voices[seat];
    let by = key_alter(tone.letter.rem_euclid(7), fifths) - tone.alter();
    if by == 0 || doubling_seat(hit) == Some(seat) {
        return None;
    }
    let mut voices = hit.voices.clone();
    voices[seat] = tone.moved(0, by);
    foreign(passage, at, seat, &voices).then_some(voices)
}

pub fn doubled_inner(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let mechanical = hit.voices.len() > 3
        && hit.technique.mechanical()
        && !passage.backing.iter().any(|b| b.name == "piano");
    if hit.voices.len() < 4 {
        return None;
    }
    let from = 1 + dice.roll(2);
    let to = if dice.chance(50) { from + 1 } else { from - 1 };
    let guides = hit.chord.guides().map(Tone::class);
    let mut voices = hit.voices.clone();
    let tone = voices.get(from)?.class();
    let lost = guides.contains(&tone) && voices.iter().filter(|v| v.class() == tone).count() == 1;
    voices[from] = under(voices[to], voices[from].midi + 6);
    let replaced = fits(hit.chord, &voices);
    (mechanical && lost && !replaced && voices[from].class() != tone).then_some(voices)
}

pub fn kept(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let lead = hit.voices[0];
    let mut set = hit.chord.tones(&hit.chord.four());
    let nearest = (0..4).min_by_key(|i| {
        let apart = (set[*i].class() - lead.class()).rem_euclid(12);
        apart.min(12 - apart)
    })?;
    set[nearest] = lead;
    let others = passage
        .hits
        .iter()
        .filter(|h| h.kind == Kind::Passing)
        .count();
    let steps = (hit.len <= 6) && hit.chord.above(lead) != 2;
    let voices = shaped(lead, &set, hit.technique)?;
    (others >= 3 && steps).then_some(voices)
}

/// The three under the lead a half step off.
pub fn wrong_diminished(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let by = if dice.chance(50) { 1 } else { -1 };
    let fifths = passage.key.fifths;
    let double = doubling_seat(hit);
    let moved = hit.voices.iter().enumerate().map(|(i, t)| {
        let stays = i == 0 || double == Some(i);
        if stays {
            *t
        } else {
            Tone::spelled(t.midi + by, fifths)
        }
    });
    let voices: Vec<Tone> = moved.collect();
    voices
        .windows(2)
        .all(|w| w[0].midi > w[1].midi)
        .then_some(voices)
}

/// The three under a chord note of the lead are those of the diminished.
pub fn on_passing(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let lead = hit.voices[0];
    let dim = passing(hit.chord);
    let away = dim
        .iter()
        .min_by_key(|t| (lead.class() - t.class()).rem_euclid(12))?;
    let mut set = dim;
    let lost = dim.iter().position(|t| t.class() == away.class())?;
    set[lost] = lead;
    let stable = hit.kind == Kind::Chord && hit.len >= 12 && !hit.weak && hit.push.is_none();
    let voices = shaped(lead, &set, hit.technique)?;
    // On a dominant that is its own family.
    let dominant = hit.chord.is(Family::Dominant)
        || hit.chord.is(Family::Suspended)
        || hit.chord.is(Family::Diminished);
    let next = passage.hits.get(at + 1).map_or(hit.chord, |n| n.chord);
    let leads = approach(hit.chord, &voices) || approach(next, &voices);
    (stable && !dominant && !leads).then_some(voices)
}

pub fn natural_ninth(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let flat = matches!(hit.chord.quality.suffix, "7b9" | "7b9b13" | "13b9");
    let seat = (1..hit.voices.len()).find(|i| hit.chord.above(hit.voices[*i]) == 1)?;
    let mut voices = hit.voices.clone();
    voices[seat] = Tone::spelled(voices[seat].midi + 1, passage.key.fifths);
    let doubled = doubling_seat(hit).is_some_and(|d| d == seat);
    (flat && !doubled).then_some(voices)
}

/// Seventh for sixth under the root of a major seventh, where the drop makes a minor ninth.
pub fn major_seventh(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let (hit, voices) = seventh_for_sixth(passage, at)?;
    let rubs = voices.iter().skip(1).any(|v| voices[0].midi - v.midi == 13);
    (rubs && hit.len >= 12).then_some(voices)
}

pub fn half_step_under(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let (_, voices) = seventh_for_sixth(passage, at)?;
    (voices[0].midi - voices[1].midi == 1).then_some(voices)
}

pub fn seventh_for_sixth(passage: &Passage, at: usize) -> Option<(&Hit, Vec<Tone>)> {
    let hit = &passage.hits[at];
    let lead = hit.voices[0];
    let seat = (1..hit.voices.len()).find(|i| hit.chord.above(hit.voices[*i]) == 9)?;
    let major = matches!(
        hit.chord.quality.suffix,
        "6" | "maj7" | "maj9" | "m(maj7)" | "m6"
    );
    let mut voices = hit.voices.clone();
    voices[seat] = hit.chord.at((6, 11)).plain();
    while voices[seat].midi > hit.voices[seat].midi + 2 {
        voices[seat] = voices[seat].octaves(-1);
    }
    while voices[seat].midi < hit.voices[seat].midi {
        voices[seat] = voices[seat].octaves(1);
    }
    (major && hit.chord.above(lead) == 0).then_some((hit, voices))
}

/// The lower voices stay on the chord before.
pub fn missed_change(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let before = passage.before(at)?;
    let first =
        before.index != hit.index && !before.kind.moves() && hit.at == passage.chords[hit.index].at;
    let mut voices = before.voices.clone();
    // Stacks share their notes with those of the next chord.
    let stack = matches!(hit.technique, Technique::Fourths | Technique::Cluster);
    if stack || voices.len() != hit.voices.len() || before.technique != hit.technique {
        return None;
    }
    voices[0] = hit.voices[0];
    if let Some(seat) = doubling_seat(hit) {
        voices[seat] = hit.voices[seat];
    }
    let descends = voices.windows(2).all(|w| w[0].midi > w[1].midi);
    let wrong = voices[1..].iter().filter(|v| !hit.chord.takes(**v)).count();
    (first && descends && wrong >= 1 && hit.len >= 12).then_some(voices)
}

/// A chord note raised or lowered, so that all voices happen to go into the next chord by step.
pub fn parallel_slip(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let after = passage.after(at)?;
    let seat = seat(dice, hit, Seat::Inner);
    let mut voices = hit.voices.clone();
    voices[seat] = Tone::spelled(voices[seat].midi + *dice.pick(&[-1, 1]), passage.key.fifths);
    let stable = hit.kind == Kind::Chord && hit.len >= 12 && doubling_seat(hit) != Some(seat);
    let falls = after
        .voices
        .iter()
        .zip(&hit.voices)
        .all(|(a, b)| (a.midi < b.midi) == (after.voices[0].midi < hit.voices[0].midi));
    let sounds = parallel(&voices, after) || falls && voices.len() == after.voices.len();
    let shaped = hit.technique.mechanical();
    (stable && shaped && sounds && foreign(passage, at, seat, &voices)).then_some(voices)
}

/// The thirteenth a minor ninth under the seventh.
pub fn thirteenth_under(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let mut voices = hit.voices.clone();
    let above = |v: &Tone| hit.chord.above(*v);
    let seventh = voices.iter().position(|v| above(v) == 10)?;
    let wanted = voices[seventh].midi - 13;
    let fifth = (seventh + 1..voices.len())
        .find(|i| matches!(above(&voices[*i]), 7 | 8) && (voices[*i].midi - wanted).abs() <= 2)?;
    voices[fifth] = Tone::spelled(wanted, passage.key.fifths);
    let descends = voices.windows(2).all(|w| w[0].midi > w[1].midi);
    (hit.chord.is(Family::Dominant)
        && hit.len >= 12
        && descends
        && doubling_seat(hit) != Some(fifth))
    .then_some(voices)
}

pub fn third_lowered(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let third = lone(hit, 4)?;
    let mut voices = hit.voices.clone();
    voices[third] = Tone::spelled(voices[third].midi - 1, passage.key.fifths);
    (hit.chord.is(Family::Dominant) && hit.kind == Kind::Chord && no_third_elsewhere(passage))
        .then_some(voices)
}

pub fn fourth_for_third(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let minor = hit.chord.is(Family::Minor);
    let third = lone(hit, if minor { 3 } else { 4 })?;
    let mut voices = hit.voices.clone();
    voices[third] = hit.chord.at((3, 5)).plain();
    while voices[third].midi < hit.voices[third].midi {
        voices[third] = voices[third].octaves(1);
    }
    while voices[third].midi > hit.voices[third].midi + 2 {
        voices[third] = voices[third].octaves(-1);
    }
    let kind = matches!(hit.chord.quality.suffix, "m6" | "6" | "maj7");
    (kind && hit.kind == Kind::Chord && hit.len >= 12 && third > 0 && no_third_elsewhere(passage))
        .then_some(voices)
}

/// The one voice under the lead that has a degree.
pub fn lone(hit: &Hit, above: i16) -> Option<usize> {
    let all: Vec<usize> = (0..hit.voices.len())
        .filter(|i| hit.chord.above(hit.voices[*i]) == above)
        .collect();
    (all.len() == 1 && all[0] > 0).then(|| all[0])
}

pub fn no_third_elsewhere(passage: &Passage) -> bool {
    !passage.backing.iter().any(|b| b.name == "piano")
}

/// A note a half step from what another section has.
pub fn rub(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let tutti = hit.voices.len() > 5;
    let seat = if tutti {
        4 + dice.roll(hit.voices.len() - 4)
    } else {
        1 + dice.roll(hit.voices.len() - 1)
    };
    let mut voices = hit.voices.clone();
    voices[seat] = Tone::spelled(voices[seat].midi + *dice.pick(&[-1, 1]), passage.key.fifths);
    let held = |h: &&Hit| {
        h.phrase != hit.phrase
            && h.at < hit.at + hit.len
            && hit.at < h.at + h.len
            && h.len >= 12
            && !h.kind.moves()
    };
    let others: Vec<Tone> = if tutti {
        voices[..4].to_vec()
    } else {
        passage
            .hits
            .iter()
            .filter(held)
            .flat_map(|h| h.voices.clone())
            .collect()
    };
    let rubs = others
        .iter()
        .any(|v| matches!((v.midi - voices[seat].midi).rem_euclid(12), 1 | 11));
    (rubs && hit.len >= 12 && foreign(passage, at, seat, &voices)).then_some(voices)
}
