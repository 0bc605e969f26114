//! Tables of what came of the melodies.

use super::count::Run;
use std::collections::BTreeMap;
use std::fmt::Write as _;

fn percent(part: usize, whole: usize) -> f64 {
    100.0 * part as f64 / whole.max(1) as f64
}

fn row(name: &str, runs: &[&Run]) -> String {
    let sum = |of: fn(&Run) -> usize| runs.iter().map(|r| of(r)).sum::<usize>();
    let written = runs.iter().filter(|r| r.refused.is_none()).count();
    let sonorities = sum(|r| r.sonorities);
    let found = sum(|r| r.findings.len());
    let milliseconds: f64 = runs.iter().map(|r| r.took.as_secs_f64() * 1000.0).sum();
    let bars = sum(|r| r.bars);
    format!(
        "{name:<26} {:>5} {:>5.1}% {:>7} {:>8.2}% {:>8.2}% {:>8.2}% {:>8.2}% {:>7.1}\n",
        runs.len(),
        percent(written, runs.len()),
        sonorities,
        100.0 - percent(found, sonorities),
        percent(sum(|r| r.departures), sonorities),
        percent(sum(|r| r.leaps), sum(|r| r.steps)),
        percent(sum(|r| r.repeats), sum(|r| r.moves)),
        milliseconds * 32.0 / bars.max(1) as f64
    )
}

/// A row for each value of a column, and one for all.
pub fn by(runs: &[Run], head: &str, of: fn(&Run) -> &'static str) -> String {
    let mut out = format!(
        "{head:<26} {:>5} {:>6} {:>7} {:>9} {:>9} {:>9} {:>9} {:>7}\n",
        "tried", "given", "chords", "silent", "departs", "leaps", "repeats", "ms/32"
    );
    let mut names: Vec<&str> = Vec::new();
    for run in runs {
        if !names.contains(&of(run)) {
            names.push(of(run));
        }
    }
    for name in names {
        let own: Vec<&Run> = runs.iter().filter(|r| of(r) == name).collect();
        out.push_str(&row(name, &own));
    }
    let all: Vec<&Run> = runs.iter().collect();
    out.push_str(&row("all", &all));
    out
}

/// Why nothing was written, and which rules speak, the commonest first.
pub fn reasons(runs: &[Run]) -> String {
    let mut refused: BTreeMap<&str, usize> = BTreeMap::new();
    let mut rules: BTreeMap<&str, usize> = BTreeMap::new();
    for run in runs {
        if let Some(reason) = &run.refused {
            *refused.entry(reason).or_default() += 1;
        }
        for f in &run.findings {
            *rules.entry(f.split(':').next().unwrap()).or_default() += 1;
        }
    }
    let mut out = String::new();
    for (title, counts) in [("refused because", refused), ("said of answers", rules)] {
        let mut counts: Vec<_> = counts.into_iter().collect();
        counts.sort_by_key(|c| std::cmp::Reverse(c.1));
        let _ = writeln!(out, "{title}");
        for (what, count) in counts.into_iter().take(25) {
            let _ = writeln!(out, "{count:>6}  {what}");
        }
    }
    out
}

/// Each refusal and finding.
pub fn list(runs: &[Run]) -> String {
    let mut out = String::new();
    for run in runs {
        let head = format!("melody {}, {}, {}", run.name, run.band, run.technique);
        if let Some(reason) = &run.refused {
            let _ = writeln!(out, "{head}: refused: {reason}");
        }
        for f in &run.findings {
            let _ = writeln!(out, "{head}: {f}");
        }
    }
    out
}
