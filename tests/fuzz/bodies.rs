//! What each fuzz target does with its bytes. `tests/fuzzed.rs` runs the same on a stable compiler.
//!
//! A target ends quietly on everything that is refused, and panics when something that was read
//! does not hold, or when two ways of reading come to different scores.

#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing
)]

use chartproof::inside::correct::correct;
use chartproof::inside::editing::{apply_to_file, edits};
use chartproof::inside::file_text::container;
use chartproof::inside::ground::chord;
use chartproof::inside::ground::problem::Problem;
use chartproof::inside::ground::text::Edit;
use chartproof::inside::ground::text::Span;
use chartproof::inside::house_style;
use chartproof::inside::proof::Heard;
use chartproof::inside::proof::ledger::Ledger;
use chartproof::inside::reading::musicxml::Ways;
use chartproof::inside::reading::{read_bytes, read_bytes_in};
use chartproof::inside::report::{ProofedFile, html, json, sarif, text};
use chartproof::inside::score::{Format, Note, Score};
use chartproof::inside::style::Style;
use codespan_reporting::term::termcolor::Buffer;
use std::io::{Cursor, Write as _};
use std::path::Path;
use std::sync::LazyLock;
use zip::write::SimpleFileOptions;

/// Larger scores are only read: they say nothing that smaller ones do not, and slowly.
const MOST_NOTES: usize = 400;

static STYLES: LazyLock<Vec<Style>> = LazyLock::new(|| {
    house_style::shipped_names()
        .map(|name| house_style::shipped(name).expect("it is shipped"))
        .collect()
});

/// Reads a score in the usual way; panics with the names of the ways that do not come to what the slow way,
/// by events only, comes to.
pub fn read_each_way(path: &Path, bytes: &[u8]) -> Result<Score, Problem> {
    let by = |ways| format!("{:?}", read_bytes_in(ways, path, bytes));
    let slow = by(Ways::SLOW);
    let others = Ways::ALL.iter().filter(|(_, ways)| by(*ways) != slow);
    let others: Vec<&str> = others.map(|(name, _)| *name).collect();
    assert!(
        others.is_empty(),
        "{}: not as by events: {others:?}",
        path.display()
    );
    let read = read_bytes(path, bytes);
    assert!(format!("{read:?}") == slow, "{}: as usual", path.display());
    read
}

/// MusicXML as it comes.
pub fn musicxml(bytes: &[u8]) {
    if let Ok(score) = read_each_way(Path::new("a.musicxml"), bytes) {
        look_at(score, bytes.len());
    }
}

/// A passage grid as it comes.
pub fn grid(bytes: &[u8]) {
    if let Ok(score) = read_bytes(Path::new("a.passage"), bytes) {
        look_at(score, bytes.len());
    }
}

/// A compressed score. Bytes after a zero first byte are a container as they come; otherwise the
/// first byte says how long its table of contents is, and the rest is the score.
pub fn mxl(bytes: &[u8]) {
    let Some((first, rest)) = bytes.split_first() else {
        return;
    };
    let made = if *first == 0 {
        rest.to_vec()
    } else {
        let (contents, score) = rest.split_at(rest.len().min(usize::from(*first)));
        made_of(contents, score)
    };
    if let Ok(score) = read_each_way(Path::new("a.mxl"), &made) {
        packed_again(&score, &made);
        look_at(score, made.len());
        return;
    }
    // The same score where the table of contents is right.
    if *first != 0 {
        let (_, score) = rest.split_at(rest.len().min(usize::from(*first)));
        let contents =
            br#"<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>"#;
        let _ = read_bytes(Path::new("a.mxl"), made_of(contents, score));
    }
}

/// A copy of a container is no larger than it and what is new, and is read as the same text.
fn packed_again(score: &Score, made: &[u8]) {
    let source = &score.sources[0];
    let Some(member) = &source.member else { return };
    let new = source.text.as_bytes();
    if let Ok(copy) = container::replace(made, member, [new]) {
        assert!(copy.len() <= made.len() + new.len() + 1024);
        let (name, text) = container::open(&copy).expect("a copy can be read");
        assert_eq!((&name, text.as_slice()), (member, new));
    }
}

fn made_of(contents: &[u8], score: &[u8]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in [("META-INF/container.xml", contents), ("a.xml", score)] {
        zip.start_file(name, SimpleFileOptions::default())
            .expect("the name is one");
        zip.write_all(bytes).expect("memory takes it");
    }
    zip.finish().expect("memory takes it").into_inner()
}

/// A chord symbol. What was read prints as a symbol that is read as the same chord.
pub fn chord_symbol(bytes: &[u8]) {
    let Ok(symbol) = std::str::from_utf8(bytes) else {
        return;
    };
    let Ok(Some(read)) = chord::parse(symbol) else {
        return;
    };
    let again = chord::parse(&read.text)
        .unwrap_or_else(|e| panic!("{symbol:?} prints as {:?}: {e}", read.text))
        .expect("a chord");
    assert_eq!(
        (read.root, read.bass, &read.degrees, read.altered),
        (again.root, again.bass, &again.degrees, again.altered),
        "{symbol:?} prints as {:?}",
        read.text
    );
}

/// A house style. What was read prints as a style that can be read.
pub fn house_style(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    // Other files than this one are not the fuzzer's to read.
    if text.contains("extends") {
        return;
    }
    let path = Path::new("chartproof.toml");
    match house_style::read_text(path, text) {
        Ok(style) => {
            let printed = house_style::print(&style);
            if let Err(error) = house_style::read_text(path, &printed) {
                panic!("{text}\nprints as\n{printed}\n{:?}", error.mistakes);
            }
        }
        Err(error) => {
            assert!(!error.mistakes.is_empty());
            for mistake in &error.mistakes {
                let _ = mistake.line_column();
            }
        }
    }
}

/// A ledger. What was read prints as a ledger that is read as the same; of what was not, nothing is shown
/// unless it says that it is a ledger.
pub fn ledger(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let path = Path::new("chartproof.ledger");
    match Ledger::read(path, text) {
        Ok(ledger) => {
            let again = Ledger::read(path, &ledger.print()).expect("it was printed");
            assert_eq!(ledger.recorded(), again.recorded(), "{text}");
        }
        Err(error) => {
            let _ = error.line_column();
            assert!(
                error.text.is_none() || text.contains("chartproof-ledger"),
                "{text}"
            );
        }
    }
}

/// A score, and the score its corrected copy is read as: the changed notes are changed, everything
/// else is as it was. The first byte chooses the house style.
pub fn correct_and_reread(bytes: &[u8]) {
    let Some((first, bytes)) = bytes.split_first() else {
        return;
    };
    let style = &STYLES[usize::from(*first) % STYLES.len()];
    let path = Path::new("a");
    let Ok(score) = read_each_way(path, bytes) else {
        return;
    };
    if notes(&score) > MOST_NOTES {
        return;
    }
    let score = Heard::new(score, style);
    let correction = correct(&score, style);
    let Ok(edits) = edits(&score, &correction.changes) else {
        return;
    };
    let edits: Vec<&Edit> = edits.iter().collect();
    let copy = match apply_to_file(bytes, &score.sources[0], &edits) {
        Ok(copy) => copy,
        // A sign that the file's encoding lacks is the one thing that may be refused.
        Err(error) => return assert_eq!(score.sources[0].format, Format::Grid, "{error}"),
    };
    if edits.is_empty() {
        assert_eq!(copy, bytes, "nothing was to be changed");
        return;
    }
    let mut wanted = score.into_score();
    wanted.change(&correction.changes);
    let again = read_each_way(path, &copy)
        .unwrap_or_else(|e| panic!("{e}\n{}", String::from_utf8_lossy(&copy)));
    assert_eq!(
        facts(&wanted),
        facts(&again),
        "{}",
        String::from_utf8_lossy(&copy)
    );
}

fn notes(score: &Score) -> usize {
    score.parts.iter().map(|p| p.notes.len()).sum()
}

/// All notes as they are written, but where they stand in the file.
fn facts(score: &Score) -> Vec<Vec<Note>> {
    let bare = |n: &Note| Note {
        span: Span::default(),
        sounding: n.written,
        ..*n
    };
    let of = |p: &chartproof::inside::score::Part| p.notes.iter().map(bare).collect();
    score.parts.iter().map(of).collect()
}

/// Proofs a score and makes every report of it.
fn look_at(score: Score, bytes: usize) {
    for source in &score.sources {
        let _ = source.line_column(source.text.len() as u32);
    }
    if notes(&score) > MOST_NOTES || score.bars.len() > MOST_NOTES || score.parts.len() > 40 {
        return;
    }
    let style = &STYLES[bytes % STYLES.len()];
    let score = Heard::new(score, style);
    let proofed = score.proofed(style);
    let entries = [ProofedFile {
        path: "a".into(),
        outcome: Ok((score, proofed)),
    }];
    let mut out = Buffer::no_color();
    text::render(&entries, &mut out, text::Options::default()).expect("memory takes it");
    plain(&String::from_utf8(out.into_inner()).expect("reports are text"));
    let json = json::render(&entries).expect("it is JSON");
    serde_json::from_str::<serde_json::Value>(&json).expect("it is JSON");
    let sarif = sarif::render(&entries, false).expect("it is JSON");
    serde_json::from_str::<serde_json::Value>(&sarif).expect("it is JSON");
    let html = html::render(&entries);
    assert!(!html.contains('\u{1b}'), "an escape reaches the page");
}

/// Nothing that a terminal would obey.
fn plain(report: &str) {
    let wrong = report.chars().find(|c| c.is_control() && *c != '\n');
    assert_eq!(wrong, None, "{report:?}");
}
