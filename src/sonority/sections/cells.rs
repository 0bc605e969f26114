//! A score cut at every start of a unit's phrase, and who has one rhythm with whom between the cuts.

use super::units::Unit;
use crate::ground::time::Ticks;
use crate::score::Score;
use smallvec::SmallVec;
use std::ops::Range;

/// Indices of units.
pub(super) type Units = SmallVec<[usize; 6]>;

/// A unit that plays between two cuts.
pub(super) struct Playing {
    pub(super) unit: usize,
    /// Its parts that play.
    pub(super) parts: SmallVec<[usize; 6]>,
    /// When at least half of them strike.
    pub(super) onsets: Vec<Ticks>,
}

/// Units that have one rhythm.
pub(super) struct Company {
    pub(super) units: Units,
    /// Those that nearly have it.
    pub(super) near: Units,
}

/// The time between two cuts.
pub(super) struct Cell {
    pub(super) time: Range<Ticks>,
    pub(super) playing: SmallVec<[Playing; 6]>,
    pub(super) companies: SmallVec<[Company; 3]>,
}

impl Cell {
    pub(super) fn playing(&self, unit: usize) -> Option<&Playing> {
        self.playing.iter().find(|p| p.unit == unit)
    }

    /// Units that have one rhythm, and with those that nearly have it (which the second value says).
    pub(super) fn companies(&self) -> SmallVec<[(Units, bool); 3]> {
        let mut all = SmallVec::new();
        for company in &self.companies {
            if company.units.len() > 1 {
                all.push((company.units.clone(), false));
            }
            if !company.near.is_empty() {
                let both = company.units.iter().chain(&company.near);
                let mut both: Units = both.copied().collect();
                both.sort_unstable();
                all.push((both, true));
            }
        }
        all
    }

    /// The company in which a unit has the rhythm, or nearly.
    pub(super) fn company_of(&self, unit: usize) -> Option<&Company> {
        let mut all = self.companies.iter();
        all.find(|c| c.units.contains(&unit) || c.near.contains(&unit))
    }
}

/// Of so many attacks, how many may differ in one rhythm.
const fn spare(attacks: usize) -> usize {
    let share = attacks * 15 / 100;
    if share == 0 && attacks >= 4 { 1 } else { share }
}

/// Cuts where a unit begins to play after a felt beat of rest in all its parts.
pub(super) fn cells(score: &Score, units: &[Unit]) -> Vec<Cell> {
    let mut cuts: Vec<Ticks> = Vec::new();
    for unit in units {
        let mut all: Vec<(Ticks, Ticks)> = unit
            .strikes
            .iter()
            .flatten()
            .map(|s| (s.onset, s.end))
            .collect();
        // Each part is in order already: a sort that keeps runs only merges them.
        all.sort();
        let mut sounds_until = None;
        for (onset, end) in all {
            if sounds_until.is_none_or(|u| onset > u && onset - u >= score.felt_beat_at(onset)) {
                cuts.push(onset);
            }
            sounds_until = sounds_until.max(Some(end));
        }
    }
    cuts.sort_unstable();
    cuts.dedup();
    let ends = cuts.iter().skip(1).copied().chain([Ticks(i64::MAX)]);
    let times = cuts.iter().zip(ends).map(|(from, to)| *from..to);
    times.map(|time| cell(units, time)).collect()
}

fn cell(units: &[Unit], time: Range<Ticks>) -> Cell {
    let mut playing: SmallVec<[Playing; 6]> = SmallVec::new();
    for (index, unit) in units.iter().enumerate() {
        let lines: SmallVec<[(usize, &[_]); 6]> = (0..unit.strikes.len())
            .map(|part| (part, unit.between(part, time.start, time.end)))
            .filter(|(_, strikes)| !strikes.is_empty())
            .collect();
        if lines.is_empty() {
            continue;
        }
        let mut onsets: Vec<Ticks> = lines
            .iter()
            .flat_map(|(_, strikes)| strikes.iter().map(|s| s.onset))
            .collect();
        if lines.len() > 1 {
            onsets.sort_unstable();
            let most = |same: &[Ticks]| same.len() * 2 >= lines.len();
            let kept = onsets.chunk_by(|a, b| a == b).filter(|same| most(same));
            onsets = kept.filter_map(|same| same.first().copied()).collect();
        }
        playing.push(Playing {
            unit: index,
            parts: lines.iter().map(|(part, _)| *part).collect(),
            onsets,
        });
    }
    let companies = companies(&playing);
    Cell {
        time,
        playing,
        companies,
    }
}

/// Each unit with the first that has its rhythm; the one of most players is the first.
fn companies(playing: &[Playing]) -> SmallVec<[Company; 3]> {
    let mut by_size: SmallVec<[&Playing; 6]> = playing.iter().collect();
    by_size.sort_by_key(|p| std::cmp::Reverse(p.parts.len()));
    let mut models: SmallVec<[&Playing; 3]> = SmallVec::new();
    let mut all: SmallVec<[Company; 3]> = SmallVec::new();
    for player in by_size {
        let common: SmallVec<[usize; 3]> = models
            .iter()
            .map(|m| common(&m.onsets, &player.onsets))
            .collect();
        let mut found = false;
        for ((model, common), company) in models.iter().zip(&common).zip(&mut all) {
            let (a, b) = (model.onsets.len(), player.onsets.len());
            if *common > 0 && a - common <= spare(a) && b - common <= spare(b) {
                company.units.push(player.unit);
                found = true;
                break;
            }
            if *common * 10 >= a.max(b) * 7 {
                company.near.push(player.unit);
                found = true;
                break;
            }
        }
        if !found {
            models.push(player);
            all.push(Company {
                units: SmallVec::from_slice(&[player.unit]),
                near: Units::new(),
            });
        }
    }
    for company in &mut all {
        company.units.sort_unstable();
    }
    all
}

/// How many times are in both lists, which are in order.
fn common(a: &[Ticks], b: &[Ticks]) -> usize {
    let mut rest = b.iter().peekable();
    let mut count = 0;
    for onset in a {
        while rest.next_if(|o| *o < onset).is_some() {}
        count += usize::from(rest.peek() == Some(&onset));
    }
    count
}
