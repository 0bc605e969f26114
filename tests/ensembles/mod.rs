//! Charts of mixed ensembles, and faults of notes, stretches and whole parts: a yardstick that never calls
//! the program's own voicings. One command prints what the program says of them:
//!
//! ```text
//! cargo test --test all ensembles::measure -- --ignored --nocapture
//! ```
//!
//! In the environment: `ENSEMBLES=1..52` says which seeds get faults (`0..0`: none), `ENSEMBLES_CLEAN=1..171` which are
//! proofed clean as well; `ENSEMBLES_KINDS=octave` measures faults whose name begins so; `ENSEMBLES_SLIPS=1` how many slips
//! of a kind in a chart; `ENSEMBLES_INTO=FOLDER` takes the tables of false alarms and of faults, and with `ENSEMBLES_ONLY=12`
//! or `ENSEMBLES_ONLY=12:octave-stretch` (a third `:1` for the second slip) the MusicXML of that chart, whose report is
//! printed.

mod backing;
pub mod bands;
pub mod chart;
pub mod measure;
mod melody;
pub mod notes;
pub mod sheet;
mod slips;
mod table;
pub mod voicing;
mod whole;
pub mod write;

use chartproof::inside::score::{NoteFlags, Part};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Onset and length in eighths, and sounding MIDI number, ties joined.
fn read_back(part: &Part, per_quarter: i64) -> Vec<(i64, i64, i16)> {
    let mut notes: Vec<(i64, i64, i16)> = Vec::new();
    let mut read: Vec<_> = part.notes.iter().collect();
    read.sort_by_key(|n| n.onset.0);
    for note in read {
        let eighths = |ticks: i64| 2 * ticks / per_quarter;
        let (at, len) = (eighths(note.onset.0), eighths(note.duration.0));
        let midi = note.sounding.midi();
        let held = notes
            .iter_mut()
            .rev()
            .find(|n| n.2 == midi && n.0 + n.1 == at);
        match held {
            Some(held) if note.flags.has(NoteFlags::TIED_IN) => held.1 += len,
            _ => notes.push((at, len, midi)),
        }
    }
    notes.sort_unstable();
    notes
}

/// Bars are full, ranges are kept, and what is read back sounds as meant.
#[test]
fn charts_are_read_as_meant() {
    for seed in 1..52 {
        let chart = chart::chart(seed);
        let xml = write::musicxml(&write::paper(&chart));
        let score = chartproof::read("chart.musicxml", xml).unwrap();
        assert_eq!(score.parts.len(), chart.parts.len());
        for (read, meant) in score.parts.iter().zip(&chart.parts) {
            assert_eq!(read.bars.len(), chart.bars as usize, "seed {seed}");
            for (index, bar) in read.bars.iter().enumerate() {
                let filled = 2 * bar.filled.0 / score.per_quarter.0;
                assert_eq!(
                    filled,
                    i64::from(chart.meter.bar),
                    "seed {seed}, {} bar {index}",
                    meant.name
                );
            }
            let events = meant.staves.iter().flatten();
            let each = events.flat_map(|e| {
                e.tones
                    .iter()
                    .map(|t| (i64::from(e.at), i64::from(e.len), t.midi))
            });
            let mut wanted: Vec<_> = each.collect();
            wanted.sort_unstable();
            assert_eq!(
                read_back(read, score.per_quarter.0),
                wanted,
                "seed {seed}, {}",
                meant.name
            );
            let (low, high) = meant.instrument.range;
            let high = high + meant.instrument.lead_above;
            assert!(
                wanted.iter().all(|n| (low..=high).contains(&n.2)),
                "seed {seed}, {}",
                meant.name
            );
        }
    }
}

/// Computed from the definitions of the transforms and of the passing diminished (published: handbooks of
/// jazz voicing; lessons on block chords), from the top, MIDI.
#[test]
fn voicings_are_those_of_the_tables() {
    use notes::{Chord, Degree, Quality, Tone};
    use voicing::Technique::{Close, DoubledLead, Drop2, Drop2Doubled, Drop3, Drop24};
    type Row = (Chord, [Degree; 4], i16, voicing::Technique, &'static [i16]);
    let chord = |midi, quality| Chord {
        root: Tone::spelled(midi, -1),
        quality,
    };
    let (c6, bb6) = (chord(60, Quality::Sixth), chord(58, Quality::Sixth));
    let rows: [Row; 7] = [
        (c6, c6.tones(), 72, Close, &[72, 69, 67, 64]),
        (c6, notes::PASSING, 74, Close, &[74, 71, 68, 65]),
        (c6, c6.tones(), 76, Drop2, &[76, 69, 67, 60]),
        (
            chord(63, Quality::Sixth),
            c6.tones(),
            67,
            DoubledLead,
            &[67, 63, 60, 58, 55],
        ),
        (bb6, bb6.tones(), 70, Drop2Doubled, &[70, 65, 62, 58, 55]),
        (
            bb6,
            chord(58, Quality::Major7).tones(),
            77,
            Drop3,
            &[77, 74, 69, 58],
        ),
        (
            chord(65, Quality::Seventh),
            chord(65, Quality::Seventh).tones(),
            75,
            Drop24,
            &[75, 69, 60, 53],
        ),
    ];
    for (chord, degrees, lead, technique, wanted) in rows {
        let tones = degrees.map(|d| chord.at(d));
        let voices = voicing::shaped(Tone::spelled(lead, -1), &tones, technique).unwrap();
        let sounding: Vec<i16> = voices.iter().map(|v| v.midi).collect();
        assert_eq!(sounding, wanted, "{} {technique:?}", chord.name());
    }
}

fn environment(name: &str) -> Option<String> {
    std::env::var(name).ok().filter(|v| !v.is_empty())
}

fn plan() -> measure::Plan {
    let seeds = |name: &str, usual: &str| {
        let seeds = environment(name).unwrap_or_else(|| usual.to_owned());
        let (from, to) = seeds.split_once("..").expect("ENSEMBLES=1..52");
        from.parse::<u64>().expect("a number")..to.parse::<u64>().expect("a number")
    };
    measure::Plan {
        seeds: seeds("ENSEMBLES", "1..52"),
        clean: seeds("ENSEMBLES_CLEAN", "1..171"),
        slips: environment("ENSEMBLES_SLIPS").map_or(1, |n| n.parse().expect("a number")),
        kinds: environment("ENSEMBLES_KINDS").unwrap_or_default(),
    }
}

/// A line entered a step off is read with accidentals that are a guess; chords with symbols say which.
#[test]
fn a_line_a_step_off_is_one_finding_and_its_correction_is_clean() {
    for seed in [14, 15] {
        let chart = chart::chart(seed);
        let (xml, _) = measure::faulty(&chart, "step-off-whole", 0, &[]).unwrap();
        let counts = |xml: &str| {
            let found = measure::proofed(xml).into_iter();
            found.filter(measure::Seen::counts).collect::<Vec<_>>()
        };
        let found = counts(&xml);
        let rules: Vec<&str> = found.iter().map(|f| f.rule.as_str()).collect();
        assert_eq!(rules, ["displaced-line"], "seed {seed}");
        let style = chartproof::Style::default();
        let done = chartproof::correct("chart.musicxml", xml, &style).unwrap();
        let left = counts(&String::from_utf8(done.bytes).unwrap());
        let lines: Vec<String> = left.iter().map(measure::Seen::line).collect();
        assert!(lines.is_empty(), "seed {seed}: {lines:?}");
    }
}

/// Writes one chart, or one fault of it, and prints its report.
fn only(which: &str, folder: Option<&Path>) {
    let mut words = which.split(':');
    let seed: u64 = words
        .next()
        .unwrap()
        .parse()
        .expect("ENSEMBLES_ONLY=seed:fault:number");
    let chart = chart::chart(seed);
    let mut xml = write::musicxml(&write::paper(&chart));
    if let Some(kind) = words.next() {
        let known = slips::SLIPS
            .iter()
            .chain(&whole::WHOLE)
            .find(|k| **k == kind);
        let number = words.next().map_or(0, |n| n.parse().expect("a number"));
        let kind = known.expect("a kind of the table");
        let alarms = measure::proofed(&xml)
            .into_iter()
            .filter(measure::Seen::counts);
        let avoid: Vec<(i32, f64)> = alarms.map(|f| (f.bar, f.beat)).collect();
        let made = measure::faulty(&chart, kind, number, &avoid);
        let (text, truth) = made.expect("this chart has no place for it");
        println!("{truth:?}");
        xml = text;
    }
    if let Some(folder) = folder {
        let path = folder.join(format!("{}.musicxml", which.replace(':', "-")));
        std::fs::write(&path, &xml).unwrap();
        println!("written: {}", path.display());
    }
    let score = chartproof::read("chart.musicxml", xml).unwrap();
    println!(
        "{}",
        chartproof::proof(score, &chartproof::Style::default()).text()
    );
}

#[test]
#[ignore = "a measurement: it prints tables and judges nothing"]
fn measure() {
    let folder = environment("ENSEMBLES_INTO").map(PathBuf::from);
    if let Some(folder) = &folder {
        std::fs::create_dir_all(folder).unwrap();
    }
    if let Some(which) = environment("ENSEMBLES_ONLY") {
        return only(&which, folder.as_deref());
    }
    let plan = plan();
    let both = plan
        .seeds
        .clone()
        .chain(plan.clean.clone())
        .collect::<BTreeSet<u64>>();
    let seeds: Vec<u64> = both.into_iter().collect();
    let next = AtomicUsize::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let work = || {
        let mut mine = Vec::new();
        loop {
            let Some(seed) = seeds.get(next.fetch_add(1, Ordering::Relaxed)) else {
                return mine;
            };
            mine.push(measure::measured(*seed, &plan));
        }
    };
    let mut all: Vec<measure::Measured> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        workers
            .into_iter()
            .flat_map(|w| w.join().unwrap())
            .collect()
    });
    all.sort_by_key(|m| m.chart.seed);
    println!("{}", table::clean(&all));
    println!("{}", table::faults(&all));
    println!("{}", table::slips(&all));
    println!("{}", table::by_symbols(&all));
    if let Some(folder) = folder {
        std::fs::write(folder.join("false-alarms.csv"), table::false_alarms(&all)).unwrap();
        std::fs::write(folder.join("faults.csv"), table::outcomes(&all)).unwrap();
    }
}
