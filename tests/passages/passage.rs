//! A passage: chords, a line voiced for a band, and what stands under it.

use super::backing::{self, Backing};
use super::bands::{BANDS, Band, Recipe};
use super::chords::{Chord, Family};
use super::line::{Candidate, Frame, Kind, line, parallel};
use super::plan::{Bars, Key, METERS, Meter, Placed, Slot, changes, rhythm};
use super::voicing::Technique;
use crate::ensembles::notes::{Dice, Tone};
use std::collections::BTreeSet;

/// One sonority of some players: its voices from the top.
#[derive(Clone, Debug)]
pub struct Hit {
    pub at: i32,
    pub len: i32,
    /// The chord that it belongs to; before its change for a push.
    pub chord: Chord,
    pub index: usize,
    pub kind: Kind,
    pub set: [Tone; 4],
    pub technique: Technique,
    /// Hits of one phrase are played by the same players, one after the other.
    pub phrase: usize,
    pub seats: &'static [usize],
    pub weak: bool,
    pub push: Option<&'static str>,
    pub voices: Vec<Tone>,
    /// Voices that hold their note from the sonority before.
    pub tied: Vec<usize>,
    pub features: Vec<&'static str>,
}

/// Bars in one technique.
#[derive(Clone, Copy, Debug)]
pub struct Segment {
    pub span: Bars,
    pub technique: Technique,
    pub over_pad: bool,
}

#[derive(Clone, Debug)]
#[allow(
    clippy::struct_excessive_bools,
    reason = "each is a choice of the writer"
)]
pub struct Passage {
    pub seed: u64,
    pub band: &'static Band,
    pub key: Key,
    pub meter: Meter,
    pub bars: i32,
    pub chords: Vec<Placed>,
    /// Phrase by phrase.
    pub hits: Vec<Hit>,
    pub segments: Vec<Segment>,
    pub stated: bool,
    pub symbols: bool,
    pub section_stated: bool,
    /// As MusicXML, else as a grid.
    pub xml: bool,
    pub backing: Vec<Backing>,
    pub features: BTreeSet<&'static str>,
}

const KEYS: [i16; 11] = [0, -1, -2, -3, -4, -5, 1, 2, 3, -2, -3];

/// One passage; the same for the same seed.
pub fn passage(seed: u64) -> Passage {
    for again in 0..800 {
        let mut dice = Dice::new(seed + 1_000_003 * again);
        if let Some(made) = made(&mut dice, seed) {
            return made;
        }
    }
    panic!("seed {seed}: no passage");
}

/// What a writer does throughout a passage.
#[derive(Clone, Copy)]
struct Habits {
    passing: Option<Kind>,
    /// Percent of passing notes that are approached in parallel.
    parallel: usize,
}

fn habits(dice: &mut Dice) -> Habits {
    let passing = match dice.roll(25) {
        0..=3 => None,
        4..=6 => Some(Kind::Kept),
        7..=8 => Some(Kind::Dominant),
        9..=12 => Some(Kind::TonicSixth),
        13..=15 => Some(Kind::Related),
        16..=17 => Some(Kind::SecondReading),
        18..=19 => Some(Kind::Tension),
        20..=22 => Some(Kind::CommonTone),
        _ => Some(Kind::Blue),
    };
    Habits {
        passing,
        parallel: *dice.pick(&[0, 0, 0, 40, 70]),
    }
}

fn made(dice: &mut Dice, seed: u64) -> Option<Passage> {
    let band = &BANDS[(seed / 2) as usize % BANDS.len()];
    let key = Key {
        fifths: *dice.pick(&KEYS),
        minor: dice.chance(40),
    };
    let meter = *dice.pick(&[
        METERS[0], METERS[0], METERS[0], METERS[0], METERS[1], METERS[2], METERS[3],
    ]);
    let phrases = *dice.pick(&[1, 2, 2, 3]);
    let symbols = !dice.chance(15);
    let stated = dice.chance(50);
    let section_stated = dice.chance(50);
    let xml = dice.chance(25);
    let mut passage = Passage {
        seed,
        band,
        key,
        meter,
        bars: 4 * phrases,
        chords: Vec::new(),
        hits: Vec::new(),
        segments: Vec::new(),
        stated,
        symbols,
        section_stated,
        xml,
        backing: Vec::new(),
        features: BTreeSet::new(),
    };
    let habits = habits(dice);
    let mut recipe = dice.pick(band.recipes);
    let mut technique = None;
    for index in 0..phrases {
        if index > 0 && dice.chance(30) {
            recipe = dice.pick(band.recipes);
            technique = None;
        }
        four_bars(dice, &mut passage, index, recipe, &mut technique, habits)?;
    }
    features(&mut passage, habits);
    if !matches!(band.name, "locked hands" | "SATB") && dice.chance(45) {
        passage.backing = backing::backing(dice, &passage);
        if !backing::low_enough(&passage) {
            return None;
        }
        let bass = &passage.backing[passage.backing.len() - 1].events;
        let pedal = bass.windows(2).all(|w| w[0].tones[0] == w[1].tones[0]);
        passage
            .features
            .insert(if pedal { "pedal bass" } else { "bass part" });
    }
    Some(passage)
}

/// Four bars by a recipe.
fn four_bars(
    dice: &mut Dice,
    passage: &mut Passage,
    index: i32,
    recipe: &Recipe,
    technique: &mut Option<Technique>,
    habits: Habits,
) -> Option<()> {
    let span = Bars {
        bar: 4 * index,
        bars: 4,
    };
    let halves = [
        Bars {
            bar: 4 * index,
            bars: 2,
        },
        Bars {
            bar: 4 * index + 2,
            bars: 2,
        },
    ];
    let (techniques, seats) = match recipe {
        Recipe::Block(seats, all)
        | Recipe::OverPad(seats, all, _)
        | Recipe::Trade(seats, all, _, _) => (*all, *seats),
    };
    let own = *technique.get_or_insert_with(|| *dice.pick(techniques));
    let modal = matches!(own, Technique::Fourths | Technique::Cluster);
    let ends = index + 1 == passage.bars / 4;
    let placed = changes(dice, passage.key, passage.meter, 4 * index, ends, modal);
    passage.chords.extend(placed);
    let mechanical = own.mechanical();
    match recipe {
        Recipe::Trade(_, _, others, answers) => {
            block(dice, passage, halves[0], seats, own, habits, false)?;
            let answer = *dice.pick(answers);
            block(dice, passage, halves[1], others, answer, habits, false)?;
            passage.features.insert("sections in turn");
        }
        Recipe::OverPad(_, _, others) => {
            block(dice, passage, span, others, Technique::Pad, habits, false)?;
            passage.segments.pop();
            block(dice, passage, span, seats, own, habits, true)?;
            passage.features.insert("figures over held chords");
        }
        Recipe::Block(..) if mechanical && seats.len() > 3 && dice.chance(12) => {
            unison_first(dice, passage, span, seats, own, habits)?;
        }
        Recipe::Block(..)
            if mechanical
                && techniques.contains(&Technique::Close)
                && own != Technique::Close
                && dice.chance(20) =>
        {
            block(dice, passage, halves[0], seats, own, habits, false)?;
            block(
                dice,
                passage,
                halves[1],
                seats,
                Technique::Close,
                habits,
                false,
            )?;
            passage.features.insert("answer in close position");
        }
        Recipe::Block(..) => block(dice, passage, span, seats, own, habits, false)?,
    }
    Some(())
}

/// A bar in unison, then block harmony; the bar may have no chord.
fn unison_first(
    dice: &mut Dice,
    passage: &mut Passage,
    span: Bars,
    seats: &'static [usize],
    technique: Technique,
    habits: Habits,
) -> Option<()> {
    let first = Bars {
        bar: span.bar,
        bars: 1,
    };
    let rest = Bars {
        bar: span.bar + 1,
        bars: span.bars - 1,
    };
    if dice.chance(40) {
        let bar = first.bar * passage.meter.bar..(first.bar + 1) * passage.meter.bar;
        for placed in passage.chords.iter_mut().filter(|c| bar.contains(&c.at)) {
            placed.silent = true;
        }
        passage.features.insert("N.C. bar");
    }
    block(
        dice,
        passage,
        first,
        seats,
        Technique::Unison,
        habits,
        false,
    )?;
    block(dice, passage, rest, seats, technique, habits, false)?;
    passage.features.insert("unison bar, then block harmony");
    Some(())
}

fn block(
    dice: &mut Dice,
    passage: &mut Passage,
    span: Bars,
    seats: &'static [usize],
    technique: Technique,
    habits: Habits,
    over_pad: bool,
) -> Option<()> {
    let band = passage.band;
    let ranges = band.ranges(seats, technique);
    let chords = passage.chords.clone();
    let held_below: Vec<Hit> = passage
        .hits
        .iter()
        .filter(|h| over_pad && h.at >= span.bar * passage.meter.bar)
        .cloned()
        .collect();
    let frame = Frame {
        key: passage.key,
        technique,
        ranges: &ranges,
        low_horns: band.low_horns || seats[0] > 3,
        chords: &chords,
        habit: habits.passing,
        beat: passage.meter.beat,
        against: &held_below,
    };
    let held = matches!(
        technique,
        Technique::Spread | Technique::Pad | Technique::Cluster
    );
    let end = (span.bar + span.bars) * passage.meter.bar;
    let phrase = passage.hits.last().map_or(0, |h| h.phrase + 1);
    for _ in 0..30 {
        let slots = rhythm(dice, passage.meter, span, &chords, held);
        // A chord of the next phrase is never anticipated over the rest between them.
        if slots.is_empty()
            || slots
                .iter()
                .any(|s| s.at + s.len > end || chords[s.chord].at >= end)
        {
            continue;
        }
        let Some(mut path) = line(dice, &frame, &slots) else {
            continue;
        };
        parallel(dice, &frame, &slots, &mut path, habits.parallel);
        if !neighbours(&path) {
            continue;
        }
        for (slot, candidate) in slots.iter().zip(path) {
            passage
                .hits
                .push(hit(slot, candidate, technique, phrase, seats, &frame));
        }
        passage.segments.push(Segment {
            span,
            technique,
            over_pad,
        });
        return Some(());
    }
    None
}

/// The common-tone diminished stands only under a neighbour; under the sixth, between sevenths.
fn neighbours(path: &[Candidate]) -> bool {
    path.windows(3).all(|w| {
        let sixth = w[1].voices[0].class() == w[1].set[3].class();
        let neighbour = w[0].lead() == w[2].lead() && (!sixth || w[0].lead() == w[1].lead() + 2);
        w[1].kind != Kind::CommonTone || neighbour
    })
}

fn hit(
    slot: &Slot,
    candidate: Candidate,
    technique: Technique,
    phrase: usize,
    seats: &'static [usize],
    frame: &Frame<'_>,
) -> Hit {
    Hit {
        at: slot.at,
        len: slot.len,
        chord: frame.chords[slot.chord].chord,
        index: slot.chord,
        kind: candidate.kind,
        set: candidate.set,
        technique,
        phrase,
        seats,
        weak: slot.weak,
        push: slot.push,
        voices: candidate.voices,
        tied: Vec::new(),
        features: if slot.delayed {
            vec!["delayed attack"]
        } else {
            Vec::new()
        },
    }
}

/// Names what a passage has that is easily called wrong.
fn features(passage: &mut Passage, habits: Habits) {
    let block = |t: Technique| !matches!(t, Technique::Unison | Technique::Octaves);
    let layered = passage.segments.iter().any(|s| s.over_pad);
    for at in 0..passage.hits.len() {
        let hit = &passage.hits[at];
        let mut named = hit.features.clone();
        named.extend(hit.push);
        if hit.push.is_some() && layered {
            named.push("push in one section");
        }
        if block(hit.technique) {
            named.extend(of_kind(passage, at));
        }
        match hit.technique {
            Technique::Spread if hit.voices.len() == 5 => named.push("spread in five"),
            Technique::Spread => named.push("spread in four"),
            Technique::Pad => named.push("held pads in mixed positions"),
            _ => {}
        }
        passage.features.extend(named.iter().copied());
        passage.hits[at].features = named;
    }
    let mut more = Vec::new();
    for pair in passage.segments.windows(2) {
        if pair[0].technique != pair[1].technique && block(pair[0].technique) {
            more.push("change of technique");
        }
    }
    if habits.passing == Some(Kind::Kept) {
        more.push("chord kept as a habit");
    }
    if !passage.symbols {
        more.push("no symbols");
    }
    if passage.xml {
        more.push("as MusicXML");
    }
    passage.features.extend(more);
}

fn of_kind(passage: &Passage, at: usize) -> Option<&'static str> {
    let hit = &passage.hits[at];
    let above = hit.chord.above(hit.voices[0]);
    Some(match hit.kind {
        Kind::Passing => match above {
            2 => "passing diminished under 2",
            5 => "passing diminished under 4",
            8 => "passing diminished under b6",
            _ => "passing diminished under 7",
        },
        Kind::Kept => "chord kept under a passing note",
        Kind::SecondReading => "second reading of a dominant",
        Kind::Dominant => "dominant approach",
        Kind::TonicSixth if hit.set.iter().any(|t| hit.chord.above(*t) == 8) => {
            "tonic sixth over V in minor"
        }
        Kind::TonicSixth => "tonic sixth over V in major",
        Kind::Related => "related ii over a dominant",
        Kind::Chromatic => "chromatic parallel approach",
        Kind::Diatonic => "diatonic parallel approach",
        Kind::CommonTone => "common-tone diminished",
        Kind::Blue => "blue note",
        Kind::Tension => match above {
            2 if hit.len > 12 => "9 for 1, long",
            2 => "9 for 1 on the beat",
            5 if hit.len > 12 => "11 on minor, long",
            5 => "11 on minor on the beat",
            _ => "13 for 5",
        },
        Kind::Chord => match hit.chord.quality.suffix {
            "7alt" | "7#9" | "7b13" | "7b9b13" | "13b9" | "7b9" => "altered dominant",
            "7#11" | "maj7#11" => "#11 for 5",
            _ if hit.chord.is(Family::Suspended) => "sus family",
            _ => return None,
        },
    })
}

impl Passage {
    /// The bar and beat of a time.
    pub fn place(&self, at: i32) -> (i32, f64) {
        self.meter.place(at)
    }
    /// The sonority of the same players that follows at once.
    pub fn after(&self, at: usize) -> Option<&Hit> {
        let hit = &self.hits[at];
        self.hits
            .get(at + 1)
            .filter(|n| n.phrase == hit.phrase && n.at == hit.at + hit.len)
    }
    pub fn before(&self, at: usize) -> Option<&Hit> {
        let hit = &self.hits[at];
        let before = self.hits.get(at.checked_sub(1)?)?;
        (before.phrase == hit.phrase).then_some(before)
    }
    /// Every note that is struck: part, onset, sounding MIDI number.
    pub fn sounding(&self) -> Vec<(String, i32, i16)> {
        let mut out = Vec::new();
        for hit in &self.hits {
            for (voice, tone) in hit.voices.iter().enumerate() {
                out.push((
                    self.band.part(hit.seats, voice).to_owned(),
                    hit.at,
                    tone.midi,
                ));
            }
        }
        for part in &self.backing {
            for event in &part.events {
                out.extend(
                    event
                        .tones
                        .iter()
                        .map(|t| (part.name.to_owned(), event.at, t.midi)),
                );
            }
        }
        out.sort();
        out
    }
}
