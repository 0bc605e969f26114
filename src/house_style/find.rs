//! Which house style holds for a score: the one that was named, else the nearest `chartproof.toml`
//! on the way up from the score, else the style `chart`.

use super::load::{StyleError, read_found, shipped};
use crate::ground::disk;
use crate::score::SpokenPitch;
use crate::style::Style;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// The name of a house style file that is found by itself.
pub const FILE_NAME: &str = "chartproof.toml";

/// A style, or why there is none.
type StyleOrError = Result<Arc<Style>, Arc<StyleError>>;

/// The styles of one run. Each file is read once.
#[derive(Debug, Default)]
pub struct HouseStyles {
    named: Option<StyleOrError>,
    technique: Option<String>,
    spoken: SpokenPitch,
    /// The folders that the user named, by their true names.
    folders: Vec<PathBuf>,
    by_file: Mutex<HashMap<Option<PathBuf>, StyleOrError>>,
}

impl HouseStyles {
    /// Styles are looked for on the way up from each score.
    pub fn found() -> Self {
        Self::default()
    }

    /// One style holds for every score.
    pub fn named(style: Result<Style, StyleError>) -> Self {
        Self {
            named: Some(style.map(Arc::new).map_err(Arc::new)),
            ..Self::default()
        }
    }

    /// The user has named these paths: a style that is found in a folder among them may lead as far as that.
    #[must_use]
    pub fn with_paths(mut self, paths: &[PathBuf]) -> Self {
        let folders = paths.iter().filter(|path| disk::is_folder(path));
        self.folders = folders.filter_map(|path| disk::true_name(path)).collect();
        self
    }

    /// Whatever the style, this technique is stated.
    #[must_use]
    pub fn with_technique(mut self, technique: Option<&str>) -> Self {
        self.technique = technique.map(str::to_owned);
        if let (Some(technique), Some(Ok(style))) = (&self.technique, &mut self.named) {
            Arc::make_mut(style).state_technique(technique);
        }
        self
    }

    /// Whatever the style, people are told of notes at this pitch.
    #[must_use]
    pub fn with_spoken(mut self, spoken: SpokenPitch) -> Self {
        self.spoken = spoken;
        if let Some(Ok(style)) = &mut self.named {
            Arc::make_mut(style).spoken = spoken;
        }
        self
    }

    /// Every house style file that was opened so far, with those that it extends, also when it
    /// has mistakes.
    pub fn files(&self) -> Vec<PathBuf> {
        let by_file = self.by_file.lock().unwrap_or_else(PoisonError::into_inner);
        let mut files = Vec::new();
        for style in self.named.iter().chain(by_file.values()) {
            files.extend_from_slice(match style {
                Ok(style) => &style.files,
                Err(error) => &error.files,
            });
        }
        files
    }

    /// The style that holds for a file or a folder.
    ///
    /// # Errors
    ///
    /// When the style that holds has mistakes.
    pub fn of(&self, path: &Path) -> Result<Arc<Style>, Arc<StyleError>> {
        if let Some(named) = &self.named {
            return named.clone();
        }
        let file = above(path);
        let mut by_file = self.by_file.lock().unwrap_or_else(PoisonError::into_inner);
        by_file
            .entry(file)
            .or_insert_with_key(|file| {
                let mut style = match file {
                    Some(file) => read_found(file, &self.folders).map_err(Arc::new)?,
                    None => shipped("chart").unwrap_or_default(),
                };
                if let Some(technique) = &self.technique {
                    style.state_technique(technique);
                }
                style.spoken = self.spoken;
                Ok(Arc::new(style))
            })
            .clone()
    }
}

/// The nearest house style file on the way up from a path.
fn above(path: &Path) -> Option<PathBuf> {
    let start = if disk::is_folder(path) {
        Some(path)
    } else {
        path.parent()
    };
    // As the user named it while that is enough, so that reports name it alike.
    let near = start.map(|folder| folder.join(FILE_NAME));
    if let Some(near) = near.filter(|f| disk::is_no_folder(f)) {
        return Some(near);
    }
    let start = start.filter(|s| !s.as_os_str().is_empty());
    let real = disk::true_name(start.unwrap_or_else(|| Path::new(".")))?;
    let here = disk::true_name(Path::new("."));
    let found = real
        .ancestors()
        .map(|folder| folder.join(FILE_NAME))
        .find(|file| disk::is_no_folder(file))?;
    let short = here.and_then(|here| found.strip_prefix(here).ok().map(Path::to_owned));
    Some(short.unwrap_or(found))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house_style::{print, read_text};

    #[test]
    fn the_nearest_style_on_the_way_up_holds() {
        let dir = tempfile::tempdir().unwrap();
        let inner = dir.path().join("band/2026");
        std::fs::create_dir_all(&inner).unwrap();
        let styles = HouseStyles::found();
        std::fs::write(dir.path().join(FILE_NAME), "extends = \"choir\"\n").unwrap();
        let of = |path: PathBuf| styles.of(&path).unwrap();
        assert!(of(inner.join("waltz.mxl")).counterpoint);
        std::fs::write(dir.path().join("band").join(FILE_NAME), "about = \"x\"\n").unwrap();
        assert_eq!(of(inner.join("waltz.mxl")).about, "x");
        assert!(!of(inner.clone()).counterpoint);
        assert!(of(dir.path().join("other.passage")).counterpoint);
        assert!(Arc::ptr_eq(&of(inner.clone()), &of(inner.join("a.mxl"))));
    }

    #[test]
    fn a_named_style_holds_everywhere_and_an_option_comes_before_it() {
        let styles = HouseStyles::named(read_text(Path::new("x.toml"), "technique = \"drop 3\""))
            .with_technique(Some("drop 2"));
        let style = styles.of(Path::new("anywhere.mxl")).unwrap();
        assert_eq!(style.technique.as_deref(), Some("drop 2"));
        assert!(print_names_the_option(&style));
    }

    fn print_names_the_option(style: &Style) -> bool {
        print(style).contains("--technique")
    }

    #[test]
    fn a_style_with_mistakes_is_reported_for_every_score_under_it() {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join(FILE_NAME), "abuot = \"x\"\n").unwrap();
        let styles = HouseStyles::found();
        for name in ["a.mxl", "b.mxl"] {
            let error = styles.of(&dir.path().join(name)).unwrap_err();
            assert_eq!(error.mistakes.len(), 1);
        }
    }
}
