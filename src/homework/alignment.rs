//! How a student's score stands against the key, and the key's chord symbols and technique laid on it.

use super::key::{Key, KeySection, Quarters, lead_voice};
use crate::diagnosis::{Passage, speaks_of_technique};
use crate::ground::pitch::{Pitch, Transposition};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::score::{ChordMark, Mark, Place, Score, Shared, Stated};
use num_rational::Ratio;
use std::collections::{BTreeMap, BTreeSet};

/// How far a student's bars may be moved against the key's, when the first are missing.
const MOST_BARS: i64 = 8;

/// How a student's score lies against the key: the interval it is moved by, and by how many bars.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Alignment {
    pub by: Transposition,
    pub bars: i64,
}

/// Each line of the key with the student's section (0-based) that answers it: the one of the same
/// name, else the one with most in it that is still free.
pub(super) fn pairs<'k>(key: &'k Key, written: &[Passage]) -> Vec<(&'k KeySection, Option<usize>)> {
    let mut free: BTreeSet<usize> = (0..written.len()).collect();
    let mut out = Vec::new();
    for key_section in &key.sections {
        let size = |i: &usize| {
            written.get(*i).map_or((false, false, 0), |p| {
                let blocks = p.in_force.iter().any(Option::is_some);
                (
                    p.section.key == key_section.section,
                    blocks,
                    p.sonorities.len(),
                )
            })
        };
        let chosen = free.iter().copied().rev().max_by_key(size);
        if let Some(i) = chosen {
            free.remove(&i);
        }
        out.push((key_section, chosen));
    }
    out
}

/// Where most of the melody agrees with the key's.
pub(super) fn align(score: &Score, pairs: &[(&KeySection, Option<usize>)]) -> Alignment {
    let per_quarter = score.per_quarter.0.max(1);
    let mut own: BTreeMap<(i64, Quarters), Pitch> = BTreeMap::new();
    let sections = crate::sonority::sections(score);
    for section in pairs
        .iter()
        .filter_map(|(_, i)| i.and_then(|i| sections.get(i)))
    {
        for sonority in crate::sonority::slice(score, section) {
            if let Some(lead) = lead_voice(&sonority).filter(|v| v.attacked) {
                let offset = Ratio::new(sonority.at.offset.0, per_quarter);
                own.insert((i64::from(sonority.at.bar), offset), lead.pitch);
            }
        }
    }
    let notes = || pairs.iter().flat_map(|(l, _)| &l.notes);
    let mut best = (0, Alignment::default());
    for bars in std::iter::once(0).chain((1..=MOST_BARS).flat_map(|n| [-n, n])) {
        let mut votes: BTreeMap<i16, (usize, Transposition)> = BTreeMap::new();
        let mut met = 0;
        for key_note in notes() {
            if let Some(pitch) = own.get(&(key_note.bar + bars, key_note.offset)) {
                met += 1;
                let by = Transposition {
                    diatonic: pitch.diatonic() - key_note.lead.diatonic(),
                    chromatic: pitch.midi() - key_note.lead.midi(),
                };
                votes.entry(by.chromatic).or_insert((0, by)).0 += 1;
            }
        }
        // Another key is one only when most of what is there lies in it.
        let most = votes.values().max_by_key(|(n, by)| (*n, by.chromatic == 0));
        let Some((n, by)) = most.copied() else {
            continue;
        };
        let in_place = votes.get(&0).map_or(0, |v| v.0);
        let moved = by.chromatic != 0 && n >= 3 && n * 10 >= met * 6;
        let (agreed, by) = if moved {
            (n, by)
        } else {
            (in_place, Transposition::NONE)
        };
        if agreed > best.0 {
            best = (agreed, Alignment { by, bars });
        }
    }
    best.1
}

/// The student's score under the key's chord symbols, held to the key's technique.
pub(super) fn under_key(mut score: Score, key: &Key, alignment: Alignment) -> Score {
    let ratio = |offset: Ticks| -> Option<Ticks> {
        let quarters = Ratio::new(offset.0, key.score.per_quarter.0.max(1));
        let ticks = quarters * score.per_quarter.0;
        ticks.is_integer().then(|| Ticks(ticks.to_integer()))
    };
    let placed = |at: Place| -> Option<Place> {
        let bar = i64::from(at.bar) + alignment.bars;
        if bar < 0 {
            return Some(Place::default());
        }
        Some(Place {
            bar: u32::try_from(bar).ok()?,
            offset: ratio(at.offset)?,
        })
    };
    let mut chords: Vec<_> = key
        .score
        .chords
        .iter()
        .filter_map(|m| {
            let mut value = m.value.clone();
            value.chord = value.chord.map(|c| c.transposed(alignment.by));
            Some(Mark::new(placed(m.at)?, value, Span::default()))
        })
        .collect();
    // Of several that were moved to the start, the last is in force there.
    chords.reverse();
    let mut taken = BTreeSet::new();
    chords.retain(|m| taken.insert(m.at));
    chords.reverse();
    let bars = score.parts.iter().map(|p| p.bars.len()).max().unwrap_or(0);
    chords.retain(|m| (m.at.bar as usize) < bars);
    let section = score.stated.iter().find_map(|m| m.value.section.clone());
    let mut stated: Vec<Mark<Stated>> = vec![Mark::new(
        Place::default(),
        Stated {
            section,
            technique: None,
        },
        Span::default(),
    )];
    let mut last = None;
    let mut any = false;
    // What several sections are in cannot be said for all of them together: there the words over the
    // staves and what fits decide, as without a key.
    let alone = key.sections.len() == 1;
    for key_note in key.sections.iter().filter(|_| alone).flat_map(|l| &l.notes) {
        any |= key_note.technique.is_some();
        if key_note.technique.is_some()
            && key_note.technique != last
            && let Some(at) = placed(key_note.at)
        {
            last = key_note.technique;
            stated.push(Mark::new(
                at,
                Stated {
                    section: None,
                    technique: key_note.technique.map(|t| t.name().to_owned()),
                },
                Span::default(),
            ));
        }
    }
    let mut chords = Shared::from(chords);
    for part in &mut score.parts {
        part.chords = std::mem::take(&mut chords);
        if any {
            part.words.retain(|w| !speaks_of_technique(&w.value.text));
        }
    }
    if any {
        score.stated = stated;
    }
    score.lay_out();
    score
}

/// Whether the student's own chord symbols say anything else than the key's.
pub(super) fn differs(laid: &Score, own: &[Mark<ChordMark>]) -> bool {
    own.iter().any(|m| {
        let onset = laid
            .bars
            .get(m.at.bar as usize)
            .map_or(Ticks::ZERO, |b| b.start + m.at.offset);
        let theirs = m.value.chord.as_ref();
        let keys = laid.chord_at(onset).and_then(|k| k.value.chord.as_ref());
        theirs.map(|c| (c.root, &c.degrees, c.bass)) != keys.map(|c| (c.root, &c.degrees, c.bass))
    })
}
