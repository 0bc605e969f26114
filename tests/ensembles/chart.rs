//! Charts: phrases for an ensemble, with the parts that play them.

use super::backing;
use super::bands::{ENSEMBLES, Ensemble, Instrument, Recipe};
use super::melody::{Slot, Span, chromatic, line, rhythm};
use super::notes::{Chord, Dice, METERS, Meter, Placed, Quality, Tone, changes, tonic};
use super::voicing::{Candidate, Kind, Technique, Wanted, candidates, too_low};

/// What one player plays from an eighth on, sounding; more than one tone for a piano hand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    pub at: i32,
    pub len: i32,
    pub tones: Vec<Tone>,
}

#[derive(Clone, Debug)]
pub struct Part {
    pub name: String,
    pub instrument: &'static Instrument,
    pub staves: Vec<Vec<Event>>,
}

/// One sonority of a block: its voices from the top and who plays them.
#[derive(Clone, Debug)]
pub struct Hit {
    pub at: i32,
    pub len: i32,
    pub chord: Chord,
    pub kind: Kind,
    pub seats: &'static [usize],
    pub voices: Vec<Tone>,
    pub technique: Technique,
}

/// Some bars played one way; bars are 0-based.
#[derive(Clone, Debug)]
pub struct Phrase {
    pub bar: i32,
    pub bars: i32,
    pub what: &'static str,
    pub technique: Technique,
    pub hits: Vec<Hit>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Symbols {
    All,
    One(usize),
    Absent,
}

#[derive(Clone, Debug)]
pub struct Chart {
    pub seed: u64,
    pub ensemble: &'static Ensemble,
    pub meter: Meter,
    pub fifths: i16,
    pub bars: i32,
    pub parts: Vec<Part>,
    pub chords: Vec<Placed>,
    pub phrases: Vec<Phrase>,
    pub symbols: Symbols,
    /// Whether parts say their playback sound.
    pub sounds: bool,
    pub tempo: i32,
}

impl Chart {
    pub fn horns(&self) -> usize {
        self.ensemble.players.len()
    }
    /// The phrase that an eighth stands in.
    pub fn phrase_at(&self, at: i32) -> Option<&Phrase> {
        let bar = at.div_euclid(self.meter.bar);
        self.phrases
            .iter()
            .find(|p| (p.bar..p.bar + p.bars).contains(&bar))
    }
    /// Onsets at which a horn strikes a note, in some bars.
    pub fn sonorities(&self, bar: i32, bars: i32) -> usize {
        let span = bar * self.meter.bar..(bar + bars) * self.meter.bar;
        let horns = self.parts[..self.horns()].iter().flat_map(|p| &p.staves[0]);
        let mut onsets: Vec<i32> = horns.map(|e| e.at).filter(|at| span.contains(at)).collect();
        onsets.sort_unstable();
        onsets.dedup();
        onsets.len()
    }
}

/// Concert keys, in fifths.
const KEYS: [i16; 7] = [0, -1, -2, -3, -4, 1, 2];

fn names(ensemble: &Ensemble, style: usize) -> Vec<String> {
    let players = ensemble.players;
    let same = |p: &Instrument| players.iter().filter(|q| ***q == *p).count();
    let mut out = Vec::new();
    for (index, player) in players.iter().enumerate() {
        let pattern = player.names[style % player.names.len()];
        let seat = players[..index].iter().filter(|q| **q == *player).count() + 1;
        let name = if same(player) > 1 {
            pattern.replace('#', &format!(" {seat}"))
        } else if pattern == "Trombone#"
            && seat == 1
            && players.len() > index
            && player.range.1 < 65
        {
            format!("Trombone {}", same(&super::bands::TROMBONE) + 1)
        } else {
            pattern.replace('#', "")
        };
        out.push(name);
    }
    out
}

/// One chart; the same for the same seed.
pub fn chart(seed: u64) -> Chart {
    let ensemble = &ENSEMBLES[seed as usize % ENSEMBLES.len()];
    let round = seed as usize / ENSEMBLES.len();
    let mut dice = Dice::new(seed);
    let meter = METERS[if ensemble.chorale {
        0
    } else {
        *dice.pick(&[0, 0, 0, 0, 0, 1, 2])
    }];
    let fifths = KEYS[(round + seed as usize) % KEYS.len()];
    let phrases = *dice.pick(&[4, 6, 8]);
    let style = dice.roll(3);
    let parts = names(ensemble, style).into_iter().zip(ensemble.players);
    let mut chart = Chart {
        seed,
        ensemble,
        meter,
        fifths,
        bars: 4 * phrases,
        parts: parts
            .map(|(name, instrument)| Part {
                name,
                instrument,
                staves: vec![Vec::new()],
            })
            .collect(),
        chords: Vec::new(),
        phrases: Vec::new(),
        symbols: Symbols::All,
        sounds: dice.chance(50),
        tempo: if ensemble.chorale {
            92
        } else {
            120 + 4 * dice.roll(10) as i32
        },
    };
    for index in 0..phrases {
        let start = 4 * index * meter.bar;
        let placed = changes(&mut dice, fifths, meter, start, 4, index == phrases - 1);
        chart.chords.extend(placed);
        phrase(&mut dice, &mut chart, 4 * index, index * 2 >= phrases);
    }
    for part in &mut chart.parts {
        part.staves[0].sort_by_key(|e| e.at);
    }
    if dice.chance(ensemble.rhythm) {
        backing::add(&mut dice, &mut chart);
    }
    let piano = chart.parts.iter().position(|p| p.staves.len() == 2);
    chart.symbols = match dice.roll(4) {
        0 | 1 => Symbols::All,
        2 => Symbols::One(piano.unwrap_or(0)),
        _ => Symbols::Absent,
    };
    chart
}

/// Fills four bars by a recipe; another one where the first cannot be written.
fn phrase(dice: &mut Dice, chart: &mut Chart, bar: i32, second: bool) {
    let recipes = chart.ensemble.halves[usize::from(second)];
    for _ in 0..60 {
        let recipe = dice.pick(recipes);
        if let Some((phrases, lines)) = filled(dice, chart, bar, recipe) {
            chart.phrases.extend(phrases);
            for (seat, event) in lines {
                chart.parts[seat].staves[0].push(event);
            }
            return;
        }
    }
    panic!("seed {}: no recipe fills bar {bar}", chart.seed);
}

type Filled = (Vec<Phrase>, Vec<(usize, Event)>);

fn filled(dice: &mut Dice, chart: &Chart, bar: i32, recipe: &Recipe) -> Option<Filled> {
    let mut out: Filled = (Vec::new(), Vec::new());
    let whole = Bars { bar, bars: 4 };
    let (first, second) = (
        Bars { bar, bars: 2 },
        Bars {
            bar: bar + 2,
            bars: 2,
        },
    );
    match *recipe {
        Recipe::Block(seats, techniques) => {
            block(dice, chart, whole, "block", seats, techniques, &mut out)?;
        }
        Recipe::Unison(seats) => doubled(dice, chart, whole, seats, Technique::Unison, &mut out)?,
        Recipe::Octaves(seats) => doubled(dice, chart, whole, seats, Technique::Octaves, &mut out)?,
        Recipe::Call(soloist, seats, techniques) => {
            alone(dice, chart, first, "call", soloist, &[], &mut out)?;
            block(dice, chart, second, "answer", seats, techniques, &mut out)?;
        }
        Recipe::Solo(soloist, seats) => {
            let technique =
                [Technique::ThreePart, Technique::Pad, Technique::Spread][seats.len() - 3];
            block(dice, chart, whole, "pad", seats, &[technique], &mut out)?;
            let mut line: Filled = (Vec::new(), Vec::new());
            alone(dice, chart, whole, "solo", soloist, &out.1, &mut line)?;
            out.1.extend(line.1);
        }
        Recipe::Trade(a, by, b, answer) => {
            block(dice, chart, first, "trade", a, by, &mut out)?;
            block(dice, chart, second, "trade", b, answer, &mut out)?;
        }
    }
    Some(out)
}

#[derive(Clone, Copy)]
struct Bars {
    bar: i32,
    bars: i32,
}

/// Comfortable ranges; lead seats go higher.
fn ranges(chart: &Chart, seats: &[usize]) -> Vec<(i16, i16)> {
    let of = |(index, seat): (usize, &usize)| {
        let player = chart.ensemble.players[*seat];
        let above = if index == 0 { player.lead_above } else { 0 };
        (player.range.0, player.range.1 + above)
    };
    seats.iter().enumerate().map(of).collect()
}

/// Held notes, one a chord, with a rest at the end.
fn held(chart: &Chart, bars: Bars) -> Vec<Slot> {
    let bar = chart.meter.bar;
    let (from, to) = (bars.bar * bar, (bars.bar + bars.bars) * bar);
    let chords = chart.chords.iter().filter(|c| (from..to).contains(&c.at));
    let slots = chords.map(|c| Slot {
        at: c.at,
        len: if c.at + c.len == to {
            (c.len - 2).max(2)
        } else {
            c.len
        },
        chord: c.chord,
        next: None,
        weak: false,
    });
    slots.collect()
}

fn slots(
    dice: &mut Dice,
    chart: &Chart,
    bars: Bars,
    what: &str,
    technique: Technique,
) -> Vec<Slot> {
    if what == "pad" {
        return held(chart, bars);
    }
    let spread = matches!(technique, Technique::Spread);
    let span = Span {
        start: bars.bar * chart.meter.bar,
        bars: bars.bars,
        held: spread || chart.ensemble.chorale,
    };
    let mut slots = rhythm(dice, chart.meter, span, &chart.chords);
    if matches!(technique, Technique::Spread | Technique::TuttiComplete) {
        for slot in &mut slots {
            slot.weak = false;
        }
    }
    slots
}

fn block(
    dice: &mut Dice,
    chart: &Chart,
    bars: Bars,
    what: &'static str,
    seats: &'static [usize],
    techniques: &[Technique],
    out: &mut Filled,
) -> Option<()> {
    let technique = *dice.pick(techniques);
    let mut ranges = ranges(chart, seats);
    if what == "pad" {
        // Held chords stay where nobody tires.
        ranges[0].1 = chart.ensemble.players[seats[0]].range.1;
    }
    let slots = slots(dice, chart, bars, what, technique);
    let choices: Vec<Vec<Candidate>> = slots
        .iter()
        .map(|slot| {
            let length = slot.len;
            let low_horns = chart.ensemble.low_horns;
            let wanted = Wanted {
                technique,
                ranges: &ranges,
                low_horns,
                length,
            };
            candidates(
                slot.chord,
                slot.next,
                tonic(chart.fifths),
                wanted,
                slot.weak,
            )
        })
        .collect();
    let mut line = line(dice, &slots, &choices)?;
    chromatic(dice, &slots, &mut line, &ranges);
    let mut hits = Vec::new();
    for (slot, candidate) in slots.iter().zip(line) {
        for (seat, tone) in seats.iter().zip(&candidate.voices) {
            out.1.push((
                *seat,
                Event {
                    at: slot.at,
                    len: slot.len,
                    tones: vec![*tone],
                },
            ));
        }
        hits.push(Hit {
            at: slot.at,
            len: slot.len,
            chord: slot.chord,
            kind: candidate.kind,
            seats,
            voices: candidate.voices,
            technique,
        });
    }
    out.0.push(Phrase {
        bar: bars.bar,
        bars: bars.bars,
        what,
        technique,
        hits,
    });
    Some(())
}

/// A single line inside a range, of chord notes and notes between them.
fn single(
    dice: &mut Dice,
    chart: &Chart,
    bars: Bars,
    range: (i16, i16),
    others: &[(usize, Event)],
) -> Option<Vec<(Slot, Candidate)>> {
    let slots = slots(dice, chart, bars, "line", Technique::Line);
    let ranges = [range];
    let choices: Vec<Vec<Candidate>> = slots
        .iter()
        .map(|slot| {
            let wanted = Wanted {
                technique: Technique::Line,
                ranges: &ranges,
                low_horns: false,
                length: slot.len,
            };
            let mut found = candidates(
                slot.chord,
                slot.next,
                tonic(chart.fifths),
                wanted,
                slot.weak,
            );
            let seventh = (slot.chord.root.class() + 11) % 12;
            let major = slot.chord.quality == Quality::Major7;
            found.retain(|c| {
                c.kind != Kind::Tension
                    && !(major && c.lead().class() == seventh && !c.kind.moves())
                    && !others.iter().any(|(_, e)| rubs(slot, c.lead(), e))
            });
            found
        })
        .collect();
    let line = line(dice, &slots, &choices)?;
    Some(slots.into_iter().zip(line).collect())
}

/// A note of a soloist that rubs against a held note for a beat, or stands too low beside or under it.
fn rubs(slot: &Slot, tone: Tone, other: &Event) -> bool {
    let apart = tone.midi - other.tones[0].midi;
    let together = other.at < slot.at + slot.len && slot.at < other.at + other.len;
    let rub = matches!(apart.abs(), 1 | 13 | 25) && slot.len >= 2;
    let low = too_low(tone.midi, other.tones[0].midi) || too_low(other.tones[0].midi, tone.midi);
    together && (rub || low)
}

fn alone(
    dice: &mut Dice,
    chart: &Chart,
    bars: Bars,
    what: &'static str,
    seat: usize,
    others: &[(usize, Event)],
    out: &mut Filled,
) -> Option<()> {
    let (low, high) = chart.ensemble.players[seat].range;
    for (slot, candidate) in single(dice, chart, bars, (high - 17.min(high - low), high), others)? {
        out.1.push((
            seat,
            Event {
                at: slot.at,
                len: slot.len,
                tones: candidate.voices,
            },
        ));
    }
    out.0.push(Phrase {
        bar: bars.bar,
        bars: bars.bars,
        what,
        technique: Technique::Line,
        hits: Vec::new(),
    });
    Some(())
}

/// One line for all, in unison or in octaves as the ranges have it.
fn doubled(
    dice: &mut Dice,
    chart: &Chart,
    bars: Bars,
    seats: &'static [usize],
    technique: Technique,
    out: &mut Filled,
) -> Option<()> {
    let octaves: &[i16] = if technique == Technique::Unison {
        &[0]
    } else {
        &[0, -1, -2]
    };
    let ranges: Vec<(i16, i16)> = seats
        .iter()
        .map(|s| chart.ensemble.players[*s].range)
        .collect();
    let down = |window: i16, range: &(i16, i16)| {
        let inside = |k: &i16| window + 12 * k >= range.0 && window + 12 + 12 * k <= range.1;
        octaves.iter().copied().find(inside)
    };
    let (low, high) = ranges[0];
    let windows: Vec<i16> = (low..=high - 12)
        .filter(|w| ranges.iter().all(|r| down(*w, r).is_some()))
        .collect();
    if windows.is_empty() {
        return None;
    }
    let window = *dice.pick(&windows);
    let mut hits = Vec::new();
    for (slot, candidate) in single(dice, chart, bars, (window, window + 12), &[])? {
        let tone = candidate.lead();
        let voices: Vec<Tone> = ranges
            .iter()
            .map(|r| tone.octaves(down(window, r).unwrap()))
            .collect();
        for (seat, tone) in seats.iter().zip(&voices) {
            out.1.push((
                *seat,
                Event {
                    at: slot.at,
                    len: slot.len,
                    tones: vec![*tone],
                },
            ));
        }
        hits.push(Hit {
            at: slot.at,
            len: slot.len,
            chord: slot.chord,
            kind: candidate.kind,
            seats,
            voices,
            technique,
        });
    }
    out.0.push(Phrase {
        bar: bars.bar,
        bars: bars.bars,
        what: "doubled",
        technique,
        hits,
    });
    Some(())
}
