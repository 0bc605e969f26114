//! Bytes of a text as characters.

/// How many characters a text has before a byte, with a count kept now and then: a file may have
/// megabytes and thousands of findings.
pub(super) struct CharacterCounts<'a> {
    text: &'a str,
    /// CharacterCounts before each multiple of [`STRIDE`]; empty where every character is one byte.
    counts: Vec<usize>,
}

/// How many bytes lie between two counts.
const STRIDE: usize = 4096;

/// Whether a byte starts a character.
fn starts(byte: u8) -> bool {
    byte & 0xC0 != 0x80
}

impl<'a> CharacterCounts<'a> {
    pub(super) fn of(text: &'a str) -> Self {
        let mut counts = Vec::new();
        if !text.is_ascii() {
            let mut sum = 0;
            for piece in text.as_bytes().chunks(STRIDE) {
                counts.push(sum);
                sum += piece.iter().filter(|b| starts(**b)).count();
            }
        }
        Self { text, counts }
    }

    pub(super) fn before(&self, at: usize) -> usize {
        let at = at.min(self.text.len());
        if self.counts.is_empty() {
            return at;
        }
        let stride = (at / STRIDE).min(self.counts.len().saturating_sub(1));
        let known = self.counts.get(stride).copied().unwrap_or_default();
        let rest = self.text.as_bytes().get(stride * STRIDE..at);
        known + rest.map_or(0, |r| r.iter().filter(|b| starts(**b)).count())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn characters_are_counted() {
        let text = "a\u{e9}\u{266d}".repeat(3000);
        let count = CharacterCounts::of(&text);
        for (characters, (at, _)) in text.char_indices().enumerate().step_by(97) {
            assert_eq!(count.before(at), characters);
        }
        assert_eq!(count.before(text.len() + 9), 9000);
        assert_eq!(CharacterCounts::of("abc").before(2), 2);
    }
}
