//! The bars of a passage: each with what headers have set, when its columns start, and its rows.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "counts have four digits and fractions of at most 1024 (`cells::count`); bars are those of a text"
)]

use super::cells::counts;
use super::lines::{Block, Header, Row, RowBar, TextPiece, nearest};
use super::parts::{Declared, RESERVED, key as key_of};
use crate::file_text::limits::{self, Limits};
use crate::ground::pitch::{NoteName, Step, read_accidentals};
use crate::ground::time::{Meter, Ticks};
use crate::reading::fault::{Fault, Parsed};
use crate::score::{FREE, Key, Score, Stated};
use crate::voicing::Technique;
use num_rational::Ratio;
use std::collections::HashMap;
use std::ops::Range;

/// What headers have set so far.
struct Setting {
    key: Key,
    meter: Meter,
    written: bool,
    stated: Stated,
    next_bar: Option<i64>,
}

/// One bar of the passage before ticks are known.
pub(super) struct BarPlan<'a> {
    pub number: String,
    pub pickup: bool,
    pub meter: Meter,
    pub key: Key,
    pub stated: Option<Stated>,
    pub written: bool,
    /// When each column starts since the bar line, in quarter notes; then the bar's length.
    pub starts: Vec<Ratio<i64>>,
    pub length: Ratio<i64>,
    pub chords: Option<&'a RowBar>,
    pub choices: Option<&'a RowBar>,
    /// The bar of each part, where the system has its row.
    pub rows: Vec<Option<&'a RowBar>>,
    pub double: bool,
}

impl BarPlan<'_> {
    /// When each column starts since the bar line; then the bar's length.
    pub(super) fn bounds(&self, per_quarter: Ticks) -> Vec<Ticks> {
        let times = self.starts.iter().chain([&self.length]);
        times.map(|time| ticks(*time, per_quarter)).collect()
    }
}

/// Quarter notes as ticks, which they are whole numbers of.
pub(super) fn ticks(time: Ratio<i64>, per_quarter: Ticks) -> Ticks {
    Ticks((time * per_quarter.0).to_integer())
}

/// Every bar of every system with its rows, checked to have as many cells as its count.
pub(super) fn plan<'a>(
    blocks: &'a [Block],
    parts: &[Declared],
    limits: &Limits,
    score: &mut Score,
) -> Parsed<Vec<BarPlan<'a>>> {
    let mut plans: Vec<BarPlan<'a>> = Vec::new();
    let by_key: HashMap<String, usize> = parts
        .iter()
        .map(|part| key_of(&part.label.text))
        .zip(0..)
        .collect();
    let mut setting = Setting {
        key: Key {
            fifths: 0,
            minor: false,
        },
        meter: Meter::COMMON,
        written: false,
        stated: Stated::default(),
        next_bar: None,
    };
    let mut number = 1i64;
    for block in blocks {
        match block {
            Block::Header(header) => apply(header, &mut setting, score)?,
            Block::System(rows) => {
                let system = System::of(rows, parts, &by_key)?;
                system.within(limits, plans.len())?;
                system.plan(&mut setting, &mut number, &mut plans)?;
            }
        }
    }
    Ok(plans)
}

fn apply(header: &Header, setting: &mut Setting, score: &mut Score) -> Parsed<()> {
    match header {
        Header::Title(p) => score.title = Some(p.text.clone()),
        Header::Key(p) => {
            setting.key = key(&p.text).ok_or_else(|| {
                Fault::new(p.at.clone(), format!("`{}` is not a key", p.text))
                    .help("write `F major`, `D minor`, `Bb`, `Cm`, or `none`")
            })?;
        }
        Header::Meter(p) => {
            setting.meter = meter(&p.text).ok_or_else(|| {
                Fault::new(p.at.clone(), format!("`{}` is not a meter", p.text))
                    .help("write beats over beat unit: 4/4, 3/4, 6/8, 12/8")
            })?;
        }
        Header::Pitch(p) => {
            setting.written = match p.text.to_lowercase().as_str() {
                "written" => true,
                "sounding" | "concert" => false,
                _ => {
                    return Err(Fault::new(
                        p.at.clone(),
                        format!("`{}` does not say which pitch the cells hold", p.text),
                    )
                    .help("write `sounding` or `written`"));
                }
            };
        }
        Header::Section(p) => setting.stated.section = Some(p.text.clone()),
        Header::Technique(p) => {
            let said = match p.text.to_lowercase().as_str() {
                // Nothing is said any more: from here on it is inferred.
                "" | "-" => "",
                "free" | "none" | "solo" => FREE,
                _ => &p.text,
            };
            if !matches!(said, "" | FREE)
                && let Err(unknown) = Technique::read(&p.text)
            {
                return Err(Fault::new(
                    p.at.clone(),
                    format!("`{}` is not a technique chartproof knows", p.text),
                )
                .help(unknown.help()));
            }
            setting.stated.technique = Some(said.to_owned());
        }
        Header::Bar(p) => {
            let n = p.text.parse::<u32>().map_err(|_| {
                Fault::new(p.at.clone(), format!("`{}` is not a bar number", p.text))
            })?;
            setting.next_bar = Some(i64::from(n));
        }
        Header::Part(..) => {}
    }
    Ok(())
}

fn key(text: &str) -> Option<Key> {
    let lower = text.to_lowercase();
    if matches!(lower.as_str(), "none" | "-" | "") {
        return Some(Key {
            fifths: 0,
            minor: false,
        });
    }
    let letter = text.chars().next().filter(char::is_ascii)?;
    let step = Step::from_char(letter)?;
    let (alter, rest) = read_accidentals(text.get(1..)?);
    let minor = match rest.trim().to_lowercase().as_str() {
        "" | "major" | "maj" => rest.trim() == "m",
        "m" | "minor" | "min" => true,
        _ => return None,
    };
    let fifths = NoteName::new(step, alter).fifths() - if minor { 3 } else { 0 };
    (-7..=7).contains(&fifths).then_some(Key {
        fifths: fifths as i8,
        minor,
    })
}

fn meter(text: &str) -> Option<Meter> {
    let (beats, unit) = text.split_once('/')?;
    let beats: u16 = beats.trim().parse().ok()?;
    let unit: u16 = unit.trim().parse().ok()?;
    ((1..=64).contains(&beats) && [1, 2, 4, 8, 16, 32].contains(&unit))
        .then_some(Meter { beats, unit })
}

/// The rows of one system, and which is for what.
struct System<'a> {
    rows: &'a [Row],
    count: &'a Row,
    chords: Option<&'a Row>,
    choices: Option<&'a Row>,
    by_part: Vec<Option<&'a Row>>,
}

impl<'a> System<'a> {
    /// The rows in their roles. All have the same number of bars.
    fn of(rows: &'a [Row], parts: &[Declared], by_key: &HashMap<String, usize>) -> Parsed<Self> {
        let labelled = |name: &str| {
            rows.iter()
                .find(|r| r.label.text.to_lowercase().trim_end_matches('s') == name)
        };
        let Some(count) = labelled("count") else {
            let at = rows.first().map_or(0..1, label);
            return Err(Fault::new(at, "this system has no `count` row")
                .help("a row such as `count | 1 & 2 3 |` says when each column sounds"));
        };
        let by_part = by_part(rows, parts, by_key)?;
        for row in rows {
            if row.bars.len() != count.bars.len() {
                let at = row.label.at.start..row.bars.last().map_or(row.label.at.end, |b| b.at.end);
                return Err(Fault::new(
                    at,
                    format!(
                        "{} has {} here; the count row has {}",
                        row.label.text,
                        bars(row.bars.len()),
                        bars(count.bars.len())
                    ),
                )
                .help("every row of a system has the same bars; is a `|` missing?"));
            }
        }
        Ok(Self {
            rows,
            count,
            chords: labelled("chord"),
            choices: labelled("choice"),
            by_part,
        })
    }

    /// Makes sure that after so many bars the score may have those of the system, and each of them as
    /// many notes as it has.
    fn within(&self, limits: &Limits, before: usize) -> Parsed<()> {
        let bars = (before.saturating_add(self.count.bars.len()) as u64)
            .saturating_mul(self.by_part.len().max(1) as u64);
        if bars > limits.bars {
            let message = format!(
                "the score has more than {} bars in all its parts",
                limits.bars
            );
            return Err(Fault::new(label(self.count), message).help(limits::raise("bars")));
        }
        for bar in self.rows.iter().flat_map(|row| &row.bars) {
            let notes = |cell: &TextPiece| cell.text.matches('+').count() + 1;
            let found = bar.cells.iter().map(notes).sum::<usize>() as u64;
            if found > limits.bar {
                let message = format!(
                    "this bar has {found} notes, rests and signs in one part; at most {} are read",
                    limits.bar
                );
                return Err(Fault::new(bar.at.clone(), message).help(limits::raise("bar")));
            }
        }
        Ok(())
    }

    /// Adds the bars of the system, numbered from `number`.
    fn plan(
        &self,
        setting: &mut Setting,
        number: &mut i64,
        plans: &mut Vec<BarPlan<'a>>,
    ) -> Parsed<()> {
        for (i, counted) in self.count.bars.iter().enumerate() {
            if let Some(n) = setting.next_bar.take() {
                *number = n;
            }
            let name = number.to_string();
            let starts = counts(counted, setting.meter, &name)?;
            let Some(&first) = starts.first() else {
                return Err(Fault::new(
                    counted.at.clone(),
                    format!("count row, bar {name}: there is no count"),
                )
                .help("a bar of rest has the count 1 and a `.` in each row"));
            };
            let zero = Ratio::from_integer(0);
            let pickup = plans.is_empty() && first > zero;
            let (name, base) = if pickup {
                ((*number - 1).to_string(), first)
            } else {
                (name, zero)
            };
            let unit = setting.meter.unit_quarters();
            self.have_a_cell_each(i, starts.len(), &name)?;
            let bar_of = |row: Option<&'a Row>| row.and_then(|r| r.bars.get(i));
            let stated = &setting.stated;
            let is_stated = stated.section.is_some() || stated.technique.is_some();
            plans.push(BarPlan {
                number: name,
                pickup,
                meter: setting.meter,
                key: setting.key,
                stated: (i == 0 && is_stated).then(|| stated.clone()),
                written: setting.written,
                length: (Ratio::from_integer(i64::from(setting.meter.beats)) - base) * unit,
                starts: starts.iter().map(|s| (*s - base) * unit).collect(),
                chords: bar_of(self.chords),
                choices: bar_of(self.choices),
                rows: self.by_part.iter().map(|r| bar_of(*r)).collect(),
                double: self
                    .rows
                    .iter()
                    .any(|r| bar_of(Some(r)).is_some_and(|b| b.double)),
            });
            if !pickup {
                *number += 1;
            }
        }
        Ok(())
    }

    /// Makes sure that every row has as many cells in a bar as the count row has.
    fn have_a_cell_each(&self, bar: usize, counts: usize, name: &str) -> Parsed<()> {
        for row in self.rows {
            let Some(bar) = row.bars.get(bar) else {
                continue;
            };
            let found = bar.cells.len();
            if found != counts {
                let cells = if found == 1 { "cell" } else { "cells" };
                let label = &row.label.text;
                return Err(Fault::new(
                    bar.at.clone(),
                    format!("{label}, bar {name}: {found} {cells}, where the count has {counts}"),
                )
                .help(
                    "each row has one cell under each count: a note, `-` to hold, or `.` to rest",
                ));
            }
        }
        Ok(())
    }
}

/// The bytes of a row's label: one at least.
fn label(row: &Row) -> Range<usize> {
    let at = &row.label.at;
    at.start..at.end.max(at.start + 1)
}

/// The row of each part, where the system has one.
fn by_part<'a>(
    rows: &'a [Row],
    parts: &[Declared],
    by_key: &HashMap<String, usize>,
) -> Parsed<Vec<Option<&'a Row>>> {
    let mut by_part: Vec<Option<&Row>> = vec![None; parts.len()];
    for row in rows {
        if RESERVED.contains(&row.label.text.to_lowercase().as_str()) {
            continue;
        }
        let Some(&index) = by_key.get(&key_of(&row.label.text)) else {
            let fault = Fault::new(
                label(row),
                format!("no part is called `{}`", row.label.text),
            );
            let names = parts.iter().map(|p| p.label.text.as_str());
            return Err(
                match nearest(&row.label.text, names.chain(["chord", "count", "choice"])) {
                    Some(known) => fault.help(format!("did you mean `{known}`?")),
                    None => fault.help("declare it under `parts:`"),
                },
            );
        };
        match by_part.get_mut(index) {
            Some(slot) if slot.is_none() => *slot = Some(row),
            _ => {
                return Err(Fault::new(
                    row.label.at.clone(),
                    format!("`{}` has two rows in one system", row.label.text),
                )
                .help("leave a blank line before the next system"));
            }
        }
    }
    Ok(by_part)
}

/// A number of bars in words: `1 bar`, `2 bars`.
fn bars(count: usize) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} bar{plural}")
}
