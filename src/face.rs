//! The face for programs: plain functions over the rooms, and the report they give.

use crate::correct::{Done, MarksDone};
use crate::editing::{self, EditError};
use crate::finding::{Finding, SetAside};
use crate::ground::problem::Problem;
use crate::ground::text::Edit;
use crate::model_answer::{self, Request, VoiceError};
use crate::proof::{Heard, Proofed};
use crate::reading;
use crate::report::{self, ProofedFile, html, json, sarif};
use crate::score::Score;
use crate::style::Style;
use crate::voicing::Technique;
use crate::writing;
use codespan_reporting::term::termcolor::Buffer;
use std::path::Path;

/// Reads a score from the bytes of a file: MusicXML, compressed or not, or a passage grid. The
/// bytes say which; `name` is the file's name in findings and problems.
///
/// # Errors
///
/// A [`Problem`] with the place and what to do about it.
pub fn read(name: impl AsRef<Path>, bytes: impl Into<Vec<u8>>) -> Result<Score, Problem> {
    reading::read_bytes(name.as_ref(), bytes)
}

/// Reads a score from a file.
///
/// # Errors
///
/// As [`read`]; a file that cannot be opened is a problem too.
#[cfg(feature = "cli")]
pub fn read_file(path: impl AsRef<Path>) -> Result<Score, Problem> {
    reading::files::read_file(path.as_ref())
}

/// A house style that comes with the program: `chart`, `choir` or `homework`.
pub fn shipped_style(name: &str) -> Option<Style> {
    crate::house_style::shipped(name)
}

/// Reads a house style from a file, with every file it extends.
///
/// # Errors
///
/// Every mistake in it, each with its line.
///
/// ```
/// # let folder = tempfile::tempdir().unwrap();
/// # let path = folder.path().join("chartproof.toml");
/// # std::fs::write(&path, "extends = \"homework\"\n[levels]\nwide-gap = \"error\"\n").unwrap();
/// let style = chartproof::read_style(&path).map_err(|e| e.mistakes[0].message.clone())?;
/// assert_eq!(style.shipped, "homework");
/// # Ok::<(), String>(())
/// ```
#[cfg(feature = "cli")]
pub fn read_style(path: impl AsRef<Path>) -> Result<Style, crate::house_style::StyleError> {
    crate::house_style::read(path.as_ref())
}

/// Reads a house style from its text. `name` is its file's name in mistakes; files that it extends are
/// looked for beside that name.
///
/// # Errors
///
/// Every mistake in it, each with its line.
///
/// ```
/// let style = chartproof::parse_style("chartproof.toml", "gate = \"warning\"\n").unwrap();
/// assert!(style.gate.is_some());
/// ```
pub fn parse_style(
    name: impl AsRef<Path>,
    text: &str,
) -> Result<Style, crate::house_style::StyleError> {
    crate::house_style::read_text(name.as_ref(), text)
}

/// Proofs a score under a house style.
pub fn proof(score: Score, style: &Style) -> Report {
    let heard = Heard::new(score, style);
    let proofed = heard.proofed(style);
    Report { heard, proofed }
}

/// Reads a file and proofs it under a house style.
///
/// # Errors
///
/// As [`read_file`].
///
/// ```
/// let style = chartproof::Style::default();
/// let report = chartproof::proof_file("sample-parts/copper-whistle.mxl", &style)?;
/// let finding = &report.findings()[0];
/// assert_eq!((report.bar(finding), report.beat(finding)), ("3".to_owned(), 3.0));
/// assert_eq!(report.parts(finding), ["Trumpet 3"]);
/// # Ok::<(), chartproof::Problem>(())
/// ```
#[cfg(feature = "cli")]
pub fn proof_file(path: impl AsRef<Path>, style: &Style) -> Result<Report, Problem> {
    Ok(proof(read_file(path)?, style))
}

/// What proofing a score gave.
#[derive(Debug)]
pub struct Report {
    heard: Heard,
    proofed: Proofed,
}

impl Report {
    /// The one file that reports are written from. Notes are shared by copies of a score.
    fn files(&self) -> [ProofedFile; 1] {
        let path = self.heard.sources.first().map(|s| s.path.clone());
        [ProofedFile {
            path: path.unwrap_or_default(),
            outcome: Ok((self.heard.clone(), self.proofed.clone())),
        }]
    }

    /// The score, as it is meant to sound.
    pub fn score(&self) -> &Score {
        &self.heard
    }

    /// The findings that count, in order of place, then part.
    pub fn findings(&self) -> &[Finding] {
        &self.proofed.findings
    }

    /// The findings that the style or the score accepts, each with the reason.
    pub fn set_aside(&self) -> &[SetAside] {
        &self.proofed.set_aside
    }

    /// Sentences about what was not checked and why.
    pub fn remarks(&self) -> &[String] {
        &self.proofed.remarks
    }

    /// The printed number of the bar that a finding stands in.
    pub fn bar(&self, finding: &Finding) -> String {
        self.score().bar_number(finding.at.bar)
    }

    /// The beat that a finding stands at: 1-based, in units of the meter's lower figure.
    pub fn beat(&self, finding: &Finding) -> f64 {
        self.score().beat_at(finding.at).to_f64()
    }

    /// The names of the parts at fault.
    pub fn parts(&self, finding: &Finding) -> Vec<&str> {
        report::part_names(self.score(), &finding.parts)
    }

    /// The report as people read it, without colour.
    pub fn text(&self) -> String {
        let mut out = Buffer::no_color();
        let options = report::text::Options::default();
        let written = report::text::render(&self.files(), &mut out, options);
        debug_assert!(written.is_ok(), "memory takes every report");
        String::from_utf8_lossy(out.as_slice()).into_owned()
    }

    /// The report as one JSON document (`chartproof-report/1`).
    ///
    /// # Errors
    ///
    /// When a value is none that JSON knows.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        json::render(&self.files())
    }

    /// The report as a SARIF 2.1.0 log.
    ///
    /// # Errors
    ///
    /// As [`Report::json`].
    pub fn sarif(&self) -> Result<String, serde_json::Error> {
        sarif::render(&self.files(), false)
    }

    /// The report as a self-contained HTML page with engraved music.
    pub fn html(&self) -> String {
        html::render(&self.files())
    }
}

/// A corrected copy of a file.
#[derive(Debug)]
pub struct Corrected {
    /// The copy's bytes, in the encoding and container of the original.
    pub bytes: Vec<u8>,
    /// The notes that were changed, at written pitch, in order of place and part.
    pub done: Vec<Done>,
    /// Parts that got marks they lacked, in order of place.
    pub marked: Vec<MarksDone>,
    /// The findings that are left.
    pub left: Vec<Finding>,
}

/// Why a file has no corrected copy.
#[derive(Debug, thiserror::Error)]
pub enum CorrectError {
    /// The file cannot be read.
    #[error(transparent)]
    Read(#[from] Problem),
    /// Its notes cannot be changed where they stand.
    #[error(transparent)]
    Edit(#[from] EditError),
}

/// Corrects a file: every checked fix is applied, and nothing else is changed.
///
/// # Errors
///
/// When the file cannot be read, or its notes cannot be changed in it.
///
/// ```
/// let original = std::fs::read("sample-parts/copper-whistle.mxl").unwrap();
/// let style = chartproof::Style::default();
/// let corrected = chartproof::correct("copper-whistle.mxl", original, &style)?;
/// assert_eq!(corrected.done.len(), 1);
/// assert_eq!(corrected.done[0].from.to_string(), "C#5");
/// assert_eq!(corrected.done[0].to.to_string(), "C5");
/// assert!(corrected.left.is_empty());
///
/// let again = chartproof::read("copper-whistle.mxl", corrected.bytes)?;
/// assert!(chartproof::proof(again, &style).findings().is_empty());
/// # Ok::<(), chartproof::CorrectError>(())
/// ```
pub fn correct(
    name: impl AsRef<Path>,
    bytes: impl Into<Vec<u8>>,
    style: &Style,
) -> Result<Corrected, CorrectError> {
    let bytes = bytes.into();
    let heard = Heard::new(read(name.as_ref(), bytes.clone())?, style);
    let correction = crate::correct::correct(&heard, style);
    let edits =
        editing::ScoreEdits::new(&heard).with_marks(&correction.changes, &correction.additions)?;
    let edits: Vec<&Edit> = edits.iter().collect();
    let bytes = match heard.sources.first() {
        Some(source) if !edits.is_empty() => editing::apply_to_file(bytes, source, &edits)?,
        _ => bytes,
    };
    Ok(Corrected {
        bytes,
        done: correction.done,
        marked: correction.marked,
        left: correction.left.findings,
    })
}

/// Voices a lead with chord symbols: the model answer, as a score. `technique` is named as people name
/// it (`drop 2`); `section` likewise (`saxes`), or the lead's own when there is none.
///
/// # Errors
///
/// A sentence that says why the lead was not voiced, and what to do.
///
/// ```
/// let lead = "meter: 4/4\npitch: sounding\nsection: saxes\nparts: lead = alto saxophone\n\n\
///             chord | F6 -  -  - | Gm7 |\ncount | 1  2  3  4 | 1   |\nlead  | A4 Bb4 C5 D5 | Bb4 |\n";
/// let score = chartproof::read("lead.passage", lead)?;
/// let answer = chartproof::voice(score, &chartproof::Style::default(), "drop 2", Some("saxes")).unwrap();
/// let grid = chartproof::grid(&answer).unwrap();
/// assert!(grid.contains("Alto 2  | D4 E4  F4 A4 | F4  |"), "{grid}");
/// # Ok::<(), chartproof::Problem>(())
/// ```
pub fn voice(
    lead: Score,
    style: &Style,
    technique: &str,
    section: Option<&str>,
) -> Result<Score, VoiceLeadError> {
    let technique = Technique::named(technique)
        .ok_or_else(|| VoiceLeadError::NoSuchTechnique(technique.to_owned()))?;
    let request = Request {
        section: section.map(str::to_owned),
        ..Request::new(technique)
    };
    let lead = Heard::new(lead, style);
    Ok(model_answer::voice(&lead, style, &request)?.score)
}

/// Why a lead was not voiced.
#[derive(Debug, thiserror::Error)]
pub enum VoiceLeadError {
    /// No technique has this name.
    #[error("`{0}` is not a technique that chartproof knows: write one such as drop 2")]
    NoSuchTechnique(String),
    /// The lead cannot be voiced so.
    #[error(transparent)]
    Lead(#[from] VoiceError),
}

/// A score as a passage grid at sounding pitch.
///
/// # Errors
///
/// When it holds something that a grid has no room for.
pub fn grid(score: &Score) -> Result<String, writing::grid::Unwritable> {
    writing::grid::write(score, writing::grid::Cells::Sounding)
}

/// A score as MusicXML 4.0.
pub fn musicxml(score: &Score) -> String {
    writing::musicxml::write(score, &writing::musicxml::Options::default())
}
