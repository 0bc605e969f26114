//! Bytes to a score: a container, MusicXML or a passage grid, by what is in them.

use super::{grid, musicxml};
use crate::file_text::limits::Limits;
use crate::file_text::{container, encoding};
use crate::ground::instrument::{self, Catalogue};
use crate::ground::problem::Problem;
use crate::ground::text::Text;
use crate::score::Score;
use bytes::Bytes;
use std::borrow::Cow;
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
    let bytes = bytes.into();
    match content(path, bytes.clone(), limits)? {
        Content::MusicXml(member, text) => {
            let fault = member
                .as_ref()
                .and_then(|_| container::fault_of_contents(&bytes, limits));
            drop(bytes);
            let mut score = musicxml::read_within(path, member, text, *limits)?;
            score.spoiled_contents = fault.map(|f| f.to_string());
            Ok(score)
        }
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

/// How many bytes tell the kind of a file.
pub const HEAD: u64 = 64 << 10;

/// What a file is by its first bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A zip container.
    Container,
    /// XML whose root element is a score's.
    MusicXml,
    /// A text that is not XML, perhaps a grid.
    Text,
}

/// The kind of a file by its first bytes, [`HEAD`] of them; `None` when it is no score of any kind.
pub fn kind(path: &Path, head: &[u8]) -> Option<Kind> {
    let is_mxl = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("mxl"));
    if head.starts_with(b"PK\x03\x04") || is_mxl && !looks_like_text(head) {
        return Some(Kind::Container);
    }
    let text = decode_head(head)?;
    if !text
        .trim_start_matches('\u{feff}')
        .trim_start()
        .starts_with('<')
    {
        return Some(Kind::Text);
    }
    root(&text)
        .is_some_and(|r| r.starts_with("<score-"))
        .then_some(Kind::MusicXml)
}

/// Well-formed enough to show a root element, and it is not a score's.
pub(super) fn is_other_xml(bytes: &[u8]) -> bool {
    let head = bytes.get(..bytes.len().min(HEAD as usize)).unwrap_or(bytes);
    let text = decode_head(head).unwrap_or_default();
    root(&text).is_some_and(|root| !root.starts_with("<score-"))
}

/// The text of the first bytes of a file; they may end within a character.
fn decode_head(head: &[u8]) -> Option<Cow<'_, str>> {
    let cuts = (0..4).filter_map(|cut| head.get(..head.len().checked_sub(cut)?));
    cuts.filter(|head| !head.is_empty())
        .find_map(|head| encoding::decode(head).ok())
}

/// The text from the root element of XML on, behind comments, instructions and the document type.
fn root(text: &str) -> Option<&str> {
    let mut rest = text;
    while let Some(start) = rest.find('<') {
        rest = rest.get(start..)?;
        if let Some(after) = rest.strip_prefix("<!--") {
            rest = after.get(after.find("-->")?..)?;
        } else if rest.starts_with("<?") || rest.starts_with("<!") {
            rest = rest.get(2..)?;
        } else {
            return Some(rest);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kind_of_a_file_shows_in_its_first_bytes() {
        let of = |name: &str, head: &[u8]| kind(Path::new(name), head);
        let score = "<?xml version='1.0'?><!-- a --><!DOCTYPE x><score-partwise>";
        assert_eq!(of("a.xml", score.as_bytes()), Some(Kind::MusicXml));
        assert_eq!(of("a.xml", b"<project/>"), None);
        assert_eq!(of("a.mxl", b"PK\x03\x04"), Some(Kind::Container));
        assert_eq!(of("a.passage", b"count | 1 |"), Some(Kind::Text));
        assert_eq!(of("a.passage", b"\0\x01\x02"), None);
        // Cut within a character.
        let cut = format!("{score}é");
        let cut = cut.as_bytes().split_last().unwrap().1;
        assert_eq!(of("a.xml", cut), Some(Kind::MusicXml));
    }
}
