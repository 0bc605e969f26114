//! Every note of every sample changed, one at a time, in its file and in memory.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use chartproof::inside::editing::{apply, apply_to_file, edits};
use chartproof::inside::ground::pitch::Pitch;
use chartproof::inside::ground::text::Edit;
use chartproof::inside::reading::files::{self, read_as_one};
use chartproof::inside::reading::read_bytes;
use chartproof::inside::score::{Change, NoteRef};
use chartproof::inside::score::{Format, Note, NoteFlags, Part, Score, Source};
use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::path::{Path, PathBuf};

/// What was tried on one file.
#[derive(Debug, Default)]
struct Tried {
    /// Notes changed and changed back.
    changes: usize,
    /// Changed and changed back to the very same bytes.
    same_bytes: usize,
    /// Accidentals of changed bars compared with the rule.
    accidentals: usize,
}

fn samples() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts");
    let mut out = Vec::new();
    for place in [folder.clone(), folder.join("ferry-at-six-parts")] {
        for entry in fs::read_dir(place).unwrap() {
            let path = entry.unwrap().path();
            // Each note of the whole chart by itself would take minutes: it is tried apart, by samples.
            let chart = path.to_string_lossy().contains("lamplighters-detour");
            if path.is_file() && !chart && files::may_be_score(&path) {
                out.push(path);
            }
        }
    }
    out.sort();
    assert!(out.len() >= 9, "{out:?}");
    out
}

/// All of a part but when it sounds and where it stands in the file.
fn facts(score: &Score) -> Vec<Vec<Note>> {
    let bare = |n: &Note| Note {
        span: chartproof::inside::ground::text::Span::default(),
        ..*n
    };
    score
        .parts
        .iter()
        .map(|p| p.notes.iter().map(bare).collect())
        .collect()
}

fn wanted(part: &Part, note: &Note, by: i16) -> Pitch {
    if by % 12 == 0 {
        return note.sounding.octaves((by / 12) as i8);
    }
    let midi = note.sounding.midi() + by;
    Pitch::in_key(midi, part.concert_fifths(note.onset))
}

fn read(path: &Path, bytes: &[u8]) -> Score {
    read_bytes(path, bytes).unwrap_or_else(|e| panic!("{e}\n{}", String::from_utf8_lossy(bytes)))
}

/// The new file and its score, checked against the change in memory and for what stayed.
fn edited(path: &Path, bytes: &[u8], score: &Score, change: Change) -> (Vec<u8>, Score) {
    let edits = edits(score, &[change]).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let all: Vec<&Edit> = edits.iter().collect();
    let source = &score.sources[0];
    let new = apply_to_file(bytes, source, &all).unwrap();
    let mut memory = score.clone();
    memory.change(&[change]);
    let again = read(path, &new);
    assert_eq!(
        facts(&memory),
        facts(&again),
        "{} {change:?} {edits:?}",
        path.display()
    );
    assert_eq!(*again.sources[0].text, *apply(&source.text, &all));
    only_the_edits(&source.text, &again.sources[0].text, &edits);
    if source.member.is_none() && std::str::from_utf8(bytes) == Ok(&source.text) {
        assert_eq!(new, again.sources[0].text.as_bytes());
    }
    (new, again)
}

/// Everything outside the edits is byte for byte what it was.
fn only_the_edits(old: &str, new: &str, edits: &[Edit]) {
    let (mut at, mut to) = (0, 0);
    for edit in edits {
        let (start, end) = (edit.start as usize, edit.end as usize);
        assert!(at <= start && start <= end && at < end.max(1), "{edits:?}");
        let kept = &old.as_bytes()[at..start];
        assert_eq!(&new.as_bytes()[to..to + kept.len()], kept);
        to += kept.len();
        assert_eq!(&new[to..to + edit.replacement.len()], edit.replacement);
        assert_ne!(
            &old[start..end],
            edit.replacement,
            "an edit that changes nothing"
        );
        to += edit.replacement.len();
        at = end;
    }
    assert_eq!(&new.as_bytes()[to..], &old.as_bytes()[at..]);
}

/// The accidental printed on a note.
fn printed<'a>(source: &'a Source, note: &Note) -> Option<&'a str> {
    let text = &source.text[note.span.start as usize..note.span.end as usize];
    let at = text
        .find("<accidental>")
        .or_else(|| text.find("<accidental "))?;
    let inner = &text[at + text[at..].find('>')? + 1..];
    Some(inner[..inner.find('<')?].trim())
}

fn is_hidden(source: &Source, note: &Note) -> bool {
    let text = &source.text[note.span.start as usize..note.span.end as usize];
    text[..text.find('>').unwrap()].contains("print-object=\"no\"")
}

fn is_reminder(source: &Source, note: &Note) -> bool {
    let text = &source.text[note.span.start as usize..note.span.end as usize];
    text.find("<accidental ")
        .is_some_and(|at| text[at..at + text[at..].find('>').unwrap()].contains("yes"))
}

/// The accidental that each note of a bar needs by the standard rule (common practice, no source):
/// in force on a line are the key signature's alterations, or the last one said on it in the bar;
/// held notes need and say nothing; two alterations at once are both said.
fn rule(source: &Source, part: &Part, bar: u32) -> BTreeMap<usize, Option<&'static str>> {
    const SHARPS: &str = "FCGDAEB";
    let mut out = BTreeMap::new();
    let mut said: HashMap<(u8, char, i8), i8> = HashMap::new();
    let mut key = None;
    for (i, note) in part.notes.iter().enumerate() {
        if note.at.bar != bar || note.flags.has(NoteFlags::SLASH) || is_hidden(source, note) {
            continue;
        }
        let fifths = part.key(note.onset).fifths;
        if key.replace(fifths).is_some_and(|k| k != fifths) {
            said.clear();
        }
        let letter = format!("{:?}", note.written.step).chars().next().unwrap();
        let line = (note.staff, letter, note.written.octave);
        let row = SHARPS.find(letter).unwrap() as i8;
        let signature = if fifths > 0 {
            i8::from(row < fifths) + i8::from(row + 7 < fifths)
        } else {
            -(i8::from(6 - row < -fifths) + i8::from(13 - row < -fifths))
        };
        let held = note.flags.has(NoteFlags::TIED_IN)
            && part.notes.iter().any(|p| {
                p.flags.has(NoteFlags::TIED_OUT)
                    && p.end() == note.onset
                    && p.onset < note.onset
                    && p.written == note.written
            });
        if held {
            out.insert(i, None);
            continue;
        }
        let grace = note.flags.has(NoteFlags::GRACE);
        let clash = !grace
            && part.notes.iter().any(|o| {
                o.onset == note.onset
                    && o.at.bar == bar
                    && o.staff == note.staff
                    && o.written.diatonic() == note.written.diatonic()
                    && o.written.alter != note.written.alter
                    && !o.flags.has(NoteFlags::GRACE)
                    && !o.flags.has(NoteFlags::TIED_IN)
                    && !o.flags.has(NoteFlags::SLASH)
                    && !is_hidden(source, o)
            });
        let force = said.insert(line, note.written.alter).unwrap_or(signature);
        let name = match note.written.alter {
            -2 => "flat-flat",
            -1 => "flat",
            0 => "natural",
            1 => "sharp",
            2 => "double-sharp",
            _ => "?",
        };
        out.insert(i, (clash || force != note.written.alter).then_some(name));
    }
    out
}

/// Notes of a bar whose accidental is not the rule's.
fn wrong(score: &Score, part: usize, bar: u32) -> Vec<usize> {
    let source = &score.sources[0];
    let part = &score.parts[part];
    rule(source, part, bar)
        .into_iter()
        .filter(|(i, needed)| {
            let note = &part.notes[*i];
            let found = printed(source, note);
            found != *needed && !(needed.is_none() && is_reminder(source, note))
        })
        .map(|(i, _)| i)
        .collect()
}

/// Changes every `every`th note of a file.
fn try_file(path: &Path, bytes: &[u8], every: usize, strict: bool) -> Tried {
    let score = read(path, bytes);
    let before = facts(&score);
    let source = &score.sources[0];
    assert_eq!(apply_to_file(bytes, source, &[]).unwrap(), bytes);
    let mut tried = Tried::default();
    let mut count = 0;
    for (p, part) in score.parts.iter().enumerate() {
        let text = |p: &Part| {
            p.bars.iter().any(|b| {
                let bar = &source.text[b.span.start as usize..b.span.end as usize];
                bar.contains("<accidental>") || bar.contains("<accidental ")
            })
        };
        let prints = text(part);
        if strict && source.format == Format::MusicXml {
            for bar in 0..part.bars.len() as u32 {
                assert_eq!(
                    wrong(&score, p, bar),
                    [0; 0],
                    "{} {p} {bar}",
                    path.display()
                );
            }
        }
        for (n, note) in part.notes.iter().enumerate() {
            count += 1;
            if note.flags.has(NoteFlags::TIED_IN) || count % every != 0 {
                continue;
            }
            for by in [1, -12] {
                let sounding = wanted(part, note, by);
                let at = NoteRef {
                    part: p as u32,
                    note: n as u32,
                };
                let written = score.written_for(at, sounding);
                if written.octave < 0 {
                    continue;
                }
                let (new, again) = edited(path, bytes, &score, Change { note: at, sounding });
                tried.changes += 1;
                if prints {
                    let mut bars: Vec<u32> = score
                        .tied_chain(at)
                        .iter()
                        .map(|r| part.notes[r.note as usize].at.bar)
                        .collect();
                    bars.dedup();
                    for bar in bars {
                        let was = wrong(&score, p, bar);
                        for i in wrong(&again, p, bar) {
                            assert!(
                                !strict && was.contains(&i) && i != n,
                                "{} part {p} note {n} bar {bar}: {by:+}: {i} has {:?}\n{}\n{}",
                                path.display(),
                                printed(&again.sources[0], &again.parts[p].notes[i]),
                                bar_text(&score, p, bar),
                                bar_text(&again, p, bar),
                            );
                        }
                        tried.accidentals += rule(&again.sources[0], &again.parts[p], bar).len();
                    }
                }
                let back = Change {
                    note: at,
                    sounding: note.sounding,
                };
                let (restored, restored_score) = edited(path, &new, &again, back);
                assert_eq!(facts(&restored_score), before, "{}", path.display());
                tried.same_bytes += usize::from(
                    restored_score.sources[0].text == source.text
                        && (source.member.is_some() || restored == bytes),
                );
            }
        }
    }
    tried
}

fn bar_text(score: &Score, part: usize, bar: u32) -> &str {
    let span = score.parts[part].bars[bar as usize].span;
    &score.sources[0].text[span.start as usize..span.end as usize]
}

#[test]
fn every_note_of_every_sample() {
    for path in samples() {
        let bytes = fs::read(&path).unwrap();
        let tried = try_file(&path, &bytes, 1, true);
        assert!(tried.changes > 30, "{} {tried:?}", path.display());
        if path.extension().is_some_and(|e| e != "passage") {
            assert!(tried.accidentals > 100, "{} {tried:?}", path.display());
            assert_eq!(tried.same_bytes, tried.changes, "{}", path.display());
        }
        println!("{} {tried:?}", path.display());
    }
}

#[test]
fn some_notes_of_the_whole_chart() {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/lamplighters-detour.musicxml");
    let bytes = fs::read(&path).unwrap();
    let tried = try_file(&path, &bytes, 131, true);
    assert!(tried.changes > 20, "{}", tried.changes);
}

#[test]
fn other_encodings_keep_their_bytes() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-parts/ferry-at-six-parts/2-alto-2.musicxml");
    let text = fs::read_to_string(&path).unwrap().replace('\n', "\r\n");
    let utf16 = text.replace("UTF-8", "UTF-16");
    let little: Vec<u8> = "\u{feff}"
        .encode_utf16()
        .chain(utf16.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    let big: Vec<u8> = utf16.encode_utf16().flat_map(u16::to_be_bytes).collect();
    let mut latin = Vec::new();
    for c in text
        .replace("UTF-8", "ISO-8859-1")
        .replace("<part-name>", "<part-name>é")
        .chars()
    {
        latin.push(u8::try_from(u32::from(c)).unwrap());
    }
    let marked = format!("\u{feff}{text}").into_bytes();
    for bytes in [little, big, latin, marked] {
        let tried = try_file(&path, &bytes, 7, true);
        assert!(
            tried.changes > 5 && tried.same_bytes == tried.changes,
            "{tried:?}"
        );
    }
}

/// Every note that is attacked, made to sound so much higher.
fn all_by(score: &Score, by: i16) -> Vec<Change> {
    let mut out = Vec::new();
    for (p, part) in score.parts.iter().enumerate() {
        for (n, note) in part.notes.iter().enumerate() {
            if !note.flags.has(NoteFlags::TIED_IN) {
                out.push(Change {
                    note: NoteRef {
                        part: p as u32,
                        note: n as u32,
                    },
                    sounding: wanted(part, note, by),
                });
            }
        }
    }
    out
}

#[test]
fn all_notes_at_once() {
    for path in samples() {
        let bytes = fs::read(&path).unwrap();
        let score = read(&path, &bytes);
        for by in [1, 3, -1, 12] {
            let changes = all_by(&score, by);
            let made = edits(&score, &changes).unwrap();
            let new = apply_to_file(
                bytes.as_slice(),
                &score.sources[0],
                &made.iter().collect::<Vec<_>>(),
            );
            let new = new.unwrap();
            let again = read(&path, &new);
            let mut memory = score.clone();
            memory.change(&changes);
            assert_eq!(facts(&memory), facts(&again), "{} {by}", path.display());
            only_the_edits(&score.sources[0].text, &again.sources[0].text, &made);
            if score.sources[0].format == Format::MusicXml {
                for (p, part) in again.parts.iter().enumerate() {
                    for bar in 0..part.bars.len() as u32 {
                        assert_eq!(wrong(&again, p, bar), [0; 0], "{} {by}", path.display());
                    }
                }
            }
            // All the way back, note by note from what was in the file.
            let back: Vec<Change> = changes
                .iter()
                .map(|c| Change {
                    note: c.note,
                    sounding: score.parts[c.note.part as usize].notes[c.note.note as usize]
                        .sounding,
                })
                .collect();
            let made = edits(&again, &back).unwrap();
            let restored = apply(&again.sources[0].text, &made.iter().collect::<Vec<_>>());
            assert_eq!(facts(&read(&path, restored.as_bytes())), facts(&score));
        }
    }
}

#[test]
fn parts_in_files_of_their_own_are_edited_each_in_its_file() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/ferry-at-six-parts");
    let score = read_as_one(&[folder]).remove(0).score.unwrap();
    assert_eq!(score.sources.len(), 5);
    let changes = all_by(&score, 1);
    let made = edits(&score, &changes).unwrap();
    let mut memory = score.clone();
    memory.change(&changes);
    for (i, source) in score.sources.iter().enumerate() {
        let own: Vec<&Edit> = made.iter().filter(|e| usize::from(e.source) == i).collect();
        let bytes = fs::read(&source.path).unwrap();
        let new = apply_to_file(bytes.as_slice(), source, &own).unwrap();
        let again = read(&source.path, &new);
        let pitches =
            |p: &Part| -> Vec<_> { p.notes.iter().map(|n| (n.written, n.sounding)).collect() };
        let here: Vec<_> = memory
            .parts
            .iter()
            .filter(|p| usize::from(p.notes[0].span.source) == i)
            .map(pitches)
            .collect();
        assert_eq!(here, again.parts.iter().map(pitches).collect::<Vec<_>>());
    }
}

#[test]
fn bar_lines_of_a_grid_stay_in_their_columns() {
    let path = samples()
        .into_iter()
        .find(|p| p.extension().is_some_and(|e| e == "passage"))
        .unwrap();
    let bytes = fs::read(&path).unwrap();
    let score = read(&path, &bytes);
    let lines = |text: &str| -> Vec<Vec<usize>> {
        text.lines()
            .map(|l| {
                l.chars()
                    .enumerate()
                    .filter(|(_, c)| *c == '|')
                    .map(|(i, _)| i)
                    .collect()
            })
            .collect()
    };
    let source = &score.sources[0];
    for change in all_by(&score, 1).into_iter().chain(all_by(&score, -1)) {
        let made = edits(&score, &[change]).unwrap();
        let new = apply(&source.text, &made.iter().collect::<Vec<_>>());
        assert_eq!(lines(&new), lines(&source.text), "{new}");
    }
}
