//! How fast the program is, as ratios to a bare event pass of quick-xml over the same bytes in the
//! same run. `cargo bench` prints a table; nothing is asserted.
//!
//! Whole processes are timed beside the stages: the program on the score's file, on one thread and on
//! all, and one that reads the file and does nothing but the bare pass. `CHARTPROOF_BENCH_MB` sets the
//! size of the large score (20); with `CHARTPROOF_BENCH_MADE` that score is only written, to the file it
//! names.

#![allow(clippy::expect_used, clippy::indexing_slicing)]

mod growth;
mod maker;

use chartproof::inside::correct::correct;
use chartproof::inside::diagnosis::passages;
use chartproof::inside::fixing;
use chartproof::inside::proof::Heard;
use chartproof::inside::reading::read_bytes;
use chartproof::inside::report::{ProofedFile, html, json, text};
use chartproof::inside::rules::{self, RuleInput};
use chartproof::inside::score::Score;
use chartproof::inside::sonority::{Doubts, heard_but, sections, slice};
use chartproof::inside::style::Style;
use codespan_reporting::term::termcolor::Buffer;
use criterion::measurement::WallTime;
use criterion::{BatchSize, BenchmarkGroup, Criterion, SamplingMode};
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

const FLOOR: &str = "bare quick-xml pass";

/// Names the file that this program, run as its own child, makes the bare pass over.
const BARE: &str = "CHARTPROOF_BENCH_BARE";

fn main() {
    if let Some(file) = std::env::var_os(BARE) {
        let xml = std::fs::read_to_string(file).expect("the parent wrote it");
        black_box(bare(&xml));
        return;
    }
    let mb: usize = std::env::var("CHARTPROOF_BENCH_MB")
        .ok()
        .and_then(|mb| mb.parse().ok())
        .unwrap_or(20);
    let mut criterion = Criterion::default()
        .sample_size(10)
        .warm_up_time(Duration::from_millis(300))
        .measurement_time(Duration::from_secs(3))
        .configure_from_args();
    let chart = maker::score(600_000);
    let large = maker::score(mb << 20);
    if let Some(file) = std::env::var_os("CHARTPROOF_BENCH_MADE") {
        std::fs::write(file, &large).expect("the made score can be written");
        return;
    }
    stages(&mut criterion, "chart", &chart);
    stages(&mut criterion, "large", &large);
    print_table("chart", chart.len());
    print_table("large", large.len());
    growth::print_table();
}

/// Every stage of the way on one score, one thread.
fn stages(criterion: &mut Criterion, name: &str, xml: &str) {
    let path = Path::new("made.musicxml");
    let style = Style::default();
    let read = || read_bytes(path, xml.as_bytes()).expect("it is a score");
    let score: Score = read();
    let heard_score = Heard::new(score.clone(), &style);
    let found = passages(&score, &style);
    let findings = rules::check(&RuleInput::new(&score, &style, &found));
    let entries = [ProofedFile {
        path: PathBuf::from(path),
        outcome: Ok((heard_score.clone(), heard_score.proofed(&style))),
    }];
    let mut group = criterion.benchmark_group(name);
    group.sampling_mode(SamplingMode::Flat);
    group.bench_function("reading", |b| {
        let bytes = || xml.as_bytes().to_vec();
        b.iter_batched(
            bytes,
            |bytes| read_bytes(path, bytes),
            BatchSize::LargeInput,
        );
    });
    let mut stage = |label: &str, run: &mut dyn FnMut()| {
        group.bench_function(label, |b| b.iter(&mut *run));
    };
    stage(FLOOR, &mut || {
        black_box(bare(xml));
    });
    stage("hearing", &mut || {
        black_box(heard_but(&score, &Doubts::default()));
    });
    stage("sonorities", &mut || {
        for section in sections(&score) {
            black_box(slice(&score, &section));
        }
    });
    stage("sonorities and diagnosis", &mut || {
        black_box(passages(&score, &style));
    });
    stage("rules", &mut || {
        black_box(rules::check(&RuleInput::new(&score, &style, &found)));
    });
    let own = with_own_rules();
    stage("rules, with eight of a house", &mut || {
        black_box(rules::check(&RuleInput::new(&score, &own, &found)));
    });
    stage("proof, with eight of a house", &mut || {
        let score = read();
        black_box(Heard::new(score, &own).proofed(&own));
    });
    stage("verifying fixes", &mut || {
        let mut findings = findings.clone();
        let mut budget = fixing::TryBudget::of_a_score();
        fixing::verify(&score, &style, &found, &mut findings, &mut budget);
        black_box(findings);
    });
    stage("proof, all of it", &mut || {
        let score = read();
        black_box(Heard::new(score, &style).proofed(&style));
    });
    stage("correct", &mut || {
        black_box(correct(&heard_score, &style));
    });
    stage("text report", &mut || {
        let mut out = Buffer::no_color();
        text::render(&entries, &mut out, text::Options::default()).expect("memory is enough");
        black_box(out);
    });
    stage("json report", &mut || {
        black_box(json::render(&entries).expect("it is JSON"));
    });
    stage("html report", &mut || {
        black_box(html::render(&entries));
    });
    processes(&mut group, xml);
    group.finish();
    eprintln!("{name}: {} findings", findings.len());
}

/// Whole processes on the score's file, which the system has at hand.
fn processes(group: &mut BenchmarkGroup<'_, WallTime>, xml: &str) {
    let file = tempfile::Builder::new().suffix(".musicxml").tempfile();
    let file = file.expect("there is room for the score");
    std::fs::write(&file, xml).expect("there is room for the score");
    let mut process = |label: &str, command: &mut Command| {
        command.stdout(Stdio::null()).stderr(Stdio::null());
        group.bench_function(label, |b| {
            b.iter(|| black_box(command.status().expect("it can be run")));
        });
    };
    let this = std::env::current_exe().expect("it runs");
    process(
        "process: bare pass",
        Command::new(this).env(BARE, file.path()),
    );
    let mut proof = Command::new(env!("CARGO_BIN_EXE_chartproof"));
    proof.arg("proof").arg(file.path());
    process(
        "process: proof, all threads",
        proof.env_remove("RAYON_NUM_THREADS"),
    );
    process(
        "process: proof, one thread",
        proof.env("RAYON_NUM_THREADS", "1"),
    );
}

/// The default style with the rules of the sample house styles, and nothing else of them.
fn with_own_rules() -> Style {
    let mut text = String::new();
    for file in ["school-band.toml", "publisher.toml"] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("sample-parts/house-styles")
            .join(file);
        let whole = std::fs::read_to_string(path).expect("the samples are there");
        for rule in whole.split("[[rule]]").skip(1) {
            text.push_str("[[rule]]");
            text.push_str(rule);
        }
    }
    chartproof::inside::house_style::read_text(Path::new("own.toml"), &text)
        .expect("the samples are sound")
}

/// What anything that reads events needs at least.
fn bare(xml: &str) -> usize {
    let mut reader = quick_xml::Reader::from_str(xml);
    let mut events = 0;
    loop {
        match reader.read_event().expect("it is well-formed") {
            quick_xml::events::Event::Eof => return events,
            _ => events += 1,
        }
    }
}

/// The medians of the last run, as ratios to the floor and in megabytes a second.
fn print_table(group: &str, bytes: usize) {
    let root = std::env::var_os("CARGO_TARGET_DIR").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("target"),
        PathBuf::from,
    );
    let folder = root.join("criterion").join(group);
    let mut stages: Vec<(String, f64)> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| {
            let new = entry.path().join("new");
            let json = |name: &str| -> Option<serde_json::Value> {
                serde_json::from_slice(&std::fs::read(new.join(name)).ok()?).ok()
            };
            let label = json("benchmark.json")?["function_id"].as_str()?.to_owned();
            let nanos = json("estimates.json")?["median"]["point_estimate"].as_f64()?;
            Some((label, nanos))
        })
        .collect();
    let Some(floor) = stages.iter().find(|(l, _)| l == FLOOR).map(|(_, n)| *n) else {
        return;
    };
    stages.sort_by(|a, b| a.1.total_cmp(&b.1));
    println!("\n{group}: {:.1} MB of MusicXML", bytes as f64 / 1e6);
    println!("{:<28}{:>10}{:>10}{:>10}", "stage", "ms", "MB/s", "ratio");
    for (label, nanos) in stages {
        println!(
            "{label:<28}{:>10.2}{:>10.0}{:>10.2}",
            nanos / 1e6,
            bytes as f64 * 1e3 / nanos,
            nanos / floor
        );
    }
}
