//! How findings speak to players: the pitch of the file first, the other one in brackets.

use crate::diagnosis::Fault;
use crate::finding::{Finding, NoteAtFault};
use crate::ground::pitch::Pitch;
use crate::ground::text::{LONGEST_SENTENCE, cut};
use crate::rules::shared::stretch;
use crate::score::Score;
use crate::score::{Change, Note, NoteRef};
use crate::sonority::voice_number;
use smallvec::SmallVec;
use std::fmt::Write;

/// The part's name.
pub fn part(score: &Score, index: u32) -> &str {
    score
        .parts
        .get(index as usize)
        .map_or("a part", |p| p.name.as_str())
}

/// A pitch for the player of a note, as people are told of it.
pub fn for_player(score: &Score, at: NoteRef, sounding: Pitch) -> String {
    score.spoken(at, sounding).to_string()
}

/// A limit of an instrument, which is at written pitch, beside notes of a part.
pub fn limit(score: &Score, part: u32, written: Pitch) -> String {
    if score.speaks_sounding(part) {
        format!("written {written}")
    } else {
        written.to_string()
    }
}

/// The label under a note: what it should be, at the pitch that comes first.
fn label(score: &Score, fault: &Fault) -> String {
    if fault.found == fault.expected {
        return "this note".to_owned();
    }
    should_be(score, fault.note, fault.expected)
}

fn should_be(score: &Score, note: NoteRef, expected: Pitch) -> String {
    format!("should be {}", score.spoken(note, expected).first)
}

/// Notes that should sound otherwise, each with its label.
/// Lets marks and expected notes say what a fix writes, where they say what should stand there: a finding is
/// one account of what was meant.
pub fn agree(score: &Score, finding: &mut Finding, changes: &[Change]) {
    let says = |n: &NoteAtFault| n.expected.is_some() && n.label.starts_with("should be");
    if !finding.notes.iter().any(says) {
        return;
    }
    for note in finding.notes.iter_mut().filter(|n| says(n)) {
        match changes.iter().find(|c| c.note == note.note) {
            Some(change) if note.expected != Some(change.sounding) => {
                note.expected = Some(change.sounding);
                note.label = should_be(score, change.note, change.sounding);
            }
            None => {
                note.expected = None;
                "with this note".clone_into(&mut note.label);
            }
            Some(_) => {}
        }
    }
    finding.marked_by_rule = Some(finding.notes.len());
    for change in changes {
        let mut marked = finding.notes.iter_mut();
        match marked.find(|n| n.note == change.note) {
            // Its label says why already.
            Some(note) => note.expected = Some(change.sounding),
            None => finding.notes.push(NoteAtFault {
                note: change.note,
                voice: 0,
                expected: Some(change.sounding),
                label: should_be(score, change.note, change.sounding),
            }),
        }
    }
    let mut expected = finding.found.clone();
    let mut all = true;
    for change in changes {
        let parts = score.parts.get(change.note.part as usize);
        let old = parts.and_then(|p| p.notes.get(change.note.note as usize));
        let at = old.and_then(|n| expected.iter().position(|p| *p == n.sounding));
        match at.and_then(|at| expected.get_mut(at)) {
            Some(slot) => *slot = change.sounding,
            None => all = false,
        }
    }
    if all && !finding.expected.is_empty() {
        expected.sort_by_key(|p| std::cmp::Reverse(p.midi()));
        finding.expected = expected;
    }
    for note in finding.notes.iter_mut().filter(|n| n.voice == 0) {
        let voice = finding
            .expected
            .iter()
            .position(|p| Some(*p) == note.expected);
        note.voice = voice.map_or(0, voice_number);
    }
}

pub fn marks(score: &Score, faults: &[Fault]) -> impl Iterator<Item = NoteAtFault> {
    faults.iter().map(|f| NoteAtFault {
        note: f.note,
        voice: f.voice,
        expected: Some(f.expected),
        label: label(score, f),
    })
}

/// The parts in which several of these notes stand (a piano), so that names do not tell them apart.
fn shared_parts(faults: &[Fault]) -> SmallVec<[u32; 8]> {
    let mut parts: SmallVec<[u32; 8]> = faults.iter().map(|f| f.note.part).collect();
    parts.sort_unstable();
    let shared = parts.chunk_by(|a, b| a == b).filter(|same| same.len() > 1);
    shared.filter_map(|same| same.first().copied()).collect()
}

/// "alto 2 has D6 (sounding F5), tenor 1 has ...".
pub fn who_has(score: &Score, faults: &[Fault]) -> String {
    let mut all = String::with_capacity(faults.len() * 40);
    for (index, f) in faults.iter().enumerate() {
        let who = part(score, f.note.part);
        let what = for_player(score, f.note, f.found);
        let _ = write!(all, "{}{who} has {what}", before(index, faults.len()));
    }
    all
}

/// What to write instead, one clause for each player.
pub fn instead(score: &Score, faults: &[Fault]) -> Option<String> {
    let shared = shared_parts(faults);
    let each: Vec<String> = faults
        .iter()
        .filter(|f| f.found != f.expected)
        .map(|f| {
            let name = part(score, f.note.part);
            let from = for_player(score, f.note, f.found);
            let to = for_player(score, f.note, f.expected);
            let voice = if f.voice > 0 && shared.binary_search(&f.note.part).is_ok() {
                format!(", voice {}", f.voice)
            } else {
                String::new()
            };
            let octaves = f.expected.midi() - f.found.midi();
            let how = match octaves {
                12 => " (an octave up)",
                -12 => " (an octave down)",
                _ => "",
            };
            format!("{name}{voice}: write {to} instead of {from}{how}")
        })
        .collect();
    let all = || cut(&each.join("; "), LONGEST_SENTENCE).into_owned();
    (!each.is_empty()).then(all)
}

/// Changes in words a player understands: "alto 2: write D5 (sounding F4) instead of ...".
pub fn in_words(score: &Score, changes: &[Change]) -> Option<String> {
    if let Some(words) = stretch::in_words(score, changes) {
        return Some(words);
    }
    let faults: Vec<Fault> = changes
        .iter()
        .filter_map(|c| {
            let part = score.parts.get(c.note.part as usize)?;
            let note = part.notes.get(c.note.note as usize)?;
            Some(Fault {
                note: c.note,
                found: note.sounding,
                voice: 0,
                expected: c.sounding,
            })
        })
        .collect();
    instead(score, &faults)
}

/// "a", "a and b", "a, b and c".
pub fn join(items: &[impl AsRef<str>]) -> String {
    let each = items.iter().enumerate();
    each.flat_map(|(index, item)| [before(index, items.len()), item.as_ref()])
        .collect()
}

/// What stands before an item in a list of so many.
const fn before(index: usize, of: usize) -> &'static str {
    match index {
        0 => "",
        last if last + 1 == of => " and ",
        _ => ", ",
    }
}

/// "a passing note", "an escape tone".
pub fn with_article(words: &str) -> String {
    let vowel = words.starts_with(['a', 'e', 'i', 'o', 'u', 'A', 'E', 'I', 'O']);
    // As it is spoken: "a euphonium", "a ukulele".
    let spoken = ["eu", "uk", "uni"].iter().any(|w| words.starts_with(w));
    let article = if vowel && !spoken { "an" } else { "a" };
    format!("{article} {words}")
}

/// How two players have one line: in unison, or in octaves.
pub fn in_one_line(a: &Note, b: &Note) -> &'static str {
    // A slip of an accidental is a semitone or two.
    if (a.sounding.midi() - b.sounding.midi()).abs() < 6 {
        "unison"
    } else {
        "octaves"
    }
}
