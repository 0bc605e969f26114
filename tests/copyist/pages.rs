//! Slips of bars, signatures, spelling, symbols, tempo and pitch.

use super::dress::{Dressed, EIGHTH, chain, note, note_mut};
use super::slips::{Spot, Truth, anywhere, spots, truth};
use crate::ensembles::bands::{
    ALTO_SAX, BARITONE_SAX, BASSOON, CLARINET, DOUBLE_BASS, ENGLISH_HORN, FLUTE, Instrument, OBOE,
    SOPRANO_SAX, TENOR_SAX, TRUMPET,
};
use crate::ensembles::chart::Symbols;
use crate::ensembles::notes::{Dice, Tone, in_force, key_alter};
use crate::ensembles::sheet::{Item, Note, Sheet, SheetPart};
use crate::ensembles::voicing::{Technique, too_low};
use crate::ensembles::write::tempo;

pub fn first_short(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    shortened(dice, dressed, sheet, 0)
}

pub fn last_short(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    shortened(dice, dressed, sheet, dressed.chart.bars as usize - 1)
}

/// The last note or rest of a bar is left out in one part.
fn shortened(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet, bar: usize) -> Option<Truth> {
    let is_note = |i: &Item| matches!(i, Item::Note(_));
    let free = |p: &&usize| {
        let notes = sheet.parts[**p].bars[bar].iter().filter_map(|i| match i {
            Item::Note(n) => Some(n),
            _ => None,
        });
        let list: Vec<&Note> = notes.collect();
        let last = list.last();
        list.len() > 1
            && list[0].tone.is_some()
            && last.is_some_and(|n| !n.tie_in && !n.tie_out && n.triplet.is_none())
            && last.is_some_and(|n| n.marks.is_empty())
    };
    let horns: Vec<usize> = (0..dressed.chart.horns()).collect();
    let list: Vec<usize> = horns.iter().filter(free).copied().collect();
    if list.is_empty() {
        return None;
    }
    let seat = *dice.pick(&list);
    let items = &mut sheet.parts[seat].bars[bar];
    let last = items.iter().rposition(is_note)?;
    let Item::Note(gone) = items.remove(last) else {
        return None;
    };
    Some(truth(
        dressed,
        &[seat],
        gone.at / EIGHTH,
        "the bar is short",
    ))
}

/// A key signature of its own in a part among like parts.
pub fn key_own(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let parts = &dressed.chart.parts;
    let like = |i: &usize| {
        let same = parts
            .iter()
            .filter(|p| p.instrument == parts[*i].instrument);
        same.count() > 1
    };
    let list: Vec<usize> = (0..dressed.chart.horns()).filter(like).collect();
    if list.is_empty() {
        return None;
    }
    let trumpets = list.iter().filter(|i| parts[**i].instrument == &TRUMPET);
    let trumpets: Vec<usize> = trumpets.copied().collect();
    let seat = *dice.pick(if trumpets.is_empty() {
        &list
    } else {
        &trumpets
    });
    let Some(Item::Attributes(fifths, _)) = sheet.parts[seat].bars[0].first_mut() else {
        return None;
    };
    let others: Vec<i16> = [*fifths - 2, *fifths - 1, *fifths + 1, *fifths + 2, 0]
        .into_iter()
        .filter(|f| f != fifths && f.abs() < 7)
        .collect();
    *fifths = *dice.pick(&others);
    let detail = format!("has {fifths} fifths");
    Some(truth(dressed, &[seat], 0, &detail))
}

/// The same sound on the next letter, where one accidental is enough.
fn respelled(tone: Tone) -> Option<Tone> {
    let each = [tone.moved(1, 0), tone.moved(-1, 0)];
    each.into_iter().find(|t| t.alter().abs() < 2)
}

/// The signature of a part.
fn fifths(part: &SheetPart) -> i16 {
    match part.bars[0].first() {
        Some(Item::Attributes(fifths, _)) => *fifths,
        _ => 0,
    }
}

fn in_key(tone: Tone, fifths: i16) -> bool {
    key_alter(tone.letter.rem_euclid(7), fifths) == tone.alter()
}

/// Struck notes of a part that follow each other.
fn line(part: &SheetPart) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    for (b, bar) in part.bars.iter().enumerate() {
        for (i, item) in bar.iter().enumerate() {
            if matches!(item, Item::Note(n) if n.tone.is_some() && !n.tie_in) {
                out.push((b, i));
            }
        }
    }
    out
}

/// A note of the key between its neighbours by step gets the name of another letter: Cb for B between C
/// and A.
pub fn spelling_line(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let mut found = Vec::new();
    for seat in 0..dressed.chart.horns() {
        let part = &sheet.parts[seat];
        let key = fifths(part);
        for three in line(part).windows(3) {
            let notes = [three[0], three[1], three[2]].map(|p| note(part, p));
            let [Some(a), Some(b), Some(c)] = notes.map(|n| n.tone) else {
                continue;
            };
            let joined = notes[0].at + notes[0].len == notes[1].at
                && notes[1].at + notes[1].len == notes[2].at;
            let steps = (a.letter - b.letter).abs() == 1 && (b.letter - c.letter).abs() == 1;
            let Some(other) = respelled(b) else { continue };
            let worse = other.letter == a.letter || other.letter == c.letter;
            let plain = !notes[1].tie_out && notes[1].triplet.is_none();
            if joined && steps && worse && plain && in_key(b, key) && !in_key(other, key) {
                found.push((seat, three[1], other));
            }
        }
    }
    if found.is_empty() {
        return None;
    }
    let (seat, place, other) = *dice.pick(&found);
    let target = note_mut(&mut sheet.parts[seat], place);
    let was = target.tone.replace(other)?;
    let at = target.at;
    let detail = format!("{} for {}", other.name(), was.name());
    Some(truth(dressed, &[seat], at / EIGHTH, &detail))
}

/// One seat of a unison has the other name of the note.
pub fn spelling_unison(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let doubled = |s: &Spot<'_>| {
        matches!(s.phrase.technique, Technique::Unison | Technique::Octaves)
            && s.next.is_some()
            && s.hit.at != s.phrase.hits[0].at
    };
    let list = spots(dressed).into_iter().filter(doubled).collect();
    anywhere(dice, list, |_, spot| {
        let part = &mut sheet.parts[spot.part];
        let key = fifths(part);
        let place = *chain(part, spot.hit.at).first()?;
        let target = note_mut(part, place);
        let other = respelled(target.tone?)?;
        if target.tie_out || target.triplet.is_some() || in_key(other, key) {
            return None;
        }
        let was = target.tone.replace(other)?;
        let detail = format!("{} for {}", other.name(), was.name());
        Some(spot.truth(dressed, spot.hit.at, &detail))
    })
}

/// A symbol two beats late in one part.
pub fn symbol_late(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let chart = &dressed.chart;
    if chart.symbols != Symbols::All || chart.parts.len() < 3 || chart.meter.beats != 4 {
        return None;
    }
    let changes: Vec<i32> = chart
        .chords
        .windows(2)
        .filter(|w| w[0].chord != w[1].chord && w[1].len == chart.meter.bar)
        .map(|w| w[1].at)
        .collect();
    if changes.is_empty() {
        return None;
    }
    let at = *dice.pick(&changes);
    let seat = dice.roll(chart.parts.len());
    let bar = (at / chart.meter.bar) as usize;
    let symbol = sheet.parts[seat].bars[bar]
        .iter_mut()
        .find_map(|i| match i {
            Item::Symbol(_, offset) => Some(offset),
            _ => None,
        })?;
    *symbol += 4 * EIGHTH;
    let mut truth = truth(dressed, &[seat], at, "the symbol is two beats late");
    truth.slack = 2.01;
    Some(truth)
}

/// The new tempo stands in two or three parts only.
pub fn tempo_some(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let (bar, _) = dressed.tempo?;
    let count = sheet.parts.len();
    if count < 4 {
        return None;
    }
    let mut keep: Vec<usize> = Vec::new();
    while keep.len() < (count - 1) / 2 {
        let seat = 1 + dice.roll(count - 1);
        if !keep.contains(&seat) {
            keep.push(seat);
        }
    }
    let words = "<direction-type><words>Faster</words></direction-type>";
    let mark = words.to_owned() + &tempo(dressed.chart.tempo + 24);
    for (index, part) in sheet.parts.iter_mut().enumerate() {
        let items = &mut part.bars[bar];
        items.retain(|i| !matches!(i, Item::Direction(inside) if inside.contains("metronome")));
        if keep.contains(&index) {
            items.insert(0, Item::Direction(mark.clone()));
        }
    }
    let lacking: Vec<usize> = (0..count).filter(|p| !keep.contains(p)).collect();
    let at = bar as i32 * dressed.chart.meter.bar;
    Some(truth(dressed, &lacking, at, "no new tempo"))
}

/// The lowest sounding notes of instruments (published: orchestration handbooks' range tables).
fn floor(instrument: &Instrument) -> Option<i16> {
    let table = [
        (&TRUMPET, 52),
        (&ALTO_SAX, 49),
        (&TENOR_SAX, 44),
        (&BARITONE_SAX, 36),
        (&SOPRANO_SAX, 56),
        (&FLUTE, 59),
        (&OBOE, 58),
        (&CLARINET, 50),
        (&ENGLISH_HORN, 52),
        (&BASSOON, 34),
    ];
    table.iter().find(|t| t.0 == instrument).map(|t| t.1)
}

/// A note that no player of the instrument has: an octave or two too low.
pub fn range(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let fits = |s: &Spot<'_>| {
        floor(dressed.chart.parts[s.part].instrument).is_some() && s.hit.voices[s.voice].midi < 80
    };
    let list = spots(dressed).into_iter().filter(fits).collect();
    anywhere(dice, list, |_, spot| {
        let low = floor(dressed.chart.parts[spot.part].instrument)?;
        let places = chain(&sheet.parts[spot.part], spot.hit.at);
        let mut down = 0;
        while spot.hit.voices[spot.voice].midi + 12 * down > low - 3 {
            down -= 1;
        }
        let part = &mut sheet.parts[spot.part];
        let one = note(part, *places.first()?);
        if one.triplet.is_some() {
            return None;
        }
        for place in places {
            let tone = note(part, place).tone?;
            note_mut(part, place).tone = Some(tone.octaves(down));
        }
        Some(spot.truth(dressed, spot.hit.at, &format!("{} octaves down", -down)))
    })
}

/// The second voice from below comes down to a third over the lowest, far below where that is clear.
pub fn low_mud(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let fits = |s: &Spot<'_>| {
        let voices = &s.hit.voices;
        let doubled = matches!(s.phrase.technique, Technique::Unison | Technique::Octaves);
        s.voice + 2 == voices.len() && s.hit.len >= 4 && !s.hit.kind.moves() && !doubled
    };
    let list = spots(dressed).into_iter().filter(fits).collect();
    anywhere(dice, list, |_, spot| {
        let lowest = *spot.hit.voices.last()?;
        let chord = spot.hit.chord;
        let over = |t: &Tone| (3..5).contains(&(t.midi - lowest.midi));
        let tones = chord.tones();
        let all = tones
            .iter()
            .flat_map(|d| (-4..3).map(|o| chord.at(*d).plain().octaves(o)));
        let tone = all.into_iter().find(over)?;
        let instrument = dressed.chart.parts[spot.part].instrument;
        if !too_low(tone.midi, lowest.midi - 5) || tone.midi < instrument.range.0 {
            return None;
        }
        let written = instrument.to_written();
        let part = &mut sheet.parts[spot.part];
        for place in chain(part, spot.hit.at) {
            note_mut(part, place).tone = Some(tone.moved(written.0, written.1).plain());
        }
        Some(spot.truth(
            dressed,
            spot.hit.at,
            &format!("{} over {}", tone.name(), lowest.name()),
        ))
    })
}

/// The bass is a half step or a tritone off the symbol on beats 1 and 3.
pub fn bass_contradicts(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let chart = &dressed.chart;
    let bass = chart
        .parts
        .iter()
        .position(|p| p.instrument == &DOUBLE_BASS)?;
    if chart.symbols == Symbols::Absent || chart.meter.beats != 4 {
        return None;
    }
    let by = *dice.pick(&[-1, 1, 6, -6]);
    let mut bars: Vec<i32> = (1..chart.bars - 1).collect();
    while !bars.is_empty() {
        let bar = bars.swap_remove(dice.roll(bars.len()));
        let start = bar * chart.meter.bar;
        let mut new = Vec::new();
        for at in [start, start + 4] {
            let places = chain(&sheet.parts[bass], at);
            let Some(place) = places.first().filter(|_| places.len() == 1) else {
                break;
            };
            let tone = note(&sheet.parts[bass], *place).tone?;
            let moved = Tone::spelled(tone.midi + by, chart.fifths);
            let chord = in_force(&chart.chords, at);
            let tones = chord.tones();
            let allowed = tones.iter().map(|d| chord.at(*d).class());
            let ninth = (chord.root.class() + 2) % 12;
            if allowed
                .into_iter()
                .chain([ninth])
                .all(|c| c != moved.class())
            {
                new.push((*place, moved));
            }
        }
        if new.len() == 2 {
            for (place, tone) in new {
                note_mut(&mut sheet.parts[bass], place).tone = Some(tone);
            }
            let mut truth = truth(dressed, &[bass], start, &format!("{by} semitones off"));
            truth.slack = 2.01;
            return Some(truth);
        }
    }
    None
}

/// One part lacks a bar.
pub fn bar_missing(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let chart = &dressed.chart;
    let mut tries = Vec::new();
    for seat in 0..chart.horns() {
        for bar in 1..chart.bars as usize - 1 {
            let items = &sheet.parts[seat].bars[bar];
            let notes: Vec<&Note> = items
                .iter()
                .filter_map(|i| match i {
                    Item::Note(n) => Some(n),
                    _ => None,
                })
                .collect();
            let tied = notes.iter().any(|n| n.tie_in && notes[0].at == n.at)
                || notes.last().is_some_and(|n| n.tie_out);
            let marked = items.iter().any(|i| matches!(i, Item::Direction(_)))
                || notes
                    .iter()
                    .any(|n| n.marks.iter().any(|m| m.contains("slur")));
            if !tied && !marked && notes.iter().filter(|n| n.tone.is_some()).count() > 1 {
                tries.push((seat, bar));
            }
        }
    }
    if tries.is_empty() {
        return None;
    }
    let (seat, bar) = *dice.pick(&tries);
    sheet.parts[seat].bars.remove(bar);
    let at = bar as i32 * chart.meter.bar;
    let mut truth = truth(dressed, &[seat], at, &format!("lacks bar {}", bar + 1));
    truth.slack = 0.01;
    Some(truth)
}
