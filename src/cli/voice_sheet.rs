//! What `chartproof voice` writes beside the bare answer: explanations, as grid, MusicXML, table or page.

use super::inputs::Inputs;
use super::replacing::Replaces;
use super::write_out::{self, complain, to_stdout};
use crate::model_answer::{
    self, Answer, KeyedAnswer, Keys, Kind, Planted, Remark, Request, VoiceError, alternatives,
    explain, joined, plant, voice_in_keys, with_words,
};
use crate::report::{self, answer, answer::AnswerOnPage};
use crate::score::{Format, Place, Score};
use crate::style::Style;
use crate::writing;
use clap::Args;
use std::path::{Path, PathBuf};

/// The options of sheets.
#[derive(Debug, Args)]
pub(super) struct Options {
    /// Say of each sonority what the lead note is for and what stands under it: in a grid as comments,
    /// in MusicXML as words under the staff of the lead, on a page and in a table as sentences
    #[arg(long)]
    explain: bool,

    /// Write the answer in these keys, one after the other: all (the lead's own first, then always a
    /// fourth up), or keynotes such as "F, Bb, Eb". Each is voiced anew, as near to the lead as the
    /// ranges let it, and begins with its key as a rehearsal mark
    #[arg(long, value_name = "KEYS")]
    keys: Option<Keys>,

    /// Show this many voicings of each note, the one that was taken first: what the whole line costs
    /// with each, and what it gives up: in a table (.txt), on a page one above the other (.html), or as
    /// comments of a grid
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(2..=9),
          conflicts_with_all = ["explain", "with_mistakes", "keys"])]
    alternatives: Option<u8>,

    /// Plant this many mistakes in the answer, for a class to hunt for; `chartproof proof` finds each of
    /// them at its place
    #[arg(long, value_name = "N", requires = "into", conflicts_with = "explain")]
    with_mistakes: Option<usize>,

    /// The kinds of mistakes, by turns, named as the rules that find them: wrong-note, wrong-octave,
    /// doubled-note, passing-diminished, wrong-voice-dropped, lead-doubling, voice-crossing; all when
    /// left out
    #[arg(
        long,
        value_name = "KINDS",
        value_delimiter = ',',
        requires = "with_mistakes"
    )]
    kinds: Vec<Kind>,

    /// The same number gives the same mistakes
    #[arg(
        long,
        value_name = "S",
        default_value_t = 1,
        requires = "with_mistakes"
    )]
    seed: u64,

    /// Write the list of the mistakes to this file instead of the terminal
    #[arg(long, value_name = "FILE", requires = "with_mistakes")]
    list_into: Option<PathBuf>,
}

/// An answer, and where it is asked for, the one of each key.
pub(super) struct Voiced {
    answer: Answer,
    keys: Vec<(String, Answer)>,
    /// The mistakes that were planted in it.
    planted: Option<Planted>,
}

impl Voiced {
    /// What there is to say of it.
    pub(super) fn remarks(&self) -> &[Remark] {
        &self.answer.remarks
    }
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
    /// Voices a lead as the options ask for it. A key in which nothing can be written is said and left out.
    pub(super) fn voice(
        &self,
        score: &Score,
        style: &Style,
        request: &Request,
    ) -> Result<Voiced, VoiceError> {
        let mut keys = Vec::new();
        let answer = match &self.keys {
            None => model_answer::voice(score, style, request)?,
            Some(wanted) => {
                let mut first_error = None;
                for KeyedAnswer { key, answer } in voice_in_keys(score, style, request, wanted) {
                    match answer {
                        Ok(answer) => keys.push((key, answer)),
                        Err(error) => {
                            complain(&format!("{key}: {error}"));
                            first_error.get_or_insert(error);
                        }
                    }
                }
                let all: Vec<(String, &Answer)> =
                    keys.iter().map(|(k, a)| (k.clone(), a)).collect();
                match joined(&all) {
                    Some(joined) => joined,
                    None => return Err(first_error.unwrap_or(VoiceError::NoLead)),
                }
            }
        };
        let planted = self
            .with_mistakes
            .map(|count| plant(&answer, style, count, &self.kinds, self.seed));
        Ok(Voiced {
            answer,
            keys,
            planted,
        })
    }

    /// The list of planted mistakes, to the terminal or to its file.
    pub(super) fn deliver_list(&self, voiced: &Voiced, inputs: &Inputs) -> Result<(), String> {
        let Some(planted) = &voiced.planted else {
            return Ok(());
        };
        let (asked, found) = (self.with_mistakes.unwrap_or(0), planted.mistakes.len());
        if found < asked {
            complain(&format!(
                "{found} of {asked} mistakes were planted: no more fit into this answer"
            ));
        }
        let list = answer::mistakes(planted);
        match &self.list_into {
            Some(target) => write_out::write(target, list.as_bytes(), inputs, Replaces::Reports)
                .map_err(|e| e.to_string()),
            None => to_stdout(&list),
        }
    }

    /// The answer in a form.
    pub(super) fn write(
        &self,
        voiced: &Voiced,
        form: Form,
        cells: writing::grid::Cells,
    ) -> Result<String, String> {
        let answer = &voiced.answer;
        if let Some(count) = self.alternatives {
            return alternatives_as(answer, usize::from(count), form, cells);
        }
        let score = voiced.planted.as_ref().map_or(&answer.score, |p| &p.score);
        let explained = |answer: &Answer| {
            if self.explain {
                explain(answer)
            } else {
                Vec::new()
            }
        };
        Ok(match form {
            Form::Grid => {
                let comments = explained(answer).into_iter().map(|e| (e.at, e.line));
                let comments: Vec<(Place, String)> = comments.collect();
                writing::grid::write_with_comments(score, cells, &comments)
                    .map_err(|e| e.to_string())?
            }
            Form::MusicXml => {
                let options = writing::musicxml::Options {
                    software: Some(concat!("chartproof ", env!("CARGO_PKG_VERSION")).to_owned()),
                };
                writing::musicxml::write(&with_words(score, &explained(answer)), &options)
            }
            Form::Page if voiced.keys.is_empty() || voiced.planted.is_some() => {
                let only = AnswerOnPage {
                    heading: None,
                    score,
                    explained: explained(answer),
                };
                answer::page(&title(&answer.score), &[only])
            }
            Form::Page => {
                let keys = voiced.keys.iter();
                let sheets: Vec<AnswerOnPage<'_>> = keys
                    .map(|(key, answer)| AnswerOnPage {
                        heading: Some(key.clone()),
                        score: &answer.score,
                        explained: explained(answer),
                    })
                    .collect();
                answer::page(&title(&answer.score), &sheets)
            }
            Form::Table if voiced.planted.is_some() => {
                return Err(
                    "a table holds the answer in words, which tells of no mistakes: write \
                     .passage, .musicxml or .html"
                        .to_owned(),
                );
            }
            // A table is made of what there is to say.
            Form::Table => answer::text(answer, &explain(answer)),
        })
    }
}

/// The best voicings of each note in a form.
fn alternatives_as(
    answer: &Answer,
    count: usize,
    form: Form,
    cells: writing::grid::Cells,
) -> Result<String, String> {
    let all = alternatives(answer, count);
    match form {
        Form::Grid => {
            let comments = report::alternatives::lines(answer, &all);
            writing::grid::write_with_comments(&answer.score, cells, &comments)
                .map_err(|e| e.to_string())
        }
        Form::Table => Ok(report::alternatives::text(answer, &all)),
        Form::Page => Ok(report::alternatives::page(&title(&answer.score), answer, &all)),
        Form::MusicXml => Err(
            "alternatives are written as a table (--into FILE.txt), a page (.html) or a grid (.passage)"
                .to_owned(),
        ),
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
