//! The tables that are printed, and those for spreadsheets.

use super::chart::{Chart, Symbols};
use super::measure::{Measured, Outcome, Seen};
use super::notes::Tone;
use super::slips::SLIPS;
use super::voicing::Technique;
use super::whole::WHOLE;
use std::collections::BTreeMap;
use std::fmt::Write as _;

#[derive(Default)]
struct Clean {
    charts: usize,
    sonorities: usize,
    errors: usize,
    warnings: usize,
}

impl Clean {
    fn add(&mut self, seen: &Seen) {
        if seen.level == "error" {
            self.errors += 1;
        } else {
            self.warnings += 1;
        }
    }
    fn row(&self, out: &mut String, ensemble: &str, technique: &str) {
        let alarms = (self.errors + self.warnings) as f64;
        let _ = writeln!(
            out,
            "| {ensemble:24} | {technique:13} | {:6} | {:10} | {:6} | {:8} | {:7.2} |",
            self.charts,
            self.sonorities,
            self.errors,
            self.warnings,
            100.0 * alarms / self.sonorities.max(1) as f64
        );
    }
}

/// Errors and warnings on clean charts, by ensemble and technique.
pub fn clean(all: &[Measured]) -> String {
    let mut rows: BTreeMap<(&str, Technique), Clean> = BTreeMap::new();
    let mut totals: BTreeMap<&str, Clean> = BTreeMap::new();
    for measured in all {
        let chart = &measured.chart;
        let name = chart.ensemble.name;
        totals.entry(name).or_default().charts += 1;
        let mut techniques = Vec::new();
        for phrase in &chart.phrases {
            let row = rows.entry((name, phrase.technique)).or_default();
            let count = chart.sonorities(phrase.bar, phrase.bars);
            row.sonorities += count;
            totals.entry(name).or_default().sonorities += count;
            if !techniques.contains(&phrase.technique) {
                techniques.push(phrase.technique);
                row.charts += 1;
            }
        }
        for seen in &measured.clean {
            let phrase = chart.phrase_at((seen.bar - 1) * chart.meter.bar);
            let technique = phrase.map_or(Technique::Line, |p| p.technique);
            rows.entry((name, technique)).or_default().add(seen);
            totals.entry(name).or_default().add(seen);
        }
    }
    let mut out = String::from(
        "| ensemble                 | technique     | charts | sonorities | errors | warnings | per 100 |\n|---|---|---|---|---|---|---|\n",
    );
    let mut sum = Clean::default();
    for ((name, technique), row) in &rows {
        row.row(&mut out, name, &format!("{technique:?}"));
    }
    for (name, row) in &totals {
        row.row(&mut out, name, "all");
        sum.charts += row.charts;
        sum.sonorities += row.sonorities;
        sum.errors += row.errors;
        sum.warnings += row.warnings;
    }
    sum.row(&mut out, "all", "all");
    out
}

/// Faults by kind: how many are found, and what else is said because of them.
pub fn faults(all: &[Measured]) -> String {
    let mut out = String::from(
        "| kind                    |   n | found % | right rule % | one finding % | findings each | blame others % | fix others % | correct rewrites others % | notes each |\n|---|---|---|---|---|---|---|---|---|---|\n",
    );
    let of = |kind: &str| -> Vec<&Outcome> {
        all.iter()
            .flat_map(|m| &m.outcomes)
            .filter(|o| o.truth.kind == kind)
            .collect()
    };
    let mut slips = Vec::new();
    let mut whole = Vec::new();
    for kind in SLIPS {
        let outcomes = of(kind);
        fault_row(&mut out, kind, &outcomes);
        slips.extend(outcomes);
    }
    fault_row(&mut out, "ALL SLIPS", &slips);
    for kind in WHOLE {
        let outcomes = of(kind);
        fault_row(&mut out, kind, &outcomes);
        whole.extend(outcomes);
    }
    fault_row(&mut out, "ALL WHOLE PARTS", &whole);
    out
}

/// Slips by ensemble.
pub fn slips(all: &[Measured]) -> String {
    let mut out = String::from(
        "| ensemble                 |   n | found % | right rule % |\n|---|---|---|---|\n",
    );
    let mut rows: BTreeMap<&str, (usize, usize, usize)> = BTreeMap::new();
    for measured in all {
        for o in measured.outcomes.iter().filter(|o| o.truth.at.is_some()) {
            let row = rows.entry(measured.chart.ensemble.name).or_default();
            row.0 += 1;
            row.1 += usize::from(o.found);
            row.2 += usize::from(o.right);
        }
    }
    for (name, (n, found, right)) in rows {
        let percent = |count: usize| 100.0 * count as f64 / n as f64;
        let _ = writeln!(
            out,
            "| {name:24} | {n:3} | {:7.1} | {:12.1} |",
            percent(found),
            percent(right)
        );
    }
    out
}

/// Faults of whole parts and stretches by where chord symbols stand.
pub fn by_symbols(all: &[Measured]) -> String {
    let mut out = String::from(
        "| symbols  | whole parts | found % | slips | found % |\n|---|---|---|---|---|\n",
    );
    for (name, test) in SYMBOLS {
        let charts = all.iter().filter(|m| test(m.chart.symbols));
        let outcomes: Vec<&Outcome> = charts.flat_map(|m| &m.outcomes).collect();
        let (slips, whole): (Vec<&Outcome>, Vec<&Outcome>) =
            outcomes.into_iter().partition(|o| o.truth.at.is_some());
        let percent = |list: &[&Outcome]| {
            100.0 * list.iter().filter(|o| o.found).count() as f64 / list.len().max(1) as f64
        };
        let _ = writeln!(
            out,
            "| {name:8} | {:11} | {:7.1} | {:5} | {:7.1} |",
            whole.len(),
            percent(&whole),
            slips.len(),
            percent(&slips)
        );
    }
    out
}

type Test = fn(Symbols) -> bool;

const SYMBOLS: [(&str, Test); 3] = [
    ("in all", |s| s == Symbols::All),
    ("in one", |s| matches!(s, Symbols::One(_))),
    ("none", |s| s == Symbols::Absent),
];

fn fault_row(out: &mut String, kind: &str, outcomes: &[&Outcome]) {
    let n = outcomes.len();
    if n == 0 {
        return;
    }
    let percent = |test: &dyn Fn(&Outcome) -> bool| {
        100.0 * outcomes.iter().filter(|o| test(o)).count() as f64 / n as f64
    };
    let each = |count: &dyn Fn(&Outcome) -> usize| {
        outcomes.iter().map(|o| count(o)).sum::<usize>() as f64 / n as f64
    };
    let _ = writeln!(
        out,
        "| {kind:23} | {n:3} | {:7.1} | {:12.1} | {:13.1} | {:13.1} | {:14.1} | {:12.1} | {:25.1} | {:10.1} |",
        percent(&|o| o.found),
        percent(&|o| o.right),
        percent(&|o| o.new.len() == 1 && o.found),
        each(&|o| o.new.len()),
        percent(&|o| o.blamed > 0),
        percent(&|o| o.fixes > 0),
        percent(&|o| !o.rewritten.is_empty()),
        each(&|o| o.notes),
    );
}

fn about(chart: &Chart) -> String {
    let symbols = format!("{:?}", chart.symbols).replace(['(', ')'], " ");
    format!(
        "{},{},{}/{},{} fifths,symbols {}",
        chart.seed,
        chart.ensemble.name,
        chart.meter.beats,
        chart.meter.unit,
        chart.fifths,
        symbols.trim()
    )
}

fn names(voices: &[Tone]) -> String {
    voices
        .iter()
        .map(|v| v.name())
        .collect::<Vec<_>>()
        .join(" ")
}

/// Every false alarm, one a line, with what stands there.
pub fn false_alarms(all: &[Measured]) -> String {
    let mut out = String::from(
        "seed,ensemble,meter,key,symbols,phrase,technique,kind,chord,voices,place,level,rule,parts,message\n",
    );
    for measured in all {
        let chart = &measured.chart;
        for seen in &measured.clean {
            let eighths = (seen.beat - 1.0) * 8.0 / f64::from(chart.meter.unit);
            let at = (seen.bar - 1) * chart.meter.bar + eighths.round() as i32;
            let phrase = chart.phrase_at(at);
            let hit = phrase.and_then(|p| p.hits.iter().find(|h| h.at == at));
            let _ = writeln!(
                out,
                "{},{},{},{},{},{},{}",
                about(chart),
                phrase.map_or("-", |p| p.what),
                phrase.map_or_else(String::new, |p| format!("{:?}", p.technique)),
                hit.map_or_else(|| "-".to_owned(), |h| format!("{:?}/{}", h.kind, h.len)),
                hit.map_or_else(|| "-".to_owned(), |h| h.chord.name()),
                hit.map_or_else(|| "-".to_owned(), |h| names(&h.voices)),
                seen.line()
            );
        }
    }
    out
}

/// Every fault, one a line, with what the program said.
pub fn outcomes(all: &[Measured]) -> String {
    let mut out = String::from(
        "seed,ensemble,meter,key,symbols,kind,bars,technique,detail,found,right,findings,blamed,fixes,rewritten,first findings\n",
    );
    for measured in all {
        for o in &measured.outcomes {
            let said: Vec<String> = o
                .new
                .iter()
                .take(4)
                .map(|s| s.line().replace('"', ""))
                .collect();
            let _ = writeln!(
                out,
                "{},{},{}-{},{:?},\"{}\",{},{},{},{},{},\"{}\",\"{}\"",
                about(&measured.chart),
                o.truth.kind,
                o.truth.bars.0,
                o.truth.bars.1,
                o.truth.technique,
                o.truth.detail,
                o.found,
                o.right,
                o.new.len(),
                o.blamed,
                o.fixes,
                o.rewritten.join(" + "),
                said.join(" // ")
            );
        }
    }
    out
}
