//! Edits applied to a text and to the file it came from.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

use super::{Edit, EditError};
use crate::reading::container::{self, ContainerError};
use crate::reading::{Limits, encoding};
use crate::score::Source;
use std::ops::Range;

/// The text with the edits made. They may come in any order; equal ones count once, and one that
/// overlaps an earlier one or reaches out of the text is left out.
pub fn apply(text: &str, edits: &[&Edit]) -> String {
    let (pieces, _) = pieces(text, edits);
    let mut out = String::with_capacity(text.len() + 16 * pieces.len());
    let mut done = 0;
    for (at, new) in pieces {
        out.push_str(text.get(done..at.start).unwrap_or_default());
        out.push_str(new);
        done = at.end;
    }
    out.push_str(text.get(done..).unwrap_or_default());
    out
}

/// The pieces that can be replaced, in order, and the first place of one that cannot.
fn pieces<'a>(text: &str, edits: &[&'a Edit]) -> (Vec<(Range<usize>, &'a str)>, Option<u32>) {
    let mut sorted: Vec<&Edit> = edits.to_vec();
    sorted.sort();
    sorted.dedup();
    let mut out: Vec<(Range<usize>, &str)> = Vec::with_capacity(sorted.len());
    let mut conflict = None;
    for edit in sorted {
        let at = edit.start as usize..edit.end as usize;
        let free = match out.last() {
            // Two insertions at one place are two wishes for the same bytes.
            Some((last, _)) => at.start > last.end || at.start == last.end && !at.is_empty(),
            None => true,
        };
        if free && text.get(at.clone()).is_some() {
            out.push((at, &edit.replacement));
        } else {
            conflict = conflict.or(Some(edit.start));
        }
    }
    (out, conflict)
}

/// The whole new file from the bytes of the file as it is: the same encoding, byte order mark and
/// line ends; in a container only the score's own entry is written anew. Without edits these are
/// the very bytes.
pub fn apply_to_file(
    bytes: impl Into<Vec<u8>>,
    source: &Source,
    edits: &[&Edit],
) -> Result<Vec<u8>, EditError> {
    let bytes = bytes.into();
    let changed = || EditError::Changed(source.path.clone());
    let Some(member) = &source.member else {
        return apply_to_text(bytes, source, edits);
    };
    // It was read once, within whatever limits: what is larger now is not what was read.
    let limits = Limits {
        unpacked: (source.text.len() as u64)
            .saturating_mul(3)
            .saturating_add(16),
        ratio: u64::MAX,
        ..Limits::USUAL
    };
    let (name, inner) = match container::open_within(&bytes, &limits) {
        Err(ContainerError::TooLarge { .. }) => return Err(changed()),
        other => other?,
    };
    if name != *member {
        return Err(changed());
    }
    if edits.is_empty() {
        as_it_was_read(&inner, source)?;
        return Ok(bytes);
    }
    let new = apply_to_text(inner, source, edits)?;
    Ok(container::replace(&bytes, member, &new)?)
}

/// Makes sure that a file has not changed since.
fn as_it_was_read(bytes: &[u8], source: &Source) -> Result<(), EditError> {
    match encoding::decode(bytes) {
        Ok(text) if *text == *source.text => Ok(()),
        // What does not decode now is not what was read.
        _ => Err(EditError::Changed(source.path.clone())),
    }
}

fn apply_to_text(bytes: Vec<u8>, source: &Source, edits: &[&Edit]) -> Result<Vec<u8>, EditError> {
    as_it_was_read(&bytes, source)?;
    let (pieces, conflict) = pieces(&source.text, edits);
    if let Some(at) = conflict {
        let (line, column) = source.line_column(at);
        return Err(EditError::Conflict {
            path: source.path.clone(),
            line,
            column,
        });
    }
    Ok(encoding::splice(bytes, &source.text, &pieces)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::Format;
    use std::io::{Cursor, Read, Write};
    use zip::write::SimpleFileOptions;
    use zip::{CompressionMethod, DateTime, ZipArchive, ZipWriter};

    fn edit(start: u32, end: u32, replacement: &str) -> Edit {
        Edit {
            source: 0,
            start,
            end,
            replacement: replacement.to_owned(),
        }
    }

    fn source(text: &str, member: Option<&str>) -> Source {
        Source {
            path: "a.mxl".into(),
            member: member.map(str::to_owned),
            format: Format::MusicXml,
            lines: std::sync::OnceLock::new(),
            text: text.into(),
        }
    }

    #[test]
    fn edits_apply_in_any_order_and_only_once() {
        let (a, b, c) = (edit(0, 1, "X"), edit(1, 2, ""), edit(3, 3, "__"));
        assert_eq!(apply("abcé", &[&c, &a, &b, &a]), "Xc__é");
        let overlapping = edit(0, 2, "?");
        assert_eq!(apply("abcé", &[&a, &overlapping]), "Xbcé");
        assert_eq!(
            apply("abcé", &[&edit(4, 5, "?")]),
            "abcé",
            "inside a character"
        );
        assert_eq!(apply("abcé", &[&edit(9, 12, "?")]), "abcé");
        let s = source("abcé", None);
        assert!(matches!(
            apply_to_file("abcé".as_bytes(), &s, &[&a, &overlapping]),
            Err(EditError::Conflict {
                line: 1,
                column: 1,
                ..
            })
        ));
    }

    #[test]
    fn a_file_that_changed_meanwhile_is_refused() {
        let s = source("<a>x</a>", None);
        let e = edit(3, 4, "y");
        assert_eq!(apply_to_file(b"<a>x</a>", &s, &[&e]).unwrap(), b"<a>y</a>");
        for bytes in [&b"<a>z</a>"[..], b"", b"\xFF\xFF", b"PK\x03\x04"] {
            let error = apply_to_file(bytes, &s, &[&e]).unwrap_err();
            assert_eq!(error, EditError::Changed("a.mxl".into()));
        }
        assert!(apply_to_file(b"<a>z</a>", &s, &[]).is_err());
    }

    #[test]
    fn in_a_container_only_the_score_is_written_anew() {
        let stamp = DateTime::from_date_and_time(2001, 2, 3, 4, 5, 6).unwrap();
        let packed = SimpleFileOptions::default().last_modified_time(stamp);
        let stored = packed.compression_method(CompressionMethod::Stored);
        let contents =
            "<container><rootfiles><rootfile full-path='s/a.xml'/></rootfiles></container>";
        let picture: Vec<u8> = (0..=255u8).cycle().take(5000).collect();
        let build = |method: SimpleFileOptions| {
            let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
            for (name, bytes, options) in [
                (
                    "mimetype",
                    &b"application/vnd.recordare.musicxml"[..],
                    stored,
                ),
                ("META-INF/container.xml", contents.as_bytes(), packed),
                ("s/a.xml", b"<a>xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx</a>", method),
                ("picture.png", &picture, packed),
            ] {
                zip.start_file(name, options).unwrap();
                zip.write_all(bytes).unwrap();
            }
            zip.set_comment("kept").unwrap();
            zip.finish().unwrap().into_inner()
        };
        for method in [stored, packed] {
            let bytes = build(method);
            let (member, text) = container::open(&bytes).unwrap();
            let s = source(std::str::from_utf8(&text).unwrap(), Some(&member));
            assert_eq!(apply_to_file(bytes.clone(), &s, &[]).unwrap(), bytes);
            let new = apply_to_file(bytes.clone(), &s, &[&edit(3, 4, "yz")]).unwrap();
            let (_, inner) = container::open(&new).unwrap();
            assert_eq!(inner, b"<a>yzxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx</a>");
            let mut before = ZipArchive::new(Cursor::new(&bytes[..])).unwrap();
            let mut after = ZipArchive::new(Cursor::new(&new[..])).unwrap();
            assert_eq!(after.comment(), b"kept");
            assert_eq!(before.len(), after.len());
            for i in 0..before.len() {
                let mut old = before.by_index_raw(i).unwrap();
                let mut new = after.by_index_raw(i).unwrap();
                assert_eq!(old.name().unwrap(), new.name().unwrap());
                assert_eq!(old.compression(), new.compression());
                assert_eq!(old.last_modified(), new.last_modified());
                assert_eq!(old.unix_mode(), new.unix_mode());
                if old.name().unwrap() != "s/a.xml" {
                    let (mut a, mut b) = (Vec::new(), Vec::new());
                    old.read_to_end(&mut a).unwrap();
                    new.read_to_end(&mut b).unwrap();
                    assert_eq!(a, b);
                }
            }
            let other = source("<a>", Some("elsewhere.xml"));
            assert!(apply_to_file(bytes.clone(), &other, &[]).is_err());
        }
    }
}
