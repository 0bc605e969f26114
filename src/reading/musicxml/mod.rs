//! MusicXML, partwise and timewise, to a score.
//!
//! One pass over borrowed events, without a tree: a score of twenty megabytes is read in the time
//! its bytes take to look at. The file's DOCTYPE is passed over, nothing it declares is expanded
//! and nothing is fetched. Pitches in the file are written pitch, unless it says that it is a
//! concert score; the sounding pitch is worked out by the transposition in force.

mod attributes;
mod direction;
mod document;
mod harmony;
mod measure;
mod note;
mod note_ahead;
mod note_fields;
mod octave;
mod part;
mod part_list;
mod said_symbols;
mod scale;
mod side_by_side;
mod symbol;
mod values;
mod ways;
mod xml;

#[cfg(test)]
mod tests;

#[doc(hidden)]
pub use ways::Ways;

use super::fault::Parsed;
use super::texts;
use super::waiver::{self, WaiverText};
use crate::file_text::limits::{self, Limits};
use crate::ground::problem::Problem;
use crate::ground::text::Text;
use crate::ground::threads;
use crate::score::{Format, Score, Source};
use document::Document;
use scale::Scale;
use std::path::Path;

/// The longest text that can be read, in bytes: places in it are kept in 32 bits.
const MAX_BYTES: u64 = limits::LARGEST;

/// Reads the text of a MusicXML file. `member` is the entry's name when the text comes out of a
/// container.
#[cfg(any(test, feature = "inside"))]
pub fn read(path: &Path, member: Option<String>, text: Text) -> Result<Score, Problem> {
    read_within(path, member, text, Limits::USUAL)
}

/// The same within other limits than the usual ones.
pub fn read_within(
    path: &Path,
    member: Option<String>,
    text: Text,
    limits: Limits,
) -> Result<Score, Problem> {
    let ways = Ways {
        side_by_side: text.len() >= side_by_side::LEAST && threads::count() > 1,
        ..Ways::QUICK
    };
    read_in(ways, path, member, text, limits)
}

/// The same in these ways: the outcome does not depend on them, only the time does.
#[doc(hidden)]
pub fn read_in(
    ways: Ways,
    path: &Path,
    member: Option<String>,
    text: Text,
    limits: Limits,
) -> Result<Score, Problem> {
    if text.len() as u64 > MAX_BYTES {
        return Err(Problem::whole(
            path,
            format!(
                "the text is {} bytes long; at most {MAX_BYTES} can be read",
                text.len()
            ),
        ));
    }
    let (mut score, mut said) =
        document(&text, limits, ways).map_err(|fault| fault.in_file(path, &text))?;
    texts::cut(&mut score, &mut said);
    score.sources.push(Source {
        path: path.to_owned(),
        member,
        format: Format::MusicXml,
        lines: std::sync::OnceLock::new(),
        text,
    });
    score.lay_out();
    waiver::put(&mut score, said);
    Ok(score)
}

fn document(text: &str, limits: Limits, ways: Ways) -> Parsed<(Score, Vec<WaiverText>)> {
    let scale = Scale::of(text)?;
    let (score, said, scale) = Document::new(scale, ways).read(text, limits)?;
    // Some duration fell between two ticks: once more, on ticks fine enough for all of them.
    match scale.refined()? {
        None => Ok((score, said)),
        Some(finer) => {
            let (score, said, _) = Document::new(finer, ways).read(text, limits)?;
            Ok((score, said))
        }
    }
}
