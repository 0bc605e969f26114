//! Reads house style files, each laid over the style it extends. Every mistake is reported with its
//! place, not only the first.

mod groups;
mod instruments;
mod layer;

use self::layer::Layer;
use super::style_file::StyleFile;
use super::values::{described, entries};
use crate::ground::disk;
use crate::ground::problem::Problem;
use crate::ground::text::meant;
use crate::style::Style;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::de::{DeTable, DeValue};

/// How many files may extend one another.
const LONGEST_CHAIN: usize = 8;

/// The largest house style that is read, in bytes.
const LARGEST: u64 = 4 << 20;

/// The styles that come with the program.
pub(super) const SHIPPED: [(&str, &str); 3] = [
    ("chart", include_str!("../../../rules/chart.toml")),
    ("choir", include_str!("../../../rules/choir.toml")),
    ("homework", include_str!("../../../rules/homework.toml")),
];

/// The names of the styles that come with the program.
pub fn shipped_names() -> impl Iterator<Item = &'static str> {
    SHIPPED.into_iter().map(|(name, _)| name)
}

/// A style that comes with the program.
pub fn shipped(name: &str) -> Option<Style> {
    let (name, text) = SHIPPED.into_iter().find(|(n, _)| *n == name)?;
    laid_over_nothing(name, text).ok()
}

/// Why a house style cannot be used: every mistake in it, in the order they stand in.
#[derive(Clone, Debug, thiserror::Error)]
#[error("{}", mistakes.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
pub struct StyleError {
    /// The mistakes; at least one.
    pub mistakes: Vec<Problem>,
    /// The house style files that were opened.
    pub files: Vec<PathBuf>,
}

fn laid_over_nothing(name: &'static str, text: &str) -> Result<Style, StyleError> {
    let path = PathBuf::from(format!("{name}.toml"));
    let style_file = StyleFile::new(&path, text);
    let mut style = Style::bare(name);
    Layer {
        style_file: &style_file,
        shipped: Some(name),
        folder: Path::new(""),
    }
    .lay_over(&mut style);
    finished(style_file, style, Vec::new())
}

/// Reads the house style in a file, with everything it extends.
///
/// # Errors
///
/// Every mistake in it, with its place, when there is one.
pub fn read(path: &Path) -> Result<Style, StyleError> {
    let mut opened = Vec::new();
    match chained(path, &mut opened) {
        Ok(style) => Ok(Style {
            files: opened,
            ..style
        }),
        Err(error) => {
            // A file that is no text, or too large, is in no chain.
            opened.extend(error.mistakes.iter().map(|m| m.path.clone()));
            opened.push(path.to_owned());
            Err(StyleError {
                files: opened,
                ..error
            })
        }
    }
}

/// The same for the text of a file that need not exist.
///
/// # Errors
///
/// As [`read`].
pub fn read_text(path: &Path, text: &str) -> Result<Style, StyleError> {
    laid(path, text, &mut vec![path.to_owned()])
}

fn chained(path: &Path, chain: &mut Vec<PathBuf>) -> Result<Style, StyleError> {
    let fails = |message: String| StyleError {
        mistakes: vec![
            Problem::whole(path, message)
                .help("name a house style file, or one of the styles chart, homework and choir"),
        ],
        files: Vec::new(),
    };
    let size = disk::size(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => fails("there is no such file".to_owned()),
        _ => fails(format!("the house style cannot be read: {e}")),
    })?;
    if size > LARGEST {
        return Err(fails(format!(
            "the file has {size} bytes, more than the {LARGEST} a house style may have"
        )));
    }
    let bytes =
        disk::read(path).map_err(|e| fails(format!("the house style cannot be read: {e}")))?;
    let text = String::from_utf8(bytes)
        .map_err(|_| fails("the house style is not text in UTF-8; save it as UTF-8".to_owned()))?;
    chain.push(path.to_owned());
    laid(path, &text, chain)
}

/// Lays the text over the style it extends.
fn laid(path: &Path, text: &str, chain: &mut Vec<PathBuf>) -> Result<Style, StyleError> {
    let style_file = StyleFile::new(path, text);
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut base_mistakes = Vec::new();
    let mut style = shipped("chart").unwrap_or_default();
    match DeTable::parse(text) {
        Ok(table) => {
            let extends = entries(table.get_ref()).find(|(name, _)| name.value == "extends");
            if let Some((_, value)) = extends {
                if let DeValue::String(base) = value.get_ref() {
                    match extended(&style_file, base, &value.span(), folder, chain) {
                        Ok(base) => style = base,
                        Err(mut mistakes) => base_mistakes.append(&mut mistakes),
                    }
                } else {
                    style_file.wrong(
                        value.span(),
                        format!(
                            "`extends` names a style, found {}",
                            described(value.get_ref())
                        ),
                        "write extends = \"chart\"",
                    );
                }
            }
        }
        Err(error) => {
            style_file.no_toml(&error);
            return finished(style_file, style, base_mistakes);
        }
    }
    style.name = path.display().to_string();
    Layer {
        style_file: &style_file,
        shipped: None,
        folder,
    }
    .lay_over(&mut style);
    finished(style_file, style, base_mistakes)
}

fn finished(
    style_file: StyleFile<'_>,
    style: Style,
    mut base_mistakes: Vec<Problem>,
) -> Result<Style, StyleError> {
    let mut mistakes = style_file.mistakes();
    mistakes.append(&mut base_mistakes);
    if mistakes.is_empty() {
        Ok(style)
    } else {
        Err(StyleError {
            mistakes,
            files: Vec::new(),
        })
    }
}

/// The style that a file extends.
fn extended(
    style_file: &StyleFile<'_>,
    base: &str,
    at: &Range<usize>,
    folder: &Path,
    chain: &mut Vec<PathBuf>,
) -> Result<Style, Vec<Problem>> {
    if let Some(style) = shipped(base) {
        return Ok(style);
    }
    let is_path = base.contains(['/', '\\'])
        || Path::new(base)
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("toml"));
    if !is_path {
        style_file.wrong(
            at.clone(),
            format!("no style of the name `{base}` comes with chartproof"),
            meant(base, shipped_names().collect::<Vec<_>>()),
        );
        return Err(Vec::new());
    }
    let path = folder.join(base);
    let same = |a: &Path, b: &Path| {
        a == b || disk::true_name(a).is_some_and(|a| disk::true_name(b) == Some(a))
    };
    if chain.iter().any(|p| same(p, &path)) || chain.len() >= LONGEST_CHAIN {
        style_file.wrong(
            at.clone(),
            format!("`{base}` extends this file in turn: neither comes first"),
            "let one of them extend chart, homework or choir",
        );
        return Err(Vec::new());
    }
    if !disk::is_file(&path) {
        style_file.wrong(
            at.clone(),
            format!("there is no file {}", path.display()),
            "write the path from the folder of this file, or one of chart, homework and choir",
        );
        return Err(Vec::new());
    }
    chained(&path, chain).map_err(|e| e.mistakes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(path: &Path) -> String {
        read(path).map_or_else(|e| e.to_string(), |_| panic!("it is read"))
    }

    #[test]
    fn a_file_that_cannot_be_read_is_one_mistake() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.toml");
        assert!(refused(&path).contains("there is no such file"));
        std::fs::write(&path, [0x61, 0xFF]).unwrap();
        assert!(refused(&path).contains("not text in UTF-8"));
        let file = std::fs::File::create(&path).unwrap();
        file.set_len(LARGEST + 1).unwrap();
        assert!(refused(&path).contains("more than the 4194304"));
        std::fs::write(&path, "extends = 'none.toml'\n").unwrap();
        assert!(refused(&path).contains("there is no file"));
    }

    #[test]
    fn a_chain_of_files_has_an_end() {
        let folder = tempfile::tempdir().unwrap();
        let write = |n: usize, base: &str| {
            let text = format!("extends = '{base}'\n");
            std::fs::write(folder.path().join(format!("{n}.toml")), text).unwrap();
        };
        write(0, "choir");
        for n in 1..=LONGEST_CHAIN {
            write(n, &format!("{}.toml", n - 1));
        }
        let longest = folder.path().join(format!("{}.toml", LONGEST_CHAIN - 1));
        assert!(read(&longest).unwrap().counterpoint);
        let longer = folder.path().join(format!("{LONGEST_CHAIN}.toml"));
        assert!(refused(&longer).contains("in turn"));
    }
}
