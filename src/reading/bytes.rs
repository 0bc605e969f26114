//! Bytes to a score: a container, MusicXML or a passage grid, by what is in them.

use super::{grid, musicxml};
use crate::file_text::limits::Limits;
use crate::file_text::{container, encoding};
use crate::ground::instrument::{self, Catalogue};
use crate::ground::problem::Problem;
use crate::ground::text::Text;
use crate::score::Score;
use bytes::Bytes;
use std::path::Path;

const ENDINGS: [&str; 4] = ["musicxml", "xml", "mxl", "passage"];

/// Whether a file's name ends as that of a score does.
pub fn may_be_score(path: &Path) -> bool {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    ending.is_some_and(|e| ENDINGS.contains(&e.as_str()))
}

/// The text of a score, and what it is written in.
enum Content {
    /// With the entry's name, when the text comes out of a container.
    MusicXml(Option<String>, Text),
    Grid(Text),
}

/// Reads a score from its bytes: a container, MusicXML, or a passage grid, by what is in it.
pub fn read_bytes(path: &Path, bytes: impl Into<Vec<u8>>) -> Result<Score, Problem> {
    let bytes: Vec<u8> = bytes.into();
    read_bytes_by(path, bytes, instrument::catalogue(), &Limits::USUAL)
}

/// The same with other instruments than the shipped ones, within these limits.
pub fn read_bytes_by(
    path: &Path,
    bytes: impl Into<Bytes>,
    instruments: &'static Catalogue,
    limits: &Limits,
) -> Result<Score, Problem> {
    match content(path, bytes.into(), limits)? {
        Content::MusicXml(member, text) => musicxml::read_within(path, member, text, *limits),
        Content::Grid(text) => grid::read_by(path, text, instruments, limits),
    }
}

/// The same as [`read_bytes`], MusicXML read in these ways. For tests: the score does not depend on them.
#[doc(hidden)]
#[cfg(any(test, feature = "inside"))]
pub fn read_bytes_in(
    ways: musicxml::Ways,
    path: &Path,
    bytes: impl Into<Vec<u8>>,
) -> Result<Score, Problem> {
    let bytes: Vec<u8> = bytes.into();
    match content(path, bytes.into(), &Limits::USUAL)? {
        Content::MusicXml(member, text) => {
            musicxml::read_in(ways, path, member, text, Limits::USUAL)
        }
        Content::Grid(text) => grid::read_by(path, text, instrument::catalogue(), &Limits::USUAL),
    }
}

/// The text in a file's bytes.
fn content(path: &Path, bytes: Bytes, limits: &Limits) -> Result<Content, Problem> {
    if bytes.is_empty() {
        return Err(Problem::whole(path, "the file is empty"));
    }
    let ending = |e: &str| path.extension().is_some_and(|x| x.eq_ignore_ascii_case(e));
    if bytes.starts_with(b"PK\x03\x04")
        || bytes.starts_with(b"PK\x05\x06")
        || ending("mxl") && !looks_like_text(&bytes)
    {
        let (member, bytes) = container::open_within(&bytes, limits)
            .map_err(|e| Problem::whole(path, e.to_string()))?;
        let text = decode(path, bytes.into())?;
        return Ok(Content::MusicXml(Some(member), text));
    }
    let text = decode(path, bytes)?;
    let is_xml = text
        .trim_start_matches('\u{feff}')
        .trim_start()
        .starts_with('<');
    if is_xml || ending("musicxml") || ending("xml") || ending("mxl") {
        Ok(Content::MusicXml(None, text))
    } else {
        Ok(Content::Grid(text))
    }
}

fn looks_like_text(bytes: &[u8]) -> bool {
    bytes.iter().take(512).all(|b| *b != 0)
        && bytes.iter().find(|b| !b.is_ascii_whitespace()) == Some(&b'<')
}

fn decode(path: &Path, bytes: Bytes) -> Result<Text, Problem> {
    encoding::decode_whole(bytes)
        .map(Text::from)
        .map_err(|error| Problem::whole(path, error.to_string()))
}

/// Well-formed enough to show a root element, and it is not a score's.
pub(super) fn is_other_xml(bytes: &[u8]) -> bool {
    let head = bytes.get(..bytes.len().min(64 << 10)).unwrap_or(bytes);
    let Ok(text) = encoding::decode(head) else {
        return false;
    };
    let mut rest: &str = &text;
    while let Some(start) = rest.find('<') {
        rest = rest.get(start..).unwrap_or_default();
        if let Some(after) = rest.strip_prefix("<!--") {
            let Some(end) = after.find("-->") else {
                return false;
            };
            rest = after.get(end..).unwrap_or_default();
        } else if rest.starts_with("<?") || rest.starts_with("<!") {
            rest = rest.get(2..).unwrap_or_default();
        } else {
            return !rest.starts_with("<score-");
        }
    }
    false
}
