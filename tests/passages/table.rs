//! What was measured, as text.

use super::measure::{Outcome, Totals};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

fn percent(part: usize, whole: usize) -> String {
    if whole == 0 {
        return "-".to_owned();
    }
    format!("{:.1}", 100.0 * part as f64 / whole as f64)
}

pub fn summary(totals: &Totals) -> String {
    let notes = totals
        .all
        .iter()
        .flat_map(|m| &m.clean)
        .filter(|f| !f.counts())
        .count();
    let count = totals.outcomes().count();
    // `correct` mends false alarms too.
    let silent = |m: &&super::measure::Measured| {
        !m.clean.iter().any(crate::ensembles::measure::Seen::counts)
    };
    let quiet = || totals.all.iter().filter(silent).flat_map(|m| &m.outcomes);
    format!(
        "{} passages, {} sonorities: {} errors and warnings ({:.2} in 100), {notes} notes\n\
         {count} slips: found {:.1} %, by own rule {:.1} %, one finding {:.1} %, given back by correct {:.1} % \
         ({} % where nothing else is said)\n",
        totals.all.len(),
        totals.sonorities(),
        totals.false_alarms(),
        totals.false_alarms_per_100(),
        totals.share(|o| o.found),
        totals.share(|o| o.own),
        totals.share(|o| o.new.iter().filter(|f| f.counts()).count() <= 1),
        totals.share(|o| o.restored),
        percent(quiet().filter(|o| o.restored).count(), quiet().count()),
    )
}

/// The same for each half by itself: costs are set on the even passages and reported on the odd ones.
pub fn halves(totals: Totals) -> (String, Totals) {
    let (odd, even): (Vec<_>, Vec<_>) = totals
        .all
        .into_iter()
        .partition(|m| m.passage.seed % 2 == 1);
    let (odd, even) = (Totals { all: odd }, Totals { all: even });
    let text = format!(
        "even, to set costs on: {}odd, to report:        {}",
        summary(&even),
        summary(&odd)
    );
    let mut all = odd.all;
    all.extend(even.all);
    all.sort_by_key(|m| m.passage.seed);
    (text, Totals { all })
}

fn rows(title: &str, groups: &BTreeMap<String, Vec<&Outcome>>) -> String {
    let mut out = format!(
        "\n{title:<34} {:>5} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6}\n",
        "n", "found", "own", "faint", "one", "else", "back"
    );
    for (name, all) in groups {
        let share = |holds: &dyn Fn(&Outcome) -> bool| {
            percent(all.iter().filter(|o| holds(o)).count(), all.len())
        };
        let _ = writeln!(
            out,
            "{name:<34} {:>5} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6}",
            all.len(),
            share(&|o| o.found),
            share(&|o| o.own),
            share(&|o| o.faint),
            share(&|o| o.new.iter().filter(|f| f.counts()).count() <= 1),
            all.iter().map(|o| o.elsewhere).sum::<usize>(),
            share(&|o| o.restored),
        );
    }
    out
}

pub fn by_kind(totals: &Totals) -> String {
    let mut groups: BTreeMap<String, Vec<&Outcome>> = BTreeMap::new();
    for outcome in totals.outcomes() {
        groups
            .entry(outcome.slip.kind.to_owned())
            .or_default()
            .push(outcome);
    }
    rows("slip", &groups)
}

pub fn by_technique(totals: &Totals) -> String {
    let mut groups: BTreeMap<String, Vec<&Outcome>> = BTreeMap::new();
    for measured in &totals.all {
        for outcome in &measured.outcomes {
            let technique = outcome.slip.technique;
            groups
                .entry(technique.word().to_owned())
                .or_default()
                .push(outcome);
        }
    }
    rows("technique of the slip", &groups)
}

/// Sonorities that have a feature, and errors and warnings at them.
pub fn clean(totals: &Totals) -> String {
    let mut count: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    let mut passages: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    for measured in &totals.all {
        let passage = &measured.passage;
        let wrong: Vec<(i32, f64)> = measured
            .clean
            .iter()
            .filter(|f| f.counts())
            .map(|f| (f.bar, f.beat))
            .collect();
        for hit in &passage.hits {
            let place = passage.place(hit.at);
            let told = wrong
                .iter()
                .any(|w| w.0 == place.0 && (w.1 - place.1).abs() < 0.01);
            let mut names: BTreeSet<String> =
                hit.features.iter().map(|f| (*f).to_owned()).collect();
            names.insert(format!("technique: {}", hit.technique.word()));
            names.insert(format!("band: {}", passage.band.name));
            for name in names {
                let entry = count.entry(name).or_default();
                entry.0 += 1;
                entry.1 += usize::from(told);
            }
        }
        for feature in &passage.features {
            let entry = passages.entry(feature).or_default();
            entry.0 += 1;
            entry.1 += usize::from(!wrong.is_empty());
        }
    }
    let mut out = format!("\n{:<42} {:>6} {:>6}\n", "sonorities with", "n", "told");
    for (name, (all, told)) in &count {
        let _ = writeln!(out, "{name:<42} {all:>6} {told:>6}");
    }
    let _ = writeln!(out, "\n{:<42} {:>6} {:>6}", "passages with", "n", "told");
    for (name, (all, told)) in &passages {
        let _ = writeln!(out, "{name:<42} {all:>6} {told:>6}");
    }
    out
}

/// Every false alarm, and every slip that is missed, wrongly named, told twice or not given back.
pub fn list(totals: &Totals) -> String {
    let mut out = String::from("\nfalse alarms\n");
    for measured in &totals.all {
        let passage = &measured.passage;
        for seen in measured.clean.iter().filter(|f| f.counts()) {
            let place = |h: &&super::passage::Hit| {
                let place = passage.place(h.at);
                place.0 == seen.bar && (place.1 - seen.beat).abs() < 0.01
            };
            let here = passage.hits.iter().find(place);
            let what = here.map(|h| {
                format!(
                    "{:?} {} {} {:?}",
                    h.kind,
                    h.chord.symbol(),
                    h.technique.word(),
                    h.features
                )
            });
            let _ = writeln!(
                out,
                "{} | {} | {}",
                passage.seed,
                what.unwrap_or_default(),
                seen.line()
            );
        }
    }
    out.push_str("\nslips\n");
    for measured in &totals.all {
        for outcome in &measured.outcomes {
            let count = outcome.new.iter().filter(|f| f.counts()).count();
            let what = match (outcome.found, outcome.own, count > 1, outcome.restored) {
                (false, ..) => "MISSED",
                (_, false, ..) => "OTHER",
                (_, _, true, _) => "TWICE",
                (_, _, _, false) => "NOT BACK",
                _ => continue,
            };
            let _ = writeln!(
                out,
                "{what} {}:{} | {}",
                measured.passage.seed, outcome.slip.kind, outcome.slip.detail
            );
            for seen in &outcome.new {
                let _ = writeln!(out, "        {}", seen.line());
            }
            if !outcome.restored {
                let _ = writeln!(out, "        correct {}", outcome.differs);
            }
        }
    }
    out
}
