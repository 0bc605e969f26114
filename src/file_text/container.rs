//! Compressed MusicXML (`.mxl`): a zip container whose table of contents names the score.

use super::encoding::{self, EncodingError};
use super::limits::{self, Limits};
use quick_xml::Reader;
use quick_xml::events::Event;
use std::borrow::Cow;
use std::io::{Cursor, Read, Write};
use zip::result::ZipError;
use zip::{ZipArchive, ZipWriter};

/// What may be unpacked whatever the ratio: small files of blanks compress extremely well.
const RATIO_FROM: u64 = 1 << 20;

/// The largest table of contents that is read, in bytes.
const MAX_CONTENTS: u64 = 1 << 20;

/// The most entries that are read: all that a container without its 64-bit extension can have.
const MOST_ENTRIES: u64 = u16::MAX as u64;

/// What the headers of a copy may take more than those of the file, in bytes.
const HEADERS: usize = 1 << 10;

const CONTENTS: &str = "META-INF/container.xml";

/// How the registered media type of uncompressed MusicXML ends.
const MEDIA_TYPE: &str = ".musicxml+xml";

/// Why a container could not be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ContainerError {
    /// The bytes are no zip container.
    #[error("the container cannot be opened ({0}): fetch or export the .mxl file again")]
    NotZip(String),
    /// The list of entries is longer than is read.
    #[error(
        "the container lists {found} entries, and at most {MOST_ENTRIES} are read: this is not an ordinary score; export the .mxl file again"
    )]
    TooMany {
        /// How many it claims to have.
        found: u64,
    },
    /// Two entries share bytes, or bytes are listed that are not there.
    #[error(
        "the container lists entries that overlap each other or reach into its list of entries, so the same bytes count twice: this is not an ordinary score; export the .mxl file again"
    )]
    Overlapping,
    /// Two entries have one name.
    #[error(
        "the container lists two entries of one name, so nobody can say which is meant: export the .mxl file again"
    )]
    SameName,
    /// A copy would be larger than the file and what is new in it.
    #[error(
        "a copy of the container would have {found} bytes, and at most {most} were expected: this is not an ordinary score; export the .mxl file again"
    )]
    Grows {
        /// The size of the copy.
        found: usize,
        /// That of the file and the new score together.
        most: usize,
    },
    /// The table of contents is missing.
    #[error(
        "the container has no {CONTENTS}, which must name its score: export the .mxl file again"
    )]
    NoContents,
    /// An entry cannot be carried over into a copy, though the score can be read.
    #[error(
        "the score can be read, but the entry `{name}` beside it cannot be copied (its remark or its fields are too long or damaged): export the .mxl file again, or as .musicxml"
    )]
    NotCopied {
        /// The entry.
        name: String,
    },
    /// The table of contents is larger than is read.
    #[error(
        "{CONTENTS} unpacks to more than {MAX_CONTENTS} bytes, the most that is read: this is not an ordinary score; export the .mxl file again"
    )]
    ContentsTooLarge,
    /// The table of contents cannot be read.
    #[error("{CONTENTS} cannot be read: {0}")]
    BadContents(String),
    /// The table of contents names no score.
    #[error("{CONTENTS} names no score: a <rootfile> with a full-path was expected")]
    NoRootfile,
    /// The name leads out of the container.
    #[error("{CONTENTS} names `{0}` as the score, which leads out of the container")]
    Outside(String),
    /// The entry that is named is missing.
    #[error("{CONTENTS} names `{0}` as the score, but the container has no such entry")]
    Missing(String),
    /// The entry cannot be unpacked.
    #[error("the entry `{name}` cannot be unpacked ({why}): fetch or export the .mxl file again")]
    Damaged {
        /// The entry.
        name: String,
        /// What went wrong.
        why: String,
    },
    /// The entry is too large when unpacked.
    #[error(
        "the entry `{name}` unpacks to more than {limit} bytes, the most that is read; {}",
        limits::raise("unpacked")
    )]
    TooLarge {
        /// The entry.
        name: String,
        /// The limit in bytes.
        limit: u64,
    },
    /// The entry grows too much when unpacked.
    #[error(
        "the entry `{name}` unpacks to more than {limit} times its packed size: this is not an ordinary score; {}",
        limits::raise("ratio")
    )]
    TooDense {
        /// The entry.
        name: String,
        /// The limit.
        limit: u64,
    },
}

/// The name and the bytes of the score in a container.
#[cfg(any(test, feature = "inside"))]
pub fn open(bytes: &[u8]) -> Result<(String, Vec<u8>), ContainerError> {
    open_within(bytes, &Limits::USUAL)
}

/// The same within other limits than the usual ones.
pub fn open_within(bytes: &[u8], limits: &Limits) -> Result<(String, Vec<u8>), ContainerError> {
    let (mut archive, name, _) = look_up(bytes, limits)?;
    let score = unpack(&mut archive, &name, limits.unpacked, limits.ratio)?;
    Ok((name, score))
}

/// What is wrong with the table of contents of a container that can be read without one, since it holds
/// one score only.
pub fn fault_of_contents(bytes: &[u8], limits: &Limits) -> Option<ContainerError> {
    look_up(bytes, limits).ok()?.2
}

/// Whether the bytes are a container whose table of contents names a score that is in it.
pub fn names_a_score(bytes: &[u8], limits: &Limits) -> bool {
    look_up(bytes, limits).is_ok_and(|(archive, name, _)| archive.index_for_name(&name).is_some())
}

/// The byte order mark of a container's score, when that is the entry `name` and `text` byte for
/// byte: see [`encoding::verbatim`].
pub fn verbatim(bytes: &[u8], name: &str, text: &str) -> Option<&'static [u8]> {
    let (mut archive, score, _) = look_up(bytes, &Limits::USUAL).ok()?;
    if score != name {
        return None;
    }
    encoding::verbatim(archive.by_name(name).ok()?, text).ok()?
}

type Archive<'a> = ZipArchive<Cursor<&'a [u8]>>;

/// The container opened, whose list of entries is sound: each entry has bytes of its own, and lies before
/// the list. So nothing that is copied or unpacked by it comes out twice.
fn opened(bytes: &[u8]) -> Result<Archive<'_>, ContainerError> {
    let not_zip = |e: ZipError| ContainerError::NotZip(reason(&e));
    let claimed = claimed_entries(bytes);
    if claimed > MOST_ENTRIES {
        return Err(ContainerError::TooMany { found: claimed });
    }
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(not_zip)?;
    if archive.has_duplicate_names() {
        return Err(ContainerError::SameName);
    }
    if archive.has_overlapping_entries().map_err(not_zip)? {
        return Err(ContainerError::Overlapping);
    }
    Ok(archive)
}

/// The most entries that a record of the 64-bit extension claims; 0 without one. Asked before the list is
/// read, since room is made for as many as are claimed. Other records have 16 bits for it.
fn claimed_entries(bytes: &[u8]) -> u64 {
    /// Where the record at the end may start, and how long what leads to the extension is.
    const END: usize = (1 << 16) + 22 + 4;
    const LOCATOR: &[u8] = b"PK\x06\x07";
    const LOCATOR_LENGTH: usize = 20;
    const RECORD: &[u8] = b"PK\x06\x06";
    /// How many entries are on this disk, and how many in all.
    const COUNTS: [usize; 2] = [24, 32];

    let tail = bytes.len().saturating_sub(END + LOCATOR_LENGTH);
    let tail = bytes.get(tail..).unwrap_or(bytes);
    if memchr::memmem::find(tail, LOCATOR).is_none() {
        return 0;
    }
    let records = memchr::memmem::find_iter(bytes, RECORD);
    let counts = records.flat_map(|start| COUNTS.map(|count| start.saturating_add(count)));
    let number = |at: usize| {
        let number = bytes.get(at..)?.first_chunk()?;
        Some(u64::from_le_bytes(*number))
    };
    counts.filter_map(number).max().unwrap_or_default()
}

/// The container opened, the name of its score, and what is wrong with the table that should name it.
fn look_up<'a>(
    bytes: &'a [u8],
    limits: &Limits,
) -> Result<(Archive<'a>, String, Option<ContainerError>), ContainerError> {
    let mut archive = opened(bytes)?;
    let contents = match unpack(&mut archive, CONTENTS, MAX_CONTENTS, limits.ratio) {
        Err(ContainerError::Missing(_)) => return Err(ContainerError::NoContents),
        Err(ContainerError::TooLarge { .. }) => return Err(ContainerError::ContentsTooLarge),
        other => other?,
    };
    let named = encoding::decode(&contents)
        .map_err(|e: EncodingError| ContainerError::BadContents(e.to_string()))
        .and_then(|contents| rootfile(&contents));
    let (name, fault) = match named {
        Ok(name) => (name, None),
        // Some programs write names with apostrophes into it and spoil it so.
        Err(fault @ ContainerError::BadContents(_)) => match only_score(&archive) {
            Some(name) => (name, Some(fault)),
            None => return Err(fault),
        },
        Err(fault) => return Err(fault),
    };
    let leads_out = name.starts_with(['/', '\\'])
        || name.contains(':')
        || name.split(['/', '\\']).any(|step| step == "..");
    if leads_out {
        return Err(ContainerError::Outside(name));
    }
    Ok((archive, name, fault))
}

/// The one entry that can be a score; `None` where there are several, or none.
fn only_score(archive: &Archive<'_>) -> Option<String> {
    let is_score = |name: &Cow<'_, str>| {
        let name = name.to_lowercase();
        let ending = std::path::Path::new(&*name).extension();
        let is_score = ending.is_some_and(|e| e == "xml" || e == "musicxml");
        !name.starts_with("meta-inf/") && is_score
    };
    let mut scores = archive.file_names().filter_map(Result::ok).filter(is_score);
    let name = scores.next()?.into_owned();
    scores.next().is_none().then_some(name)
}

/// The container with one entry replaced, piece by piece: packed in the same way and with its time
/// stamp kept. All other entries are copied as they are packed, in their order. The result is no larger
/// than the container and the new entry together, but for headers.
pub fn replace<'a>(
    bytes: &[u8],
    name: &str,
    new: impl IntoIterator<Item = &'a [u8]>,
) -> Result<Vec<u8>, ContainerError> {
    let not_zip = |e: ZipError| ContainerError::NotZip(reason(&e));
    let mut archive = opened(bytes)?;
    let Some(target) = archive.index_for_name(name) else {
        return Err(ContainerError::Missing(name.to_owned()));
    };
    let damaged = |name: &str, why: String| ContainerError::Damaged {
        name: name.to_owned(),
        why,
    };
    let mut new = Some(new);
    let mut most = bytes.len().saturating_add(HEADERS);
    let mut writer = ZipWriter::new(Cursor::new(Vec::with_capacity(bytes.len())));
    writer
        .set_raw_comment(archive.comment().into())
        .map_err(not_zip)?;
    for index in 0..archive.len() {
        let beside = archive.name_for_index(index).and_then(Result::ok);
        let beside = beside.map(Cow::into_owned).unwrap_or_default();
        let not_copied = |_| ContainerError::NotCopied { name: beside };
        let entry = match archive.by_index_raw(index) {
            Ok(entry) => entry,
            Err(error) => return Err(not_copied(error)),
        };
        if index == target {
            let options = entry.options();
            writer
                .start_file(name, options)
                .map_err(|e| damaged(name, reason(&e)))?;
            for piece in new.take().into_iter().flatten() {
                most = most.saturating_add(piece.len());
                writer
                    .write_all(piece)
                    .map_err(|e| damaged(name, e.to_string()))?;
            }
        } else {
            writer.raw_copy_file(entry).map_err(not_copied)?;
        }
    }
    let copy = writer.finish().map_err(not_zip)?.into_inner();
    // Remarks and fields of entries may be written twice, or in longer letters.
    if copy.len() > most {
        let found = copy.len();
        return Err(ContainerError::Grows { found, most });
    }
    Ok(copy)
}

/// Unpacks one entry, with its limits checked against what really comes out: the sizes in the
/// container's headers are only claims.
fn unpack(
    archive: &mut Archive<'_>,
    name: &str,
    limit: u64,
    ratio: u64,
) -> Result<Vec<u8>, ContainerError> {
    let damaged = |why: String| ContainerError::Damaged {
        name: name.to_owned(),
        why,
    };
    let entry = match archive.by_name(name) {
        Ok(entry) => entry,
        Err(ZipError::FileNotFound) => return Err(ContainerError::Missing(name.to_owned())),
        Err(e) => return Err(damaged(reason(&e))),
    };
    if entry.is_dir() {
        return Err(damaged("it is a folder".to_owned()));
    }
    let packed = entry.compressed_size();
    let dense = packed.saturating_mul(ratio).max(RATIO_FROM);
    let most = limit.min(dense);
    // Room for what the header claims, if it can be had: growing by doubling would take twice as much.
    let claimed = usize::try_from(entry.size().min(most)).unwrap_or_default();
    let mut out = Vec::new();
    let _ = out.try_reserve_exact(claimed);
    // One byte more than is allowed tells that there is more.
    entry
        .take(most.saturating_add(1))
        .read_to_end(&mut out)
        .map_err(|e| damaged(e.to_string()))?;
    if out.len() as u64 > limit {
        return Err(ContainerError::TooLarge {
            name: name.to_owned(),
            limit,
        });
    }
    if out.len() as u64 > most {
        return Err(ContainerError::TooDense {
            name: name.to_owned(),
            limit: ratio,
        });
    }
    Ok(out)
}

/// The entry that the table of contents names: the first of MusicXML's media type, else the first.
fn rootfile(contents: &str) -> Result<String, ContainerError> {
    let bad = |e: &dyn std::fmt::Display| ContainerError::BadContents(e.to_string());
    let mut reader = Reader::from_str(contents);
    let mut first = None;
    loop {
        let tag = match reader.read_event().map_err(|e| bad(&e))? {
            Event::Start(tag) | Event::Empty(tag) => tag,
            Event::Eof => break,
            _ => continue,
        };
        if tag.local_name().as_ref() != "rootfile" {
            continue;
        }
        let mut path = None;
        let mut kind = None;
        for attribute in tag.attributes() {
            let attribute = attribute.map_err(|e| bad(&e))?;
            let value = || quick_xml::escape::unescape(&attribute.value).map_err(|e| bad(&e));
            match attribute.key.0 {
                "full-path" => path = Some(value()?.trim().to_owned()),
                "media-type" => kind = Some(value()?.trim().to_owned()),
                _ => {}
            }
        }
        let Some(path) = path.filter(|p| !p.is_empty()) else {
            continue;
        };
        if kind.is_some_and(|k| k.ends_with(MEDIA_TYPE)) {
            return Ok(path);
        }
        first.get_or_insert(path);
    }
    first.ok_or(ContainerError::NoRootfile)
}

fn reason(e: &ZipError) -> String {
    match e {
        ZipError::Io(e) => e.to_string(),
        ZipError::InvalidArchive(_) => "it is not a valid zip file, or was cut off".to_owned(),
        ZipError::UnsupportedArchive(why) => (*why).to_owned(),
        ZipError::InvalidPassword => "it is encrypted".to_owned(),
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use zip::write::SimpleFileOptions;

    fn container(entries: &[(&str, &[u8])]) -> Vec<u8> {
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, bytes) in entries {
            zip.start_file(*name, SimpleFileOptions::default()).unwrap();
            zip.write_all(bytes).unwrap();
        }
        zip.finish().unwrap().into_inner()
    }

    fn contents(rootfiles: &str) -> Vec<u8> {
        format!("<container><rootfiles>{rootfiles}</rootfiles></container>").into_bytes()
    }

    #[test]
    fn the_named_score_comes_out() {
        let table =
            contents("<rootfile full-path='a/b &amp; c.xml'/><rootfile full-path='x.pdf'/>");
        let bytes = container(&[
            (CONTENTS, table.as_slice()),
            ("a/b & c.xml", b"<score/>".as_slice()),
        ]);
        let (name, score) = open(&bytes).unwrap();
        assert_eq!(
            (name.as_str(), score.as_slice()),
            ("a/b & c.xml", b"<score/>".as_slice())
        );
    }

    #[test]
    fn the_media_type_goes_before_the_order() {
        let table = contents(&format!(
            "<rootfile full-path='x.pdf' media-type='application/pdf'/>\
             <rootfile full-path='s.xml' media-type='application/x{MEDIA_TYPE}'/>"
        ));
        let bytes = container(&[(CONTENTS, table.as_slice()), ("s.xml", b"1".as_slice())]);
        assert_eq!(open(&bytes).unwrap().0, "s.xml");
    }

    #[test]
    fn each_fault_is_named() {
        assert!(matches!(open(b"nothing"), Err(ContainerError::NotZip(_))));
        assert_eq!(open(&container(&[])), Err(ContainerError::NoContents));
        let with = |table: &[u8]| open(&container(&[(CONTENTS, table)]));
        assert_eq!(with(&contents("")), Err(ContainerError::NoRootfile));
        assert!(matches!(
            with(b"<a></b>"),
            Err(ContainerError::BadContents(_))
        ));
        assert!(matches!(with(b"\xFF"), Err(ContainerError::BadContents(_))));
        // A table that cannot be read is none, where there is but one score.
        let spoiled =
            b"<container><rootfiles><rootfile full-path='it's.xml'/></rootfiles></container>";
        let one = container(&[
            (CONTENTS, spoiled),
            ("it's.xml", b"<score/>"),
            ("a.png", b""),
        ]);
        assert_eq!(open(&one).unwrap().0, "it's.xml");
        assert!(fault_of_contents(&one, &Limits::USUAL).is_some());
        let two = container(&[(CONTENTS, spoiled), ("it's.xml", b""), ("b.xml", b"")]);
        assert!(matches!(open(&two), Err(ContainerError::BadContents(_))));
        assert_eq!(
            with(&contents("<rootfile full-path='s.xml'/>")),
            Err(ContainerError::Missing("s.xml".to_owned()))
        );
        for path in ["../s.xml", "/s.xml", "a\\..\\s.xml", "c:s.xml"] {
            assert_eq!(
                with(&contents(&format!("<rootfile full-path='{path}'/>"))),
                Err(ContainerError::Outside(path.to_owned()))
            );
        }
    }

    #[test]
    fn what_swells_is_refused() {
        let table = contents("<rootfile full-path='s.xml'/>");
        let blanks = vec![b' '; 3 << 20];
        let bytes = container(&[(CONTENTS, table.as_slice()), ("s.xml", blanks.as_slice())]);
        assert_eq!(
            open(&bytes),
            Err(ContainerError::TooDense {
                name: "s.xml".to_owned(),
                limit: 500
            })
        );
        let mut raised = Limits::USUAL;
        raised.set("ratio", 5_000);
        assert_eq!(open_within(&bytes, &raised).unwrap().1, blanks);
        raised.set("unpacked", 2 << 20);
        let error = open_within(&bytes, &raised).unwrap_err().to_string();
        assert!(error.contains("--limit unpacked=NUMBER"), "{error}");
    }

    #[test]
    fn a_cut_container_is_an_error() {
        let table = contents("<rootfile full-path='s.xml'/>");
        let bytes = container(&[(CONTENTS, table.as_slice()), ("s.xml", b"<a/>".as_slice())]);
        for end in 0..bytes.len() {
            assert!(open(&bytes[..end]).is_err(), "{end}");
        }
    }
}
