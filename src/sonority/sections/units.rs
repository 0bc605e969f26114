//! The units that sections are made of: named sections, and single instruments of those that only the name
//! holds together; each with when its parts strike.

use super::{Section, SectionPart};
use crate::ground::instrument::{Catalogue, Family, Member, Property};
use crate::ground::time::Ticks;
use crate::score::{NoteFlags, Part, Score};

/// A note struck, its ties followed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Strike {
    pub(super) onset: Ticks,
    pub(super) end: Ticks,
    /// Sounding semitones.
    pub(super) midi: i16,
}

/// What never joins others, or parts that do.
pub(super) struct Unit {
    pub(super) section: Section,
    /// When each part strikes, in the order of the section's parts; none where it never joins others.
    pub(super) strikes: Vec<Vec<Strike>>,
    /// The family of its instruments.
    pub(super) family: Option<Family>,
    /// How many players its name speaks of, when it is the instrument's.
    players: bool,
}

impl Unit {
    /// Whether it may join others.
    pub(super) fn is_melodic(&self) -> bool {
        !self.strikes.is_empty()
    }

    /// How it is called among several.
    pub(super) fn member<'c>(&self, catalogue: &'c Catalogue) -> Option<Member<'c>> {
        let instrument = self.section.parts.first()?.instrument?;
        let count = self.section.parts.len();
        if self.players || count == 1 {
            let own = catalogue.instrument(&instrument.key)?;
            return Some(Member::Players(own, count));
        }
        catalogue.section(&self.section.key).map(Member::Section)
    }

    /// The strikes of a part from `from` on, before `to`.
    pub(super) fn between(&self, part: usize, from: Ticks, to: Ticks) -> &[Strike] {
        let Some(all) = self.strikes.get(part) else {
            return &[];
        };
        let a = all.partition_point(|s| s.onset < from);
        let b = all.partition_point(|s| s.onset < to);
        all.get(a..b).unwrap_or_default()
    }
}

/// Splits what only the name holds together, and listens to all that may join.
pub(super) fn units(score: &Score, named: Vec<Section>) -> Vec<Unit> {
    // One section with nobody beside it has nothing to join, and nothing to be split from.
    let melodic = named.iter().filter(|s| may_join(score, s)).count();
    let splits = |s: &Section| s.is(Property::GroupedByName) && instruments(s).len() > 1;
    let needed = melodic > 1 || named.iter().any(splits);
    let mut units = Vec::new();
    for section in named {
        if !needed || !may_join(score, &section) {
            units.push(Unit {
                section,
                strikes: Vec::new(),
                family: None,
                players: false,
            });
            continue;
        }
        let strikes: Vec<Vec<Strike>> = section
            .parts
            .iter()
            .map(|m| {
                score
                    .parts
                    .get(m.part as usize)
                    .map_or_else(Vec::new, strikes)
            })
            .collect();
        let kinds = instruments(&section);
        if section.is(Property::GroupedByName)
            && kinds.len() > 1
            && !in_one_rhythm(score, &section, &strikes)
        {
            units.extend(
                kinds
                    .into_iter()
                    .map(|key| part_of(&section, &strikes, key)),
            );
        } else {
            let family = section.parts.first().and_then(|p| p.instrument);
            units.push(Unit {
                family: family.map(|i| i.family.clone()),
                section,
                strikes,
                players: false,
            });
        }
    }
    units.sort_by_key(|u| u.section.parts.iter().map(|p| p.part).min());
    units
}

/// The players of one instrument of a section.
fn part_of(section: &Section, strikes: &[Vec<Strike>], key: &str) -> Unit {
    let is = |m: &SectionPart| m.instrument.is_some_and(|i| i.key == key);
    let both = section.parts.iter().zip(strikes).filter(|(m, _)| is(m));
    let (parts, strikes): (Vec<SectionPart>, Vec<Vec<Strike>>) =
        both.map(|(m, s)| (m.clone(), s.clone())).unzip();
    let instrument = parts.first().and_then(|p| p.instrument);
    let name = instrument.map_or_else(String::new, |i| Member::Players(i, parts.len()).name());
    Unit {
        section: Section {
            key: name.clone(),
            name,
            parts,
            ..section.clone()
        },
        strikes,
        family: instrument.map(|i| i.family.clone()),
        players: true,
    }
}

/// The keys of a section's instruments, each once.
fn instruments(section: &Section) -> Vec<&'static str> {
    let mut keys: Vec<&'static str> = Vec::new();
    for instrument in section.parts.iter().filter_map(|p| p.instrument) {
        if !keys.contains(&instrument.key.as_str()) {
            keys.push(&instrument.key);
        }
    }
    keys
}

/// Single lines of known instruments, neither sung nor a bass line, and not placed by a house style.
fn may_join(score: &Score, section: &Section) -> bool {
    let not = [
        Property::Choir,
        Property::BassLine,
        Property::Unpitched,
        Property::Apart,
    ];
    !section.chordal
        && section.parts.iter().all(|p| {
            let placed = |part: &Part| part.section.is_some();
            let part = score.parts.get(p.part as usize);
            p.instrument
                .is_some_and(|i| i.single_line && !not.iter().any(|n| i.is(*n)))
                && part.is_some_and(|p| !placed(p) && p.staves < 2)
        })
}

fn strikes(part: &Part) -> Vec<Strike> {
    let mut all: Vec<Strike> = Vec::with_capacity(part.notes.len());
    for note in &part.notes {
        if !note.sounds() || note.duration <= Ticks::ZERO {
            continue;
        }
        let midi = note.sounding.midi();
        match all.last_mut() {
            Some(last) if note.flags.has(NoteFlags::TIED_IN) && last.end >= note.onset => {
                last.end = last.end.max(note.end());
            }
            // Of two players on one staff the upper one.
            Some(last) if last.onset == note.onset => {
                last.midi = last.midi.max(midi);
                last.end = last.end.max(note.end());
            }
            _ => all.push(Strike {
                onset: note.onset,
                end: note.end(),
                midi,
            }),
        }
    }
    all
}

/// Whether in three bars of four that several of its instruments play in, all who play strike together.
fn in_one_rhythm(score: &Score, section: &Section, strikes: &[Vec<Strike>]) -> bool {
    let (mut shared, mut same) = (0, 0);
    let key = |m: &SectionPart| m.instrument.map(|i| i.key.as_str());
    for bar in &score.bars {
        let (from, to) = (bar.start, bar.start + bar.length);
        let mut playing = section.parts.iter().zip(strikes).filter_map(|(m, all)| {
            let a = all.partition_point(|s| s.onset < from);
            let b = all.partition_point(|s| s.onset < to);
            Some((key(m), all.get(a..b).filter(|s| !s.is_empty())?))
        });
        let Some((kind, first)) = playing.next() else {
            continue;
        };
        let onsets = |s: &Strike| s.onset;
        let (mut several, mut agree) = (false, true);
        for (other, struck) in playing {
            several |= other != kind;
            agree &= struck.iter().map(onsets).eq(first.iter().map(onsets));
        }
        // A pair of one instrument says nothing of the others.
        shared += usize::from(several);
        same += usize::from(several && agree);
    }
    same * 4 > shared * 3
}
