//! The text ahead, compared with whole usual tags.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "a place in a text, before its end"
)]

use super::element::Element;
use super::plain::{PlainTag, plain_text};

/// The text behind the last tag, while it is compared with the usual tags. Each function takes a piece of
/// it, and the white space before that piece, or takes nothing and answers `None`.
#[derive(Clone, Copy)]
pub struct Ahead<'a> {
    text: &'a str,
    /// Where it ends, in bytes of the whole text.
    end: usize,
}

impl<'a> Ahead<'a> {
    /// How many elements in each other may be taken.
    pub const DEEPEST: usize = 3;

    /// The text `ahead`, which ends at the byte `end` of the whole text.
    #[inline]
    pub fn new(ahead: &'a str, end: usize) -> Self {
        Self { text: ahead, end }
    }

    /// How many bytes have not been taken.
    #[inline]
    pub fn left(&self) -> usize {
        self.text.len()
    }

    /// Takes this tag, where it comes next letter for letter.
    #[inline]
    pub fn passes(&mut self, tag: &'static str) -> Option<()> {
        self.text = self.text.trim_ascii_start().strip_prefix(tag)?;
        Some(())
    }

    /// Takes a leaf: the value that `read` finds in the plain text between these tags.
    #[inline]
    pub fn leaf<T>(
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

    /// Takes an element that holds nothing but the children that `read` takes.
    #[inline]
    pub fn element<T>(
        &mut self,
        start: &'static str,
        end: &'static str,
        read: impl FnOnce(&mut Self) -> Option<T>,
    ) -> Option<T> {
        let mut ahead = *self;
        ahead.passes(start)?;
        let value = read(&mut ahead)?;
        ahead.passes(end)?;
        *self = ahead;
        Some(value)
    }

    /// Takes any element without content; its attributes have not been looked at yet.
    #[inline]
    pub fn childless(&mut self) -> Option<Element<'a>> {
        let text = self.text.trim_ascii_start();
        let tag = PlainTag::of(text).filter(|tag| tag.empty)?;
        let after = text.get(tag.length..)?;
        self.text = after;
        Some(Element::plain(&tag, self.end - text.len()))
    }
}
