//! Reads house style files, each laid over the style it extends. Every mistake is reported with its
//! place, not only the first.

mod groups;
mod instruments;
mod layer;
mod lengths;
mod reach;

use self::layer::Layer;
use self::reach::Reach;
use super::find::FILE_NAME;
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
        reach: &Reach::Anywhere,
    }
    .lay_over(&mut style);
    finished(style_file, style, Vec::new())
}

/// Reads the house style in a file that the user has named, with everything it extends.
///
/// # Errors
///
/// Every mistake in it, with its place, when there is one.
pub fn read(path: &Path) -> Result<Style, StyleError> {
    recorded(path, Chain::of(Reach::Anywhere))
}

/// Reads a style, which then knows its files; so does the reason why there is none.
fn recorded(path: &Path, mut chain: Chain<'_>) -> Result<Style, StyleError> {
    match chained(path, &mut chain) {
        Ok(style) => Ok(Style {
            files: chain.files,
            ..style
        }),
        Err(error) => {
            let mut files = chain.files;
            // A file that is no text, or too large, is in no chain.
            files.extend(error.mistakes.iter().map(|m| m.path.clone()));
            files.push(path.to_owned());
            Err(StyleError { files, ..error })
        }
    }
}

/// The same for a file that was found beside or above a score. It may be a stranger's, so neither it nor what
/// it extends leads out of its repository, or where there is none of a folder that was named (true names) or
/// its own.
///
/// # Errors
///
/// As [`read`].
pub(super) fn read_found(path: &Path, named: &[PathBuf]) -> Result<Style, StyleError> {
    let reach = Reach::of_found(path, named);
    if let Some(folder) = reach.left_by(path) {
        let message = format!("this house style is a link out of {}", folder.display());
        let help = format!("copy it there, or name it: --style {}", path.display());
        return Err(StyleError {
            mistakes: vec![Problem::whole(path, message).help(help)],
            files: vec![path.to_owned()],
        });
    }
    let chain = Chain {
        named,
        ..Chain::of(reach)
    };
    recorded(path, chain)
}

/// The same for the text of a file that need not exist.
///
/// # Errors
///
/// As [`read`].
pub fn read_text(path: &Path, text: &str) -> Result<Style, StyleError> {
    let mut chain = Chain::of(Reach::Anywhere);
    chain.files.push(path.to_owned());
    laid(path, text, &mut chain)
}

/// The files that extend one another, the first first, and how far they may lead.
struct Chain<'a> {
    files: Vec<PathBuf>,
    reach: Reach,
    /// The folders that the user named, by their true names.
    named: &'a [PathBuf],
}

impl Chain<'_> {
    const fn of(reach: Reach) -> Self {
        Self {
            files: Vec::new(),
            reach,
            named: &[],
        }
    }
}

fn chained(path: &Path, chain: &mut Chain<'_>) -> Result<Style, StyleError> {
    let fails = |message: String| StyleError {
        mistakes: vec![
            Problem::whole(path, message)
                .help("name a house style file, or one of the styles chart, homework and choir"),
        ],
        files: Vec::new(),
    };
    let bytes = disk::read(path, LARGEST).map_err(|error| fails(error.to_string()))?;
    let text = String::from_utf8(bytes)
        .map_err(|_| fails("the house style is not text in UTF-8; save it as UTF-8".to_owned()))?;
    chain.files.push(path.to_owned());
    laid(path, &text, chain).map_err(|mut error| {
        if !may_be_shown(path) {
            error.mistakes.retain(|mistake| mistake.path != path);
            error.mistakes.insert(0, not_shown(path));
        }
        error
    })
}

/// Whether lines of a file may stand in a message: by its true name it is a style. Else it may be anything
/// that a link or an `extends` leads to.
fn may_be_shown(path: &Path) -> bool {
    let name = disk::true_name(path);
    let ending = name.as_deref().unwrap_or(path).extension();
    ending.is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
}

fn not_shown(path: &Path) -> Problem {
    let message = "this is not a house style, or one with mistakes; none of its lines are shown, since its \
                   name does not end in .toml";
    Problem::whole(path, message).help("give a house style a name that ends in .toml")
}

/// Lays the text over the style it extends.
fn laid(path: &Path, text: &str, chain: &mut Chain<'_>) -> Result<Style, StyleError> {
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
        reach: &chain.reach,
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
    chain: &mut Chain<'_>,
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
    if chain.files.iter().any(|p| same(p, &path)) || chain.files.len() >= LONGEST_CHAIN {
        style_file.wrong(
            at.clone(),
            format!("`{base}` extends this file in turn: neither comes first"),
            "let one of them extend chart, homework or choir",
        );
        return Err(Vec::new());
    }
    if !disk::is_no_folder(&path) {
        style_file.wrong(
            at.clone(),
            format!("there is no file {}", path.display()),
            "write the path from the folder of this file, or one of chart, homework and choir",
        );
        return Err(Vec::new());
    }
    let Some(folder) = chain.reach.left_by(&path) else {
        return chained(&path, chain).map_err(|e| e.mistakes);
    };
    // A style further up would hold here if this one were not: it may be extended, as far as it leads itself.
    if let Some(above) = disk::true_name(&path).filter(|above| holds_below(above, folder)) {
        let own = std::mem::replace(&mut chain.reach, Reach::of_found(&above, chain.named));
        let style = chained(&path, chain).map_err(|e| e.mistakes);
        chain.reach = own;
        return style;
    }
    style_file.wrong(
        at.clone(),
        format!("`{base}` leads out of {}", folder.display()),
        format!(
            "copy the file there, or name this style: --style {}",
            style_file.path.display()
        ),
    );
    Err(Vec::new())
}

/// Whether a file is a house style that is found on the way up from a folder.
fn holds_below(style: &Path, folder: &Path) -> bool {
    let ending = style.file_name().is_some_and(|name| name == FILE_NAME);
    ending
        && style
            .parent()
            .is_some_and(|above| folder.starts_with(above))
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
        assert!(refused(&path).contains("at most 4194304 are read"));
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
