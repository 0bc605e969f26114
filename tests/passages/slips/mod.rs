//! Slips: what a copyist or a student gets wrong in one sonority, and the rules that name each rightly.

mod notes;
mod shapes;

use super::chords::Family;
use super::line::Kind;
use super::passage::{Hit, Passage};
use super::right::may_be_right;
use super::voicing::Technique;
use crate::ensembles::notes::{Dice, Tone};
use notes::{
    accidental_lost, doubled_inner, foreign, fourth_for_third, half_step_under, kept,
    major_seventh, missed_change, natural_ninth, on_passing, parallel_slip, rub, third_lowered,
    thirteenth_under, wrong, wrong_diminished,
};
use shapes::{
    Seat, close_for_drop, doubling, doubling_seat, exchanged, lead_octave, lead_under, line_slip,
    octave, seat, wrong_drop,
};

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
            "bass-against-symbol",
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
