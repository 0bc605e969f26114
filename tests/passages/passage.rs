//! A passage: chords, a line voiced for a band, and what stands under it.

use super::backing::{self, Backing};
use super::bands::{BANDS, Band};
use super::chords::{Chord, Family};
use super::line::{Candidate, Frame, Kind, line, parallel};
use super::plan::{Key, METERS, Meter, Placed, Slot, changes, rhythm};
use super::voicing::Technique;
use crate::ensembles::notes::{Dice, Tone};
use std::collections::BTreeSet;

/// One sonority: its voices from the top.
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
    pub phrase: usize,
    pub weak: bool,
    pub push: Option<&'static str>,
    pub voices: Vec<Tone>,
    pub features: Vec<&'static str>,
}

#[derive(Clone, Debug)]
pub struct Passage {
    pub seed: u64,
    pub band: &'static Band,
    pub key: Key,
    pub meter: Meter,
    pub bars: i32,
    pub chords: Vec<Placed>,
    pub hits: Vec<Hit>,
    /// The technique of each four bars.
    pub techniques: Vec<Technique>,
    pub stated: bool,
    pub symbols: bool,
    pub section_stated: bool,
    pub backing: Vec<Backing>,
    pub features: BTreeSet<&'static str>,
}

const KEYS: [i16; 11] = [0, -1, -2, -3, -4, -5, 1, 2, 3, -2, -3];

/// One passage; the same for the same seed.
pub fn passage(seed: u64) -> Passage {
    for again in 0..500 {
        let mut dice = Dice::new(seed + 1_000_003 * again);
        if let Some(made) = made(&mut dice, seed) {
            return made;
        }
    }
    panic!("seed {seed}: no passage");
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
    let mut passage = Passage {
        seed,
        band,
        key,
        meter,
        bars: 4 * phrases,
        chords: Vec::new(),
        hits: Vec::new(),
        techniques: Vec::new(),
        stated: dice.chance(50),
        symbols,
        section_stated: dice.chance(50),
        backing: Vec::new(),
        features: BTreeSet::new(),
    };
    for index in 0..phrases {
        let placed = changes(dice, key, meter, 4 * index, index == phrases - 1);
        passage.chords.extend(placed);
    }
    let first = *dice.pick(band.techniques);
    let habit = *dice.pick(&[
        None,
        None,
        None,
        Some(Kind::Kept),
        Some(Kind::Dominant),
        Some(Kind::TonicSixth),
        Some(Kind::Related),
        Some(Kind::SecondReading),
        Some(Kind::Tension),
    ]);
    let approach = *dice.pick(&[0, 0, 0, 40, 70]);
    for index in 0..phrases {
        let technique = if index > 0 && dice.chance(30) {
            *dice.pick(band.techniques)
        } else {
            first
        };
        passage.techniques.push(technique);
        phrase(dice, &mut passage, index, technique, habit, approach)?;
    }
    features(&mut passage, habit);
    if band.name != "locked hands" && dice.chance(45) {
        passage.backing = backing::backing(dice, &passage);
        if passage.backing.iter().any(|b| b.name == "double bass") {
            passage.features.insert("bass part");
        }
    }
    Some(passage)
}

fn phrase(
    dice: &mut Dice,
    passage: &mut Passage,
    index: i32,
    technique: Technique,
    habit: Option<Kind>,
    approach: usize,
) -> Option<()> {
    let band = passage.band;
    let ranges = band.ranges(technique);
    let chords = passage.chords.clone();
    let frame = Frame {
        key: passage.key,
        technique,
        ranges: &ranges,
        low_horns: band.low_horns,
        chords: &chords,
        habit,
    };
    let held = matches!(technique, Technique::Spread | Technique::Pad);
    let end = (4 * index + 4) * passage.meter.bar;
    for _ in 0..30 {
        let slots = rhythm(dice, passage.meter, 4 * index, &chords, held);
        // A chord of the next phrase is never anticipated over the rest between them.
        if slots
            .iter()
            .any(|s| s.at + s.len > end || chords[s.chord].at >= end)
        {
            continue;
        }
        let Some(mut path) = line(dice, &frame, &slots) else {
            continue;
        };
        parallel(dice, &frame, &slots, &mut path, approach);
        for (slot, candidate) in slots.iter().zip(path) {
            passage
                .hits
                .push(hit(slot, candidate, technique, index as usize, &frame));
        }
        return Some(());
    }
    None
}

fn hit(
    slot: &Slot,
    candidate: Candidate,
    technique: Technique,
    phrase: usize,
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
        weak: slot.weak,
        push: slot.push,
        voices: candidate.voices,
        features: if slot.delayed {
            vec!["delayed attack"]
        } else {
            Vec::new()
        },
    }
}

/// Names what a passage has that is easily called wrong.
fn features(passage: &mut Passage, habit: Option<Kind>) {
    let block = |t: Technique| !matches!(t, Technique::Unison | Technique::Octaves);
    for at in 0..passage.hits.len() {
        let hit = &passage.hits[at];
        let mut named = hit.features.clone();
        named.extend(hit.push);
        if block(hit.technique) {
            named.extend(of_kind(passage, at));
        }
        if matches!(hit.technique, Technique::Spread) {
            named.push(if hit.voices.len() == 5 {
                "spread in five"
            } else {
                "spread in four"
            });
        }
        if hit.technique == Technique::Pad {
            named.push("held pads in mixed positions");
        }
        passage.features.extend(named.iter().copied());
        passage.hits[at].features = named;
    }
    let mut more = Vec::new();
    for pair in passage.techniques.windows(2) {
        if pair[0] != pair[1] {
            more.push(if block(pair[0]) {
                "change of technique"
            } else {
                "line, then block harmony"
            });
        }
    }
    if habit == Some(Kind::Kept) {
        more.push("chord kept as a habit");
    }
    if !passage.symbols {
        more.push("no symbols");
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
        Kind::TonicSixth if passage.key.minor => "tonic sixth over V in minor",
        Kind::TonicSixth => "tonic sixth over V in major",
        Kind::Related => "related ii over a dominant",
        Kind::Chromatic => "chromatic parallel approach",
        Kind::Diatonic => "diatonic parallel approach",
        Kind::CommonTone => "common-tone diminished",
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
    /// The beat and bar of a time.
    pub fn place(&self, at: i32) -> (i32, f64) {
        self.meter.place(at)
    }
    /// Every note that is struck: part, onset, sounding MIDI number.
    pub fn sounding(&self) -> Vec<(String, i32, i16)> {
        let mut out = Vec::new();
        for hit in &self.hits {
            for (voice, tone) in hit.voices.iter().enumerate() {
                out.push((self.band.part(voice).to_owned(), hit.at, tone.midi));
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
