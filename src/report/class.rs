//! The class as text for the terminal and as CSV (RFC 4180) for a spreadsheet.

use super::wrapping::{WIDEST, hanging};
use super::{advice, counted, printable};
use crate::finding::{Finding, Level};
use crate::ground::shown::{begins_as_order, closed, shown_lines};
use crate::homework::{Cell, Class, Marked, Marks, reason, title};
use crate::score::Score;
use std::fmt::Write as _;
use unicode_width::UnicodeWidthStr;

/// The longest name that is shown whole in the table of the text.
const NAME: usize = 28;

/// From this many exercises on the table has numbers at its head, explained above it.
const MOST_HEADS: usize = 1;

/// What was read, in a sentence.
pub(super) fn about(class: &Class) -> String {
    let exercises = &class.roll.exercises;
    let what = match exercises.as_slice() {
        [only] => only.clone(),
        all => counted(all.len(), "exercise"),
    };
    format!(
        "Homework of {}: {what}",
        counted(class.roll.students.len(), "student")
    )
}

/// How it was judged, in a sentence.
pub(super) fn how(class: &Class) -> String {
    let with = class.sheets.iter().filter(|s| s.key.is_some()).count();
    let key = if with == 0 {
        "No answer key: chord symbols and techniques are those of each file."
    } else if with == class.sheets.len() {
        "Held against the answer key: its melody, chord symbols and technique; any right voicing of them is right."
    } else {
        "Held against the answer key where the exercise has one; elsewhere each file's own chord symbols and technique count."
    };
    format!("{} {key}", class.roll.order.in_words())
}

/// The last line: everything in numbers.
pub fn sums(class: &Class) -> String {
    let total = class.total();
    let mut line = format!(
        "{}, {}: {} of {} right{}, {}",
        counted(class.roll.students.len(), "student"),
        counted(class.sheets.len(), "file"),
        total.right,
        counted(total.of, "chord"),
        total
            .percent()
            .map_or_else(String::new, |p| format!(" ({p} %)")),
        counted(total.count(), "mistake"),
    );
    if class.unreadable() > 0 {
        let _ = write!(line, ", {} unreadable", class.unreadable());
    }
    if class.missing() > 0 {
        let _ = write!(line, ", {} not handed in", class.missing());
    }
    line
}

/// Mistakes in words: `wrong note 2, wrong octave`.
pub(super) fn in_words(marks: &Marks) -> String {
    let mut all: Vec<(&&str, &usize)> = marks.mistakes.iter().collect();
    all.sort_by_key(|(_, n)| std::cmp::Reverse(**n));
    let words: Vec<String> = all
        .into_iter()
        .map(|(kind, n)| match n {
            1 => title(kind),
            n => format!("{} {n}", title(kind)),
        })
        .collect();
    words.join(", ")
}

/// `bar 3, beat 2-and`.
pub(super) fn place(score: &Score, finding: &Finding) -> String {
    format!(
        "bar {}, beat {}",
        score.bar_number(finding.at.bar),
        score.beat_at(finding.at)
    )
}

/// What is said of files that nothing was judged in.
pub(super) fn unjudged(marked: &Marked) -> Option<&'static str> {
    (marked.marks.of == 0).then_some(
        "nothing to judge: no three voices strike together anywhere under a technique that is stated or can be inferred",
    )
}

/// The class as text, in so many columns of a terminal.
pub fn text(class: &Class, columns: usize) -> String {
    let width = columns.min(WIDEST);
    let mut out = String::new();
    let _ = writeln!(out, "{}", printable(&about(class)));
    paragraph(&mut out, "", &how(class), width);
    let _ = writeln!(out);
    table(class, &mut out, width);
    mistakes(class, &mut out, width);
    students(class, &mut out, width);
    let _ = writeln!(out, "{}", sums(class));
    shown_lines(&out)
}

fn paragraph(out: &mut String, head: &str, body: &str, width: usize) {
    hanging(out, &printable(head), &printable(body), width);
}

fn padded(text: &str, width: usize, right: bool) -> String {
    let room = " ".repeat(width.saturating_sub(text.width()));
    if right {
        format!("{room}{text}")
    } else {
        format!("{text}{room}")
    }
}

/// Cut to a width, with an ellipsis.
fn cut(text: &str, width: usize) -> String {
    let text = closed(printable(text));
    if text.width() <= width {
        return text;
    }
    let mut short = String::new();
    for c in text.chars() {
        if short.width() + 2 > width {
            break;
        }
        short.push(c);
    }
    short.push('\u{2026}');
    closed(short)
}

fn percent(marks: &Marks) -> String {
    marks
        .percent()
        .map_or_else(|| "-".to_owned(), |p| format!("{p} %"))
}

fn table(class: &Class, out: &mut String, width: usize) {
    let roll = &class.roll;
    let several = roll.exercises.len() > MOST_HEADS;
    if several {
        for (i, exercise) in roll.exercises.iter().enumerate() {
            paragraph(out, &format!("{:>4}  ", i + 1), exercise, width);
        }
        let _ = writeln!(out);
    }
    let mut head = vec!["student".to_owned()];
    if several {
        head.extend((1..=roll.exercises.len()).map(|n| n.to_string()));
    }
    head.extend(["right".to_owned(), String::new()]);
    let mut rows: Vec<(Vec<String>, String)> = Vec::new();
    let mut legend = (false, false);
    for (s, student) in roll.students.iter().enumerate() {
        let mut row = vec![cut(student, NAME)];
        let sum = class.sum(s);
        let mut readable = false;
        for e in 0..roll.exercises.len() {
            let cell = match class.cell(s, e) {
                Cell::Marked(_, marked) => {
                    readable = true;
                    format!("{}/{}", marked.marks.right, marked.marks.of)
                }
                Cell::Unreadable(..) => {
                    legend.1 = true;
                    "?".to_owned()
                }
                Cell::NotHandedIn => {
                    legend.0 = true;
                    "-".to_owned()
                }
            };
            if several {
                row.push(cell);
            }
        }
        if readable {
            row.push(format!("{}/{}", sum.right, sum.of));
            row.push(percent(&sum));
        } else {
            row.extend(["?".to_owned(), String::new()]);
        }
        rows.push((row, in_words(&sum)));
    }
    let widths: Vec<usize> = (0..head.len())
        .map(|i| {
            let cells = rows.iter().filter_map(|(r, _)| r.get(i));
            cells
                .chain(head.get(i))
                .map(|c| c.width())
                .max()
                .unwrap_or(0)
        })
        .collect();
    let line = |cells: &[String]| -> String {
        let mut line = String::new();
        for (i, (cell, width)) in cells.iter().zip(&widths).enumerate() {
            line.push_str(&padded(cell, *width, i > 0));
            line.push_str("  ");
        }
        line
    };
    let _ = writeln!(out, "{}mistakes", line(&head));
    for (row, mistakes) in &rows {
        let head = line(row);
        // Many exercises leave no room beside them.
        if head.width() + 24 > width && !mistakes.is_empty() {
            let _ = writeln!(out, "{}", head.trim_end());
            paragraph(out, "    ", mistakes, width);
        } else {
            paragraph(out, &head, mistakes, width);
        }
    }
    if legend.0 {
        let _ = writeln!(out, "-: not handed in");
    }
    if legend.1 {
        let _ = writeln!(out, "?: could not be read, see below");
    }
    let _ = writeln!(out);
}

fn mistakes(class: &Class, out: &mut String, width: usize) {
    let all = class.mistakes();
    if all.is_empty() {
        let judged = class.total().of > 0;
        let _ = writeln!(
            out,
            "{}\n",
            if judged {
                "No mistakes."
            } else {
                "Nothing was judged."
            }
        );
        return;
    }
    let _ = writeln!(out, "Mistakes, those that most students made first\n");
    let _ = writeln!(out, "students  places");
    for mistake in all {
        let head = format!("{:>8}  {:>6}  ", mistake.students, mistake.places);
        let (asks, _) = reason(mistake.kind);
        paragraph(
            out,
            &head,
            &format!("{}: {asks}", title(mistake.kind)),
            width,
        );
    }
    let _ = writeln!(out);
}

fn students(class: &Class, out: &mut String, width: usize) {
    for (s, student) in class.roll.students.iter().enumerate() {
        let own = class.of_student(s);
        let silent = own.iter().all(|(_, sheet)| {
            let marked = sheet.outcome.as_ref().ok();
            marked.is_some_and(|m| {
                m.proofed.findings.is_empty() && m.proofed.remarks.is_empty() && m.marks.of > 0
            })
        });
        if silent {
            continue;
        }
        let _ = writeln!(out, "{}", printable(student));
        for (e, sheet) in own {
            if class.roll.exercises.len() > 1 {
                let name = class.roll.exercises.get(e).map_or("", String::as_str);
                let _ = writeln!(out, "  {}", printable(name));
            }
            match &sheet.outcome {
                Ok(marked) => {
                    for finding in &marked.proofed.findings {
                        write_finding(&marked.score, finding, out, width);
                    }
                    for remark in &marked.proofed.remarks {
                        paragraph(out, "  - ", remark, width);
                    }
                    if let Some(why) = unjudged(marked) {
                        paragraph(out, "  - ", why, width);
                    }
                }
                Err(error) => {
                    let mut said = format!("could not be read: {error}");
                    if let Some(help) = &error.help {
                        let _ = write!(said, "; {help}");
                    }
                    paragraph(out, "  ? ", &said, width);
                }
            }
        }
        let _ = writeln!(out);
    }
}

fn write_finding(score: &Score, finding: &Finding, out: &mut String, width: usize) {
    let level = match finding.level {
        Level::Note => " (a note)",
        _ => "",
    };
    let said = format!(
        "{}: {}{level}: {}",
        place(score, finding),
        title(finding.rule),
        finding.message
    );
    paragraph(out, "  - ", &said, width);
    if let Some(suggestion) = &finding.suggestion {
        paragraph(
            out,
            &format!("    {}: ", advice(finding)),
            suggestion,
            width,
        );
    }
}

/// The class for a spreadsheet: one row for each student and exercise, one column for each kind of
/// mistake, the most frequent first. RFC 4180, UTF-8 with the byte order mark that spreadsheet
/// programs look for. A cell that a spreadsheet would take for a formula, or a build server for an
/// order, starts with an apostrophe.
pub fn csv(class: &Class) -> String {
    let kinds: Vec<&'static str> = class.mistakes().into_iter().map(|m| m.kind).collect();
    let mut out = String::from("\u{feff}");
    let mut head: Vec<String> = [
        "student", "exercise", "file", "key", "right", "of", "percent", "mistakes",
    ]
    .map(str::to_owned)
    .to_vec();
    head.extend(kinds.iter().map(|k| title(k)));
    head.extend(["notes".to_owned(), "remark".to_owned()]);
    row(&mut out, &head);
    for (s, student) in class.roll.students.iter().enumerate() {
        for (e, exercise) in class.roll.exercises.iter().enumerate() {
            let mut cells = vec![student.clone(), exercise.clone()];
            let (sheet, marks, remark) = match class.cell(s, e) {
                Cell::Marked(sheet, marked) => {
                    let mut remarks: Vec<&str> =
                        marked.proofed.remarks.iter().map(String::as_str).collect();
                    remarks.extend(unjudged(marked));
                    (Some(sheet), Some(&marked.marks), remarks.join("; "))
                }
                Cell::Unreadable(sheet, error) => {
                    (Some(sheet), None, format!("could not be read: {error}"))
                }
                Cell::NotHandedIn => (None, None, "not handed in".to_owned()),
            };
            cells.push(sheet.map_or_else(String::new, |s| s.path.display().to_string()));
            cells.push(sheet.and_then(|s| s.key.clone()).unwrap_or_default());
            let number = |of: &dyn Fn(&Marks) -> Option<usize>| -> String {
                marks
                    .and_then(of)
                    .map_or_else(String::new, |n| n.to_string())
            };
            cells.push(number(&|m| Some(m.right)));
            cells.push(number(&|m| Some(m.of)));
            cells.push(number(&Marks::percent));
            cells.push(number(&|m| Some(m.count())));
            for kind in &kinds {
                cells.push(number(&|m| {
                    Some(m.mistakes.get(kind).copied().unwrap_or(0))
                }));
            }
            cells.push(number(&|m| Some(m.notes)));
            cells.push(remark);
            row(&mut out, &cells);
        }
    }
    out
}

fn row(out: &mut String, cells: &[String]) {
    for (i, cell) in cells.iter().enumerate() {
        if i > 0 {
            out.push(',');
        }
        let mut safe = printable(cell);
        if safe.starts_with(['=', '+', '-', '@']) || begins_as_order(&safe) {
            safe.insert(0, '\'');
        }
        if safe.contains([',', '"', '\n', '\r', '\'']) || safe.starts_with(' ') {
            let _ = write!(out, "\"{}\"", safe.replace('"', "\"\""));
        } else {
            out.push_str(&safe);
        }
    }
    out.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_is_never_a_formula_nor_two_cells() {
        let mut out = String::new();
        row(
            &mut out,
            &["=1+1", "a, \"b\"", "@x", "::y", "plain"].map(str::to_owned),
        );
        assert_eq!(out, "\"'=1+1\",\"a, \"\"b\"\"\",\"'@x\",\"'::y\",plain\r\n");
    }

    #[test]
    fn names_are_cut_to_their_columns() {
        assert_eq!(cut("\u{9577}\u{7b1b}\u{9577}\u{7b1b}", 5).width(), 5);
    }
}
