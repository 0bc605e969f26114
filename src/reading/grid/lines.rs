//! The text as lines: headers and systems of rows, every piece with its bytes.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

use crate::ground::text::LONGEST_WORD;
use crate::reading::fault::{Fault, Parsed};
use crate::reading::waiver;
use std::ops::Range;

/// A piece of the text with its place.
#[derive(Clone, Debug)]
pub(super) struct TextPiece {
    pub(super) text: String,
    pub(super) at: Range<usize>,
}

/// A header line.
#[derive(Clone, Debug)]
pub(super) enum Header {
    Title(TextPiece),
    Key(TextPiece),
    Meter(TextPiece),
    Pitch(TextPiece),
    Section(TextPiece),
    Technique(TextPiece),
    Bar(TextPiece),
    /// A part's label and instrument.
    Part(TextPiece, TextPiece),
}

/// The cells of one bar of a row.
#[derive(Clone, Debug)]
pub(super) struct RowBar {
    pub(super) cells: Vec<TextPiece>,
    pub(super) at: Range<usize>,
    pub(super) double: bool,
}

#[derive(Clone, Debug)]
pub(super) struct Row {
    pub(super) label: TextPiece,
    pub(super) bars: Vec<RowBar>,
}

#[derive(Debug)]
pub(super) enum Block {
    Header(Header),
    System(Vec<Row>),
}

const HEADERS: [&str; 8] = [
    "title",
    "key",
    "meter",
    "pitch",
    "section",
    "technique",
    "parts",
    "bar",
];

pub(super) fn read(text: &str) -> Parsed<Vec<Block>> {
    let mut blocks: Vec<Block> = Vec::new();
    let mut rows: Vec<Row> = Vec::new();
    let mut in_parts = false;
    let mut start = text.len() - text.trim_start_matches('\u{feff}').len();
    for raw in text.get(start..).unwrap_or_default().split_inclusive('\n') {
        let line = raw.trim_end_matches(['\n', '\r']);
        let at = start;
        start += raw.len();
        let code = line.split(';').next().unwrap_or_default();
        if code.trim().is_empty() {
            // A line that only holds a comment does not end a system.
            if line.trim().is_empty() {
                flush(&mut blocks, &mut rows);
            }
            continue;
        }
        if code.contains('|') {
            in_parts = false;
            rows.push(row(code, at));
            continue;
        }
        flush(&mut blocks, &mut rows);
        let name = code.split(':').next().unwrap_or_default();
        if in_parts && code.contains('=') && !code.contains(':') {
            blocks.push(Block::Header(part(code, at)?));
            continue;
        }
        if !code.contains(':') {
            return Err(Fault::new(
                trimmed(code, at).at,
                format!("`{}` is neither a header line nor a row", code.trim()),
            )
            .help("a header is `name: value`; a row has bars between `|`"));
        }
        let value = trimmed(
            code.get(name.len() + 1..).unwrap_or_default(),
            at + name.len() + 1,
        );
        let word = name.trim().to_lowercase();
        in_parts = word == "parts";
        blocks.push(Block::Header(match word.as_str() {
            "title" => Header::Title(value),
            "key" => Header::Key(value),
            "meter" | "time" => Header::Meter(value),
            "pitch" => Header::Pitch(value),
            "section" => Header::Section(value),
            "technique" => Header::Technique(value),
            "bar" => Header::Bar(value),
            "parts" if value.text.is_empty() => continue,
            "parts" => part(&value.text, value.at.start)?,
            _ => {
                let fault = Fault::new(
                    trimmed(name, at).at,
                    format!("`{}` is not a header of a passage", name.trim()),
                );
                return Err(match nearest(&word, HEADERS) {
                    Some(known) => fault.help(format!("did you mean `{known}`?")),
                    None => fault.help(format!("the headers are {}", HEADERS.join(", "))),
                });
            }
        }));
    }
    flush(&mut blocks, &mut rows);
    Ok(blocks)
}

/// A comment that begins with the mark of a waiver.
pub(super) struct Comment {
    /// What follows the mark.
    pub(super) text: String,
    /// The bytes of the comment.
    pub(super) at: Range<usize>,
    /// 0-based system it stands in, or before which it stands.
    pub(super) system: usize,
    /// The label of the row it ends.
    pub(super) row: Option<String>,
}

/// The waivers among the comments of a text that can be read.
pub(super) fn waivers(text: &str) -> Vec<Comment> {
    let mut found = Vec::new();
    let (mut system, mut open, mut start) = (0, false, 0);
    for raw in text.split_inclusive('\n') {
        let at = start;
        start += raw.len();
        let line = raw.trim_end_matches(['\n', '\r']);
        let (code, comment) = line.split_once(';').unwrap_or((line, ""));
        let is_row = code.contains('|');
        // As `read` has it: a blank line or a header ends a system, a comment does not.
        if is_row {
            open = true;
        } else if open && (line.trim().is_empty() || !code.trim().is_empty()) {
            system += 1;
            open = false;
        }
        if let Some(words) = waiver::marked(comment) {
            found.push(Comment {
                text: words.to_owned(),
                at: at + code.len()..at + line.len(),
                system,
                row: is_row.then(|| code.split('|').next().unwrap_or_default().trim().to_owned()),
            });
        }
    }
    found
}

fn flush(blocks: &mut Vec<Block>, rows: &mut Vec<Row>) {
    if !rows.is_empty() {
        blocks.push(Block::System(std::mem::take(rows)));
    }
}

/// The text without the blanks around it, and where that is.
fn trimmed(text: &str, at: usize) -> TextPiece {
    let start = at + text.len() - text.trim_start().len();
    let text = text.trim();
    TextPiece {
        text: text.to_owned(),
        at: start..start + text.len(),
    }
}

fn part(text: &str, at: usize) -> Parsed<Header> {
    let Some((label, instrument)) = text.split_once('=') else {
        return Err(Fault::new(
            trimmed(text, at).at,
            format!("`{}` does not say which instrument it is", text.trim()),
        )
        .help("write `name = instrument`, such as `alto 1 = alto saxophone`"));
    };
    Ok(Header::Part(
        trimmed(label, at),
        trimmed(instrument, at + label.len() + 1),
    ))
}

fn row(code: &str, at: usize) -> Row {
    let mut fields = code.split('|');
    let label = fields.next().unwrap_or_default();
    let mut bars: Vec<RowBar> = Vec::new();
    let mut start = at + label.len() + 1;
    let mut rest = fields.peekable();
    while let Some(field) = rest.next() {
        let here = start;
        start += field.len() + 1;
        if field.trim().is_empty() {
            if rest.peek().is_none() {
                break; // after the last bar line
            }
            if field.is_empty()
                && let Some(bar) = bars.last_mut()
            {
                bar.double = true;
                continue;
            }
        }
        let inside = trimmed(field, here);
        bars.push(RowBar {
            cells: words(field, here),
            at: if inside.text.is_empty() {
                here..here + field.len().max(1)
            } else {
                inside.at
            },
            double: false,
        });
    }
    // `||` at the very end leaves one empty field between the two lines.
    if code.trim_end().ends_with("||")
        && let Some(bar) = bars.last_mut()
    {
        bar.double = true;
    }
    Row {
        label: trimmed(label, at),
        bars,
    }
}

fn words(field: &str, at: usize) -> Vec<TextPiece> {
    let mut out = Vec::new();
    let mut offset = 0;
    for chunk in field.split_inclusive(char::is_whitespace) {
        let word = chunk.trim();
        if !word.is_empty() {
            out.push(TextPiece {
                text: word.to_owned(),
                at: at + offset..at + offset + word.len(),
            });
        }
        offset += chunk.len();
    }
    out
}

/// The nearest of some known words, when one is near.
pub(super) fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let short = |word: &str| word.chars().nth(LONGEST_WORD).is_none();
    known
        .into_iter()
        .filter(|k| short(word) && short(k))
        .map(|k| {
            (
                strsim::damerau_levenshtein(&word.to_lowercase(), &k.to_lowercase()),
                k,
            )
        })
        .filter(|(d, k)| *d * 2 <= k.chars().count().max(3))
        .min()
        .map(|(_, k)| k)
}
