//! Bytes to text: UTF-8, UTF-16, and what an XML declaration names.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

use bytes::Bytes;
use bytestring::ByteString;
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};
use std::borrow::Cow;
use std::io::{self, Read};
use std::ops::Range;

/// How far into a file its XML declaration may reach.
const DECLARATION: usize = 512;

/// Why bytes are not text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EncodingError {
    /// The first bytes are those of another kind of file.
    #[error("this is {0}, not text")]
    OtherFile(&'static str),
    /// There are bytes that no text has.
    #[error("byte {at} is zero: this is a binary file, not text")]
    Binary {
        /// 0-based offset.
        at: usize,
    },
    /// Not UTF-8, and nothing says what else it may be.
    #[error(
        "byte {at} (line {line}) is not UTF-8: save the file as UTF-8, or name its encoding in the XML declaration"
    )]
    NotUtf8 {
        /// 0-based offset.
        at: usize,
        /// 1-based line.
        line: usize,
    },
    /// The bytes break the encoding they are in.
    #[error("the bytes are not valid {0}: the file is damaged or was cut off")]
    Malformed(&'static str),
    /// The declaration names an encoding that is not known.
    #[error(
        "the XML declaration names the encoding `{0}`, which is not known: save the file as UTF-8"
    )]
    Unknown(String),
    /// A correction needs a character that the file's encoding has not.
    #[error("`{text}` cannot be written in {encoding}, the encoding of the file: save it as UTF-8")]
    NoSuchCharacter {
        /// What was to be written.
        text: String,
        /// The encoding.
        encoding: &'static str,
    },
}

/// How the bytes of a file stand for its text.
#[derive(Clone, Copy, Debug)]
struct Coding {
    encoding: &'static Encoding,
    /// How many bytes of byte order mark there are.
    mark: usize,
}

impl Coding {
    fn of(bytes: &[u8]) -> Result<Self, EncodingError> {
        if let Some(kind) = other_file(bytes) {
            return Err(EncodingError::OtherFile(kind));
        }
        let (encoding, mark) = match bytes {
            [0xEF, 0xBB, 0xBF, ..] => (UTF_8, UTF_8_MARK.len()),
            // UTF-32 would otherwise pass for UTF-16 with zeros in it.
            [0xFF, 0xFE, 0, 0, ..] | [0, 0, 0xFE, 0xFF, ..] => {
                return Err(EncodingError::Unknown("UTF-32".to_owned()));
            }
            [0xFF, 0xFE, ..] => (UTF_16LE, 2),
            [b'<', 0, b'?' | b'!', 0, ..] => (UTF_16LE, 0),
            [0xFE, 0xFF, ..] => (UTF_16BE, 2),
            [0, b'<', 0, b'?' | b'!', ..] => (UTF_16BE, 0),
            _ => (declared(bytes)?, 0),
        };
        Ok(Self { encoding, mark })
    }
}

/// Decodes the bytes of a file. A byte order mark is left out of the text.
pub fn decode(bytes: &[u8]) -> Result<Cow<'_, str>, EncodingError> {
    let Coding { encoding, mark } = Coding::of(bytes)?;
    let body = bytes.get(mark..).unwrap_or_default();
    let text = if encoding == UTF_8 {
        utf8(body, mark)?
    } else {
        strict(encoding, body)?
    };
    match memchr::memchr(0, text.as_bytes()) {
        Some(at) => Err(EncodingError::Binary { at }),
        None => Ok(text),
    }
}

/// The same for bytes that nobody needs afterwards: UTF-8 becomes the text without a copy.
pub fn decode_whole(bytes: Bytes) -> Result<ByteString, EncodingError> {
    let Coding { encoding, mark } = Coding::of(&bytes)?;
    if encoding != UTF_8 {
        let mut text = decode(&bytes)?.into_owned();
        drop(bytes);
        // Room for the longest text that the bytes could have been is taken on the way.
        text.shrink_to_fit();
        return Ok(text.into());
    }
    let body = bytes.slice(mark..);
    let text = ByteString::try_from(body.clone()).map_err(|e| not_utf8(&body, e, mark))?;
    match memchr::memchr(0, text.as_bytes()) {
        Some(at) => Err(EncodingError::Binary { at }),
        None => Ok(text),
    }
}

/// UTF-8's byte order mark.
const UTF_8_MARK: &[u8] = b"\xEF\xBB\xBF";

/// How much of a file is compared at a time.
const AT_A_TIME: u64 = 1 << 14;

/// The byte order mark of a file that is `text` byte for byte after it (no mark is an empty one);
/// nothing for a file in another encoding and for any other file. It is never held as a whole.
/// `text` is what [`decode`] made of the file once.
pub fn verbatim(mut file: impl Read, text: &str) -> io::Result<Option<&'static [u8]>> {
    let mut next = Vec::new();
    file.by_ref()
        .take(UTF_8_MARK.len() as u64)
        .read_to_end(&mut next)?;
    let mark = if next == UTF_8_MARK {
        next.clear();
        UTF_8_MARK
    } else if Coding::of(text.as_bytes()).is_ok_and(|c| c.encoding == UTF_8) {
        &[]
    } else {
        return Ok(None);
    };
    let mut left = text.as_bytes();
    loop {
        match left.strip_prefix(next.as_slice()) {
            Some(after) => left = after,
            None => return Ok(None),
        }
        next.clear();
        file.by_ref().take(AT_A_TIME).read_to_end(&mut next)?;
        if next.is_empty() {
            return Ok(left.is_empty().then_some(mark));
        }
    }
}

/// Replaces pieces of a file's text in its bytes: the same encoding, and every byte outside the
/// pieces as it was. `text` is what [`decode`] makes of `bytes`; the pieces, as bytes of `text`, are
/// in order and do not overlap.
pub fn splice(
    mut bytes: Vec<u8>,
    text: &str,
    pieces: &[(Range<usize>, &str)],
) -> Result<Vec<u8>, EncodingError> {
    let coding = Coding::of(&bytes)?;
    let mut at: Vec<usize> = Vec::with_capacity(pieces.len() * 2);
    at.extend(pieces.iter().flat_map(|(r, _)| [r.start, r.end]));
    let offsets = byte_offsets(coding, &bytes, text, &at)?;
    let mut new: Vec<Vec<u8>> = Vec::with_capacity(pieces.len());
    for (_, piece) in pieces {
        let mut own = Vec::new();
        encode(coding.encoding, piece, &mut own)?;
        new.push(own);
    }
    // In place, for a copy is much of what a large score takes: from the last piece to the first, all
    // that stays is moved to the end, where there is room for everything that is new.
    let mut tail = bytes.len();
    let room: usize = new.iter().map(Vec::len).sum();
    bytes.reserve_exact(room);
    bytes.resize(tail + room, 0);
    let mut free = bytes.len();
    for (place, own) in offsets.chunks_exact(2).zip(&new).rev() {
        let &[from, to] = place else { continue };
        if from > to || to > tail {
            return Err(EncodingError::Malformed(coding.encoding.name()));
        }
        free -= tail - to;
        bytes.copy_within(to..tail, free);
        free -= own.len();
        if let Some(slot) = bytes.get_mut(free..free + own.len()) {
            slot.copy_from_slice(own);
        }
        tail = from;
    }
    bytes.drain(tail..free);
    Ok(bytes)
}

/// Where places of the text, in order, stand in the bytes.
fn byte_offsets(
    coding: Coding,
    bytes: &[u8],
    text: &str,
    at: &[usize],
) -> Result<Vec<usize>, EncodingError> {
    let Coding { encoding, mark } = coding;
    let malformed = || EncodingError::Malformed(encoding.name());
    if encoding == UTF_8 {
        return Ok(at.iter().map(|a| mark + a).collect());
    }
    let mut out = Vec::with_capacity(at.len());
    if encoding == UTF_16LE || encoding == UTF_16BE {
        let (mut from, mut units) = (0, 0);
        for &to in at {
            let between = text.get(from..to).ok_or_else(malformed)?;
            units += between.encode_utf16().count();
            from = to;
            out.push(mark + 2 * units);
        }
        return Ok(out);
    }
    // Byte by byte: how many bytes a character has is the decoder's business.
    let mut decoder = encoding.new_decoder_without_bom_handling();
    let mut wanted = at.iter().copied().peekable();
    let mut written = 0;
    let mut buffer = [0u8; 32];
    for (i, byte) in bytes.iter().enumerate().skip(mark) {
        while wanted.next_if(|w| *w == written).is_some() {
            out.push(i);
        }
        if wanted.peek().is_none() {
            break;
        }
        let (_, _, more) = decoder.decode_to_utf8_without_replacement(&[*byte], &mut buffer, false);
        written += more;
    }
    while wanted.next_if(|w| *w == written).is_some() {
        out.push(bytes.len());
    }
    if wanted.peek().is_some() {
        return Err(malformed());
    }
    Ok(out)
}

fn encode(encoding: &'static Encoding, text: &str, out: &mut Vec<u8>) -> Result<(), EncodingError> {
    if encoding == UTF_16LE {
        out.extend(text.encode_utf16().flat_map(u16::to_le_bytes));
    } else if encoding == UTF_16BE {
        out.extend(text.encode_utf16().flat_map(u16::to_be_bytes));
    } else {
        let (bytes, _, lossy) = encoding.encode(text);
        if lossy {
            return Err(EncodingError::NoSuchCharacter {
                text: text.to_owned(),
                encoding: encoding.name(),
            });
        }
        out.extend_from_slice(&bytes);
    }
    Ok(())
}

/// The encoding that the XML declaration names, for bytes without a byte order mark.
fn declared(bytes: &[u8]) -> Result<&'static Encoding, EncodingError> {
    let Some(label) = label(bytes) else {
        return Ok(UTF_8);
    };
    let Some(encoding) = Encoding::for_label(label) else {
        // Plain ASCII reads the same in everything that starts like XML.
        return if bytes.is_ascii() {
            Ok(UTF_8)
        } else {
            Err(EncodingError::Unknown(
                String::from_utf8_lossy(label).into_owned(),
            ))
        };
    };
    // A declaration of UTF-16 that can be read byte by byte is wrong: tools that convert a file
    // forget to change it.
    Ok(if encoding == UTF_16LE || encoding == UTF_16BE {
        UTF_8
    } else {
        encoding
    })
}

fn utf8(bytes: &[u8], before: usize) -> Result<Cow<'_, str>, EncodingError> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(Cow::Borrowed(text)),
        Err(e) => Err(not_utf8(bytes, e, before)),
    }
}

/// What is wrong with bytes that are no UTF-8; `before` of the file stand before them.
fn not_utf8(bytes: &[u8], error: std::str::Utf8Error, before: usize) -> EncodingError {
    let at = error.valid_up_to();
    let good = bytes.get(..at).unwrap_or_default();
    if let Some(zero) = memchr::memchr(0, good) {
        return EncodingError::Binary { at: before + zero };
    }
    EncodingError::NotUtf8 {
        at: before + at,
        line: memchr::memchr_iter(b'\n', good).count() + 1,
    }
}

fn strict<'a>(encoding: &'static Encoding, bytes: &'a [u8]) -> Result<Cow<'a, str>, EncodingError> {
    let (text, errors) = encoding.decode_without_bom_handling(bytes);
    if errors {
        Err(EncodingError::Malformed(encoding.name()))
    } else {
        Ok(text)
    }
}

/// The encoding that an XML declaration at the start names.
fn label(bytes: &[u8]) -> Option<&[u8]> {
    let head = bytes.get(..DECLARATION).unwrap_or(bytes);
    let head = head.trim_ascii_start().strip_prefix(b"<?xml")?;
    let head = head.get(..memchr::memmem::find(head, b"?>")?)?;
    let rest = head.get(memchr::memmem::find(head, b"encoding")? + b"encoding".len()..)?;
    let rest = rest.trim_ascii_start().strip_prefix(b"=")?;
    let (quote, rest) = rest.trim_ascii_start().split_first()?;
    if !matches!(quote, b'"' | b'\'') {
        return None;
    }
    rest.get(..memchr::memchr(*quote, rest)?)
}

/// Kinds of files that people hand in by mistake, by their published signatures.
fn other_file(bytes: &[u8]) -> Option<&'static str> {
    const SIGNATURES: [(&[u8], &str); 8] = [
        (b"PK\x03\x04", "a zip container"),
        (b"PK\x05\x06", "an empty zip container"),
        (b"MThd", "a MIDI file"),
        (b"%PDF-", "a PDF document"),
        (b"\x89PNG\r\n", "a PNG picture"),
        (b"\xFF\xD8\xFF", "a JPEG picture"),
        (b"\x1F\x8B\x08", "a gzip archive"),
        (b"RIFF", "a RIFF file (sound or film)"),
    ];
    SIGNATURES
        .iter()
        .find(|(start, _)| bytes.starts_with(start))
        .map(|(_, kind)| *kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utf16(text: &str, big: bool, mark: bool) -> Vec<u8> {
        let text = if mark {
            format!("\u{feff}{text}")
        } else {
            text.to_owned()
        };
        text.encode_utf16()
            .flat_map(|u| {
                if big {
                    u.to_be_bytes()
                } else {
                    u.to_le_bytes()
                }
            })
            .collect()
    }

    #[test]
    fn utf8_is_borrowed() {
        assert!(matches!(decode("é♭".as_bytes()), Ok(Cow::Borrowed("é♭"))));
        assert_eq!(decode(b"").unwrap(), "");
        assert_eq!(decode("\u{feff}<a/>".as_bytes()).unwrap(), "<a/>");
    }

    #[test]
    fn utf16_by_mark_or_by_shape() {
        let text = "<?xml version=\"1.0\" encoding=\"UTF-16\"?><a>♭</a>";
        for big in [false, true] {
            for mark in [false, true] {
                assert_eq!(
                    decode(&utf16(text, big, mark)).unwrap(),
                    text,
                    "{big} {mark}"
                );
            }
        }
        let mut cut = utf16(text, false, true);
        cut.pop();
        assert_eq!(decode(&cut), Err(EncodingError::Malformed("UTF-16LE")));
    }

    #[test]
    fn declared_single_byte_encodings() {
        for label in ["ISO-8859-1", "windows-1252", "latin1"] {
            let mut bytes = format!("<?xml version='1.0' encoding='{label}'?><a>").into_bytes();
            bytes.extend(b"\xE9</a>");
            assert!(decode(&bytes).unwrap().ends_with("<a>é</a>"), "{label}");
        }
        let wrong = "<?xml version=\"1.0\" encoding=\"UTF-16\"?><a>é</a>";
        assert_eq!(decode(wrong.as_bytes()).unwrap(), wrong);
    }

    #[test]
    fn the_whole_is_decoded_the_same() {
        let utf16 = utf16(
            "<?xml version=\"1.0\" encoding=\"UTF-16\"?><a>♭</a>",
            true,
            true,
        );
        for bytes in [
            b"".as_slice(),
            "é♭".as_bytes(),
            "\u{feff}<a/>".as_bytes(),
            b"a\0b",
            b"a\nb\xFF",
            b"a\0b\xFF",
            b"<?xml version='1.0' encoding='latin1'?><a>\xE9</a>",
            &utf16,
        ] {
            let one = decode(bytes).map(|text| text.into_owned().into());
            assert_eq!(decode_whole(bytes.to_vec().into()), one, "{bytes:?}");
        }
    }

    #[test]
    fn a_file_that_is_its_text_is_known_without_being_held() {
        let long = "é".repeat(AT_A_TIME as usize);
        let utf16 = utf16(
            "<?xml version=\"1.0\" encoding=\"UTF-16\"?><a>♭</a>",
            true,
            true,
        );
        for (bytes, mark) in [
            (b"".as_slice(), Some(&b""[..])),
            (b"a", Some(b"")),
            ("é♭".as_bytes(), Some(b"")),
            (long.as_bytes(), Some(b"")),
            (format!("\u{feff}{long}").as_bytes(), Some(UTF_8_MARK)),
            ("\u{feff}\u{feff}a".as_bytes(), Some(UTF_8_MARK)),
            // Declared as UTF-16, which it cannot be.
            (b"<?xml version='1.0' encoding='UTF-16'?><a/>", Some(b"")),
            // A character that is rewritten may need another byte than in UTF-8.
            (b"<?xml version='1.0' encoding='latin1'?><a/>", None),
            (b"<?xml version='1.0' encoding='latin1'?><a>\xE9</a>", None),
            (&utf16, None),
        ] {
            let text = decode(bytes).unwrap();
            assert_eq!(verbatim(bytes, &text).unwrap(), mark, "{bytes:?}");
            for other in [format!("{text}b"), format!("b{text}")] {
                assert_eq!(verbatim(bytes, &other).unwrap(), None, "{bytes:?}");
                assert_eq!(verbatim(other.as_bytes(), &text).unwrap(), None);
            }
        }
    }

    #[test]
    fn what_is_not_text_is_named() {
        assert_eq!(decode(b"a\0b"), Err(EncodingError::Binary { at: 1 }));
        assert_eq!(
            decode(b"a\nb\xFF"),
            Err(EncodingError::NotUtf8 { at: 3, line: 2 })
        );
        assert_eq!(
            decode(b"MThd\0\0"),
            Err(EncodingError::OtherFile("a MIDI file"))
        );
        assert_eq!(
            decode(b"<?xml version='1.0' encoding='martian'?><a>\xE9</a>"),
            Err(EncodingError::Unknown("martian".to_owned()))
        );
        assert!(decode(b"\xFF\xFE\0\0<\0\0\0").is_err());
        assert!(decode(b"\xFF").is_err());
    }

    #[test]
    fn pieces_are_replaced_in_every_encoding_and_nothing_else() {
        let text = "<?xml version=\"1.0\" encoding=\"UTF-16\"?><a>é𝄪</a><b>x</b>";
        let at = text.find(">x<").unwrap() + 1;
        let pieces = [(at..at + 1, "♭y"), (text.len()..text.len(), "!")];
        let new = text.replace(">x<", ">♭y<") + "!";
        for big in [false, true] {
            for mark in [false, true] {
                let bytes = utf16(text, big, mark);
                assert_eq!(
                    splice(bytes.clone(), text, &pieces).unwrap(),
                    utf16(&new, big, mark),
                    "{big} {mark}"
                );
                assert_eq!(splice(bytes.clone(), text, &[]).unwrap(), bytes);
            }
        }
        let marked = format!("\u{feff}{text}");
        assert_eq!(
            splice(marked.clone().into_bytes(), text, &pieces).unwrap(),
            format!("\u{feff}{new}").into_bytes()
        );
        for (label, accented) in [
            ("ISO-8859-1", &b"\xE9"[..]),
            ("Shift_JIS", b"\x93\xFA"),
            ("ISO-2022-JP", b"\x1B$B\x46\x7C\x1B(B"),
        ] {
            let file = |inner: &[u8]| {
                let head = format!("<?xml version='1.0' encoding='{label}'?><a>");
                [
                    head.as_bytes(),
                    accented,
                    b"</a><b>",
                    inner,
                    b"</b>",
                    accented,
                ]
                .concat()
            };
            let bytes = file(b"x");
            let text = decode(&bytes).unwrap().into_owned();
            let at = text.find("x</b>").unwrap();
            assert_eq!(
                splice(bytes.clone(), &text, &[(at..at + 1, "yy")]).unwrap(),
                file(b"yy"),
                "{label}"
            );
            assert_eq!(
                splice(bytes.clone(), &text, &[(at..at + 1, "𝄪")]),
                Err(EncodingError::NoSuchCharacter {
                    text: "𝄪".to_owned(),
                    encoding: Encoding::for_label(label.as_bytes()).unwrap().name(),
                })
            );
        }
    }
}
