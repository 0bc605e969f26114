//! A bass and a piano under a passage (common practice, no source).

use super::chords::{Chord, Family};
use super::passage::Passage;
use crate::ensembles::notes::{Dice, Tone, under};
use crate::ensembles::voicing::too_low;

#[derive(Clone, Debug)]
pub struct Event {
    pub at: i32,
    pub len: i32,
    pub tones: Vec<Tone>,
}

/// A part that accompanies: its name, its instrument in words, what it plays.
#[derive(Clone, Debug)]
pub struct Backing {
    pub name: &'static str,
    pub instrument: &'static str,
    pub events: Vec<Event>,
}

pub fn backing(dice: &mut Dice, passage: &Passage) -> Vec<Backing> {
    let pedal = dice.chance(15);
    let mut bass = Backing {
        name: "double bass",
        instrument: "double bass",
        events: bass(dice, passage),
    };
    if pedal {
        bass.events = pedal_bass(passage);
    }
    if dice.chance(50) {
        return vec![bass];
    }
    let piano = Backing {
        name: "piano",
        instrument: "piano",
        events: comping(passage),
    };
    vec![piano, bass]
}

fn low(tone: Tone) -> Tone {
    under(tone.plain(), 39)
}

fn fifth(chord: Chord) -> Tone {
    let flat = chord.is(Family::Diminished) || chord.is(Family::HalfDiminished);
    let altered = matches!(chord.quality.suffix, "7alt" | "7b13" | "7b9b13");
    match (flat, altered) {
        (true, _) => chord.at((4, 6)),
        (_, true) => chord.root,
        _ => chord.at((4, 7)),
    }
}

/// No voice stands so near above the bass that the two are mud.
pub fn low_enough(passage: &Passage) -> bool {
    let bass = passage
        .backing
        .iter()
        .filter(|b| b.name == "double bass")
        .flat_map(|b| &b.events);
    bass.into_iter().all(|event| {
        let sounding = passage
            .hits
            .iter()
            .filter(|h| h.at < event.at + event.len && event.at < h.at + h.len);
        let mut voices = sounding.flat_map(|h| &h.voices);
        voices.all(|v| !too_low(v.midi, event.tones[0].midi) && v.midi > event.tones[0].midi)
    })
}

/// Long roots, roots and fifths, or four to the bar.
fn bass(dice: &mut Dice, passage: &Passage) -> Vec<Event> {
    let walks = dice.roll(3);
    let mut events = Vec::new();
    for (index, placed) in passage.chords.iter().enumerate() {
        if placed.silent {
            continue;
        }
        let root = low(placed.chord.bass());
        let beat = passage.meter.beat;
        if walks == 0 || placed.len <= beat {
            events.push(Event {
                at: placed.at,
                len: placed.len,
                tones: vec![root],
            });
            continue;
        }
        let next = passage
            .chords
            .get(index + 1)
            .map_or(root, |c| low(c.chord.bass()));
        let count = placed.len / beat;
        for step in 0..count {
            let tone = match (walks, step) {
                (_, 0) => root,
                (1, s) if s % 2 == 0 => root,
                (1, _) => low(fifth(placed.chord)),
                (_, s) if s + 1 == count && count > 2 => Tone::spelled(
                    next.midi + if next.midi < 34 { 1 } else { -1 },
                    passage.key.fifths,
                ),
                (_, 1) => low(fifth(placed.chord)),
                _ => low(placed.chord.guides()[0]),
            };
            events.push(Event {
                at: placed.at + step * beat,
                len: beat,
                tones: vec![tone],
            });
        }
    }
    events
}

/// The dominant of the key held through, bar by bar.
fn pedal_bass(passage: &Passage) -> Vec<Event> {
    let tone = low(passage.key.tonic().moved(4, 7));
    let bar = passage.meter.bar;
    (0..passage.bars)
        .map(|b| Event {
            at: b * bar,
            len: bar,
            tones: vec![tone],
        })
        .collect()
}

/// Third and seventh, held; on a major or minor chord the fifth, so that a sixth over it does not rub.
fn comping(passage: &Passage) -> Vec<Event> {
    let voiced = |chord: Chord| {
        let [third, seventh] = chord.guides();
        let tonic = matches!(
            chord.quality.suffix,
            "maj7" | "maj9" | "maj7#11" | "maj7/2" | "m(maj7)"
        );
        let other = if tonic {
            chord.at(chord.four()[2])
        } else {
            seventh
        };
        let mut tones: Vec<Tone> = [third, other]
            .iter()
            .map(|t| under(t.plain(), 64))
            .collect();
        tones.sort_by_key(|t| -t.midi);
        tones
    };
    let played = passage.chords.iter().filter(|c| !c.silent);
    played
        .map(|c| Event {
            at: c.at,
            len: c.len,
            tones: voiced(c.chord),
        })
        .collect()
}
