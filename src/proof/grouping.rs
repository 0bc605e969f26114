//! How the parts were grouped into sections, in words.

use crate::diagnosis::Passage;
use crate::ground::instrument::Property;
use crate::score::Score;
use std::ops::RangeInclusive;

/// More stretches than this are counted, not listed.
const LISTED: usize = 4;

/// How each section was grouped: one sentence, where that is not plain from the names.
pub(super) fn grouping(score: &Score, passages: &[Passage]) -> Option<String> {
    passages.iter().find(|p| p.section.evidence.is_some())?;
    let horns = passages.iter().filter(|p| {
        let section = &p.section;
        !section.chordal && !section.is(Property::BassLine) && !section.is(Property::Unpitched)
    });
    let each: Vec<String> = horns
        .map(|p| {
            let together = match p.section.evidence {
                Some(_) => " together",
                None => "",
            };
            let bars = if p.section.stretches.is_empty() {
                String::new()
            } else {
                format!(" in {}", in_words(score, &bars(p)))
            };
            format!("{}{together}{bars}", p.section.name)
        })
        .collect();
    Some(format!("sections: {}", each.join("; ")))
}

/// The bars in which a section plays, 0-based.
fn bars(passage: &Passage) -> Vec<RangeInclusive<u32>> {
    let mut bars: Vec<RangeInclusive<u32>> = Vec::new();
    let mut last = None;
    for sonority in &passage.sonorities {
        let (bar, stretch) = (sonority.at.bar, passage.section.stretch_at(sonority.onset));
        match bars.last_mut() {
            Some(range) if last == Some(stretch) || bar <= *range.end() => {
                *range = *range.start()..=bar;
            }
            _ => bars.push(bar..=bar),
        }
        last = Some(stretch);
    }
    bars
}

fn in_words(score: &Score, bars: &[RangeInclusive<u32>]) -> String {
    let number = |bar: &u32| score.bar_number(*bar);
    let range = |r: &RangeInclusive<u32>| {
        if r.start() == r.end() {
            number(r.start())
        } else {
            format!("{}-{}", number(r.start()), number(r.end()))
        }
    };
    match bars {
        [one] if one.start() == one.end() => format!("bar {}", range(one)),
        [first, .., last] if bars.len() > LISTED => format!(
            "{} stretches of bars {}-{}",
            bars.len(),
            number(first.start()),
            number(last.end())
        ),
        _ => {
            let each: Vec<String> = bars.iter().map(range).collect();
            format!("bars {}", each.join(", "))
        }
    }
}
