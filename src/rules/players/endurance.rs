//! `endurance`: brass players rest their lips. A military band's grading page speaks of
//! range and endurance by grade; the numbers here are common practice, no source.

use crate::finding::{Finding, Level};
use crate::ground::instrument::{Property, RangeVerdict, RegisterKind};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::line::{Line, Tone, dynamic, is_soft, merged};
use crate::rules::shared::wording;
use crate::score::Score;

pub static RULE: Rule = Rule {
    name: "endurance",
    group: Group::Players,
    asks: "Brass players get a rest of half a bar within 16 bars (note), and within 4 bars where the part stays at the top (warning).",
    why: "Lips tire: without rests the sound goes first, then the notes, and playing on can do harm.",
    source: "published: a military band's grading of jazz charts, for what is asked by grade; the numbers of bars: common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[
        Setting {
            name: "bars",
            about: "bars played on without a rest of half a bar",
            default: 16.0,
        },
        Setting {
            name: "high-bars",
            about: "bars running with notes at the top of the instrument and no such rest",
            default: 4.0,
        },
    ],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet

count     | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  |
trumpet 1 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 |
            ^^ no rest from here

count     | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  |
trumpet 1 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 |
suggestion: trumpet 1: leave out half a bar or more where others carry the music
",
        right: "trumpet 1 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 .  |",
    }],
    exceptions: &[
        Exception {
            says: "soft backgrounds (p or softer all along)",
            silent: Silent::With(
                "\
on the page:
trumpet 1, bar 1, beat 1: dynamic p
",
            ),
        },
        Exception {
            says: "notes beyond the range, which `written-range` reports",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
pitch: written
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet

count     | 1  3  | 1  3  | 1  3 | 1  3  | 1  3  | 1 |
trumpet 1 | D6 E6 | D6 F6 | A6 - | F6 E6 | D6 E6 | . |
trumpet 2 | A5 C6 | A5 D5 | F5 - | A5 G5 | F5 G5 | . |
",
                but: "trumpet 1 | D6 E6 | D6 F6 | F6 - | F6 E6 | D6 E6 | . |",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let mut found = Vec::new();
    for line in input.lines(|i| i.is(Property::Lips)) {
        let mut start = 0;
        for (at, tone) in line.tones.iter().enumerate() {
            let bar = input
                .score
                .meter_at(tone.onset)
                .bar(input.score.per_quarter);
            let rests = line
                .tones
                .get(at + 1)
                .is_none_or(|next| next.onset - tone.end >= Ticks(bar.0 / 2));
            if rests {
                let stretch = line.tones.get(start..=at).unwrap_or_default();
                start = at + 1;
                let high = high(input, line, stretch);
                let long = high.is_none().then(|| long(input, line, stretch)).flatten();
                found.extend(high.or(long));
            }
        }
    }
    out.extend(merged(input.score, found));
}

/// Too many bars without a rest.
fn long(input: &RuleInput<'_>, line: &Line<'_>, stretch: &[Tone]) -> Option<Finding> {
    let (first, last) = (stretch.first()?, stretch.last()?);
    let score = input.score;
    let bar = score.meter_at(first.onset).bar(score.per_quarter);
    let limit = input.setting(&RULE, "bars");
    if (last.end - first.onset).0 as f64 <= limit * bar.0 as f64
        || is_soft_throughout(score, line.part, first, last)
    {
        return None;
    }
    let who = wording::part(score, line.part);
    let message = format!(
        "{who}: no rest of half a bar from bar {} to bar {}",
        score.bar_number(first.at.bar),
        score.bar_number(score.place_of(last.onset).bar),
    );
    Some(
        line.finding(&RULE, first.at, message)
            .level(Level::Note)
            .at_notes([first.note], 1, "no rest from here")
            .because(line.with_care(RULE.why))
            .instead(format!(
                "{who}: leave out half a bar or more where others carry the music"
            )),
    )
}

/// Bar after bar with notes at the top.
fn high(input: &RuleInput<'_>, line: &Line<'_>, stretch: &[Tone]) -> Option<Finding> {
    let above = line
        .instrument
        .registers
        .iter()
        .find(|r| r.kind == RegisterKind::Tiring)?;
    let limit = input.setting(&RULE, "high-bars");
    let mut run: Vec<Tone> = Vec::new();
    let mut best: Vec<Tone> = Vec::new();
    let bars = |run: &[Tone]| match (run.first(), run.last()) {
        (Some(a), Some(b)) => b.at.bar - a.at.bar + 1,
        _ => 0,
    };
    for tone in stretch {
        let counts = tone.written >= above.range.0.midi()
            && matches!(
                line.instrument.judge_range(tone.written, line.seat),
                RangeVerdict::Professional | RangeVerdict::Comfortable
            );
        if !counts {
            continue;
        }
        if run.last().is_some_and(|l| tone.at.bar > l.at.bar + 1) {
            run.clear();
        }
        run.push(*tone);
        if bars(&run) > bars(&best) {
            best.clone_from(&run);
        }
    }
    if f64::from(bars(&best)) <= limit {
        return None;
    }
    let (first, last) = (best.first()?, best.last()?);
    let who = wording::part(input.score, line.part);
    let message = format!(
        "{who}: notes from written {} up in bar after bar from {} to {}, without a rest of half a bar",
        above.range.0,
        input.score.bar_number(first.at.bar),
        input.score.bar_number(last.at.bar),
    );
    Some(
        line.finding(&RULE, first.at, message)
            .at_notes([first.note], 1, "high from here")
            .because(line.with_care(RULE.why))
            .instead(format!(
                "{who}: take some of it down an octave, or give the player rests in between"
            )),
    )
}

/// Every dynamic from the one in force at the start to the end is soft.
fn is_soft_throughout(score: &Score, part: u32, first: &Tone, last: &Tone) -> bool {
    let Some(marks) = score.parts.get(part as usize).map(|p| &p.dynamics) else {
        return false;
    };
    dynamic(score, part, first.onset).is_some_and(is_soft)
        && marks
            .iter()
            .filter(|m| m.onset > first.onset && m.onset < last.end)
            .all(|m| is_soft(&m.value))
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::line::fixture::{Page, dynamic};
    use crate::style::Style;

    fn said(pitch: &str, bars: usize, mark: &str) -> Vec<String> {
        let mut page = Page::of("Trumpet 1", (-1, -2, 0));
        for bar in 0..bars {
            let before = if bar == 0 {
                dynamic(mark)
            } else {
                String::new()
            };
            page.bar(&before, &[(pitch, 2, ""), (pitch, 2, "")]);
        }
        page.findings("endurance", &Style::default())
    }

    #[test]
    fn high_bars_count_sooner_than_long_ones() {
        let high = said("D6", 5, "f");
        assert_eq!(high.len(), 1, "{high:?}");
        assert!(high[0].starts_with("warning"), "{high:?}");
        assert_eq!(said("D6", 4, "f"), Vec::<String>::new());
        assert_eq!(said("C5", 16, "f"), Vec::<String>::new());
        assert_eq!(said("C5", 17, "f").len(), 1);
        assert_eq!(said("C5", 17, "p"), Vec::<String>::new());
    }
}
