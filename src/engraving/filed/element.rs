//! The elements of one bar of a MusicXML file.

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// Deeper elements than any bar has.
const DEEPEST: usize = 24;

/// More elements than any bar has.
const MOST: usize = 60_000;

/// An element with what is in it.
#[derive(Debug, Default)]
pub(super) struct Element {
    pub name: String,
    /// Where it starts, in bytes of the bar.
    pub start: usize,
    attributes: Vec<(String, String)>,
    pub children: Vec<Element>,
    text: String,
}

impl Element {
    /// The first element of a text; none when it is not well formed.
    pub fn read(text: &str) -> Option<Self> {
        let mut reader = Reader::from_str(text);
        let mut open: Vec<Self> = Vec::new();
        let mut count = 0;
        loop {
            let start = usize::try_from(reader.buffer_position()).ok()?;
            let done = match reader.read_event().ok()? {
                Event::Start(tag) => {
                    open.push(Self::new(&tag, start)?);
                    None
                }
                Event::Empty(tag) => Some(Self::new(&tag, start)?),
                Event::End(_) => Some(open.pop()?),
                Event::Text(words) => {
                    let words = words.xml10_content();
                    if let Some(last) = open.last_mut() {
                        last.text.push_str(&words);
                    }
                    None
                }
                Event::GeneralRef(name) => {
                    if let Some(last) = open.last_mut() {
                        last.text.push_str(&named(&name)?);
                    }
                    None
                }
                Event::Eof => return None,
                _ => None,
            };
            count += 1;
            if open.len() > DEEPEST || count > MOST {
                return None;
            }
            if let Some(done) = done {
                match open.last_mut() {
                    Some(parent) => parent.children.push(done),
                    None => return Some(done),
                }
            }
        }
    }

    fn new(tag: &BytesStart<'_>, start: usize) -> Option<Self> {
        let attributes = tag
            .attributes()
            .map(|a| {
                let a = a.ok()?;
                let key = a.key.0.to_owned();
                let value = a.value.clone().into_owned();
                Some((key, value))
            })
            .collect::<Option<_>>()?;
        Some(Self {
            name: tag.name().0.to_owned(),
            start,
            attributes,
            ..Self::default()
        })
    }

    pub fn child(&self, name: &str) -> Option<&Self> {
        self.children.iter().find(|c| c.name == name)
    }

    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Self> {
        self.children.iter().filter(move |c| c.name == name)
    }

    pub fn has(&self, name: &str) -> bool {
        self.child(name).is_some()
    }

    pub fn attribute(&self, name: &str) -> Option<&str> {
        let found = self.attributes.iter().find(|(key, _)| key == name);
        found.map(|(_, value)| value.as_str())
    }

    pub fn words(&self) -> &str {
        self.text.trim()
    }

    /// The words of a child.
    pub fn said(&self, name: &str) -> Option<&str> {
        self.child(name).map(Self::words)
    }

    /// A whole number in a child.
    pub fn number(&self, name: &str) -> Option<i64> {
        let words = self.said(name)?;
        words.parse().ok().filter(|n| (0..1 << 40).contains(n))
    }
}

/// The character that a reference stands for.
fn named(name: &quick_xml::events::BytesRef<'_>) -> Option<String> {
    if let Some(c) = name.resolve_char_ref().ok()? {
        return Some(c.to_string());
    }
    let name: &str = name;
    Some(
        match name {
            "amp" => "&",
            "lt" => "<",
            "gt" => ">",
            "quot" => "\"",
            "apos" => "'",
            _ => return None,
        }
        .to_owned(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn elements_keep_their_places_and_words() {
        let text =
            "<measure><note a=\"1\"><type>half</type></note><words>A &amp; B</words></measure>";
        let bar = Element::read(text).unwrap();
        let note = bar.child("note").unwrap();
        assert_eq!(note.start, "<measure>".len());
        assert_eq!(
            (note.attribute("a"), note.said("type")),
            (Some("1"), Some("half"))
        );
        assert_eq!(bar.said("words"), Some("A & B"));
    }

    #[test]
    fn broken_or_endless_bars_are_none() {
        assert!(Element::read("<measure><note></measure>").is_none());
        assert!(Element::read("<measure>").is_none());
        assert!(Element::read(&"<a>".repeat(100)).is_none());
    }
}
