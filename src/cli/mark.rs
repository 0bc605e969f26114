//! `chartproof mark`: writes copies marked in colour and words at each finding.

use super::copies::Copies;
use super::scores::{Looked, Scores, look_at};
use super::write_out::{self, complain, complain_of, shown, to_stdout};
use super::{CLEAN, FOUND, UNUSABLE};
use crate::editing::{self, Edit};
use crate::finding::{Finding, Level};
use crate::proof::proof;
use crate::reading::Limits;
use crate::reading::files;
use crate::score::{self, Format, Score};
use crate::style::Style;
use clap::Args;
use std::borrow::Cow;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// Writes copies of MusicXML scores with coloured noteheads and a few words at each finding
///
/// The copies open marked in whatever program the music is read with; errors are red, warnings amber,
/// notes blue, and the number in front of the words is that of the html report. Nothing that was in
/// the file is changed. Marks from an earlier run are taken out first.
///
/// Exit code: 0 when no error was found, 1 when one was, 2 when a file or an option could not be used.
#[derive(Debug, Args)]
pub(super) struct Mark {
    #[command(flatten)]
    scores: Scores,

    /// The folder that the copies are written to; it is made when it is not there
    #[arg(long, value_name = "DIR")]
    into: PathBuf,

    /// Take the marks out and put none in: the copies are the files as they were before `mark`
    #[arg(long)]
    clear: bool,
}

/// A score without marks, and the bytes of its files.
struct Clean<'a> {
    score: Cow<'a, Score>,
    files: Vec<Vec<u8>>,
}

impl Mark {
    /// Runs the command; returns the exit code.
    pub(super) fn run(mut self) -> u8 {
        let desk = self.scores.read();
        let mut code = if desk.style_unusable { UNUSABLE } else { CLEAN };
        let mut scores: Vec<(PathBuf, Score)> = Vec::new();
        let mut styles = Vec::new();
        for Looked { path, score, style } in desk.scores {
            match score {
                Ok(score) if score.sources.iter().any(|s| s.format != Format::MusicXml) => {
                    complain(&format!(
                        "{} is a passage grid, which has no room for marks: expected MusicXML; \
                         `chartproof proof` shows its findings",
                        path.display()
                    ));
                    code = UNUSABLE;
                }
                Ok(score) => {
                    scores.push((path, score));
                    styles.push(style);
                }
                Err(error) => {
                    complain_of(&error);
                    code = UNUSABLE;
                }
            }
        }
        let copies = Copies {
            paths: &self.scores.paths,
            into: &self.into,
            doing: "mark",
        };
        if let Some(message) = copies.clash(&scores) {
            complain(&message);
            return UNUSABLE;
        }
        let inputs = copies.inputs(&scores);
        let mut report = String::new();
        let mut errors = 0;
        for ((path, score), style) in scores.iter().zip(&styles) {
            let limits = self.scores.limited.limits();
            let done = clean(score, style, &limits).and_then(|clean| {
                let findings = if self.clear {
                    Vec::new()
                } else {
                    proof(&clean.score, style).findings
                };
                let mut findings: Vec<&Finding> = findings.iter().collect();
                findings.sort_by_key(|f| f.at);
                write(&copies, clean, &findings, &inputs)?;
                Ok(tell(path, &findings, self.clear, &mut report))
            });
            match done {
                Ok(found) => errors += found,
                Err(message) => {
                    complain(&message);
                    code = UNUSABLE;
                }
            }
        }
        if let Err(message) = to_stdout(report.as_bytes()) {
            complain(&message);
            return UNUSABLE;
        }
        match code {
            CLEAN if errors > 0 => FOUND,
            _ => code,
        }
    }
}

/// The score without earlier marks: they must not be read as part of the music.
fn clean<'a>(score: &'a Score, style: &Style, limits: &Limits) -> Result<Clean<'a>, String> {
    let mut files = Vec::with_capacity(score.sources.len());
    let mut marked = false;
    for (index, source) in score.sources.iter().enumerate() {
        let path = source.path.display();
        let bytes =
            fs::read(&source.path).map_err(|e| format!("{path} could not be read again: {e}"))?;
        let edits = editing::clear(index as u16, source);
        marked |= !edits.is_empty();
        let edits: Vec<&Edit> = edits.iter().collect();
        let bytes =
            editing::apply_to_file(bytes, source, &edits).map_err(|e| format!("{path}: {e}"))?;
        files.push(bytes);
    }
    if !marked {
        return Ok(Clean {
            score: Cow::Borrowed(score),
            files,
        });
    }
    let read = score.sources.iter().zip(&files);
    let mut scores = read
        .map(|(source, bytes)| {
            files::read_bytes_by(&source.path, bytes.clone(), style.instruments, limits)
        })
        .collect::<Result<Vec<Score>, _>>()
        .map_err(|e| e.to_string())?;
    let mut score = match scores.pop() {
        Some(only) if scores.is_empty() => only,
        last => {
            scores.extend(last);
            score::merge(scores).map_err(|e| e.to_string())?
        }
    };
    look_at(&mut score, style);
    Ok(Clean {
        score: Cow::Owned(score),
        files,
    })
}

/// Writes the marked copies of a score's files: all of them or none.
fn write(
    copies: &Copies<'_>,
    clean: Clean<'_>,
    findings: &[&Finding],
    inputs: &[PathBuf],
) -> Result<(), String> {
    let edits = editing::marks(&clean.score, findings);
    let mut made = Vec::new();
    for (copy, bytes) in copies.of(&clean.score).into_iter().zip(clean.files) {
        let own: Vec<&Edit> = edits.iter().filter(|e| e.source == copy.source).collect();
        let new = editing::apply_to_file(bytes, copy.from, &own)
            .map_err(|e| format!("{}: {e}", copy.from.path.display()))?;
        made.push((copy.to, new));
    }
    for (to, bytes) in made {
        if let Some(folder) = to.parent() {
            fs::create_dir_all(folder)
                .map_err(|e| format!("{} could not be made: {e}", folder.display()))?;
        }
        write_out::write(&to, &bytes, inputs).map_err(|e| e.to_string())?;
    }
    Ok(())
}

/// One line for a score; returns how many errors it has.
fn tell(path: &Path, findings: &[&Finding], cleared: bool, report: &mut String) -> usize {
    let said = match (cleared, findings.len()) {
        (true, _) => "marks taken out".to_owned(),
        (false, 1) => "1 finding marked".to_owned(),
        (false, n) => format!("{n} findings marked"),
    };
    let _ = writeln!(report, "{}: {said}", shown(path));
    findings.iter().filter(|f| f.level == Level::Error).count()
}
