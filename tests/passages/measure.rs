//! Proofs passages with and without slips, and counts. Only the JSON report and the face are used.

use super::curve::Point;
use super::grid::file;
use super::passage::{Passage, passage};
use super::slips::{ROWS, Row, Slip, slip};
use crate::ensembles::measure::Seen;
use crate::ensembles::notes::Dice;
use chartproof::Style;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What the program is run with: a set of costs has a name.
pub struct Settings {
    pub name: String,
    pub style: Style,
}

/// Which passages are measured.
#[derive(Clone, Debug)]
pub struct Plan {
    pub seeds: Vec<u64>,
    /// Kinds of slips tried in each passage; the rest in others.
    pub slips: usize,
}

/// What became of one slip.
#[allow(
    clippy::struct_excessive_bools,
    reason = "each is a column of the table"
)]
#[derive(Clone, Debug)]
pub struct Outcome {
    pub slip: Slip,
    pub found: bool,
    /// By its own rule, or one whose words name it.
    pub own: bool,
    /// Only by a note.
    pub faint: bool,
    /// New errors and warnings, and new notes.
    pub new: Vec<Seen>,
    /// New errors and warnings at another place.
    pub elsewhere: usize,
    /// `correct` gives back the original notes.
    pub restored: bool,
    /// How what it gives differs from them: part (0-based), beat of the passage, and MIDI numbers.
    pub differs: String,
}

pub struct Measured {
    pub passage: Passage,
    /// Findings on the clean passage.
    pub clean: Vec<Seen>,
    pub outcomes: Vec<Outcome>,
}

#[derive(Default)]
pub struct Totals {
    pub all: Vec<Measured>,
}

impl Totals {
    pub fn sonorities(&self) -> usize {
        self.all.iter().map(|m| m.passage.hits.len()).sum()
    }
    pub fn false_alarms(&self) -> usize {
        self.all
            .iter()
            .flat_map(|m| &m.clean)
            .filter(|f| f.counts())
            .count()
    }
    pub fn outcomes(&self) -> impl Iterator<Item = &Outcome> {
        self.all.iter().flat_map(|m| &m.outcomes)
    }
    /// Share of slips of which something holds, in percent.
    pub fn share(&self, holds: fn(&Outcome) -> bool) -> f64 {
        let count = self.outcomes().count().max(1) as f64;
        100.0 * self.outcomes().filter(|o| holds(o)).count() as f64 / count
    }
    /// The dot of these settings on the curve.
    pub fn point(&self, name: &str) -> Point {
        Point {
            name: name.to_owned(),
            recall: self.share(|o| o.found),
            own: self.share(|o| o.own),
            false_alarms: self.false_alarms_per_100(),
            open: None,
        }
    }
    pub fn false_alarms_per_100(&self) -> f64 {
        100.0 * self.false_alarms() as f64 / self.sonorities().max(1) as f64
    }
}

pub fn proofed(file: &(&str, String), settings: &Settings) -> Vec<Seen> {
    crate::ensembles::measure::proofed_as(file.0, &file.1, &settings.style)
}

/// The slip of a kind in a passage; the same for the same seed.
pub fn slipped(passage: &Passage, row: &Row) -> Option<(Passage, Slip)> {
    let index = ROWS.iter().position(|r| r.name == row.name).unwrap() as u64;
    let mut dice = Dice::new(passage.seed * 1000 + index);
    slip(&mut dice, passage, row)
}

fn outcome(passage: &Passage, clean: &[Seen], row: &Row, settings: &Settings) -> Option<Outcome> {
    let (slipped, slip) = slipped(passage, row)?;
    let written = file(&slipped);
    let seen = proofed(&written, settings);
    let known = |f: &Seen| {
        clean.iter().any(|c| {
            c.rule == f.rule
                && c.bar == f.bar
                && (c.beat - f.beat).abs() < 0.01
                && c.parts == f.parts
        })
    };
    let new: Vec<Seen> = seen.into_iter().filter(|f| !known(f)).collect();
    let place = |f: &Seen| {
        let within = (f.beat - 1.0) * f64::from(passage.meter.figure());
        let at = f64::from((f.bar - 1) * passage.meter.bar) + within;
        (f64::from(slip.at) - 0.2..f64::from(slip.at + slip.len) - 0.2).contains(&at)
    };
    let own =
        |f: &Seen| row.rules.contains(&f.rule.as_str()) || slip.also.contains(&f.rule.as_str());
    let names = |f: &Seen| f.parts.iter().any(|p| slip.parts.contains(&p.as_str()));
    let hits: Vec<&Seen> = new
        .iter()
        .filter(|f| place(f) && (names(f) || own(f)))
        .collect();
    let differs = differs(passage, &written, settings);
    Some(Outcome {
        found: !hits.is_empty(),
        own: hits.iter().any(|f| own(f)),
        faint: !hits.is_empty() && hits.iter().all(|f| !f.counts()),
        elsewhere: new.iter().filter(|f| f.counts() && !place(f)).count(),
        restored: differs.is_empty(),
        differs,
        new,
        slip,
    })
}

/// How what `correct` gives differs from the notes of the clean passage; empty where it gives them back.
fn differs(passage: &Passage, (name, text): &(&str, String), settings: &Settings) -> String {
    let Ok(done) = chartproof::correct(name, text.as_str(), &settings.style) else {
        return "not corrected".to_owned();
    };
    let corrected = sounds(&chartproof::read(name, done.bytes).unwrap());
    let clean = sounds(&chartproof::read(name, file(passage).1).unwrap());
    let only = |of: &[(usize, i64, i16)], not: &[(usize, i64, i16)]| {
        let only = of.iter().filter(|n| !not.contains(n));
        let notes = only.map(|(part, at, midi)| format!("{part}@{at} {midi}"));
        notes.collect::<Vec<_>>().join(", ")
    };
    if corrected == clean {
        return String::new();
    }
    format!(
        "gives {} for {}",
        only(&corrected, &clean),
        only(&clean, &corrected)
    )
}

/// Part, onset and sounding MIDI number of every note.
pub fn sounds(score: &chartproof::Score) -> Vec<(usize, i64, i16)> {
    let mut all: Vec<(usize, i64, i16)> = score
        .parts
        .iter()
        .enumerate()
        .flat_map(|(part, p)| {
            p.notes
                .iter()
                .map(move |n| (part, n.onset.0, n.sounding.midi()))
        })
        .collect();
    all.sort_unstable();
    all
}

/// The kinds that few passages have room for, then the others by turns.
fn order(seed: u64) -> Vec<&'static Row> {
    let count = ROWS.len();
    let turns = (0..count).map(|step| &ROWS[(seed as usize / 2 * 7 + step * 5) % count]);
    let (rare, usual): (Vec<_>, Vec<_>) = turns.partition(|r| r.rare());
    rare.into_iter().chain(usual).collect()
}

fn measured(seed: u64, plan: &Plan, settings: &Settings) -> Measured {
    let passage = passage(seed);
    let clean = proofed(&file(&passage), settings);
    let mut outcomes: Vec<Outcome> = Vec::new();
    for row in order(seed) {
        if outcomes.len() == plan.slips {
            break;
        }
        outcomes.extend(outcome(&passage, &clean, row, settings));
    }
    Measured {
        passage,
        clean,
        outcomes,
    }
}

/// Measures the program as it is set.
pub fn measure(settings: &Settings, plan: &Plan) -> Totals {
    let next = AtomicUsize::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let work = || {
        let mut mine = Vec::new();
        loop {
            let Some(seed) = plan.seeds.get(next.fetch_add(1, Ordering::Relaxed)) else {
                return mine;
            };
            mine.push(measured(*seed, plan, settings));
        }
    };
    let mut all: Vec<Measured> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        workers
            .into_iter()
            .flat_map(|w| w.join().unwrap())
            .collect()
    });
    all.sort_by_key(|m| m.passage.seed);
    Totals { all }
}
