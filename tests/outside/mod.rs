//! Running the scripts that ask other libraries, and the built program beside them.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use serde_json::Value;
use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;

/// Set to `1`, a check that cannot be made fails.
pub const WANTED: &str = "CHARTPROOF_OUTSIDE";

/// What a script of `tests/` prints; `None`, with a line to the terminal saying why, where it cannot
/// run. A script that has not what it needs ends with exit code 2.
pub fn ask<A: AsRef<OsStr>>(
    script: &str,
    args: impl IntoIterator<Item = A>,
) -> Option<(bool, String)> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join(script);
    let why = match Command::new("python3")
        .arg("-B")
        .arg(path)
        .args(args)
        .output()
    {
        Err(e) => format!("python3 cannot be started ({e})"),
        Ok(out) => {
            let said = String::from_utf8_lossy(&out.stderr).into_owned();
            match out.status.code() {
                Some(2) => said.trim().to_owned(),
                Some(code @ (0 | 1)) if said.is_empty() || code == 0 => {
                    return Some((code == 0, String::from_utf8(out.stdout).unwrap()));
                }
                code => panic!("{script} ended with {code:?}:\n{said}"),
            }
        }
    };
    skipped(script, &why);
    None
}

/// Says that a check is skipped; fails where it is wanted.
pub fn skipped(script: &str, why: &str) {
    assert!(
        std::env::var(WANTED).as_deref() != Ok("1"),
        "{WANTED}=1, and {script} could not run: {why}"
    );
    // Not `println!`: the test harness would keep it to itself.
    let _ = writeln!(std::io::stderr(), "SKIPPED {script}: {why}");
}

/// One JSON object a line.
pub fn lines(text: &str) -> Vec<Value> {
    text.lines()
        .map(|l| serde_json::from_str(l).unwrap_or_else(|e| panic!("{e}: {l}")))
        .collect()
}

/// The `file` members of answers.
pub fn files(answers: &[Value]) -> Vec<&str> {
    answers
        .iter()
        .map(|a| a["file"].as_str().unwrap())
        .collect()
}

/// The JSON report of the built program on these files.
pub fn program(args: &[&str], files: &[&str]) -> Value {
    let out = Command::new(env!("CARGO_BIN_EXE_chartproof"))
        .args(args)
        .args(files)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(
        matches!(out.status.code(), Some(0 | 1)),
        "{args:?}: {:?}\n{said}",
        out.status.code()
    );
    serde_json::from_slice(&out.stdout).unwrap()
}

/// Reported objects by the file they belong to.
pub fn by_file<'a>(list: &'a Value, name: &str) -> BTreeMap<&'a str, Vec<&'a Value>> {
    let mut found: BTreeMap<&str, Vec<&Value>> = BTreeMap::new();
    for entry in list.as_array().unwrap() {
        found
            .entry(entry[name].as_str().unwrap())
            .or_default()
            .push(entry);
    }
    found
}

/// How many scores to compare: the test's own number, or more by an environment variable.
pub fn scores(least: usize) -> usize {
    std::env::var("CHARTPROOF_OUTSIDE_SCORES")
        .ok()
        .and_then(|n| n.parse().ok())
        .map_or(least, |n: usize| n.max(least))
}
