//! `chartproof mark`: writes copies marked in colour and words at each finding.

use super::copies::{self, CopyError, CopyOptions, ScoresToCopy, nothing_written};
use super::write_out::{complain, shown, to_stdout};
use super::{CLEAN, FOUND, UNUSABLE};
use crate::editing::Original;
use crate::file_text::Limits;
use crate::finding::{Finding, Level};
use crate::ground::text::Edit;
use crate::marking;
use crate::proof::Heard;
use crate::reading::files;
use crate::score::{self, Format, Score};
use crate::style::Style;
use clap::Args;
use std::fmt::Write as _;
use std::io::Cursor;
use std::path::Path;

/// What it takes: a grid has no room for marks.
const MUSICXML_ONLY: &str = "Scores to read: MusicXML (.musicxml, .xml, .mxl), or folders of them";

/// Writes copies of MusicXML scores with coloured noteheads and a few words at each finding
///
/// The copies open marked in whatever program the music is read with; errors are red, warnings amber,
/// notes blue, and the number in front of the words is that of the html report. Nothing that was in
/// the file is changed. Marks from an earlier run are taken out first.
///
/// Exit code: 0 when no error was found, 1 when one was, 2 when a file or an option could not be used.
#[derive(Debug, Args)]
#[command(mut_arg("paths", |paths| paths.help(MUSICXML_ONLY)))]
pub(super) struct Mark {
    #[command(flatten)]
    options: CopyOptions,

    /// Take the marks out and put none in: the copies are the files as they were before `mark`
    #[arg(long)]
    clear: bool,
}

/// Why a score cannot be marked: only MusicXML has room for marks.
fn no_room_for_marks(path: &Path, score: &Score) -> Option<String> {
    let is_grid = score.sources.iter().any(|s| s.format != Format::MusicXml);
    is_grid.then(|| {
        format!(
            "{} is a passage grid, which has no room for marks: expected MusicXML; \
             `chartproof proof` shows its findings",
            path.display()
        )
    })
}

/// A score without marks, and the files it is in.
struct Unmarked {
    score: Heard,
    originals: Vec<Original>,
}

impl Mark {
    /// Runs the command; returns the exit code.
    pub(super) fn run(mut self) -> u8 {
        let ScoresToCopy {
            scores,
            styles,
            mut code,
        } = self.options.read(no_room_for_marks);
        let copies = self.options.copies("mark", &styles);
        if scores.is_empty() {
            return code; // the reasons are reported already
        }
        let folder = match copies.folder(&scores) {
            Ok(folder) => folder,
            Err(message) => {
                complain(&message);
                return UNUSABLE;
            }
        };
        let mut staged = Vec::new();
        let mut report = String::new();
        let mut errors = 0;
        // Each score is gone when its copy is written.
        for ((path, score), style) in scores.into_iter().zip(&styles) {
            let limits = self.options.scores.limits.limits();
            let unmarked = without_marks(score, style, &limits).map_err(CopyError::Score);
            let done = unmarked.and_then(|unmarked| {
                let findings = if self.clear {
                    Vec::new()
                } else {
                    unmarked.score.proofed(style).findings
                };
                let mut findings: Vec<&Finding> = findings.iter().collect();
                findings.sort_by_key(|f| f.at);
                let edits = marking::marks(&unmarked.score, &findings);
                let originals = unmarked.originals.into_iter().map(Ok);
                staged.extend(copies.stage(&folder, &unmarked.score, originals, &edits)?);
                Ok(report_marks(&path, &findings, self.clear, &mut report))
            });
            match done {
                Ok(found) => errors += found,
                Err(CopyError::Score(message)) => {
                    complain(&message);
                    code = UNUSABLE;
                }
                Err(CopyError::Folder(error)) => {
                    complain(&nothing_written(&error));
                    return UNUSABLE;
                }
            }
        }
        if let Err(message) = copies.place(staged) {
            complain(&message);
            return UNUSABLE;
        }
        if let Err(message) = to_stdout(&report) {
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
fn without_marks(score: Heard, style: &Style, limits: &Limits) -> Result<Unmarked, String> {
    let mut originals = Vec::with_capacity(score.sources.len());
    let mut marks = Vec::with_capacity(score.sources.len());
    for (index, source) in score.sources.iter().enumerate() {
        originals.push(copies::original(source)?);
        marks.push(marking::clear(index as u16, source));
    }
    if marks.iter().all(Vec::is_empty) {
        return Ok(Unmarked { score, originals });
    }
    let mut files = Vec::with_capacity(originals.len());
    for ((source, original), marks) in score.sources.iter().zip(originals).zip(&marks) {
        let marks: Vec<&Edit> = marks.iter().collect();
        let new = original.edited(source, &marks);
        let new = new.map_err(|e| format!("{}: {e}", source.path.display()))?;
        files.push((
            source.path.clone(),
            new.pieces().collect::<Vec<_>>().concat(),
        ));
    }
    drop(score);
    let mut scores = Vec::with_capacity(files.len());
    let mut originals = Vec::with_capacity(files.len());
    for (path, bytes) in files {
        let score = files::read_bytes_by(&path, bytes.clone(), style.instruments, limits)
            .map_err(|e| e.to_string())?;
        for source in &score.sources {
            let original = Original::of(Cursor::new(&bytes), source);
            originals.push(original.map_err(|e| format!("{}: {e}", path.display()))?);
        }
        scores.push(score);
    }
    let score = match scores.pop() {
        Some(only) if scores.is_empty() => only,
        last => {
            scores.extend(last);
            score::merge(scores).map_err(|e| e.to_string())?
        }
    };
    let score = Heard::new(score, style);
    Ok(Unmarked { score, originals })
}

/// Adds the line of a score to the report; returns how many errors it has.
fn report_marks(path: &Path, findings: &[&Finding], cleared: bool, report: &mut String) -> usize {
    let sentence = match (cleared, findings.len()) {
        (true, _) => "marks taken out".to_owned(),
        (false, 1) => "1 finding marked".to_owned(),
        (false, n) => format!("{n} findings marked"),
    };
    let _ = writeln!(report, "{}: {sentence}", shown(path));
    findings.iter().filter(|f| f.level == Level::Error).count()
}
