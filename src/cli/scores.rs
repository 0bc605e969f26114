//! The scores a command works on, and how they are looked at: options every command shares.

use crate::reading::{Outcome, files, read_paths};
use crate::sonority::heard;
use crate::style::Style;
use crate::voicing::{Technique, UnknownTechnique};
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub(super) struct Scores {
    /// Scores to read: MusicXML (.musicxml, .xml, .mxl), passage grids (.passage), or folders of
    /// them
    #[arg(required = true, value_name = "PATH")]
    pub(super) paths: Vec<PathBuf>,

    /// Read all files together as the parts of one score, one player's part each
    #[arg(long)]
    pub(super) one_score: bool,

    /// The technique the passages are meant to be in, such as "drop 2", "four-way close", "doubled
    /// lead", "spread" or "fourths"; a passage that names its own keeps it. Without this it is
    /// inferred phrase by phrase
    #[arg(long, value_name = "TECHNIQUE", value_parser = technique)]
    pub(super) technique: Option<Technique>,

    /// The house style: chart (big-band proofreading, the usual one), homework (strict technique) or
    /// choir
    #[arg(long, value_name = "NAME", value_parser = style)]
    pub(super) style: Option<Style>,
}

impl Scores {
    /// Reads them all, as they are meant to sound.
    pub(super) fn read(&self) -> Vec<Outcome> {
        let mut outcomes = if self.one_score {
            files::read_as_one(&self.paths)
        } else {
            read_paths(&self.paths)
        };
        for score in outcomes.iter_mut().filter_map(|o| o.score.as_mut().ok()) {
            if let Some(meant) = heard(score) {
                *score = meant;
            }
        }
        outcomes
    }

    pub(super) fn style_in_force(&self) -> Style {
        let mut style = self.style.clone().unwrap_or_default();
        if let Some(technique) = self.technique {
            style.technique = Some(technique.name().to_owned());
        }
        style
    }
}

pub(super) fn technique(text: &str) -> Result<Technique, UnknownTechnique> {
    Technique::read(text)
}

/// No such house style.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no house style of the name `{0}` comes with chartproof: the names are {names}", names = Style::shipped_names().collect::<Vec<_>>().join(", "))]
pub(super) struct NoSuchStyle(String);

pub(super) fn style(name: &str) -> Result<Style, NoSuchStyle> {
    Style::shipped(name).ok_or_else(|| NoSuchStyle(name.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistyped_technique_names_the_nearest_and_all() {
        let message = technique("dorp 2").unwrap_err().to_string();
        assert!(message.contains("did you mean `drop 2`?"), "{message}");
        let message = technique("zzz").unwrap_err().to_string();
        assert!(!message.contains("did you mean"), "{message}");
        assert!(message.contains("four-way close"), "{message}");
    }
}
