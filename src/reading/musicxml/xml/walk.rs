//! A forward walk over XML that borrows everything from the text and knows where it stands.
//!
//! The pattern of every reader here: [`Xml::child`] gives the next child of the element that is
//! open, or `None` once that element has closed; each child that was given must be finished, by
//! walking its own children, by [`Xml::text`], or by [`Xml::skip`].
#![allow(
    clippy::arithmetic_side_effects,
    reason = "places in a text and lengths of its pieces: no text is longer than 32 bits less a mebibyte"
)]

use super::ahead::Ahead;
use super::element::Element;
use super::plain::{self, Plain};
use crate::file_text::limits::{self, Limits};
use crate::reading::fault::{Fault, Parsed};
use crate::reading::musicxml::values::decimal;
use crate::reading::musicxml::ways::Ways;
use crate::reading::waiver;
use num_rational::Ratio;
use quick_xml::Reader;
use quick_xml::errors::IllFormedError;
use quick_xml::events::{BytesEnd, BytesStart, Event};
use std::borrow::Cow;
use std::io::BufRead;
use std::ops::Range;
use std::str::FromStr;

/// The walk.
pub struct Xml<'a> {
    reader: Reader<&'a [u8]>,
    text: &'a str,
    /// What the reader's places lack to be places in the text: a byte order mark that was left in it, or
    /// what stands before a stretch.
    base: usize,
    /// The names of the open elements.
    open: Vec<&'a str>,
    /// The text of a leaf that was read to its end at once. Its end has not been reported to the caller yet.
    leaf: Option<&'a str>,
    /// Processing instructions for this program that have been passed: their content and bytes.
    pub instructions: Vec<(&'a str, Range<usize>)>,
    /// How much is read at most.
    pub limits: Limits,
    /// How many elements may be open.
    deepest: usize,
    /// The ways that are taken.
    ways: Ways,
}

/// A quick way has found something unusual, and has taken nothing: the slow way is to read it.
struct Declined;

impl<'a> Xml<'a> {
    pub fn new(text: &'a str, limits: Limits, ways: Ways) -> Self {
        let body = text.strip_prefix('\u{feff}').unwrap_or(text);
        Self {
            reader: reader(body),
            text,
            base: text.len() - body.len(),
            open: Vec::with_capacity(16),
            leaf: None,
            instructions: Vec::new(),
            limits,
            deepest: usize::try_from(limits.depth).unwrap_or(usize::MAX),
            ways,
        }
    }

    /// A walk of its own over a stretch of the same text, inside the root.
    pub fn over(&self, stretch: Range<usize>) -> Option<Self> {
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
            leaf: None,
            instructions: Vec::new(),
            ..*self
        })
    }

    /// Goes on at `place`, behind the open element and others after it, which other walks have read.
    pub fn go_on(&mut self, place: usize) {
        if self.leaf.take().is_none() {
            self.open.pop();
        }
        let passed = place.saturating_sub(self.position());
        self.reader.stream().consume(passed);
    }

    /// The byte after the last event.
    pub fn position(&self) -> usize {
        self.base + usize::try_from(self.reader.buffer_position()).unwrap_or(usize::MAX)
    }

    #[inline]
    fn event(&mut self) -> Parsed<Event<'a>> {
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
    fn element(&mut self, at: usize, tag: &BytesStart<'_>) -> Parsed<Element<'a>> {
        if self.open.len() >= self.deepest {
            return Err(self.too_deep(at));
        }
        let end = self.position();
        let close = if self.leaf.is_some() { "/>" } else { ">" };
        let element = Element {
            inner: self.text.get(at + 1..end - close.len()).unwrap_or_default(),
            name: tag.name().0.len() as u32,
            start: at as u32,
            end: end as u32,
            plain: self.ways.plain,
        };
        if self.leaf.is_none() {
            self.open.push(element.name());
        }
        Ok(element)
    }

    /// Closes the open element, whose end tag, starting at `at`, has just been read as an event.
    fn closed(&mut self, end: &BytesEnd<'_>, at: usize) -> Parsed<()> {
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

    /// The next child element of the open element, or `None` when that has closed.
    #[inline]
    pub fn child(&mut self) -> Parsed<Option<Element<'a>>> {
        if self.leaf.take().is_some() {
            return Ok(None);
        }
        match self.plain_child() {
            Ok(child) => Ok(child),
            Err(Declined) => self.child_by_events(),
        }
    }

    /// The next child, where nothing but white space stands before it, and its tag is plain. A plain leaf
    /// is passed over to its end. The walk must stand behind a tag.
    #[inline]
    fn plain_child(&mut self) -> Result<Option<Element<'a>>, Declined> {
        // Where elements stand too deep the slow way says so.
        if !self.ways.plain || self.open.len() >= self.deepest {
            return Err(Declined);
        }
        let from = self.position();
        let text = self.text.get(from..).ok_or(Declined)?;
        let tag = text.trim_ascii_start();
        let white = text.len() - tag.len();
        let open = self.open.last().ok_or(Declined)?;
        let (plain, length) = plain::next(tag, open).ok_or(Declined)?;
        self.reader.stream().consume(white + length);
        Ok(match plain {
            Plain::Start(tag) => {
                self.open.push(tag.name);
                Some(Element::plain(&tag, from + white))
            }
            Plain::Leaf(tag, text) => {
                self.leaf = Some(text);
                Some(Element::plain(&tag, from + white))
            }
            Plain::End => {
                self.open.pop();
                None
            }
        })
    }

    /// Lets `read` compare the text ahead, and passes over the pieces that it takes. All other children are
    /// still to come. `read` answers whether the last piece is the end tag of the open element, which is
    /// closed then; so does this function.
    #[inline]
    pub fn look_ahead(&mut self, read: impl FnOnce(&mut Ahead<'a>) -> bool) -> bool {
        // Nothing comes in an element that was read to its end, nor where elements stand too deep.
        let possible = self.leaf.is_none() && self.open.len() + Ahead::DEEPEST <= self.deepest;
        if !self.ways.ahead || !possible {
            return false;
        }
        let Some(text) = self.text.get(self.position()..) else {
            return false;
        };
        let mut ahead = Ahead::new(text, self.text.len());
        let closed = read(&mut ahead);
        let passed = text.len() - ahead.left();
        self.reader.stream().consume(passed);
        if closed {
            self.open.pop();
        }
        closed
    }

    /// The next child, read the slow way.
    #[inline(never)]
    fn child_by_events(&mut self) -> Parsed<Option<Element<'a>>> {
        loop {
            let at = self.position();
            let tag = match self.event()? {
                Event::Start(tag) => tag,
                Event::Empty(tag) => {
                    self.leaf = Some("");
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
    pub fn skip(&mut self) -> Parsed<()> {
        if self.leaf.take().is_some() {
            return Ok(());
        }
        let around = self.open.len();
        while self.open.len() >= around {
            self.child()?;
        }
        Ok(())
    }

    /// The text of the open element up to its end; elements inside it are left out.
    pub fn text(&mut self) -> Parsed<Cow<'a, str>> {
        if let Some(text) = self.leaf.take() {
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
    pub fn words(&mut self) -> Parsed<String> {
        Ok(tidy(&self.text()?))
    }

    /// The open element's text as a whole number.
    pub fn whole<T: FromStr>(&mut self, element: &Element<'_>) -> Parsed<T> {
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
    pub fn decimal(&mut self, element: &Element<'_>) -> Parsed<Ratio<i64>> {
        let text = self.text()?;
        self.decimal_of(&text, element)
    }

    fn decimal_of(&self, text: &str, element: &Element<'_>) -> Parsed<Ratio<i64>> {
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
    pub fn rounded(&mut self, element: &Element<'_>) -> Parsed<i64> {
        let text = self.text()?;
        if let Ok(whole) = text.parse::<i8>() {
            return Ok(i64::from(whole));
        }
        let number = self.decimal_of(&text, element)?;
        Ok(number.round().to_integer())
    }

    /// The character an entity or character reference stands for. Entities that a DOCTYPE
    /// declares are never expanded.
    fn resolve(&self, reference: &quick_xml::events::BytesRef<'_>, at: usize) -> Parsed<char> {
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
    pub fn root(&mut self) -> Parsed<Option<Element<'a>>> {
        loop {
            let at = self.position();
            let tag = match self.event()? {
                Event::Start(tag) => tag,
                Event::Empty(tag) => {
                    self.leaf = Some("");
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
    pub fn epilog(&mut self) -> Parsed<()> {
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

fn reader(text: &str) -> Reader<&[u8]> {
    let mut reader = Reader::from_str(text);
    // Of tags that are read without events the reader knows nothing: `closed` compares names.
    let config = reader.config_mut();
    config.check_end_names = false;
    config.allow_unmatched_ends = true;
    reader
}

fn append<'a>(text: &mut Cow<'a, str>, more: Cow<'a, str>) {
    if text.is_empty() {
        *text = more;
    } else {
        text.to_mut().push_str(&more);
    }
}

/// Runs of white space made one space, none at the ends.
pub fn tidy(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !out.is_empty() {
            out.push(' ');
        }
        out.push_str(word);
    }
    out
}
