//! What `chartproof voice` writes beside the bare answer: explanations, as grid, MusicXML, table or page.

use crate::model_answer::{Answer, Explained, explain, with_words};
use crate::report::answer;
use crate::score::{Format, Place, Score};
use crate::writing;
use clap::Args;
use std::path::Path;

/// The options of sheets.
#[derive(Debug, Args)]
pub(super) struct Options {
    /// Say of each sonority what the lead note is for and what stands under it: in a grid as comments,
    /// in MusicXML as words under the staff of the lead, on a page and in a table as sentences
    #[arg(long)]
    explain: bool,
}

/// The form in which an answer is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Grid,
    MusicXml,
    Page,
    Table,
}

impl Form {
    /// What is said where the ending of a file names no form.
    pub(super) const WANTED: &str = "the ending of the file does not say how to write it: use .passage, \
                                     .musicxml, .xml, .html or .txt";

    /// As the ending of the file says; that of the score where there is none.
    pub(super) fn of(target: Option<&Path>, score: &Score) -> Option<Self> {
        let Some(target) = target else {
            let first = score.sources.first();
            let grid = first.is_some_and(|s| s.format == Format::Grid);
            return Some(if grid { Self::Grid } else { Self::MusicXml });
        };
        let ending = target.extension()?.to_string_lossy().to_lowercase();
        Some(match ending.as_str() {
            "passage" => Self::Grid,
            "musicxml" | "xml" => Self::MusicXml,
            "html" => Self::Page,
            "txt" => Self::Table,
            _ => return None,
        })
    }
}

impl Form {
    /// It is for people, and no program reads it as a score.
    pub(super) const fn is_report(self) -> bool {
        matches!(self, Self::Page | Self::Table)
    }
}

impl Options {
    /// The answer in a form.
    pub(super) fn write(
        &self,
        answer: &Answer,
        form: Form,
        cells: writing::grid::Cells,
    ) -> Result<String, String> {
        let all = explain(answer);
        let explained: &[Explained] = if self.explain { &all } else { &[] };
        Ok(match form {
            Form::Grid => {
                let comments: Vec<(Place, String)> =
                    explained.iter().map(|e| (e.at, e.line.clone())).collect();
                writing::grid::write_with_comments(&answer.score, cells, &comments)
                    .map_err(|e| e.to_string())?
            }
            Form::MusicXml => {
                let options = writing::musicxml::Options {
                    software: Some(concat!("chartproof ", env!("CARGO_PKG_VERSION")).to_owned()),
                };
                writing::musicxml::write(&with_words(&answer.score, explained), &options)
            }
            Form::Page => answer::page(&title(&answer.score), answer, explained),
            // A table is made of what there is to say.
            Form::Table => answer::text(answer, &all),
        })
    }
}

/// What a page is called.
fn title(score: &Score) -> String {
    let technique = score.stated.iter().find_map(|m| m.value.technique.clone());
    let parts = [score.title.clone(), technique];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if parts.is_empty() {
        "Model answer".to_owned()
    } else {
        parts.join(": ")
    }
}
