use super::*;
use crate::ground::text::Text;
use crate::ground::time::Ticks;
use crate::report::sample;
use crate::score::Place;
use codespan_reporting::term::termcolor::Buffer;
use std::path::{Path, PathBuf};
use unicode_width::UnicodeWidthStr;

fn text(entries: &[ProofedFile], width: usize) -> String {
    let mut buffer = Buffer::no_color();
    render(
        entries,
        &mut buffer,
        Options {
            width,
            ..Options::default()
        },
    )
    .unwrap();
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

        advice         check the path

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
      in long.xml:1:90001

    1   ... ééééééééééééééé<oops>xxxxxxxxxxxxxxxxxxxxxxxx ...
                           ^^^^^^

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
    let rows: Vec<&str> = out.lines().filter(|l| l.ends_with(" |")).collect();
    assert!(!rows.is_empty());
    assert!(rows.iter().all(|l| l.width() <= 40), "{out}");
    assert!(out.lines().all(|l| !l.ends_with(' ')), "{out}");
}

#[test]
fn a_short_report_has_one_line_a_finding() {
    let short = |width, cut| {
        let mut buffer = Buffer::no_color();
        let options = Options {
            width,
            short: true,
            cut,
        };
        render(
            &[sample::entry(), sample::unreadable()],
            &mut buffer,
            options,
        )
        .unwrap();
        String::from_utf8(buffer.into_inner()).unwrap()
    };
    insta::assert_snapshot!(short(60, false), @r"
    × bar 5, beat 2-and: Alto 2 has F4 in a drop 2 passage; the second voice was left up there  error · wrong-voice-dropped · quay.musicxml:4:6
    ! bar 4, beat 1: Alto 1 has 5 beats in a bar of 4/4  warning · bar-length · quay.musicxml:1:1
    × broken.passage:2:13: `H4` is not a pitch; write a letter A to G, accidentals (b, #) and an octave, such as Bb4
    1 file, 2 bars, 4 sonorities: 1 error, 1 warning, 0 notes
    1 file could not be read
    ");
    let cut = short(90, true);
    let line = cut.lines().next().unwrap();
    assert!((85..=90).contains(&line.width()), "{line}");
    assert!(line.contains("F4 in a..  error"), "{line}");
    assert!(line.ends_with("quay.musicxml:4:6"), "{line}");
}

#[test]
fn a_message_that_names_its_player_goes_on_from_the_place() {
    let mut entry = sample::entry();
    if let Ok((_, proofed)) = &mut entry.outcome {
        proofed.findings.truncate(1);
        proofed.findings[0].parts = vec![1];
        proofed.findings[0].message = "Alto 2: the slur has no end".to_owned();
    }
    let out = text(&[entry], 100);
    assert!(out.contains("bar 5, beat 2-and, Alto 2: the slur"), "{out}");
}

mod any_width {
    //! No caret stands off its note, and no row is wider than the terminal.

    use super::*;
    use crate::finding::{Finding, NoteAtFault};
    use crate::ground::pitch::Transposition;
    use crate::score::NoteRef;
    use proptest::prelude::*;

    const NAMES: [&str; 5] = [
        "Alto 1",
        "First Alto Saxophone doubling Flute",
        "\u{9577}\u{7b1b}\u{9577}\u{7b1b}\u{9577}\u{7b1b}\u{9577}\u{7b1b}\u{9577}\u{7b1b}\u{9577}\u{7b1b}\u{9577}\u{7b1b} 2",
        "Tenor",
        "B",
    ];
    const PITCHES: [&str; 6] = ["C4", "Bb4", "F#5", "Ebb3", "G##4", "A4"];

    /// A part: its name, and for each onset how many notes strike together.
    fn parts() -> impl Strategy<Value = Vec<(usize, Vec<usize>)>> {
        let onsets = prop::collection::vec(0usize..12, 1..24);
        prop::collection::vec((0..NAMES.len(), onsets), 1..5)
    }

    fn entry(parts: &[(usize, Vec<usize>)], faults: &[(usize, usize, String)]) -> ProofedFile {
        let mut entry = sample::entry();
        let Ok((score, proofed)) = &mut entry.outcome else {
            panic!("the sample is read");
        };
        let mut changed = sample::score();
        changed.per_quarter = Ticks(6);
        changed.parts = parts
            .iter()
            .map(|(name, onsets)| {
                let notes: Vec<(u32, i64, i64, &str)> = (0i64..)
                    .zip(onsets)
                    .flat_map(|(at, &thick)| {
                        (0..thick).map(move |i| (1, at, 1, PITCHES[i % PITCHES.len()]))
                    })
                    .collect();
                let transposition = Transposition::from_parts(-5, -9, 0);
                sample::part(NAMES[*name], transposition, &notes)
            })
            .collect();
        *score = changed.into();
        let template = proofed.findings[0].clone();
        let notes: Vec<NoteAtFault> = faults
            .iter()
            .filter_map(|(part, note, label)| {
                let part = part % parts.len();
                let have: usize = parts[part].1.iter().sum();
                (have > 0).then(|| NoteAtFault {
                    note: NoteRef {
                        part: part as u32,
                        note: (note % have) as u32,
                    },
                    label: label.clone(),
                    ..template.notes[0].clone()
                })
            })
            .collect();
        proofed.findings = vec![Finding {
            section: None,
            notes,
            parts: vec![0],
            ..template
        }];
        entry
    }

    /// The columns of each run of carets, and of each cell of the row above them.
    fn runs(line: &str, inside: impl Fn(char) -> bool) -> Vec<(usize, usize)> {
        let mut all: Vec<(usize, usize)> = Vec::new();
        let mut column = 0;
        let mut open = false;
        for c in line.chars() {
            let wide = unicode_width::UnicodeWidthChar::width(c).unwrap_or(0);
            if inside(c) {
                match all.last_mut() {
                    Some(last) if open => last.1 = column + wide,
                    _ => all.push((column, column + wide)),
                }
            }
            open = inside(c);
            column += wide;
        }
        all
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]
        #[test]
        fn carets_stand_under_notes(
            parts in parts(),
            faults in prop::collection::vec((0usize..5, 0usize..200, "[a-z]{0,9}( [a-z]{1,9}){0,6}"), 0..5),
            width in 60usize..=200,
        ) {
            let out = text(&[entry(&parts, &faults)], width);
            let grid: Vec<&str> = out.lines().skip_while(|l| !l.starts_with("    ")).collect();
            let mut row = "";
            let mut seen = 0;
            for line in grid.iter().take_while(|l| !l.starts_with("    suggestion")) {
                prop_assert!(line.width() <= width, "{line:?} in\n{out}");
                if line.contains('^') && !line.ends_with(" |") {
                    seen += 1;
                    // A note is not broken by blanks, but for the other pitch in brackets.
                    let of_row = row.replace(" (", "_(");
                    let cells = runs(&of_row, |c| c != ' ' && c != '|' && c != '+');
                    let name = (4, row.find(" |").map_or(0, |i| row[..i].trim_end().width()));
                    for (from, to) in runs(line, |c| c == '^') {
                        let on = cells.iter().any(|c| c.0 == from) || from == name.0;
                        let off = cells.iter().any(|c| c.1 == to) || to == name.1 || row.contains("more");
                        prop_assert!(on && off, "{row}\n{line}\nin\n{out}");
                    }
                } else if line.ends_with(" |") {
                    row = line;
                }
            }
            prop_assert!(seen > 0, "{out}");
        }
    }
}
