//! Faults of a whole part or stretch, as copyists and notation programs leave them.

use super::bands::{ALTO_SAX, CLARINET, HORN, TENOR_SAX, TRUMPET};
use super::chart::{Chart, Event, Phrase};
use super::notes::{Chord, Dice};
use super::slips::Truth;
use super::voicing::Technique;
use super::write::{Paper, PaperPart, moved};

pub const WHOLE: [&str; 16] = [
    "other-transposition",
    "untransposed",
    "transpose-missing",
    "concert-notes",
    "concert-notes-and-key",
    "one-key-signature",
    "own-key-signature",
    "octave-stretch",
    "fourth-stretch",
    "second-stretch",
    "beat-late",
    "bar-late",
    "bar-missing",
    "pasted-line",
    "step-off",
    "step-off-whole",
];

/// The rules that name a fault rightly today; rules of whole parts to come belong here.
pub fn rules(kind: &str) -> &'static [&'static str] {
    match kind {
        "other-transposition"
        | "untransposed"
        | "transpose-missing"
        | "concert-notes"
        | "concert-notes-and-key" => &["transposition"],
        "one-key-signature" => &["key-signature-agreement", "transposition"],
        "own-key-signature" => &["key-signature-agreement"],
        "bar-missing" => &["bar-count"],
        "pasted-line" => &["copied-line"],
        "octave-stretch" | "fourth-stretch" | "second-stretch" | "step-off" | "beat-late"
        | "bar-late" => &["displaced-line"],
        "step-off-whole" => &["displaced-line", "transposition"],
        _ => &[],
    }
}

/// A part's events in bars, 0-based, end excluded.
fn inside(event: &Event, from: i32, to: i32) -> bool {
    (from..to).contains(&event.at)
}

fn shift_symbols(part: &mut PaperPart, by: (i16, i16)) {
    for (_, chord) in &mut part.symbols {
        *chord = Chord {
            root: chord.root.moved(by.0, by.1).plain(),
            ..*chord
        };
    }
}

fn move_all(part: &mut PaperPart, by: (i16, i16)) {
    for staff in &mut part.staves {
        for event in staff {
            *event = moved(event, by);
        }
    }
}

/// A stretch of a block or doubled phrase, 2 to 8 bars, in eighths, and one of its inner or lower players.
struct Stretch {
    from: i32,
    to: i32,
    seat: usize,
    neighbour: usize,
    technique: Technique,
}

fn stretch(dice: &mut Dice, chart: &Chart, block: bool, least: i32) -> Option<Stretch> {
    let fits = |p: &&Phrase| {
        let doubled = matches!(p.technique, Technique::Unison | Technique::Octaves);
        // Held chords may lie in any position, and a line may be doubled in any octave.
        let free = doubled || p.what == "pad" || p.technique == Technique::Spread;
        !p.hits.is_empty() && p.bars >= least && !(block && free)
    };
    let phrases: Vec<&Phrase> = chart.phrases.iter().filter(fits).collect();
    if phrases.is_empty() {
        return None;
    }
    let phrase = *dice.pick(&phrases);
    let seats = phrase.hits[0].seats;
    let index = 1 + dice.roll(seats.len() - 1);
    let bar = chart.meter.bar;
    let mut from = phrase.bar;
    let mut to = phrase.bar + phrase.bars;
    let next = chart
        .phrases
        .iter()
        .find(|p| p.bar == to && !p.hits.is_empty());
    match dice.roll(3) {
        0 if phrase.bars == 4 => from += 1 + dice.roll(2) as i32,
        1 if next.is_some_and(|p| p.hits[0].seats == seats) && least < 4 => {
            to += next.unwrap().bars;
        }
        _ => {}
    }
    if to - from < least {
        from = phrase.bar;
    }
    Some(Stretch {
        from: from * bar,
        to: to * bar,
        seat: seats[index],
        neighbour: seats[index - 1],
        technique: phrase.technique,
    })
}

/// Players among those whose instrument is one of some.
fn players(chart: &Chart, which: impl Fn(usize) -> bool) -> Vec<usize> {
    (0..chart.horns()).filter(|i| which(*i)).collect()
}

fn one(dice: &mut Dice, list: &[usize]) -> Option<usize> {
    (!list.is_empty()).then(|| *dice.pick(list))
}

/// Puts a fault into the paper of a chart; none where the chart has no place for it.
pub fn fault(
    dice: &mut Dice,
    chart: &Chart,
    paper: &Paper,
    kind: &'static str,
) -> Option<(Paper, Truth)> {
    let mut paper = paper.clone();
    let mut truth = Truth {
        kind,
        parts: Vec::new(),
        bars: (1, chart.bars),
        at: None,
        technique: Technique::Line,
        detail: String::new(),
    };
    let done = match kind {
        "one-key-signature" | "own-key-signature" => {
            signatures(dice, chart, &mut paper, &mut truth)
        }
        "octave-stretch" | "fourth-stretch" | "second-stretch" | "step-off" | "step-off-whole" => {
            off(dice, chart, &mut paper, &mut truth)
        }
        "beat-late" | "bar-late" | "bar-missing" => late(dice, chart, &mut paper, &mut truth),
        "pasted-line" => pasted(dice, chart, &mut paper, &mut truth),
        _ => transposition(dice, chart, &mut paper, &mut truth),
    };
    done?;
    let names: Vec<&str> = truth
        .parts
        .iter()
        .map(|p| chart.parts[*p].name.as_str())
        .collect();
    truth.detail = format!("{} {}", names.join(" + "), truth.detail);
    Some((paper, truth))
}

fn transposition(
    dice: &mut Dice,
    chart: &Chart,
    paper: &mut Paper,
    truth: &mut Truth,
) -> Option<()> {
    let transposing = players(chart, |i| chart.ensemble.players[i].transposes());
    if transposing.len() < 2 {
        return None;
    }
    let seat = one(dice, &transposing)?;
    let own = chart.ensemble.players[seat];
    let part = &mut paper.parts[seat];
    let written = own.to_written();
    let back = (-written.0, -written.1);
    match truth.kind {
        "other-transposition" => {
            let all = [&ALTO_SAX, &TENOR_SAX, &CLARINET, &TRUMPET, &HORN];
            let others: Vec<_> = all
                .into_iter()
                .filter(|o| o.transpose.1 != own.transpose.1)
                .collect();
            let other = *dice.pick(&others);
            let to = other.to_written();
            let by = (back.0 + to.0, back.1 + to.1);
            move_all(part, by);
            shift_symbols(part, by);
            part.fifths = chart.fifths + other.key_above();
            part.transpose = Some(other.transpose);
            truth.detail = format!("written for {}", other.sound);
        }
        "untransposed" => {
            move_all(part, back);
            shift_symbols(part, back);
            part.fifths = chart.fifths;
            part.transpose = None;
        }
        "transpose-missing" => part.transpose = None,
        "concert-notes" => move_all(part, back),
        _ => {
            move_all(part, back);
            shift_symbols(part, back);
            part.fifths = chart.fifths;
        }
    }
    truth.parts = vec![seat];
    Some(())
}

fn signatures(dice: &mut Dice, chart: &Chart, paper: &mut Paper, truth: &mut Truth) -> Option<()> {
    let transposing = players(chart, |i| chart.ensemble.players[i].key_above() != 0);
    if truth.kind == "one-key-signature" {
        if transposing.len() < 2 {
            return None;
        }
        for seat in &transposing {
            paper.parts[*seat].fifths = chart.fifths;
        }
        truth.parts = transposing;
        return Some(());
    }
    let like = |i: usize| {
        players(chart, |j| {
            chart.ensemble.players[j] == chart.ensemble.players[i]
        })
        .len()
            > 1
    };
    let seat = one(dice, &players(chart, like))?;
    let by = *dice.pick(&[-2, -1, 1, 2]);
    let part = &mut paper.parts[seat];
    part.fifths += by;
    truth.detail = format!("has {} fifths", part.fifths);
    truth.parts = vec![seat];
    Some(())
}

fn off(dice: &mut Dice, chart: &Chart, paper: &mut Paper, truth: &mut Truth) -> Option<()> {
    let at = stretch(dice, chart, true, 2)?;
    let (from, to) = if truth.kind == "step-off-whole" {
        (0, chart.bars * chart.meter.bar)
    } else {
        (at.from, at.to)
    };
    let lowest = chart
        .phrase_at(at.from)
        .is_some_and(|p| p.hits.iter().any(|h| h.seats.last() == Some(&at.seat)));
    // The lowest voice may stand an octave lower.
    let up = if truth.kind == "octave-stretch" && lowest || dice.chance(50) {
        1
    } else {
        -1
    };
    let part = &mut paper.parts[at.seat];
    let fifths = part.fifths;
    for event in part.staves[0].iter_mut().filter(|e| inside(e, from, to)) {
        let tone = event.tones[0];
        event.tones[0] = match truth.kind {
            "octave-stretch" => tone.octaves(up),
            "fourth-stretch" => tone.moved(3 * up, 5 * up).plain(),
            "second-stretch" => tone.moved(up, 2 * up).plain(),
            _ => tone.staff_step(up, fifths),
        };
    }
    put(chart, truth, &at, from, to);
    truth.detail = format!("moved {}", if up > 0 { "up" } else { "down" });
    Some(())
}

fn put(chart: &Chart, truth: &mut Truth, at: &Stretch, from: i32, to: i32) {
    truth.parts = vec![at.seat];
    truth.bars = (chart.meter.place(from).0, chart.meter.place(to - 1).0);
    truth.technique = at.technique;
}

fn late(dice: &mut Dice, chart: &Chart, paper: &mut Paper, truth: &mut Truth) -> Option<()> {
    let at = stretch(dice, chart, false, 2)?;
    let bar = chart.meter.bar;
    let part = &mut paper.parts[at.seat];
    let staff = &mut part.staves[0];
    if truth.kind == "bar-missing" {
        let gone = (at.from / bar + 1) * bar;
        if gone + bar >= chart.bars * bar {
            return None;
        }
        staff.retain(|e| !inside(e, gone, gone + bar));
        for event in staff.iter_mut() {
            if event.at < gone {
                event.len = event.len.min(gone - event.at);
            } else {
                event.at -= bar;
            }
        }
        part.symbols.retain(|s| !(gone..gone + bar).contains(&s.0));
        for symbol in part.symbols.iter_mut().filter(|s| s.0 > gone) {
            symbol.0 -= bar;
        }
        part.bars -= 1;
        put(chart, truth, &at, gone - bar, chart.bars * bar);
        truth.detail = format!("lacks bar {}", gone / bar + 1);
        return Some(());
    }
    let by = if truth.kind == "beat-late" {
        chart.meter.beat
    } else {
        bar
    };
    let to = at.to;
    staff.retain(|e| !inside(e, at.from, to) || e.at + by < to);
    for event in staff.iter_mut() {
        if inside(event, at.from, to) {
            event.at += by;
            event.len = event.len.min(to - event.at);
        } else if event.at < at.from {
            event.len = event.len.min(at.from - event.at);
        }
    }
    put(chart, truth, &at, at.from, to);
    Some(())
}

fn pasted(dice: &mut Dice, chart: &Chart, paper: &mut Paper, truth: &mut Truth) -> Option<()> {
    let at = stretch(dice, chart, true, 2)?;
    let from_written = chart.ensemble.players[at.neighbour].to_written();
    let to_written = chart.ensemble.players[at.seat].to_written();
    let by = (to_written.0 - from_written.0, to_written.1 - from_written.1);
    let line: Vec<Event> = paper.parts[at.neighbour].staves[0]
        .iter()
        .filter(|e| inside(e, at.from, at.to))
        .map(|e| moved(e, by))
        .collect();
    let staff = &mut paper.parts[at.seat].staves[0];
    staff.retain(|e| !inside(e, at.from, at.to));
    staff.extend(line);
    staff.sort_by_key(|e| e.at);
    put(chart, truth, &at, at.from, at.to);
    truth.detail = format!("plays {}", chart.parts[at.neighbour].name);
    Some(())
}
