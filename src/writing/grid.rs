//! The passage grid.
//!
//! Held: title, concert key, meter, section, technique, bar numbers, double bars, chord symbols,
//! pitches with their ties and the four articulations a cell can wear. Not held, and left out:
//! grace and cue notes, slurs, other marks, words, dynamics, clefs, tempos. What would change the
//! music is refused with an [`Unwritable`].

use super::harmony;
use crate::ground::chord;
use crate::ground::instrument::{Instrument, catalogue};
use crate::ground::pitch::{NoteName, Pitch, Transposition};
use crate::ground::time::{Meter, Ticks};
use crate::notation::{Quarters, ZERO, quarters};
use crate::score::identity::{Identity, identify_all};
use crate::score::{
    Articulations, ChordMark, Key, Mark, Note, NoteFlags, Part, Place, Score, Stated, in_force,
};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use unicode_width::UnicodeWidthStr;

/// Which pitch the cells hold.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Cells {
    /// Concert pitch.
    #[default]
    Sounding,
    /// What each player reads.
    Written,
}

/// The score has something that a passage grid cannot hold; the text says what, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a passage grid cannot hold this score: {0}; write MusicXML instead")]
pub struct Unwritable(pub String);

/// The most bars of one system.
const BARS: usize = 4;

/// The widest system, in columns of text.
const WIDTH: usize = 100;

/// The finest division of a beat that a count can say.
const FINEST: i64 = 1024;

/// One row of cells: a part, or one voice of a part that plays several.
struct Row<'a> {
    label: String,
    instrument: Option<&'a Instrument>,
    part: &'a Part,
    /// Which notes of the part: those of this staff and voice, or all.
    voice: Option<(u8, u8)>,
}

impl<'a> Row<'a> {
    /// The sounding notes of the row in a bar, grouped by onset.
    fn columns(&self, bar: usize) -> BTreeMap<Ticks, Vec<&'a Note>> {
        let mut out: BTreeMap<Ticks, Vec<&'a Note>> = BTreeMap::new();
        let from = self
            .part
            .notes
            .partition_point(|n| (n.at.bar as usize) < bar);
        for note in self
            .part
            .notes
            .iter()
            .skip(from)
            .take_while(|n| n.at.bar as usize == bar)
        {
            let own = self.voice.is_none_or(|v| v == (note.staff, note.voice));
            let plays = note.flags.0 & (NoteFlags::GRACE.0 | NoteFlags::CUE.0) == 0;
            if own && plays && note.duration > Ticks::ZERO {
                out.entry(note.at.offset).or_default().push(note);
            }
        }
        out
    }
}

/// One bar, its cells worked out.
struct Column {
    counts: Vec<String>,
    chords: Vec<String>,
    rows: Vec<Vec<String>>,
    double: bool,
    /// Header lines that must stand before it.
    headers: Vec<String>,
}

/// Writes a score as a passage grid.
///
/// # Errors
///
/// [`Unwritable`] when the score has what a grid has no cell for: several notes at once in a part
/// that plays one, bars that are not full, an instrument the catalogue does not know.
pub fn write(score: &Score, cells: Cells) -> Result<String, Unwritable> {
    write_with_comments(score, cells, &[])
}

/// The same, with comments under the systems that their places stand in; each begins with bar and beat.
///
/// # Errors
///
/// As [`write`].
pub fn write_with_comments(
    score: &Score,
    cells: Cells,
    comments: &[(Place, String)],
) -> Result<String, Unwritable> {
    let mut score = score.clone();
    score.lay_out();
    let score = &score;
    if score.bars.is_empty() || score.parts.is_empty() {
        return Err(Unwritable("it has no bars".to_owned()));
    }
    let rows = rows(score)?;
    let mut out = String::new();
    if let Some(title) = &score.title {
        header(&mut out, "title", &one_line(title));
    }
    let mut bars = Vec::with_capacity(score.bars.len());
    let mut state = State::default();
    for bar in 0..score.bars.len() {
        bars.push(column(score, &rows, bar, cells, &mut state)?);
    }
    if let Some(first) = bars.first_mut() {
        for line in std::mem::take(&mut first.headers) {
            let (name, value) = line.split_once(": ").unwrap_or((&line, ""));
            header(&mut out, name, value);
        }
    }
    header(
        &mut out,
        "pitch",
        match cells {
            Cells::Sounding => "sounding",
            Cells::Written => "written",
        },
    );
    if rows.iter().all(|r| r.instrument.is_some()) {
        let widest = rows.iter().map(|r| r.label.width()).max().unwrap_or(0);
        for (i, row) in rows.iter().enumerate() {
            let head = if i == 0 { "parts:" } else { "" };
            let name = row.instrument.map_or("", |i| i.name.as_str());
            let pad = widest - row.label.width();
            let _ = writeln!(out, "{head:<12}{}{:pad$} = {name}", row.label, "");
        }
    }
    let comments: Vec<(usize, String)> = comments
        .iter()
        .map(|(at, text)| {
            let (bar, beat) = (score.bar_number(at.bar), score.beat_at(*at));
            let line = format!("; bar {bar}, beat {beat}: {}", one_line(text));
            (at.bar as usize, line)
        })
        .collect();
    systems(&mut out, &rows, &bars, &comments, !score.chords.is_empty());
    Ok(out)
}

fn header(out: &mut String, name: &str, value: &str) {
    let _ = writeln!(out, "{:<12}{value}", format!("{name}:"));
}

/// Text that fits a header's line.
fn one_line(text: &str) -> String {
    let text = text.replace(';', ",").replace('|', "/");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn label(name: &str) -> String {
    let plain: String = name
        .chars()
        .map(|c| {
            if matches!(c, '|' | ';' | ':' | '=') {
                ' '
            } else {
                c
            }
        })
        .collect();
    let plain = plain.split_whitespace().collect::<Vec<_>>().join(" ");
    let lower = plain.to_lowercase();
    match lower.trim_end_matches('s') {
        "" => "part".to_owned(),
        "chord" | "count" | "choice" => format!("{plain} part"),
        _ => plain,
    }
}

/// The rows of the score with the instruments they are declared as.
fn rows(score: &Score) -> Result<Vec<Row<'_>>, Unwritable> {
    // What the parts are, the score's own book says; a grid's names are read back with the shipped one.
    let book = catalogue();
    let identities = identify_all(score.instruments.catalogue(), &score.parts);
    let mut rows: Vec<Row<'_>> = Vec::new();
    for (i, part) in score.parts.iter().enumerate() {
        let identity = identities.get(i).and_then(Option::as_ref);
        let by = transposition(part)?;
        let instrument = declared(identity, part, by);
        let voices = voices(part);
        let several = voices.len() > 1 && !homophonic(part);
        let mut taken: Vec<Option<(u8, u8)>> = vec![None];
        if several {
            taken = voices.iter().copied().map(Some).collect();
        }
        for (n, voice) in taken.into_iter().enumerate() {
            let mut name = label(&part.name);
            if several {
                let _ = write!(name, " {}", n + 1);
            }
            let base = name.clone();
            let mut again = 2;
            while rows
                .iter()
                .any(|r| r.label.to_lowercase() == name.to_lowercase())
            {
                name = format!("{base} ({again})");
                again += 1;
            }
            rows.push(Row {
                label: name,
                instrument,
                part,
                voice,
            });
        }
    }
    if rows.iter().any(|r| r.instrument.is_none()) {
        // Undeclared parts are known by their labels alone.
        let named: Vec<Part> = rows
            .iter()
            .map(|r| Part {
                name: r.label.clone(),
                ..Part::default()
            })
            .collect();
        let found = identify_all(book, &named);
        for (row, found) in rows.iter_mut().zip(found) {
            let reads = found.map_or(Transposition::NONE, |i| i.instrument.transposition);
            if reads != transposition(row.part)? {
                return Err(Unwritable(format!(
                    "no instrument is known for the part `{}`",
                    row.label
                )));
            }
            row.instrument = None;
        }
    }
    Ok(rows)
}

/// The one transposition of a part.
fn transposition(part: &Part) -> Result<Transposition, Unwritable> {
    let first = part.transposition(Ticks::ZERO);
    if part.transpositions.iter().any(|m| m.value != first) {
        return Err(Unwritable(format!(
            "`{}` changes its transposition on the way",
            part.name
        )));
    }
    Ok(first)
}

/// The instrument whose name, read back, transposes as the part does.
fn declared(
    identity: Option<&Identity<'_>>,
    part: &Part,
    by: Transposition,
) -> Option<&'static Instrument> {
    let book = catalogue();
    let fits = |i: &Instrument| {
        i.transposition == by && book.named(&i.name).is_some_and(|n| n.key == i.key)
    };
    identity
        .and_then(|i| book.instrument(&i.instrument.key))
        .filter(|i| fits(i))
        .or_else(|| {
            let sound = part.sound.as_ref()?;
            book.instruments
                .iter()
                .find(|i| i.sounds.contains(sound) && fits(i))
        })
}

/// The staves and voices of a part that have notes.
fn voices(part: &Part) -> BTreeSet<(u8, u8)> {
    part.notes
        .iter()
        .filter(|n| n.sounds() && n.duration > Ticks::ZERO)
        .map(|n| (n.staff, n.voice))
        .collect()
}

/// Whether all notes that sound together start and end together.
fn homophonic(part: &Part) -> bool {
    let mut end = Ticks::ZERO;
    let mut last = None;
    for note in part.notes.iter().filter(|n| n.sounds()) {
        let same = last == Some((note.onset, note.duration));
        if !same && note.onset < end {
            return false;
        }
        last = Some((note.onset, note.duration));
        end = end.max(note.end());
    }
    true
}

/// What header lines have said so far.
#[derive(Default)]
struct State {
    key: Option<Key>,
    meter: Option<Meter>,
    stated: Stated,
    /// The number the next bar gets by itself.
    number: Option<i64>,
    /// Whether each row held notes at the end of the bar before, and which.
    held: Vec<Vec<Pitch>>,
}

fn column(
    score: &Score,
    rows: &[Row<'_>],
    bar: usize,
    cells: Cells,
    state: &mut State,
) -> Result<Column, Unwritable> {
    let Some(here) = score.bars.get(bar) else {
        return Err(Unwritable("a bar is missing".to_owned()));
    };
    let meter = score.meter_at(here.start);
    let usable = (1..=64).contains(&meter.beats) && [1, 2, 4, 8, 16, 32].contains(&meter.unit);
    let full = meter.bar(score.per_quarter);
    let last = bar + 1 == score.bars.len();
    let pickup = bar == 0 && here.length < full;
    if !usable || here.length > full || (here.length < full && !pickup && !last) {
        return Err(Unwritable(format!(
            "bar {} does not fill its {meter}",
            here.number
        )));
    }
    let missing = if pickup {
        full - here.length
    } else {
        Ticks::ZERO
    };
    let headers = headers(score, bar, meter, pickup, state);
    let chords: Vec<&Mark<ChordMark>> = score
        .chords
        .iter()
        .filter(|m| m.at.bar as usize == bar)
        .collect();
    let notes: Vec<BTreeMap<Ticks, Vec<&Note>>> = rows.iter().map(|r| r.columns(bar)).collect();
    let mut times: BTreeSet<Ticks> = BTreeSet::from([Ticks::ZERO]);
    times.extend(chords.iter().map(|m| m.at.offset));
    for (start, together) in notes.iter().flatten() {
        times.insert(*start);
        times.extend(together.iter().map(|n| *start + n.duration));
    }
    let mut times: Vec<Ticks> = times.into_iter().filter(|t| *t < full - missing).collect();
    let mut chord_cells = Vec::with_capacity(times.len());
    for time in &times {
        let mark = chords.iter().rfind(|m| m.at.offset == *time);
        chord_cells.push(mark.map_or(Ok("-".to_owned()), |m| chord_cell(&m.value))?);
    }
    state.held.resize(rows.len(), Vec::new());
    let mut cell_rows = Vec::with_capacity(rows.len());
    for ((row, notes), held) in rows.iter().zip(&notes).zip(&mut state.held) {
        cell_rows.push(row_cells(
            row,
            notes,
            &times,
            here.length,
            held,
            cells,
            &here.number,
        )?);
    }
    let mut kept: Vec<bool> = (0..times.len())
        .map(|i| i == 0 || chord_cells.get(i).is_some_and(|c| c != "-"))
        .collect();
    for cells in &cell_rows {
        for ((keep, cell), before) in kept.iter_mut().skip(1).zip(cells.iter().skip(1)).zip(cells) {
            *keep |= !(cell == "-" || (cell == "." && before == "."));
        }
    }
    only(&mut times, &kept);
    only(&mut chord_cells, &kept);
    for cells in &mut cell_rows {
        only(cells, &kept);
    }
    let counts = counts(score, meter, &times, missing, &here.number)?;
    let double = score
        .parts
        .iter()
        .any(|p| p.bars.get(bar).is_some_and(|b| b.double_bar));
    Ok(Column {
        counts,
        chords: chord_cells,
        rows: cell_rows,
        double,
        headers,
    })
}

/// Leaves out the columns in which nothing happens.
fn only<T>(cells: &mut Vec<T>, kept: &[bool]) {
    let mut keep = kept.iter();
    cells.retain(|_| keep.next().copied().unwrap_or(true));
}

/// What has to be said before a bar: what differs from what was said.
fn headers(
    score: &Score,
    bar: usize,
    meter: Meter,
    pickup: bool,
    state: &mut State,
) -> Vec<String> {
    let mut out = Vec::new();
    let Some(here) = score.bars.get(bar) else {
        return out;
    };
    let part = score
        .parts
        .iter()
        .find(|p| !p.keys.is_empty())
        .or(score.parts.first());
    if let Some(part) = part {
        let key = Key {
            fifths: part.concert_fifths(here.start),
            minor: part.key(here.start).minor,
        };
        if state.key != Some(key) {
            let tonic = i16::from(key.fifths) + if key.minor { 3 } else { 0 };
            let mode = if key.minor { "minor" } else { "major" };
            out.push(format!("key: {} {mode}", NoteName::from_fifths(tonic)));
            state.key = Some(key);
        }
    }
    if state.meter != Some(meter) {
        out.push(format!("meter: {meter}"));
        state.meter = Some(meter);
    }
    let stated = in_force(&score.stated, here.start).map(|m| &m.value);
    if let Some(stated) = stated {
        if stated.section.is_some() && stated.section != state.stated.section {
            let section = stated.section.as_deref().unwrap_or_default();
            out.push(format!("section: {}", one_line(section)));
        }
        if stated.technique.is_some() && stated.technique != state.stated.technique {
            let technique = stated.technique.as_deref().unwrap_or_default();
            out.push(format!("technique: {}", one_line(technique)));
        }
        state.stated = stated.clone();
    }
    let by_itself = state.number.unwrap_or(1) - i64::from(pickup);
    let printed = here.number.parse::<i64>().ok();
    let number = match printed {
        Some(n) if n != by_itself && n + i64::from(pickup) >= 0 => {
            out.push(format!("bar: {}", n + i64::from(pickup)));
            n
        }
        _ => by_itself,
    };
    state.number = Some(number + 1);
    out
}

/// The counts of a bar as players say them.
fn counts(
    score: &Score,
    meter: Meter,
    times: &[Ticks],
    missing: Ticks,
    bar: &str,
) -> Result<Vec<String>, Unwritable> {
    let mut before = 1;
    let mut out = Vec::with_capacity(times.len());
    for time in times {
        let beats: Quarters = quarters(*time + missing, score.per_quarter) / meter.unit_quarters();
        let beat = beats.floor().to_integer() + 1;
        let rest = beats - beats.floor();
        let sign = match (*rest.numer(), *rest.denom()) {
            (0, _) => String::new(),
            (1, 2) => "&".to_owned(),
            (1, 4) => "e".to_owned(),
            (3, 4) => "a".to_owned(),
            (n, d) if d <= FINEST => format!("+{n}/{d}"),
            _ => {
                return Err(Unwritable(format!(
                    "bar {bar} divides a beat into {} parts, and a count says {FINEST} at most",
                    rest.denom()
                )));
            }
        };
        let whole = rest == ZERO || sign.starts_with('+') || beat != before;
        out.push(if whole { format!("{beat}{sign}") } else { sign });
        before = beat;
    }
    Ok(out)
}

fn chord_cell(mark: &ChordMark) -> Result<String, Unwritable> {
    let fits = |text: &str| {
        !text.is_empty()
            && !matches!(text, "-" | ".")
            && !text.contains(|c: char| c.is_whitespace() || matches!(c, '|' | ';'))
    };
    let refuse = |text: &str| Unwritable(format!("the chord symbol `{text}` fits no cell"));
    match &mark.chord {
        Some(chord) => {
            if fits(&chord.text)
                && matches!(chord::parse(&chord.text), Ok(Some(read)) if read == *chord)
            {
                return Ok(chord.text.clone());
            }
            harmony::symbol(chord).ok_or_else(|| refuse(&chord.text))
        }
        None if mark.unread.is_none() => Ok("N.C.".to_owned()),
        None if fits(&mark.written) => Ok(mark.written.clone()),
        None => Err(refuse(&mark.written)),
    }
}

/// The cells of one row in one bar. `held` are the pitches tied over the bar line, if any.
fn row_cells(
    row: &Row<'_>,
    notes: &BTreeMap<Ticks, Vec<&Note>>,
    times: &[Ticks],
    length: Ticks,
    held: &mut Vec<Pitch>,
    cells: Cells,
    bar: &str,
) -> Result<Vec<String>, Unwritable> {
    let who = &row.label;
    let mut out = Vec::with_capacity(times.len());
    let mut until = Ticks::ZERO;
    let mut tied = std::mem::take(held);
    for &time in times {
        let Some(together) = notes.get(&time) else {
            out.push(if time < until { "-" } else { "." }.to_owned());
            continue;
        };
        if time < until {
            return Err(Unwritable(format!(
                "`{who}` starts a note in bar {bar} while another goes on"
            )));
        }
        let ends: BTreeSet<Ticks> = together.iter().map(|n| n.duration).collect();
        if ends.len() > 1 {
            return Err(Unwritable(format!(
                "`{who}` plays notes of different length at once in bar {bar}"
            )));
        }
        let one = row.instrument.is_some_and(|i| i.single_line);
        if one && together.len() > 1 {
            return Err(Unwritable(format!(
                "`{who}` plays {} notes at once in bar {bar}, and its row holds one",
                together.len()
            )));
        }
        let shown = |n: &Note| match cells {
            Cells::Sounding => n.sounding,
            Cells::Written => n.written,
        };
        let pitches: Vec<Pitch> = together.iter().map(|n| shown(n)).collect();
        let joined = time == until || time == Ticks::ZERO;
        let is_held =
            |n: &Note| joined && n.flags.has(NoteFlags::TIED_IN) && tied.contains(&shown(n));
        let goes_on = pitches.len() == tied.len() && together.iter().all(|n| is_held(n));
        let duration = ends.into_iter().next().unwrap_or_default();
        until = time + duration;
        if until > length {
            return Err(Unwritable(format!(
                "`{who}` has a note in bar {bar} that is longer than the bar"
            )));
        }
        out.push(if goes_on {
            "-".to_owned()
        } else {
            let mut texts = Vec::with_capacity(together.len());
            for note in together {
                let held = if is_held(note) { "-" } else { "" };
                texts.push(format!(
                    "{held}{}{}",
                    shown(note),
                    signs(note.articulations)
                ));
            }
            texts.join("+")
        });
        tied = together
            .iter()
            .filter(|n| n.flags.has(NoteFlags::TIED_OUT))
            .map(|n| shown(n))
            .collect();
    }
    if until == length {
        *held = tied;
    }
    Ok(out)
}

fn signs(marks: Articulations) -> String {
    [
        (Articulations::ACCENT, '>'),
        (Articulations::MARCATO, '^'),
        (Articulations::STACCATO, '.'),
        (Articulations::TENUTO, '_'),
    ]
    .iter()
    .filter(|(mark, _)| marks.has(*mark))
    .map(|(_, sign)| *sign)
    .collect()
}

/// Systems of a few bars, every column as wide as its widest cell.
fn systems(
    out: &mut String,
    rows: &[Row<'_>],
    bars: &[Column],
    comments: &[(usize, String)],
    chords: bool,
) {
    let names = rows.iter().map(|r| r.label.width());
    let margin = names.chain([5]).max().unwrap_or(5);
    let widths: Vec<Vec<usize>> = bars.iter().map(column_widths).collect();
    let bar_width = |w: &Vec<usize>| w.iter().map(|c| c + 1).sum::<usize>() + 2;
    let mut from = 0;
    while from < bars.len() {
        let mut to = from + 1;
        let mut width = margin + 2 + widths.get(from).map_or(0, bar_width);
        while let (Some(bar), Some(next)) = (bars.get(to), widths.get(to)) {
            width += bar_width(next);
            if to - from >= BARS || width > WIDTH || !bar.headers.is_empty() {
                break;
            }
            to += 1;
        }
        let system = bars.get(from..to).unwrap_or_default();
        let system_widths = widths.get(from..to).unwrap_or_default();
        out.push('\n');
        for line in system.first().into_iter().flat_map(|b| &b.headers) {
            let (name, value) = line.split_once(": ").unwrap_or((line, ""));
            header(out, name, value);
        }
        let mut line = |name: &str, cells: &dyn Fn(&Column) -> Option<Vec<String>>| {
            let pad = margin.saturating_sub(name.width());
            let _ = write!(out, "{name}{:pad$} |", "");
            for (bar, widths) in system.iter().zip(system_widths) {
                for (cell, width) in cells(bar).unwrap_or_default().iter().zip(widths) {
                    let pad = width.saturating_sub(cell.width());
                    let _ = write!(out, " {cell}{:pad$}", "");
                }
                out.push_str(if bar.double { " ||" } else { " |" });
            }
            out.push('\n');
        };
        if chords {
            line("chord", &|b| Some(b.chords.clone()));
        }
        line("count", &|b| Some(b.counts.clone()));
        for (i, row) in rows.iter().enumerate() {
            line(&row.label, &|b| b.rows.get(i).cloned());
        }
        for (_, comment) in comments.iter().filter(|c| (from..to).contains(&c.0)) {
            out.push_str(comment);
            out.push('\n');
        }
        from = to;
    }
}

fn column_widths(bar: &Column) -> Vec<usize> {
    let mut widths: Vec<usize> = bar.counts.iter().map(|c| c.width()).collect();
    for row in bar.rows.iter().chain([&bar.chords]) {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.width());
        }
    }
    widths
}
