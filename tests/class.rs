//! The homework of a class: thirty generated files with known slips, with and without an answer key.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

mod common;

use assert_cmd::Command;
use common::{Dice, Made, SLIPS};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// What a student did wrong: the kind of mistake, and how often.
type Slips = BTreeMap<String, usize>;

struct Student {
    name: String,
    slips: Slips,
    wrong: usize,
    grid: String,
}

fn chartproof(args: &[&str], folder: &Path) -> (i32, String, String) {
    let out = Command::cargo_bin("chartproof")
        .unwrap()
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .args(args)
        .output()
        .unwrap();
    (
        out.status.code().unwrap(),
        String::from_utf8(out.stdout).unwrap(),
        String::from_utf8(out.stderr).unwrap(),
    )
}

/// Eight bars of drop 2 for saxophones, technique stated: the exercise of the class.
fn exercise() -> Made {
    (0..400)
        .find_map(|seed| {
            common::clean(3000 + seed, 0, 2, 5, true, 8)
                .filter(|m| m.events.iter().filter(|e| e.passing).count() >= 3)
        })
        .unwrap()
}

/// Up to four slips in one piece of homework, no two of them beside each other.
fn student(n: usize, right: &Made) -> Student {
    let mut made = right.clone();
    let mut slips = Slips::new();
    let mut taken: BTreeSet<usize> = BTreeSet::new();
    let mut dice = Dice::new(n as u64 + 77);
    let mut tries = 0;
    while taken.len() < n % 5 && tries < 200 {
        tries += 1;
        let slip = dice.roll(SLIPS.len());
        let mut next = made.clone();
        let Some((at, rule)) = common::inject(&mut next, slip, (n * 1000 + tries) as u64) else {
            continue;
        };
        if (at.saturating_sub(2)..=at + 2).any(|i| taken.contains(&i)) {
            continue;
        }
        taken.insert(at);
        *slips.entry(rule.replace('-', " ")).or_default() += 1;
        made = next;
    }
    Student {
        name: format!("student {:02}", n + 1),
        slips,
        wrong: taken.len(),
        grid: made.grid(),
    }
}

fn class(folder: &Path) -> (Made, Vec<Student>) {
    let right = exercise();
    let students: Vec<Student> = (0..30).map(|n| student(n, &right)).collect();
    for s in &students {
        fs::write(folder.join(format!("{}.passage", s.name)), &s.grid).unwrap();
    }
    (right, students)
}

/// The rows of a CSV by column name.
fn rows(csv: &str) -> Vec<BTreeMap<String, String>> {
    let cells = |line: &str| -> Vec<String> {
        let mut cells = vec![String::new()];
        let mut quoted = false;
        for c in line.chars() {
            match c {
                '"' => quoted = !quoted,
                ',' if !quoted => cells.push(String::new()),
                c => cells.last_mut().unwrap().push(c),
            }
        }
        cells
    };
    let mut lines = csv.trim_start_matches('\u{feff}').split_terminator("\r\n");
    let head = cells(lines.next().unwrap());
    lines
        .map(|l| {
            let row = cells(l);
            assert_eq!(row.len(), head.len(), "{l}");
            head.iter().cloned().zip(row).collect()
        })
        .collect()
}

fn expect_counts(csv: &str, students: &[Student], sonorities: usize) {
    let rows = rows(csv);
    assert_eq!(rows.len(), students.len());
    let fixed = [
        "student", "exercise", "file", "key", "right", "of", "percent", "mistakes", "notes",
        "remark",
    ];
    for (row, student) in rows.iter().zip(students) {
        assert_eq!(row["student"], student.name);
        let found: Slips = row
            .iter()
            .filter(|(k, v)| !fixed.contains(&k.as_str()) && *v != "0")
            .map(|(k, v)| (k.clone(), v.parse().unwrap()))
            .collect();
        assert_eq!(found, student.slips, "{}\n{}", student.name, student.grid);
        assert_eq!(row["of"], sonorities.to_string(), "{}", student.name);
        assert_eq!(
            row["right"],
            (sonorities - student.wrong).to_string(),
            "{}",
            student.name
        );
    }
}

#[test]
fn the_counts_are_those_of_the_slips_that_were_made() {
    let dir = tempfile::tempdir().unwrap();
    let homework = dir.path().join("homework");
    fs::create_dir(&homework).unwrap();
    let (right, students) = class(&homework);
    let made: usize = students.iter().map(|s| s.wrong).sum();
    let kinds: BTreeSet<&String> = students.iter().flat_map(|s| s.slips.keys()).collect();
    assert!(made >= 50 && kinds.len() >= 6, "{made} slips, {kinds:?}");

    // Strict technique, as exercises are marked: every passing note takes its diminished seventh.
    let args = [
        "proof", "--class", "homework", "--format", "csv", "--style", "homework",
    ];
    let (code, csv, err) = chartproof(&args, dir.path());
    assert_eq!((code, err.as_str()), (1, ""));
    expect_counts(&csv, &students, right.events.len());

    // The whole answer as the key, then the melody alone with the technique named beside it.
    fs::write(dir.path().join("key.passage"), right.grid()).unwrap();
    fs::write(dir.path().join("melody.passage"), right.lead()).unwrap();
    let with_key = [&args[..], &["--key", "key.passage"]].concat();
    let (code, csv, _) = chartproof(&with_key, dir.path());
    assert_eq!(code, 1);
    expect_counts(&csv, &students, right.events.len());
    let with_melody = [
        &args[..],
        &["--key", "melody.passage", "--technique", "drop 2"],
    ]
    .concat();
    let (_, csv, _) = chartproof(&with_melody, dir.path());
    expect_counts(&csv, &students, right.events.len());
}
