//! The scores a command works on, and how they are looked at: options every command shares.

use super::write_out::complain_in_full;
use crate::instrument::{self, Catalogue};
use crate::reading::files::{self, Plan, Set};
use crate::reading::{Outcome, ReadError};
use crate::score::Score;
use crate::sonority::heard;
use crate::style::{FILE_NAME, HouseStyles, Style, StyleError};
use crate::voicing::{Technique, UnknownTechnique};
use clap::Args;
use std::path::{Path, PathBuf};
use std::sync::Arc;

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

    /// The house style: chart (big-band proofreading, the usual one), homework (strict technique),
    /// choir, or a house style file. Without this the nearest chartproof.toml on the way up from
    /// each score holds
    #[arg(long, value_name = "NAME|FILE", value_parser = style)]
    pub(super) style: Option<Chosen>,
}

/// A score with the style it is looked at in.
pub(super) struct Looked {
    pub(super) path: PathBuf,
    pub(super) score: Result<Score, ReadError>,
    pub(super) style: Arc<Style>,
}

/// Everything that was read.
pub(super) struct Desk {
    pub(super) scores: Vec<Looked>,
    /// A house style has mistakes (they were told): the scores under it are left out.
    pub(super) style_unusable: bool,
}

impl Scores {
    /// Reads them all, each with the style that holds for it.
    pub(super) fn read(&self) -> Desk {
        let styles = self.styles();
        let by_styles = ByStyles(&styles);
        let outcomes = if self.one_score {
            files::read_as_one_by(&self.paths, &by_styles)
        } else {
            files::read_by(&self.paths, &by_styles)
        };
        desk(outcomes, &styles)
    }

    pub(super) fn styles(&self) -> HouseStyles {
        styles(self.style.as_ref()).with_technique(self.technique.map(Technique::name))
    }
}

/// The styles that hold when one was chosen, or none.
pub(super) fn styles(chosen: Option<&Chosen>) -> HouseStyles {
    chosen.map_or_else(HouseStyles::found, |c| HouseStyles::named(c.read()))
}

/// Gives each score its style; tells what is wrong with styles, each once.
pub(super) fn desk(outcomes: Vec<Outcome>, styles: &HouseStyles) -> Desk {
    let mut desk = Desk {
        scores: Vec::new(),
        style_unusable: false,
    };
    let mut told: Vec<Arc<StyleError>> = Vec::new();
    for Outcome { path, mut score } in outcomes {
        let of = match &score {
            Ok(score) => score.sources.first().map_or(&path, |s| &s.path),
            Err(_) => &path,
        };
        let style = match styles.of(of) {
            Ok(style) => style,
            Err(error) => {
                desk.style_unusable = true;
                if !told.iter().any(|t| Arc::ptr_eq(t, &error)) {
                    tell(&error);
                    told.push(error);
                }
                continue;
            }
        };
        if let Ok(score) = &mut score {
            style.prepare(score);
            // As it is meant to sound.
            if let Some(meant) = heard(score) {
                *score = meant;
            }
        }
        desk.scores.push(Looked { path, score, style });
    }
    desk
}

/// What is wrong with a house style, each mistake with its line.
pub(super) fn tell(error: &StyleError) {
    for mistake in &error.mistakes {
        complain_in_full(mistake);
    }
}

/// What house styles say of files before they are read.
pub(super) struct ByStyles<'a>(pub(super) &'a HouseStyles);

impl Plan for ByStyles<'_> {
    fn instruments(&self, file: &Path) -> &'static Catalogue {
        self.0
            .of(file)
            .map_or_else(|_| instrument::catalogue(), |style| style.instruments)
    }

    fn set(&self, file: &Path) -> Option<Set> {
        self.0.of(file).ok()?.set_of(file)
    }
}

pub(super) fn technique(text: &str) -> Result<Technique, UnknownTechnique> {
    Technique::read(text)
}

/// A style named on the command line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Chosen {
    /// One that comes with the program.
    Shipped(String),
    /// A house style file.
    File(PathBuf),
}

impl Chosen {
    pub(super) fn read(&self) -> Result<Style, StyleError> {
        match self {
            Self::Shipped(name) => Ok(Style::shipped(name).unwrap_or_default()),
            Self::File(path) => Style::read(path),
        }
    }
}

/// No such house style.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "no house style of the name `{found}` comes with chartproof, and there is no such file: {}",
    match nearest { Some(name) => format!("did you mean `{name}`?"), None => format!("the names are {}; a house style file is usually called {FILE_NAME}", Style::shipped_names().collect::<Vec<_>>().join(", ")) }
)]
pub(super) struct NoSuchStyle {
    found: String,
    nearest: Option<&'static str>,
}

pub(super) fn style(name: &str) -> Result<Chosen, NoSuchStyle> {
    if Style::shipped_names().any(|n| n == name) {
        return Ok(Chosen::Shipped(name.to_owned()));
    }
    let path = PathBuf::from(name);
    // A folder stands for the house style in it.
    let inside = path.join(FILE_NAME);
    if inside.is_file() {
        return Ok(Chosen::File(inside));
    }
    if path.is_file() {
        return Ok(Chosen::File(path));
    }
    Err(NoSuchStyle {
        found: name.to_owned(),
        nearest: Style::shipped_names()
            .find(|n| strsim::damerau_levenshtein(n, &name.to_lowercase()) <= 2),
    })
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

    #[test]
    fn a_mistyped_style_names_the_nearest_or_all() {
        let message = style("chior").unwrap_err().to_string();
        assert!(message.contains("did you mean `choir`?"), "{message}");
        let message = style("our-band.toml").unwrap_err().to_string();
        assert!(message.contains("chart, choir, homework"), "{message}");
    }
}
