//! The homework of a class: thirty generated files with known slips, with and without an answer key.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::common::{self, Dice, Made, SLIPS};
use assert_cmd::Command;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// What a student did wrong: the kind of mistake, and how often.
type Slips = BTreeMap<String, usize>;

struct Student {
    name: String,
    slips: Slips,
    wrong: usize,
    grid: String,
}

fn chartproof(args: &[&str], folder: &Path) -> (i32, String, String) {
    let out = Command::cargo_bin("chartproof")
        .unwrap()
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .args(args)
        .output()
        .unwrap();
    (
        out.status.code().unwrap(),
        String::from_utf8(out.stdout).unwrap(),
        String::from_utf8(out.stderr).unwrap(),
    )
}

/// Eight bars of drop 2 for saxophones, technique stated: the exercise of the class.
fn exercise() -> Made {
    (0..400)
        .find_map(|seed| {
            common::clean(3000 + seed, 0, 2, 5, true, 8)
                .filter(|m| m.events.iter().filter(|e| e.passing).count() >= 3)
        })
        .unwrap()
}

/// Up to four slips in one piece of homework, no two of them beside each other.
fn student(n: usize, right: &Made) -> Student {
    let mut made = right.clone();
    let mut slips = Slips::new();
    let mut taken: BTreeSet<usize> = BTreeSet::new();
    let mut dice = Dice::new(n as u64 + 77);
    let mut tries = 0;
    while taken.len() < n % 5 && tries < 200 {
        tries += 1;
        let slip = dice.roll(SLIPS.len());
        let mut next = made.clone();
        let Some((at, rule)) = common::inject(&mut next, slip, (n * 1000 + tries) as u64) else {
            continue;
        };
        if (at.saturating_sub(2)..=at + 2).any(|i| taken.contains(&i)) {
            continue;
        }
        taken.insert(at);
        *slips.entry(rule.replace('-', " ")).or_default() += 1;
        made = next;
    }
    Student {
        name: format!("student {:02}", n + 1),
        slips,
        wrong: taken.len(),
        grid: made.grid(),
    }
}

fn class(folder: &Path) -> (Made, Vec<Student>) {
    let right = exercise();
    let students: Vec<Student> = (0..30).map(|n| student(n, &right)).collect();
    for s in &students {
        fs::write(folder.join(format!("{}.passage", s.name)), &s.grid).unwrap();
    }
    (right, students)
}

/// The rows of a CSV by column name.
fn rows(csv: &str) -> Vec<BTreeMap<String, String>> {
    let cells = |line: &str| -> Vec<String> {
        let mut cells = vec![String::new()];
        let mut quoted = false;
        for c in line.chars() {
            match c {
                '"' => quoted = !quoted,
                ',' if !quoted => cells.push(String::new()),
                c => cells.last_mut().unwrap().push(c),
            }
        }
        cells
    };
    let mut lines = csv.trim_start_matches('\u{feff}').split_terminator("\r\n");
    let head = cells(lines.next().unwrap());
    lines
        .map(|l| {
            let row = cells(l);
            assert_eq!(row.len(), head.len(), "{l}");
            head.iter().cloned().zip(row).collect()
        })
        .collect()
}

fn expect_counts(csv: &str, students: &[Student], sonorities: usize) {
    let rows = rows(csv);
    assert_eq!(rows.len(), students.len());
    let fixed = [
        "student", "exercise", "file", "key", "right", "of", "percent", "mistakes", "notes",
        "remark",
    ];
    for (row, student) in rows.iter().zip(students) {
        assert_eq!(row["student"], student.name);
        let found: Slips = row
            .iter()
            .filter(|(k, v)| !fixed.contains(&k.as_str()) && *v != "0")
            .map(|(k, v)| (k.clone(), v.parse().unwrap()))
            .collect();
        assert_eq!(found, student.slips, "{}\n{}", student.name, student.grid);
        assert_eq!(row["of"], sonorities.to_string(), "{}", student.name);
        assert_eq!(
            row["right"],
            (sonorities - student.wrong).to_string(),
            "{}",
            student.name
        );
    }
}

#[test]
fn the_counts_are_those_of_the_slips_that_were_made() {
    let dir = tempfile::tempdir().unwrap();
    let homework = dir.path().join("homework");
    fs::create_dir(&homework).unwrap();
    let (right, students) = class(&homework);
    let made: usize = students.iter().map(|s| s.wrong).sum();
    let kinds: BTreeSet<&String> = students.iter().flat_map(|s| s.slips.keys()).collect();
    assert!(made >= 50 && kinds.len() >= 6, "{made} slips, {kinds:?}");

    // Strict technique, as exercises are marked: every passing note takes its diminished seventh.
    let args = [
        "proof", "--class", "homework", "--format", "csv", "--style", "homework",
    ];
    let (code, csv, err) = chartproof(&args, dir.path());
    assert_eq!((code, err.as_str()), (1, ""));
    expect_counts(&csv, &students, right.events.len());

    // The whole answer as the key, then the melody alone with the technique named beside it.
    fs::write(dir.path().join("key.passage"), right.grid()).unwrap();
    fs::write(dir.path().join("melody.passage"), right.lead()).unwrap();
    let with_key = [&args[..], &["--key", "key.passage"]].concat();
    let (code, csv, _) = chartproof(&with_key, dir.path());
    assert_eq!(code, 1);
    expect_counts(&csv, &students, right.events.len());
    let with_melody = [
        &args[..],
        &["--key", "melody.passage", "--technique", "drop 2"],
    ]
    .concat();
    let (_, csv, _) = chartproof(&with_melody, dir.path());
    expect_counts(&csv, &students, right.events.len());
}

/// What one file is marked with against the exercise's key: mistakes, right, of.
fn marked(folder: &Path, grid: &str) -> (Slips, usize, usize) {
    let homework = folder.join("one");
    fs::create_dir_all(&homework).unwrap();
    fs::write(homework.join("Ada.passage"), grid).unwrap();
    let args = [
        "proof",
        "--class",
        "one",
        "--key",
        "key.passage",
        "--format",
        "csv",
        "--style",
        "homework",
    ];
    let (_, csv, _) = chartproof(&args, folder);
    let row = rows(&csv).remove(0);
    assert_ne!(row["of"], "", "{}\n{grid}", row["remark"]);
    let fixed = [
        "student", "exercise", "file", "key", "right", "of", "percent", "mistakes", "notes",
        "remark",
    ];
    let number = |name: &str| row[name].parse().unwrap();
    let slips = row
        .iter()
        .filter(|(k, _)| !fixed.contains(&k.as_str()))
        .map(|(k, v)| (k.clone(), v.parse().unwrap()))
        .collect();
    (slips, number("right"), number("of"))
}

#[test]
fn what_only_a_key_shows() {
    let dir = tempfile::tempdir().unwrap();
    let right = exercise();
    let all = right.events.len();
    fs::write(dir.path().join("key.passage"), right.grid()).unwrap();
    let slips = |list: &[(&str, usize)]| -> Slips {
        list.iter().map(|(k, n)| ((*k).to_owned(), *n)).collect()
    };
    let expect = |made: &Made, wanted: &[(&str, usize)], wrong: usize| {
        let grid = made.grid();
        let (found, good, of) = marked(dir.path(), &grid);
        assert_eq!(found, slips(wanted), "{grid}");
        assert_eq!((good, of), (all - wrong, all), "{grid}");
    };
    expect(&right, &[], 0);

    // Symbols and technique are the key's: a file without them is judged all the same.
    let mut bare = right.clone();
    bare.stated = false;
    let grid = bare.grid();
    let lines = grid.lines().filter(|l| !l.starts_with("chord"));
    let (found, good, of) = marked(dir.path(), &lines.collect::<Vec<_>>().join("\n"));
    assert_eq!((found, good, of), (Slips::new(), all, all), "{grid}");

    let mut melody = right.clone();
    melody.events[3].voices[0] += 1;
    expect(&melody, &[("melody changed", 1)], 1);

    let mut short = right.clone();
    short.events.retain(|e| e.bar < 7);
    short.bars = 7;
    let gone = all - short.events.len();
    expect(&short, &[("not written", gone)], gone);

    let mut higher = right.clone();
    higher.key = (higher.key + 2) % 12;
    for e in &mut higher.events {
        e.root = (e.root + 2) % 12;
        e.voices.iter_mut().for_each(|v| *v += 2);
    }
    expect(&higher, &[("other key", 1)], 0);

    // A note on a beat comes half a beat after the one before it instead.
    let mut rhythm = right.clone();
    let late = right
        .events
        .windows(3)
        .position(|w| {
            w.iter().all(|e| e.bar == w[0].bar && e.at % 2 == 0) && w[1].at - w[0].at >= 2
        })
        .unwrap();
    rhythm.events[late + 1].at = rhythm.events[late].at + 1;
    let (found, ..) = marked(dir.path(), &rhythm.grid());
    assert_eq!(found.get("melody rhythm"), Some(&1), "{found:?}");
    assert!(!found.contains_key("not written") && !found.contains_key("melody added"));

    let mut extra = right.clone();
    let mut more = extra.events[0].clone();
    if extra.events[0].length >= 2 {
        more.at = extra.events[0].at + 1;
        more.symbol = false;
        extra.events.insert(1, more);
        let (found, _, of) = marked(dir.path(), &extra.grid());
        assert_eq!(found.get("melody added"), Some(&1), "{found:?}");
        assert_eq!(of, all);
    }

    // The bottom voice left out of the first sonority.
    let grid = right.grid();
    let row = grid.lines().last().unwrap();
    let cell = row
        .split('|')
        .nth(1)
        .unwrap()
        .split_whitespace()
        .next()
        .unwrap();
    let thin = grid.replace(row, &row.replacen(cell, ".", 1));
    let (found, good, of) = marked(dir.path(), &thin);
    assert_eq!(found, slips(&[("voices missing", 1)]));
    assert_eq!((good, of), (all - 1, all));

    // It was left out altogether.
    let mut three = right.clone();
    three.events.iter_mut().for_each(|e| e.voices.truncate(3));
    let (found, good, of) = marked(dir.path(), &three.grid());
    assert_eq!(found.get("voices missing"), Some(&all), "{found:?}");
    assert_eq!((good, of), (0, all));
}

#[test]
fn a_key_whose_chords_change_under_held_notes_asks_for_them() {
    let dir = tempfile::tempdir().unwrap();
    let right = (0..400)
        .find_map(|seed| {
            common::held(9000 + seed, 0, 2, 3, true, 4)
                .filter(|m| common::hold_all(&mut m.clone()).is_some_and(|(_, clashes)| clashes))
        })
        .unwrap();
    let all = right.events.len();
    fs::write(dir.path().join("key.passage"), right.grid()).unwrap();
    assert_eq!(
        marked(dir.path(), &right.grid()),
        (Slips::new(), all, all),
        "{}",
        right.grid()
    );
    let mut injected = 0;
    for slip in 0..SLIPS.len() {
        let slipped = (5..25).find_map(|seed| {
            let mut made = right.clone();
            common::inject(&mut made, slip, seed).map(|(_, rule)| (made, rule))
        });
        let Some((made, rule)) = slipped else {
            continue;
        };
        injected += 1;
        let slips = Slips::from([(rule.replace('-', " "), 1)]);
        let grid = made.grid();
        assert_eq!(marked(dir.path(), &grid), (slips, all - 1, all), "{grid}");
    }
    assert!(injected >= 5, "{injected} of {}", SLIPS.len());
    // All hold on, where the key's voices move for a good reason.
    let mut stays = right.clone();
    common::hold_all(&mut stays).unwrap();
    let grid = stays.grid();
    let slips = Slips::from([("wrong note".to_owned(), 1)]);
    assert_eq!(marked(dir.path(), &grid), (slips, all - 1, all), "{grid}");
}

/// Four saxophones under a melody whose third note is held into the second bar; what the other three
/// do there.
fn under_a_held_note(cells: [&str; 3]) -> String {
    let [alto, tenor, low] = cells;
    format!(
        "key: F\nmeter: 4/4\nsection: saxes\ntechnique: four-way close\n\
         parts: alto 1 = alto saxophone\nalto 2 = alto saxophone\n\
         tenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\n\n\
         chord   | Gm7 -   -   -   | C7 -   | F6 |\n\
         count   | 1   2   3   4   | 1  3   | 1  |\n\
         alto 1  | D5  F5  D5  Bb4 | -  D5  | C5 |\n\
         alto 2  | Bb4 D5  Bb4 G4  | {alto} Bb4 | A4 |\n\
         tenor 1 | G4  Bb4 G4  F4  | {tenor} G4 | F4 |\n\
         tenor 2 | F4  G4  F4  D4  | {low} E4 | D4 |\n"
    )
}

#[test]
fn who_rests_under_a_held_note_has_not_written_what_the_key_has() {
    let dir = tempfile::tempdir().unwrap();
    let key = under_a_held_note(["G4", "E4", "C4"]);
    fs::write(dir.path().join("key.passage"), &key).unwrap();
    assert_eq!(marked(dir.path(), &key), (Slips::new(), 7, 7));
    let missing = Slips::from([("not written".to_owned(), 1)]);
    for cells in [[".", ".", "."], [".", ".", "-"]] {
        let grid = under_a_held_note(cells);
        assert_eq!(marked(dir.path(), &grid), (missing.clone(), 6, 7), "{grid}");
    }
}

#[test]
fn only_sonorities_that_are_there_are_counted() {
    use chartproof::inside::homework::mark;
    use chartproof::inside::reading::grid;
    use chartproof::inside::style::Style;
    let marks = |text: &str| {
        let score = grid::read(Path::new("x.passage"), text.into()).unwrap();
        let marks = mark(score, &Style::default(), None).marks;
        let mistakes: Vec<_> = marks.mistakes.into_iter().collect();
        (mistakes, marks.right, marks.of)
    };
    // The saxophones go on over a chord that the trombones hold: a mistake between them, and one
    // sonority that is not right.
    let two = "key: C\nmeter: 4/4\n\
               parts: alto 1 = alto saxophone\nalto 2 = alto saxophone\n\
               tenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\n\
               high = trombone\nsecond = trombone\nthird = trombone\nlow = trombone\n\n\
               chord   | Cmaj7 -  | Am7 |\ncount   | 1 3    | 1  |\n\
               alto 1  | G4 C5  | C5 |\nalto 2  | E4 A4  | A4 |\n\
               tenor 1 | D4 G4  | G4 |\ntenor 2 | B3 E4  | E4 |\n\
               high    | G4 -   | G4 |\nsecond  | E4 -   | E4 |\n\
               third   | D4 -   | C4 |\nlow     | B3 -   | A3 |\n";
    assert_eq!(marks(two), (vec![("minor-ninth", 1)], 4, 5));
    // Held over into a chord at which nobody strikes: that one does count.
    let held = "key: C\nmeter: 4/4\nsection: saxes\ntechnique: four-way close\n\
                parts: alto 1 = alto saxophone\nalto 2 = alto saxophone\n\
                tenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\n\n\
                chord   | D7  -   -   -   | Dm7 | G7 |\ncount   | 1   2   3   4   | 1   | 1  |\n\
                alto 1  | D5  C5  D5  C5  | -   | B4 |\nalto 2  | C5  A4  C5  A4  | -   | G4 |\n\
                tenor 1 | A4  F#4 A4  F#4 | -   | F4 |\ntenor 2 | F#4 D4  F#4 D4  | -   | D4 |\n";
    assert_eq!(marks(held), (vec![("wrong-note", 1)], 5, 6));
}

#[test]
fn every_right_voicing_is_right_not_the_keys_alone() {
    use chartproof::inside::diagnosis::{choices, passages};
    use chartproof::inside::homework::{Key, mark};
    use chartproof::inside::reading::grid;
    use chartproof::inside::style::Style;
    use chartproof::inside::voicing::Mechanical;
    let read = |made: &Made| grid::read(Path::new("x.passage"), made.grid().into()).unwrap();
    let right = exercise();
    let style = Style::default();
    let key = Key::new("key".to_owned(), read(&right), &style).unwrap();
    let melody = grid::read(Path::new("x.passage"), right.lead().into()).unwrap();
    let passage = passages(&melody, &style).remove(0);
    let (mut tried, mut accepted, mut others) = (0, 0, Vec::new());
    for (at, event) in right.events.iter().enumerate() {
        for choice in choices(&melody, &passage, at, Mechanical::Drop2, &style) {
            let range = choice.voicing.iter().zip(common::BANDS[0].parts);
            if *choice.voicing == *event.voices
                || !range.clone().all(|(m, p)| (p.2..=p.3).contains(m))
            {
                continue;
            }
            let mut made = right.clone();
            made.events[at].voices = choice.voicing.to_vec();
            let marked = mark(read(&made), &style, Some(&key));
            tried += 1;
            accepted += usize::from(marked.marks.right == marked.marks.of);
            others.extend(marked.marks.mistakes.keys().copied());
        }
    }
    // What is not taken is a rule's business (a rub, a low interval), never that of the key.
    assert!(tried >= 10, "{tried}");
    assert!(
        accepted * 10 >= tried * 8,
        "{accepted} of {tried}: {others:?}"
    );
    assert!(!others.contains(&"not-a-known-voicing"), "{others:?}");
}

/// Two exercises in folders of three students: one is not handed in, one cannot be read.
fn folders(dir: &Path) {
    let right = exercise();
    let second = (0..400)
        .find_map(|seed| common::clean(9000 + seed, 1, 0, 3, true, 4))
        .unwrap();
    let mut slip = right.clone();
    common::inject(&mut slip, 4, 5).unwrap();
    for (path, text) in [
        ("class/Ada/1.passage", right.grid()),
        ("class/Ada/2.passage", second.grid()),
        ("class/Ben/1.passage", slip.grid()),
        (
            "class/=Zo\u{eb}/1.passage",
            "title: x\nalto 1 | H4 |\n".to_owned(),
        ),
        ("class/=Zo\u{eb}/2.passage", second.grid()),
        ("keys/1.passage", right.grid()),
        ("keys/2.passage", second.grid()),
    ] {
        let path = dir.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
}

#[test]
fn the_class_as_text_and_as_csv() {
    let dir = tempfile::tempdir().unwrap();
    folders(dir.path());
    let (code, text, _) = chartproof(&["proof", "--class", "class", "--key", "keys"], dir.path());
    assert_eq!(code, 2, "a file could not be read");
    insta::assert_snapshot!("class-text", text);
    assert!(text.lines().all(|l| l.chars().count() <= 100));
    let (_, csv, err) = chartproof(
        &[
            "proof", "--class", "class", "--key", "keys", "--format", "csv",
        ],
        dir.path(),
    );
    insta::assert_snapshot!("class-csv", csv.replace('\r', ""));
    assert!(err.contains("1.passage:2:1"), "{err}");
    // Nothing of a name is a formula.
    assert!(csv.contains("\"'=Zo\u{eb}\""));
}

#[test]
fn the_page_of_a_class_leads_everywhere_and_needs_no_script() {
    let dir = tempfile::tempdir().unwrap();
    folders(dir.path());
    let args = [
        "proof",
        "--class",
        "class",
        "--format",
        "html",
        "--into",
        "class.html",
    ];
    let (_, out, err) = chartproof(&args, dir.path());
    assert_eq!(out, "");
    assert!(
        err.lines()
            .last()
            .unwrap()
            .starts_with("class.html: 3 students"),
        "{err}"
    );
    let page = fs::read_to_string(dir.path().join("class.html")).unwrap();
    assert!(!page.contains("http:") && !page.contains("src="));
    // The script, which only plays, comes last; all that follows is asked of the page without it.
    let (page, script) = page.split_once("<script>").unwrap();
    assert!(script.ends_with("</script></body></html>\n") && !script.contains("<script"));
    assert!(page.contains("data-play=\"Hear it as it stands\""));
    assert!(!page.contains("<button"), "buttons come with the script");
    let values = |attribute: &str| -> Vec<String> {
        page.split(attribute)
            .skip(1)
            .map(|rest| rest.split('"').next().unwrap().to_owned())
            .collect()
    };
    let ids = values(" id=\"");
    let unique: BTreeSet<&String> = ids.iter().collect();
    assert_eq!(ids.len(), unique.len());
    for link in values("href=\"#") {
        assert!(unique.contains(&link), "{link}");
    }
    for shown in [
        "Ada",
        "Ben",
        "=Zo\u{eb}",
        "not handed in",
        "Could not be read",
        "<figure",
    ] {
        assert!(page.contains(shown), "{shown}");
    }
}

#[test]
fn forms_that_do_not_go_together_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    folders(dir.path());
    for (args, says) in [
        (&["proof", "class", "--format", "csv"][..], "add --class"),
        (
            &["proof", "class", "--class", "--format", "json"],
            "text, html or csv",
        ),
        (&["proof", "class", "--key", "keys"], "--class"),
        (
            &["proof", "class", "--class", "--one-score"],
            "cannot be used with",
        ),
        (
            &["proof", "class/Ada", "--class", "--key", "nowhere"],
            "nowhere",
        ),
    ] {
        let (code, out, err) = chartproof(args, dir.path());
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
        assert!(err.contains(says), "{args:?}: {err}");
    }
}

#[test]
fn quiet_and_verbose_change_what_is_said_and_not_the_report() {
    let dir = tempfile::tempdir().unwrap();
    folders(dir.path());
    let run = |more: &[&str]| {
        let (code, out, err) =
            chartproof(&[&["proof", "class/Ada"][..], more].concat(), dir.path());
        assert_eq!(code, 0);
        (out, err)
    };
    let (plain, err) = run(&[]);
    assert_eq!(err, "");
    let (verbose, err) = run(&["--verbose"]);
    assert_eq!(verbose, plain);
    assert!(err.contains("drop 2 (stated) bars 1 to 8"), "{err}");
    assert!(err.contains("style chart"), "{err}");
    let (_, err) = run(&["--into", "report.txt"]);
    assert!(err.starts_with("report.txt: 2 files"), "{err}");
    assert_eq!(err.lines().count(), 1);
    let (_, err) = run(&["--into", "report.txt", "--quiet"]);
    assert_eq!(err, "");
}
