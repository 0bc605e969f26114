//! A start tag and its attributes.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "a place in a text: no text is longer than 32 bits less a mebibyte"
)]

use super::plain::{PlainTag, plain_attribute};
use crate::reading::fault::{Fault, Parsed};
use quick_xml::escape;
use quick_xml::events::attributes::Attributes;
use std::borrow::Cow;
use std::str::FromStr;

/// A start tag.
#[derive(Debug)]
pub struct Element<'a> {
    /// What stands between the brackets: the name, then the attributes.
    pub(super) inner: &'a str,
    /// Bytes of the name.
    pub(super) name: u32,
    /// The bytes of the tag: kept small, since elements are handed about a great deal.
    pub(super) start: u32,
    pub(super) end: u32,
    /// Attributes that are written plainly are read straight from the text.
    pub(super) plain: bool,
}

impl<'a> Element<'a> {
    /// A plain tag that stands at `at`.
    #[inline]
    pub fn plain(tag: &PlainTag<'a>, at: usize) -> Self {
        Self {
            inner: tag.inner,
            name: tag.name.len() as u32,
            start: at as u32,
            end: (at + tag.length) as u32,
            plain: true,
        }
    }

    /// The element's name.
    #[inline]
    pub fn name(&self) -> &'a str {
        self.inner.get(..self.name as usize).unwrap_or_default()
    }

    /// The first byte of the tag.
    #[inline]
    pub fn start(&self) -> usize {
        self.start as usize
    }

    /// The value of an attribute, references resolved.
    #[inline]
    pub fn attr(&self, name: &str) -> Parsed<Option<Cow<'a, str>>> {
        let mut rest = self.inner.get(self.name as usize..).unwrap_or_default();
        while self.plain
            && let Some((key, value, after)) = plain_attribute(rest)
        {
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
    fn attr_in_any_form(&self, name: &str) -> Parsed<Option<Cow<'a, str>>> {
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
    pub fn is(&self, name: &str, value: &str) -> Parsed<bool> {
        Ok(self.attr(name)?.is_some_and(|v| v.trim() == value))
    }

    /// A whole number in an attribute; `None` when it is absent or not a number.
    pub fn attr_number<T: FromStr>(&self, name: &str) -> Parsed<Option<T>> {
        Ok(self.attr(name)?.and_then(|v| v.trim().parse().ok()))
    }

    /// A fault about this element.
    pub fn fault(&self, message: impl Into<String>) -> Box<Fault> {
        Fault::new(self.start()..self.end as usize, message)
    }
}
