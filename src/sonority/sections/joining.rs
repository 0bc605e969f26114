//! Units that play as one section, and where.

use super::cells::{Cell, Units, cells};
use super::evidence::{Chords, Evidence, Verdict};
use super::named::has_given_seat;
use super::units::{Unit, units};
use super::{Section, SectionPart};
use crate::ground::instrument::{Properties, joined_name};
use crate::ground::time::Ticks;
use crate::score::Score;
use std::ops::Range;

/// So many chords are looked at together, about a phrase.
const PHRASE: usize = 8;

/// A group is founded on so many chords, half of them moving; on fewer where all that may join are in it.
const FOUNDED: usize = 6;

/// The most players that names alone make a small band.
const SMALL_BAND: usize = 6;

/// More players than this are no section: there each kind of instrument is one by itself.
const MOST_PLAYERS: usize = 7;

/// What a cell says of a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Together,
    /// Nothing against it: one rhythm, or only one of them plays.
    Open,
    /// None of them plays.
    Silent,
    /// They go different ways, or one of them that is a section by itself plays alone.
    Apart,
}

/// Units that are one section somewhere.
struct Group {
    units: Units,
    evidence: Evidence,
    moving: usize,
    cells: Vec<State>,
}

impl Group {
    fn counts_on(&self, cell: usize) -> bool {
        self.cells.get(cell) == Some(&State::Together)
    }
}

/// The sections of a score: the units, and those that join where they do.
pub(super) fn joined(score: &Score, named: Vec<Section>) -> Vec<Section> {
    let units = units(score, named);
    if units.iter().filter(|u| u.is_melodic()).count() < 2 {
        return units.into_iter().map(|u| u.section).collect();
    }
    let cells = cells(score, &units);
    let mut groups = found(score, &units, &cells);
    absorb(&mut groups, &cells);
    let kept: Vec<bool> = groups
        .iter()
        .map(|g| is_founded(g, &groups, &units))
        .collect();
    let mut kept = kept.into_iter();
    groups.retain(|_| kept.next().unwrap_or(false));
    if groups.is_empty() {
        groups.extend(small_band(&units, &cells));
    }
    groups.sort_by_key(|g| {
        std::cmp::Reverse(g.cells.iter().filter(|s| **s == State::Together).count())
    });
    extend(&mut groups, &cells);
    build(score, units, &cells, &groups)
}

/// Whether there is enough of a group for a section. Some players of a larger group, under or over others of
/// it who go their own way, are a section only where they move: else they are the background of a solo.
fn is_founded(group: &Group, groups: &[Group], units: &[Unit]) -> bool {
    let melodic = units.iter().filter(|u| u.is_melodic()).count();
    let players: usize = group
        .units
        .iter()
        .filter_map(|u| units.get(*u))
        .map(|u| u.section.parts.len())
        .sum();
    if players > MOST_PLAYERS || !group.cells.contains(&State::Together) {
        return false;
    }
    if group.units.len() == melodic {
        return true;
    }
    let larger = |g: &&Group| {
        g.units.len() > group.units.len() && group.units.iter().all(|u| g.units.contains(u))
    };
    let some_of_larger = groups
        .iter()
        .any(|g| larger(&g) && g.cells.contains(&State::Together));
    let moves = if some_of_larger { 4 } else { 2 };
    group.evidence.chords >= FOUNDED && group.moving * moves >= group.evidence.chords * (moves - 1)
}

/// A phrase of a company.
struct Phrase {
    units: Units,
    /// Some of them have the rhythm nearly.
    nearly: bool,
    cells: Vec<usize>,
    chords: Chords,
}

impl Phrase {
    fn is_of(&self, (units, nearly): &(Units, bool)) -> bool {
        self.units == *units && self.nearly == *nearly
    }

    /// What it says of its units. Nearly one rhythm is one only where the chords say so.
    fn judge(&self) -> (State, Evidence) {
        let (verdict, evidence) = self.chords.judge();
        let state = match verdict {
            Verdict::Together => State::Together,
            Verdict::Apart => State::Apart,
            Verdict::Open if self.nearly && self.chords.say_something() => State::Apart,
            Verdict::Open => State::Open,
        };
        (state, evidence)
    }
}

/// Judges each company, phrase by phrase.
fn found(score: &Score, units: &[Unit], cells: &[Cell]) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    let mut open: Vec<Phrase> = Vec::new();
    for (index, cell) in cells.iter().enumerate() {
        let companies = cell.companies();
        // Whoever has another company now ends the phrase before.
        let goes_on = |phrase: &Phrase| {
            let plays = |u: &usize| cell.playing(*u).is_some();
            if companies.iter().any(|c| phrase.is_of(c)) {
                phrase.chords.len() < PHRASE
            } else {
                !phrase.units.iter().any(plays)
            }
        };
        let (on, ended): (Vec<Phrase>, Vec<Phrase>) = open.into_iter().partition(goes_on);
        open = on;
        for phrase in ended {
            judge(&mut groups, phrase, cells.len());
        }
        for company in companies {
            let at = open.iter().position(|p| p.is_of(&company));
            let at = at.unwrap_or_else(|| {
                open.push(Phrase {
                    units: company.0,
                    nearly: company.1,
                    cells: Vec::new(),
                    chords: Chords::default(),
                });
                open.len() - 1
            });
            if let Some(phrase) = open.get_mut(at) {
                phrase.cells.push(index);
                phrase.chords.add(score, units, &phrase.units, cell);
            }
        }
    }
    for phrase in open {
        judge(&mut groups, phrase, cells.len());
    }
    groups
}

fn judge(groups: &mut Vec<Group>, phrase: Phrase, count: usize) {
    let (state, evidence) = phrase.judge();
    if state == State::Open {
        return;
    }
    let Phrase {
        units,
        cells: at,
        chords,
        ..
    } = phrase;
    let known = groups.iter().position(|g| g.units == units);
    let place = known.unwrap_or_else(|| {
        groups.push(Group {
            units,
            evidence: Evidence::default(),
            moving: 0,
            cells: vec![State::Silent; count],
        });
        groups.len() - 1
    });
    if let Some(group) = groups.get_mut(place) {
        if state == State::Together {
            group.evidence.add(evidence);
            group.moving += chords.moving();
        }
        for cell in at {
            if let Some(slot) = group.cells.get_mut(cell) {
                *slot = state;
            }
        }
    }
}

/// Where some of a larger group play and the rest of it are silent or with them, that is the larger group.
fn absorb(groups: &mut [Group], cells: &[Cell]) {
    for small in 0..groups.len() {
        for large in 0..groups.len() {
            let (Some(s), Some(l)) = (groups.get(small), groups.get(large)) else {
                continue;
            };
            let within =
                s.units.len() < l.units.len() && s.units.iter().all(|u| l.units.contains(u));
            if !within {
                continue;
            }
            let rest: Units = l
                .units
                .iter()
                .copied()
                .filter(|u| !s.units.contains(u))
                .collect();
            let silent = |cell: &Cell| rest.iter().all(|u| cell.playing(*u).is_none());
            let at: Vec<usize> = (0..cells.len())
                .filter(|&i| s.counts_on(i))
                .filter(|&i| l.counts_on(i) || cells.get(i).is_some_and(silent))
                .collect();
            for i in at {
                for (group, state) in [(small, State::Silent), (large, State::Together)] {
                    let slot = groups.get_mut(group).and_then(|g| g.cells.get_mut(i));
                    if let Some(slot) = slot {
                        *slot = state;
                    }
                }
            }
        }
    }
}

/// By the names alone: a few single players of several kinds, who have one rhythm where they play together.
fn small_band(units: &[Unit], cells: &[Cell]) -> Option<Group> {
    let melodic = || units.iter().enumerate().filter(|(_, u)| u.is_melodic());
    let players: usize = melodic().map(|(_, u)| u.section.parts.len()).sum();
    let largest = melodic().map(|(_, u)| u.section.parts.len()).max()?;
    if !(3..=SMALL_BAND).contains(&players) || largest > 2 {
        return None;
    }
    let group: Units = melodic().map(|(i, _)| i).collect();
    let (mut together, mut apart) = (0, 0);
    let states = cells
        .iter()
        .map(|cell| {
            let state = state_in(&group, cell);
            let several = cell.playing.len() > 1;
            together += usize::from(several && state == State::Open);
            apart += usize::from(state == State::Apart);
            if state == State::Open {
                State::Together
            } else {
                state
            }
        })
        .collect();
    (together >= apart).then_some(Group {
        units: group,
        evidence: Evidence::default(),
        moving: 0,
        cells: states,
    })
}

/// What a cell says of units whose chords in it say nothing.
fn state_in(units: &[usize], cell: &Cell) -> State {
    let mut playing = units.iter().filter(|u| cell.playing(**u).is_some());
    let Some(first) = playing.next() else {
        return State::Silent;
    };
    let company = cell.company_of(*first);
    let is_section = |u: &usize| cell.playing(*u).is_some_and(|p| p.parts.len() >= 3);
    if playing.clone().next().is_none() && is_section(first) {
        return State::Apart;
    }
    let with = |u: &usize| company.is_some_and(|c| c.units.contains(u) || c.near.contains(u));
    if playing.all(with) {
        State::Open
    } else {
        State::Apart
    }
}

/// A group reaches over what says nothing against it: between two of its stretches, and from its first to
/// the beginning and from its last to the end.
fn extend(groups: &mut [Group], cells: &[Cell]) {
    for at in 0..groups.len() {
        let taken = |cell: usize, units: &[usize]| {
            groups.iter().enumerate().any(|(i, g)| {
                i != at && g.counts_on(cell) && g.units.iter().any(|u| units.contains(u))
            })
        };
        let Some(group) = groups.get(at) else {
            continue;
        };
        let mut states: Vec<State> = cells
            .iter()
            .enumerate()
            .map(|(i, cell)| match group.cells.get(i) {
                Some(State::Together) => State::Together,
                Some(State::Apart) => State::Apart,
                _ if taken(i, &group.units) => State::Apart,
                _ => state_in(&group.units, cell),
            })
            .collect();
        let mut from = 0;
        while from < states.len() {
            let open = |s: &State| matches!(s, State::Open | State::Silent);
            let run = states.get(from..).unwrap_or_default();
            let length = run.iter().take_while(|s| open(s)).count();
            if length == 0 {
                from += 1;
                continue;
            }
            let to = from + length;
            let is = |i: Option<usize>| i.and_then(|i| states.get(i)).copied();
            let before = is(from.checked_sub(1));
            let after = is(Some(to));
            let joins = [before, after].contains(&Some(State::Together))
                && ![before, after].contains(&Some(State::Apart));
            let state = if joins { State::Together } else { State::Apart };
            let several = |i: usize| {
                cells.get(i).is_some_and(|c| {
                    group
                        .units
                        .iter()
                        .filter(|u| c.playing(**u).is_some())
                        .count()
                        > 1
                })
            };
            // Beside where they go apart, one rhythm still holds them together; a single player is alone.
            let beside = [before, after].contains(&Some(State::Together));
            let each: Vec<State> = (from..to)
                .map(|i| {
                    if beside && several(i) {
                        State::Together
                    } else {
                        state
                    }
                })
                .collect();
            for (slot, state) in states.iter_mut().skip(from).zip(each) {
                *slot = state;
            }
            from = to;
        }
        if let Some(group) = groups.get_mut(at) {
            group.cells = states;
        }
    }
}

/// The stretches in which a group plays; none when it is everywhere.
fn stretches(group: &Group, cells: &[Cell]) -> Vec<Range<Ticks>> {
    let mut all: Vec<Range<Ticks>> = Vec::new();
    for (cell, _) in cells
        .iter()
        .zip(&group.cells)
        .filter(|(_, s)| **s == State::Together)
    {
        match all.last_mut() {
            Some(last) if last.end == cell.time.start => last.end = cell.time.end,
            _ => all.push(cell.time.clone()),
        }
    }
    if group.cells.iter().all(|s| *s == State::Together) {
        all.clear();
    }
    all
}

/// The times outside these, which are in order.
fn outside(stretches: &[Range<Ticks>]) -> Vec<Range<Ticks>> {
    let mut all = Vec::new();
    let mut from = Ticks(i64::MIN);
    for stretch in stretches {
        if from < stretch.start {
            all.push(from..stretch.start);
        }
        from = stretch.end;
    }
    if from < Ticks(i64::MAX) {
        all.push(from..Ticks(i64::MAX));
    }
    all
}

fn build(score: &Score, units: Vec<Unit>, cells: &[Cell], groups: &[Group]) -> Vec<Section> {
    // For each unit, where it plays with others.
    let mut away: Vec<Vec<Range<Ticks>>> = vec![Vec::new(); units.len()];
    let mut whole = vec![false; units.len()];
    let mut all: Vec<(usize, Section)> = Vec::new();
    for group in groups {
        let Some((first, section)) = section(score, &units, group, stretches(group, cells)) else {
            continue;
        };
        for &unit in &group.units {
            if let (Some(away), Some(whole)) = (away.get_mut(unit), whole.get_mut(unit)) {
                *whole |= section.stretches.is_empty();
                away.extend(section.stretches.iter().cloned());
            }
        }
        all.push((first, section));
    }
    let mut homeless: Vec<u32> = Vec::new();
    for (index, unit) in units.into_iter().enumerate() {
        let (Some(away), Some(whole)) = (away.get_mut(index), whole.get(index)) else {
            continue;
        };
        away.sort_unstable_by_key(|s| s.start);
        let mut section = unit.section;
        section.stretches = if away.is_empty() {
            Vec::new()
        } else {
            outside(away)
        };
        let stays = !*whole
            && unit
                .strikes
                .iter()
                .flatten()
                .any(|s| section.plays_at(s.onset));
        if stays || unit.strikes.is_empty() {
            all.push((index, section));
        } else {
            homeless.extend(section.parts.iter().map(|p| p.part));
        }
    }
    // Who never plays in the section of their name belongs to the first that they play in.
    for (_, section) in all.iter_mut().filter(|(_, s)| s.evidence.is_some()) {
        for part in &mut section.parts {
            if let Some(at) = homeless.iter().position(|h| *h == part.part) {
                homeless.swap_remove(at);
                part.own = true;
            }
        }
    }
    all.sort_by_key(|(index, section)| (*index, section.evidence.is_none()));
    all.into_iter().map(|(_, section)| section).collect()
}

/// A group as a section, with the index of its first unit.
fn section(
    score: &Score,
    units: &[Unit],
    group: &Group,
    stretches: Vec<Range<Ticks>>,
) -> Option<(usize, Section)> {
    let catalogue = score.instruments.catalogue();
    let those = || group.units.iter().filter_map(|u| units.get(*u));
    let named: Option<Vec<_>> = those()
        .map(|u| Some((u.member(catalogue)?, u.family.as_ref())))
        .collect();
    let name = joined_name(&named?);
    let mut parts: Vec<SectionPart> = those().flat_map(|u| u.section.parts.clone()).collect();
    if !parts.iter().any(|p| has_given_seat(score, p)) {
        parts.sort_by_key(|p| p.part);
    }
    for part in &mut parts {
        part.own = false;
    }
    let section = Section {
        key: name.clone(),
        name,
        parts,
        chordal: false,
        properties: Properties::default(),
        stretches,
        evidence: Some(group.evidence),
    };
    Some((*group.units.first()?, section))
}
