//! Lines to a score: parts, then bars, then the notes of each part.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "bars are fewer than bytes of the text"
)]

use super::lines::Block;
use super::notes::fill;
use super::parts::{Declared, declared};
use super::plan::{BarPlan, plan, ticks};
use crate::file_text::limits::Limits;
use crate::ground::chord;
use crate::ground::instrument;
use crate::ground::text::Span;
use crate::ground::time::{Ticks, checked_lcm};
use crate::reading::fault::{Fault, Parsed};
use crate::score::{ChordMark, Mark, Part, Place, Score};

pub(super) fn score(
    blocks: &[Block],
    instruments: &'static instrument::Catalogue,
    limits: &Limits,
) -> Parsed<Score> {
    let parts = declared(blocks, instruments, limits)?;
    let mut score = Score::default();
    let plans = plan(blocks, &parts, limits, &mut score)?;
    if plans.is_empty() {
        let at = blocks.len().min(1).saturating_sub(1);
        return Err(Fault::new(
            at..at + 1,
            "the passage has no music: no system of rows was found",
        )
        .help("a system has a `count` row and a row for each part, with bars between `|`"));
    }
    let mut per_quarter = 1i64;
    for plan in &plans {
        for time in plan.starts.iter().chain([&plan.length]) {
            per_quarter = checked_lcm(per_quarter, *time.denom())
                .filter(|q| *q <= 1 << 30)
                .ok_or_else(|| {
                    Fault::new(
                        0..1,
                        "the counts of this passage divide the beat too finely to be kept exactly",
                    )
                })?;
        }
    }
    score.per_quarter = Ticks(per_quarter);
    score.parts = parts.iter().map(new_part).collect();
    for (index, plan) in plans.iter().enumerate() {
        place_marks(&mut score, plan, index, plans.get(index.wrapping_sub(1)));
    }
    let per_quarter = score.per_quarter;
    for (index, (part, declared)) in score.parts.iter_mut().zip(&parts).enumerate() {
        fill(part, index, declared, &plans, per_quarter)?;
    }
    chords(&mut score, &plans);
    choices(&mut score, &plans)?;
    let worked_out = !plans.iter().any(|p| p.written);
    for part in &mut score.parts {
        part.worked_out = worked_out;
    }
    Ok(score)
}

fn new_part(declared: &Declared) -> Part {
    Part {
        name: declared.label.text.clone(),
        instrument: declared.instrument.map(|i| i.key.clone()),
        instrument_name: declared.instrument.map(|i| i.name.clone()),
        sound: declared.instrument.and_then(|i| i.sound.clone()),
        staves: 1,
        states_transposition: declared.instrument.is_some(),
        ..Part::default()
    }
}

fn place_marks(score: &mut Score, plan: &BarPlan<'_>, index: usize, before: Option<&BarPlan<'_>>) {
    let at = Place {
        bar: index as u32,
        offset: Ticks::ZERO,
    };
    if let Some(stated) = &plan.stated {
        score
            .stated
            .push(Mark::new(at, stated.clone(), Span::default()));
    }
    let first = score.parts.first_mut();
    if before.is_none_or(|b| b.meter != plan.meter)
        && let Some(part) = first
    {
        part.meters.push(Mark::new(at, plan.meter, Span::default()));
    }
}

/// The chord row, kept in the first part.
fn chords(score: &mut Score, plans: &[BarPlan<'_>]) {
    let per_quarter = score.per_quarter;
    let mut marks = Vec::new();
    for (bar, plan) in plans.iter().enumerate() {
        let Some(row) = plan.chords else { continue };
        for (piece, start) in row.cells.iter().zip(&plan.starts) {
            if piece.text == "-" {
                continue;
            }
            let text = if piece.text == "." {
                "N.C."
            } else {
                piece.text.as_str()
            };
            let (chord, unread) = match chord::parse(text) {
                Ok(chord) => (chord, None),
                Err(error) => (None, Some(error.why)),
            };
            marks.push(Mark::new(
                Place {
                    bar: bar as u32,
                    offset: ticks(*start, per_quarter),
                },
                ChordMark {
                    chord,
                    written: text.to_owned(),
                    unread,
                },
                Span::of(&piece.at),
            ));
        }
    }
    if let Some(part) = score.parts.first_mut() {
        part.chords = marks.into();
    }
}

/// The row of choices: a number for the choice at a note, `=` for the one before it in the bar, `-` for none.
fn choices(score: &mut Score, plans: &[BarPlan<'_>]) -> Parsed<()> {
    for (bar, plan) in (0u32..).zip(plans) {
        let Some(row) = plan.choices else { continue };
        let mut last = None;
        for (piece, start) in row.cells.iter().zip(&plan.starts) {
            last = match piece.text.as_str() {
                "-" | "." => None,
                "=" => last,
                number => {
                    let known = number.parse::<u8>().ok().filter(|n| (1..=9).contains(n));
                    let wrong = || {
                        let message = format!(
                            "choice row, bar {}: `{}` is not a choice",
                            plan.number, piece.text
                        );
                        Fault::new(piece.at.clone(), message)
                            .help("write 1 to 9, `=` for the choice before it in the bar, or `-`")
                    };
                    Some(known.ok_or_else(wrong)?)
                }
            };
            if let Some(choice) = last {
                let offset = ticks(*start, score.per_quarter);
                let at = Place { bar, offset };
                score
                    .choices
                    .push(Mark::new(at, choice, Span::of(&piece.at)));
            }
        }
    }
    Ok(())
}
