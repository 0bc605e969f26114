//! Every MusicXML file of an open corpus (published: the corpus of music21 10.5.1): each is read, the
//! notes are those that music21 reads, but for the differences that `tests/tables` explains one by
//! one, and a correction changes the bytes of its note and no others.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::fuzzed::bodies::read_each_way;
use crate::outside::{self, ask, lines, scores};
use chartproof::inside::editing;
use chartproof::inside::file_text::container;
use chartproof::inside::ground::pitch::{Pitch, Step};
use chartproof::inside::ground::text::Edit;
use chartproof::inside::reading::musicxml::Ways;
use chartproof::inside::reading::{files::read_file, read_bytes, read_bytes_in};
use chartproof::inside::score::{Change, NoteRef};
use chartproof::inside::score::{NoteFlags, Score, Source};
use num_rational::Ratio;
use rayon::prelude::*;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::io::{Cursor, Read as _};
use std::path::Path;
use std::time::{Duration, Instant};

const TABLE: &str = "tests/tables/corpus_differences.tsv";

/// How many files the corpus has.
const FILES: usize = 654;

/// What reading one file may take, however slow the machine and the build.
const PATIENCE: Duration = Duration::from_secs(10);

/// A multiset.
type Bag = BTreeMap<String, i64>;

fn bag<'a>(notes: impl Iterator<Item = &'a str>) -> Bag {
    let mut bag = Bag::new();
    for note in notes {
        *bag.entry(note.to_owned()).or_default() += 1;
    }
    bag
}

/// How many of `a` are not in `b`.
fn missing(a: &Bag, b: &Bag) -> i64 {
    a.iter()
        .map(|(note, n)| (n - b.get(note).copied().unwrap_or(0)).max(0))
        .sum()
}

/// A note as the script writes it, without its onset and with it.
fn without_onset(note: &str) -> &str {
    note.rsplit_once(' ').unwrap().0
}

/// The notes of every part, as the script writes them.
fn ours(score: &Score) -> Vec<Vec<String>> {
    let per_quarter = score.per_quarter.0;
    let quarters = |ticks: i64| Ratio::new(ticks, per_quarter).to_string();
    let of_part = |part: &chartproof::inside::score::Part| {
        part.notes
            .iter()
            .map(|n| {
                format!(
                    "{} {} {} {} {}",
                    n.at.bar,
                    quarters(n.at.offset.0),
                    quarters(n.duration.0),
                    n.sounding,
                    quarters(n.onset.0)
                )
            })
            .collect()
    };
    score.parts.iter().map(of_part).collect()
}

/// Notes that differ in bar, offset, duration or pitch, and notes that differ in nothing but the time
/// since the start of the score.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Differences {
    notes: i64,
    onsets: i64,
    /// A sum over the differing notes as each side reads them: other notes, another sum.
    which: u64,
}

impl Differences {
    fn sum(&mut self, part: usize, side: char, a: &Bag, b: &Bag) {
        for (note, n) in a {
            let more = n - b.get(note).unwrap_or(&0);
            if more > 0 {
                let one = fnv(&format!("{part}{side}{note}"));
                self.which = self.which.wrapping_add(one.wrapping_mul(more as u64));
            }
        }
    }
}

/// FNV-1a, 64 bits (offset basis and prime from memory): the same in every version of everything.
fn fnv(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

fn differences(ours: &[Vec<String>], theirs: &Value) -> Differences {
    let theirs: Vec<Vec<&str>> = theirs
        .as_array()
        .unwrap()
        .iter()
        .map(|part| {
            let notes = part["notes"].as_array().unwrap();
            notes.iter().map(|n| n.as_str().unwrap()).collect()
        })
        .collect();
    let mut found = Differences::default();
    for index in 0..ours.len().max(theirs.len()) {
        let here: Vec<&str> = ours
            .get(index)
            .map(|p| p.iter().map(String::as_str).collect())
            .unwrap_or_default();
        let there = theirs.get(index).cloned().unwrap_or_default();
        let (a, b) = (
            bag(here.iter().map(|n| without_onset(n))),
            bag(there.iter().map(|n| without_onset(n))),
        );
        let notes = missing(&a, &b).max(missing(&b, &a));
        let (a, b) = (bag(here.into_iter()), bag(there.into_iter()));
        let all = missing(&a, &b).max(missing(&b, &a));
        found.notes += notes;
        found.onsets += all - notes;
        found.sum(index, '<', &a, &b);
        found.sum(index, '>', &b, &a);
    }
    found
}

/// The differences that are known, by file.
fn known() -> BTreeMap<String, Differences> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(TABLE);
    let table = fs::read_to_string(path).unwrap();
    table
        .lines()
        .filter(|l| !l.starts_with('#'))
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split('\t').collect();
            let [file, notes, onsets, which, cause, right] = cells[..] else {
                panic!("six columns: {line}");
            };
            assert!(!cause.is_empty() && right == "chartproof", "{line}");
            let known = Differences {
                notes: notes.parse().unwrap(),
                onsets: onsets.parse().unwrap(),
                which: u64::from_str_radix(which, 16).unwrap(),
            };
            (file.to_owned(), known)
        })
        .collect()
}

#[test]
fn notes_are_those_that_music21_reads_or_the_difference_is_explained() {
    let every = (FILES / scores(33)).max(1);
    let Some((_, said)) = ask("corpus_reading.py", [every.to_string()]) else {
        return;
    };
    let known = known();
    let (mut compared, mut unexplained) = (0, Vec::new());
    let theirs = lines(&said);
    assert!(theirs.len() >= 30, "{}", theirs.len());
    for score in &theirs {
        let name = score["name"].as_str().unwrap();
        if let Some(error) = score["error"].as_str() {
            unexplained.push(format!("{name}: music21 says {error}"));
            continue;
        }
        let path = Path::new(score["file"].as_str().unwrap());
        let bytes = fs::read(path).unwrap();
        let expected = known.get(name).copied().unwrap_or_default();
        for (way, ways) in Ways::ALL {
            let ours = ours(&read_bytes_in(ways, path, bytes.as_slice()).unwrap());
            compared += ours.iter().map(Vec::len).sum::<usize>();
            let found = differences(&ours, &score["parts"]);
            if found != expected {
                let Differences {
                    notes,
                    onsets,
                    which,
                } = found;
                unexplained.push(format!("{name}\t{notes}\t{onsets}\t{which:016x}\t{way}"));
            }
        }
    }
    assert!(
        unexplained.is_empty(),
        "not as {TABLE} has it (file, notes, onsets, which, way of reading):\n{}",
        unexplained.join("\n")
    );
    println!(
        "{} files, {} notes",
        theirs.len(),
        compared / Ways::ALL.len()
    );
}

/// The files of the corpus.
fn corpus() -> Option<Vec<String>> {
    let (_, said) = ask("corpus_reading.py", ["list"])?;
    let files: Vec<String> = outside::files(&lines(&said))
        .into_iter()
        .map(str::to_owned)
        .collect();
    assert_eq!(files.len(), FILES);
    Some(files)
}

#[test]
fn every_file_is_read_in_time() {
    let Some(files) = corpus() else { return };
    let faults: Vec<String> = files
        .par_iter()
        .filter_map(|file| {
            let start = Instant::now();
            match read_file(Path::new(file)) {
                Err(error) => Some(error.to_string()),
                Ok(_) if start.elapsed() > PATIENCE => Some(format!("{file}: too slow")),
                Ok(_) => None,
            }
        })
        .collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_file_is_read_alike_in_each_way() {
    let Some(files) = corpus() else { return };
    let every = (FILES / scores(FILES / 6)).max(1);
    files.par_iter().step_by(every).for_each(|file| {
        let bytes = fs::read(file).unwrap();
        read_each_way(Path::new(file), &bytes).unwrap();
    });
}

/// Notes from the start, the middle and the end of the parts, a step higher than they are.
fn forced(score: &Score) -> Vec<Change> {
    let mut changes = Vec::new();
    for (index, part) in (0u32..).zip(&score.parts) {
        let real: Vec<u32> = (0u32..)
            .zip(&part.notes)
            .filter(|(_, n)| !n.flags.has(NoteFlags::GRACE) && (1..9).contains(&n.written.octave))
            .map(|(i, _)| i)
            .collect();
        for at in [0, real.len() / 2, real.len().saturating_sub(1)] {
            let Some(&note) = real.get(at) else { continue };
            let old = part.notes[note as usize].sounding;
            let (step, octave) = match old.step {
                Step::C => (Step::D, old.octave),
                Step::D => (Step::E, old.octave),
                Step::E => (Step::F, old.octave),
                Step::F => (Step::G, old.octave),
                Step::G => (Step::A, old.octave),
                Step::A => (Step::B, old.octave),
                Step::B => (Step::C, old.octave + 1),
            };
            changes.push(Change {
                note: NoteRef { part: index, note },
                sounding: Pitch::new(step, old.alter, octave),
            });
        }
    }
    changes
}

/// The text a source has in these bytes.
fn inner(bytes: &[u8], source: &Source) -> Vec<u8> {
    match &source.member {
        Some(_) => container::open(bytes).unwrap().1,
        None => bytes.to_vec(),
    }
}

/// Every entry of a container but one, as it lies packed.
fn others(bytes: &[u8], but: &str) -> Vec<(String, Vec<u8>)> {
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    (0..zip.len())
        .filter_map(|i| {
            let mut entry = zip.by_index_raw(i).unwrap();
            let name = entry.name().unwrap().to_string();
            let mut packed = Vec::new();
            entry.read_to_end(&mut packed).unwrap();
            (name != but).then_some((name, packed))
        })
        .collect()
}

/// Walks through both texts side by side: what no edit names must be the same byte for byte, what
/// stands in place of an edit must be its replacement.
fn only_edited(old: &[u8], new: &[u8], edits: &[Edit], per_byte: usize) -> Result<(), String> {
    let (mut a, mut b) = (0, 0);
    for edit in edits {
        let start = edit.start as usize * per_byte;
        let kept = start - a;
        if old.get(a..start) != new.get(b..b + kept) {
            return Err(format!("bytes {a} to {start} are not what they were"));
        }
        b += kept;
        let written = edit.replacement.as_bytes();
        if per_byte == 1 && new.get(b..b + written.len()) != Some(written) {
            return Err(format!("at byte {start}: not `{}`", edit.replacement));
        }
        b += written.len() * per_byte;
        a = edit.end as usize * per_byte;
    }
    if old.get(a..) == new.get(b..) {
        Ok(())
    } else {
        Err(format!("the bytes after {a} are not what they were"))
    }
}

/// What is wrong with a file that was corrected by force.
fn corrected(file: &str) -> Result<usize, String> {
    let path = Path::new(file);
    let bytes = fs::read(path).unwrap();
    let score = read_bytes(path, bytes.as_slice()).map_err(|e| e.to_string())?;
    let changes = forced(&score);
    let edits = editing::edits(&score, &changes).map_err(|e| e.to_string())?;
    if !changes.is_empty() && edits.is_empty() {
        return Err("nothing was changed".to_owned());
    }
    let source = &score.sources[0];
    let all: Vec<&Edit> = edits.iter().collect();
    let new = editing::apply_to_file(bytes.as_slice(), source, &all).map_err(|e| e.to_string())?;
    let (old_text, new_text) = (inner(&bytes, source), inner(&new, source));
    let utf16 = old_text.starts_with(&[0xFF, 0xFE]) || old_text.starts_with(&[0xFE, 0xFF]);
    // Spans are bytes of the text without its byte order mark.
    let mark = if utf16 {
        2
    } else {
        3 * usize::from(old_text.starts_with(b"\xEF\xBB\xBF"))
    };
    if old_text[..mark] != new_text[..mark] {
        return Err("the byte order mark".to_owned());
    }
    if !utf16 || source.text.is_ascii() {
        let per_byte = 1 + usize::from(utf16);
        only_edited(&old_text[mark..], &new_text[mark..], &edits, per_byte)?;
    }
    if let Some(member) = &source.member
        && others(&bytes, member) != others(&new, member)
    {
        return Err("another entry of the container".to_owned());
    }
    let again = read_bytes(path, new.as_slice()).map_err(|e| e.to_string())?;
    let mut meant = score.clone();
    meant.change(&changes);
    for (part, (want, got)) in meant.parts.iter().zip(&again.parts).enumerate() {
        let pitches = |p: &chartproof::inside::score::Part| -> Vec<Pitch> {
            p.notes.iter().map(|n| n.sounding).collect()
        };
        if pitches(want) != pitches(got) {
            return Err(format!("part {part} does not read as it was meant"));
        }
    }
    Ok(edits.len())
}

#[test]
fn a_correction_forced_in_every_file_changes_its_own_bytes_only() {
    let Some(files) = corpus() else { return };
    let every = (FILES / scores(FILES / 6)).max(1);
    let files: Vec<String> = files.into_iter().step_by(every).collect();
    let made: Vec<Result<usize, String>> = files
        .par_iter()
        .map(|f| corrected(f).map_err(|e| format!("{f}: {e}")))
        .collect();
    let faults: Vec<&str> = made
        .iter()
        .filter_map(|r| r.as_ref().err().map(String::as_str))
        .collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    let edits: usize = made.iter().flatten().sum();
    assert!(edits > 2 * files.len(), "{edits}: the check is empty");
    println!("{} files, {edits} pieces written anew", files.len());
}
