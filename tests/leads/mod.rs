//! Melodies with chord symbols, voiced for many bands in many techniques: a yardstick of the model answer. The
//! melodies are made without the program. One command prints what came of them:
//!
//! ```text
//! cargo test --test all leads::measure -- --ignored --nocapture
//! ```
//!
//! In the environment: `LEADS=1..300` says which melodies; `LEADS_LIST=1` lists each refusal and finding;
//! `LEADS_BAND=saxes`, `LEADS_TECHNIQUE="drop 2"` leave out all others (and try these with each melody); `LEADS_SHOW=17`
//! prints one melody's answers at sounding pitch; `LEADS_OPEN=FOLDER` takes the scores of a folder instead.

mod band;
mod count;
mod melody;
mod table;

use band::{BANDS, Band, TECHNIQUES};
use chartproof::inside::score::Score;
use count::{Run, run};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

fn environment(name: &str) -> Option<String> {
    std::env::var(name).ok().filter(|v| !v.is_empty())
}

/// A lead to voice.
pub struct Lead {
    pub name: String,
    pub score: Score,
}

fn generated() -> Vec<Lead> {
    let range = environment("LEADS").unwrap_or_else(|| "1..300".to_owned());
    let (from, to) = range.split_once("..").expect("LEADS=1..300");
    let seeds = from.parse::<u64>().expect("a number")..to.parse::<u64>().expect("a number");
    seeds
        .map(|seed| Lead {
            name: seed.to_string(),
            score: melody::read(&melody::grid(seed)),
        })
        .collect()
}

fn open(folder: &Path) -> Vec<Lead> {
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    paths.sort();
    paths
        .iter()
        .filter_map(|path| {
            Some(Lead {
                name: path.file_name()?.to_string_lossy().into_owned(),
                score: chartproof::inside::reading::files::read_file(path).ok()?,
            })
        })
        .collect()
}

/// Which bands and techniques a melody is tried with: each band once, with another technique each time.
fn tried(index: usize) -> Vec<(&'static Band, &'static str)> {
    let (band, technique) = (environment("LEADS_BAND"), environment("LEADS_TECHNIQUE"));
    let wanted = |b: &Band, t: &str| {
        band.as_ref().is_none_or(|w| w == b.name) && technique.as_ref().is_none_or(|w| w == t)
    };
    let narrow = band.is_some() || technique.is_some();
    BANDS
        .iter()
        .enumerate()
        .flat_map(|(i, b)| {
            let turn = (index + i * 4 + index / TECHNIQUES.len()) % TECHNIQUES.len();
            let own = TECHNIQUES.iter().enumerate();
            own.filter(move |(t, _)| narrow || *t == turn)
                .map(move |(_, t)| (b, *t))
        })
        .filter(|(b, t)| wanted(b, t))
        .collect()
}

fn runs(leads: &[Lead]) -> Vec<Run> {
    let next = AtomicUsize::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let work = || {
        let mut mine = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(lead) = leads.get(index) else {
                return mine;
            };
            mine.extend(tried(index).into_iter().map(|(b, t)| run(lead, b, t)));
        }
    };
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        workers
            .into_iter()
            .flat_map(|w| w.join().unwrap())
            .collect()
    })
}

#[test]
#[ignore = "a measurement: it prints tables and judges nothing"]
fn measure() {
    if let Some(seed) = environment("LEADS_SHOW") {
        let text = melody::grid(seed.parse().expect("LEADS_SHOW=17"));
        println!("{text}");
        let lead = Lead {
            name: seed,
            score: melody::read(&text),
        };
        for (band, technique) in tried(0) {
            println!("{}", count::shown(&lead, band, technique));
        }
        return;
    }
    let leads = match environment("LEADS_OPEN") {
        Some(folder) => open(Path::new(&folder)),
        None => generated(),
    };
    let runs = runs(&leads);
    if environment("LEADS_LIST").is_some() {
        println!("{}", table::list(&runs));
    }
    println!("{}", table::by(&runs, "band", |r| r.band));
    println!("{}", table::by(&runs, "technique", |r| r.technique));
    println!("{}", table::reasons(&runs));
}

#[test]
fn the_same_melody_comes_of_the_same_number() {
    for seed in 1..60 {
        let text = melody::grid(seed);
        assert_eq!(text, melody::grid(seed));
        let score = melody::read(&text);
        assert!(score.bars.len() >= 8, "{text}");
        assert!(score.parts[0].notes.len() >= 12, "{text}");
    }
}
