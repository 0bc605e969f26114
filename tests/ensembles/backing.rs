//! A bass line and a comping piano, in the chords as they stand.

use super::bands::{DOUBLE_BASS, PIANO};
use super::chart::{Chart, Event, Part};
use super::notes::{Dice, Placed, Tone, under};
use super::voicing::too_low;

/// Horn tones that sound during a span and are held for at least some eighths.
fn horns(chart: &Chart, from: i32, to: i32, least: i32) -> Vec<i16> {
    let parts = &chart.parts[..chart.horns()];
    let events = parts.iter().flat_map(|p| &p.staves[0]);
    let sounding = events.filter(|e| e.at < to && e.at + e.len > from && e.len >= least);
    sounding.map(|e| e.tones[0].midi).collect()
}

pub fn add(dice: &mut Dice, chart: &mut Chart) {
    let held = dice.chance(50);
    let walking = dice.chance(50);
    let sung = chart.ensemble.players[0].sung;
    let mut hands = [Vec::new(), Vec::new()];
    let mut bass = Vec::new();
    for placed in &chart.chords {
        comp(chart, *placed, held, &mut hands);
        walk(chart, *placed, walking, &mut bass);
    }
    chart.parts.push(Part {
        name: "Piano".to_owned(),
        instrument: &PIANO,
        staves: hands.to_vec(),
    });
    if !sung {
        let name = DOUBLE_BASS.names[dice.roll(3)].to_owned();
        chart.parts.push(Part {
            name,
            instrument: &DOUBLE_BASS,
            staves: vec![bass],
        });
    }
}

/// The right hand has the chord in close position, the left hand its root; no tone that rubs against a
/// held note of the horns, or stands too low beside one (the piano is silent where there is none such).
fn comp(chart: &Chart, placed: Placed, held: bool, hands: &mut [Vec<Event>; 2]) {
    let chord = placed.chord;
    let len = if held { placed.len } else { placed.len.min(3) };
    let sounding = horns(chart, placed.at, placed.at + len, 2);
    let rubs = |tone: &Tone| {
        sounding
            .iter()
            .any(|h| matches!((h - tone.midi).abs(), 1 | 13 | 25))
    };
    let hand = |top: i16| {
        let mut tones: Vec<Tone> = chord
            .tones()
            .iter()
            .map(|d| under(chord.at(*d), top).plain())
            .collect();
        tones.sort_by_key(|t| -t.midi);
        let low = tones.windows(2).any(|w| too_low(w[0].midi, w[1].midi));
        (!low && !tones.iter().any(rubs)).then_some(tones)
    };
    let Some(right) = [69, 72, 66, 75, 64, 78].into_iter().find_map(hand) else {
        return;
    };
    hands[0].push(Event {
        at: placed.at,
        len,
        tones: right,
    });
    let root = under(chord.root, 47);
    let all = horns(chart, placed.at, placed.at + len, 1);
    let muddy = all
        .iter()
        .any(|h| too_low(*h, root.midi) || too_low(root.midi, *h) || *h < root.midi);
    if !muddy && !rubs(&root) {
        hands[1].push(Event {
            at: placed.at,
            len,
            tones: vec![root],
        });
    }
}

/// Root first, then fifth, third and fifth a beat each; or root and fifth in halves.
fn walk(chart: &Chart, placed: Placed, walking: bool, bass: &mut Vec<Event>) {
    let chord = placed.chord;
    let tones = chord.tones();
    let order = [tones[0], tones[2], tones[1], tones[2]];
    let beat = if walking {
        chart.meter.beat
    } else {
        chart.meter.half
    };
    let mut at = placed.at;
    let mut index = 0;
    while at < placed.at + placed.len {
        let len = beat.min(placed.at + placed.len - at);
        let sounding = horns(chart, at, at + len, 1);
        let lowest = sounding.iter().min().copied().unwrap_or(60);
        let fits = |tone: Tone| {
            let mut tone = under(tone.plain(), 43);
            while tone.midi >= 28 {
                if !too_low(lowest, tone.midi) && tone.midi <= lowest {
                    return Some(tone);
                }
                tone = tone.octaves(-1);
            }
            None
        };
        let tone = fits(chord.at(order[index % 4])).or_else(|| fits(chord.root));
        // Silent where every octave would stand too low under a horn.
        bass.extend(tone.map(|tone| Event {
            at,
            len,
            tones: vec![tone],
        }));
        at += len;
        index += 1;
    }
}
