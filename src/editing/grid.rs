//! Changed notes as edits of a passage grid: the pitch in its cell, and the blanks after the cell so
//! that the columns stay under each other.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

use super::{EditError, Written};
use crate::ground::pitch::Pitch;
use crate::ground::text::Edit;
use crate::score::{Note, Part, Source};
use std::collections::BTreeMap;

/// The octaves that a cell holds.
const OCTAVES: (i8, i8) = (-1, 9);

/// Signs of accidentals that are no letters of the keyboard.
const DRAWN: [char; 5] = ['♭', '♯', '𝄫', '𝄪', '♮'];

/// The edits of one part's notes, which get these pitches, written and sounding.
pub(super) fn edits(
    part: &Part,
    source: &Source,
    (new, heard): (&Written, &Written),
    out: &mut Vec<Edit>,
) -> Result<(), EditError> {
    // By where its cell ends: how many characters wider the cell becomes.
    let mut wider: BTreeMap<u32, i64> = BTreeMap::new();
    for (index, written) in new {
        let Some(note) = part.notes.get(*index as usize) else {
            continue;
        };
        let text = slice(source, note.span.start, note.span.end);
        if text == "-" {
            // The cell follows the note it holds, which must change as well.
            if holds_a_change(part, source, new, *index) {
                continue;
            }
            let (line, column) = source.line_column(note.span.start);
            return Err(EditError::Held {
                path: source.path.clone(),
                line,
                column,
            });
        }
        let old = text.trim_end_matches(['>', '.', '_', '^']);
        let Ok(typed) = old.parse::<Pitch>() else {
            return Err(EditError::not_found(source, note.span.start, "a pitch"));
        };
        // A cell that does not hold the written pitch holds the sounding one.
        let sounding = heard.get(index).filter(|_| part.worked_out);
        let pitch = match sounding {
            Some(sounding) => *sounding,
            None if typed == note.written => *written,
            None => written.transposed(part.transposition(note.onset)),
        };
        if !(OCTAVES.0..=OCTAVES.1).contains(&pitch.octave) {
            return Err(EditError::OutOfReach {
                pitch,
                format: "a passage grid",
                low: OCTAVES.0,
                high: OCTAVES.1,
            });
        }
        let replacement = spelled(pitch, old, || draws(part, source));
        *wider.entry(cell_end(source, note)).or_default() +=
            replacement.chars().count() as i64 - old.chars().count() as i64;
        if replacement != old {
            out.push(Edit {
                source: note.span.source,
                start: note.span.start,
                end: note.span.start + old.len() as u32,
                replacement,
            });
        }
    }
    let Some(number) = part.notes.first().map(|n| n.span.source) else {
        return Ok(());
    };
    for (end, by) in wider {
        out.extend(padding(source, number, end, by));
    }
    Ok(())
}

fn slice(source: &Source, start: u32, end: u32) -> &str {
    source
        .text
        .get(start as usize..end as usize)
        .unwrap_or_default()
}

/// Whether the note that a `-` continues changes to the same pitch.
fn holds_a_change(part: &Part, source: &Source, new: &Written, held: u32) -> bool {
    let pitch = |i: u32| part.notes.get(i as usize).map(|n| n.written);
    let wanted = new.get(&held);
    (0..held)
        .rev()
        .filter(|i| pitch(*i) == pitch(held))
        .find(|i| {
            part.notes
                .get(*i as usize)
                .is_some_and(|n| slice(source, n.span.start, n.span.end) != "-")
        })
        .is_some_and(|head| new.get(&head) == wanted)
}

/// A pitch in the hand of the one it replaces.
fn spelled(pitch: Pitch, old: &str, draws: impl FnOnce() -> bool) -> String {
    let mut out = format!("{:?}", pitch.step);
    if old.starts_with(|c: char| c.is_ascii_lowercase()) {
        out.make_ascii_lowercase();
    }
    let typed = old
        .get(1..)
        .is_some_and(|signs| signs.contains(['b', '#', 'x']));
    if pitch.alter == 0 && old.contains('♮') {
        out.push('♮');
    } else if pitch.alter != 0 {
        let drawn = old.contains(DRAWN) || !typed && draws();
        let sign = match (pitch.alter > 0, drawn) {
            (true, true) => '♯',
            (true, false) => '#',
            (false, true) => '♭',
            (false, false) => 'b',
        };
        out.extend(std::iter::repeat_n(
            sign,
            usize::from(pitch.alter.unsigned_abs()),
        ));
    }
    out.push_str(&pitch.octave.to_string());
    out
}

/// Whether the part's cells draw their accidentals rather than typing them.
fn draws(part: &Part, source: &Source) -> bool {
    part.notes
        .iter()
        .any(|n| slice(source, n.span.start, n.span.end).contains(DRAWN))
}

/// Where the cell of a note ends: other notes may be joined to it.
fn cell_end(source: &Source, note: &Note) -> u32 {
    let after = source
        .text
        .get(note.span.end as usize..)
        .unwrap_or_default();
    let more = after
        .find(|c: char| c.is_whitespace() || matches!(c, '|' | ';'))
        .unwrap_or(after.len());
    note.span.end + more as u32
}

/// Takes blanks away after a cell that becomes wider by so many characters, or adds some after one
/// that becomes narrower.
fn padding(source: &Source, number: u16, end: u32, by: i64) -> Option<Edit> {
    let after = source.text.get(end as usize..)?;
    let blanks = after.len() - after.trim_start_matches(' ').len();
    let last = after
        .get(blanks..)
        .is_none_or(|rest| rest.is_empty() || rest.starts_with(['\n', '\r']));
    if by == 0 || last {
        return None;
    }
    let (eaten, added) = if by > 0 {
        let spare = blanks.saturating_sub(1);
        (usize::try_from(by).unwrap_or(spare).min(spare), 0)
    } else {
        (0, usize::try_from(by.unsigned_abs()).unwrap_or(0))
    };
    (eaten + added > 0).then(|| Edit {
        source: number,
        start: end,
        end: end + eaten as u32,
        replacement: " ".repeat(added),
    })
}

#[cfg(test)]
mod tests {
    use super::super::{apply, edits};
    use super::*;
    use crate::reading::grid;
    use crate::score::Score;
    use crate::score::{Change, NoteRef};
    use std::path::Path;

    const HEAD: &str = "meter: 4/4\nparts: alto 1 = alto saxophone\n       piano = piano\n\n";

    fn read(text: &str) -> Score {
        grid::read(Path::new("a.passage"), text.into()).unwrap()
    }

    /// The rows after notes of a part have been made to sound otherwise.
    fn changed(head: &str, rows: &str, part: u32, changes: &[(u32, &str)]) -> String {
        let text = format!("{head}{rows}");
        let score = read(&text);
        let changes: Vec<Change> = changes
            .iter()
            .map(|(note, sounding)| Change {
                note: NoteRef { part, note: *note },
                sounding: sounding.parse().unwrap(),
            })
            .collect();
        let edits = edits(&score, &changes).unwrap();
        let new = apply(&text, &edits.iter().collect::<Vec<_>>());
        let mut memory = score.clone();
        memory.change(&changes);
        let again = read(&new);
        for (a, b) in memory.parts.iter().zip(&again.parts) {
            let pitches =
                |p: &Part| -> Vec<_> { p.notes.iter().map(|n| (n.written, n.sounding)).collect() };
            assert_eq!(pitches(a), pitches(b), "{new}");
        }
        new.strip_prefix(head).unwrap().to_owned()
    }

    #[test]
    fn columns_stay_under_each_other() {
        let rows = |a: &str| format!("count  | 1   2    3   | 1    |\nalto 1 |{a}\n");
        for (from, note, to, expected) in [
            (" A4  Bb4> C5  | D5   |", 0, "Ab4", " Ab4 Bb4> C5  | D5   |"),
            (" A4  Bb4> C5  | D5   |", 1, "B4", " A4  B4>  C5  | D5   |"),
            (" A4  Bb4> C5  | D5   |", 1, "C4", " A4  C4>  C5  | D5   |"),
            (" A4 Bb4> C5 | D5 |", 0, "Ab4", " Ab4 Bb4> C5 | D5 |"),
            (" A4 Bb4>  C5 | D5|", 3, "Db5", " A4 Bb4>  C5 | Db5|"),
            (" A4 Bb4>  C5 | Db5|", 3, "D5", " A4 Bb4>  C5 | D5 |"),
            (" A4 Bb4>  C5 | Db5", 3, "D5", " A4 Bb4>  C5 | D5"),
            (
                " A4 Bb4>  C5 | D5  ; why",
                3,
                "Db5",
                " A4 Bb4>  C5 | Db5 ; why",
            ),
            (" A4 Bb4>  C5. | D5 |", 2, "C#5", " A4 Bb4>  C#5. | D5 |"),
            (" A4 Bb4>  C5.  | D5 |", 2, "C#5", " A4 Bb4>  C#5. | D5 |"),
        ] {
            assert_eq!(
                changed(HEAD, &rows(from), 0, &[(note, to)]),
                rows(expected),
                "{from} {note} {to}"
            );
        }
    }

    #[test]
    fn the_hand_of_the_file_is_kept() {
        let rows = |a: &str| format!("count  | 1   2    3   |\nalto 1 | {a} |\n");
        for (from, note, to, expected) in [
            ("a4  bb4  c5", 0, "Eb4", "eb4 bb4  c5"),
            ("A4  B♭4  C5", 0, "Eb4", "E♭4 B♭4  C5"),
            ("A4  B♭4  C5", 1, "F#4", "A4  F♯4  C5"),
            ("A4  B♮4  C5", 1, "A4", "A4  A♮4  C5"),
            ("A4  Bb4  C♯5", 1, "Ab4", "A4  Ab4  C♯5"),
        ] {
            assert_eq!(
                changed(HEAD, &rows(from), 0, &[(note, to)]),
                rows(expected),
                "{from} {note} {to}"
            );
        }
    }

    #[test]
    fn cells_of_several_notes_share_their_padding() {
        let rows = |a: &str| format!("count | 1            2   |\npiano | {a} C5  |\n");
        assert_eq!(
            changed(
                HEAD,
                &rows("E5+C5+A4+F4> "),
                1,
                &[(0, "Eb5"), (2, "Ab4"), (3, "Gb4")]
            ),
            rows("Eb5+C5+Ab4+Gb4>"),
        );
        assert_eq!(
            changed(HEAD, &rows("Eb5+C5+A4+F4>"), 1, &[(0, "E5"), (2, "Ab4")]),
            rows("E5+C5+Ab4+F4>"),
        );
        // A note held from the cell before is the same note.
        let held = |a: &str| format!("count | 1        2        |\npiano | {a} |\n");
        assert_eq!(
            changed(HEAD, &held("G4+E4+C4 -G4+D4+B3"), 1, &[(0, "Gb4")]),
            held("Gb4+E4+C4 -Gb4+D4+B3"),
        );
    }

    #[test]
    fn written_or_sounding_as_the_header_before_says() {
        let rows = |b: &str| {
            format!(
                "count | 1 |\nalto 1 | A4  |\n\npitch: written\ncount | 1 |\nalto 1 | {b} |\n\npitch: sounding\ncount | 1 |\nalto 1 | A4 |\n"
            )
        };
        assert_eq!(changed(HEAD, &rows("A5 "), 0, &[(1, "Bb4")]), rows("G5 "));
        assert_eq!(
            changed(HEAD, &rows("A5 "), 0, &[(2, "Bb4")]),
            rows("A5 ").replace("| A4 |\n", "| Bb4 |\n")
        );
    }

    #[test]
    fn what_is_held_changes_with_its_note_only() {
        let rows = "count  | 1  2 | 1  2  |\nalto 1 | C5 D5 | -  E5 |\n";
        assert_eq!(
            changed(HEAD, rows, 0, &[(1, "Db5")]),
            rows.replace("D5 |", "Db5 |")
        );
        let score = read(&format!("{HEAD}{rows}"));
        let change = |note| Change {
            note: NoteRef { part: 0, note },
            sounding: "F4".parse().unwrap(),
        };
        let error = edits(&score, &[change(2)]).unwrap_err();
        assert!(
            error
                .to_string()
                .starts_with("a.passage:6:18: this cell holds"),
            "{error}"
        );
        assert_eq!(edits(&score, &[change(1), change(2)]).unwrap().len(), 1);
        let far = Change {
            note: NoteRef { part: 0, note: 0 },
            sounding: Pitch::new(crate::ground::pitch::Step::C, 0, -2),
        };
        assert!(matches!(
            edits(&score, &[far]),
            Err(EditError::OutOfReach { .. })
        ));
        assert!(matches!(
            edits(&score, &[change(99)]),
            Err(EditError::NoSuchNote { .. })
        ));
        let same = Change {
            note: NoteRef { part: 0, note: 0 },
            sounding: score.parts[0].notes[0].sounding,
        };
        assert_eq!(edits(&score, &[same]).unwrap(), []);
    }
}
