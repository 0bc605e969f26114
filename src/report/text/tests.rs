use super::*;
use crate::ground::text::Text;
use crate::report::sample;
use crate::score::Place;
use codespan_reporting::term::termcolor::Buffer;
use std::path::{Path, PathBuf};

fn text(entries: &[ProofedFile], width: usize) -> String {
    let mut buffer = Buffer::no_color();
    render(entries, &mut buffer, Options { width }).unwrap();
    String::from_utf8(buffer.into_inner()).unwrap()
}

#[test]
fn findings_are_shown_under_their_bar() {
    insta::assert_snapshot!(text(&[sample::entry(), sample::unreadable()], 100));
}

#[test]
fn a_clean_file_gets_a_plain_sentence() {
    let entry = ProofedFile {
        path: PathBuf::from("quay.musicxml"),
        outcome: Ok((
            sample::score().into(),
            Proofed {
                sonorities: 1,
                ..Proofed::default()
            },
        )),
    };
    insta::assert_snapshot!(text(&[entry], 100), @r"
    Nothing found that needs correcting.
    1 file, 2 bars, 1 sonority: 0 errors, 0 warnings, 0 notes
    ");
}

#[test]
fn a_score_without_sonorities_is_not_called_right() {
    let entry = ProofedFile {
        path: PathBuf::from("solo.musicxml"),
        outcome: Ok((Score::default().into(), Proofed::default())),
    };
    let out = text(&[entry], 100);
    assert!(out.starts_with("Nothing found, but no section"), "{out}");
}

#[test]
fn nothing_is_called_clean_that_was_not_read() {
    let path = Path::new("gone.musicxml");
    let entry = ProofedFile {
        path: path.to_owned(),
        outcome: Err(Problem::whole(path, "there is no such file").help("check the path")),
    };
    insta::assert_snapshot!(text(&[entry], 100), @r"
    error: gone.musicxml: there is no such file
       advice:        check the path

    0 files, 0 bars, 0 sonorities: 0 errors, 0 warnings, 0 notes
    1 file could not be read
    ");
}

#[test]
fn an_error_in_an_endless_line_is_cut_out_of_it() {
    let path = PathBuf::from("long.xml");
    let long = Text::from(format!(
        "{}<oops>{}",
        "é".repeat(90_000),
        "x".repeat(90_000)
    ));
    let at = 180_000..180_006;
    let entry = ProofedFile {
        outcome: Err(Problem::at(&path, &long, at, "an element is not closed")),
        path,
    };
    insta::assert_snapshot!(text(&[entry], 60), @r"
    error: an element is not closed
      --> long.xml:1:90001
      |
    1 | ... ééééééééééééééé<oops>xxxxxxxxxxxxxxxxxxxxxxxx ...
      |                    ^^^^^^

    0 files, 0 bars, 0 sonorities: 0 errors, 0 warnings, 0 notes
    1 file could not be read
    ");
}

#[test]
fn errors_outside_their_text_do_no_harm() {
    let path = PathBuf::from("x.passage");
    for (body, at) in [
        ("", 0..0),
        ("é", 1..1),
        ("ab", 2..2),
        ("ab", 9..12),
        ("a\nb", 0..3),
    ] {
        let body = Text::from(body);
        let entry = ProofedFile {
            path: path.clone(),
            outcome: Err(Problem::at(&path, &body, at, "wrong")),
        };
        assert!(text(&[entry], 60).contains("error: wrong"));
    }
}

#[test]
fn nothing_from_a_file_steers_the_terminal() {
    let mut entry = sample::entry();
    entry.path = PathBuf::from("a\u{1b}[2Jb");
    if let Ok((score, proofed)) = &mut entry.outcome {
        let bad = "x\u{1b}]0;t\u{7}\r\n\u{9b}1m";
        bad.clone_into(&mut score.parts[1].name);
        bad.clone_into(&mut score.bars[1].number);
        score.sources[0].path = PathBuf::from(bad);
        let finding = &mut proofed.findings[0];
        bad.clone_into(&mut finding.message);
        bad.clone_into(&mut finding.why);
        bad.clone_into(&mut finding.notes[0].label);
        finding.suggestion = Some(bad.to_owned());
        finding.chord = Some(bad.to_owned());
        bad.clone_into(&mut proofed.remarks[0]);
        bad.clone_into(&mut proofed.inferred[0].technique);
    }
    let out = text(&[entry], 100);
    assert!(!out.chars().any(|c| c.is_control() && c != '\n'), "{out:?}");
}

#[test]
fn a_fault_over_the_bar_line_shows_both_bars() {
    let mut entry = sample::entry();
    if let Ok((_, proofed)) = &mut entry.outcome {
        proofed.findings.truncate(1);
        let finding = &mut proofed.findings[0];
        finding.section = None;
        finding.found.clear();
        finding.at = Place::default();
        let mut from = finding.notes[0].clone();
        from.note.note = 0;
        from.label = "from here".to_owned();
        finding.notes[0].note.note = 1;
        finding.notes[0].label = String::new();
        finding.notes.insert(0, from);
    }
    let out = text(&[entry], 100);
    insta::assert_snapshot!(out);
}

#[test]
fn colour_is_set_and_reset() {
    let mut buffer = Buffer::ansi();
    render(&[sample::entry()], &mut buffer, Options::default()).unwrap();
    let out = String::from_utf8(buffer.into_inner()).unwrap();
    assert!(out.contains("\u{1b}[31m"));
    assert!(out.contains("\u{1b}[0m"));
}

#[test]
fn rows_fit_a_narrow_terminal_and_lines_end_clean() {
    let out = text(&[sample::entry()], 40);
    let rows: Vec<&str> = out.lines().filter(|l| l.ends_with('|')).collect();
    assert!(!rows.is_empty());
    assert!(rows.iter().all(|l| l.width() <= 40), "{out}");
    assert!(out.lines().all(|l| !l.ends_with(' ')), "{out}");
}
