//! Plain tags, attributes and leaves, read straight from the text.
//!
//! A name is plain when it is of small letters and hyphens, an attribute when one space stands before it
//! and its value between double quotes. A leaf is plain when it holds nothing but a short text that
//! stands for itself. Everything else is declined.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "lengths of pieces of a text: no text is longer than 32 bits less a mebibyte"
)]

/// A plain piece of the text.
pub enum Plain<'a> {
    /// A start tag, behind which other elements or more text may come.
    Start(PlainTag<'a>),
    /// An element without others in it, up to its end tag, and its text.
    Leaf(PlainTag<'a>, &'a str),
    /// The end tag of the open element.
    End,
}

/// The plain piece that `xml` starts with, inside the element called `open`, and how many bytes it takes.
#[inline]
pub fn next<'a>(xml: &'a str, open: &str) -> Option<(Plain<'a>, usize)> {
    if let Some(end) = xml.strip_prefix("</") {
        let closes = end.strip_prefix(open)?.starts_with('>');
        return closes.then_some((Plain::End, open.len() + 3));
    }
    let tag = PlainTag::of(xml)?;
    if tag.empty {
        let length = tag.length;
        return Some((Plain::Leaf(tag, ""), length));
    }
    let (content, length) = (xml.get(tag.length..)?, tag.length);
    Some(match content_of_leaf(content, tag.name) {
        Some((text, more)) => (Plain::Leaf(tag, text), length + more),
        None => (Plain::Start(tag), length),
    })
}

/// A start tag whose name is plain, as are its attributes, if any.
pub struct PlainTag<'a> {
    /// What stands between the brackets.
    pub inner: &'a str,
    /// The element's name.
    pub name: &'a str,
    /// Bytes of the tag.
    pub length: usize,
    /// The tag is an element without content.
    pub empty: bool,
}

impl<'a> PlainTag<'a> {
    /// The tag that `xml` starts with.
    #[inline]
    pub fn of(xml: &'a str) -> Option<Self> {
        let (name, after) = until(xml.strip_prefix('<')?, |b| !is_of_name(b))?;
        let (inside, empty) = match after.as_bytes() {
            [b'>', ..] => (0, false),
            [b'/', b'>', ..] => (0, true),
            [b' ', attributes @ ..] => {
                let end = memchr::memchr(b'>', attributes)?;
                let inside = attributes.get(..end)?;
                let quotes = memchr::memchr_iter(b'"', inside).count();
                // After an odd number of quotes the bracket stands inside a value. A single quote may
                // hold double ones: then their number says nothing.
                if quotes % 2 == 1 || memchr::memchr2(b'<', b'\'', inside).is_some() {
                    return None;
                }
                let empty = inside.last() == Some(&b'/');
                (end + usize::from(!empty), empty)
            }
            _ => return None,
        };
        let end = 1 + name.len() + inside;
        (!name.is_empty()).then_some(Self {
            inner: xml.get(1..end)?,
            name,
            length: end + 1 + usize::from(empty),
            empty,
        })
    }
}

/// The attribute that `text` starts with, when it is written plainly, ` name="value"`: its name, its value,
/// and what follows.
#[inline]
pub fn plain_attribute(text: &str) -> Option<(&str, &str, &str)> {
    let (name, after) = until(text.strip_prefix(' ')?, |b| !is_of_name(b))?;
    let (value, after) = until(after.strip_prefix("=\"")?, |b| b == b'"')?;
    let after = after.strip_prefix('"')?;
    (!name.is_empty()).then_some((name, value, after))
}

/// Whether a byte is a letter of a name that is plain.
#[inline]
fn is_of_name(byte: u8) -> bool {
    byte.is_ascii_lowercase() || byte == b'-'
}

/// What comes before the first byte that `ends`, and all from there on.
#[inline]
fn until(text: &str, mut ends: impl FnMut(u8) -> bool) -> Option<(&str, &str)> {
    text.split_at_checked(text.as_bytes().iter().position(|b| ends(*b))?)
}

/// The text up to the end tag of the element called `name`, when nothing but plain text and that tag
/// come first, and the bytes of both.
#[inline]
fn content_of_leaf<'a>(xml: &'a str, name: &str) -> Option<(&'a str, usize)> {
    let (text, rest) = plain_text(xml)?;
    let end = rest.strip_prefix("</")?.strip_prefix(name)?;
    end.starts_with('>')
        .then(|| (text, text.len() + name.len() + 3))
}

/// The short text that stands for itself, and all from the first sign on that does not.
#[inline]
pub fn plain_text(xml: &str) -> Option<(&str, &str)> {
    let plain = |b: u8| !matches!(b, b'<' | b'&' | b'\r');
    xml.split_at_checked(xml.bytes().take(64).position(|b| !plain(b))?)
}
