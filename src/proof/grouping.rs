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
        let rhythm = section.is(Property::BassLine) || section.is(Property::Unpitched);
        // A part that is always by itself is plain.
        let single = section.parts.len() < 2 && section.stretches.is_empty();
        !section.chordal && !rhythm && !single
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

#[cfg(test)]
mod tests {
    use crate::proof::proof;
    use crate::reading::grid;
    use crate::style::Style;
    use std::path::Path;

    // Doubled lead, then the same under a clarinet. Common practice, no source.
    #[test]
    fn a_section_that_changes_is_reported_with_its_bars() {
        let rest = ". . . . | . . . .";
        let lines = [
            "C5 D5 E5 G5 | A5 G5 E5 D5",
            "A4 B4 C5 E5 | G5 E5 C5 B4",
            "G4 Ab4 A4 C5 | E5 C5 A4 Ab4",
            "E4 F4 G4 A4 | C5 A4 G4 F4",
            "C4 D4 E4 G4 | A4 G4 E4 D4",
        ];
        let row = |name: &str, a: &str, b: &str| [name, " | ", a, " | ", b, " |\n"].concat();
        let names = ["clarinet", "alto 1", "alto 2", "tenor 1", "tenor 2"];
        let befores = [rest, lines[0], lines[1], lines[2], lines[3]];
        let rows = names.iter().zip(befores).zip(lines);
        let text = "key: C\nmeter: 4/4\npitch: sounding\nparts: clarinet = clarinet\n       alto 1 = alto saxophone\n       \
                    alto 2 = alto saxophone\n       tenor 1 = tenor saxophone\n       tenor 2 = tenor saxophone\n\n\
                    count | 1 2 3 4 | 1 2 3 4 | 1 2 3 4 | 1 2 3 4 |\n"
            .to_owned()
            + &rows.map(|((n, a), b)| row(n, a, b)).collect::<String>();
        let score = grid::read(Path::new("x.passage"), text.into()).unwrap();
        let remarks = proof(&score, &Style::default()).remarks;
        let wanted = "sections: clarinet and saxes together in bars 3-4; saxes in bars 1-2";
        assert!(remarks.iter().any(|r| r == wanted), "{remarks:?}");
    }
}
