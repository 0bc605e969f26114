//! Waivers: what a score says in the score itself of findings that are meant.
//!
//! The words are the same in every format, `chartproof: meant RULE, RULE in bars 5-8: REASON`, where
//! bars are printed numbers and may be left out. In a grid they stand in a comment; in MusicXML in a
//! processing instruction (`<?chartproof meant RULE: REASON?>`), in an `<other-direction>` that is
//! not printed, or in words over the staff, which most programs keep when they read and write a
//! score. Where they stand says for which part and which bars they hold.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "a bar that was found, and the one after it"
)]

use crate::ground::text::Span;
use crate::score::{Score, Waiver};
use std::collections::HashMap;
use std::ops::Range;

/// How many waivers of one score are taken. Somebody wrote each of them by hand; a file that holds
/// more was made to take time.
pub const MAX_WAIVERS: usize = 1_000;

/// What the words begin with.
const MARK: &str = "chartproof";
const MEANT: &str = "meant";

/// Words of a waiver with where they stand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Said {
    /// What follows the mark.
    pub(super) text: String,
    /// The part it stands in (0-based); `None` where it stands for all of them.
    pub(super) part: Option<u32>,
    /// The bars it stands in (0-based); `None` for all.
    pub(super) bars: Option<Range<u32>>,
    pub(super) span: Span,
}

/// What follows the mark, where a comment or words begin with it.
pub(super) fn marked(text: &str) -> Option<&str> {
    let text = text.trim_start();
    let head = text.get(..MARK.len())?;
    let rest = text.get(MARK.len()..)?.trim_start();
    if !head.eq_ignore_ascii_case(MARK) {
        return None;
    }
    rest.strip_prefix(':')
        .or_else(|| without_meant(rest).map(|_| rest))
}

/// What follows the word that a waiver starts with.
fn without_meant(text: &str) -> Option<&str> {
    let text = text.trim_start();
    let (head, rest) = text.split_at_checked(MEANT.len())?;
    (head.eq_ignore_ascii_case(MEANT) && !rest.starts_with(char::is_alphanumeric)).then_some(rest)
}

/// Takes what was said into a score that is laid out.
pub(super) fn put(score: &mut Score, said: Vec<Said>) {
    let all = score.parts.len() as u32;
    let mut bars: HashMap<&str, u32> = HashMap::new();
    if !said.is_empty() {
        for (index, bar) in score.bars.iter().enumerate() {
            bars.entry(&bar.number).or_insert(index as u32);
        }
    }
    let mut waivers = Vec::new();
    for (index, said) in said.into_iter().take(MAX_WAIVERS + 1).enumerate() {
        let mut waiver = Waiver {
            rules: Vec::new(),
            reason: String::new(),
            parts: said
                .part
                .map_or_else(|| (0..all).collect(), |part| vec![part]),
            bars: said.bars.unwrap_or(0..score.bars.len() as u32),
            span: said.span,
            unread: None,
        };
        if index == MAX_WAIVERS {
            waiver.unread = Some(format!(
                "the score has more than {MAX_WAIVERS} waivers; this one and those after it are \
                 left out"
            ));
        } else if let Err(why) = read(&bars, &said.text, &mut waiver) {
            waiver.unread = Some(why);
        }
        waivers.push(waiver);
    }
    score.waivers = waivers;
}

fn read(
    bars_by_number: &HashMap<&str, u32>,
    text: &str,
    waiver: &mut Waiver,
) -> Result<(), String> {
    let text = text.trim();
    let rest =
        without_meant(text).ok_or_else(|| format!("`{text}` does not begin with `meant`"))?;
    let (what, reason) = rest.split_once(':').unwrap_or((rest, ""));
    reason.trim().clone_into(&mut waiver.reason);
    let words = format!(" {} ", what.trim());
    let (rules, bars) = match words.split_once(" in bar") {
        Some((rules, bars)) => (rules, Some(bars.strip_prefix('s').unwrap_or(bars).trim())),
        None => (words.as_str(), None),
    };
    waiver.rules = rules
        .split([',', ' '])
        .filter(|name| !name.is_empty())
        .map(str::to_owned)
        .collect();
    if waiver.rules.is_empty() {
        return Err("it names no rule".to_owned());
    }
    if let Some(bars) = bars {
        let (first, last) = bars.split_once('-').unwrap_or((bars, bars));
        let bar = |number: &str| {
            bars_by_number
                .get(number.trim())
                .copied()
                .ok_or_else(|| format!("there is no bar `{}`", number.trim()))
        };
        let (first, last) = (bar(first)?, bar(last)?);
        if last < first {
            return Err(format!("bars {bars} run backwards"));
        }
        waiver.bars = first..last + 1;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::read_bytes;
    use std::path::Path;

    const GRID: &str = "meter: 4/4
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
; chartproof: meant wide-gap, wrong-note in bars 2-3: it is quoted

count  | 1  | 1  | ; chartproof: meant endurance : short
alto 1 | A4 | B4 |
alto 2 | F4 | G4 | ; chartproof: meant spelling: as he wrote it

; Chartproof : meant breath
count  | 1  |
alto 1 | A4 |
alto 2 | F4 |
; a remark about what is meant
";

    fn waivers(name: &str, text: &str) -> Vec<(String, String, Vec<u32>, Range<u32>)> {
        let score = read_bytes(Path::new(name), text).unwrap();
        score
            .waivers
            .iter()
            .map(|w| {
                assert_eq!(w.unread, None);
                (
                    w.rules.join(" "),
                    w.reason.clone(),
                    w.parts.clone(),
                    w.bars.clone(),
                )
            })
            .collect()
    }

    fn row(
        rules: &str,
        reason: &str,
        parts: &[u32],
        bars: Range<u32>,
    ) -> (String, String, Vec<u32>, Range<u32>) {
        (rules.to_owned(), reason.to_owned(), parts.to_vec(), bars)
    }

    #[test]
    fn in_a_grid_the_line_says_what_it_is_for() {
        assert_eq!(
            waivers("a.passage", GRID),
            [
                row("wide-gap wrong-note", "it is quoted", &[0, 1], 1..3),
                row("endurance", "short", &[0, 1], 0..2),
                row("spelling", "as he wrote it", &[1], 0..2),
                row("breath", "", &[0, 1], 2..3),
            ]
        );
    }

    #[test]
    fn of_waivers_without_end_the_first_are_taken() {
        let many = "<?chartproof meant breath in bar 2: so?>".repeat(MAX_WAIVERS + 500);
        let text = format!(
            "<score-partwise>{many}<part-list><score-part id='a'><part-name>A</part-name>\
             </score-part></part-list><part id='a'><measure number='1'/><measure number='2'/>\
             </part></score-partwise>"
        );
        let score = read_bytes(Path::new("a.musicxml"), text.as_str()).unwrap();
        assert_eq!(score.waivers.len(), MAX_WAIVERS + 1);
        let (last, taken) = score.waivers.split_last().unwrap();
        assert!(taken.iter().all(|w| w.unread.is_none() && w.bars == (1..2)));
        let why = last.unread.as_deref().unwrap();
        assert!(why.contains("more than 1000 waivers"), "{why}");
    }

    #[test]
    fn in_musicxml_the_measure_says_what_it_is_for() {
        let score = |a: &str, b: &str| {
            format!(
                "<score-partwise><?chartproof meant breath: slow air?><part-list>\
                 <score-part id='a'><part-name>A</part-name></score-part>\
                 <score-part id='b'><part-name>B</part-name></score-part></part-list>\
                 <part id='a'><measure number='1'/><measure number='2'>{a}</measure></part>\
                 <part id='b'><measure number='1'>{b}</measure><measure number='2'/></part>\
                 </score-partwise>"
            )
        };
        let direction = |inside: &str| {
            format!("<direction><direction-type>{inside}</direction-type></direction>")
        };
        let found = waivers(
            "a.musicxml",
            &score(
                "<note><?chartproof meant clef: his own?><rest/><duration>1</duration></note>",
                &(direction("<words>chartproof: meant spelling: old print</words>")
                    + &direction(
                        "<other-direction print-object='no'>chartproof: meant wide-gap: wanted</other-direction>",
                    )),
            ),
        );
        assert_eq!(
            found,
            [
                row("breath", "slow air", &[0, 1], 0..2),
                row("clef", "his own", &[0], 1..2),
                row("spelling", "old print", &[1], 0..1),
                row("wide-gap", "wanted", &[1], 0..1),
            ]
        );
    }

    #[test]
    fn what_cannot_be_read_is_kept_with_the_reason() {
        for (words, why) in [
            ("ment breath: x", "does not begin with `meant`"),
            ("meant: x", "it names no rule"),
            ("meant breath in bar 9: x", "there is no bar `9`"),
            ("meant breath in bars 2-1: x", "bars 2-1 run backwards"),
        ] {
            let text = GRID.replace("meant breath", &words.replace('\n', " "));
            let score = read_bytes(Path::new("a.passage"), text.as_str()).unwrap();
            let unread = score.waivers.last().unwrap().unread.clone().unwrap();
            assert!(unread.contains(why), "{unread}");
        }
    }

    #[test]
    fn only_the_mark_makes_a_waiver() {
        assert_eq!(marked(" chartproof: meant x"), Some(" meant x"));
        assert_eq!(marked("Chartproof Meant x"), Some("Meant x"));
        assert_eq!(marked("chartproof says so"), None);
        assert_eq!(marked("chartproof meantime"), None);
        assert_eq!(marked("meant: x"), None);
        assert_eq!(marked("♭"), None);
    }
}
