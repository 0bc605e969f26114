//! The fuzz targets on a stable compiler: every seed and everything that was once found, and random
//! changes of them. `CHARTPROOF_MUTATIONS` says how many changes of each file are tried (300).
//! Coverage-guided runs: see DEVELOPERS.md, "Fuzzing".

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

#[path = "fuzz/bodies.rs"]
pub mod bodies;

use crate::common::Dice;
use std::fs;
use std::path::{Path, PathBuf};

/// Pieces that readers know, and numbers at the edges of what they take.
const PIECES: [&str; 22] = [
    "<note>",
    "</note>",
    "<chord/>",
    "<backup>",
    "&amp;",
    "&x;",
    "<!--",
    "]]>",
    "-1",
    "0",
    "4294967296",
    "99999999999999999999",
    "|",
    "-",
    ".",
    ";",
    "b5",
    "♭",
    "\u{1b}[31m",
    "<script>",
    "\u{0}",
    "\u{feff}",
];

fn files(target: &str) -> Vec<PathBuf> {
    let fuzz = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz");
    let mut all: Vec<PathBuf> = ["seeds", "found"]
        .iter()
        .filter_map(|kind| fs::read_dir(fuzz.join(kind).join(target)).ok())
        .flatten()
        .map(|entry| entry.unwrap().path())
        .collect();
    all.sort();
    assert!(!all.is_empty(), "{target} has no seed");
    all
}

/// One to four random changes.
fn changed(bytes: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for _ in 0..=dice.roll(4) {
        let at = dice.roll(out.len().max(1)).min(out.len());
        let to = (at + 1 + dice.roll(40)).min(out.len());
        match dice.roll(5) {
            0 => {
                if let Some(byte) = out.get_mut(at) {
                    *byte ^= 1 << dice.roll(8);
                }
            }
            1 => {
                out.drain(at..to);
            }
            2 => {
                let again = out[at..to].to_vec();
                let place = dice.roll(out.len() + 1);
                out.splice(place..place, again);
            }
            3 => {
                out.splice(at..to, dice.pick(&PIECES).bytes());
            }
            _ => {
                out.splice(at..at, dice.pick(&PIECES).bytes());
            }
        }
    }
    out
}

fn run(target: &str, body: fn(&[u8])) {
    let each: usize = std::env::var("CHARTPROOF_MUTATIONS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(300);
    for (index, path) in files(target).iter().enumerate() {
        let bytes = fs::read(path).unwrap();
        body(&bytes);
        let mut dice = Dice::new(index as u64);
        for n in 0..each {
            let bytes = changed(&bytes, &mut dice);
            let outcome = std::panic::catch_unwind(|| body(&bytes));
            assert!(
                outcome.is_ok(),
                "{}, change {n}: {}",
                path.display(),
                bytes.escape_ascii()
            );
        }
    }
}

#[test]
fn musicxml() {
    run("musicxml", bodies::musicxml);
}

#[test]
fn mxl() {
    run("mxl", bodies::mxl);
}

#[test]
fn grid() {
    run("grid", bodies::grid);
}

#[test]
fn chord_symbol() {
    run("chord_symbol", bodies::chord_symbol);
}

#[test]
fn house_style() {
    run("house_style", bodies::house_style);
}

#[test]
fn ledger() {
    run("ledger", bodies::ledger);
}

#[test]
fn correct_and_reread() {
    run("correct_and_reread", bodies::correct_and_reread);
}
