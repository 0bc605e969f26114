//! A chart as a copyist finishes it: dynamics, slurs, dots, hairpins, triplets, ties over the middle of
//! the bar, a new tempo. All players of a phrase have the same. Common practice, no source.

use crate::ensembles::chart::{Chart, Hit, Phrase, chart};
use crate::ensembles::notes::{Dice, Tone, key_alter};
use crate::ensembles::sheet::{Item, Note, Sheet, SheetPart};
use crate::ensembles::write::{dynamic, paper, sheet, tempo};

/// Units of an eighth; a quarter has twelve.
pub const EIGHTH: i32 = 6;

/// A chart with its marks.
pub struct Dressed {
    pub chart: Chart,
    pub sheet: Sheet,
    /// The bar with a new tempo, 0-based, and whether every part has it.
    pub tempo: Option<(usize, bool)>,
    /// Hits with a mark, by their eighth.
    pub marks: Vec<(i32, Mark)>,
}

/// What all players of a hit have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    Articulation(&'static str),
    /// It ends at this eighth.
    Slur(i32),
    /// It ends at this eighth.
    Hairpin(i32),
    Triplet,
    /// A tie over the middle of the bar.
    Tie,
    Dynamic,
}

pub fn dressed(seed: u64) -> Dressed {
    let mut chart = chart(seed);
    hold_ends(&mut chart);
    let mut sheet = sheet(&paper(&chart)).finer(EIGHTH);
    let mut dice = Dice::new(seed + 7_000_000);
    let mut marks = Vec::new();
    for bar in sheet.parts.iter_mut().flat_map(|p| &mut p.bars) {
        bar.retain(|i| !matches!(i, Item::Direction(inside) if inside.contains("dynamics")));
    }
    for part in &mut sheet.parts {
        spell(part);
    }
    dynamics(&mut dice, &chart, &mut sheet, &mut marks);
    for phrase in &chart.phrases {
        let seats = phrase.hits.first().map_or(&[][..], |h| h.seats);
        let sung = seats.iter().any(|s| chart.parts[*s].instrument.sung);
        let mut mine = articulations(&mut dice, phrase, sung);
        mine.extend(slur(&mut dice, phrase, sung));
        mine.extend(hairpin(&mut dice, phrase));
        mine.extend(divided(&mut dice, &chart, phrase));
        for seat in seats {
            for (at, mark) in &mine {
                put(&mut sheet.parts[*seat], *at, *mark);
            }
        }
        marks.extend(mine);
    }
    let tempo = new_tempo(&mut dice, &chart, &mut sheet);
    Dressed {
        chart,
        sheet,
        tempo,
        marks,
    }
}

/// A choir holds the last chord of a phrase to the end of the bar.
fn hold_ends(chart: &mut Chart) {
    let bar = chart.meter.bar;
    for phrase in &mut chart.phrases {
        let Some(last) = phrase.hits.last_mut() else {
            continue;
        };
        let end = (phrase.bar + phrase.bars) * bar;
        let changes = chart.chords.iter().any(|c| c.at > last.at && c.at < end);
        let sung = last.seats.iter().all(|s| chart.parts[*s].instrument.sung);
        if !sung || changes || last.at % bar > 0 {
            continue;
        }
        for seat in last.seats {
            let events = &mut chart.parts[*seat].staves[0];
            if let Some(event) = events.iter_mut().find(|e| e.at == last.at) {
                event.len = end - last.at;
            }
        }
        last.len = end - last.at;
    }
}

/// Of two names the copyist takes the one that the signature has, or the natural, but before the next letter a
/// half step away.
fn spell(part: &mut SheetPart) {
    let fifths = match part.bars[0].first() {
        Some(Item::Attributes(fifths, _)) => *fifths,
        _ => 0,
    };
    let in_key = |t: Tone| key_alter(t.letter.rem_euclid(7), fifths) == t.alter();
    let mut places = Vec::new();
    for (b, bar) in part.bars.iter().enumerate() {
        let notes = bar.iter().enumerate();
        let notes = notes.filter(|(_, i)| matches!(i, Item::Note(n) if n.tone.is_some()));
        places.extend(notes.map(|(i, _)| (b, i)));
    }
    for (index, place) in places.iter().enumerate() {
        let tone = note(part, *place).tone.unwrap();
        let next = places.get(index + 1).and_then(|p| note(part, *p).tone);
        let leads = next.is_some_and(|n| {
            (n.midi - tone.midi).abs() == 1 && (n.letter - tone.letter).abs() == 1
        });
        let other = [tone.moved(1, 0), tone.moved(-1, 0)]
            .into_iter()
            .find(|t| in_key(*t) || t.alter() == 0);
        if let Some(other) = other.filter(|_| !in_key(tone) && !leads) {
            note_mut(part, *place).tone = Some(other);
        }
    }
}

const LOUDNESS: [&str; 5] = ["p", "mp", "mf", "f", "ff"];

/// Each phrase has a dynamic of its own; piano and bass have one at their first note.
fn dynamics(dice: &mut Dice, chart: &Chart, sheet: &mut Sheet, marks: &mut Vec<(i32, Mark)>) {
    let mut last = "";
    for phrase in &chart.phrases {
        let others: Vec<&str> = LOUDNESS.into_iter().filter(|l| *l != last).collect();
        last = others[dice.roll(others.len())];
        let bars = phrase.bar as usize..(phrase.bar + phrase.bars) as usize;
        for part in &mut sheet.parts[..chart.horns()] {
            say(part, bars.clone(), last);
        }
        marks.extend(phrase.hits.first().map(|h| (h.at, Mark::Dynamic)));
    }
    for part in &mut sheet.parts[chart.horns()..] {
        say(part, 0..chart.bars as usize, "mf");
    }
}

/// Puts a dynamic over the first note in some bars, where none stands in them yet.
fn say(part: &mut SheetPart, bars: std::ops::Range<usize>, mark: &str) {
    for bar in &mut part.bars[bars] {
        let struck = |i: &Item| matches!(i, Item::Note(n) if n.tone.is_some() && !n.tie_in);
        let said = |i: &Item| matches!(i, Item::Direction(inside) if inside.contains("dynamics"));
        if bar.iter().any(said) {
            return;
        }
        if let Some(at) = bar.iter().position(struck) {
            bar.insert(at, Item::Direction(dynamic(mark)));
            return;
        }
    }
}

/// All keep time together until here, so that marks have to match.
fn articulations(dice: &mut Dice, phrase: &Phrase, sung: bool) -> Vec<(i32, Mark)> {
    let mut out = Vec::new();
    for hit in &phrase.hits {
        let (chance, mark) = match hit.len {
            1 => (35, "staccato"),
            2 => (15, *dice.pick(&["accent", "tenuto"])),
            _ => (10, "accent"),
        };
        if dice.chance(if sung { chance / 3 } else { chance }) {
            out.push((hit.at, Mark::Articulation(mark)));
        }
    }
    out
}

/// A slur over two to four notes that follow each other and move in every voice.
fn slur(dice: &mut Dice, phrase: &Phrase, sung: bool) -> Option<(i32, Mark)> {
    if sung || !dice.chance(70) || phrase.hits.len() < 2 {
        return None;
    }
    let from = dice.roll(phrase.hits.len() - 1);
    let most = 1 + dice.roll(3);
    let moves = |w: &[Hit]| {
        let voices = w[0].voices.iter().zip(&w[1].voices);
        w[0].at + w[0].len == w[1].at && voices.into_iter().all(|(a, b)| a.midi != b.midi)
    };
    let run = phrase.hits[from..].windows(2).take_while(|w| moves(w));
    let count = run.take(most).count();
    (count > 0).then(|| {
        (
            phrase.hits[from].at,
            Mark::Slur(phrase.hits[from + count].at),
        )
    })
}

fn hairpin(dice: &mut Dice, phrase: &Phrase) -> Option<(i32, Mark)> {
    if !dice.chance(30) || phrase.hits.len() < 4 {
        return None;
    }
    let from = 1 + dice.roll(phrase.hits.len() - 3);
    let (first, last) = (&phrase.hits[from], &phrase.hits[from + 2]);
    Some((first.at, Mark::Hairpin(last.at)))
}

/// Some quarters become a triplet of eighths, some long notes are tied over the middle of the bar.
fn divided(dice: &mut Dice, chart: &Chart, phrase: &Phrase) -> Vec<(i32, Mark)> {
    let mut out = Vec::new();
    if chart.meter.unit != 4 {
        return out;
    }
    let beat = |h: &&Hit| h.at % 2 == 0;
    let quarters: Vec<&Hit> = phrase
        .hits
        .iter()
        .filter(|h| h.len == 2)
        .filter(beat)
        .collect();
    if !quarters.is_empty() && dice.chance(40) {
        out.push((dice.pick(&quarters).at, Mark::Triplet));
    }
    let over = |h: &&Hit| {
        let at = h.at % chart.meter.bar;
        at > 0
            && at < chart.meter.half
            && at + h.len > chart.meter.half
            && at + h.len <= chart.meter.bar
    };
    for hit in phrase.hits.iter().filter(over) {
        if dice.chance(60) {
            out.push((hit.at, Mark::Tie));
        }
    }
    out
}

/// Where the notes of a part that sound from an eighth on stand: bar and index.
pub fn chain(part: &SheetPart, at: i32) -> Vec<(usize, usize)> {
    let mut out: Vec<(usize, usize)> = Vec::new();
    let mut next = at * EIGHTH;
    for (b, bar) in part.bars.iter().enumerate() {
        for (i, item) in bar.iter().enumerate() {
            let Item::Note(note) = item else { continue };
            let first = out.is_empty() && !note.tie_in;
            if note.tone.is_some() && note.at == next && (first || !out.is_empty() && note.tie_in) {
                out.push((b, i));
                next += note.len;
                if !note.tie_out {
                    return out;
                }
            }
        }
    }
    out
}

pub fn note_mut(part: &mut SheetPart, place: (usize, usize)) -> &mut Note {
    match &mut part.bars[place.0][place.1] {
        Item::Note(note) => note,
        other => panic!("no note: {other:?}"),
    }
}

pub fn note(part: &SheetPart, place: (usize, usize)) -> &Note {
    match &part.bars[place.0][place.1] {
        Item::Note(note) => note,
        other => panic!("no note: {other:?}"),
    }
}

fn put(part: &mut SheetPart, at: i32, mark: Mark) {
    let chain_at = chain(part, at);
    let Some(first) = chain_at.first().copied() else {
        return;
    };
    match mark {
        Mark::Articulation(name) => {
            let mark = format!("<articulations><{name}/></articulations>");
            note_mut(part, first).marks.push(mark);
        }
        Mark::Slur(to) => {
            let last = *chain(part, to).last().unwrap();
            let slur = |kind: &str| format!("<slur type=\"{kind}\" number=\"1\"/>");
            note_mut(part, first).marks.insert(0, slur("start"));
            note_mut(part, last).marks.insert(0, slur("stop"));
        }
        Mark::Hairpin(to) => {
            let last = chain(part, to)[0];
            let wedge = |kind: &str| {
                Item::Direction(format!(
                    "<direction-type><wedge type=\"{kind}\"/></direction-type>"
                ))
            };
            part.bars[last.0].insert(last.1, wedge("stop"));
            part.bars[first.0].insert(first.1, wedge("crescendo"));
        }
        Mark::Triplet => {
            let whole = note(part, first).clone();
            if chain_at.len() > 1 || whole.len != 2 * EIGHTH {
                return;
            }
            let third = |place: u8| {
                let mut note = whole.clone();
                note.len = whole.len / 3;
                note.at += i32::from(place) * note.len;
                note.triplet = Some(place);
                if place > 0 {
                    note.marks.retain(|m| m.contains("staccato"));
                }
                Item::Note(note)
            };
            part.bars[first.0].splice(first.1..=first.1, [third(0), third(1), third(2)]);
        }
        Mark::Tie => {
            let whole = note(part, first).clone();
            let bar = part.bars[first.0].iter().find_map(|i| match i {
                Item::Note(n) => Some(n.at),
                _ => None,
            });
            let half = bar.unwrap() + 4 * EIGHTH;
            if chain_at.len() > 1 || !(whole.at + 1..whole.at + whole.len).contains(&half) {
                return;
            }
            let mut head = whole.clone();
            let mut tail = whole;
            head.len = half - head.at;
            tail.len -= head.len;
            tail.at = half;
            (head.tie_out, tail.tie_in) = (true, true);
            let stops = |m: &String| m.contains("slur type=\"stop\"");
            tail.marks.retain(stops);
            head.marks.retain(|m| !stops(m));
            part.bars[first.0].splice(first.1..=first.1, [Item::Note(head), Item::Note(tail)]);
        }
        Mark::Dynamic => {}
    }
}

/// A new tempo where a phrase begins, in all parts or over the first only.
fn new_tempo(dice: &mut Dice, chart: &Chart, sheet: &mut Sheet) -> Option<(usize, bool)> {
    if !dice.chance(70) {
        return None;
    }
    let phrase = dice.pick(&chart.phrases[1..]);
    let all = dice.chance(60);
    let words = "<direction-type><words>Faster</words></direction-type>";
    let parts = if all { sheet.parts.len() } else { 1 };
    let bar = phrase.bar as usize;
    for (index, part) in sheet.parts[..parts].iter_mut().enumerate() {
        if all && index > 0 {
            part.bars[0].insert(1, Item::Direction(tempo(chart.tempo)));
        }
        let mark = words.to_owned() + &tempo(chart.tempo + 24);
        part.bars[bar].insert(0, Item::Direction(mark));
    }
    Some((bar, all))
}
