//! Text from outside as it may be shown: on a terminal, in the log of a build server, in a page.
//!
//! A terminal obeys control characters, turns lines around at format controls, and draws nothing at all
//! for others. A build server takes some lines of a log for orders. Neither may come from a score, a
//! style or the name of a file.

use std::fmt::Write as _;
use unicode_bidi::{BidiClass, bidi_class};
use unicode_general_category::{GeneralCategory, get_general_category};

/// Stands for a character that may not be shown.
pub const SIGN: char = '\u{fffd}';

/// The most combining marks on one letter; more of them would be drawn over other lines.
const MOST_MARKS: usize = 4;

/// Whether a character does nothing on a terminal but stand in its place. Not so: control and format
/// characters (those that turn the direction of writing among them), separators of lines, characters
/// without a meaning of their own, and letters that are drawn as nothing.
///
/// Source: Unicode 16.0, `UnicodeData.txt`, general categories.
pub fn is_plain(c: char) -> bool {
    use GeneralCategory as Category;
    if c.is_ascii() {
        return !c.is_ascii_control();
    }
    let category = get_general_category(c);
    let steers = matches!(
        category,
        Category::Control
            | Category::Format
            | Category::Surrogate
            | Category::PrivateUse
            | Category::Unassigned
            | Category::LineSeparator
            | Category::ParagraphSeparator
    );
    !steers && !is_ignored(c)
}

/// Letters and marks that are drawn as nothing.
///
/// Source: Unicode 16.0, `DerivedCoreProperties.txt`, `Default_Ignorable_Code_Point`, those that the
/// general category does not give away.
const fn is_ignored(c: char) -> bool {
    matches!(
        c,
        '\u{34f}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' | '\u{180b}'..='\u{180f}'
            | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{ffa0}' | '\u{e0100}'..='\u{e01ef}'
    )
}

/// Whether `after` only chooses how the sign before it is drawn, such as a flat that is no picture.
fn chooses_form(before: Option<char>, after: char) -> bool {
    use GeneralCategory as Category;
    matches!(after, '\u{fe0e}' | '\u{fe0f}')
        && before.is_some_and(|c| {
            matches!(
                get_general_category(c),
                Category::OtherSymbol | Category::MathSymbol
            )
        })
}

/// `text` on one line, safe to be shown: a tab and the end of a line become a blank, any other
/// character that is not plain becomes `SIGN`, and a backslash breaks what a build server takes for an
/// order wherever it stands in a line, such as `##name[`.
pub fn printable(text: &str) -> String {
    let plain = |b: &u8| matches!(b, b' '..=b'~') && *b != b'#';
    let mut safe = String::with_capacity(text.len());
    if text.as_bytes().iter().all(plain) {
        safe.push_str(text);
        return safe;
    }
    let mut before = None;
    let mut marks = 0;
    for c in text.chars() {
        marks = if is_mark(c) { marks + 1 } else { 0 };
        match c {
            '\t' | '\n' => safe.push(' '),
            '[' => {
                if let Some(at) = within_order(&safe) {
                    safe.insert(at, '\\');
                }
                safe.push(c);
            }
            _ if chooses_form(before, c) || (is_plain(c) && marks <= MOST_MARKS) => safe.push(c),
            _ => safe.push(SIGN),
        }
        before = Some(c);
    }
    safe
}

/// A letter that looks like a stroke and runs from left to right.
const STROKE: char = '\u{1c0}';

/// A printable text that others follow on the line. When its last letter runs from right to left, a
/// stroke ends it: else a terminal takes the numbers that follow for its end, and shows them before it.
///
/// Source: Unicode Standard Annex 9, rules W7 and N1.
pub fn closed(mut text: String) -> String {
    let strong = text
        .chars()
        .rev()
        .map(bidi_class)
        .find_map(|class| match class {
            BidiClass::L => Some(false),
            BidiClass::R | BidiClass::AL | BidiClass::AN => Some(true),
            _ => None,
        });
    if strong == Some(true) {
        text.push(STROKE);
    }
    text
}

fn is_mark(c: char) -> bool {
    use GeneralCategory as Category;
    !c.is_ascii()
        && matches!(
            get_general_category(c),
            Category::NonspacingMark | Category::EnclosingMark
        )
}

/// Between the two signs of `##name`, when `before` ends so and `[` would make an order of it.
///
/// Source: the published logging commands of build servers (`##vso[`, `##[`, `##teamcity[`).
fn within_order(before: &str) -> Option<usize> {
    let head = before.trim_end_matches(|c: char| c.is_ascii_alphabetic());
    head.strip_suffix('#')
        .filter(|h| h.ends_with('#'))
        .map(str::len)
}

/// What is an order at the start of a line, after blanks.
///
/// Source: the published workflow commands, fold and section markers of build servers.
const ORDERS: [&str; 5] = [
    "::",
    "travis_fold:",
    "travis_time:",
    "section_start:",
    "section_end:",
];

/// The same in the first column only: headings that fold a log.
const HEADINGS: [&str; 4] = ["--- ", "+++ ", "~~~ ", "^^^ +++"];

/// Whether a line begins as an order to a build server.
pub fn begins_as_order(line: &str) -> bool {
    let inside = line.trim_start();
    ORDERS.iter().any(|order| inside.starts_with(order))
        || HEADINGS.iter().any(|heading| line.starts_with(heading))
}

/// A line as it may be shown: `printable`, and a backslash before what would begin as an order.
pub fn shown_line(line: &str) -> String {
    let mut safe = printable(line);
    if begins_as_order(&safe) {
        let blanks = safe.len() - safe.trim_start().len();
        safe.insert(blanks, '\\');
    }
    safe
}

/// A text of several lines as it may be shown. Only its line feeds end lines.
pub fn shown_lines(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for (number, line) in text.split('\n').enumerate() {
        if number > 0 {
            safe.push('\n');
        }
        safe.push_str(&shown_line(line));
    }
    safe
}

/// Writes `text`, in which each character that is not plain, and the first sign of each order, is
/// written by `escape`. Line feeds stay.
fn escaped(text: String, escape: impl Fn(char, &mut String)) -> String {
    let bytes = text.as_bytes();
    let plain = |b: &u8| matches!(b, b' '..=b'~' | b'\n');
    if bytes.iter().all(plain) && memchr::memmem::find(bytes, b"##").is_none() {
        return text;
    }
    let mut out = String::with_capacity(text.len() + 64);
    for (at, c) in text.char_indices() {
        if c == '\n' || may_stand(&text, at, c) {
            out.push(c);
        } else {
            escape(c, &mut out);
        }
    }
    out
}

/// Whether the character at `at` may be shown as it is, and starts no order.
fn may_stand(text: &str, at: usize, c: char) -> bool {
    is_plain(c) && !(c == '#' && text.get(at + 1..).is_some_and(completes_order))
}

/// Whether a text goes on as an order after its first `#`.
fn completes_order(rest: &str) -> bool {
    rest.strip_prefix('#').is_some_and(|rest| {
        // No build server knows a longer name: a text of such signs alone is not read over and over.
        let name = rest.bytes().take(64);
        let letters = name.take_while(u8::is_ascii_alphabetic).count();
        rest.as_bytes().get(letters) == Some(&b'[')
    })
}

/// JSON with nothing in it that a terminal or a build server would obey: such characters are
/// escaped as `\u` and four hexadecimal digits, so that every value stays the same.
pub fn shown_json(json: String) -> String {
    escaped(json, |c, out| {
        for unit in c.encode_utf16(&mut [0; 2]) {
            let _ = write!(out, "\\u{unit:04x}");
        }
    })
}

/// The same for XML that has no comments and instructions from outside: such characters are written as
/// references.
pub fn shown_xml(xml: String) -> String {
    escaped(xml, |c, out| {
        let _ = write!(out, "&#x{:X};", u32::from(c));
    })
}

/// A text as TOML has it, in double quotes on one line, with such characters escaped.
pub fn shown_toml(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for (at, c) in text.char_indices() {
        let _ = match c {
            '"' | '\\' => write!(out, "\\{c}"),
            '\n' => write!(out, "\\n"),
            '\t' => write!(out, "\\t"),
            '\r' => write!(out, "\\r"),
            _ if may_stand(text, at, c) => write!(out, "{c}"),
            _ if u32::from(c) > 0xffff => write!(out, "\\U{:08X}", u32::from(c)),
            _ => write!(out, "\\u{:04X}", u32::from(c)),
        };
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use unicode_width::UnicodeWidthChar;

    #[test]
    fn nothing_from_a_file_steers_the_terminal() {
        let text = "a\u{1b}[31mred\u{9b}2J\r\nb\u{202e}c";
        assert_eq!(
            printable(text),
            "a\u{fffd}[31mred\u{fffd}2J\u{fffd} b\u{fffd}c"
        );
    }

    #[test]
    fn names_stay_as_they_are() {
        for name in [
            "Flügelhorn ♭",
            "B♭\u{fe0e} Trumpet",
            "長笛 # 1",
            "1::2",
            "Cor n\u{ba}\u{a0}1",
            "אלט",
            "صوت",
            "e\u{301}",
            "F## [solo]",
        ] {
            assert_eq!(printable(name), name);
            assert_eq!(shown_line(name), name);
        }
    }

    /// Source: Unicode 16.0, `UnicodeData.txt` and `DerivedCoreProperties.txt`.
    #[test]
    fn controls_of_every_kind_are_signs() {
        for c in "\u{7}\u{7f}\u{85}\u{9b}\u{ad}\u{34f}\u{61c}\u{115f}\u{180e}\u{200b}\u{200e}\u{2028}\u{2029}\
             \u{202a}\u{2060}\u{2066}\u{3164}\u{e000}\u{fdd0}\u{fe0f}\u{feff}\u{ffa0}\u{fff9}\u{ffff}\
             \u{1d173}\u{e0001}\u{e0041}\u{e0100}\u{10ffff}"
            .chars()
        {
            assert_eq!(printable(&format!("a{c}b")), "a\u{fffd}b", "{:04x}", u32::from(c));
        }
    }

    /// Against the table of another library: what has no width is drawn on or beside another character.
    #[test]
    fn a_plain_character_is_seen() {
        let alone = ('\u{a0}'..=char::MAX).filter(|c| {
            is_plain(*c)
                && c.width().unwrap_or(0) == 0
                && !is_mark(*c)
                && get_general_category(*c) != GeneralCategory::SpacingMark
        });
        // Vowels of Hangul, which join the consonant before them, and letters of India that join.
        let joined = [
            '\u{900}'..='\u{dff}',
            '\u{1161}'..='\u{11ff}',
            '\u{a8fa}'..='\u{a8fa}',
            '\u{d7b0}'..='\u{d7fb}',
            '\u{11000}'..='\u{11fff}',
        ];
        let strange = alone.filter(|c| !joined.iter().any(|known| known.contains(c)));
        let strange: Vec<String> = strange.map(|c| format!("{:04x}", u32::from(c))).collect();
        assert_eq!(strange, Vec::<String>::new());
    }

    #[test]
    fn marks_are_not_heaped_on_a_letter() {
        let heap = format!("o{}", "\u{301}".repeat(40));
        let safe = printable(&heap);
        assert_eq!(safe.matches('\u{301}').count(), MOST_MARKS);
        assert_eq!(safe.matches(SIGN).count(), 40 - MOST_MARKS);
    }

    #[test]
    fn no_line_is_an_order_to_a_build_server() {
        for (line, shown) in [
            ("::error file=a::x", "\\::error file=a::x"),
            (" \u{a0}::add-mask::x", " \u{a0}\\::add-mask::x"),
            ("##vso[task.complete]", "#\\#vso[task.complete]"),
            ("x ###[section]", "x ##\\#[section]"),
            ("a ##teamcity[x] ##[b]", "a #\\#teamcity[x] #\\#[b]"),
            ("travis_fold:start:x", "\\travis_fold:start:x"),
            ("--- x", "\\--- x"),
            ("Alto 1::2 [a] # 1", "Alto 1::2 [a] # 1"),
            ("  --- x", "  --- x"),
        ] {
            assert_eq!(shown_line(line), shown);
            assert_eq!(shown_line(shown), shown, "once more");
        }
        assert_eq!(
            shown_lines("a\n::b\n\u{2028}::c\n"),
            "a\n\\::b\n\u{fffd}::c\n"
        );
    }

    /// Against another implementation of Unicode Standard Annex 9.
    #[test]
    fn numbers_after_a_name_stay_in_their_columns() {
        let seen = |line: &str| {
            let level = unicode_bidi::Level::ltr();
            let info = unicode_bidi::BidiInfo::new(line, Some(level));
            info.reorder_line(&info.paragraphs[0], 0..line.len())
                .into_owned()
        };
        let name = "אלט";
        assert!(!seen(&format!("{name}  12  3  C5")).ends_with("12  3  C5"));
        for name in [name, "صوت 1", "b אלט (", "٣"] {
            let line = format!("{}  12  3  C5", closed(name.to_owned()));
            assert!(seen(&line).ends_with("ǀ  12  3  C5"), "{}", seen(&line));
        }
        assert_eq!(closed("אלט a".to_owned()), "אלט a");
        assert_eq!(closed("12".to_owned()), "12");
    }

    #[test]
    fn json_keeps_its_values() {
        let value =
            serde_json::json!({"a\u{202e}": "##vso[x] ###[y] \u{e0041}\u{7f}\u{9b} F##4 é♭"});
        let shown = shown_json(value.to_string());
        assert_eq!(
            shown,
            "{\"a\\u202e\":\"\\u0023#vso[x] #\\u0023#[y] \\udb40\\udc41\\u007f\\u009b F##4 é♭\"}"
        );
        assert_eq!(
            serde_json::from_str::<serde_json::Value>(&shown).unwrap(),
            value
        );
    }

    #[test]
    fn xml_keeps_its_text() {
        assert_eq!(
            shown_xml("<w>a\u{202e}##vso[b\n</w>".to_owned()),
            "<w>a&#x202E;&#x23;#vso[b\n</w>"
        );
    }
}
