//! Nothing of a score, a style, a ledger or the name of a file steers a terminal, or is an order to a
//! build server whose log it gets into.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use assert_cmd::Command;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use serde_json::Value;
use std::ffi::OsStr;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use unicode_general_category::{GeneralCategory as Category, get_general_category};

struct Answer {
    code: i32,
    out: String,
    err: String,
}

fn run<A: AsRef<OsStr>>(folder: &Path, args: impl IntoIterator<Item = A>) -> Answer {
    let output = Command::new(env!("CARGO_BIN_EXE_chartproof"))
        .current_dir(folder)
        .env_remove("NO_COLOR")
        .env("RAYON_NUM_THREADS", "1")
        .args(args)
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).expect("all output is UTF-8");
    let (out, err) = (text(output.stdout), text(output.stderr));
    assert!(!err.contains("panicked"), "{err}");
    let code = output.status.code().expect("an exit code");
    Answer { code, out, err }
}

/// A character that a terminal obeys or hides.
/// Source: Unicode 16.0, general categories; Unicode Technical Report 36, 2.
fn forbidden(c: char) -> bool {
    c != '\n'
        && matches!(
            get_general_category(c),
            Category::Control
                | Category::Format
                | Category::PrivateUse
                | Category::Unassigned
                | Category::LineSeparator
                | Category::ParagraphSeparator
        )
}

/// Source: the published workflow and logging commands of build servers.
fn is_order(line: &str) -> bool {
    let commands = line.match_indices("##").any(|(at, _)| {
        let rest = line[at..].trim_start_matches('#');
        rest.trim_start_matches(|c: char| c.is_ascii_alphabetic())
            .starts_with('[')
    });
    commands
        || ["::", "travis_fold:", "section_start:"]
            .iter()
            .any(|order| line.trim_start().starts_with(order))
}

/// Nothing in a text is obeyed or hidden, and no line of it was made by a text from outside.
fn assert_harmless(what: &str, text: &str) {
    let bad = text.chars().find(|c| forbidden(*c));
    assert_eq!(bad, None, "{what}: {text:?}");
    for line in text.lines() {
        assert!(!is_order(line), "{what}: {line:?}");
        // No text can look like another finding.
        assert!(!line.starts_with("\u{d7} forged"), "{what}: {line:?}");
    }
}

fn harmless(folder: &Path, args: &[&OsStr]) -> Answer {
    let answer = run(folder, args);
    let what = format!("{args:?}");
    // CSV starts with a byte order mark, and its records end with a carriage return as well (RFC 4180).
    let out = answer.out.replace("\r\n", "\n");
    assert_harmless(&what, out.strip_prefix('\u{feff}').unwrap_or(&out));
    assert_harmless(&what, &answer.err);
    answer
}

/// One text with all that has ever got through.
const EVIL: &str = "::error file=a::x\u{202e}\u{2066}\u{61c}\u{2028}\u{ad}\u{feff}\u{e0041}\u{e000}\u{85}\u{9b}2J\
     \n\u{d7} forged: bar 9\r##vso[task.complete]##[e]###teamcity[x] \u{7f}";

/// Text of XML 1.0: what it has no characters for is left out, and an end of line is a reference.
fn xml(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '\t' | '\n' | '\r' | '&' | '<' | '>' | '"' | '\'' => {
                write!(out, "&#{};", u32::from(c)).unwrap();
            }
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => {}
            c => out.push(c),
        }
    }
    out
}

/// A score with mistakes that has `evil` wherever a score can have text.
fn score(evil: &str) -> String {
    let clean = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/sample-parts/ferry-at-six.musicxml"
    );
    let evil = xml(evil);
    let mut text = fs::read_to_string(clean).unwrap();
    for name in ["Alto 1", "Alto 2", "Tenor 1", "Tenor 2"] {
        text = text.replace(
            &format!("<part-name>{name}</part-name>"),
            &format!(
                "<part-name>{evil}{name}</part-name>\
                 <part-abbreviation>{evil}</part-abbreviation>"
            ),
        );
    }
    text.replace("Ferry at Six", &evil)
        .replace(
            "<kind text=\"7\">dominant</kind>",
            &format!("<kind text=\"{evil}\">dominant</kind>"),
        )
        .replace(
            "<measure number=\"2\">",
            &format!(
                "<measure number=\"{evil}\"><direction><direction-type><words>{evil}</words>\
                 </direction-type></direction><direction><direction-type><rehearsal>{evil}</rehearsal>\
                 </direction-type></direction>"
            ),
        )
        // A wrong note, and a bar that is too short.
        .replace("<alter>1</alter><octave>5</octave>", "<alter>-1</alter><octave>5</octave>")
        .replacen("<duration>2</duration>", "<duration>1</duration>", 1)
}

/// A text of TOML.
fn toml(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        write!(out, "\\U{:08x}", u32::from(c)).unwrap();
    }
    out + "\""
}

fn style(evil: &str) -> String {
    let evil = toml(evil);
    format!(
        "about = {evil}\n[[accepted]]\nrule = \"bar-length\"\nreason = {evil}\nbars = \"1\"\n\
         [[rule]]\nname = \"own\"\nscope = \"part\"\nwhen = \"notes > 1\"\nmessage = {evil}\n\
         why = {evil}\nsource = {evil}\n[[part]]\nname = {evil}\nsection = \"saxes\"\n"
    )
}

/// A name of a file.
fn file_name(evil: &str) -> String {
    let name: String = evil
        .chars()
        .filter(|c| !matches!(c, '/' | '\0'))
        .take(40)
        .collect();
    if cfg!(unix) { name } else { "x".to_owned() }
}

/// All commands and formats over inputs that have `evil` wherever one can put text.
fn everything(evil: &str) {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let name = file_name(evil);
    let sheet = here.join(format!("{name} - a.musicxml"));
    let grid = here.join(format!("{name} - b.passage"));
    let broken = here.join(format!("{name} - c.musicxml"));
    let own = here.join(format!("{name}.toml"));
    let flat: String = evil.chars().filter(|c| !c.is_control()).collect();
    fs::write(&sheet, score(evil)).unwrap();
    fs::write(
        &grid,
        format!(
            "title: {flat}\nkey: C major\nmeter: 4/4\nsection: saxes\ntechnique: drop 2\n\n\
             chord | C6 {flat} |\ncount | 1 3 |\n{flat} | A4 G4 |\n"
        ),
    )
    .unwrap();
    fs::write(
        &broken,
        format!("<score-partwise>{}</{}>", xml(evil), xml(evil)),
    )
    .unwrap();
    fs::write(&own, style(evil)).unwrap();
    fs::write(
        here.join("bad.toml"),
        format!("about = {flat}\n{flat} = 3\n"),
    )
    .unwrap();
    fs::write(
        here.join("key.toml"),
        format!("{} = 3\ngate = {}\n", toml(evil), toml(evil)),
    )
    .unwrap();
    fs::write(
        here.join("bad.ledger"),
        format!("[[finding]]\nrule = {}\n{flat}", toml(evil)),
    )
    .unwrap();
    fs::write(here.join("list"), format!("{name}.musicxml\n{evil}.xml\n")).unwrap();

    let at = |path: &PathBuf| path.as_os_str().to_owned();
    let (sheet, grid, broken, own) = (at(&sheet), at(&grid), at(&broken), at(&own));
    let word = std::ffi::OsString::from(evil.replace('\0', ""));
    let o = OsStr::new;
    for format in ["text", "json", "jsonl", "sarif", "html"] {
        for colour in ["never", "always"] {
            if colour == "always" && format != "text" {
                continue;
            }
            let mut args = vec![
                o("proof"),
                o("-v"),
                o("--colour"),
                o(colour),
                o("--format"),
                o(format),
            ];
            args.extend([o("--style"), &own, &sheet, &grid, &broken]);
            if colour == "always" {
                let answer = run(here, args);
                assert_harmless("colours", &without_colours(&answer.out));
                continue;
            }
            let answer = harmless(here, &args);
            if format == "json" && !answer.out.is_empty() {
                let report: Value = serde_json::from_str(&answer.out).unwrap();
                let parts = report["findings"].to_string();
                assert!(
                    parts.contains("Alto 2") || parts.contains("Tenor"),
                    "{parts}"
                );
            }
        }
    }
    for format in ["text", "csv", "html"] {
        harmless(
            here,
            &[
                o("proof"),
                o("--class"),
                o("--format"),
                o(format),
                &sheet,
                &grid,
                &broken,
            ],
        );
    }
    for format in ["text", "json"] {
        harmless(
            here,
            &[
                o("analysis"),
                o("-v"),
                o("--format"),
                o(format),
                &sheet,
                &grid,
                &broken,
            ],
        );
    }
    for command in ["correct", "mark"] {
        let into = here.join(command);
        let args = [
            o(command),
            o("-v"),
            &sheet,
            &broken,
            o("--into"),
            into.as_os_str(),
        ];
        harmless(here, &args);
        let copy = into.join(Path::new(&sheet).file_name().unwrap());
        let copy = fs::read_to_string(copy).unwrap();
        assert_eq!(
            texts(&copy).unwrap()[..5],
            texts(&score(evil)).unwrap()[..5]
        );
    }
    for from in [&sheet, &grid] {
        harmless(
            here,
            &[
                o("voice"),
                from,
                o("--technique"),
                o("drop 2"),
                o("--section"),
                o("saxes"),
            ],
        );
        harmless(
            here,
            &[
                o("voice"),
                from,
                o("--technique"),
                o("drop 2"),
                o("--part"),
                &word,
            ],
        );
    }
    let ledger = here.join(format!("{name}.ledger"));
    harmless(
        here,
        &[
            o("ledger"),
            &sheet,
            &broken,
            o("--ledger"),
            ledger.as_os_str(),
        ],
    );
    harmless(
        here,
        &[o("proof"), &sheet, o("--ledger"), ledger.as_os_str()],
    );
    harmless(here, &[o("proof"), &sheet, o("--ledger"), o("bad.ledger")]);
    harmless(here, &[o("proof"), o("--list"), o("list")]);
    harmless(here, &[o("style"), &own]);
    harmless(here, &[o("style"), o("--style"), o("bad.toml")]);
    harmless(here, &[o("style"), o("--style"), o("key.toml")]);
    harmless(here, &[o("style"), &word]);
    harmless(here, &[o("proof"), &word]);
    harmless(here, &[o("proof"), o("--since"), &word, &sheet]);
    harmless(here, &[o("rulebook"), &word]);
    harmless(here, &[o("manual"), &word]);
    harmless(here, &[&word]);
    for option in [
        "--technique",
        "--limit",
        "--style",
        "--gate",
        "--ledger",
        "--list",
        "--into",
    ] {
        let mut given = std::ffi::OsString::from(option);
        given.push("=");
        given.push(&word);
        harmless(here, &[o("proof"), &given, &broken]);
    }
}

/// The words of all elements, or why the text is no XML.
fn texts(text: &str) -> Result<Vec<String>, quick_xml::Error> {
    use quick_xml::events::Event;
    let mut reader = quick_xml::Reader::from_str(text);
    let mut found = Vec::new();
    loop {
        match reader.read_event()? {
            Event::Eof => return Ok(found),
            Event::Text(text) if !text.trim_ascii().is_empty() => {
                found.push(text.to_string());
            }
            _ => {}
        }
    }
}

/// Takes out the colours that the program itself sets (ECMA-48, SGR).
fn without_colours(text: &str) -> String {
    let mut out = String::new();
    let mut pieces = text.split("\u{1b}[");
    out.push_str(pieces.next().unwrap_or_default());
    for piece in pieces {
        let (code, rest) = piece.split_once('m').expect("only colours");
        assert!(
            [
                "0", "1", "2", "38;5;9", "38;5;12", "38;5;10", "38;5;11", "38;5;14", "31", "32",
                "33", "34", "36"
            ]
            .contains(&code),
            "{code:?}"
        );
        out.push_str(rest);
    }
    out
}

#[test]
fn nothing_gets_through_in_any_command_or_format() {
    everything(EVIL);
}

#[test]
fn an_order_alone_is_broken_at_the_start_of_a_line() {
    for order in [
        "::error file=a::x",
        "##vso[task.complete]",
        " \u{a0}::add-mask::x",
        "travis_fold:start:x",
    ] {
        everything(order);
    }
}

/// Any text: pieces that are dangerous by themselves, between any characters there are.
fn any_text() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        3 => proptest::sample::select(vec![
            "::error::", "##vso[", "##[", "#", "[", "\n", "\r", "\u{202e}", "\u{2069}", "\u{61c}",
            "\u{2028}", "\u{1b}[31m", "\u{9b}", "\n\u{d7} forged: x", "\\", "\"", "'''", "{", "}", "]]>",
            "-->", "&#x202e;", "\u{e0041}", "\u{fe0f}", "é", "♭", "א", " ", "\t", "|", "=", "--",
        ]).prop_map(str::to_owned),
        1 => any::<char>().prop_filter("no file has it", |c| *c != '\0').prop_map(String::from),
    ];
    proptest::collection::vec(piece, 1..10).prop_map(|pieces| pieces.concat())
}

#[test]
fn no_text_gets_through_in_any_place() {
    let cases = std::env::var("PROPTEST_CASES")
        .ok()
        .and_then(|n| n.parse().ok());
    let config = Config {
        cases: cases.unwrap_or(6),
        failure_persistence: None,
        max_shrink_iters: 40,
        ..Config::default()
    };
    TestRunner::new(config)
        .run(&any_text(), |text| {
            everything(&text);
            Ok(())
        })
        .unwrap();
}

#[test]
fn values_of_json_stay_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let evil = "\u{202e}\u{2066}\u{e0041} ##vso[x] \u{7f}";
    fs::write(folder.path().join("a.musicxml"), score(evil)).unwrap();
    let report = run(
        folder.path(),
        ["analysis", "a.musicxml", "--format", "json"],
    );
    let value: Value = serde_json::from_str(&report.out).unwrap();
    assert_eq!(value["files"][0]["title"], evil);
    assert!(report.out.contains("\\u202e"), "escaped as JSON has it");
}

#[test]
fn names_of_parts_stay_as_they_are() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["# 1 ", "1::2 ", "אלט ", "Flügelhorn ♭ "] {
        fs::write(folder.path().join("a.musicxml"), score(name)).unwrap();
        let report = run(folder.path(), ["proof", "a.musicxml"]);
        assert!(report.out.contains(name), "{}", report.out);
        assert!(!report.out.contains(['\u{fffd}', '\\']), "{}", report.out);
    }
}

#[test]
fn a_wrong_option_is_shown_without_what_it_does() {
    let folder = tempfile::tempdir().unwrap();
    let answer = harmless(
        folder.path(),
        &["proof", "x", "--\u{202e}\u{1b}[2J\n::error::x"].map(OsStr::new),
    );
    assert_eq!(answer.code, 2);
    assert!(answer.err.contains("unexpected argument"), "{}", answer.err);
    assert!(answer.out.is_empty());
}

#[cfg(target_os = "linux")]
#[test]
fn help_that_cannot_be_written_is_a_failure() {
    use std::process::{Command, Stdio};
    for args in [
        &["--help"][..],
        &["--version"],
        &["proof", "--help"],
        &["help"],
    ] {
        let full = fs::OpenOptions::new()
            .write(true)
            .open("/dev/full")
            .unwrap();
        let output = Command::new(env!("CARGO_BIN_EXE_chartproof"))
            .args(args)
            .stdout(Stdio::from(full))
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(!output.stderr.is_empty(), "{args:?}");
    }
}
