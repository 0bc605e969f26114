//! A forward walk over XML that borrows everything from the text and knows where it stands.
//!
//! The pattern of every reader here: [`Xml::child`] gives the next child of the element that is
//! open, or `None` once that element has closed; each child that was given must be finished, by
//! walking its own children, by [`Xml::text`], or by [`Xml::skip`].
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

use super::scale::decimal;
use crate::file_text::limits::{self, Limits};
use crate::reading::waiver;
use num_rational::Ratio;
use quick_xml::Reader;
use quick_xml::errors::IllFormedError;
use quick_xml::escape;
use quick_xml::events::attributes::Attributes;
use quick_xml::events::{BytesEnd, BytesStart, Event};
use std::borrow::Cow;
use std::io::BufRead;
use std::ops::Range;
use std::str::FromStr;

/// What stops the reading, with its place in the text.
#[derive(Debug)]
pub(super) struct Fault {
    /// Bytes of the text.
    pub at: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What to do about it.
    pub help: Option<String>,
}

impl Fault {
    pub(super) fn new(at: Range<usize>, message: impl Into<String>) -> Box<Self> {
        Box::new(Self {
            at,
            message: message.into(),
            help: None,
        })
    }

    pub(super) fn help(mut self: Box<Self>, help: impl Into<String>) -> Box<Self> {
        self.help = Some(help.into());
        self
    }
}

/// The outcome of reading a piece of the document.
pub(super) type Walk<T> = Result<T, Box<Fault>>;

/// A start tag.
#[derive(Debug)]
pub(super) struct Element<'a> {
    /// What stands between the brackets: the name, then the attributes.
    inner: &'a str,
    /// Bytes of the name.
    name: u32,
    /// The bytes of the tag: kept small, since elements are handed about a great deal.
    start: u32,
    end: u32,
}

impl<'a> Element<'a> {
    /// The element's name.
    #[inline]
    pub(super) fn name(&self) -> &'a str {
        self.inner.get(..self.name as usize).unwrap_or_default()
    }

    /// The first byte of the tag.
    #[inline]
    pub(super) fn start(&self) -> usize {
        self.start as usize
    }

    /// The value of an attribute, references resolved.
    #[inline]
    pub(super) fn attr(&self, name: &str) -> Walk<Option<Cow<'a, str>>> {
        let mut rest = self.inner.get(self.name as usize..).unwrap_or_default();
        while let Some((key, value, after)) = plain_attribute(rest) {
            if key != name {
                rest = after;
            } else if value.contains('&') {
                break;
            } else {
                return Ok(Some(Cow::Borrowed(value)));
            }
        }
        if rest.is_empty() {
            return Ok(None);
        }
        self.attr_in_any_form(name)
    }

    #[inline(never)]
    fn attr_in_any_form(&self, name: &str) -> Walk<Option<Cow<'a, str>>> {
        for attribute in Attributes::new(self.inner, self.name as usize).with_checks(false) {
            let attribute = attribute.map_err(|e| {
                self.fault(format!(
                    "not well-formed XML: the attributes of <{}> cannot be read ({e})",
                    self.name()
                ))
            })?;
            if attribute.key.0 != name {
                continue;
            }
            let raw = attribute.value;
            if !raw.contains('&') {
                return Ok(Some(raw));
            }
            return match escape::unescape(&raw) {
                Ok(value) => Ok(Some(Cow::Owned(value.into_owned()))),
                Err(e) => Err(self.fault(format!(
                    "the attribute `{name}` of <{}> holds a reference that cannot be resolved ({e})",
                    self.name()
                ))
                .help("write the characters themselves; only the five entities of XML are known")),
            };
        }
        Ok(None)
    }

    /// Whether an attribute has this value.
    pub(super) fn is(&self, name: &str, value: &str) -> Walk<bool> {
        Ok(self.attr(name)?.is_some_and(|v| v.trim() == value))
    }

    /// A whole number in an attribute; `None` when it is absent or not a number.
    pub(super) fn attr_number<T: FromStr>(&self, name: &str) -> Walk<Option<T>> {
        Ok(self.attr(name)?.and_then(|v| v.trim().parse().ok()))
    }

    /// A fault about this element.
    pub(super) fn fault(&self, message: impl Into<String>) -> Box<Fault> {
        Fault::new(self.start()..self.end as usize, message)
    }
}

/// The walk.
pub(super) struct Xml<'a> {
    reader: Reader<&'a [u8]>,
    text: &'a str,
    /// What the reader's places lack to be places in the text: a byte order mark that was left in it, or
    /// what stands before a stretch.
    base: usize,
    /// The names of the open elements.
    open: Vec<&'a str>,
    /// The text of the last element, when it was read to its end at once; that end is still to be told.
    told: Option<&'a str>,
    /// Processing instructions for this program that have been passed: their content and bytes.
    pub(super) instructions: Vec<(&'a str, Range<usize>)>,
    /// How much is read at most.
    pub limits: Limits,
    /// How many elements may be open.
    deepest: usize,
}

impl<'a> Xml<'a> {
    pub(super) fn new(text: &'a str, limits: Limits) -> Self {
        let body = text.strip_prefix('\u{feff}').unwrap_or(text);
        Self {
            reader: reader(body),
            text,
            base: text.len() - body.len(),
            open: Vec::with_capacity(16),
            told: None,
            instructions: Vec::new(),
            limits,
            deepest: usize::try_from(limits.depth).unwrap_or(usize::MAX),
        }
    }

    /// A walk of its own over a stretch of the same text, inside the root.
    pub(super) fn over(&self, stretch: Range<usize>) -> Option<Self> {
        // Only a reader that begins takes a byte order mark for one: this one has begun.
        let mut reader = reader("<a/>");
        reader.read_event().ok()?;
        let begun = usize::try_from(reader.buffer_position()).ok()?;
        *reader.stream().get_mut() = self.text.as_bytes().get(stretch.clone())?;
        Some(Self {
            reader,
            text: self.text.get(..stretch.end)?,
            base: stretch.start.checked_sub(begun)?,
            open: self.open.first().into_iter().copied().collect(),
            told: None,
            instructions: Vec::new(),
            ..*self
        })
    }

    /// Goes on at `place`, behind the open element and others after it, which other walks have read.
    pub(super) fn go_on(&mut self, place: usize) {
        if self.told.take().is_none() {
            self.open.pop();
        }
        let passed = place.saturating_sub(self.position());
        self.reader.stream().consume(passed);
    }

    /// The byte after the last event.
    pub(super) fn position(&self) -> usize {
        self.base + usize::try_from(self.reader.buffer_position()).unwrap_or(usize::MAX)
    }

    #[inline]
    fn event(&mut self) -> Walk<Event<'a>> {
        match self.reader.read_event() {
            Ok(event) => Ok(event),
            Err(error) => Err(self.ill_formed(error)),
        }
    }

    /// Looks at an event that is neither tag nor text.
    #[cold]
    fn pass(&mut self, event: &Event<'a>, at: usize) {
        let all = at..self.position();
        if let Event::Comment(_) = event {
            let inside = self.text.get(all.start + 4..all.end.saturating_sub(3));
            if let Some(words) = inside.and_then(waiver::marked) {
                self.instructions.push((words, all));
            }
            return;
        }
        let Event::PI(_) = event else { return };
        let inside = self.text.get(all.start + 2..all.end.saturating_sub(2));
        if let Some((target, content)) =
            inside.and_then(|i| i.split_once(|c: char| c.is_whitespace() || c == ':'))
            && target == "chartproof"
        {
            let words = content.trim_start();
            let words = words.strip_prefix(':').unwrap_or(words);
            self.instructions.push((words, all));
        }
    }

    #[cold]
    fn ill_formed(&self, error: quick_xml::Error) -> Box<Fault> {
        let at = self.base + usize::try_from(self.reader.error_position()).unwrap_or(0);
        let reason = match error {
            quick_xml::Error::Syntax(e) => e.to_string(),
            quick_xml::Error::IllFormed(e) => e.to_string(),
            e => e.to_string(),
        };
        self.damaged(at, &reason)
    }

    #[cold]
    fn damaged(&self, at: usize, reason: &str) -> Box<Fault> {
        let end = self.text.len().min(at + 1).max(at);
        Fault::new(at..end, format!("not well-formed XML: {reason}"))
            .help("save or export the score again; the file is damaged or was cut off")
    }

    /// The element whose tag, which starts at `at`, has just been read as an event.
    fn element(&mut self, at: usize, tag: &BytesStart<'_>) -> Walk<Element<'a>> {
        if self.open.len() >= self.deepest {
            return Err(self.too_deep(at));
        }
        let end = self.position();
        let close = if self.told.is_some() { "/>" } else { ">" };
        let element = Element {
            inner: self.text.get(at + 1..end - close.len()).unwrap_or_default(),
            name: tag.name().0.len() as u32,
            start: at as u32,
            end: end as u32,
        };
        if self.told.is_none() {
            self.open.push(element.name());
        }
        Ok(element)
    }

    /// Closes the open element, whose end tag, starting at `at`, has just been read as an event.
    fn closed(&mut self, end: &BytesEnd<'_>, at: usize) -> Walk<()> {
        let found = end.name().0;
        let error = match self.open.pop() {
            Some(name) if name == found => return Ok(()),
            Some(name) => IllFormedError::MismatchedEndTag {
                expected: name.to_owned(),
                found: found.to_owned(),
            },
            None => IllFormedError::UnmatchedEndTag(found.to_owned()),
        };
        Err(self.damaged(at, &error.to_string()))
    }

    #[cold]
    fn too_deep(&self, at: usize) -> Box<Fault> {
        Fault::new(
            at..self.position(),
            format!(
                "elements stand more than {} deep in each other; no score needs that",
                self.deepest
            ),
        )
        .help(limits::raise("depth"))
    }

    #[cold]
    fn cut_off(&self) -> Box<Fault> {
        let end = self.text.len();
        let inside = self.open.last().copied().unwrap_or_default();
        Fault::new(
            end..end,
            format!("the file breaks off inside <{inside}>: its end tag </{inside}> is missing"),
        )
        .help("save or export the score again, or fetch a complete copy")
    }

    /// Passes over white space and the next tag, where that is written plainly, as nearly all of a
    /// score is; over a whole element, where that holds nothing but plain text. The reader must stand
    /// behind a tag. `None` where something else follows: that is for the events.
    #[inline]
    fn plain(&mut self) -> Option<Plain<'a>> {
        let from = self.position();
        let rest = self.text.get(from..)?;
        let tag = rest.trim_ascii_start();
        let white = rest.len() - tag.len();
        let (length, plain) = self.plain_tag(tag, from + white).unzip();
        self.reader.stream().consume(white + length.unwrap_or(0));
        plain
    }

    /// The plain tag that `xml` starts with, which stands at `at`, and how many bytes it takes.
    #[inline]
    fn plain_tag(&mut self, xml: &'a str, at: usize) -> Option<(usize, Plain<'a>)> {
        if let Some(end) = xml.strip_prefix("</") {
            let name = self.open.last()?;
            let length = end
                .strip_prefix(*name)?
                .starts_with('>')
                .then_some(name.len() + 3)?;
            self.open.pop();
            return Some((length, Plain::End));
        }
        let tag = PlainTag::of(xml)?;
        if self.open.len() >= self.deepest {
            return None;
        }
        let name = tag.inner.get(..tag.name)?;
        let element = tag.element(at);
        let leaf = if tag.empty {
            Some(("", 0))
        } else {
            plain_content(xml.get(tag.length..)?, name)
        };
        self.told = leaf.map(|(text, _)| text);
        if leaf.is_none() {
            self.open.push(name);
        }
        let rest = leaf.map_or(0, |(_, length)| length);
        Some((tag.length + rest, Plain::Start(element)))
    }

    /// The next child element of the open element, or `None` when that has closed.
    #[inline]
    pub(super) fn child(&mut self) -> Walk<Option<Element<'a>>> {
        if self.told.take().is_some() {
            return Ok(None);
        }
        match self.plain() {
            Some(Plain::Start(element)) => Ok(Some(element)),
            Some(Plain::End) => Ok(None),
            None => self.child_by_events(),
        }
    }

    /// Lets `read` look at the text ahead, and passes over what it takes from there. Nothing but time
    /// depends on it: what it does not take is still to come. It is true when the last that `read` took is
    /// the end tag of the open element, which is closed then.
    #[inline]
    pub(super) fn look_ahead(&mut self, read: impl FnOnce(&mut Ahead<'a>) -> bool) -> bool {
        // Nothing comes in an element that was read to its end, nor where elements stand too deep.
        if self.told.is_some() || self.open.len() + Ahead::DEEPEST > self.deepest {
            return false;
        }
        let Some(text) = self.text.get(self.position()..) else {
            return false;
        };
        let mut ahead = Ahead {
            text,
            end: self.text.len(),
        };
        let closed = read(&mut ahead);
        let passed = text.len() - ahead.text.len();
        self.reader.stream().consume(passed);
        if closed {
            self.open.pop();
        }
        closed
    }

    #[inline(never)]
    fn child_by_events(&mut self) -> Walk<Option<Element<'a>>> {
        loop {
            let at = self.position();
            let tag = match self.event()? {
                Event::Start(tag) => tag,
                Event::Empty(tag) => {
                    self.told = Some("");
                    tag
                }
                Event::End(tag) => {
                    self.closed(&tag, at)?;
                    return Ok(None);
                }
                Event::GeneralRef(reference) => {
                    self.resolve(&reference, at)?;
                    continue;
                }
                Event::Eof => return Err(self.cut_off()),
                Event::Text(_) | Event::CData(_) => continue,
                other => {
                    self.pass(&other, at);
                    continue;
                }
            };
            return self.element(at, &tag).map(Some);
        }
    }

    /// Leaves out the rest of the open element.
    pub(super) fn skip(&mut self) -> Walk<()> {
        if self.told.take().is_some() {
            return Ok(());
        }
        let around = self.open.len();
        while self.open.len() >= around {
            self.child()?;
        }
        Ok(())
    }

    /// The text of the open element up to its end; elements inside it are left out.
    pub(super) fn text(&mut self) -> Walk<Cow<'a, str>> {
        if let Some(text) = self.told.take() {
            return Ok(Cow::Borrowed(text));
        }
        let mut text = Cow::Borrowed("");
        loop {
            let at = self.position();
            match self.event()? {
                Event::Text(t) => append(&mut text, t.xml10_content()),
                Event::CData(t) => append(&mut text, t.xml10_content()),
                Event::GeneralRef(reference) => {
                    let c = self.resolve(&reference, at)?;
                    text.to_mut().push(c);
                }
                Event::Start(tag) => {
                    self.element(at, &tag)?;
                    self.skip()?;
                }
                Event::End(tag) => {
                    self.closed(&tag, at)?;
                    return Ok(text);
                }
                Event::Eof => return Err(self.cut_off()),
                Event::Empty(_) => {}
                other => self.pass(&other, at),
            }
        }
    }

    /// The text of the open element with runs of white space made one space.
    pub(super) fn words(&mut self) -> Walk<String> {
        Ok(tidy(&self.text()?))
    }

    /// The open element's text as a whole number.
    pub(super) fn whole<T: FromStr>(&mut self, element: &Element<'_>) -> Walk<T> {
        let text = self.text()?;
        text.trim().parse().map_err(|_| {
            Fault::new(
                element.start()..self.position(),
                format!(
                    "<{}> holds `{}`, where a whole number in its usual range was expected",
                    element.name(),
                    text.trim()
                ),
            )
        })
    }

    /// The open element's text as a decimal number.
    pub(super) fn decimal(&mut self, element: &Element<'_>) -> Walk<Ratio<i64>> {
        let text = self.text()?;
        self.decimal_of(&text, element)
    }

    fn decimal_of(&self, text: &str, element: &Element<'_>) -> Walk<Ratio<i64>> {
        decimal(text).ok_or_else(|| {
            Fault::new(
                element.start()..self.position(),
                format!(
                    "<{}> holds `{}`, where a number was expected",
                    element.name(),
                    text.trim()
                ),
            )
        })
    }

    /// A decimal number rounded to the nearest whole one: semitones, where files may say `-0.5`.
    pub(super) fn rounded(&mut self, element: &Element<'_>) -> Walk<i64> {
        let text = self.text()?;
        if let Ok(whole) = text.parse::<i8>() {
            return Ok(i64::from(whole));
        }
        let number = self.decimal_of(&text, element)?;
        Ok(number.round().to_integer())
    }

    /// The character an entity or character reference stands for. Entities that a DOCTYPE
    /// declares are never expanded.
    fn resolve(&self, reference: &quick_xml::events::BytesRef<'_>, at: usize) -> Walk<char> {
        let fault = |why: String| Fault::new(at..self.position(), why);
        if reference.is_char_ref() {
            return match reference.resolve_char_ref() {
                Ok(Some(c)) => Ok(c),
                _ => Err(fault(format!("`&{};` is not a character", &**reference))),
            };
        }
        Ok(match &**reference {
            "lt" => '<',
            "gt" => '>',
            "amp" => '&',
            "apos" => '\'',
            "quot" => '"',
            name => {
                return Err(
                    fault(format!("the entity `&{name};` is not one of XML's five"))
                        .help("write the character itself; entities of a DOCTYPE are not expanded"),
                );
            }
        })
    }

    /// The root element, once the prolog is passed; `None` when there is no element at all.
    pub(super) fn root(&mut self) -> Walk<Option<Element<'a>>> {
        loop {
            let at = self.position();
            let tag = match self.event()? {
                Event::Start(tag) => tag,
                Event::Empty(tag) => {
                    self.told = Some("");
                    tag
                }
                Event::Text(t) if !t.trim().is_empty() => {
                    return Err(Fault::new(
                        at..self.position(),
                        "text stands before the root element, where only a tag was expected",
                    ));
                }
                Event::CData(_) | Event::GeneralRef(_) => {
                    return Err(Fault::new(
                        at..self.position(),
                        "text stands before the root element, where only a tag was expected",
                    ));
                }
                Event::End(tag) => {
                    self.closed(&tag, at)?;
                    continue;
                }
                Event::Eof => return Ok(None),
                other => {
                    self.pass(&other, at);
                    continue;
                }
            };
            return self.element(at, &tag).map(Some);
        }
    }

    /// Makes sure that nothing but comments follows the root element.
    pub(super) fn epilog(&mut self) -> Walk<()> {
        loop {
            let at = self.position();
            match self.event()? {
                Event::Eof => return Ok(()),
                Event::Text(t) if t.trim().is_empty() => {}
                Event::Comment(_) | Event::PI(_) => {}
                _ => {
                    return Err(Fault::new(
                        at..self.position(),
                        "something follows the end of the score",
                    )
                    .help("keep one score in one file"));
                }
            }
        }
    }
}

/// The text behind the last tag, to be compared with what nearly always stands there. White space is
/// passed over, and what is found.
#[derive(Clone, Copy)]
pub(super) struct Ahead<'a> {
    text: &'a str,
    /// Where it ends, in bytes of the whole text.
    end: usize,
}

impl<'a> Ahead<'a> {
    /// How many elements in each other may be taken.
    const DEEPEST: usize = 3;

    /// Passes over white space and this tag, where it comes next letter for letter.
    #[inline]
    pub(super) fn passes(&mut self, tag: &'static str) -> Option<()> {
        self.text = self.text.trim_ascii_start().strip_prefix(tag)?;
        Some(())
    }

    /// What `read` makes of the plain text between a start tag and its end tag.
    #[inline]
    pub(super) fn leaf<T>(
        &mut self,
        start: &'static str,
        end: &'static str,
        read: impl FnOnce(&'a str) -> Option<T>,
    ) -> Option<T> {
        let inside = self.text.trim_ascii_start().strip_prefix(start)?;
        let (text, after) = plain_text(inside)?;
        let after = after.strip_prefix(end)?;
        let value = read(text)?;
        self.text = after;
        Some(value)
    }

    /// All that `read` takes, or nothing of it.
    #[inline]
    pub(super) fn all_of<T>(&mut self, read: impl FnOnce(&mut Self) -> Option<T>) -> Option<T> {
        let mut ahead = *self;
        let value = read(&mut ahead)?;
        *self = ahead;
        Some(value)
    }

    /// Any element without content, its attributes not yet looked at.
    #[inline]
    pub(super) fn childless(&mut self) -> Option<Element<'a>> {
        let text = self.text.trim_ascii_start();
        let tag = PlainTag::of(text).filter(|tag| tag.empty)?;
        let after = text.get(tag.length..)?;
        self.text = after;
        Some(tag.element(self.end - text.len()))
    }
}

fn reader(text: &str) -> Reader<&[u8]> {
    let mut reader = Reader::from_str(text);
    // Of tags that are read without events the reader knows nothing: `closed` compares names.
    let config = reader.config_mut();
    config.check_end_names = false;
    config.allow_unmatched_ends = true;
    reader
}

/// What a tag that is read without an event does.
enum Plain<'a> {
    Start(Element<'a>),
    End,
}

/// A start tag whose name is of small letters, with attributes between double quotes, if any. What is
/// not plain in any way is left to the events.
struct PlainTag<'a> {
    /// What stands between the brackets.
    inner: &'a str,
    /// Bytes of the name.
    name: usize,
    /// Bytes of the tag.
    length: usize,
    /// The tag is an element without content.
    empty: bool,
}

impl<'a> PlainTag<'a> {
    /// The tag that `xml` starts with.
    #[inline]
    fn of(xml: &'a str) -> Option<Self> {
        let (name, after) = until(xml.strip_prefix('<')?, |b| !is_of_name(b))?;
        let (inside, empty) = match after.as_bytes() {
            [b'>', ..] => (0, false),
            [b'/', b'>', ..] => (0, true),
            [b' ', attributes @ ..] => {
                let end = memchr::memchr(b'>', attributes)?;
                let inside = attributes.get(..end)?;
                let quotes = memchr::memchr_iter(b'"', inside).count();
                // After an odd number of quotes the bracket stands inside a value.
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
            name: name.len(),
            length: end + 1 + usize::from(empty),
            empty,
        })
    }

    /// The same as an element whose tag stands at `at`.
    #[inline]
    fn element(&self, at: usize) -> Element<'a> {
        Element {
            inner: self.inner,
            name: self.name as u32,
            start: at as u32,
            end: (at + self.length) as u32,
        }
    }
}

/// The attribute that `text` starts with, when it is written plainly, ` name="value"`: its name, its value,
/// and what follows.
#[inline]
fn plain_attribute(text: &str) -> Option<(&str, &str, &str)> {
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
fn plain_content<'a>(xml: &'a str, name: &str) -> Option<(&'a str, usize)> {
    let (text, rest) = plain_text(xml)?;
    let end = rest.strip_prefix("</")?.strip_prefix(name)?;
    end.starts_with('>')
        .then(|| (text, text.len() + name.len() + 3))
}

/// The short text that stands for itself, and all from the first sign on that does not.
#[inline]
fn plain_text(xml: &str) -> Option<(&str, &str)> {
    let plain = |b: u8| !matches!(b, b'<' | b'&' | b'\r');
    xml.split_at_checked(xml.bytes().take(64).position(|b| !plain(b))?)
}

fn append<'a>(text: &mut Cow<'a, str>, more: Cow<'a, str>) {
    if text.is_empty() {
        *text = more;
    } else {
        text.to_mut().push_str(&more);
    }
}

/// Runs of white space made one space, none at the ends.
pub(super) fn tidy(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !out.is_empty() {
            out.push(' ');
        }
        out.push_str(word);
    }
    out
}
