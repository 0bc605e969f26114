//! A score of four saxophones and two findings in it for tests of what comes after proofing, built by
//! hand.

use super::{Inferred, Proofed};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::chord::{Chord, Degree};
use crate::ground::pitch::{NoteName, Pitch, Step, Transposition};
use crate::ground::text::{Span, Text};
use crate::ground::time::Ticks;
use crate::score::{
    Articulations, Bar, ChordMark, Mark, Note, NoteFlags, NoteRef, Part, PartBar, Place, Rest,
    Score, Source,
};
use std::path::PathBuf;

pub(crate) fn pitch(text: &str) -> Pitch {
    text.parse().unwrap()
}

pub(crate) fn pitches(text: &str) -> Vec<Pitch> {
    text.split(' ').map(pitch).collect()
}

/// Two ticks to the quarter. `notes` holds (bar, offset, duration, sounding pitch).
pub(crate) fn part(name: &str, by: Transposition, notes: &[(u32, i64, i64, &str)]) -> Part {
    let notes = notes
        .iter()
        .enumerate()
        .map(|(i, &(bar, offset, duration, sounding))| Note {
            at: Place {
                bar,
                offset: Ticks(offset),
            },
            onset: Ticks::ZERO,
            duration: Ticks(duration),
            written: pitch(sounding).transposed(by.inverse()),
            sounding: pitch(sounding),
            staff: 1,
            voice: 1,
            flags: NoteFlags::default(),
            articulations: Articulations::default(),
            span: Span {
                source: 0,
                start: 10 * (i as u32) + 4,
                end: 10 * (i as u32) + 8,
            },
        })
        .collect();
    let bar = |number: &str, filled| PartBar {
        number: number.to_owned(),
        filled: Ticks(filled),
        ..PartBar::default()
    };
    Part {
        name: name.to_owned(),
        staves: 1,
        notes,
        bars: vec![bar("4", 8), bar("5", 8)].into(),
        transpositions: vec![Mark::new(Place::default(), by, Span::default())],
        ..Part::default()
    }
}

pub(crate) fn chord(bar: u32, offset: i64, root: Step, text: &str) -> Mark<ChordMark> {
    let at = Place {
        bar,
        offset: Ticks(offset),
    };
    let mark = ChordMark {
        chord: Some(Chord {
            root: NoteName::new(root, 0),
            bass: None,
            degrees: vec![Degree::new(1, 0)],
            altered: false,
            text: text.to_owned(),
        }),
        written: text.to_owned(),
        unread: None,
    };
    Mark::new(at, mark, Span::default())
}

/// Two bars, numbered 4 and 5: F6 in bar 4; in bar 5 a note on 1, two eighths on 2, a rest.
pub(crate) fn score() -> Score {
    let alto = Transposition::from_parts(-5, -9, 0);
    let tenor = Transposition::from_parts(-1, -2, -1);
    let line = |a, b, c, d| [(0, 0, 8, a), (1, 0, 2, b), (1, 2, 1, c), (1, 3, 1, d)];
    let mut lead = part("Alto 1", alto, &line("A4", "A4", "C5", "A4"));
    lead.chords = vec![chord(0, 0, Step::F, "F6"), chord(1, 4, Step::C, "C7")].into();
    let mut parts = vec![
        lead,
        part("Alto 2", alto, &line("D4", "F4", "F4", "F4")),
        part("Tenor 1", tenor, &line("C4", "D4", "D4", "D4")),
        part("Tenor 2", tenor, &line("F3", "C4", "C4", "C4")),
    ];
    for p in &mut parts {
        p.rests = vec![Rest {
            at: Place {
                bar: 1,
                offset: Ticks(4),
            },
            onset: Ticks::ZERO,
            duration: Ticks(4),
            staff: 1,
            voice: 1,
            whole_bar: false,
            span: Span::default(),
        }]
        .into();
    }
    let mut score = Score {
        title: Some("Test passage".to_owned()),
        per_quarter: Ticks(2),
        sources: vec![Source {
            path: PathBuf::from("quay.musicxml"),
            member: None,
            format: crate::score::Format::MusicXml,
            lines: std::sync::OnceLock::new(),
            text: Text::from("line one\nline two\nline three\nline four\nline five\nline six\n"),
        }],
        parts,
        ..Score::default()
    };
    score.lay_out();
    debug_assert_eq!(score.bars.iter().map(|b: &Bar| b.length.0).sum::<i64>(), 16);
    score
}

pub(crate) fn finding() -> Finding {
    Finding {
        rule: "wrong-voice-dropped",
        level: Level::Error,
        section: Some("saxes".to_owned()),
        parts: vec![1],
        at: Place {
            bar: 1,
            offset: Ticks(3),
        },
        message: "Alto 2 has F4 in a drop 2 passage; the second voice was left up there".to_owned(),
        why: "In drop 2 the second voice from the top of close position goes down an octave, \
              so that the lead is left open above the others and every sonority of the \
              passage has the same sound."
            .to_owned(),
        source: "common practice, no source",
        chord: Some("F6".to_owned()),
        technique: Some("drop 2".to_owned()),
        notes: vec![NoteAtFault {
            note: NoteRef { part: 1, note: 3 },
            voice: 2,
            expected: Some(pitch("F3")),
            label: "drop it an octave".to_owned(),
        }],
        marked_by_rule: None,
        found: pitches("A4 F4 D4 C4"),
        expected: pitches("A4 D4 C4 F3"),
        suggestion: Some("write D4 in Alto 2, C4 in Tenor 1, F3 in Tenor 2".to_owned()),
        remedies: Vec::new(),
        additions: Vec::new(),
        fix: None,
        margin: None,
    }
}

/// The score and what proofing it gives.
pub(crate) fn proofed() -> (Score, Proofed) {
    let about_a_bar = Finding {
        parts: vec![0],
        why: "A bar holds what its meter says.".to_owned(),
        source: "common practice, no source",
        ..Finding::new(
            "bar-length",
            Level::Warning,
            Place::default(),
            "Alto 1 has 5 beats in a bar of 4/4".to_owned(),
        )
    };
    let proofed = Proofed {
        findings: vec![finding(), about_a_bar],
        set_aside: Vec::new(),
        sonorities: 4,
        inferred: vec![Inferred {
            section: "saxes".to_owned(),
            technique: "drop 2".to_owned(),
            from: Place::default(),
            to: Place {
                bar: 1,
                offset: Ticks(3),
            },
            fits: 3,
            of: 4,
        }],
        remarks: vec!["Drums were not looked at: they have no pitch.".to_owned()],
        sections: crate::sonority::sections(&score()),
        passages: Vec::new(),
    };
    (score(), proofed)
}
