//! Makes slips, proofs the charts with and without them, and counts.

use super::dress::{Dressed, dressed};
use super::slips::{KINDS, Kind, Truth};
use crate::ensembles::measure::{Seen, proofed};
use crate::ensembles::notes::Dice;
use crate::ensembles::sheet::{Sheet, musicxml};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// A chart with one slip.
pub struct Case {
    pub kind: &'static Kind,
    pub seed: u64,
    pub sheet: Sheet,
    pub truth: Truth,
}

/// Every seventeenth chart is for a choir.
const CHOIR: u64 = 12;
const ENSEMBLES: u64 = 17;

/// Charts beyond this are not looked through.
const MOST: u64 = 40 * ENSEMBLES;

fn slipped(kind: &'static Kind, dressed: &Dressed, number: u64) -> Option<Case> {
    let index = KINDS.iter().position(|k| k.name == kind.name).unwrap() as u64;
    let seed = dressed.chart.seed;
    let mut dice = Dice::new(seed * 10_000 + index * 100 + number);
    let mut sheet = dressed.sheet.clone();
    let truth = (kind.slip)(&mut dice, dressed, &mut sheet)?;
    Some(Case {
        kind,
        seed,
        sheet,
        truth,
    })
}

/// So many slips of a kind, each in a chart of its own as far as there are any.
pub fn cases(kind: &'static Kind, choir: bool, times: usize) -> Vec<Case> {
    let mut out = Vec::new();
    for number in 0..3 {
        for seed in 1..MOST {
            if (seed % ENSEMBLES == CHOIR) != choir {
                continue;
            }
            if out.len() == times {
                return out;
            }
            out.extend(slipped(kind, &dressed(seed), number));
        }
    }
    out
}

/// What the program said of the chart without the slip; each chart is proofed once.
fn clean(seed: u64) -> Vec<Seen> {
    static KNOWN: Mutex<BTreeMap<u64, Vec<Seen>>> = Mutex::new(BTreeMap::new());
    if let Some(known) = KNOWN.lock().unwrap().get(&seed) {
        return known.clone();
    }
    let found = proofed(&musicxml(&dressed(seed).sheet));
    KNOWN.lock().unwrap().insert(seed, found.clone());
    found
}

pub struct Outcome {
    /// Findings that the chart without the slip has not.
    pub new: Vec<Seen>,
    /// Something new at the place that names the part.
    pub found: bool,
    /// By a rule that names it rightly.
    pub right: bool,
    /// New errors and warnings beside the right one.
    pub more: usize,
}

pub fn outcome(case: &Case) -> Outcome {
    let clean = clean(case.seed);
    let dressed = dressed(case.seed);
    let name = |p: &usize| dressed.chart.parts[*p].name.clone();
    let guilty: Vec<String> = case.truth.parts.iter().map(name).collect();
    let known = |f: &Seen| {
        clean.iter().any(|o| {
            o.rule == f.rule
                && o.bar == f.bar
                && (o.beat - f.beat).abs() < 0.01
                && o.parts == f.parts
        })
    };
    let found = proofed(&musicxml(&case.sheet)).into_iter();
    let new: Vec<Seen> = found.filter(|f| !known(f)).collect();
    let here = |f: &&Seen| {
        f.bar == case.truth.bar
            && (f.beat - case.truth.beat).abs() <= case.truth.slack
            && f.parts.iter().any(|p| guilty.contains(p))
    };
    let right = |f: &&Seen| here(f) && case.kind.rules.contains(&f.rule.as_str());
    let is_right = new.iter().any(|f| right(&f));
    let others = new.iter().filter(|f| f.counts() && !right(f)).count();
    let twice = new.iter().filter(|f| right(f)).count();
    Outcome {
        found: new.iter().any(|f| here(&f)),
        right: is_right,
        more: others + twice.saturating_sub(1),
        new,
    }
}

/// Writes one slip, and prints its report.
pub fn only(which: &str, folder: Option<&Path>) {
    let mut words = which.split(':');
    let seed: u64 = words
        .next()
        .unwrap()
        .parse()
        .expect("COPYIST_ONLY=seed:kind:number");
    let dressed = dressed(seed);
    let mut xml = musicxml(&dressed.sheet);
    if let Some(name) = words.next() {
        let kind = KINDS.iter().find(|k| k.name == name).expect("a kind");
        let number = words.next().map_or(0, |n| n.parse().expect("a number"));
        let case = slipped(kind, &dressed, number).expect("this chart has no place for it");
        println!("{:?}", case.truth);
        xml = musicxml(&case.sheet);
    }
    if let Some(folder) = folder {
        let path = folder.join(format!("{}.musicxml", which.replace(':', "-")));
        std::fs::write(&path, &xml).unwrap();
        println!("written: {}", path.display());
    }
    let score = chartproof::read("chart.musicxml", xml).unwrap();
    let report = chartproof::proof(score, &chartproof::Style::default());
    println!("{}", report.text());
}

/// Measures, and prints the tables.
pub fn print(times: usize, kinds: &str, folder: Option<&Path>, files: bool) {
    let mut rows: Vec<(&'static Kind, bool)> = Vec::new();
    for kind in KINDS.iter().filter(|k| k.name.starts_with(kinds)) {
        rows.push((kind, false));
        if kind.sung {
            rows.push((kind, true));
        }
    }
    let mut all: Vec<Case> = Vec::new();
    let mut ends = Vec::new();
    for (kind, choir) in &rows {
        all.extend(cases(kind, *choir, times));
        ends.push(all.len());
    }
    if let Some(folder) = folder.filter(|_| files) {
        let mut table = String::from("file\tclean\tkind\trules\tparts\tbar\tbeat\tslack\tdetail\n");
        for (index, case) in all.iter().enumerate() {
            let file = format!("{index:04}.musicxml");
            std::fs::write(folder.join(&file), musicxml(&case.sheet)).unwrap();
            let clean = format!("clean-{:03}.musicxml", case.seed);
            let right = dressed(case.seed);
            std::fs::write(folder.join(&clean), musicxml(&right.sheet)).unwrap();
            let choir = ends
                .iter()
                .position(|e| index < *e)
                .is_some_and(|r| rows[r].1);
            let names = case.truth.parts.iter();
            let names: Vec<&str> = names.map(|p| right.chart.parts[*p].name.as_str()).collect();
            let t = &case.truth;
            let _ = writeln!(
                table,
                "{file}\t{clean}\t{}{}\t{}\t{}\t{}\t{}\t{}\t{}",
                case.kind.name,
                if choir { ", choir" } else { "" },
                case.kind.rules.join("|"),
                names.join("|"),
                t.bar,
                t.beat,
                t.slack,
                t.detail
            );
        }
        std::fs::write(folder.join("truth.tsv"), table).unwrap();
        return;
    }
    let outcomes = in_threads(&all);
    table(&rows, &ends, &outcomes);
    unchanged(&all);
    if let Some(folder) = folder {
        let mut text = String::from("seed,kind,detail,bar,beat,right,more,findings\n");
        for (case, o) in all.iter().zip(&outcomes) {
            let said: Vec<String> = o.new.iter().map(|s| s.line().replace('"', "")).collect();
            let (t, name) = (&case.truth, case.kind.name);
            let _ = writeln!(
                text,
                "{},{name},\"{}\",{},{},{},{},\"{}\"",
                case.seed,
                t.detail,
                t.bar,
                t.beat,
                o.right,
                o.more,
                said.join(" // ")
            );
        }
        std::fs::write(folder.join("slips.csv"), text).unwrap();
    }
}

fn in_threads(all: &[Case]) -> Vec<Outcome> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut mine = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(case) = all.get(index) else {
                return mine;
            };
            mine.push((index, outcome(case)));
        }
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut done: Vec<(usize, Outcome)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        let each = workers.into_iter().flat_map(|w| w.join().unwrap());
        each.collect()
    });
    done.sort_by_key(|d| d.0);
    done.into_iter().map(|d| d.1).collect()
}

fn table(rows: &[(&'static Kind, bool)], ends: &[usize], outcomes: &[Outcome]) {
    println!(
        "| kind | n | found % | right rule % | right and nothing else % | more each |\n|---|---|---|---|---|---|"
    );
    let mut from = 0;
    for ((kind, choir), end) in rows.iter().zip(ends) {
        let mine = &outcomes[from..*end];
        from = *end;
        let percent = |test: &dyn Fn(&Outcome) -> bool| {
            100.0 * mine.iter().filter(|o| test(o)).count() as f64 / mine.len().max(1) as f64
        };
        let more: usize = mine.iter().map(|o| o.more).sum();
        println!(
            "| {}{} | {} | {:.1} | {:.1} | {:.1} | {:.2} |",
            kind.name,
            if *choir { ", choir" } else { "" },
            mine.len(),
            percent(&|o| o.found),
            percent(&|o| o.right),
            percent(&|o| o.right && o.more == 0),
            more as f64 / mine.len().max(1) as f64
        );
    }
}

/// Findings in the charts without slips, by rule.
fn unchanged(all: &[Case]) {
    let mut seeds: Vec<u64> = all.iter().map(|c| c.seed).collect();
    seeds.sort_unstable();
    seeds.dedup();
    let mut counts: BTreeMap<(String, String), usize> = BTreeMap::new();
    for seed in &seeds {
        for seen in clean(*seed) {
            *counts.entry((seen.level, seen.rule)).or_default() += 1;
        }
    }
    println!(
        "\nunchanged charts: {}\n\n| level | rule | findings |\n|---|---|---|",
        seeds.len()
    );
    for ((level, rule), count) in counts {
        println!("| {level} | {rule} | {count} |");
    }
}
