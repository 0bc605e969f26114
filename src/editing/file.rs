//! Edits applied to a text and to the file it came from.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

use super::EditError;
use crate::file_text::container::{self, ContainerError};
use crate::file_text::limits;
use crate::file_text::{Limits, encoding};
use crate::ground::text::Edit;
use crate::score::Source;
use std::borrow::Cow;
use std::io::{Cursor, Read, Seek};
use std::ops::Range;

/// The text with the edits made. They may come in any order; equal ones count once, and one that
/// overlaps an earlier one or reaches out of the text is left out.
#[cfg(any(test, feature = "inside"))]
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

/// How a file holds the text of its source, and whatever else a copy of it needs. The text itself is
/// the score's: a copy of it would be much of what a large score takes.
pub struct Original {
    /// The bytes of the container that the text is packed in.
    packed: Option<Vec<u8>>,
    form: TextForm,
}

enum TextForm {
    /// As it is, after this byte order mark (or an empty one).
    Verbatim(&'static [u8]),
    /// In the encoding of these bytes.
    Encoded(Vec<u8>),
}

impl Original {
    /// Looks at a file again; refuses one that is not what was read any more.
    pub fn of(mut file: impl Read + Seek, source: &Source) -> Result<Self, EditError> {
        let unread = |e: std::io::Error| EditError::Unread(e.to_string());
        let text = &*source.text;
        if source.member.is_none()
            && let Some(mark) = encoding::verbatim(&mut file, text).map_err(unread)?
        {
            return Ok(Self {
                packed: None,
                form: TextForm::Verbatim(mark),
            });
        }
        file.rewind().map_err(unread)?;
        // What was read has an end, and no encoding takes more than four bytes for a character; what has
        // more is another file by now.
        let most = match source.member {
            None => (text.len() as u64).saturating_mul(4).saturating_add(16),
            Some(_) => limits::LARGEST,
        };
        let mut bytes = Vec::new();
        file.take(most).read_to_end(&mut bytes).map_err(unread)?;
        let Some(member) = &source.member else {
            as_it_was_read(&bytes, source)?;
            return Ok(Self {
                packed: None,
                form: TextForm::Encoded(bytes),
            });
        };
        let form = match container::verbatim(&bytes, member, text) {
            Some(mark) => TextForm::Verbatim(mark),
            None => TextForm::Encoded(unpacked(&bytes, member, source)?),
        };
        Ok(Self {
            packed: Some(bytes),
            form,
        })
    }

    /// The whole new file: the same encoding, byte order mark and line ends; in a container only the
    /// score's own entry is rewritten. Without edits these are the very bytes.
    pub fn edited<'a>(
        self,
        source: &'a Source,
        edits: &[&'a Edit],
    ) -> Result<Edited<'a>, EditError> {
        let packed = match self.packed {
            Some(packed) if edits.is_empty() => return Ok(Edited::from(packed)),
            packed => packed,
        };
        let (pieces, conflict) = pieces(&source.text, edits);
        if let Some(at) = conflict {
            let (line, column) = source.line_column(at);
            return Err(EditError::Conflict {
                path: source.path.clone(),
                line,
                column,
            });
        }
        let new = match self.form {
            TextForm::Verbatim(mark) => Edited::woven(mark, &source.text, pieces),
            TextForm::Encoded(bytes) => encoding::splice(bytes, &source.text, &pieces)?.into(),
        };
        Ok(match packed.zip(source.member.as_ref()) {
            Some((packed, member)) => container::replace(&packed, member, new.pieces())?.into(),
            None => new,
        })
    }
}

/// The bytes of a new file, mostly pieces of what is in memory anyhow.
pub struct Edited<'a>(Vec<Cow<'a, [u8]>>);

impl<'a> Edited<'a> {
    fn woven(mark: &'static [u8], text: &'a str, edits: Vec<(Range<usize>, &'a str)>) -> Self {
        let text = text.as_bytes();
        let mut all = Vec::with_capacity(2 * edits.len() + 2);
        all.push(mark);
        let mut done = 0;
        for (at, new) in edits {
            all.push(text.get(done..at.start).unwrap_or_default());
            all.push(new.as_bytes());
            done = at.end;
        }
        all.push(text.get(done..).unwrap_or_default());
        Self(all.into_iter().map(Cow::Borrowed).collect())
    }

    /// Piece by piece, in order.
    pub fn pieces(&self) -> impl Iterator<Item = &[u8]> {
        self.0.iter().map(AsRef::as_ref)
    }
}

impl From<Vec<u8>> for Edited<'_> {
    fn from(whole: Vec<u8>) -> Self {
        Self(vec![Cow::Owned(whole)])
    }
}

/// The whole new file from the bytes of the file as it is: see [`Original`].
pub fn apply_to_file(
    bytes: impl AsRef<[u8]>,
    source: &Source,
    edits: &[&Edit],
) -> Result<Vec<u8>, EditError> {
    let original = Original::of(Cursor::new(bytes), source)?;
    Ok(original.edited(source, edits)?.0.concat())
}

/// The bytes of a score in a container, which are not its text.
fn unpacked(bytes: &[u8], member: &str, source: &Source) -> Result<Vec<u8>, EditError> {
    let changed = || EditError::Changed(source.path.clone());
    // It was read once, within whatever limits: what is larger now is not what was read.
    let limits = Limits {
        unpacked: (source.text.len() as u64)
            .saturating_mul(3)
            .saturating_add(16),
        ratio: u64::MAX,
        ..Limits::USUAL
    };
    let (name, inner) = match container::open_within(bytes, &limits) {
        Err(ContainerError::TooLarge { .. }) => return Err(changed()),
        other => other?,
    };
    if name != member {
        return Err(changed());
    }
    as_it_was_read(&inner, source)?;
    Ok(inner)
}

/// Makes sure that a file has not changed since.
fn as_it_was_read(bytes: &[u8], source: &Source) -> Result<(), EditError> {
    match encoding::decode(bytes) {
        Ok(text) if *text == *source.text => Ok(()),
        // What does not decode now is not what was read.
        _ => Err(EditError::Changed(source.path.clone())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::Format;
    use std::io::Write;
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
    fn a_file_that_changed_between_reading_and_writing_is_refused_in_every_form() {
        type InForm = fn(&str) -> Vec<u8>;
        let text = format!("<a>x{}</a>", " ".repeat(40_000));
        let utf16 = |text: &str| {
            let units = format!("\u{feff}{text}");
            units.encode_utf16().flat_map(u16::to_le_bytes).collect()
        };
        let latin1 = |text: &str| {
            let declared = format!("<?xml version='1.0' encoding='latin1'?>{text}");
            declared.into_bytes()
        };
        let plain = |text: &str| text.as_bytes().to_vec();
        let marked = |text: &str| format!("\u{feff}{text}").into_bytes();
        let file = tempfile::NamedTempFile::new().unwrap();
        let forms: [(&str, InForm); 4] = [
            ("plain", plain),
            ("marked", marked),
            ("UTF-16", utf16),
            ("Latin-1", latin1),
        ];
        for (form, of) in forms {
            let read = encoding::decode_whole(of(&text).into()).unwrap();
            let at = read.find(">x").unwrap() as u32 + 1;
            let (s, e) = (source(&read, None), edit(at, at + 1, "yy"));
            let again = |bytes: Vec<u8>| {
                std::fs::write(file.path(), bytes).unwrap();
                Original::of(std::fs::File::open(file.path()).unwrap(), &s)
            };
            let new = again(of(&text)).unwrap();
            let new = new.edited(&s, &[&e]).unwrap();
            let new = new.pieces().collect::<Vec<_>>().concat();
            assert!(new == of(&text.replace('x', "yy")), "{form}");
            let last = text.len() - 5;
            for other in [
                text.replace('x', "z"),
                format!("{}z</a>", &text[..last]),
                format!("{text} "),
                text[..last].to_owned(),
                String::new(),
            ] {
                let refused = again(of(&other)).err();
                assert_eq!(refused, Some(EditError::Changed("a.mxl".into())), "{form}");
            }
        }
    }

    #[test]
    fn a_copy_in_pieces_is_the_spliced_one() {
        let text = "é<b>𝄪</b>";
        let places: Vec<u32> = (0..=text.len() as u32)
            .filter(|&at| text.is_char_boundary(at as usize))
            .collect();
        let mut edits = Vec::new();
        for (i, &start) in places.iter().enumerate() {
            for &end in &places[i..] {
                edits.extend(["", "♭"].map(|new| edit(start, end, new)));
            }
        }
        let s = source(text, None);
        for mark in ["", "\u{feff}"] {
            let file = format!("{mark}{text}").into_bytes();
            for one in &edits {
                for two in &edits {
                    let both = [one, two];
                    let (ranges, conflict) = pieces(text, &both);
                    let whole = encoding::splice(file.clone(), text, &ranges).unwrap();
                    let copy = apply_to_file(&file, &s, &both);
                    match conflict {
                        None => assert_eq!(copy, Ok(whole), "{both:?}"),
                        Some(_) => assert!(matches!(copy, Err(EditError::Conflict { .. }))),
                    }
                }
            }
        }
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
            for (text, member) in [("<a>", member.as_str()), ("<a>", "elsewhere.xml")] {
                let other = source(text, Some(member));
                let refused = apply_to_file(bytes.clone(), &other, &[]);
                assert_eq!(refused, Err(EditError::Changed("a.mxl".into())));
            }
        }
    }
}
