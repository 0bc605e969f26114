//! The text of a score as elements, attributes and leaves.
//!
//! A reader calls the walk ([`Xml`]) and nothing else. The walk has a slow way, over the events of
//! quick-xml, that reads everything and reports every fault, and two quick ways that a [`Ways`] can
//! switch off:
//!
//! * `plain`: a tag of small letters with attributes between double quotes, and a leaf of short plain
//!   text, are read straight from the text.
//! * `ahead`: the text behind a tag is compared with whole usual tags, letter for letter.
//!
//! Both decline what is not usual; then the slow way reads it.
//!
//! [`Ways`]: super::ways::Ways

mod ahead;
mod element;
mod plain;
mod walk;

pub(super) use ahead::Ahead;
pub(super) use element::Element;
pub(super) use walk::{Xml, tidy};
