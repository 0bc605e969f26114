//! Lines to a score.
#![allow(
    clippy::arithmetic_side_effects,
    reason = "counts have four digits and fractions of at most 1024 (`cells::count`); bars and places are those of a text"
)]

use super::cells::{Cell, cell, counts};
use super::lines::{Block, Header, Piece, Row, RowBar};
use super::{Fault, nearest};
use crate::ground::chord;
use crate::ground::instrument::{self, Property};
use crate::ground::pitch::{NoteName, Step, Transposition, read_accidentals, written_fifths};
use crate::ground::text::Span;
use crate::ground::time::{Meter, Ticks, checked_lcm};
use crate::score::identity::identify_all;
use crate::score::{
    ChordMark, FREE, Key, Mark, Note, NoteFlags, Part, PartBar, Place, Rest, Score, Stated,
};
use crate::voicing::Technique;
use num_rational::Ratio;

/// What headers have set so far.
struct Setting {
    key: Key,
    meter: Meter,
    written: bool,
    stated: Stated,
    next_bar: Option<i64>,
}

/// One bar of the passage before ticks are known.
struct BarPlan<'a> {
    number: String,
    pickup: bool,
    meter: Meter,
    key: Key,
    stated: Option<Stated>,
    written: bool,
    /// When each column starts since the bar line, in quarter notes; then the bar's length.
    starts: Vec<Ratio<i64>>,
    length: Ratio<i64>,
    chords: Option<&'a RowBar>,
    /// The bar of each part, where the system has its row.
    rows: Vec<Option<&'a RowBar>>,
    double: bool,
}

struct Declared {
    label: Piece,
    instrument: Option<&'static instrument::Instrument>,
}

const RESERVED: [&str; 3] = ["chord", "chords", "count"];

pub(super) fn same(a: &str, b: &str) -> bool {
    a.split_whitespace()
        .map(str::to_lowercase)
        .eq(b.split_whitespace().map(str::to_lowercase))
}

pub(super) fn score(
    blocks: &[Block],
    instruments: &'static instrument::Catalogue,
) -> Result<Score, Fault> {
    let parts = declared(blocks, instruments)?;
    let mut score = Score::default();
    let plans = plan(blocks, &parts, &mut score)?;
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
    for (i, declared) in parts.iter().enumerate() {
        fill(&mut score, i, declared, &plans)?;
    }
    chords(&mut score, &plans);
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

/// The parts: as declared, else as the rows of the first system name them.
fn declared(
    blocks: &[Block],
    catalogue: &'static instrument::Catalogue,
) -> Result<Vec<Declared>, Fault> {
    let mut parts: Vec<Declared> = Vec::new();
    // In a choir a bare "alto" is a voice.
    let choir = blocks.iter().any(|b| {
        matches!(b, Block::Header(Header::Section(p))
            if catalogue.section_named(&p.text).is_some_and(|s| s.is(Property::Choir)))
    });
    for block in blocks {
        let Block::Header(Header::Part(label, name)) = block else {
            continue;
        };
        if parts.iter().any(|p| same(&p.label.text, &label.text)) {
            return Err(Fault::new(
                label.at.clone(),
                format!("the part `{}` is declared twice", label.text),
            ));
        }
        if RESERVED.contains(&label.text.to_lowercase().as_str()) || label.text.is_empty() {
            return Err(Fault::new(
                label.at.clone(),
                format!("a part cannot be called `{}`", label.text),
            )
            .help("chord and count are rows of their own"));
        }
        let voice = choir
            .then(|| catalogue.named(&format!("{} voice", name.text)))
            .flatten()
            .filter(|i| i.is(Property::Choir));
        let Some(found) = voice.or_else(|| catalogue.named(&name.text)) else {
            let fault = Fault::new(
                name.at.clone(),
                format!("`{}` is not an instrument chartproof knows", name.text),
            );
            let known = nearest(
                &name.text,
                catalogue.instruments.iter().map(|i| i.name.as_str()),
            );
            return Err(match known {
                Some(known) => fault.help(format!("did you mean `{known}`?")),
                None => fault.help("write the instrument as on a part: alto saxophone, trumpet, soprano voice, piano"),
            });
        };
        parts.push(Declared {
            label: label.clone(),
            instrument: Some(found),
        });
    }
    if parts.is_empty() {
        let first = blocks.iter().find_map(|b| match b {
            Block::System(rows) => Some(rows),
            Block::Header(_) => None,
        });
        let labels: Vec<&Piece> = first
            .into_iter()
            .flatten()
            .map(|row| &row.label)
            .filter(|label| !RESERVED.contains(&label.text.to_lowercase().as_str()))
            .collect();
        // Together the names say more than each alone: soprano, alto, tenor, bass are a choir.
        let named: Vec<Part> = labels
            .iter()
            .map(|label| Part {
                name: label.text.clone(),
                ..Part::default()
            })
            .collect();
        for (label, identity) in labels.into_iter().zip(identify_all(catalogue, &named)) {
            parts.push(Declared {
                label: label.clone(),
                instrument: identity.map(|i| i.instrument),
            });
        }
    }
    Ok(parts)
}

/// Every bar of every system with its rows, checked to have as many cells as its count.
fn plan<'a>(
    blocks: &'a [Block],
    parts: &[Declared],
    score: &mut Score,
) -> Result<Vec<BarPlan<'a>>, Fault> {
    let mut plans: Vec<BarPlan<'a>> = Vec::new();
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
            Block::System(rows) => system(rows, parts, &mut setting, &mut number, &mut plans)?,
        }
    }
    Ok(plans)
}

fn apply(header: &Header, setting: &mut Setting, score: &mut Score) -> Result<(), Fault> {
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
                "free" | "none" => FREE,
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

fn system<'a>(
    rows: &'a [Row],
    parts: &[Declared],
    setting: &mut Setting,
    number: &mut i64,
    plans: &mut Vec<BarPlan<'a>>,
) -> Result<(), Fault> {
    let labelled = |name: &str| {
        rows.iter()
            .find(|r| r.label.text.to_lowercase().trim_end_matches('s') == name)
    };
    let Some(count) = labelled("count") else {
        let at = rows.first().map_or(0..1, |r| {
            r.label.at.start..r.label.at.end.max(r.label.at.start + 1)
        });
        return Err(Fault::new(at, "this system has no `count` row")
            .help("a row such as `count | 1 & 2 3 |` says when each column sounds"));
    };
    let chords = labelled("chord");
    let mut by_part: Vec<Option<&Row>> = vec![None; parts.len()];
    for row in rows {
        if RESERVED.contains(&row.label.text.to_lowercase().as_str()) {
            continue;
        }
        let Some(index) = parts
            .iter()
            .position(|p| same(&p.label.text, &row.label.text))
        else {
            let at = row.label.at.start..row.label.at.end.max(row.label.at.start + 1);
            let fault = Fault::new(at, format!("no part is called `{}`", row.label.text));
            let known = nearest(
                &row.label.text,
                parts
                    .iter()
                    .map(|p| p.label.text.as_str())
                    .chain(["chord", "count"]),
            );
            return Err(match known {
                Some(known) => fault.help(format!("did you mean `{known}`?")),
                None => fault.help("declare it under `parts:`"),
            });
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
    for row in rows {
        if row.bars.len() != count.bars.len() {
            let at = row.label.at.start..row.bars.last().map_or(row.label.at.end, |b| b.at.end);
            return Err(Fault::new(
                at,
                format!(
                    "{} has {} bars here, the count row has {}",
                    row.label.text,
                    row.bars.len(),
                    count.bars.len()
                ),
            )
            .help("every row of a system has the same bars; is a `|` missing?"));
        }
    }
    for (i, counted) in count.bars.iter().enumerate() {
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
        let pickup = plans.is_empty() && first > Ratio::from_integer(0);
        let name = if pickup {
            (*number - 1).to_string()
        } else {
            name
        };
        let unit = setting.meter.unit_quarters();
        let base = if pickup {
            first
        } else {
            Ratio::from_integer(0)
        };
        let bar_of = |row: Option<&'a Row>| row.and_then(|r| r.bars.get(i));
        for row in rows {
            let Some(bar) = row.bars.get(i) else { continue };
            if bar.cells.len() != starts.len() {
                return Err(Fault::new(
                    bar.at.clone(),
                    format!(
                        "{}, bar {name}: {} {}, where the count has {}",
                        row.label.text,
                        bar.cells.len(),
                        if bar.cells.len() == 1 {
                            "cell"
                        } else {
                            "cells"
                        },
                        starts.len()
                    ),
                )
                .help(
                    "each row has one cell under each count: a note, `-` to hold, or `.` to rest",
                ));
            }
        }
        let stated = (i == 0
            && (setting.stated.section.is_some() || setting.stated.technique.is_some()))
        .then(|| setting.stated.clone());
        plans.push(BarPlan {
            number: name,
            pickup,
            meter: setting.meter,
            key: setting.key,
            stated,
            written: setting.written,
            length: (Ratio::from_integer(i64::from(setting.meter.beats)) - base) * unit,
            starts: starts.iter().map(|s| (*s - base) * unit).collect(),
            chords: bar_of(chords),
            rows: by_part.iter().map(|r| bar_of(*r)).collect(),
            double: rows.iter().any(|r| r.bars.get(i).is_some_and(|b| b.double)),
        });
        if !pickup {
            *number += 1;
        }
    }
    Ok(())
}

fn ticks(time: Ratio<i64>, per_quarter: Ticks) -> Ticks {
    Ticks((time * per_quarter.0).to_integer())
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

/// The notes, rests and bars of one part.
fn fill(
    score: &mut Score,
    index: usize,
    declared: &Declared,
    plans: &[BarPlan<'_>],
) -> Result<(), Fault> {
    let per_quarter = score.per_quarter;
    let transposition = declared
        .instrument
        .map_or(Transposition::NONE, |i| i.transposition);
    let Some(part) = score.parts.get_mut(index) else {
        return Ok(());
    };
    part.transpositions
        .push(Mark::new(Place::default(), transposition, Span::default()));
    let mut last_key = None;
    // What sounds at the end of the bar before: how many notes at the end of `part.notes`.
    let mut sounding = 0usize;
    let mut resting = false;
    for (bar, plan) in plans.iter().enumerate() {
        let place = |offset: Ticks| Place {
            bar: bar as u32,
            offset,
        };
        if last_key != Some(plan.key) {
            let fifths = written_fifths(plan.key.fifths, transposition);
            part.keys.push(Mark::new(
                place(Ticks::ZERO),
                Key {
                    fifths,
                    minor: plan.key.minor,
                },
                Span::default(),
            ));
            last_key = Some(plan.key);
        }
        let length = ticks(plan.length, per_quarter);
        let row = plan.rows.get(index).copied().flatten();
        part.bars.push(PartBar {
            number: plan.number.clone(),
            filled: length,
            uncounted: plan.pickup,
            double_bar: plan.double,
            span: row.map(|r| Span::of(&r.at)).unwrap_or_default(),
            ..PartBar::default()
        });
        let rest = |offset: Ticks, duration: Ticks, at: Span| Rest {
            at: place(offset),
            onset: Ticks::ZERO,
            duration,
            staff: 1,
            voice: 1,
            whole_bar: offset == Ticks::ZERO && duration == length,
            span: at,
        };
        let Some(row) = row else {
            part.rests.push(rest(Ticks::ZERO, length, Span::default()));
            sounding = 0;
            resting = true;
            continue;
        };
        let mut bounds: Vec<Ticks> = plan.starts.iter().map(|s| ticks(*s, per_quarter)).collect();
        if let Some(&first) = bounds.first()
            && first > Ticks::ZERO
        {
            part.rests.push(rest(Ticks::ZERO, first, Span::default()));
            sounding = 0;
            resting = true;
        }
        bounds.push(length);
        let mut carried = true; // nothing of this bar has been written yet
        for (piece, window) in row.cells.iter().zip(bounds.windows(2)) {
            let &[start, end] = window else { continue };
            let duration = end - start;
            match cell(piece, &declared.label.text, &plan.number)? {
                Cell::Rest => {
                    part.rests.push(rest(start, duration, Span::of(&piece.at)));
                    sounding = 0;
                    resting = true;
                }
                Cell::Held if sounding == 0 => {
                    if !resting {
                        return Err(Fault::new(
                            piece.at.clone(),
                            format!(
                                "{}, bar {}: `-` has nothing to hold",
                                declared.label.text, plan.number
                            ),
                        )
                        .help("write a note, or `.` for a rest"));
                    }
                    part.rests.push(rest(start, duration, Span::of(&piece.at)));
                }
                Cell::Held if carried => {
                    // Over the bar line: a tie.
                    let from = part.notes.len().saturating_sub(sounding);
                    let held: Vec<Note> = part.notes.iter().skip(from).copied().collect();
                    for note in part.notes.iter_mut().skip(from) {
                        note.flags = note.flags.with(NoteFlags::TIED_OUT);
                    }
                    for note in held {
                        part.notes.push(Note {
                            at: place(start),
                            duration,
                            flags: NoteFlags(note.flags.0 & !NoteFlags::TIED_OUT.0)
                                .with(NoteFlags::TIED_IN),
                            articulations: crate::score::Articulations::default(),
                            span: Span::of(&piece.at),
                            ..note
                        });
                    }
                }
                Cell::Held => {
                    let from = part.notes.len().saturating_sub(sounding);
                    for note in part.notes.iter_mut().skip(from) {
                        note.duration += duration;
                    }
                }
                Cell::Notes(notes) => {
                    let before = part.notes.len().saturating_sub(sounding)..part.notes.len();
                    sounding = notes.len();
                    resting = false;
                    for (i, n) in notes.into_iter().enumerate() {
                        let (written, heard) = if plan.written {
                            (n.pitch, n.pitch.transposed(transposition))
                        } else {
                            (n.pitch.transposed(transposition.inverse()), n.pitch)
                        };
                        let mut flags = if i > 0 {
                            NoteFlags::CHORD_MEMBER
                        } else {
                            NoteFlags::default()
                        };
                        if n.held {
                            let mut last = part.notes.get_mut(before.clone()).into_iter().flatten();
                            let Some(own) = last.find(|o| {
                                // One note is held by one.
                                o.sounding == heard && !o.flags.has(NoteFlags::TIED_OUT)
                            }) else {
                                return Err(Fault::new(
                                    n.at.clone(),
                                    format!(
                                        "{}, bar {}: `-{}` has nothing to hold",
                                        declared.label.text, plan.number, n.pitch
                                    ),
                                )
                                .help("a note that is held has to sound in the cell before"));
                            };
                            own.flags = own.flags.with(NoteFlags::TIED_OUT);
                            flags = flags.with(NoteFlags::TIED_IN);
                        }
                        part.notes.push(Note {
                            at: place(start),
                            onset: Ticks::ZERO,
                            duration,
                            written,
                            sounding: heard,
                            staff: 1,
                            voice: 1,
                            flags,
                            articulations: n.marks,
                            span: Span::of(&n.at),
                        });
                    }
                }
            }
            carried = false;
        }
    }
    Ok(())
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
