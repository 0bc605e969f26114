//! Work grows with the score, not with its square.
//!
//! Nothing here is timed: the tests hold the ceilings, and that each is said. `cargo bench` prints how
//! time grows for the same shapes.

use assert_cmd::Command;
use chartproof::inside::correct::correct;
use chartproof::inside::diagnosis::passages;
use chartproof::inside::editing::{ScoreEdits, edits};
use chartproof::inside::fixing::{self, TryBudget};
use chartproof::inside::house_style;
use chartproof::inside::proof::{Heard, proof};
use chartproof::inside::reading::{grid, read_bytes};
use chartproof::inside::rules::{self, RuleInput};
use chartproof::inside::score::Score;
use chartproof::inside::style::Style;
use std::fmt::Write as _;
use std::path::Path;

/// What the program prints for a file, and for the one style beside it.
fn report(name: &str, text: &str, style: Option<&str>) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, text).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_chartproof"));
    command.arg("proof").arg(&path);
    if let Some(style) = style {
        let path = folder.path().join("style.toml");
        std::fs::write(&path, style).unwrap();
        command.arg("--style").arg(&path);
    }
    let output = command.env("NO_COLOR", "1").output().unwrap();
    assert!(output.status.code().is_some(), "it ends by itself");
    format!(
        "{}{}",
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap()
    )
}

/// One chord of so many notes for an alto saxophone, each octave up to the ninth over again.
fn chord(notes: usize) -> String {
    let names: Vec<String> = (0..notes)
        .map(|i| {
            format!(
                "{}{}",
                ["C", "D", "E", "F", "G", "A", "B"][i % 7],
                i / 7 % 9
            )
        })
        .collect();
    format!(
        "parts: alto = alto saxophone\n\nchord | C6 |\ncount | 1 |\nalto | {} |\n",
        names.join("+")
    )
}

/// Saxophones that play at random, without accidentals: nearly every chord is crossed or wrong.
fn random_saxes(bars: usize) -> String {
    let mut dice = crate::common::Dice::new(5);
    let names = ["alto 1", "alto 2", "tenor 1", "tenor 2"];
    let mut text = String::from(
        "section: saxes\nparts: alto 1 = alto saxophone\n       alto 2 = alto saxophone\n       \
         tenor 1 = tenor saxophone\n       tenor 2 = tenor saxophone\n",
    );
    for _ in 0..bars {
        text.push_str("\nchord | C6 - - - |\ncount | 1 2 3 4 |\n");
        for name in names {
            let mut pitch = || {
                let step = ["C", "D", "E", "F", "G", "A", "B"][dice.roll(7)];
                format!("{step}{}", 4 + dice.roll(2))
            };
            let _ = writeln!(
                text,
                "{name} | {} {} {} {} |",
                pitch(),
                pitch(),
                pitch(),
                pitch()
            );
        }
    }
    text
}

/// Four saxophones in four-way close, one note in each bar a half step off.
fn slipped_saxes(bars: usize) -> String {
    let mut text = String::from(
        "section: saxes\ntechnique: four-way close\nparts: alto 1 = alto saxophone\n       \
         alto 2 = alto saxophone\n       tenor 1 = tenor saxophone\n       tenor 2 = tenor saxophone\n",
    );
    for bar in 0..bars {
        let mut rows = [
            ["G4", "A4", "G4", "A4"],
            ["E4", "G4", "E4", "G4"],
            ["C4", "E4", "C4", "E4"],
            ["A3", "C4", "A3", "C4"],
        ];
        rows[1][bar % 4] = if bar % 2 == 0 { "F4" } else { "G#4" };
        text.push_str("\nchord | C6 - - - |\ncount | 1 2 3 4 |\n");
        for (name, row) in ["alto 1", "alto 2", "tenor 1", "tenor 2"].iter().zip(rows) {
            let _ = writeln!(text, "{name} | {} |", row.join(" "));
        }
    }
    text
}

fn read(text: &str) -> Score {
    grid::read(Path::new("a.passage"), text.into()).unwrap()
}

/// A text for each number, joined.
fn each(n: usize, text: impl Fn(usize) -> String) -> String {
    (0..n).map(text).collect::<Vec<_>>().concat()
}

/// Rules of a house that find something at every note, each with fixes that mend nothing.
fn rules_that_always_fire(rules: usize) -> String {
    each(rules, |n| {
        format!(
            "[[rule]]\nname = 'own-{n}'\nscope = 'note'\nwhen = 'true'\nmessage = '{{part}}'\n\
             fix = ['octave up', 'octave down', '3rd']\n"
        )
    })
}

#[test]
fn a_drawn_chord_has_a_ceiling_of_notes_and_of_marks() {
    let long = report("a.passage", &chord(4_000), None);
    // As many are drawn as the columns of the report take.
    let drawn = long.lines().find(|l| l.trim_start().starts_with("alto "));
    let drawn = drawn.unwrap().matches('+').count();
    assert!((8..48).contains(&drawn), "{drawn}");
    assert!(
        long.contains(&format!("+... {} more", 4_000 - drawn)),
        "the notes not drawn are counted"
    );
    assert!(
        long.contains("more notes"),
        "the marks not drawn are counted"
    );
    let widest = long
        .lines()
        .filter(|l| l.trim_start().starts_with("alto "))
        .map(str::len)
        .max();
    assert!(widest.unwrap() < 1_000, "{widest:?}");
    // The drawn rows are as many for a chord of any size.
    let rows = |text: &str| text.lines().filter(|l| l.contains(" below ")).count();
    let shorter = report("a.passage", &chord(1_000), None);
    assert_eq!(rows(&long), rows(&shorter));
}

#[test]
fn a_chord_within_the_ceiling_is_drawn_whole() {
    let text = report("a.passage", &chord(16), None);
    assert!(!text.contains("+... "), "{text}");
}

#[test]
fn a_grid_keeps_to_the_limits_of_a_score() {
    let header = |parts: usize| {
        let mut text = String::from("parts: a0 = alto saxophone\n");
        for n in 1..parts {
            let _ = writeln!(text, "       a{n} = alto saxophone");
        }
        text
    };
    let row = "\ncount | 1 |\na0 | C4 |\n";
    let many = report("a.passage", &(header(20_000) + row), None);
    assert!(many.contains("more than 1000 parts"), "{many}");
    assert!(many.contains("--limit parts="), "{many}");
    // Bars of all parts together, most of them at rest.
    let bars = report("a.passage", &(header(1_000) + &row.repeat(1_001)), None);
    assert!(bars.contains("more than 1000000 bars"), "{bars}");
    let notes = report("a.passage", &chord(10_001), None);
    assert!(notes.contains("10001 notes, rests and signs"), "{notes}");
    let labels = each(1_001, |n| format!("alto {n} | C4 |\n"));
    let rows = report("a.passage", &format!("count | 1 |\n{labels}"), None);
    assert!(rows.contains("more than 1000 parts"), "{rows}");
}

#[test]
fn of_very_many_mistakes_of_a_style_the_first_are_listed() {
    let style = |n: usize| each(n, |i| format!("[unknown{i}]\na = 1\n"));
    let mistakes = |n: usize| {
        let error = house_style::read_text(Path::new("x.toml"), &style(n)).unwrap_err();
        error.mistakes
    };
    assert_eq!(mistakes(100).len(), 100);
    let all = mistakes(5_000);
    assert_eq!(all.len(), 101);
    assert_eq!(all[100].message, "and 4900 more mistakes");
    assert!(
        all[0].message.contains("`unknown0`"),
        "the first comes first"
    );
    assert_eq!(mistakes(101)[100].message, "and 1 more mistake");
    let said = report("a.passage", &chord(1), Some(&style(3_000)));
    assert!(said.contains("and 2900 more mistakes"), "{said}");
}

#[test]
fn every_entry_of_a_long_style_knows_its_line() {
    let text = each(5_000, |n| {
        format!("[[part]]\nname = 'Reed {n}'\ninstrument = 'alto saxophone'\n")
    });
    let style = house_style::read_text(Path::new("x.toml"), &text).unwrap();
    assert_eq!(style.parts.len(), 5_000);
    assert!(style.parts[4_999].origin.to_string().ends_with(":14998"));
}

/// How many findings of a score stay untried within a budget, and how many get a fix.
fn tried(score: &Score, style: &Style, mut budget: TryBudget) -> (usize, usize) {
    let found = passages(score, style);
    let mut findings = rules::check(&RuleInput::new(score, style, &found));
    let untried = fixing::verify(score, style, &found, &mut findings, &mut budget);
    (untried, findings.iter().filter(|f| f.fix.is_some()).count())
}

#[test]
fn fixes_are_tried_within_a_budget_in_the_order_of_the_score() {
    let score = read(&slipped_saxes(20));
    let style = Style::default();
    let (untried, all) = tried(&score, &style, TryBudget::of_a_score());
    assert_eq!(untried, 0, "a score of 20 bars is far within it");
    assert!(all > 5, "{all}");
    let (untried, none) = tried(&score, &style, TryBudget::of(0));
    assert_eq!(none, 0);
    assert!(untried >= all);
    let (left, some) = tried(&score, &style, TryBudget::of(400_000));
    assert!(left > 0 && left < untried, "{left} of {untried}");
    assert!(some < all, "{some} of {all}");
}

#[test]
fn a_score_that_uses_its_budget_up_says_so() {
    let score = read(&random_saxes(20));
    let text = rules_that_always_fire(60);
    let style = house_style::read_text(Path::new("x.toml"), &text).unwrap();
    let found = proof(&score, &style);
    let said = found
        .remarks
        .iter()
        .find(|r| r.contains("no fix was tried"));
    let said = said.unwrap_or_else(|| panic!("{:?}", found.remarks));
    assert!(
        said.contains(&format!("of {} findings", found.findings.len())),
        "{said}"
    );
    // The rules that every chart is held to leave it alone.
    let plain = proof(&score, &Style::default());
    assert!(!plain.remarks.iter().any(|r| r.contains("no fix was tried")));
}

#[test]
fn correcting_has_one_budget_for_all_rounds() {
    let style = Style::default();
    let heard = Heard::new(read(&slipped_saxes(4)), &style);
    let correction = correct(&heard, &style);
    assert!(!correction.done.is_empty());
    assert!(correction.left.findings.len() < heard.proofed(&style).findings.len());
}

#[test]
fn edits_of_many_fixes_are_those_of_each_by_itself() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts");
    let grid = random_saxes(12).into_bytes();
    let chart = std::fs::read(folder.join("lamplighters-detour.musicxml")).unwrap();
    let mut compared = 0;
    for (name, bytes) in [("a.passage", grid), ("a.musicxml", chart)] {
        let score = read_bytes(Path::new(name), bytes).unwrap();
        let mut together = ScoreEdits::new(&score);
        for (part, notes) in (0u32..).zip(&score.parts) {
            for (note, n) in (0u32..).zip(&notes.notes).step_by(7) {
                let changes = [chartproof::Change {
                    note: chartproof::NoteRef { part, note },
                    sounding: n.sounding.octaves(1),
                }];
                assert_eq!(together.of(&changes), edits(&score, &changes));
                compared += 1;
            }
        }
    }
    assert!(compared > 100, "{compared}");
}

/// Five saxophones in a container: `bars` of quarters at random, with texts of these lengths.
fn packed_saxes(bars: usize, name: usize, number: usize, symbol: usize) -> Vec<u8> {
    let mut dice = crate::common::Dice::new(5);
    let mut text = String::from("<score-partwise version='4.0'><part-list>");
    for part in 0..5 {
        let more = "n".repeat(if part == 0 { name } else { 0 });
        let _ = write!(
            text,
            "<score-part id='P{part}'><part-name>Alto Sax {part}{more}</part-name></score-part>"
        );
    }
    text.push_str("</part-list>");
    for part in 0..5 {
        let _ = write!(text, "<part id='P{part}'>");
        for bar in 1..=bars {
            let more = "9".repeat(if bar == 1 { number } else { 0 });
            let _ = write!(text, "<measure number='{bar}{more}'>");
            if part == 0 && bar == 1 {
                let kind = "x".repeat(symbol);
                let _ = write!(
                    text,
                    "<harmony><root><root-step>C</root-step></root><kind text='6{kind}'>major-sixth\
                     </kind></harmony>"
                );
            }
            for _ in 0..4 {
                let step = ["C", "D", "E", "F", "G", "A", "B"][dice.roll(7)];
                let octave = 4 + dice.roll(2);
                let _ = write!(
                    text,
                    "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch>\
                     <duration>1</duration></note>"
                );
            }
            text.push_str("</measure>");
        }
        text.push_str("</part>");
    }
    text.push_str("</score-partwise>");
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    let contents = "<container><rootfiles><rootfile full-path='s.xml'/></rootfiles></container>";
    for (name, text) in [("META-INF/container.xml", contents), ("s.xml", &text)] {
        zip.start_file(name, options).unwrap();
        std::io::Write::write_all(&mut zip, text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

#[test]
fn a_long_text_of_a_score_is_not_repeated_at_its_length() {
    const LONG: usize = 900_000;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.mxl");
    for (name, number, symbol) in [(LONG, 0, 0), (0, LONG, 0), (0, 0, LONG)] {
        let bytes = packed_saxes(4, name, number, symbol);
        assert!(bytes.len() < 8_000, "{}", bytes.len());
        std::fs::write(&path, bytes).unwrap();
        for format in ["text", "json", "sarif", "html"] {
            let mut command = Command::new(env!("CARGO_BIN_EXE_chartproof"));
            let command = command.args(["proof", "--format", format]).arg(&path);
            // The proportion of a container is another limit's concern.
            let output = command.args(["--limit", "ratio=100000"]).output().unwrap();
            let said = String::from_utf8(output.stdout).unwrap();
            assert!(
                said.len() > 1_000 && said.len() < 1_500_000,
                "{format}: {}",
                said.len()
            );
            assert!(!said.contains(&"9".repeat(1_000)), "{format}");
        }
    }
}

#[test]
fn a_score_says_that_texts_were_cut_and_keeps_its_places() {
    let read = |name: usize, number: usize, symbol: usize| {
        let bytes = packed_saxes(2, name, number, symbol);
        read_bytes(Path::new("a.mxl"), bytes).unwrap()
    };
    let remarks = |score: &Score| proof(score, &Style::default()).remarks.join("\n");
    // "Alto Sax 0", "1" and "C6" have ten characters, one and two.
    let short = read(190, 199, 198);
    assert_eq!(short.cut_texts, 0);
    assert!(!remarks(&short).contains("were cut"));
    let long = read(191, 200, 199);
    assert_eq!(long.cut_texts, 1 + 5 + 1, "the bar stands in each part");
    assert!(
        remarks(&long).contains("were cut, 7 in all"),
        "{}",
        remarks(&long)
    );
    assert_eq!(long.parts[0].name.chars().count(), 201);
    for (part, other) in long.parts.iter().zip(&short.parts) {
        for (note, other) in part.notes.iter().zip(&other.notes) {
            let text = |score: &Score, span: chartproof::inside::ground::text::Span| {
                score.sources[0].text[span.start as usize..span.end as usize].to_owned()
            };
            assert_eq!(text(&long, note.span), text(&short, other.span));
        }
    }
}

#[test]
fn the_bars_of_a_timewise_score_share_a_long_number() {
    let parts = each(900, |n| format!("<part id='P{n}'/>"));
    let list = each(900, |n| {
        format!("<score-part id='P{n}'><part-name>A</part-name></score-part>")
    });
    let number = "9".repeat(5_000_000);
    let text = format!(
        "<score-timewise><part-list>{list}</part-list><measure number='{number}'>{parts}</measure>\
         </score-timewise>"
    );
    let score = read_bytes(Path::new("a.musicxml"), text).unwrap();
    let longest = score.parts.iter().map(|p| p.bars[0].number.len()).max();
    assert!(longest.unwrap() < 250);
}

#[test]
fn a_rule_of_a_house_has_limits_at_their_lines() {
    let rule =
        |more: &str| format!("[[rule]]\nname = 'own'\nscope = 'note'\nwhen = 'true'\n{more}\n");
    let long = "a".repeat(2_001);
    for (more, said) in [
        (
            format!("message = '{}'", "{part}".repeat(300)),
            "20 places for values at most",
        ),
        (format!("message = '{long}'"), "this has 2001 characters"),
        (
            format!("message = 'x'\nwhy = '{long}'"),
            "`why` has 2001 characters",
        ),
        (
            format!("message = 'x'\nsource = '{long}'"),
            "`source` has 2001 characters",
        ),
        (
            format!("message = 'x'\nfix = [{}]", "'3rd',".repeat(2_500)),
            "8 fixes at most",
        ),
    ] {
        let mistakes = house_style::read_text(Path::new("x.toml"), &rule(&more))
            .unwrap_err()
            .mistakes;
        assert_eq!(mistakes.len(), 1, "{said}");
        assert!(
            mistakes[0].message.contains(said),
            "{}",
            mistakes[0].message
        );
        let line = 4 + more.lines().count();
        assert_eq!(mistakes[0].line_column().map(|p| p.0), Some(line), "{said}");
    }
    let within = format!(
        "message = '{}'\nwhy = '{}'\nfix = [{}]",
        "{part}".repeat(20),
        &long[1..],
        "'3rd',".repeat(8)
    );
    assert!(house_style::read_text(Path::new("x.toml"), &rule(&within)).is_ok());
}

#[test]
fn rules_of_a_house_have_a_ceiling_of_findings_together() {
    let rules = |n: usize| {
        let text = each(n, |i| {
            format!(
                "[[rule]]\nname = 'own-{i}'\nscope = 'note'\nwhen = 'true'\nmessage = '{{part}}'\n"
            )
        });
        house_style::read_text(Path::new("x.toml"), &text).unwrap()
    };
    // 320 notes, of which each rule lists 200.
    let score = read(&random_saxes(20));
    let of = |n: usize| {
        let style = rules(n);
        let found = passages(&score, &style);
        let input = RuleInput::new(&score, &style, &found);
        let findings = rules::check(&input);
        let own = findings.iter().filter(|f| f.rule.starts_with("own-"));
        let remarks = input.remarks();
        let said = remarks.iter().find(|r| r.contains("than the 10000 listed"));
        (own.count(), said.cloned())
    };
    assert_eq!(of(50), (10_000, None));
    let (listed, said) = of(51);
    assert_eq!(listed, 10_000);
    assert!(said.unwrap().contains("find 200 more places"));
}

#[test]
fn lists_within_lists_of_a_house_rule_end_and_the_report_says_so() {
    let style = "[[rule]]\nname = 'cube'\nscope = 'sonority'\nmessage = 'x'\n\
                 when = 'voices.exists(a, voices.exists(b, voices.exists(c, a > b && b > c && c > a)))'\n";
    let said = report("a.passage", &chord(2_000), Some(style));
    assert!(said.contains("cube was not asked of 1 chords"), "{said}");
    let said = report("a.passage", &random_saxes(20), Some(style));
    assert!(!said.contains("was not asked"), "{said}");
}

#[test]
fn each_part_of_a_crowd_has_its_own_seat() {
    let mut text = String::from("parts: ");
    for n in 0..300 {
        let _ = writeln!(text, "       t{n} = trumpet");
    }
    text.push_str("\nchord | C6 |\ncount | 1 |\n");
    for n in 0..300 {
        let _ = writeln!(text, "t{n} | {} |", ["C5", "G4"][usize::from(n > 256)]);
    }
    let score = grid::read(Path::new("a.passage"), text.into()).unwrap();
    let passages = passages(&score, &Style::default());
    let voices = &passages[0].sonorities[0].voices;
    let mut seats: Vec<u16> = voices.iter().map(|v| v.seat).collect();
    seats.sort_unstable();
    assert!(seats.into_iter().eq(0..300));
}
