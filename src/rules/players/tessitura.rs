//! `tessitura`: a part does not stay at the edge of its range. The comfortable ranges are data with
//! their sources (`rules/instruments.toml`); four bars: common practice, no source.

use crate::finding::{Finding, Level};
use crate::ground::instrument::RangeVerdict;
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::line::{Line, Tone, merged};
use crate::rules::shared::wording;

pub static RULE: Rule = Rule {
    name: "tessitura",
    group: Group::Players,
    asks: "A part does not stay outside the comfortable range for more than four bars running (for voices a note).",
    why: "A high or low note now and then is within reach; living there tires the player and thins the sound.",
    source: "published: a choral textbook's cards and a military harmony course, for voices; common practice, no source, for instruments",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[Setting {
        name: "bars",
        about: "bars running in which most of what is played lies outside the comfortable range",
        default: 4.0,
    }],
    examples: &[Example {
        wrong: "\
meter: 4/4
pitch: written
section: trumpets
parts: trumpet 3 = trumpet

count     | 1  3  | 1   3  | 1  3   | 1   3  | 1   3   | 1 3 |
trumpet 3 | A5 B5 | Bb5 C6 | B5 Bb5 | C6  B5 | Bb5 B5  | A5 . |
               ^^ above A5 from here
suggestion: trumpet 3: revoice the passage further down, or give it to a higher seat or instrument
",
        right: "\
count     | 1  3  | 1   3  | 1  3   | 1  3  | 1   3   | 1 3 |
trumpet 3 | A5 B5 | Bb5 C6 | B5 Bb5 | F5 G5 | Bb5 B5  | A5 . |
",
    }],
    exceptions: &[
        Exception {
            says: "the lead of a section, upwards",
            silent: Silent::Passage {
                passage: "\
key: Ab major
meter: 4/4
pitch: written
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet

count     | 1  3   | 1   3   | 1  3   | 1  3   | 1   3  | 1  3 |
trumpet 1 | C6 D6  | Eb6 D6  | C6 Bb5 | C6 D6  | Bb5 C6 | F5 . |
trumpet 2 | F5 F5  | G5  G5  | F5 Eb5 | F5 F5  | Eb5 G5 | F5 . |
",
                but: "trumpet 2 | A5 Bb5 | C6  Bb5 | A5 Bb5 | A5 Bb5 | Bb5 A5 | F5 . |",
            },
        },
        Exception {
            says: "notes beyond the range, which `written-range` reports",
            silent: Silent::With("trumpet 3 | A5 B5 | D6  E6 | B5 Bb5 | C6  B5 | Bb5 B5  | A5 . |"),
        },
    ],
};

/// What one bar has outside the comfortable range.
struct Edge {
    bar: u32,
    tone: Tone,
    above: bool,
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let limit = input.setting(&RULE, "bars");
    let mut found = Vec::new();
    for line in input.lines(|i| i.range.comfortable.is_some()) {
        let part = input.score.parts.get(line.part as usize);
        if part.is_some_and(|p| p.may_be_untransposed(line.instrument)) {
            continue;
        }
        let mut run: Vec<Edge> = Vec::new();
        for bar in line.tones.chunk_by(|a, b| a.at.bar == b.at.bar) {
            let edge = edge_of(line, bar);
            let goes_on = matches!((&edge, run.last()), (Some(e), Some(last))
                if e.bar == last.bar + 1 && e.above == last.above);
            if !goes_on {
                found.extend(finding(input, line, &run, limit));
                run.clear();
            }
            run.extend(edge);
        }
        found.extend(finding(input, line, &run, limit));
    }
    out.extend(merged(input.score, found));
}

/// Whether most of a bar lies on one side of the comfortable range.
fn edge_of(line: &Line<'_>, bar: &[Tone]) -> Option<Edge> {
    let (low, high) = line.instrument.range.comfortable?;
    let time = |wanted: &dyn Fn(&&Tone) -> bool| -> Ticks {
        bar.iter().filter(wanted).map(Tone::duration).sum()
    };
    let all = time(&|_| true);
    for above in [true, false] {
        if above && line.leads() {
            continue;
        }
        let outside = |t: &&Tone| {
            let beyond = if above {
                t.written > high.midi()
            } else {
                t.written < low.midi()
            };
            beyond
                && line.instrument.judge_range(t.written, line.seat) == RangeVerdict::Professional
        };
        if time(&outside).times(2) >= all
            && let Some(tone) = bar.iter().find(outside)
        {
            return Some(Edge {
                bar: tone.at.bar,
                tone: *tone,
                above,
            });
        }
    }
    None
}

fn finding(input: &RuleInput<'_>, line: &Line<'_>, run: &[Edge], limit: f64) -> Option<Finding> {
    let (first, last) = (run.first()?, run.last()?);
    if run.len() as f64 <= limit {
        return None;
    }
    let (low, high) = line.instrument.range.comfortable?;
    let who = wording::part(input.score, line.part);
    let (side, end, to, other) = match (first.above, line.is_sung()) {
        (true, false) => ("above", high, "down", "a higher seat or instrument"),
        (true, true) => ("above", high, "down", "a higher voice"),
        (false, false) => ("below", low, "up", "a lower seat or instrument"),
        (false, true) => ("below", low, "up", "a lower voice"),
    };
    let page_end = wording::limit(input.score, line.part, end);
    let message = format!(
        "{who}: stays {side} written {end}, the comfortable range of the {}, from bar {} to bar {}",
        line.instrument.name,
        input.score.bar_number(first.bar),
        input.score.bar_number(last.bar),
    );
    let level = if line.is_sung() {
        Level::Note
    } else {
        Level::Warning
    };
    Some(
        line.finding(&RULE, first.tone.at, message)
            .level(level)
            .at_notes(
                [first.tone.note],
                1,
                &format!("{side} {page_end} from here"),
            )
            .because(line.with_care(RULE.why))
            .instead(format!(
                "{who}: revoice the passage further {to}, or give it to {other}"
            )),
    )
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::line::fixture::Page;
    use crate::style::Style;

    #[test]
    fn voices_get_a_note_and_players_a_warning() {
        let level = |part: &str, pitch: &str| {
            let mut page = Page::of(part, (0, 0, 0));
            for _ in 0..5 {
                page.bar("", &[(pitch, 4, "")]);
            }
            let found = page.findings("tessitura", &Style::default());
            found
                .first()
                .and_then(|f| f.split_once(':').map(|(level, _)| level.to_owned()))
        };
        assert_eq!(level("Soprano voice", "A5").as_deref(), Some("note"));
        assert_eq!(level("Trombone 2", "A4").as_deref(), Some("warning"));
        assert_eq!(level("Trombone 2", "F4"), None);
    }
}
