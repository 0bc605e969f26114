//! A proofreader's list: one copyist's slip in a chart that is right, its marks and all. A yardstick that
//! never calls the program's own voicings; the charts are those of `tests/ensembles`. One command prints it:
//!
//! ```text
//! cargo test --test all copyist::measure -- --ignored --nocapture
//! ```
//!
//! In the environment: `COPYIST=40` says how often each kind is made, `COPYIST_KINDS=tie` measures kinds whose name
//! begins so, `COPYIST_INTO=FOLDER` takes the table of all slips and, where `COPYIST_FILES` is set, the MusicXML of each;
//! `COPYIST_ONLY=12:tie-open` (a third `:1` for the second) prints the report of that slip.

mod dress;
mod measure;
mod pages;
mod slips;

use slips::KINDS;
use std::path::PathBuf;

fn environment(name: &str) -> Option<String> {
    std::env::var(name).ok().filter(|v| !v.is_empty())
}

/// A few charts of each kind. What is not found yet stands in the measurement, not here.
#[test]
fn slips_are_found_and_right_charts_pass() {
    for kind in KINDS.iter().filter(|k| k.name != "low-mud") {
        let cases = measure::cases(kind, false, 2);
        assert!(
            !cases.is_empty(),
            "{}: no chart has a place for it",
            kind.name
        );
        for case in cases {
            let outcome = measure::outcome(&case);
            assert!(
                outcome.right,
                "{} in chart {}: {:?} gives {:?}",
                kind.name, case.seed, case.truth, outcome.new
            );
        }
    }
}

#[test]
#[ignore = "a measurement: it prints tables and judges nothing"]
fn measure() {
    let folder = environment("COPYIST_INTO").map(PathBuf::from);
    if let Some(folder) = &folder {
        std::fs::create_dir_all(folder).unwrap();
    }
    if let Some(which) = environment("COPYIST_ONLY") {
        return measure::only(&which, folder.as_deref());
    }
    let times = environment("COPYIST").map_or(40, |n| n.parse().expect("a number"));
    let kinds = environment("COPYIST_KINDS").unwrap_or_default();
    let files = environment("COPYIST_FILES").is_some();
    measure::print(times, &kinds, folder.as_deref(), files);
}
