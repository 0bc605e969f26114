//! How much memory a score takes, beside its own size.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::io::{Cursor, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;
use zip::write::SimpleFileOptions;

/// The sample chart with all its bars so many times over.
fn long_chart(times: usize) -> String {
    let sample =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/lamplighters-detour.musicxml");
    let sample = fs::read_to_string(sample).unwrap();
    let mut out = String::new();
    let mut rest = sample.as_str();
    while let Some(part) = rest.find("<part id=") {
        let start = part + rest[part..].find('>').unwrap() + 1;
        let end = rest.find("</part>").unwrap();
        out.push_str(&rest[..start]);
        out.push_str(&rest[start..end].repeat(times));
        out.push_str("</part>");
        rest = &rest[end + "</part>".len()..];
    }
    out + rest
}

/// The most memory of its own that a run had in use, in bytes: what the system counts as anonymous,
/// which leaves out the program itself. It is looked at every millisecond.
fn most(args: &[&str]) -> u64 {
    most_of(args, &[0, 1])
}

/// The same of a run that ends with one of these codes.
fn most_of(args: &[&str], codes: &[i32]) -> u64 {
    let mut child = Command::new(env!("CARGO_BIN_EXE_chartproof"))
        .args(args)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut most = 0;
    let code = loop {
        let now = fs::read_to_string(&status).unwrap_or_default();
        let kilobytes = now
            .lines()
            .find_map(|l| l.strip_prefix("RssAnon:")?.trim().strip_suffix(" kB"))
            .and_then(|n| n.parse::<u64>().ok());
        most = most.max(kilobytes.unwrap_or_default() * 1024);
        if let Some(status) = child.try_wait().unwrap() {
            break status.code();
        }
        std::thread::sleep(Duration::from_millis(1));
    };
    assert!(
        code.is_some_and(|c| codes.contains(&c)),
        "{args:?}: {code:?}"
    );
    assert!(most > 0, "{args:?}: nothing was seen of it");
    most
}

/// Twelve times the text is the most that is allowed, the program itself included; its own memory keeps
/// well below, so that a copy of the text or of the score too many is noticed.
const TIMES: u64 = 4;

#[test]
fn a_score_takes_a_few_times_its_own_size() {
    let place = tempfile::tempdir().unwrap();
    let text = long_chart(5);
    let plain = place.path().join("long.musicxml");
    fs::write(&plain, &text).unwrap();
    let packed = place.path().join("long.mxl");
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let contents = "<container><rootfiles><rootfile full-path='a.xml'/></rootfiles></container>";
    for (name, bytes) in [("META-INF/container.xml", contents), ("a.xml", &text)] {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes.as_bytes()).unwrap();
    }
    fs::write(&packed, zip.finish().unwrap().into_inner()).unwrap();
    let into = place.path().join("into");
    let into = into.to_str().unwrap();
    for file in [&plain, &packed] {
        let file = file.to_str().unwrap();
        for args in [
            ["proof", "--format", "html", file].as_slice(),
            &["proof", file],
            &["analysis", file],
            &["correct", "--into", into, file],
            &["mark", "--into", into, file],
        ] {
            let most = most(args);
            let size = text.len() as u64;
            eprintln!("{args:?}: {:.1} times", most as f64 / size as f64);
            assert!(
                most <= TIMES * size,
                "{args:?}: {most} bytes for a text of {size}, more than {TIMES} times"
            );
        }
    }
}

#[test]
fn one_part_a_thousand_times_over_is_copied_once_at_most() {
    let place = tempfile::tempdir().unwrap();
    let listed: String = (0..1000)
        .map(|i| {
            let name = if i == 0 {
                "a".repeat(1 << 20)
            } else {
                String::new()
            };
            format!("<score-part id='P{i}'><part-name>{name}</part-name></score-part>")
        })
        .collect::<Vec<_>>()
        .concat();
    let parts = "<part id='P0'></part>".repeat(1000);
    let text = format!("<score-partwise><part-list>{listed}</part-list>{parts}</score-partwise>");
    for name in ["one.musicxml", "two.musicxml"] {
        fs::write(place.path().join(name), &text).unwrap();
    }
    let most = most_of(&["proof", place.path().to_str().unwrap()], &[2]);
    let size = text.len() as u64;
    assert!(most <= 20 * size, "{most} bytes for two texts of {size}");
}
