//! Names and attributes that are plain, read straight from the text.

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
pub fn is_of_name(byte: u8) -> bool {
    byte.is_ascii_lowercase() || byte == b'-'
}

/// What comes before the first byte that `ends`, and all from there on.
#[inline]
pub fn until(text: &str, mut ends: impl FnMut(u8) -> bool) -> Option<(&str, &str)> {
    text.split_at_checked(text.as_bytes().iter().position(|b| ends(*b))?)
}
