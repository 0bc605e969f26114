//! `endurance`: brass players rest their lips. The US Army Field Band's grading page speaks of
//! range and endurance by grade; the numbers here are common practice, no source.

use super::line::{Line, Tone, dynamic, is_soft, lines};
use super::{Example, Group, Reading, Rule, Setting, wording};
use crate::finding::{Finding, Level};
use crate::instrument::RangeVerdict;
use crate::instrument::RegisterKind;
use crate::score::Score;
use crate::time::Ticks;

pub(super) static RULE: Rule = Rule {
    name: "endurance",
    group: Group::Players,
    asks: "Brass players get a rest of half a bar within 16 bars (note), and within 4 bars where the part stays at the top (warning).",
    why: "Lips tire: without rests the sound goes first, then the notes, and playing on can do harm.",
    exceptions: &[
        "soft backgrounds (p or softer all along)",
        "notes beyond the range: those are written-range's business",
    ],
    source: "published: US Army Field Band, grading of jazz charts, for what is asked by grade; the numbers of bars: common practice, no source",
    level: Level::Warning,
    off: false,
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
        wrong: "meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet

count     | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  |
trumpet 1 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 |

count     | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  |
trumpet 1 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 |
",
        at: ("1", "1"),
        right: "meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet

count     | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  |
trumpet 1 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 .  |

count     | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  | 1  3  |
trumpet 1 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 | C5 D5 |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for line in lines(reading, |i| i.family == "brass") {
        let mut start = 0;
        for (at, tone) in line.tones.iter().enumerate() {
            let bar = reading
                .score
                .meter_at(tone.onset)
                .bar(reading.score.per_quarter);
            let rests = line
                .tones
                .get(at + 1)
                .is_none_or(|next| next.onset - tone.end >= Ticks(bar.0 / 2));
            if rests {
                let stretch = line.tones.get(start..=at).unwrap_or_default();
                start = at + 1;
                let high = high(reading, &line, stretch);
                let long = high
                    .is_none()
                    .then(|| long(reading, &line, stretch))
                    .flatten();
                out.extend(high.or(long));
            }
        }
    }
}

/// Too many bars without a rest.
fn long(reading: &Reading<'_>, line: &Line<'_>, stretch: &[Tone]) -> Option<Finding> {
    let (first, last) = (stretch.first()?, stretch.last()?);
    let score = reading.score;
    let bar = score.meter_at(first.onset).bar(score.per_quarter);
    let limit = reading.setting(&RULE, "bars");
    if (last.end - first.onset).0 as f64 <= limit * bar.0 as f64
        || is_soft_throughout(score, line.part, first, last)
    {
        return None;
    }
    let who = wording::part(score, line.part);
    let message = format!(
        "{who} plays from bar {} to bar {} without a rest of half a bar",
        score.bar_number(first.at.bar),
        score.bar_number(score.place_of(last.onset).bar),
    );
    Some(Finding {
        why: line.with_care(RULE.why),
        suggestion: Some(format!(
            "{who}: leave out half a bar or more where others carry the music"
        )),
        ..line.finding(
            &RULE,
            Level::Note,
            (first.at, message),
            &[*first],
            "no rest from here",
        )
    })
}

/// Bar after bar with notes at the top.
fn high(reading: &Reading<'_>, line: &Line<'_>, stretch: &[Tone]) -> Option<Finding> {
    let above = line
        .instrument
        .registers
        .iter()
        .find(|r| r.kind == RegisterKind::Tiring)?;
    let limit = reading.setting(&RULE, "high-bars");
    let mut run: Vec<Tone> = Vec::new();
    let mut best: Vec<Tone> = Vec::new();
    let bars = |run: &[Tone]| match (run.first(), run.last()) {
        (Some(a), Some(b)) => b.at.bar - a.at.bar + 1,
        _ => 0,
    };
    for tone in stretch {
        let counts = tone.written >= above.range.0.midi()
            && matches!(
                line.instrument.judge_range(
                    tone.sounding
                        .transposed(line.instrument.transposition.inverse()),
                    line.seat,
                ),
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
    let who = wording::part(reading.score, line.part);
    let message = format!(
        "{who} has notes from written {} up in every bar from {} to {}, without a rest of half a bar",
        above.range.0,
        reading.score.bar_number(first.at.bar),
        reading.score.bar_number(last.at.bar),
    );
    Some(Finding {
        why: line.with_care(RULE.why),
        suggestion: Some(format!(
            "{who}: take some of it down an octave, or give the player rests in between"
        )),
        ..line.finding(
            &RULE,
            Level::Warning,
            (first.at, message),
            &[*first],
            "high from here",
        )
    })
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
