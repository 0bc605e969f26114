//! Slips: what a copyist or a student gets wrong in one sonority, and the rules that name each rightly.

use super::line::Kind;
use super::passage::{Hit, Passage};
use super::right::{fits, may_be_right};
use super::voicing::{Technique, same_sounds, shaped};
use crate::ensembles::notes::{Dice, Tone, key_alter, under};
use crate::ensembles::voicing::too_low;

/// A slip in a passage.
#[derive(Clone, Debug)]
pub struct Slip {
    pub kind: &'static str,
    /// The sonority.
    pub hit: usize,
    /// Parts at fault.
    pub parts: Vec<&'static str>,
    pub detail: String,
}

type Make = fn(&mut Dice, &Passage, usize) -> Option<Vec<Tone>>;

/// A kind of slip: where it may stand, how it is made, and the rules that name it.
pub struct Row {
    pub name: &'static str,
    pub place: fn(&Passage, usize) -> bool,
    pub make: Make,
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
const DOUBLING: &[&str] = &["lead-doubling"];
const DOUBLED: &[&str] = &["doubled-note", "missing-guide-tone"];

const fn row(
    name: &'static str,
    place: fn(&Passage, usize) -> bool,
    make: Make,
    rules: &'static [&'static str],
) -> Row {
    Row {
        name,
        place,
        make,
        rules,
    }
}

pub static ROWS: [Row; 28] = [
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
        "half step, passing chord",
        passing_chord,
        |d, p, h| wrong(d, p, h, Seat::Inner, 1),
        PASSING,
    ),
    row("accidental lost", with_symbols, accidental_lost, NOTE),
    row("octave up", block, |d, p, h| octave(d, p, h, 1), OCTAVE),
    row("octave down", block, |d, p, h| octave(d, p, h, -1), OCTAVE),
    row(
        "octave, no symbols",
        no_symbols,
        |d, p, h| octave(d, p, h, 0),
        OCTAVE,
    ),
    row("two seats exchanged", block, exchanged, SEATS),
    row("lead under the second voice", block, lead_under, SEATS),
    row("wrong drop", mechanical, wrong_drop, DROP),
    row(
        "wrong drop, no symbols",
        |p, h| no_symbols(p, h) && mechanical(p, h),
        wrong_drop,
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
        &["wrong-note", "unavailable-tension", "missing-guide-tone"],
    ),
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
];

fn in_line(hit: &Hit) -> bool {
    matches!(hit.technique, Technique::Unison | Technique::Octaves)
}

fn block(passage: &Passage, hit: usize) -> bool {
    !in_line(&passage.hits[hit])
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
        Seat::Inner => 1 + dice.roll(last - 1),
        Seat::Bottom => last,
        Seat::Any => 1 + dice.roll(last),
    }
}

/// The voice that doubles the lead, where one does.
fn doubling_seat(hit: &Hit) -> Option<usize> {
    match hit.technique {
        Technique::DoubledLead => Some(4),
        Technique::Drop2Doubled => Some(3),
        _ => None,
    }
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
    let taken = hit.kind.moves() || !hit.chord.takes(tone);
    // A short lead note by step is an approach note, whatever it is.
    let melodic = seat == 0 && (hit.len < 24 || hit.weak);
    taken && !sounding && !melodic
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

fn natural_ninth(_: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let hit = &passage.hits[at];
    let flat = matches!(hit.chord.quality.suffix, "7b9" | "7b9b13" | "13b9");
    let seat = (1..hit.voices.len()).find(|i| hit.chord.above(hit.voices[*i]) == 1)?;
    let mut voices = hit.voices.clone();
    voices[seat] = Tone::spelled(voices[seat].midi + 1, passage.key.fifths);
    (flat && doubling_seat(hit) != Some(seat)).then_some(voices)
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
    let before = passage.hits[..at].last()?;
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

fn line_slip(dice: &mut Dice, passage: &Passage, at: usize) -> Option<Vec<Tone>> {
    let mut voices = passage.hits[at].voices.clone();
    let seat = 1 + dice.roll(voices.len() - 1);
    voices[seat] = Tone::spelled(
        voices[seat].midi + *dice.pick(&[-2, -1, 1, 2]),
        passage.key.fifths,
    );
    Some(voices)
}

/// Makes a slip of a kind somewhere in a passage; none where it has no place for it.
pub fn slip(dice: &mut Dice, passage: &Passage, row: &Row) -> Option<(Passage, Slip)> {
    let places: Vec<usize> = (0..passage.hits.len())
        .filter(|h| (row.place)(passage, *h))
        .collect();
    if places.is_empty() {
        return None;
    }
    for _ in 0..60 {
        let at = *dice.pick(&places);
        let Some(voices) = (row.make)(dice, passage, at) else {
            continue;
        };
        let hit = &passage.hits[at];
        let same = voices
            .iter()
            .zip(&hit.voices)
            .all(|(a, b)| a.midi == b.midi);
        // Seats and lines are wrong in any harmony.
        let any_harmony = in_line(hit) || matches!(row.rules, OCTAVE | SEATS | DROP | DOUBLING);
        if same || !any_harmony && may_be_right(passage, at, &voices) || !playable(passage, &voices)
        {
            continue;
        }
        let mut slipped = passage.clone();
        let mut parts = Vec::new();
        let mut detail = String::new();
        for (seat, (new, old)) in voices.iter().zip(&hit.voices).enumerate() {
            if new.midi != old.midi {
                parts.push(passage.band.part(seat));
                detail = format!(
                    "{detail}voice {}: {} for {}; ",
                    seat + 1,
                    new.name(),
                    old.name()
                );
            }
        }
        parts.dedup();
        slipped.hits[at].voices.clone_from(&voices);
        let (bar, beat) = passage.place(hit.at);
        let chord = hit.chord.symbol();
        let detail = format!(
            "{detail}{chord}, {}, {:?}, bar {bar} beat {beat:.2}",
            hit.technique.word(),
            hit.kind
        );
        return Some((
            slipped,
            Slip {
                kind: row.name,
                hit: at,
                parts,
                detail,
            },
        ));
    }
    None
}

fn playable(passage: &Passage, voices: &[Tone]) -> bool {
    let names: Vec<i16> = voices.iter().map(|t| t.midi).collect();
    !passage.band.chordal
        || names
            .iter()
            .all(|m| names.iter().filter(|n| *n == m).count() == 1)
}
