//! The floors of the house. A room of `src/` is a folder, or a file beside the folders. It imports
//! only rooms on lower floors; rooms on one floor do not know each other.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// The floors from the ground up, each with its rooms. Move a room only with a reason: a room that
/// needs something from above usually holds a small type or function that belongs below.
const FLOORS: &[&[&str]] = &[
    &["ground"],
    &["score", "voicing", "file_text"],
    &["reading", "notation", "sonority"],
    &["writing", "editing", "engraving"],
    &["condition"],
    &["style"],
    &["diagnosis"],
    &["finding"],
    &["rules"],
    &["fixing"],
    &["proof"],
    &[
        "house_style",
        "homework",
        "model_answer",
        "correct",
        "marking",
        "analysis",
    ],
    &["report"],
    &["cli"],
    &["face", "inside"],
    &["lib"],
    &["main"],
];

/// Imports that the floors forbid, each with the reason why it stands.
const EXCEPTIONS: &[(&str, &str, &str)] = &[];

fn floor_of(room: &str) -> Option<usize> {
    FLOORS.iter().position(|rooms| rooms.contains(&room))
}

/// Every file of source that not only tests see, in order: its path below `src` and its text.
pub fn all_source() -> Vec<(PathBuf, String)> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut folders = vec![src.clone()];
    let mut files = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let below = path.strip_prefix(&src).unwrap().to_owned();
                files.push((below, fs::read_to_string(path).unwrap()));
            }
        }
    }
    let only_in_tests: Vec<PathBuf> = files.iter().flat_map(|(f, t)| test_modules(f, t)).collect();
    files.retain(|(file, _)| {
        let file = file.with_extension("");
        !only_in_tests.iter().any(|m| file.starts_with(m))
    });
    files.sort();
    files
}

/// The first word of a path below `src`, without `.rs`.
fn room_of(path: &Path) -> String {
    let first = path.components().next().unwrap().as_os_str();
    let first = first.to_str().unwrap();
    first.strip_suffix(".rs").unwrap_or(first).to_owned()
}

/// The lines of a file, each with its 1-based number, without those that only tests see: scores for
/// tests are read and proofed wherever the test stands.
pub fn lines_without_tests(text: &str) -> Vec<(usize, &str)> {
    let mut out = Vec::new();
    let mut lines = text.lines().enumerate();
    while let Some((index, line)) = lines.next() {
        if line.trim() != "#[cfg(test)]" {
            out.push((index + 1, line));
            continue;
        }
        // What follows ends with its line, or with the brace that closes it at the same depth.
        let indent = line.len() - line.trim_start().len();
        for (_, next) in lines.by_ref() {
            let own = next.len() - next.trim_start().len();
            let ends = next.trim_end().ends_with(';') && own == indent;
            if own == indent && (ends || next.trim() == "}") {
                break;
            }
        }
    }
    out
}

/// The modules that a file declares for tests alone, as paths without `.rs`.
fn test_modules(file: &Path, text: &str) -> Vec<PathBuf> {
    let folder = match file.file_stem().and_then(|s| s.to_str()) {
        Some("mod" | "lib" | "main") => file.parent().unwrap().to_owned(),
        _ => file.with_extension(""),
    };
    let lines: Vec<&str> = text.lines().collect();
    let declared = lines.windows(2).filter(|pair| pair[0] == "#[cfg(test)]");
    let names = declared.filter_map(|pair| pair[1].strip_suffix(';')?.rsplit_once("mod "));
    names.map(|(_, name)| folder.join(name)).collect()
}

/// The rooms named as `crate::ROOM` outside tests and comments, with their 1-based lines.
fn imports(text: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for (number, line) in lines_without_tests(text) {
        if line.trim_start().starts_with("//") {
            continue;
        }
        for after in line.split("crate::").skip(1) {
            let name: String = after
                .chars()
                .take_while(|c| c.is_ascii_alphanumeric() || *c == '_')
                .collect();
            if floor_of(&name).is_some() {
                found.push((number, name));
            }
        }
    }
    found
}

#[test]
fn every_room_imports_only_from_floors_below() {
    let mut faults: BTreeMap<String, String> = BTreeMap::new();
    let mut seen = 0;
    for (below, text) in all_source() {
        let room = room_of(&below);
        let Some(floor) = floor_of(&room) else {
            faults.insert(
                room.clone(),
                format!(
                    "src/{} is on no floor: add `{room}` to FLOORS",
                    below.display()
                ),
            );
            continue;
        };
        for (line, other) in imports(&text) {
            seen += 1;
            let allowed = EXCEPTIONS.iter().any(|(r, o, _)| *r == room && *o == other);
            if other == room || floor_of(&other) < Some(floor) || allowed {
                continue;
            }
            faults.entry(format!("{room} {other}")).or_insert_with(|| {
                format!(
                    "{room} may not use {other} (src/{}, line {line}): {other} stands on a floor \
                     above {room} or on the same one; move the small thing it needs down",
                    below.display()
                )
            });
        }
    }
    assert!(seen > 500, "only {seen} imports seen: is src read at all?");
    let faults: Vec<String> = faults.into_values().collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn an_import_that_climbs_is_seen() {
    let code = "use crate::ground::pitch::Pitch;\n// use crate::cli::x;\nlet x = crate::report::y();\n\
                #[cfg(test)]\nuse crate::reading::grid;\n#[cfg(test)]\nmod tests {\n    use crate::proof::z;\n}\n";
    let rooms: Vec<String> = imports(code).into_iter().map(|i| i.1).collect();
    assert_eq!(rooms, ["ground", "report"]);
    assert!(floor_of("score") < floor_of("rules"));
    assert_eq!(floor_of("attic"), None);
}
