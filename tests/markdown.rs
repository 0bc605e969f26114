//! The report as Markdown, read by a general Markdown library (pulldown-cmark, CommonMark with tables) as the page
//! of a proposed change would read it.

use assert_cmd::Command;
use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};
use std::fmt::Write;
use std::path::Path;

/// What the page of a proposed change takes.
const MOST: usize = 60_000;

fn report(paths: &[&Path]) -> String {
    let out = Command::cargo_bin("chartproof")
        .unwrap()
        .args(["proof", "--gate", "never", "--format", "markdown"])
        .args(paths)
        .output()
        .unwrap();
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    String::from_utf8(out.stdout).unwrap()
}

fn events(text: &str) -> Vec<Event<'_>> {
    Parser::new_ext(text, Options::ENABLE_TABLES | Options::ENABLE_GFM).collect()
}

/// Rows, headings of findings, grids.
fn counts(text: &str) -> (usize, usize, usize) {
    let all = events(text);
    let count = |is: fn(&Event<'_>) -> bool| all.iter().filter(|e| is(e)).count();
    (
        count(|e| matches!(e, Event::End(TagEnd::TableRow))),
        count(|e| {
            matches!(
                e,
                Event::End(TagEnd::Heading(pulldown_cmark::HeadingLevel::H3))
            )
        }),
        count(|e| matches!(e, Event::End(TagEnd::CodeBlock))),
    )
}

#[test]
fn every_finding_has_a_row_and_its_grid() {
    let sample = Path::new("sample-parts/ferry-at-six.musicxml");
    let text = report(&[sample]);
    let (rows, headings, grids) = counts(&text);
    assert!(rows > 3, "{text}");
    assert_eq!((rows, grids), (headings, headings), "{text}");
    let html: Vec<String> = events(&text)
        .into_iter()
        .filter_map(|e| match e {
            Event::Html(t) | Event::InlineHtml(t) => Some(t.trim().to_owned()),
            _ => None,
        })
        .collect();
    assert_eq!(html.len(), 2 * headings, "{html:?}");
    insta::assert_snapshot!("ferry-as-markdown", text);
}

#[test]
fn names_from_a_score_make_no_markup() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a_b*c.passage");
    let names = ["<img>@all", "```[a](b.example)", "**bold**_x_", "#12"];
    let notes = ["C5 | E5", "A4 | Db5", "G4 | A4", "E4 | G4"];
    let mut passage = String::from("key: C major\nmeter: 4/4\npitch: sounding\nparts:\n");
    for name in names {
        writeln!(passage, "  {name} = trumpet").unwrap();
    }
    passage.push_str("\nchord | C6 | C6 |\ncount | 1  | 1  |\n");
    for (name, notes) in names.iter().zip(notes) {
        writeln!(passage, "{name} | {notes} |").unwrap();
    }
    std::fs::write(&path, passage).unwrap();
    let text = report(&[&path]);
    let (rows, headings, grids) = counts(&text);
    assert!(rows > 0, "{text}");
    assert_eq!((rows, grids), (headings, headings), "{text}");
    for event in events(&text) {
        match event {
            Event::Html(t) | Event::InlineHtml(t) => {
                let own = ["<details>", "</details>"].iter().any(|w| t.contains(w));
                assert!(own && !t.contains("img"), "{t}");
            }
            Event::Start(Tag::Link { .. } | Tag::Image { .. } | Tag::Emphasis) => {
                panic!("markup of a name: {text}")
            }
            _ => {}
        }
    }
    assert!(!text.contains("|@") && !text.contains(" @all "), "{text}");
}

#[test]
fn what_does_not_fit_is_counted() {
    let folder = tempfile::tempdir().unwrap();
    let sample = Path::new("sample-parts/mistakes/lamplighters-detour-with-mistakes.musicxml");
    let copies: Vec<_> = (0..12)
        .map(|i| folder.path().join(format!("{i}.musicxml")))
        .collect();
    for copy in &copies {
        std::fs::copy(sample, copy).unwrap();
    }
    let one = counts(&report(&[sample])).0;
    let paths: Vec<&Path> = copies.iter().map(AsRef::as_ref).collect();
    let text = report(&paths);
    assert!(text.len() <= MOST, "{} bytes", text.len());
    let (rows, headings, _) = counts(&text);
    let all = one * copies.len();
    assert!(rows < all && headings < all);
    assert!(
        text.contains(&format!("{} findings more in no row", all - rows)),
        "{rows} {all}"
    );
    assert!(text.contains(&format!("{} more findings not drawn here", all - headings)));
}
