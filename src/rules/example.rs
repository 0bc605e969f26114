//! How the passages of a rule are written.
//!
//! # A passage
//!
//! A passage is a grid (`src/reading/grid/mod.rs`). It may go on with a line `on the page:` and, under
//! it, one line for each sign that a grid cannot show: `PART, bar NUMBER, beat BEAT: SIGN`. Bar numbers
//! are printed ones, beats are counted as players do (`2`, `2-and`); without a beat the sign stands at
//! the bar line. Signs:
//!
//! | sign | stands for |
//! |---|---|
//! | `dynamic mf` | a dynamic |
//! | `words to flute` | words over the staff |
//! | `clef F4` | a clef: its letter and staff line |
//! | `key -3` | a key signature as printed: sharps, or flats when negative |
//! | `no transposition` | the part does not say how it transposes; its notes stay as written |
//! | `sounds as written` | the part says that it does not transpose; its notes stay as written |
//! | `concert score` | the file says that all parts are at concert pitch |
//! | `lasts 2` | the note there lasts so many beats |
//! | `grace note`, `cue note` | the note there is one |
//! | `fall` | the note there falls off at its end |
//! | `tie starts`, `tie ends` | one end of a tie at the note there |
//! | `slur starts`, `slur ends` | one end of a slur at the note there |
//! | `accidental` | an accidental is printed at the note there |
//! | `fermata` | a fermata over the note there |
//! | `impossible altered by 9 semitones` | the note there is one that cannot be read, and why |
//! | `word ends` | a word of the text ends under the note there |
//! | `rolled` | an arpeggio sign at the note there |
//! | `rehearsal mark B` | a rehearsal mark over the bar |
//! | `multi-bar rest 8` | a rest of so many bars starts with the bar |
//! | `double bar` | a double bar line ends the bar |
//! | `repeat starts`, `repeat ends` | a repeat sign at the bar's start or end |
//! | `no bar line` | none is drawn at the bar's end |
//! | `holds 3` | the bar's notes and rests add up to so many beats |
//! | `uncounted` | the file says that the bar does not count, as a pickup |
//! | `cadenza` | the bar has no meter |
//! | `slashes` | the bar is written in slashes |
//! | `meter 3/4` | a time signature in this part |
//! | `no time signature` | the part has none |
//! | `tempo 120` | a metronome mark, quarter notes a minute |
//! | `symbol C7` | a chord symbol at concert pitch in this part |
//! | `ends before` | the part has no such bar, nor those after it |
//!
//! # A wrong passage
//!
//! It shows its one finding, too. Under each note at fault stand carets and the label of the report.
//! Where no such note is at the finding's place, the carets stand under the count and name the parts.
//! The last line is the fix, or the suggestion where no fix was verified:
//!
//! ```text
//! count    | 1   2  |
//! alto 1   | G4  F4 |
//! baritone | Ab3 F3 |
//!            ^^^ should be E4
//! fix: baritone: write E4 (sounding G3) instead of F4 (sounding Ab3)
//! ```
//!
//! # Rows that change
//!
//! A right passage, and a silent one, are given as rows that change:
//!
//! * `alto 2 | C5 D5 |` stands instead of the row of that name, or as a new row below the others. With
//!   several systems `system 2:` comes before the rows of the second.
//! * `technique: drop 2` stands instead of that header line, or as a new one; `technique:` takes it away.
//!   A line that starts with `;` stands instead of the passage's comment.
//! * Signs under `on the page:` are added, those under `not on the page:` are taken away.
//!
//! # The style
//!
//! A silent passage may start with lines about the house style: `style: choir` (a shipped one),
//! `setting: register-break grade = 2`, `off: static-voice`.

use super::rule::Example;
use crate::ground::chord;
use crate::ground::problem::Problem;
use crate::ground::text::Span;
use crate::ground::time::{Meter, Ticks};
use crate::reading::grid;
use crate::score::{
    Articulations, ChordMark, Clef, Key, LooseSlur, Mark, Note, NoteFlags, Part, Place, Score,
    Words,
};
use std::path::Path;

const ON_THE_PAGE: &str = "on the page:";
const NOT_ON_THE_PAGE: &str = "not on the page:";

/// How lines about the house style start.
pub(super) const ABOUT_STYLE: [&str; 3] = ["style:", "setting:", "off:"];

/// How lines about the finding start, beside those with carets.
pub(super) const ABOUT_FIX: [&str; 2] = ["fix: ", "suggestion: "];

impl Example {
    /// The right passage, whole.
    ///
    /// # Errors
    /// When the rows that change cannot be read, or name a system or a sign that the passage has not.
    pub fn right_passage(&self) -> Result<String, String> {
        changed(self.wrong, self.right)
    }

    /// A passage as a score. Marks under its rows and lines about the style count for nothing.
    ///
    /// # Errors
    /// When the grid or a line about the page says something that does not exist.
    pub fn score(passage: &str) -> Result<Score, Problem> {
        let path = Path::new("example.passage");
        let bare = unmarked(passage);
        let grid: String = bare.split_inclusive('\n').map(without_style).collect();
        let mut score = grid::read(path, before_page(&grid).into())?;
        for line in signs(&bare) {
            let sign = Sign::read(&score, line).ok_or_else(|| {
                Problem::whole(path, format!("`{line}` names no place in the example"))
            })?;
            sign.draw(&mut score).ok_or_else(|| {
                Problem::whole(
                    path,
                    format!("`{line}` is not a sign that can be drawn there"),
                )
            })?;
        }
        score.lay_out();
        Ok(score)
    }
}

/// The lines about signs on the page.
pub fn signs(passage: &str) -> impl Iterator<Item = &str> {
    let lines = passage.lines().skip_while(|l| *l != ON_THE_PAGE).skip(1);
    lines.filter(|l| !l.trim().is_empty() && !is_mark(l))
}

/// A passage without its marks and its fix.
pub fn unmarked(passage: &str) -> String {
    let lines = passage.split_inclusive('\n');
    lines.filter(|line| !is_mark(line)).collect()
}

fn is_mark(line: &str) -> bool {
    line.trim_start().starts_with('^') || ABOUT_FIX.iter().any(|word| line.starts_with(word))
}

/// Spaces in place of a line about the style, so that what follows keeps its place in the text.
fn without_style(line: &str) -> String {
    if ABOUT_STYLE.iter().any(|word| line.starts_with(word)) {
        let end = if line.ends_with('\n') { "\n" } else { "" };
        format!("{}{end}", " ".repeat(line.trim_end_matches('\n').len()))
    } else {
        line.to_owned()
    }
}

fn before_page(passage: &str) -> &str {
    let end = passage.find(&format!("{ON_THE_PAGE}\n"));
    end.and_then(|end| passage.get(..end)).unwrap_or(passage)
}

/// A passage with some rows changed, without its marks.
///
/// # Errors
/// When a line of the changes cannot be read, or names a system or a sign that the passage has not.
pub fn changed(passage: &str, changes: &str) -> Result<String, String> {
    let mut text = PassageText::of(&unmarked(passage));
    let mut system = 0;
    let mut list = List::Rows;
    for line in changes.lines().filter(|l| !l.trim().is_empty()) {
        match (line.trim(), list) {
            (ON_THE_PAGE, _) => list = List::Added,
            (NOT_ON_THE_PAGE, _) => list = List::Removed,
            (sign, List::Added) => text.signs.push(sign.to_owned()),
            (sign, List::Removed) => {
                let at = text.signs.iter().position(|s| s == sign);
                let at = at.ok_or_else(|| format!("`{sign}` is not on the page"))?;
                text.signs.remove(at);
            }
            (number, _) if number.starts_with("system ") => {
                let number = number.trim_start_matches("system ").trim_end_matches(':');
                system = number
                    .parse::<usize>()
                    .ok()
                    .and_then(|n| n.checked_sub(1))
                    .ok_or_else(|| format!("`{line}` is not a number of a system"))?;
            }
            (row, _) if row.contains('|') => text.set_row(system, row)?,
            _ => text.set_header(line)?,
        }
    }
    Ok(text.whole())
}

/// What the lines of the changes are about.
#[derive(Clone, Copy)]
enum List {
    Rows,
    Added,
    Removed,
}

/// A passage in its lines.
struct PassageText {
    /// Everything but signs.
    lines: Vec<String>,
    signs: Vec<String>,
}

impl PassageText {
    fn of(passage: &str) -> Self {
        Self {
            lines: before_page(passage).lines().map(str::to_owned).collect(),
            signs: signs(passage).map(str::to_owned).collect(),
        }
    }

    fn whole(&self) -> String {
        let mut text = self.lines.join("\n");
        text.push('\n');
        if !self.signs.is_empty() {
            text.push_str(ON_THE_PAGE);
            text.push('\n');
            text.push_str(&self.signs.join("\n"));
            text.push('\n');
        }
        text
    }

    fn set_row(&mut self, system: usize, row: &str) -> Result<(), String> {
        let name = |line: &str| line.split_once('|').map(|(name, _)| name.trim().to_owned());
        let mut systems: Vec<Vec<usize>> = Vec::new();
        let mut inside = false;
        for (i, line) in self.lines.iter().enumerate() {
            let is_row = line.contains('|');
            if is_row && !inside {
                systems.push(Vec::new());
            }
            if let Some(rows) = systems.last_mut().filter(|_| is_row) {
                rows.push(i);
            }
            inside = is_row;
        }
        let rows = systems
            .get(system)
            .ok_or_else(|| format!("`{row}` stands in a system that the passage has not"))?;
        let old = rows
            .iter()
            .copied()
            .find(|i| self.lines.get(*i).and_then(|l| name(l)) == name(row));
        match (old.and_then(|i| self.lines.get_mut(i)), rows.last()) {
            (Some(line), _) => row.clone_into(line),
            (None, Some(last)) => self.lines.insert(last + 1, row.to_owned()),
            (None, None) => {}
        }
        Ok(())
    }

    fn set_header(&mut self, line: &str) -> Result<(), String> {
        let key = |line: &str| {
            if line.starts_with(';') {
                return Some(";".to_owned());
            }
            let (key, _) = line.split_once(':').filter(|(key, _)| !key.contains('|'))?;
            (!key.contains('=')).then(|| key.trim().to_owned())
        };
        let Some(own) = key(line) else {
            // `parts:` goes on over several lines.
            let goes_on = self.parts_end().filter(|_| line.contains('='));
            let at = goes_on.ok_or_else(|| format!("`{line}` is not a row, header or sign"))?;
            self.lines.insert(at, line.to_owned());
            return Ok(());
        };
        let old = self
            .lines
            .iter()
            .position(|l| key(l).as_ref() == Some(&own));
        if let Some(at) = old {
            self.lines.remove(at);
            if own == "parts" {
                while self.lines.get(at).is_some_and(|l| is_part(l)) {
                    self.lines.remove(at);
                }
            }
        }
        if !line.ends_with(':') {
            self.lines.insert(old.unwrap_or(0), line.to_owned());
        }
        Ok(())
    }

    /// The line after the list of parts.
    fn parts_end(&self) -> Option<usize> {
        let start = self.lines.iter().position(|l| l.starts_with("parts:"))?;
        let more = self.lines.iter().skip(start + 1).take_while(|l| is_part(l));
        Some(start + 1 + more.count())
    }
}

/// A line of `parts:` after its first.
fn is_part(line: &str) -> bool {
    line.contains('=') && !line.contains(':') && !line.contains('|')
}

/// A sign and where it stands.
struct Sign<'a> {
    part: usize,
    at: Place,
    /// Ticks in a beat of the meter's lower figure.
    beat: Ticks,
    what: &'a str,
}

impl<'a> Sign<'a> {
    fn read(score: &Score, line: &'a str) -> Option<Self> {
        let (place, what) = line.split_once(':')?;
        let mut words = place.split(',').map(str::trim);
        let name = words.next()?;
        let part = score.parts.iter().position(|p| p.name == name)?;
        let number = words.next()?.strip_prefix("bar ")?;
        let bar = score.bars.iter().position(|b| b.number == number)?;
        let meter = score.meter_at(score.bars.get(bar)?.start);
        let beat = Ticks((meter.unit_quarters() * score.per_quarter.0).to_integer());
        let offset = match words.next() {
            Some(text) => {
                let text = text.strip_prefix("beat ")?;
                let (whole, half) = match text.strip_suffix("-and") {
                    Some(whole) => (whole, beat.0 / 2),
                    None => (text, 0),
                };
                Ticks((whole.parse::<i64>().ok()? - 1) * beat.0 + half)
            }
            None => Ticks::ZERO,
        };
        Some(Self {
            part,
            at: Place {
                bar: bar as u32,
                offset,
            },
            beat,
            what: what.trim(),
        })
    }

    fn mark<T>(&self, value: T) -> Mark<T> {
        Mark::new(self.at, value, Span::default())
    }

    fn note<'p>(&self, part: &'p mut Part) -> Option<&'p mut Note> {
        part.notes.iter_mut().find(|n| n.at == self.at)
    }

    fn flag(&self, part: &mut Part, flag: NoteFlags) -> Option<()> {
        let note = self.note(part)?;
        note.flags = note.flags.with(flag);
        Some(())
    }

    fn articulate(&self, part: &mut Part, sign: Articulations) -> Option<()> {
        let note = self.note(part)?;
        note.articulations = note.articulations.with(sign);
        Some(())
    }

    fn draw(&self, score: &mut Score) -> Option<()> {
        if self.what == "concert score" {
            score.concert = true;
            return Some(());
        }
        let part = score.parts.get_mut(self.part)?;
        let (word, rest) = self.what.split_once(' ').unwrap_or((self.what, ""));
        self.draw_at_note(part, word, rest)
            .or_else(|| self.draw_in_bar(part, word, rest))
            .or_else(|| self.draw_in_part(part, word, rest))
    }

    /// Signs at one note. `None` where the words are no such sign, or no note stands there.
    fn draw_at_note(&self, part: &mut Part, word: &str, rest: &str) -> Option<()> {
        match (word, rest) {
            ("lasts", beats) => {
                let length = self.beat.times(beats.parse().ok()?);
                self.note(part)?.duration = length;
                let in_bar = part.notes.iter().filter(|n| n.at.bar == self.at.bar);
                let filled = in_bar.map(|n| n.at.offset + n.duration).max()?;
                part.bars.get_mut(self.at.bar as usize)?.filled = filled;
            }
            ("grace", "note") => {
                self.flag(part, NoteFlags::GRACE)?;
                self.note(part)?.duration = Ticks::ZERO;
            }
            ("cue", "note") => self.flag(part, NoteFlags::CUE)?,
            ("fall", "") => self.articulate(part, Articulations::FALL)?,
            ("fermata", "") => self.articulate(part, Articulations::FERMATA)?,
            ("impossible", why) => {
                self.flag(part, NoteFlags::LEFT_OUT)?;
                let span = self.note(part)?.span;
                part.impossible
                    .push(Mark::new(self.at, why.to_owned(), span));
            }
            ("word", "ends") => self.flag(part, NoteFlags::WORD_END)?,
            ("rolled", "") => self.articulate(part, Articulations::ROLLED)?,
            ("tie", "starts") => self.flag(part, NoteFlags::TIED_OUT)?,
            ("tie", "ends") => self.flag(part, NoteFlags::TIED_IN)?,
            ("slur", "starts") => {
                self.flag(part, NoteFlags::SLUR_START)?;
                part.loose_slurs.push(self.mark(LooseSlur::Start));
            }
            ("slur", "ends") => {
                self.flag(part, NoteFlags::SLUR_STOP)?;
                if part.loose_slurs.pop().is_none() {
                    part.loose_slurs.push(self.mark(LooseSlur::Stop));
                }
            }
            ("accidental", "") => {
                let span = self.note(part)?.span;
                part.accidentals.push(span);
            }
            _ => return None,
        }
        Some(())
    }

    /// Signs that belong to the whole bar of a part. `None` where the words are no such sign.
    fn draw_in_bar(&self, part: &mut Part, word: &str, rest: &str) -> Option<()> {
        let bar = part.bars.get_mut(self.at.bar as usize)?;
        match (word, rest) {
            ("rehearsal", mark) => {
                bar.rehearsal = Some(mark.strip_prefix("mark ")?.to_owned());
            }
            ("multi-bar", rest) => {
                bar.multi_rest = Some(rest.strip_prefix("rest ")?.parse().ok()?);
            }
            ("double", "bar") => bar.double_bar = true,
            ("no", "bar line") => bar.goes_on = true,
            ("repeat", "starts") => bar.repeat_start = true,
            ("repeat", "ends") => bar.repeat_end = true,
            ("holds", beats) => bar.filled = self.beat.times(beats.parse().ok()?),
            ("uncounted", "") => bar.uncounted = true,
            ("cadenza", "") => bar.unmeasured = true,
            ("slashes", "") => bar.slashes = true,
            ("ends", "before") => {
                let bar = self.at.bar;
                part.bars.truncate(bar as usize);
                part.notes.retain(|n| n.at.bar < bar);
                part.rests.retain(|r| r.at.bar < bar);
            }
            _ => return None,
        }
        Some(())
    }

    /// Signs over or in a part. `None` where the words are no such sign.
    fn draw_in_part(&self, part: &mut Part, word: &str, rest: &str) -> Option<()> {
        match (word, rest) {
            ("dynamic", mark) => part.dynamics.push(self.mark(mark.to_owned())),
            ("words", text) => part.words.push(self.mark(Words {
                text: text.to_owned(),
                staff: 1,
                below: false,
            })),
            ("clef", clef) => part.clefs.push(self.mark(Clef {
                sign: clef.chars().next()?,
                line: clef.get(1..)?.parse().ok()?,
                octave: 0,
                staff: 1,
            })),
            ("key", fifths) => {
                let fifths = fifths.parse().ok()?;
                part.keys.retain(|k| k.at != self.at);
                part.keys.push(self.mark(Key {
                    fifths,
                    minor: false,
                }));
            }
            ("no", "transposition") => untransposed(part, false),
            ("sounds", "as written") => untransposed(part, true),
            ("no", "time signature") => part.meters.clear(),
            ("meter", figures) => {
                let (beats, unit) = figures.split_once('/')?;
                part.meters.retain(|m| m.at != self.at);
                part.meters.push(self.mark(Meter {
                    beats: beats.parse().ok()?,
                    unit: unit.parse().ok()?,
                }));
            }
            ("tempo", quarters) => part.tempos.push(self.mark(quarters.parse().ok()?)),
            ("symbol", text) => part.chords.push(self.mark(ChordMark {
                chord: chord::parse(text).ok()?,
                written: text.to_owned(),
                unread: None,
            })),
            _ => return None,
        }
        Some(())
    }
}

/// A part whose notes sound as they are written, and whether it says so.
fn untransposed(part: &mut Part, says_so: bool) {
    part.transpositions.clear();
    part.states_transposition = says_so;
    for note in &mut part.notes {
        note.sounding = note.written;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PASSAGE: &str = "\
meter: 4/4
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet

count     | 1  2  | 1 |
trumpet 1 | C5 D5 | . |
               ^^ should be E5
trumpet 2 | A4 B4 | . |
on the page:
trumpet 1, bar 1, beat 2: dynamic mf
trumpet 1, bar 1, beat 2: lasts 2
trumpet 1, bar 2: rehearsal mark B
trumpet 1, bar 1: key -3
fix: trumpet 1: write E5
";

    #[test]
    fn signs_are_drawn_where_they_are_said_to_stand() {
        let score = Example::score(PASSAGE).unwrap();
        let part = &score.parts[0];
        assert_eq!(part.dynamics[0].value, "mf");
        assert_eq!(part.dynamics[0].at, part.notes[1].at);
        assert_eq!(part.bars[0].filled, part.notes[0].duration.times(3));
        assert_eq!(part.bars[1].rehearsal.as_deref(), Some("B"));
        assert_eq!(part.keys.len(), 1);
        assert_eq!(part.keys[0].value.fifths, -3);
    }

    #[test]
    fn what_is_no_sign_or_stands_nowhere_is_refused() {
        for line in [
            "trumpet 3, bar 1: key 1\n",
            "trumpet 1, bar 9: key 1\n",
            "trumpet 1, bar 1, beat 3: slur starts\n",
            "trumpet 1, bar 1: smile\n",
        ] {
            assert!(
                Example::score(&format!("{PASSAGE}{line}")).is_err(),
                "{line}"
            );
        }
    }

    #[test]
    fn rows_headers_and_signs_are_changed() {
        let changes = "\
meter: 3/4
parts: trumpet 1 = cornet
       trumpet 2 = cornet
key: F major
trumpet 1 | C5 E5 | . |
on the page:
trumpet 1, bar 2: key 1
not on the page:
trumpet 1, bar 2: rehearsal mark B
trumpet 1, bar 1: key -3";
        assert_eq!(
            changed(PASSAGE, changes).unwrap(),
            "\
key: F major
meter: 3/4
parts: trumpet 1 = cornet
       trumpet 2 = cornet

count     | 1  2  | 1 |
trumpet 1 | C5 E5 | . |
trumpet 2 | A4 B4 | . |
on the page:
trumpet 1, bar 1, beat 2: dynamic mf
trumpet 1, bar 1, beat 2: lasts 2
trumpet 1, bar 2: key 1
"
        );
        let none = changed(PASSAGE, "meter:").unwrap();
        assert!(none.starts_with("parts:"), "{none}");
    }

    #[test]
    fn a_row_of_a_later_system_is_changed() {
        let two = "count | 1 |\nhorn | C4 |\n\ncount | 1 |\nhorn | D4 |\n";
        assert_eq!(
            changed(two, "system 2:\nhorn | E4 |").unwrap(),
            "count | 1 |\nhorn | C4 |\n\ncount | 1 |\nhorn | E4 |\n"
        );
        assert!(changed(two, "system 3:\nhorn | E4 |").is_err());
    }

    #[test]
    fn changes_that_say_nothing_are_refused() {
        for changes in ["smile", "not on the page:\ntrumpet 2, bar 1: key 1"] {
            assert!(changed(PASSAGE, changes).is_err(), "{changes}");
        }
    }
}
