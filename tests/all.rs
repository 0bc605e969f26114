//! All integration tests in one program, so that the library is linked once and not once a file.
//!
//! `cargo test --test all class::` runs the tests of `tests/class.rs`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

mod common;
mod outside;

mod answer_sheets;
mod attacks;
mod class;
mod copyist;
mod editing;
mod ensembles;
mod fingerprints;
mod floors;
mod fuzzed;
mod gate;
mod generated;
mod hook_framework;
mod hostile;
mod house_style;
mod instruments;
mod leads;
mod markdown;
mod memory;
mod model_answers;
mod nothing_lost;
mod one_account;
mod outside_choir;
mod outside_chords;
mod outside_corpus;
mod outside_instruments;
mod outside_schema;
mod outside_slicing;
mod outside_voicing;
mod outside_waiver;
mod passages;
mod pitch;
mod planted;
mod program;
mod sarif;
mod shell;
mod sizes;
mod voiced_for;
mod worked_examples;
mod writing;

/// A file that is not named above would never run.
#[test]
fn every_file_of_tests_is_run() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests");
    let named: Vec<&str> = include_str!("all.rs")
        .lines()
        .filter_map(|line| line.strip_prefix("mod ")?.strip_suffix(';'))
        .collect();
    for entry in std::fs::read_dir(folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if let Some(module) = name.strip_suffix(".rs").filter(|m| *m != "all") {
            assert!(
                named.contains(&module),
                "tests/all.rs does not name tests/{name}"
            );
        }
    }
}
