//! A house style file: its text, and its mistakes with their places. Readers of the messages need not
//! know TOML.

use crate::ground::problem::Problem;
use crate::ground::text::{Lines, Text};
use std::cell::RefCell;
use std::ops::Range;
use std::path::Path;

/// The most mistakes of one file that are listed.
pub(super) const MOST_MISTAKES: usize = 100;

/// The text of one file, and the mistakes found in it so far.
pub(super) struct StyleFile<'t> {
    pub(super) path: &'t Path,
    pub(super) text: Text,
    /// Where its lines are.
    lines: Lines,
    mistakes: RefCell<Vec<Problem>>,
}

impl<'t> StyleFile<'t> {
    pub(super) fn new(path: &'t Path, text: &str) -> Self {
        Self {
            path,
            text: Text::from(text),
            lines: Lines::of(text.as_bytes()),
            mistakes: RefCell::default(),
        }
    }

    /// Notes a mistake.
    pub(super) fn wrong(
        &self,
        at: Range<usize>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        let error = Problem::at(self.path, &self.text, at, message).help(help);
        self.mistakes.borrow_mut().push(error);
    }

    /// The mistakes in the order they stand in. Of very many the first are listed, and one more says
    /// how many there are besides.
    pub(super) fn mistakes(self) -> Vec<Problem> {
        let mut all = self.mistakes.into_inner();
        all.sort_by_key(|m| m.at.as_ref().map_or(0, |r| r.start));
        if let Some(more) = all.len().checked_sub(MOST_MISTAKES).filter(|n| *n > 0) {
            all.truncate(MOST_MISTAKES);
            let mistakes = if more == 1 { "mistake" } else { "mistakes" };
            all.push(
                Problem::whole(self.path, format!("and {more} more {mistakes}"))
                    .help("mend the first ones, then look again"),
            );
        }
        all
    }

    /// The 1-based line of a place.
    pub(super) fn line(&self, at: &Range<usize>) -> usize {
        let start = at.start.min(self.text.len());
        self.lines.place(self.text.as_bytes(), start).0
    }

    /// Notes why the text is no TOML at all, in words for people who write settings.
    pub(super) fn no_toml(&self, error: &toml::de::Error) {
        let at = error.span().unwrap_or(0..0);
        let start = at.start.min(self.text.len());
        let line_start = self
            .text
            .get(..start)
            .and_then(|t| t.rfind('\n'))
            .map_or(0, |i| i + 1);
        let line = self
            .text
            .get(line_start..)
            .and_then(|t| t.lines().next())
            .unwrap_or_default();
        let bare = line.split('#').next().unwrap_or_default().trim();
        let (message, help) = if error.message().to_lowercase().contains("duplicate") {
            let name = bare.split('=').next().unwrap_or_default().trim();
            let word = self
                .text
                .get(at.clone())
                .filter(|w| !w.trim().is_empty())
                .unwrap_or(name);
            (
                format!("`{word}` stands here a second time"),
                "keep one of the two".to_owned(),
            )
        } else {
            unreadable(bare, error.message())
        };
        self.wrong(at, message, help);
    }
}

/// Why a line without its comment is no setting, and how to write it. `error` is the parser's message.
fn unreadable(bare: &str, error: &str) -> (String, String) {
    let quotes = bare.matches('"').count();
    let value = bare.split_once('=').map(|(_, v)| v.trim());
    let name = bare.split('=').next().unwrap_or_default().trim();
    if bare.starts_with('[')
        && !bare.contains('=')
        && bare.matches('[').count() != bare.matches(']').count()
    {
        (
            format!("the brackets of the heading `{bare}` do not match"),
            "write `[levels]` with one pair of brackets, `[[accepted]]` with two".to_owned(),
        )
    } else if quotes % 2 == 1 {
        (
            "a text in quotation marks is not closed on its line".to_owned(),
            "write the closing \" at the end of the text".to_owned(),
        )
    } else if bare.contains(['\u{201c}', '\u{201d}', '\u{201e}']) {
        (
            "these are typographic quotation marks".to_owned(),
            "write straight ones: \"".to_owned(),
        )
    } else if !bare.is_empty() && !bare.starts_with('[') && !bare.contains('=') {
        match bare.split_once(':') {
            Some((name, value)) => (
                "a setting is written with `=`, not with a colon".to_owned(),
                format!("write {} = {}", name.trim(), quoted(value.trim())),
            ),
            None => (
                format!("`{bare}` sets nothing: there is no `=` in it"),
                "write a name, `=` and a value; a comment starts with `#`".to_owned(),
            ),
        }
    } else if value == Some("") {
        (
            format!("`{name}` is given no value"),
            "write a value after the `=`, or take the line out".to_owned(),
        )
    } else if let Some(value) = value
        && !value.starts_with(['"', '\'', '[', '{'])
        && value.chars().any(char::is_alphabetic)
    {
        (
            format!("`{value}` is a text without quotation marks"),
            format!("write {name} = {}", quoted(value)),
        )
    } else if name.contains(' ') && !name.starts_with(['"', '[']) {
        (
            format!("`{name}` is not a name of a setting: it has a space in it"),
            "words of one name are joined by hyphens, such as only-diminished".to_owned(),
        )
    } else if bare.contains('[') && bare.matches('[').count() != bare.matches(']').count() {
        (
            "a list is not closed".to_owned(),
            "write [\"one\", \"two\"], with a comma between and a bracket at the end".to_owned(),
        )
    } else {
        (
            format!("this cannot be read: {error}"),
            "compare the line with what `chartproof style` prints".to_owned(),
        )
    }
}

fn quoted(text: &str) -> String {
    let plain = matches!(text, "true" | "false") || text.parse::<f64>().is_ok();
    if plain || text.starts_with('"') {
        text.to_owned()
    } else {
        format!("\"{}\"", text.trim_matches(['\'', '"']))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_that_is_no_setting_is_explained() {
        for (line, message, help) in [
            (
                "[levels",
                "the brackets of the heading `[levels` do not match",
                "[levels]",
            ),
            ("about = \"x", "not closed on its line", "closing \""),
            ("about = \u{201c}x\u{201d}", "typographic", "straight"),
            ("about: x", "not with a colon", "write about = \"x\""),
            ("grade: 3", "not with a colon", "write grade = 3"),
            ("our style", "there is no `=` in it", "#"),
            ("gate =", "`gate` is given no value", "take the line out"),
            ("about = x y", "`x y` is a text", "write about = \"x y\""),
            ("only diminished = 1", "a space in it", "only-diminished"),
            (
                "files = [1, 2",
                "a list is not closed",
                "bracket at the end",
            ),
            (
                "x = ?",
                "this cannot be read: the parser's word",
                "chartproof style",
            ),
        ] {
            let (said, advice) = unreadable(line, "the parser's word");
            assert!(said.contains(message), "{line}: {said}");
            assert!(advice.contains(help), "{line}: {advice}");
        }
    }

    #[test]
    fn mistakes_come_in_the_order_of_their_places() {
        let file = StyleFile::new(Path::new("x.toml"), "a = 1\nb = 2\n");
        file.wrong(6..7, "second", "");
        file.wrong(0..1, "first", "");
        assert_eq!(file.line(&(6..7)), 2);
        let said: Vec<String> = file.mistakes().into_iter().map(|m| m.message).collect();
        assert_eq!(said, ["first", "second"]);
    }
}
