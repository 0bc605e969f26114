//! Techniques that a lead asks for, stretch by stretch.

use super::{answer, read};
use chartproof::inside::model_answer::{Request, explain, voice};
use chartproof::inside::proof::proof;
use chartproof::inside::reading::read_bytes;
use chartproof::inside::style::Style;
use chartproof::inside::voicing::Technique;
use chartproof::inside::writing::{grid, musicxml};
use std::path::Path;

/// Drop 2, two bars of unison with a rest between them, a solo, close position, and back.
const MIXED: &str = "title: Evening Bus
key: F major
meter: 4/4
section: saxes
pitch: sounding
parts: lead = alto saxophone

chord | F6 -   -  -  -  | Gm7 -  C7 -  |
count | 1  &   2  &  3  | 1   2  3  4  |
lead  | A4 Bb4 C5 D5 C5 | Bb4 D5 E5 D5 |

technique: unison
chord | F6 -  -  Dm7 | F6 -  -  Dm7 -  |
count | 1  2  &  3   | 1  2  &  3   4  |
lead  | C5 A4 G4 .   | C5 A4 G4 F4  A4 |

technique: solo
chord | G7 -  C9 -   |
count | 1  2  3  4   |
lead  | B4 D5 D5 Bb4 |

technique: four-way close
chord | F6 -  Gm7 C7 |
count | 1  2  3   4  |
lead  | A4 C5 Bb4 E5 |

technique: -
chord | F6 |
count | 1  |
lead  | A4 |
";

#[test]
fn each_stretch_is_in_what_it_asks_for() {
    let answer = answer(MIXED, "drop 2");
    assert_eq!(answer.remarks, [], "what was asked for needs no word");
    let text = grid::write(&answer.score, grid::Cells::Sounding).unwrap();
    insta::assert_snapshot!(text);
    let lines: Vec<String> = explain(&answer).into_iter().map(|e| e.line).collect();
    assert!(lines[9].ends_with("everyone on it, unison"), "{}", lines[9]);
    assert!(lines.iter().any(|l| l.ends_with("solo, the lead alone")));
    assert!(lines.last().unwrap().ends_with("drop 2"));
}

#[test]
fn the_answer_says_so_and_proof_reads_it_back() {
    let answer = answer(MIXED, "drop 2");
    let xml = musicxml::write(&answer.score, &musicxml::Options::default());
    let again = read_bytes(Path::new("mixed.musicxml"), xml.as_bytes()).unwrap();
    let words: Vec<(u32, &str)> = again.parts[0]
        .words
        .iter()
        .map(|w| (w.at.bar, w.value.text.as_str()))
        .collect();
    // Unison holds for a phrase, so it is said again after the rest.
    assert_eq!(
        words,
        [
            (0, "drop 2"),
            (2, "unison"),
            (3, "unison"),
            (4, "solo"),
            (5, "four-way close"),
            (6, "drop 2")
        ]
    );
    let text = grid::write(&answer.score, grid::Cells::Written).unwrap();
    for score in [&answer.score, &again, &read(&text)] {
        let proofed = proof(score, &Style::default());
        assert_eq!(proofed.findings, []);
        assert_eq!(proofed.inferred, []);
    }
    // While one plays alone the others rest.
    let alone = again.parts[1..].iter().flat_map(|p| p.notes.iter());
    assert!(alone.into_iter().all(|n| n.at.bar != 4));
}

/// Words over the staff of a lead in MusicXML say the same as the headers of a grid.
#[test]
fn words_over_the_staff_ask_for_it_too() {
    let request = Request {
        section: Some("saxes".to_owned()),
        ..Request::new(Technique::named("drop 2").unwrap())
    };
    let plain = MIXED.lines().filter(|l| !l.starts_with("technique:"));
    let lead = read(&plain.collect::<Vec<_>>().join("\n"));
    let xml = musicxml::write(&lead, &musicxml::Options::default());
    let mut worded = String::new();
    let mut bar = 0;
    for line in xml.lines() {
        worded.push_str(line);
        worded.push('\n');
        if line.trim_start().starts_with("<measure") {
            bar += 1;
            let words = match bar {
                3 => "unison",
                5 => "solo",
                6 => "four-way close",
                7 => "tutti",
                _ => continue,
            };
            worded.extend([
                "<direction><direction-type><words>",
                words,
                "</words></direction-type></direction>\n",
            ]);
        }
    }
    let lead = read_bytes(Path::new("lead.musicxml"), worded.as_bytes()).unwrap();
    assert_eq!(lead.parts[0].words.len(), 4);
    let by_words = voice(&lead, &Style::default(), &request).unwrap();
    let by_grid = answer(MIXED, "drop 2");
    let voicings = |answer: &chartproof::inside::model_answer::Answer| {
        let steps = answer.steps.iter();
        steps.map(|s| s.chosen.voicing.to_vec()).collect::<Vec<_>>()
    };
    assert_eq!(voicings(&by_words), voicings(&by_grid));
}

/// What the lead asks for at its start, the command line decides.
#[test]
fn at_the_start_the_request_decides() {
    let close = MIXED.replace(
        "pitch: sounding\n",
        "pitch: sounding\ntechnique: four-way close\n",
    );
    let answer = answer(&close, "drop 2");
    let techniques: Vec<&str> = answer
        .steps
        .iter()
        .map(|s| s.chosen.technique.name())
        .collect();
    assert_eq!(techniques[0], "drop 2");
    // The stretch that states it again goes with the start.
    assert_eq!(techniques[techniques.len() - 2], "drop 2");
}
