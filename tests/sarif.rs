//! The SARIF log held to the official schema of SARIF 2.1.0 (carried by the source of the crate
//! `serde-sarif`, a test dependency), and to the files it speaks of.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use chartproof::inside::file_text::{container, encoding};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn run(folder: &Path, args: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_chartproof"))
        .current_dir(folder)
        .args(args)
        .output()
        .unwrap();
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
    )
}

fn proof(folder: &Path, format: &str, args: &[&str]) -> Value {
    let mut all = vec!["proof", "--format", format];
    all.extend(args);
    serde_json::from_str(&run(folder, &all).1).unwrap()
}

/// What cargo prints, asked as this test was built: with the same cargo and the same folder of packages.
fn cargo(args: &[&str]) -> String {
    let output = Command::new(env!("CARGO"))
        .current_dir(root())
        .args(args)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "cargo {args:?}: {said}");
    String::from_utf8(output.stdout).unwrap()
}

/// The official schema, from the source of the crate that carries it.
fn schema() -> Value {
    // Only packages of this platform were downloaded to build the tests. Those of others are not asked for.
    let version = cargo(&["-vV"]);
    let host = version.lines().find_map(|l| l.strip_prefix("host: "));
    let args = ["metadata", "--locked", "--format-version", "1"];
    let metadata = cargo(&[&args[..], &["--filter-platform", host.unwrap()]].concat());
    let metadata: Value = serde_json::from_str(&metadata).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    let carrier = packages
        .iter()
        .find(|p| p["name"] == "serde-sarif")
        .unwrap();
    let manifest = Path::new(carrier["manifest_path"].as_str().unwrap());
    let text = fs::read_to_string(manifest.with_file_name("src").join("schema.json")).unwrap();
    let schema: Value = serde_json::from_str(&text).unwrap();
    let title = schema["title"].as_str().unwrap();
    assert!(title.contains("(SARIF) Version 2.1.0"), "{title}");
    without_odd_pattern(schema)
}

/// The pattern of a language tag in the official schema has a bracket too many, which strict readers
/// of patterns refuse: `language` is only held to be text.
fn without_odd_pattern(mut value: Value) -> Value {
    match &mut value {
        Value::Object(members) => {
            let odd = |p: &Value| p.as_str().is_some_and(|p| p.ends_with("]?$"));
            if members.get("pattern").is_some_and(odd) {
                members.remove("pattern");
            }
            for member in members.values_mut() {
                *member = without_odd_pattern(member.take());
            }
        }
        Value::Array(items) => {
            for item in items {
                *item = without_odd_pattern(item.take());
            }
        }
        _ => {}
    }
    value
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A folder with samples in several encodings, an unreadable file, names that need encoding, a house
/// style that accepts a finding, a ledger, and a repository.
fn desk() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name);
    let soli = fs::read_to_string(root().join("sample-parts/ferry-at-six.musicxml")).unwrap();
    let soli = soli.replacen("<work-title>", "<work-title>\u{266d} \u{1d11e} ", 1);
    assert!(soli.contains('\u{1d11e}'));
    let other_declaration = soli.replacen("UTF-8", "UTF-16", 1);
    let mut utf16 = vec![0xFF, 0xFE];
    utf16.extend(other_declaration.encode_utf16().flat_map(u16::to_le_bytes));
    fs::write(place("utf16 [1].musicxml"), utf16).unwrap();
    let mut marked = vec![0xEF, 0xBB, 0xBF];
    marked.extend(soli.replace('\n', "\r\n").bytes());
    fs::write(place("byte order mark \u{e9}.musicxml"), marked).unwrap();
    for name in ["copper-whistle.mxl", "homework-block-chords.passage"] {
        fs::copy(root().join("sample-parts").join(name), place(name)).unwrap();
    }
    fs::create_dir(place("parts")).unwrap();
    for entry in fs::read_dir(root().join("sample-parts/ferry-at-six-parts")).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, place("parts").join(path.file_name().unwrap())).unwrap();
    }
    fs::write(
        place("chartproof.toml"),
        "[[score]]\ntitle = \"soli\"\nfiles = [\"parts/*.musicxml\"]\n",
    )
    .unwrap();
    fs::write(place("broken.passage"), "count | 1 2 |\npiano | C4 |\n").unwrap();
    folder
}

/// The text that an artifact's regions point into.
fn text_of(folder: &Path, run: &Value, location: &Value) -> String {
    let artifacts = run["artifacts"].as_array().unwrap();
    let artifact = &artifacts[location["index"].as_u64().unwrap() as usize];
    assert_eq!(artifact["location"]["uri"], location["uri"]);
    let (file, member) = match artifact["parentIndex"].as_u64() {
        Some(parent) => (
            &artifacts[parent as usize],
            Some(&artifact["location"]["uri"]),
        ),
        None => (artifact, None),
    };
    assert_eq!(file["location"]["uriBaseId"], "ROOT");
    let bytes = fs::read(folder.join(decoded(file["location"]["uri"].as_str().unwrap()))).unwrap();
    let bytes = match member {
        Some(member) => {
            let (name, bytes) = container::open(&bytes).unwrap();
            assert_eq!(format!("/{name}"), member.as_str().unwrap());
            bytes
        }
        None => bytes,
    };
    encoding::decode(&bytes).unwrap().into_owned()
}

fn decoded(uri: &str) -> PathBuf {
    let mut bytes = Vec::new();
    let mut rest = uri.bytes();
    while let Some(byte) = rest.next() {
        if byte == b'%' {
            let hex = [rest.next().unwrap(), rest.next().unwrap()];
            let hex = std::str::from_utf8(&hex).unwrap();
            bytes.push(u8::from_str_radix(hex, 16).unwrap());
        } else {
            bytes.push(byte);
        }
    }
    PathBuf::from(String::from_utf8(bytes).unwrap())
}

/// The characters of a region, once by lines and columns and once by offset: they are the same.
fn region_of(text: &str, region: &Value) -> (usize, usize) {
    let number = |name: &str| region[name].as_u64().unwrap() as usize;
    let characters: Vec<char> = text.chars().collect();
    let at = |line: usize, column: usize| {
        let mut line_start = 0;
        for _ in 1..line {
            line_start += characters[line_start..]
                .iter()
                .position(|c| *c == '\n')
                .unwrap()
                + 1;
        }
        line_start + column - 1
    };
    let start = at(number("startLine"), number("startColumn"));
    let end = at(number("endLine"), number("endColumn"));
    assert_eq!(start, number("charOffset"));
    assert_eq!(end - start, number("charLength"));
    (start, end)
}

#[test]
fn logs_are_valid_by_the_official_schema() {
    let folder = desk();
    let validator = jsonschema::options()
        .should_validate_formats(true)
        .build(&schema())
        .unwrap();
    let valid = |log: &Value| {
        let errors: Vec<String> = validator
            .iter_errors(log)
            .map(|e| format!("{}: {e}", e.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{}", errors.join("\n"));
    };
    let log = proof(folder.path(), "sarif", &["."]);
    valid(&log);
    // The schema does hold it to something.
    let mut wrong = log.clone();
    wrong["runs"][0]["results"][0]["level"] = "grave".into();
    assert!(!validator.is_valid(&wrong));
    // Other people's types read it too.
    let typed: serde_sarif::sarif::Sarif = serde_json::from_value(log.clone()).unwrap();
    assert_eq!(typed.runs.len(), 1);
    let run_ = &log["runs"][0];
    assert_eq!(run_["invocations"][0]["executionSuccessful"], false);
    let told = run_["invocations"][0]["toolExecutionNotifications"]
        .as_array()
        .unwrap();
    assert!(told.iter().any(|n| {
        n["level"] == "error"
            && n["message"]["text"]
                .as_str()
                .unwrap()
                .contains("piano, bar 1: 1 cell")
    }));
    // With findings set aside in every way, and compared with a revision.
    fs::remove_file(folder.path().join("broken.passage")).unwrap();
    let style = fs::read_to_string(folder.path().join("chartproof.toml")).unwrap();
    fs::write(
        folder.path().join("chartproof.toml"),
        style + "[[accepted]]\nrule = \"wrong-note\"\nfile = \"copper-whistle.mxl\"\nreason = \"as {recorded}\"\n",
    )
    .unwrap();
    let git = |args: &[&str]| {
        let ok = Command::new("git")
            .current_dir(folder.path())
            .env("GIT_CONFIG_GLOBAL", "/dev/null")
            .args([
                "-c",
                "user.name=Keeper",
                "-c",
                "user.email=keeper@band.example",
            ])
            .args(args)
            .status()
            .unwrap();
        assert!(ok.success());
    };
    git(&["init", "-q"]);
    git(&["add", "copper-whistle.mxl", "parts"]);
    git(&["commit", "-q", "-m", "some"]);
    assert_eq!(
        run(folder.path(), &["ledger", "homework-block-chords.passage"]).0,
        0
    );
    let log = proof(
        folder.path(),
        "sarif",
        &["--ledger", "chartproof.ledger", "--since", "HEAD", "."],
    );
    valid(&log);
    let results = log["runs"][0]["results"].as_array().unwrap();
    let count = |pointer: &str, value: &str| {
        results
            .iter()
            .filter(|r| r.pointer(pointer).is_some_and(|v| v == value))
            .count()
    };
    assert!(count("/suppressions/0/justification", "as {recorded}") > 0);
    assert!(count("/suppressions/0/justification", "recorded on the ledger") > 0);
    assert!(count("/baselineState", "unchanged") > 0);
    assert!(count("/baselineState", "new") > 0);
    assert_eq!(
        log["runs"][0]["invocations"][0]["executionSuccessful"],
        true
    );
}

#[test]
fn every_region_is_the_note_or_bar_and_every_fix_is_that_of_the_json_report() {
    let folder = desk();
    let log = proof(folder.path(), "sarif", &["."]);
    let report = proof(folder.path(), "json", &["."]);
    let run_ = &log["runs"][0];
    let results = run_["results"].as_array().unwrap();
    let findings = report["findings"].as_array().unwrap();
    assert_eq!(results.len(), findings.len());
    let rules = run_["tool"]["driver"]["rules"].as_array().unwrap();
    let (mut notes, mut fixes) = (0, 0);
    for (result, finding) in results.iter().zip(findings) {
        assert_eq!(result["ruleId"], finding["rule"]);
        assert_eq!(
            rules[result["ruleIndex"].as_u64().unwrap() as usize]["id"],
            finding["rule"]
        );
        assert_eq!(result["level"], finding["level"]);
        assert_eq!(
            result["partialFingerprints"]["chartproof/1"],
            finding["fingerprint"]
        );
        let places: Vec<&Value> = result["locations"]
            .as_array()
            .unwrap()
            .iter()
            .chain(result["relatedLocations"].as_array().into_iter().flatten())
            .map(|l| &l["physicalLocation"])
            .collect();
        assert!(!places.is_empty());
        for place in &places {
            let text = text_of(folder.path(), run_, &place["artifactLocation"]);
            let (start, end) = region_of(&text, &place["region"]);
            let shown: String = text.chars().skip(start).take(end - start).collect();
            notes += 1;
            if text.trim_start().starts_with('<') {
                assert!(
                    shown.starts_with("<note") || shown.starts_with("<measure"),
                    "{shown}"
                );
                assert!(
                    shown.ends_with("</note>") || shown.ends_with("</measure>"),
                    "{shown}"
                );
            } else {
                let cell = |c: char| c.is_ascii_alphanumeric() || "#-.".contains(c);
                assert!(!shown.is_empty() && shown.starts_with(cell), "{shown:?}");
            }
        }
        let Some(fix) = result["fixes"].as_array().map(|f| &f[0]) else {
            assert!(finding["fix"].is_null());
            continue;
        };
        fixes += 1;
        for change in fix["artifactChanges"].as_array().unwrap() {
            let location = &change["artifactLocation"];
            let text = text_of(folder.path(), run_, location);
            let characters: Vec<char> = text.chars().collect();
            let mut by_log = String::new();
            let mut done = 0;
            for replacement in change["replacements"].as_array().unwrap() {
                let (start, end) = region_of(&text, &replacement["deletedRegion"]);
                by_log.extend(&characters[done..start]);
                by_log.push_str(replacement["insertedContent"]["text"].as_str().unwrap());
                done = end;
            }
            by_log.extend(&characters[done..]);
            assert_ne!(by_log, text);
            // The edits of the JSON report are those that `correct` makes.
            let mut by_report = String::new();
            let mut done = 0;
            let uri = location["uri"].as_str().unwrap();
            for edit in finding["fix"]["edits"].as_array().unwrap() {
                let own = match edit["member"].as_str() {
                    Some(member) => format!("/{member}"),
                    None => edit["file"]
                        .as_str()
                        .unwrap()
                        .trim_start_matches("./")
                        .to_owned(),
                };
                if decoded(uri) != *own {
                    continue;
                }
                by_report.push_str(&text[done..edit["start"].as_u64().unwrap() as usize]);
                by_report.push_str(edit["replacement"].as_str().unwrap());
                done = edit["end"].as_u64().unwrap() as usize;
            }
            by_report.push_str(&text[done..]);
            assert_eq!(by_log, by_report);
        }
    }
    assert!(notes >= 15 && fixes >= 10, "{notes} places, {fixes} fixes");
}

#[test]
fn a_fix_of_the_log_mends_its_finding_and_no_other() {
    let folder = tempfile::tempdir().unwrap();
    let name = "homework-block-chords.passage";
    let path = folder.path().join(name);
    fs::copy(root().join("sample-parts").join(name), &path).unwrap();
    let log = proof(folder.path(), "sarif", &[name]);
    let results = log["runs"][0]["results"].as_array().unwrap();
    let prints = |log: &Value| -> Vec<String> {
        let results = log["runs"][0]["results"].as_array().unwrap();
        results
            .iter()
            .map(|r| {
                format!("{} {}", r["ruleId"], r["properties"]["bar"])
                    + &r["properties"]["beat"].to_string()
            })
            .collect()
    };
    let text = fs::read_to_string(&path).unwrap();
    let mut tried = 0;
    for (index, result) in results.iter().enumerate() {
        let Some(fix) = result["fixes"].as_array().map(|f| &f[0]) else {
            continue;
        };
        let mut characters: Vec<char> = text.chars().collect();
        for replacement in fix["artifactChanges"][0]["replacements"]
            .as_array()
            .unwrap()
            .iter()
            .rev()
        {
            let region = &replacement["deletedRegion"];
            let start = region["charOffset"].as_u64().unwrap() as usize;
            let length = region["charLength"].as_u64().unwrap() as usize;
            let new = replacement["insertedContent"]["text"].as_str().unwrap();
            characters.splice(start..start + length, new.chars());
        }
        fs::write(&path, characters.into_iter().collect::<String>()).unwrap();
        let mut expected = prints(&log);
        expected.remove(index);
        assert_eq!(prints(&proof(folder.path(), "sarif", &[name])), expected);
        tried += 1;
    }
    assert!(tried > 0);
}

#[test]
fn nothing_from_a_file_gets_into_a_log_as_a_control_character() {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(root().join("sample-parts/ferry-at-six.musicxml")).unwrap();
    let text = text.replace(
        "<part-name>Alto 2",
        "<part-name>Alto {2}[x](1)&#x9b;31m&lt;b&gt;\u{202e}",
    );
    fs::write(folder.path().join("a.musicxml"), text).unwrap();
    let log = proof(folder.path(), "sarif", &["a.musicxml"]);
    let mut messages = Vec::new();
    for result in log["runs"][0]["results"].as_array().unwrap() {
        messages.push(result["message"]["text"].as_str().unwrap().to_owned());
        let locations = result["locations"].as_array().unwrap();
        for location in locations {
            messages.push(
                location["logicalLocations"][0]["fullyQualifiedName"]
                    .as_str()
                    .unwrap()
                    .to_owned(),
            );
        }
    }
    let bad = |c: char| c.is_control() || c == '\u{202e}';
    assert!(messages.iter().all(|m| !m.contains(bad)), "{messages:?}");
    assert!(
        messages.iter().any(|m| m.contains("Alto {{2}}\\[x\\](1)")),
        "{messages:?}"
    );
}
