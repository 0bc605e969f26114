//! One copyist's slip in a dressed chart. Each is made on the page, where copyists make them.

use super::dress::{Dressed, EIGHTH, Mark, chain, note, note_mut};
use super::pages;
use crate::ensembles::chart::{Hit, Phrase};
use crate::ensembles::notes::Dice;
use crate::ensembles::sheet::{Item, Sheet};

/// What was done, and where it has to be found.
#[derive(Clone, Debug)]
pub struct Truth {
    /// Indices of the parts at fault.
    pub parts: Vec<usize>,
    /// 1-based.
    pub bar: i32,
    pub beat: f64,
    /// How far from that beat it may be told.
    pub slack: f64,
    pub detail: String,
}

pub type Slip = fn(&mut Dice, &Dressed, &mut Sheet) -> Option<Truth>;

/// A kind of slip.
pub struct Kind {
    pub name: &'static str,
    /// The rules that name it rightly.
    pub rules: &'static [&'static str],
    pub slip: Slip,
    /// Choirs make it too.
    pub sung: bool,
}

const fn kind(name: &'static str, rules: &'static [&'static str], slip: Slip, sung: bool) -> Kind {
    Kind {
        name,
        rules,
        slip,
        sung,
    }
}

pub static KINDS: [Kind; 21] = [
    kind("first-bar-short", &["bar-length"], pages::first_short, true),
    kind("last-bar-short", &["bar-length"], pages::last_short, true),
    kind("tie-open", &["tie-mismatch"], tie_open, true),
    kind("short-inner", &["rhythm-unison"], short_inner, true),
    kind("split-inner", &["rhythm-unison"], split_inner, true),
    kind("slur-missing", &["slur-agreement"], slur_missing, false),
    kind(
        "mark-missing",
        &["articulation-agreement"],
        mark_missing,
        true,
    ),
    kind(
        "hairpin-missing",
        &["dynamic-agreement"],
        hairpin_missing,
        true,
    ),
    kind(
        "dynamic-missing",
        &["dynamic-agreement", "entry-dynamic"],
        dynamic_missing,
        true,
    ),
    kind(
        "key-own",
        &["key-signature-agreement"],
        pages::key_own,
        false,
    ),
    kind("spelling-line", &["spelling"], pages::spelling_line, true),
    kind(
        "spelling-unison",
        &["spelling"],
        pages::spelling_unison,
        true,
    ),
    kind("pad-short", &["rhythm-unison"], pad_short, true),
    kind(
        "triplet-straight",
        &["rhythm-unison"],
        triplet_straight,
        true,
    ),
    kind("struck-again", &["rhythm-unison"], struck_again, true),
    kind(
        "symbol-late",
        &["chord-symbol-agreement"],
        pages::symbol_late,
        true,
    ),
    kind("tempo-some", &["tempo-agreement"], pages::tempo_some, true),
    kind("range", &["written-range"], pages::range, false),
    kind("low-mud", &["low-interval"], pages::low_mud, false),
    kind(
        "bass-contradicts",
        &["bass-against-symbol"],
        pages::bass_contradicts,
        false,
    ),
    kind("bar-missing", &["bar-count"], pages::bar_missing, true),
];

/// One player of a hit.
#[derive(Clone, Copy)]
pub struct Spot<'a> {
    pub phrase: &'a Phrase,
    pub hit: &'a Hit,
    /// The hit after it in the phrase.
    pub next: Option<&'a Hit>,
    /// 0 is the top voice.
    pub voice: usize,
    /// The part that has the voice.
    pub part: usize,
}

/// All players of all hits of phrases for three or more.
pub fn spots(dressed: &Dressed) -> Vec<Spot<'_>> {
    let mut out = Vec::new();
    for phrase in &dressed.chart.phrases {
        for (index, hit) in phrase.hits.iter().enumerate() {
            let next = phrase.hits.get(index + 1);
            let seats = hit.seats.iter().enumerate().filter(|_| hit.seats.len() > 2);
            out.extend(seats.map(|(voice, part)| Spot {
                phrase,
                hit,
                next,
                voice,
                part: *part,
            }));
        }
    }
    out
}

impl Spot<'_> {
    pub fn truth(&self, dressed: &Dressed, at: i32, detail: &str) -> Truth {
        truth(dressed, &[self.part], at, detail)
    }
}

/// At an eighth from the start.
pub fn truth(dressed: &Dressed, parts: &[usize], at: i32, detail: &str) -> Truth {
    let (bar, beat) = dressed.chart.meter.place(at);
    let names: Vec<&str> = parts
        .iter()
        .map(|p| dressed.chart.parts[*p].name.as_str())
        .collect();
    Truth {
        parts: parts.to_vec(),
        bar,
        beat,
        slack: 0.01,
        detail: format!("{}: {detail}", names.join(" + ")),
    }
}

/// Tries a change at spots in random order until one can be made.
pub fn anywhere<'a>(
    dice: &mut Dice,
    mut spots: Vec<Spot<'a>>,
    mut make: impl FnMut(&mut Dice, Spot<'a>) -> Option<Truth>,
) -> Option<Truth> {
    while !spots.is_empty() {
        let at = dice.roll(spots.len());
        let spot = spots.swap_remove(at);
        let made = make(dice, spot);
        if made.is_some() {
            return made;
        }
    }
    None
}

/// Cuts a note and writes a rest for the rest of it.
fn cut(sheet: &mut Sheet, part: usize, place: (usize, usize), len: i32) {
    let part = &mut sheet.parts[part];
    let whole = note(part, place).clone();
    let mut rest = whole.clone();
    rest.tone = None;
    rest.at += len;
    rest.len -= len;
    rest.tie_in = false;
    rest.tie_out = false;
    rest.marks.clear();
    let mut short = whole;
    short.len = len;
    short.tie_out = false;
    part.bars[place.0].splice(place.1..=place.1, [Item::Note(short), Item::Note(rest)]);
}

/// Half of a tie: the other end is missing on the same note, or a note is tied to its repetition.
fn tie_open(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let repeats = dice.chance(50);
    anywhere(dice, spots(dressed), |_, spot| {
        let part = &mut sheet.parts[spot.part];
        let places = chain(part, spot.hit.at);
        if repeats {
            let next = spot.next.filter(|n| n.at == spot.hit.at + spot.hit.len)?;
            if next.voices[spot.voice] != spot.hit.voices[spot.voice] {
                return None;
            }
            let last = *places.last()?;
            let at = note(part, last).at;
            if at % EIGHTH != 0 || note(part, last).triplet.is_some() {
                return None;
            }
            note_mut(part, last).tie_out = true;
            return Some(spot.truth(dressed, at / EIGHTH, "tied to a note that is struck"));
        }
        let second = *places.get(1)?;
        note_mut(part, second).tie_in = false;
        let at = note(part, places[0]).at / EIGHTH;
        Some(spot.truth(dressed, at, "the tie has no end"))
    })
}

/// An eighth and a rest for the quarter of the others; not at the end of the phrase.
fn short_inner(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let fits = |s: &Spot<'_>| {
        let goes_on = s.next.is_some_and(|n| n.at == s.hit.at + s.hit.len);
        s.hit.len == 2 && s.voice > 0 && goes_on && !marked(dressed, s.hit.at)
    };
    let list = spots(dressed).into_iter().filter(fits).collect();
    anywhere(dice, list, |_, spot| {
        let place = only(sheet, spot, 2)?;
        cut(sheet, spot.part, place, EIGHTH);
        Some(spot.truth(dressed, spot.hit.at, "an eighth and a rest"))
    })
}

/// The hit has a mark that changes lengths or notes.
fn marked(dressed: &Dressed, at: i32) -> bool {
    let here = dressed.marks.iter().filter(|m| m.0 == at);
    here.into_iter()
        .any(|m| matches!(m.1, Mark::Triplet | Mark::Articulation("staccato")))
}

/// The note of a spot where it is one note as long as the hit.
fn only(sheet: &Sheet, spot: Spot<'_>, len: i32) -> Option<(usize, usize)> {
    let part = &sheet.parts[spot.part];
    let places = chain(part, spot.hit.at);
    let one = (places.len() == 1).then(|| places[0])?;
    (note(part, one).len == len * EIGHTH).then_some(one)
}

/// Two eighths for the quarter, two quarters for the half.
fn split_inner(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let fits =
        |s: &Spot<'_>| matches!(s.hit.len, 2 | 4) && s.voice > 0 && !marked(dressed, s.hit.at);
    let list = spots(dressed).into_iter().filter(fits).collect();
    anywhere(dice, list, |_, spot| {
        let place = only(sheet, spot, spot.hit.len)?;
        let part = &mut sheet.parts[spot.part];
        let mut first = note(part, place).clone();
        if first.marks.iter().any(|m| m.contains("slur")) {
            return None;
        }
        let mut second = first.clone();
        first.len /= 2;
        second.len /= 2;
        second.at += first.len;
        second.marks.clear();
        part.bars[place.0].splice(place.1..=place.1, [Item::Note(first), Item::Note(second)]);
        let at = spot.hit.at + spot.hit.len / 2;
        Some(spot.truth(dressed, at, "the note is struck twice"))
    })
}

/// The players of a mark of some kind.
fn with_mark(dressed: &Dressed, wanted: fn(Mark) -> bool) -> Vec<Spot<'_>> {
    let has = |s: &Spot<'_>| {
        let mut here = dressed.marks.iter().filter(|m| m.0 == s.hit.at);
        here.any(|m| wanted(m.1))
    };
    spots(dressed).into_iter().filter(has).collect()
}

fn slur_missing(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let list = with_mark(dressed, |m| matches!(m, Mark::Slur(_)));
    anywhere(dice, list, |_, spot| {
        let to = dressed.marks.iter().find_map(|m| match m {
            (at, Mark::Slur(to)) if *at == spot.hit.at => Some(*to),
            _ => None,
        })?;
        let part = &mut sheet.parts[spot.part];
        for place in chain(part, spot.hit.at).into_iter().chain(chain(part, to)) {
            note_mut(part, place).marks.retain(|m| !m.contains("slur"));
        }
        Some(spot.truth(dressed, spot.hit.at, "no slur"))
    })
}

fn mark_missing(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let list = with_mark(dressed, |m| matches!(m, Mark::Articulation(_)));
    anywhere(dice, list, |_, spot| {
        let part = &mut sheet.parts[spot.part];
        let first = *chain(part, spot.hit.at).first()?;
        if note(part, first).triplet.is_some() {
            return None;
        }
        let marks = &mut note_mut(part, first).marks;
        marks.retain(|m| !m.contains("articulations"));
        Some(spot.truth(dressed, spot.hit.at, "no mark"))
    })
}

fn hairpin_missing(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let list = with_mark(dressed, |m| matches!(m, Mark::Hairpin(_)));
    anywhere(dice, list, |_, spot| {
        let part = &mut sheet.parts[spot.part];
        let bars = spot.phrase.bar as usize..(spot.phrase.bar + spot.phrase.bars) as usize;
        for bar in &mut part.bars[bars] {
            bar.retain(|i| !matches!(i, Item::Direction(inside) if inside.contains("wedge")));
        }
        Some(spot.truth(dressed, spot.hit.at, "no hairpin"))
    })
}

fn dynamic_missing(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let list = with_mark(dressed, |m| m == Mark::Dynamic);
    anywhere(dice, list, |_, spot| {
        let part = &mut sheet.parts[spot.part];
        let (bar, index) = *chain(part, spot.hit.at).first()?;
        let before = part.bars[bar][..index].iter();
        let says = |i: &Item| matches!(i, Item::Direction(inside) if inside.contains("dynamics"));
        let at = before.clone().position(says)?;
        part.bars[bar].remove(at);
        Some(spot.truth(dressed, spot.hit.at, "no dynamic"))
    })
}

/// A held chord loses a voice two beats early.
fn pad_short(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    if dressed.chart.meter.unit != 4 {
        return None;
    }
    let list = spots(dressed)
        .into_iter()
        .filter(|s| s.hit.len >= 6)
        .collect();
    anywhere(dice, list, |_, spot| {
        let places = chain(&sheet.parts[spot.part], spot.hit.at);
        let last = *places.last()?;
        let len = note(&sheet.parts[spot.part], last).len;
        match len - 4 * EIGHTH {
            1.. => cut(sheet, spot.part, last, len - 4 * EIGHTH),
            0 if places.len() > 1 => {
                let part = &mut sheet.parts[spot.part];
                let rest = note_mut(part, last);
                rest.tone = None;
                rest.tie_in = false;
                rest.marks.clear();
                note_mut(part, places[places.len() - 2]).tie_out = false;
            }
            _ => return None,
        }
        Some(spot.truth(dressed, spot.hit.at, "two beats short"))
    })
}

/// Two straight eighths under the triplet of the others.
fn triplet_straight(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    let list = with_mark(dressed, |m| m == Mark::Triplet);
    anywhere(dice, list, |_, spot| {
        let part = &mut sheet.parts[spot.part];
        let (bar, at) = *chain(part, spot.hit.at).first()?;
        let mut first = note(part, (bar, at)).clone();
        first.triplet.filter(|t| *t == 0)?;
        first.triplet = None;
        first.len = EIGHTH;
        let mut second = note(part, (bar, at + 1)).clone();
        second.triplet = None;
        second.len = EIGHTH;
        second.at = first.at + EIGHTH;
        part.bars[bar].splice(at..at + 3, [Item::Note(first), Item::Note(second)]);
        let mut truth = spot.truth(dressed, spot.hit.at, "two eighths for the triplet");
        truth.slack = 0.99;
        Some(truth)
    })
}

/// A note struck again that the others hold by a tie.
fn struck_again(dice: &mut Dice, dressed: &Dressed, sheet: &mut Sheet) -> Option<Truth> {
    anywhere(dice, spots(dressed), |_, spot| {
        let part = &mut sheet.parts[spot.part];
        let places = chain(part, spot.hit.at);
        let (head, tail) = (*places.first()?, *places.get(1)?);
        note_mut(part, head).tie_out = false;
        let again = note_mut(part, tail);
        again.tie_in = false;
        let at = again.at / EIGHTH;
        Some(spot.truth(dressed, at, "struck again"))
    })
}
