//! Files and places made to do harm, or badly damaged: each ends in a clear error or a sensible
//! reading, within ten seconds and a fixed amount of memory, and nothing of a file reaches the
//! terminal, a page or a log as a command.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use assert_cmd::Command;
use std::ffi::OsStr;
use std::fmt::Write as _;
use std::fs;
use std::io::{Cursor, Write as _};
use std::path::Path;
use std::time::Duration;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// Seconds of processor time that one file may take: a busy machine does not change it.
const SECONDS: u32 = 10;

/// When to stop waiting for a program that hangs, or where processor time cannot be limited.
const PATIENCE: Duration = Duration::from_secs(if cfg!(target_os = "linux") { 100 } else { 10 });

/// Address space of the program in KiB: 1 GiB.
const MEMORY: u32 = 1 << 20;

const PROGRAM: &str = env!("CARGO_BIN_EXE_chartproof");

pub struct Answer {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Answer {
    pub fn all(&self) -> String {
        format!("{}{}", self.out, self.err)
    }
}

/// Runs the program within its time and memory; a crash, a kill or a hang has no exit code.
pub fn run<A: AsRef<OsStr>>(args: impl IntoIterator<Item = A>) -> Answer {
    let mut command = if cfg!(target_os = "linux") {
        let mut shell = Command::new("sh");
        shell.args([
            "-c",
            &format!("ulimit -v {MEMORY} && ulimit -t {SECONDS} && exec \"$0\" \"$@\""),
            PROGRAM,
        ]);
        shell
    } else {
        Command::new(PROGRAM)
    };
    let output = command
        .args(args)
        .env("NO_COLOR", "1")
        .env("RAYON_NUM_THREADS", "2")
        .timeout(PATIENCE)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("reports are UTF-8");
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    let code = output
        .status
        .code()
        .unwrap_or_else(|| panic!("{:?}\n{out}\n{err}", output.status));
    assert!(!err.contains("panicked"), "{err}");
    Answer { code, out, err }
}

/// Proofs one file with these bytes.
fn proof(name: &str, bytes: &[u8]) -> Answer {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    run([OsStr::new("proof"), path.as_os_str()])
}

/// The file is refused, in words that hold these.
fn refused(what: &str, name: &str, bytes: impl AsRef<[u8]>, words: &[&str]) {
    let answer = proof(name, bytes.as_ref());
    let all = answer.all();
    assert_eq!(answer.code, 2, "{what}: {all}");
    assert!(all.contains(name), "{what}: the file is not named: {all}");
    // A message may run over lines.
    let flat = all.split_whitespace().collect::<Vec<_>>().join(" ");
    for word in words {
        assert!(flat.contains(word), "{what}: no `{word}` in {all}");
    }
    assert!(all.len() < 5_000, "{what}: {} bytes of report", all.len());
}

/// The file is read; the report holds these words.
fn read(what: &str, name: &str, bytes: impl AsRef<[u8]>, words: &[&str]) {
    let answer = proof(name, bytes.as_ref());
    let all = answer.all();
    assert!(matches!(answer.code, 0 | 1), "{what}: {all}");
    for word in words {
        assert!(all.contains(word), "{what}: no `{word}` in {all}");
    }
}

const C5: &str = "<pitch><step>C</step><octave>5</octave></pitch>";

/// A note of C5 that lasts this many divisions, with more in it.
fn note(duration: &str, more: &str) -> String {
    format!("<note>{C5}<duration>{duration}</duration>{more}</note>")
}

/// A score of one part: what stands in its only bar, between head and tail.
struct Sheet {
    declaration: &'static str,
    doctype: String,
    part_name: String,
    attributes: String,
    bar: String,
}

impl Default for Sheet {
    fn default() -> Self {
        Self {
            declaration: "<?xml version=\"1.0\" encoding=\"UTF-8\"?>",
            doctype: String::new(),
            part_name: "Flute".to_owned(),
            attributes: "<divisions>1</divisions>".to_owned(),
            bar: note("4", ""),
        }
    }
}

impl Sheet {
    fn text(&self) -> String {
        let Self {
            declaration,
            doctype,
            part_name,
            attributes,
            bar,
        } = self;
        format!(
            "{declaration}{doctype}<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\">\
             <part-name>{part_name}</part-name></score-part></part-list><part id=\"P1\">\
             <measure number=\"1\"><attributes>{attributes}</attributes>{bar}</measure></part>\
             </score-partwise>"
        )
    }
}

fn with_bar(bar: impl Into<String>) -> String {
    Sheet {
        // Fine enough for a million notes in a bar.
        attributes: "<divisions>1000000</divisions>".to_owned(),
        bar: bar.into(),
        ..Sheet::default()
    }
    .text()
}

fn with_attributes(attributes: &str) -> String {
    Sheet {
        attributes: attributes.to_owned(),
        ..Sheet::default()
    }
    .text()
}

fn with_entities(subset: &str, part_name: &str) -> String {
    Sheet {
        doctype: format!("<!DOCTYPE score-partwise [{subset}]>"),
        part_name: part_name.to_owned(),
        ..Sheet::default()
    }
    .text()
}

/// `parts` parts of one bar.
fn with_parts(parts: usize) -> String {
    let mut list = String::new();
    let mut bars = String::new();
    for i in 0..parts {
        write!(
            list,
            "<score-part id=\"P{i}\"><part-name>Flute {i}</part-name></score-part>"
        )
        .unwrap();
        write!(
            bars,
            "<part id=\"P{i}\"><measure number=\"1\">{}</measure></part>",
            note("4", "")
        )
        .unwrap();
    }
    format!("<score-partwise><part-list>{list}</part-list>{bars}</score-partwise>")
}

fn container(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        zip.start_file(*name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// A container whose table of contents names `path`.
fn naming(path: &str, entries: &[(&str, &[u8])]) -> Vec<u8> {
    let contents =
        format!("<container><rootfiles><rootfile full-path=\"{path}\"/></rootfiles></container>");
    let mut all = vec![("META-INF/container.xml", contents.as_bytes())];
    all.extend(entries);
    container(&all)
}

const X: &str = "x.musicxml";

#[test]
fn entities_are_never_expanded_and_nothing_is_fetched() {
    let words = ["entity", "write the character itself"];
    refused(
        "an internal entity",
        X,
        with_entities("<!ENTITY a \"Oboe\">", "&a;"),
        &words,
    );
    let secret = tempfile::NamedTempFile::new().unwrap();
    fs::write(secret.path(), "the secret").unwrap();
    let outside = format!("<!ENTITY a SYSTEM \"{}\">", secret.path().display());
    let answer = proof(X, with_entities(&outside, "&a;").as_bytes());
    assert_eq!(answer.code, 2);
    assert!(!answer.all().contains("the secret"), "{}", answer.all());
    let mut flood = "<!ENTITY l0 \"lol\">".to_owned();
    for i in 1..12 {
        let before = format!("&l{};", i - 1).repeat(10);
        write!(flood, "<!ENTITY l{i} \"{before}\">").unwrap();
    }
    refused("a flood", X, with_entities(&flood, "&l11;"), &words);
    read(
        "a flood nobody uses",
        X,
        with_entities(&flood, "Flute"),
        &[],
    );
    read(
        "a parameter entity from outside",
        X,
        with_entities("<!ENTITY % x SYSTEM \"http://127.0.0.1:9/x\"> %x;", "Flute"),
        &[],
    );
    let many: String = (0..100_000).fold(String::new(), |mut all, i| {
        write!(all, "<!ENTITY e{i} \"x\">").unwrap();
        all
    });
    read("many entities", X, with_entities(&many, "Flute"), &[]);
    refused(
        "a DOCTYPE without end",
        X,
        format!("<!DOCTYPE score-partwise [{}", "<".repeat(500_000)),
        &["not well-formed XML"],
    );
}

#[test]
fn shapes_no_score_has() {
    refused(
        "deep nesting",
        X,
        with_bar("<x>".repeat(200_000) + &"</x>".repeat(200_000)),
        &["more than 100 deep", "--limit depth=NUMBER"],
    );
    refused(
        "open brackets",
        X,
        "<".repeat(500_000),
        &["not well-formed XML"],
    );
    refused(
        "a comment without end",
        X,
        format!("<!--{}", "-".repeat(500_000)),
        &["not well-formed XML"],
    );
    refused("nothing", X, "", &["the file is empty"]);
    refused("blanks", X, " \n".repeat(100_000), &["the file is empty"]);
    refused(
        "a web page",
        X,
        "<!DOCTYPE html><html></html>",
        &["web page"],
    );
    read(
        "many attributes",
        X,
        with_bar(
            (0..50_000).fold("<note".to_owned(), |mut all, i| {
                write!(all, " a{i}=\"1\"").unwrap();
                all
            }) + &format!(">{C5}<duration>4</duration></note>"),
        ),
        &[],
    );
    read(
        "a name of references",
        X,
        Sheet {
            part_name: "&#65;".repeat(100_000),
            ..Sheet::default()
        }
        .text(),
        &[],
    );
    read(
        "elements and kinds nobody knows",
        X,
        with_bar(format!(
            "<zither strings=\"7\"><tuned/>high</zither><harmony><root><root-step>C</root-step></root>\
             <kind text=\"?\">frobnicated</kind></harmony>{}",
            note("4", "<notations><zither/></notations>")
        )),
        &["frobnicated"],
    );
}

#[test]
fn more_of_everything_than_a_bar_can_hold() {
    let many = 11_000;
    let limit = ["at most 10000 are read", "--limit bar=NUMBER"];
    let short = note("1", "");
    for (what, bar) in [
        ("notes", short.repeat(many)),
        (
            "notes of one chord",
            short.clone()
                + &format!("<note><chord/>{C5}<duration>1</duration></note>").repeat(many),
        ),
        (
            "grace notes",
            format!("<note><grace/>{C5}</note>").repeat(many) + &note("4", ""),
        ),
        (
            "rests",
            "<note><rest/><duration>0</duration></note>".repeat(many),
        ),
        (
            "chord symbols",
            "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
                .repeat(many)
                + &note("4", ""),
        ),
        (
            "keys in one element",
            format!(
                "<attributes>{}</attributes>{}",
                "<key><fifths>1</fifths></key>".repeat(many),
                note("4", "")
            ),
        ),
        (
            "slurs of one note",
            note(
                "4",
                &format!(
                    "<notations>{}</notations>",
                    "<slur type=\"start\"/>".repeat(many)
                ),
            ),
        ),
        (
            "words",
            "<direction><direction-type><words>drop 2</words></direction-type></direction>"
                .repeat(many)
                + &note("4", ""),
        ),
    ] {
        refused(what, X, with_bar(bar), &limit);
    }
    // A million notes are counted, not played; the unoptimised program counts fewer in its time.
    let many = if cfg!(debug_assertions) {
        200_000
    } else {
        1_000_000
    };
    refused("very many notes", X, with_bar(short.repeat(many)), &limit);
}

#[test]
fn limits_can_be_raised() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(X);
    let file = path.to_str().unwrap();
    fs::write(&path, with_bar(note("1", "").repeat(11_000))).unwrap();
    assert_eq!(run(["proof", file]).code, 2);
    assert_ne!(run(["proof", "--limit", "bar=20000", file]).code, 2);
    fs::write(&path, with_parts(1_001)).unwrap();
    let answer = run(["proof", file]);
    assert!(
        answer.all().contains("more than 1000 parts"),
        "{}",
        answer.all()
    );
    assert_ne!(run(["proof", "--limit", "parts=1001", file]).code, 2);
    let answer = run(["proof", "--limit", "bars=7", file]);
    assert!(
        answer.all().contains("more than 1000 parts"),
        "{}",
        answer.all()
    );
    let args = ["proof", "--limit", "parts=2000", "--limit", "bars=7", file];
    assert!(run(args).all().contains("more than 7 bars"));
    let answer = run(["proof", "--limit", "file=100", file]);
    assert!(
        answer.all().contains("at most 100 are read"),
        "{}",
        answer.all()
    );
    let answer = run(["proof", "--limit", "pages=7", file]);
    assert_eq!(answer.code, 2);
    assert!(
        answer.err.contains("there is no limit called `pages`"),
        "{}",
        answer.err
    );
}

#[test]
fn a_packed_score_that_is_raised_over_its_limit_can_be_corrected_and_marked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.mxl");
    let file = path.to_str().unwrap();
    let score = with_bar(note("4", "")) + &" ".repeat(3 << 20);
    fs::write(&path, naming("s.xml", &[("s.xml", score.as_bytes())])).unwrap();
    let into = folder.path().join("into");
    let into = into.to_str().unwrap();
    for command in ["correct", "mark"] {
        assert_eq!(run([command, "--into", into, file]).code, 2, "{command}");
        let answer = run([command, "--limit", "ratio=9999", "--into", into, file]);
        assert_eq!(answer.code, 0, "{command}: {}", answer.all());
    }
}

#[test]
fn times_that_cannot_be() {
    for (what, attributes, word) in [
        (
            "no divisions",
            "<divisions>0</divisions>",
            "must be a positive number",
        ),
        (
            "negative",
            "<divisions>-4</divisions>",
            "must be a positive number",
        ),
        (
            "overflowing",
            "<divisions>99999999999999999999999</divisions>",
            "where a number was expected",
        ),
        (
            "without a common multiple",
            "<divisions>999999937</divisions><divisions>999999929</divisions>",
            "no common multiple",
        ),
        (
            "a meter of nothing",
            "<time><beats>0</beats><beat-type>4</beat-type></time>",
            "the time signature holds `0`",
        ),
        (
            "a meter in nothings",
            "<time><beats>4</beats><beat-type>0</beat-type></time>",
            "the time signature holds `0`",
        ),
        (
            "a transposition to the moon",
            "<transpose><chromatic>99999999</chromatic></transpose>",
            "belongs to no instrument",
        ),
        (
            "a key of nowhere",
            "<key><fifths>99</fifths></key>",
            "is not a key signature",
        ),
    ] {
        refused(what, X, with_attributes(attributes), &[word]);
    }
    for (duration, word) in [
        ("-4", "is negative"),
        (
            "99999999999999999999",
            "where a number of divisions was expected",
        ),
        ("999999999999", "longer than 10000 quarter notes"),
        ("", "where a number of divisions was expected"),
    ] {
        refused(duration, X, with_bar(note(duration, "")), &[word]);
    }
    for (what, bar) in [
        (
            "three hundredths of a tone",
            "<note><pitch><step>C</step><alter>1e9</alter><octave>5</octave></pitch><duration>4</duration></note>",
        ),
        (
            "octave 127",
            "<note><pitch><step>C</step><octave>127</octave></pitch><duration>4</duration></note>",
        ),
        (
            "step H",
            "<note><pitch><step>H</step><octave>4</octave></pitch><duration>4</duration></note>",
        ),
        (
            "staff 300",
            "<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration><staff>300</staff></note>",
        ),
        (
            "no length at all",
            "<note><pitch><step>C</step><octave>4</octave></pitch></note>",
        ),
    ] {
        refused(what, X, with_bar(bar), &["expected"].map(|_| "^"));
    }
    read("missing divisions", X, with_attributes(""), &["1 sonority"]);
    read(
        "absurd divisions",
        X,
        with_attributes("<divisions>999999999</divisions>"),
        &["1 sonority"],
    );
    let back = |by: &str| {
        format!(
            "{}<backup><duration>{by}</duration></backup>{}",
            note("4", ""),
            note("4", "")
        )
    };
    read(
        "backup before the bar",
        X,
        with_bar(back("400")),
        &["1 sonority"],
    );
    refused(
        "backup by less than nothing",
        X,
        with_bar(back("-4")),
        &["is negative"],
    );
    read(
        "a bar that others are not in step with",
        X,
        Sheet {
            bar: note("9000", ""),
            ..Sheet::default()
        }
        .text(),
        &["bar-length"],
    );
}

#[test]
fn parts_that_cannot_be_told_apart_or_counted() {
    let twice = "<score-part id=\"P1\"><part-name>A</part-name></score-part>".repeat(2);
    refused(
        "a part listed twice",
        X,
        format!("<score-partwise><part-list>{twice}</part-list></score-partwise>"),
        &["two parts with the id `P1`"],
    );
    refused(
        "a part written twice",
        X,
        Sheet::default().text().replace(
            "</score-partwise>",
            "<part id=\"P1\"><measure/></part></score-partwise>",
        ),
        &["a second <part> has the id of an earlier one"],
    );
    read("hundreds of parts", X, with_parts(300), &["1 sonority"]);
    refused(
        "thousands of parts",
        X,
        with_parts(5_000),
        &["more than 1000 parts", "--limit parts=NUMBER"],
    );
    refused(
        "a million bars",
        X,
        with_bar(note("4", "")).replace("</part>", &("<measure/>".repeat(1_000_001) + "</part>")),
        &["more than 1000000 bars", "--limit bars=NUMBER"],
    );
}

#[test]
fn bytes_that_are_no_text() {
    let score = |declaration| {
        Sheet {
            declaration,
            part_name: "Fl\u{fb}te".to_owned(),
            ..Sheet::default()
        }
        .text()
    };
    let latin1 = |text: String| text.chars().map(|c| c as u8).collect::<Vec<u8>>();
    let utf16 = |text: &str| -> Vec<u8> {
        let units = std::iter::once(0xFEFF).chain(text.encode_utf16());
        units.flat_map(u16::to_le_bytes).collect()
    };
    let utf8 = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>";
    refused("broken UTF-8", X, latin1(score(utf8)), &["is not UTF-8"]);
    read(
        "Latin-1",
        X,
        latin1(score("<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?>")),
        &["1 sonority"],
    );
    let sixteen = score("<?xml version=\"1.0\" encoding=\"UTF-16\"?>");
    read("UTF-16", X, utf16(&sixteen), &["1 sonority"]);
    let cut = utf16(&sixteen);
    refused(
        "half a unit of UTF-16",
        X,
        &cut[..cut.len() - 1],
        &["UTF-16"],
    );
    let units = sixteen.chars().map(u32::from);
    let utf32: Vec<u8> = std::iter::once(0xFEFF)
        .chain(units)
        .flat_map(u32::to_le_bytes)
        .collect();
    refused("UTF-32", X, utf32, &["UTF-32"]);
    refused(
        "an encoding nobody knows",
        X,
        latin1(score("<?xml version=\"1.0\" encoding=\"klingon\"?>")),
        &["klingon"],
    );
    refused("NULs", X, score(utf8).replace("te<", "\0te<"), &["is zero"]);
    refused(
        "a NUL by reference",
        X,
        score(utf8).replace("te<", "&#0;te<"),
        &["is not a character"],
    );
    let noise: Vec<u8> = (0..500_000u32)
        .map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    refused("noise", X, noise, &["error"]);
}

#[test]
fn containers_that_burst_climb_or_lie() {
    let plain = Sheet::default().text();
    let plain = plain.as_bytes();
    read(
        "an ordinary one",
        "x.mxl",
        naming("s.xml", &[("s.xml", plain)]),
        &["1 sonority"],
    );
    refused(
        "a bomb",
        "x.mxl",
        naming("s.xml", &[("s.xml", &vec![b' '; 64 << 20])]),
        &["500 times its packed size", "--limit ratio=NUMBER"],
    );
    refused(
        "a bomb in the table of contents",
        "x.mxl",
        container(&[("META-INF/container.xml", &vec![b' '; 8 << 20])]),
        &["unpacks to more than"],
    );
    for path in [
        "/etc/passwd",
        "../../s.xml",
        "a/../../s.xml",
        "..\\s.xml",
        "c:\\s.xml",
    ] {
        refused(
            path,
            "x.mxl",
            naming(path, &[("s.xml", plain), ("../../s.xml", plain)]),
            &["which leads out of the container", path],
        );
    }
    refused(
        "a score that is not there",
        "x.mxl",
        naming("t.xml", &[("s.xml", plain)]),
        &["no such entry"],
    );
    refused(
        "an empty one",
        "x.mxl",
        container(&[]),
        &["META-INF/container.xml"],
    );
    let inner = naming("s.xml", &[("s.xml", plain)]);
    refused(
        "a container in a container",
        "x.mxl",
        naming("s.mxl", &[("s.mxl", &inner)]),
        &["zip container"],
    );
    let whole = naming("s.xml", &[("s.xml", plain)]);
    refused(
        "a cut one",
        "x.mxl",
        &whole[..whole.len() / 2],
        &["container"],
    );
    let names: Vec<String> = (0..20_000).map(|i| format!("picture{i}.png")).collect();
    let mut entries: Vec<(&str, &[u8])> = names.iter().map(|n| (n.as_str(), &b""[..])).collect();
    entries.push(("s.xml", plain));
    read(
        "thousands of entries",
        "x.mxl",
        naming("s.xml", &entries),
        &["1 sonority"],
    );
}

#[test]
fn grids_made_to_do_harm() {
    let g = "x.passage";
    for (what, text, word) in [
        (
            "an endless count",
            "meter: 4/4\ncount | 99999999999999999999+1/0 |\npiano | C4 |\n".to_owned(),
            "count",
        ),
        (
            "a meter of nothing",
            "meter: 0/0\ncount | 1 |\npiano | C4 |\n".to_owned(),
            "4/4",
        ),
        (
            "a pitch out of the world",
            "count | 1 |\npiano | C99 |\n".to_owned(),
            "C99",
        ),
        (
            "counts that stand still",
            format!(
                "count | {}|\npiano | {}|\n",
                "1 ".repeat(9_000),
                "C4 ".repeat(9_000)
            ),
            "counts must go up",
        ),
        (
            "escapes",
            "title: \u{1b}[2J\ncount | 1 |\n\u{1b}[31mpiano | C99 |\n".to_owned(),
            "C99",
        ),
    ] {
        refused(what, g, text, &[word]);
    }
    let rows: String = (0..300).fold(String::new(), |mut all, i| {
        writeln!(all, "piano {i} | C4 |").unwrap();
        all
    });
    read("hundreds of rows", g, format!("count | 1 |\n{rows}"), &[]);
}

/// Control characters other than the line end.
fn steers(text: &str) -> bool {
    text.chars().any(|c| c.is_control() && c != '\n')
}

#[test]
fn nothing_in_a_file_or_its_name_gives_orders() {
    let order = "<script>alert(1)</script>";
    let escape = "&#27;]0;owned&#7;&#155;2J";
    let folder = tempfile::tempdir().unwrap();
    let name = if cfg!(unix) {
        "<img src=x onerror=alert(2)>\u{1b}[31m.musicxml"
    } else {
        "x.musicxml"
    };
    let bar = |duration| {
        format!(
            "<measure number=\"{escape}&lt;b&gt;\">{}</measure>",
            note(duration, "")
        )
    };
    let named = format!("{escape}&lt;script&gt;alert(1)&lt;/script&gt;\u{1b}[31m");
    let text = Sheet {
        part_name: named.clone(),
        attributes: "<divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>".to_owned(),
        ..Sheet::default()
    }
    .text()
    .replace(
        "<part-list>",
        &format!("<movement-title>{named}</movement-title><part-list>"),
    )
    .replace(
        "</part>",
        &(bar("3")
            + &format!("<measure number=\"3\"><harmony><root><root-step>C</root-step></root><kind text=\"{named}\">other</kind></harmony>{}</measure></part>", note("4", ""))),
    );
    let file = folder.path().join(name);
    fs::write(&file, text).unwrap();
    for format in ["text", "html", "json", "jsonl", "sarif"] {
        let args = ["proof", "--colour", "never", "--format", format].map(OsStr::new);
        let answer = run(args.into_iter().chain([file.as_os_str()]));
        assert_eq!(answer.code, 1, "{format}: {}", answer.all());
        assert!(!steers(&answer.out), "{format}: {:?}", answer.out);
        assert!(!steers(&answer.err), "{format}: {:?}", answer.err);
        if format == "html" {
            assert!(!answer.out.contains(order), "{format}");
            assert!(!answer.out.contains("<img"), "{format}");
            assert!(
                answer.out.contains("&lt;script&gt;alert(1)"),
                "{format}: the name is shown"
            );
        }
    }
    let sarif = run([
        OsStr::new("proof"),
        OsStr::new("--format"),
        OsStr::new("sarif"),
        file.as_os_str(),
    ]);
    let log: serde_json::Value = serde_json::from_str(&sarif.out).unwrap();
    let uri = &log["runs"][0]["results"][0]["locations"][0]["physicalLocation"]["artifactLocation"]
        ["uri"];
    let uri = uri.as_str().unwrap();
    assert!(!uri.contains(['<', '>', ' ', '\u{1b}']), "{uri}");
    for command in ["analysis", "correct", "mark"] {
        let mut args = vec![OsStr::new(command), file.as_os_str()];
        let into = folder.path().join("into");
        if command != "analysis" {
            args.extend([OsStr::new("--into"), into.as_os_str()]);
        }
        let answer = run(args);
        assert!(!steers(&answer.all()), "{command}: {:?}", answer.all());
    }
    // Nor in what is wrong with a file.
    fs::write(&file, format!("<score-partwise><part-list><score-part id=\"{escape}{order}\"/><score-part id=\"{escape}{order}\"/>")).unwrap();
    for format in ["text", "html", "json", "jsonl", "sarif"] {
        let args = ["proof", "--format", format].map(OsStr::new);
        let answer = run(args.into_iter().chain([file.as_os_str()]));
        assert_eq!(answer.code, 2, "{format}: {}", answer.all());
        assert!(!steers(&answer.all()), "{format}: {:?}", answer.all());
        assert!(format != "html" || !answer.out.contains(order));
    }
}

#[cfg(unix)]
#[test]
fn places_that_cannot_be_read() {
    use std::os::unix::fs::symlink;
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::write(at("good.musicxml"), Sheet::default().text()).unwrap();
    symlink(folder.path(), at("loop")).unwrap();
    let answer = run([OsStr::new("proof"), folder.path().as_os_str()]);
    assert_eq!(answer.code, 0, "{}", answer.all());
    assert!(answer.err.contains("1 link"), "{}", answer.all());
    assert!(answer.out.contains("1 file, 1 bar"), "{}", answer.out);
    fs::remove_file(at("loop")).unwrap();
    symlink(at("b.musicxml"), at("a.musicxml")).unwrap();
    symlink(at("a.musicxml"), at("b.musicxml")).unwrap();
    let path = at("a.musicxml");
    let answer = run([OsStr::new("proof"), path.as_os_str()]);
    assert_eq!(answer.code, 2, "{}", answer.all());
    let path = at("nowhere.musicxml");
    let answer = run([OsStr::new("proof"), path.as_os_str()]);
    assert!(
        answer.all().contains("there is no such file or folder"),
        "{}",
        answer.all()
    );
    let locked = at("locked.musicxml");
    fs::write(&locked, Sheet::default().text()).unwrap();
    fs::set_permissions(&locked, std::os::unix::fs::PermissionsExt::from_mode(0o000)).unwrap();
    if fs::read(&locked).is_err() {
        let answer = run([OsStr::new("proof"), locked.as_os_str()]);
        assert_eq!(answer.code, 2);
        assert!(
            answer.all().contains("permission denied"),
            "{}",
            answer.all()
        );
    }
}

/// Runs a shell script where it may mount file systems of its own; `None`, with a line saying so,
/// where that is not allowed.
#[cfg(target_os = "linux")]
fn with_mounts(script: &str, args: &[&Path]) -> Option<(i32, String)> {
    let wrapped = format!("mount -t tmpfs -o size=64k none \"$1\" || exit 99; {script}");
    let output = std::process::Command::new("unshare")
        .args(["--map-root-user", "--mount", "sh", "-c", &wrapped, PROGRAM])
        .args(args)
        .output();
    let said = match output {
        Err(error) => error.to_string(),
        Ok(output) => {
            let said = String::from_utf8_lossy(&output.stdout).into_owned()
                + &String::from_utf8_lossy(&output.stderr);
            match output.status.code() {
                Some(99 | 1) if said.contains("unshare") || said.contains("mount:") => said,
                code => return Some((code.unwrap(), said)),
            }
        }
    };
    let _ = writeln!(
        std::io::stderr(),
        "SKIPPED, file systems cannot be mounted: {said}"
    );
    None
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_and_a_read_only_one() {
    let folder = tempfile::tempdir().unwrap();
    let disk = folder.path().join("disk");
    fs::create_dir(&disk).unwrap();
    let input = folder.path().join(X);
    // Larger than the disk of 64 KiB.
    fs::write(&input, Sheet::default().text() + &" ".repeat(200_000)).unwrap();
    for command in ["correct", "mark"] {
        let script = format!(
            "\"$0\" {command} --into \"$1\" \"$2\"; echo \"code $?\"; ls -A \"$1\"; echo end"
        );
        if let Some((_, said)) = with_mounts(&script, &[&disk, &input]) {
            assert!(said.contains("code 2\nend\n"), "nothing stays: {said}");
            assert!(said.contains("could not be written"), "{said}");
        }
        let script = format!(
            "mount -o remount,ro \"$1\"; \"$0\" {command} --into \"$1\" \"$2\"; echo \"code $?\"; ls -A \"$1\"; echo end"
        );
        if let Some((_, said)) = with_mounts(&script, &[&disk, &input]) {
            assert!(said.contains("code 2\nend\n"), "{said}");
            assert!(said.contains("could not be written"), "{said}");
        }
    }
    // What was there before a full disk stays.
    let script = "echo before > \"$1/report.txt\"; \"$0\" proof --format html --into \"$1/report.txt\" \"$2\"; \
                  echo \"code $?\"; cat \"$1/report.txt\"; ls -A \"$1\"; echo end";
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/mistakes");
    if let Some((_, said)) = with_mounts(script, &[&disk, &sample]) {
        assert!(said.contains("code 2\nbefore\nreport.txt\nend\n"), "{said}");
    }
    // The terminal's file is full.
    if Path::new("/dev/full").exists() {
        let output = std::process::Command::new("sh")
            .args(["-c", "\"$0\" proof \"$1\" > /dev/full", PROGRAM])
            .arg(&input)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2));
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(said.contains("could not be written"), "{said}");
    }
}
