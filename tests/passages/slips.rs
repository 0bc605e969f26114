//! Slips: what a copyist or a student gets wrong in one sonority, and the rules that name each rightly.

use super::chords::{Family, passing};
use super::line::Kind;
use super::passage::{Hit, Passage};
use super::right::{approach, fits, may_be_right, parallel};
use super::voicing::{Technique, same_sounds, shaped};
use crate::ensembles::notes::{Dice, Tone, key_alter, under};
use crate::ensembles::voicing::too_low;

/// A slip in a passage.
#[derive(Clone, Debug)]
pub struct Slip {
    pub kind: &'static str,
    pub at: i32,
    /// Ticks in which it may be told; one for a slip of one sonority.
    pub len: i32,
    pub technique: Technique,
    /// Parts at fault.
    pub parts: Vec<&'static str>,
    /// Rules whose words name this one too, beside those of its kind.
    pub also: Vec<&'static str>,
    pub detail: String,
}

/// What is written in place of what was meant.
pub enum Change {
    Voices(Vec<Tone>),
    /// Voices that hold their note from the sonority before.
    Held(Vec<usize>),
    /// A note of an accompanying part: part, event, tone.
    Backing(usize, usize, Tone),
}

type Make = fn(&mut Dice, &Passage, usize) -> Option<Vec<Tone>>;
const RARE: [&str; 11] = [
    "natural 9 under a b9 symbol",
    "half step under the lead",
    "wrong note in a pad",
    "octave in a pad",
    "spread, root displaced",
    "unison line slip",
    "octaves slip",
    "wrong note under a clarinet",
    "doubling broken under a clarinet",
    "rub between sections",
    "wrong bass note, a bar long",
];

impl Row {
    pub fn rare(&self) -> bool {
        RARE.contains(&self.name)
    }
}

type Place = fn(&Passage, usize) -> bool;

pub enum How {
    Voices(Make),
    HeldOver,
    Bass,
}

/// A kind of slip: where it may stand, how it is made, and the rules that name it.
pub struct Row {
    pub name: &'static str,
    pub place: Place,
    pub how: How,
    pub rules: &'static [&'static str],
}

const NOTE: &[&str] = &[
    "wrong-note",
    "minor-ninth",
    "unavailable-tension",
    "semitone-under-lead",
    "semitone-cluster",
];
const PASSING: &[&str] = &[
    "passing-diminished",
    "wrong-note",
    "unavailable-tension",
    "minor-ninth",
    "semitone-under-lead",
];
const OCTAVE: &[&str] = &[
    "wrong-octave",
    "written-range",
    "lead-not-on-top",
    "voice-crossing",
];
const SEATS: &[&str] = &["voice-crossing", "lead-not-on-top"];
const DROP: &[&str] = &["wrong-voice-dropped", "technique-wanders"];
const DOUBLING: &[&str] = &["lead-doubling", "wrong-note", "minor-ninth"];
const DOUBLED: &[&str] = &["doubled-note", "missing-guide-tone"];
const THIRD: &[&str] = &["wrong-note", "missing-guide-tone", "unavailable-tension"];
const RUB: &[&str] = &[
    "semitone-cluster",
    "minor-ninth",
    "wrong-note",
    "unavailable-tension",
];

const fn row(name: &'static str, place: Place, make: Make, rules: &'static [&'static str]) -> Row {
    Row {
        name,
        place,
        how: How::Voices(make),
        rules,
    }
}

pub static ROWS: [Row; 43] = [
    row(
        "half step, inner",
        with_symbols,
        |d, p, h| wrong(d, p, h, Seat::Inner, 1),
        NOTE,
    ),
    row(
        "whole step, inner",
        with_symbols,
        |d, p, h| wrong(d, p, h, Seat::Inner, 2),
        NOTE,
    ),
    row(
        "half step, bottom",
        with_symbols,
        |d, p, h| wrong(d, p, h, Seat::Bottom, 1),
        NOTE,
    ),
    row(
        "whole step, bottom",
        with_symbols,
        |d, p, h| wrong(d, p, h, Seat::Bottom, 2),
        NOTE,
    ),
    row(
        "half step, lead",
        with_symbols,
        |d, p, h| wrong(d, p, h, Seat::Lead, 1),
        NOTE,
    ),
    row(
        "whole step, lead",
        with_symbols,
        |d, p, h| wrong(d, p, h, Seat::Lead, 2),
        NOTE,
    ),
    row(
        "half step, passing chord",
        passing_chord,
        |d, p, h| wrong(d, p, h, Seat::Inner, 1),
        PASSING,
    ),
    row("accidental lost", with_symbols, accidental_lost, NOTE),
    row("octave up", block, |d, p, h| octave(d, p, h, 1), OCTAVE),
    row("octave down", block, |d, p, h| octave(d, p, h, -1), OCTAVE),
    row("octave, lead", block, lead_octave, OCTAVE),
    row(
        "octave, no symbols",
        no_symbols,
        |d, p, h| octave(d, p, h, 0),
        OCTAVE,
    ),
    row("two seats exchanged", block, exchanged, SEATS),
    row("seats exchanged, no symbols", no_symbols, exchanged, SEATS),
    row("lead under the second voice", block, lead_under, SEATS),
    row("wrong drop", mechanical, wrong_drop, DROP),
    row(
        "wrong drop, no symbols",
        |p, h| no_symbols(p, h) && mechanical(p, h),
        wrong_drop,
        DROP,
    ),
    row(
        "close among drop 2",
        |p, h| p.hits[h].technique == Technique::Drop2,
        close_for_drop,
        DROP,
    ),
    row("doubling broken", block, doubling, DOUBLING),
    row(
        "doubling broken, no symbols",
        no_symbols,
        doubling,
        DOUBLING,
    ),
    row("doubled inner note", with_symbols, doubled_inner, DOUBLED),
    row(
        "passing note on the chord kept",
        passing_chord,
        kept,
        PASSING,
    ),
    row("wrong diminished", passing_chord, wrong_diminished, PASSING),
    row(
        "chord note on the passing chord",
        with_symbols,
        on_passing,
        PASSING,
    ),
    row(
        "natural 9 under a b9 symbol",
        with_symbols,
        natural_ninth,
        NOTE,
    ),
    row(
        "minor ninth by a voice",
        with_symbols,
        major_seventh,
        &["minor-ninth", "wrong-note"],
    ),
    row(
        "half step under the lead",
        with_symbols,
        half_step_under,
        &["semitone-under-lead", "wrong-note"],
    ),
    row(
        "missed change of chord",
        with_symbols,
        missed_change,
        &[
            "passing-diminished",
            "wrong-note",
            "unavailable-tension",
            "missing-guide-tone",
        ],
    ),
    row(
        "flat missing, all in parallel",
        with_symbols,
        parallel_slip,
        NOTE,
    ),
    row(
        "13 under the 7",
        with_symbols,
        thirteenth_under,
        &["minor-ninth", "wrong-note", "semitone-cluster"],
    ),
    row(
        "third lowered on a dominant",
        with_symbols,
        third_lowered,
        THIRD,
    ),
    row("fourth for third", with_symbols, fourth_for_third, THIRD),
    row(
        "wrong note in a push",
        |p, h| with_symbols(p, h) && p.hits[h].push.is_some(),
        |d, p, h| wrong(d, p, h, Seat::Any, 1),
        NOTE,
    ),
    row(
        "wrong note in a pad",
        |p, h| with_symbols(p, h) && p.hits[h].technique == Technique::Pad,
        |d, p, h| wrong(d, p, h, Seat::Any, 1),
        NOTE,
    ),
    row(
        "octave in a pad",
        |p, h| p.hits[h].technique == Technique::Pad,
        |d, p, h| octave(d, p, h, 0),
        OCTAVE,
    ),
    row(
        "spread, root displaced",
        |p, h| with_symbols(p, h) && p.hits[h].technique == Technique::Spread,
        |d, p, h| wrong(d, p, h, Seat::Bottom, 2),
        NOTE,
    ),
    row(
        "unison line slip",
        |p, h| p.hits[h].technique == Technique::Unison,
        line_slip,
        NOTE,
    ),
    row(
        "octaves slip",
        |p, h| p.hits[h].technique == Technique::Octaves,
        line_slip,
        NOTE,
    ),
    row(
        "wrong note under a clarinet",
        |p, h| with_symbols(p, h) && p.band.name.starts_with("clarinet"),
        |d, p, h| wrong(d, p, h, Seat::Any, 1),
        NOTE,
    ),
    row(
        "doubling broken under a clarinet",
        |p, h| p.band.name.starts_with("clarinet") && block(p, h),
        doubling,
        DOUBLING,
    ),
    row(
        "rub between sections",
        |p, h| {
            with_symbols(p, h)
                && (p.hits[h].voices.len() > 5 || p.features.contains("figures over held chords"))
        },
        rub,
        RUB,
    ),
    Row {
        name: "held over into a chord",
        place: with_symbols,
        how: How::HeldOver,
        rules: &[
            "wrong-note",
            "minor-ninth",
            "unavailable-tension",
            "rhythm-unison",
        ],
    },
    Row {
        name: "wrong bass note, a bar long",
        place: |p, _| p.symbols,
        how: How::Bass,
        rules: &[
            "wrong-note",
            "chord-symbol-agreement",
            "unavailable-tension",
            "minor-ninth",
        ],
    },
];

fn in_line(hit: &Hit) -> bool {
    matches!(hit.technique, Technique::Unison | Technique::Octaves)
}

fn block(passage: &Passage, hit: usize) -> bool {
    !in_line(&passage.hits[hit]) && passage.hits[hit].voices.len() > 2
}

fn mechanical(passage: &Passage, hit: usize) -> bool {
    passage.hits[hit].technique.mechanical()
}

fn with_symbols(passage: &Passage, hit: usize) -> bool {
    passage.symbols && block(passage, hit) && !passage.hits[hit].kind.moves()
}

fn no_symbols(passage: &Passage, hit: usize) -> bool {
    !passage.symbols && mechanical(passage, hit)
}

fn passing_chord(passage: &Passage, hit: usize) -> bool {
    passage.symbols && mechanical(passage, hit) && passage.hits[hit].kind == Kind::Passing
}

#[derive(Clone, Copy)]
enum Seat {
    Lead,
    Inner,
    Bottom,
    Any,
}

fn seat(dice: &mut Dice, hit: &Hit, which: Seat) -> usize {
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
fn doubling_seat(hit: &Hit) -> Option<usize> {
    let doubled = matches!(
        hit.technique,
        Technique::DoubledLead | Technique::Drop2Doubled | Technique::FiveNote
    );
    let below = hit.voices[0].midi - 12;
    hit.voices.iter().position(|v| doubled && v.midi == below)
}

fn wrong(dice: &mut Dice, passage: &Passage, at: usize, which: Seat, by: i16) -> Option<Vec<Tone>> {
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
fn foreign(passage: &Passage, at: usize, seat: usize, voices: &[Tone]) -> bool {
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

fn accidental_lost(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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

fn octave(dice: &mut Dice, passage: &Passage, at: usize, by: i16) -> Option<Vec<Tone>> {
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

fn sorted(voices: &[Tone]) -> Vec<Tone> {
    let mut all = voices.to_vec();
    all.sort_by_key(|t| -t.midi);
    all
}

/// The same sonority in each transform that has its number of voices.
fn shapes(hit: &Hit) -> Vec<Vec<Tone>> {
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
fn lead_octave(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let mut voices = hit.voices.clone();
    voices[0] = voices[0].octaves(-1);
    let told = voices.len() == 4 && voices[0].midi < voices[2].midi;
    (told && !passage.band.chordal).then_some(voices)
}

fn exchanged(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    if passage.band.chordal || hit.voices.len() < 4 {
        return None;
    }
    let mut voices = hit.voices.clone();
    let seat = 1 + dice.roll(voices.len() - 2);
    voices.swap(seat, seat + 1);
    Some(voices)
}

fn lead_under(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    if passage.band.chordal {
        return None;
    }
    let mut voices = passage.hits[at].voices.clone();
    voices.swap(0, 1);
    Some(voices)
}

fn wrong_drop(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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

fn close_for_drop(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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

fn doubling(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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

fn doubled_inner(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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

fn kept(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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
fn wrong_diminished(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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
fn on_passing(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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

fn natural_ninth(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let flat = matches!(hit.chord.quality.suffix, "7b9" | "7b9b13" | "13b9");
    let seat = (1..hit.voices.len()).find(|i| hit.chord.above(hit.voices[*i]) == 1)?;
    let mut voices = hit.voices.clone();
    voices[seat] = Tone::spelled(voices[seat].midi + 1, passage.key.fifths);
    let doubled = doubling_seat(hit).is_some_and(|d| d == seat);
    (flat && !doubled).then_some(voices)
}

/// Seventh for sixth under the root of a major seventh, where the drop makes a minor ninth.
fn major_seventh(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let (hit, voices) = seventh_for_sixth(passage, at)?;
    let rubs = voices.iter().skip(1).any(|v| voices[0].midi - v.midi == 13);
    (rubs && hit.len >= 12).then_some(voices)
}

fn half_step_under(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let (_, voices) = seventh_for_sixth(passage, at)?;
    (voices[0].midi - voices[1].midi == 1).then_some(voices)
}

fn seventh_for_sixth(passage: &Passage, at: usize) -> Option<(&Hit, Vec<Tone>)> {
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
fn missed_change(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let before = passage.before(at)?;
    let first =
        before.index != hit.index && !before.kind.moves() && hit.at == passage.chords[hit.index].at;
    let mut voices = before.voices.clone();
    if voices.len() != hit.voices.len() || before.technique != hit.technique {
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
fn parallel_slip(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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
fn thirteenth_under(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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

fn third_lowered(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let third = lone(hit, 4)?;
    let mut voices = hit.voices.clone();
    voices[third] = Tone::spelled(voices[third].midi - 1, passage.key.fifths);
    (hit.chord.is(Family::Dominant) && hit.kind == Kind::Chord && no_third_elsewhere(passage))
        .then_some(voices)
}

fn fourth_for_third(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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
fn lone(hit: &Hit, above: i16) -> Option<usize> {
    let all: Vec<usize> = (0..hit.voices.len())
        .filter(|i| hit.chord.above(hit.voices[*i]) == above)
        .collect();
    (all.len() == 1 && all[0] > 0).then(|| all[0])
}

fn no_third_elsewhere(passage: &Passage) -> bool {
    !passage.backing.iter().any(|b| b.name == "piano")
}

/// A note a half step from what another section has.
fn rub(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
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

/// One player of a line off by a step.
fn line_slip(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let mut voices = hit.voices.clone();
    let seat = 1 + dice.roll(voices.len() - 1);
    voices[seat] = Tone::spelled(
        voices[seat].midi + *dice.pick(&[-2, -1, 1, 2]),
        passage.key.fifths,
    );
    (voices.len() > 2).then_some(voices)
}

/// A change of a kind at a sonority, where it is a mistake.
fn change(dice: &mut Dice, passage: &Passage, row: &Row, at: usize) -> Option<Change> {
    let hit = &passage.hits[at];
    let make = match &row.how {
        How::HeldOver => return held_over(dice, passage, at),
        How::Bass => return wrong_bass(dice, passage),
        How::Voices(make) => make,
    };
    let voices = make(dice, passage, at)?;
    let same = voices
        .iter()
        .zip(&hit.voices)
        .all(|(a, b)| a.midi == b.midi);
    // Seats, lines and shapes are wrong in any harmony.
    let any_harmony = in_line(hit) || [OCTAVE, SEATS, DROP].contains(&row.rules);
    let right = !any_harmony && row.rules != THIRD && may_be_right(passage, at, &voices);
    (!same && !right && playable(passage, &voices)).then_some(Change::Voices(voices))
}

/// One voice stays on a note that the new chord has no place for.
fn held_over(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Change> {
    let hit = &passage.hits[at];
    let before = passage.before(at).filter(|b| b.at + b.len == hit.at)?;
    let changes =
        before.index != hit.index && hit.at == passage.chords[hit.index].at && hit.len >= 24;
    let same = before.voices.len() == hit.voices.len() && before.technique == hit.technique;
    if !changes || !same || passage.band.chordal || in_line(hit) {
        return None;
    }
    let seat = seat(dice, hit, Seat::Any);
    let mut voices = hit.voices.clone();
    voices[seat] = before.voices[seat];
    let resolves = passage
        .after(at)
        .is_some_and(|n| (n.voices[seat].midi - voices[seat].midi).abs() <= 2);
    let crossed = voices.windows(2).any(|w| w[0].midi <= w[1].midi);
    let wrong = foreign(passage, at, seat, &voices)
        && !may_be_right(passage, at, &voices)
        && !resolves
        && !crossed;
    wrong.then_some(Change::Held(vec![seat]))
}

/// The bass a half step or a tritone off for a whole bar.
fn wrong_bass(dice: &mut Dice, passage: &Passage) -> Option<Change> {
    let part = passage
        .backing
        .iter()
        .position(|b| b.name == "double bass")?;
    let events = &passage.backing[part].events;
    let long: Vec<usize> = (0..events.len())
        .filter(|i| events[*i].len >= passage.meter.bar)
        .collect();
    if long.is_empty() || passage.features.contains("pedal bass") {
        return None;
    }
    let at = *dice.pick(&long);
    let tone = Tone::spelled(
        events[at].tones[0].midi + *dice.pick(&[-1, 1, 6]),
        passage.key.fifths,
    );
    let placed = passage.chords.iter().rfind(|c| c.at <= events[at].at)?;
    // A tritone below a dominant stands for it.
    let taken = placed.chord.takes(tone)
        || placed.chord.is(Family::Dominant) && placed.chord.above(tone) == 6;
    (!taken && (28..=46).contains(&tone.midi)).then_some(Change::Backing(part, at, tone))
}

/// Makes a slip of a kind somewhere in a passage; none where it has no place for it.
pub fn slip(dice: &mut Dice, passage: &Passage, row: &Row) -> Option<(Passage, Slip)> {
    let places: Vec<usize> = (0..passage.hits.len())
        .filter(|h| (row.place)(passage, *h))
        .collect();
    if places.is_empty() {
        return None;
    }
    for _ in 0..80 {
        let at = *dice.pick(&places);
        let silent = passage.chords[passage.hits[at].index].silent;
        if let Some(change) = change(dice, passage, row, at).filter(|_| !silent) {
            return Some(applied(passage, row, at, change));
        }
    }
    None
}

/// An octave off may be one drop more, or leave the lead undoubled.
fn also(row: &Row, hit: &Hit, doubling: bool) -> Vec<&'static str> {
    let mut rules = Vec::new();
    if row.rules == OCTAVE && hit.technique.mechanical() {
        rules.push("wrong-voice-dropped");
    }
    if row.rules == OCTAVE && doubling {
        rules.push("lead-doubling");
    }
    rules
}

fn applied(passage: &Passage, row: &Row, at: usize, change: Change) -> (Passage, Slip) {
    let hit = &passage.hits[at];
    let mut slipped = passage.clone();
    let mut slip = Slip {
        kind: row.name,
        at: hit.at,
        len: if row.rules == RUB { hit.len } else { 1 },
        technique: hit.technique,
        parts: Vec::new(),
        also: Vec::new(),
        detail: String::new(),
    };
    let mut detail = String::new();
    match change {
        Change::Voices(voices) => {
            for (seat, (new, old)) in voices.iter().zip(&hit.voices).enumerate() {
                if new.midi != old.midi {
                    slip.parts.push(passage.band.part(hit.seats, seat));
                    detail = format!(
                        "{detail}voice {}: {} for {}; ",
                        seat + 1,
                        new.name(),
                        old.name()
                    );
                }
            }
            let doubling =
                doubling_seat(hit).is_some_and(|seat| voices[seat].midi != hit.voices[seat].midi);
            slip.also = also(row, hit, doubling);
            slipped.hits[at].voices = voices;
        }
        Change::Held(seats) => {
            for seat in &seats {
                slip.parts.push(passage.band.part(hit.seats, *seat));
                let before = passage.hits[at - 1].voices[*seat];
                detail = format!("{detail}voice {} holds {}; ", seat + 1, before.name());
                slipped.hits[at].voices[*seat] = before;
            }
            slipped.hits[at].tied = seats;
        }
        Change::Backing(part, event, tone) => {
            let changed = &mut slipped.backing[part].events[event];
            slip.at = changed.at;
            slip.len = changed.len;
            slip.parts.push(passage.backing[part].name);
            detail = format!("{} for {}; ", tone.name(), changed.tones[0].name());
            changed.tones = vec![tone];
        }
    }
    slip.parts.dedup();
    let (bar, beat) = passage.place(slip.at);
    let chord = passage
        .chords
        .iter()
        .rfind(|c| c.at <= slip.at)
        .map_or(hit.chord, |c| c.chord);
    let pushed = if hit.chord == chord {
        String::new()
    } else {
        format!(" for {}", hit.chord.symbol())
    };
    let way = if passage.stated {
        "stated"
    } else {
        "not stated"
    };
    slip.detail = format!(
        "{detail}{}{pushed}, {} ({way}), {:?}, bar {bar} beat {beat:.2}",
        chord.symbol(),
        hit.technique.word(),
        hit.kind
    );
    (slipped, slip)
}

fn playable(passage: &Passage, voices: &[Tone]) -> bool {
    let names: Vec<i16> = voices.iter().map(|t| t.midi).collect();
    !passage.band.chordal
        || names
            .iter()
            .all(|m| names.iter().filter(|n| *n == m).count() == 1)
}
