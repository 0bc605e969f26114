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

fn source_files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            source_files(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// The first word of a path below `src`, without `.rs`.
fn room_of(path: &Path) -> String {
    let first = path.components().next().unwrap().as_os_str();
    let first = first.to_str().unwrap();
    first.strip_suffix(".rs").unwrap_or(first).to_owned()
}

/// The code of a file without comments and without what only tests see: scores for tests are read
/// and proofed wherever the test stands.
fn without_tests(text: &str) -> String {
    let mut out = String::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        if line.trim_start().starts_with("//") {
            continue;
        }
        if line.trim() != "#[cfg(test)]" {
            out.push_str(line);
            out.push('\n');
            continue;
        }
        // What follows ends with its line, or with the brace that closes it at the same depth.
        let indent = line.len() - line.trim_start().len();
        for next in lines.by_ref() {
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
fn test_modules(file: &Path) -> Vec<PathBuf> {
    let text = fs::read_to_string(file).unwrap();
    let folder = match file.file_stem().and_then(|s| s.to_str()) {
        Some("mod" | "lib" | "main") => file.parent().unwrap().to_owned(),
        _ => file.with_extension(""),
    };
    let lines: Vec<&str> = text.lines().collect();
    let declared = lines.windows(2).filter(|pair| pair[0] == "#[cfg(test)]");
    let names = declared.filter_map(|pair| pair[1].strip_suffix(';')?.rsplit_once("mod "));
    names.map(|(_, name)| folder.join(name)).collect()
}

/// Whether a file stands in a module that only tests see.
fn only_tests_see(file: &Path, modules: &[PathBuf]) -> bool {
    modules
        .iter()
        .any(|m| file.with_extension("").starts_with(m))
}

/// The rooms named as `crate::ROOM` in a piece of code, with their 1-based lines.
fn imports(code: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for (number, line) in code.lines().enumerate() {
        for after in line.split("crate::").skip(1) {
            let name: String = after
                .chars()
                .take_while(|c| c.is_ascii_alphanumeric() || *c == '_')
                .collect();
            if floor_of(&name).is_some() {
                found.push((number + 1, name));
            }
        }
    }
    found
}

#[test]
fn every_room_imports_only_from_floors_below() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    source_files(&src, &mut files);
    files.sort();
    let only_in_tests: Vec<PathBuf> = files.iter().flat_map(|f| test_modules(f)).collect();
    let mut faults: BTreeMap<String, String> = BTreeMap::new();
    let mut seen = 0;
    for path in files {
        let below = path.strip_prefix(&src).unwrap();
        let room = room_of(below);
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
        if only_tests_see(&path, &only_in_tests) {
            continue;
        }
        for (line, other) in imports(&without_tests(&fs::read_to_string(&path).unwrap())) {
            seen += 1;
            let allowed = EXCEPTIONS.iter().any(|(r, o, _)| *r == room && *o == other);
            if other == room || floor_of(&other) < Some(floor) || allowed {
                continue;
            }
            faults.entry(format!("{room} {other}")).or_insert_with(|| {
                format!(
                    "{room} may not use {other} (src/{}, near line {line}): {other} stands on a floor \
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
    let rooms: Vec<String> = imports(&without_tests(code))
        .into_iter()
        .map(|i| i.1)
        .collect();
    assert_eq!(rooms, ["ground", "report"]);
    assert!(floor_of("score") < floor_of("rules"));
    assert_eq!(floor_of("attic"), None);
}
