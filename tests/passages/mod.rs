//! Voiced passages in many techniques, keys, meters and rhythms, and slips in them: a yardstick that is written from
//! the trade's tables and never asks the program for a voicing. One command prints what the program says of them:
//!
//! ```text
//! cargo test --test all passages::measure -- --ignored --nocapture
//! ```
//!
//! `PASSAGES_SWEEP=1` measures other sets of costs beside those of `rules/diagnosis.toml`.
//!
//! In the environment: `PASSAGES=1..400` says which passages; `PASSAGES_HALF=odd` which half of them (`even` ones are
//! there to set costs on, `odd` ones are reported, `both`); `PASSAGES_SLIPS=8` how many kinds of slips are tried in
//! each; `PASSAGES_LIST=1` lists each miss and false alarm; `PASSAGES_ONLY=17` or `PASSAGES_ONLY="17:wrong drop"` prints one
//! passage with its report; `PASSAGES_FAULTS=FILE` takes what is
//! wrongly said or missed, by cause, with the smallest grids that show it; `PASSAGES_OPEN=FOLDER` proofs the scores of a folder
//! too; `PASSAGES_INTO=FOLDER` takes a table and a curve of recall against false alarms.

mod backing;
mod bands;
pub mod chords;
mod curve;
mod faults;
pub mod grid;
mod line;
pub mod measure;
mod open;
pub mod passage;
pub mod plan;
mod right;
pub mod slips;
mod table;
mod voicing;
mod worked;

use measure::{Plan, Settings};

fn environment(name: &str) -> Option<String> {
    std::env::var(name).ok().filter(|v| !v.is_empty())
}

fn plan() -> Plan {
    let range = environment("PASSAGES").unwrap_or_else(|| "1..400".to_owned());
    let (from, to) = range.split_once("..").expect("PASSAGES=1..400");
    let seeds = from.parse::<u64>().expect("a number")..to.parse::<u64>().expect("a number");
    let half = environment("PASSAGES_HALF").unwrap_or_else(|| "both".to_owned());
    let kept = |seed: &u64| match half.as_str() {
        "even" => seed.is_multiple_of(2),
        "odd" => !seed.is_multiple_of(2),
        _ => true,
    };
    Plan {
        seeds: seeds.filter(kept).collect(),
        slips: environment("PASSAGES_SLIPS").map_or(8, |n| n.parse().expect("a number")),
    }
}

fn only(which: &str) {
    let (seed, kind) = which.split_once(':').unwrap_or((which, ""));
    let mut made = passage::passage(seed.parse().expect("PASSAGES_ONLY=seed:slip"));
    println!("{:?}", made.features);
    if !kind.is_empty() {
        let row = slips::ROWS
            .iter()
            .find(|r| r.name == kind)
            .expect("a kind of the table");
        let (slipped, slip) =
            measure::slipped(&made, row).expect("this passage has no place for it");
        println!("{} ({:?}): {}", slip.kind, slip.parts, slip.detail);
        made = slipped;
    }
    println!("{}", grid::grid(&made));
    let (name, text) = grid::file(&made);
    let score = chartproof::read(name, text).unwrap();
    println!(
        "{}",
        chartproof::proof(score, &chartproof::Style::default()).text()
    );
}

/// The costs as they are shipped, and with `PASSAGES_SWEEP=1` other sets around them: all slips cheaper or
/// dearer, free writing cheaper or dearer, and other margins under which nothing is said.
fn cost_sets() -> Vec<Settings> {
    let set = |name: &str, change: &dyn Fn(&mut chartproof::inside::style::Costs)| {
        let mut style = chartproof::Style::default();
        change(&mut style.costs);
        Settings {
            name: name.to_owned(),
            style,
        }
    };
    let mut sets = vec![set("as shipped", &|_| {})];
    if environment("PASSAGES_SWEEP").is_none() {
        return sets;
    }
    for percent in [70, 85, 120, 150] {
        sets.push(set(&format!("slips at {percent} %"), &|costs| {
            let slip = &mut costs.slip;
            for cost in [
                &mut slip.octave,
                &mut slip.step,
                &mut slip.leap,
                &mut slip.doubling,
                &mut slip.other_drop,
                &mut slip.passing_on_chord,
                &mut slip.wrong_passing_chord,
                &mut slip.chord_note_on_passing,
                &mut slip.missed_change,
                &mut slip.lead,
                &mut slip.rub,
            ] {
                *cost = *cost * percent / 100;
            }
        }));
    }
    for free in [8, 25] {
        sets.push(set(&format!("free writing at {free}"), &|costs| {
            costs.free.writing = free;
        }));
    }
    for thin in [0, 14, 24] {
        sets.push(set(&format!("silent under a margin of {thin}"), &|costs| {
            costs.margin.thin = thin;
            costs.margin.clear = thin + 8;
        }));
    }
    sets
}

#[test]
#[ignore = "a measurement: it prints tables and judges nothing"]
fn measure() {
    if let Some(which) = environment("PASSAGES_ONLY") {
        return only(&which);
    }
    let sets = cost_sets();
    let mut points = Vec::new();
    for settings in &sets {
        let totals = measure::measure(settings, &plan());
        println!("{}\n{}", settings.name, table::summary(&totals));
        let (halves, totals) = table::halves(totals);
        println!("{halves}");
        println!(
            "{}{}",
            table::by_kind(&totals),
            table::by_technique(&totals)
        );
        println!("{}", table::clean(&totals));
        if environment("PASSAGES_LIST").is_some() {
            println!("{}", table::list(&totals));
        }
        if let Some(path) = environment("PASSAGES_FAULTS") {
            std::fs::write(path, faults::report(&totals, settings)).unwrap();
        }
        let mut point = totals.point(&settings.name);
        if let Some(folder) = environment("PASSAGES_OPEN") {
            let open = open::proofed(std::path::Path::new(&folder), settings);
            println!("{}", open.text());
            point.open = Some(open.alarms_per_100());
        }
        points.push(point);
    }
    println!("{}", curve::text(&points));
    if let Some(folder) = environment("PASSAGES_INTO") {
        curve::write(&points, std::path::Path::new(&folder)).unwrap();
    }
}

/// What a passage may have that is easily called wrong.
const FEATURES: [&str; 45] = [
    "#11 for 5",
    "11 on minor on the beat",
    "11 on minor, long",
    "13 for 5",
    "9 for 1 on the beat",
    "9 for 1, long",
    "N.C. bar",
    "altered dominant",
    "answer in close position",
    "as MusicXML",
    "bass part",
    "blue note",
    "change of technique",
    "chord kept as a habit",
    "chord kept under a passing note",
    "chromatic parallel approach",
    "common-tone diminished",
    "delayed attack",
    "diatonic parallel approach",
    "dominant approach",
    "figures over held chords",
    "held pads in mixed positions",
    "no symbols",
    "passing diminished under 2",
    "passing diminished under 4",
    "passing diminished under 7",
    "passing diminished under b6",
    "pedal bass",
    "push in one section",
    "push-note",
    "push-rest",
    "push-rest-long",
    "push-tied",
    "related ii over a dominant",
    "second reading of a dominant",
    "sections in turn",
    "spread in five",
    "spread in four",
    "sus family",
    "tonic sixth over V in major",
    "tonic sixth over V in minor",
    "unison bar, then block harmony",
    "cluster",
    "five-note soli",
    "fourths",
];

/// Each feature and each kind of slip has its passages, and the same ones every time.
#[test]
fn every_feature_and_slip_occurs() {
    let mut features = std::collections::BTreeSet::new();
    let mut kinds = std::collections::BTreeSet::new();
    for seed in 1..260 {
        let made = passage::passage(seed);
        features.extend(made.features.iter().copied());
        features.extend(made.segments.iter().map(|s| s.technique.word()));
        let again = passage::passage(seed);
        assert_eq!(made.sounding(), again.sounding(), "passage {seed}");
        let rows = slips::ROWS
            .iter()
            .filter(|r| measure::slipped(&made, r).is_some());
        kinds.extend(rows.map(|r| r.name));
    }
    let lacking: Vec<_> = FEATURES
        .iter()
        .filter(|f| !features.contains(**f))
        .collect();
    assert!(lacking.is_empty(), "no passage has {lacking:?}");
    let lacking: Vec<_> = slips::ROWS
        .iter()
        .filter(|r| !kinds.contains(r.name))
        .map(|r| r.name)
        .collect();
    assert!(lacking.is_empty(), "no passage has room for {lacking:?}");
}

/// What the program reads from the grid is what was meant, within the ranges of the players.
#[test]
fn passages_are_read_as_meant() {
    for seed in 1..120 {
        let made = passage::passage(seed);
        let (name, text) = grid::file(&made);
        let score =
            chartproof::read(name, text.as_str()).unwrap_or_else(|e| panic!("{seed}: {e}\n{text}"));
        let quarter = score.per_quarter.0;
        let mut read = Vec::new();
        for part in &score.parts {
            for note in &part.notes {
                let struck = !note
                    .flags
                    .has(chartproof::inside::score::NoteFlags::TIED_IN);
                if struck {
                    read.push((
                        part.name.clone(),
                        (12 * note.onset.0 / quarter) as i32,
                        note.sounding.midi(),
                    ));
                }
            }
        }
        read.sort();
        assert_eq!(read, made.sounding(), "seed {seed}\n{text}");
        for hit in &made.hits {
            let ranges = made.band.ranges(hit.seats, hit.technique);
            assert!(voicing::in_range(&hit.voices, &ranges), "seed {seed}");
        }
    }
}
