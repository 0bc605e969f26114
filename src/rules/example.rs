//! What the passage grid of an example cannot show: dynamics, clefs, slurs, signatures.
//!
//! An example may go on after its grid with a line `on the page:` and, under it, one line for each
//! sign: `PART, bar NUMBER, beat BEAT: SIGN`. Bar numbers are printed ones, beats are counted as
//! players do (`2`, `2-and`); without a beat the sign stands at the bar line. Signs:
//!
//! | sign | stands for |
//! |---|---|
//! | `dynamic mf` | a dynamic |
//! | `words to flute` | words over the staff |
//! | `clef F4` | a clef: its letter and staff line |
//! | `key -3` | a key signature as printed: sharps, or flats when negative |
//! | `no transposition` | the part does not say how it transposes; its notes stay as written |
//! | `lasts 2` | the note there lasts so many beats |
//! | `tie starts`, `tie ends` | one end of a tie at the note there |
//! | `slur starts`, `slur ends` | one end of a slur at the note there |
//! | `accidental` | an accidental is printed at the note there |
//! | `rehearsal mark B` | a rehearsal mark over the bar |
//! | `multi-bar rest 8` | a rest of so many bars starts with the bar |
//! | `double bar` | a double bar line ends the bar |
//! | `repeat starts`, `repeat ends` | a repeat sign at the bar's start or end |
//! | `meter 3/4` | a time signature in this part |
//! | `tempo 120` | a metronome mark, quarter notes a minute |
//! | `symbol C7` | a chord symbol at concert pitch in this part |
//! | `ends before` | the part has no such bar, nor those after it |

use super::Example;
use crate::ground::chord;
use crate::ground::problem::Problem;
use crate::ground::text::Span;
use crate::ground::time::{Meter, Ticks};
use crate::reading::grid;
use crate::score::{
    ChordMark, Clef, Key, LooseSlur, Mark, Note, NoteFlags, Part, Place, Score, Words,
};
use std::path::Path;

const ON_THE_PAGE: &str = "on the page:\n";

impl Example {
    /// The grid of a wrong or right passage, and the lines about its page.
    pub fn split(passage: &'static str) -> (&'static str, &'static str) {
        passage.split_once(ON_THE_PAGE).unwrap_or((passage, ""))
    }

    /// A wrong or right passage as a score.
    ///
    /// # Errors
    /// When the grid or a line about the page says something that does not exist.
    pub fn score(passage: &'static str) -> Result<Score, Problem> {
        let path = Path::new("example.passage");
        let (rows, page) = Self::split(passage);
        let mut score = grid::read(path, rows.into())?;
        for line in page.lines().filter(|l| !l.trim().is_empty()) {
            let sign = Sign::read(&score, line).ok_or_else(|| {
                Problem::whole(path, format!("`{line}` names no place in the example"))
            })?;
            sign.draw(&mut score).ok_or_else(|| {
                Problem::whole(path, format!("`{line}` is no sign that can be drawn there"))
            })?;
        }
        score.lay_out();
        Ok(score)
    }
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

    fn draw(&self, score: &mut Score) -> Option<()> {
        let part = score.parts.get_mut(self.part)?;
        let (word, rest) = self.what.split_once(' ').unwrap_or((self.what, ""));
        let flag = |part: &mut Part, flag| {
            let note = self.note(part)?;
            note.flags = note.flags.with(flag);
            Some(())
        };
        match (word, rest) {
            ("dynamic", mark) => part.dynamics.push(self.mark(mark.to_owned())),
            ("words", text) => part.words.push(self.mark(Words {
                text: text.to_owned(),
                staff: 1,
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
            ("no", "transposition") => {
                part.transpositions.clear();
                part.states_transposition = false;
                for note in &mut part.notes {
                    note.sounding = note.written;
                }
            }
            ("lasts", beats) => {
                let length = self.beat.times(beats.parse().ok()?);
                self.note(part)?.duration = length;
                let in_bar = part.notes.iter().filter(|n| n.at.bar == self.at.bar);
                let filled = in_bar.map(|n| n.at.offset + n.duration).max()?;
                part.bars.get_mut(self.at.bar as usize)?.filled = filled;
            }
            ("tie", "starts") => flag(part, NoteFlags::TIED_OUT)?,
            ("tie", "ends") => flag(part, NoteFlags::TIED_IN)?,
            ("slur", "starts") => {
                flag(part, NoteFlags::SLUR_START)?;
                part.loose_slurs.push(self.mark(LooseSlur::Start));
            }
            ("slur", "ends") => {
                flag(part, NoteFlags::SLUR_STOP)?;
                if part.loose_slurs.pop().is_none() {
                    part.loose_slurs.push(self.mark(LooseSlur::Stop));
                }
            }
            ("accidental", "") => {
                let span = self.note(part)?.span;
                part.accidentals.push(span);
            }
            ("rehearsal", mark) => {
                let letter = mark.strip_prefix("mark ")?;
                part.bars.get_mut(self.at.bar as usize)?.rehearsal = Some(letter.to_owned());
            }
            ("multi-bar", rest) => {
                let bars = rest.strip_prefix("rest ")?.parse().ok()?;
                part.bars.get_mut(self.at.bar as usize)?.multi_rest = Some(bars);
            }
            ("repeat", "starts") => {
                part.bars.get_mut(self.at.bar as usize)?.repeat_start = true;
            }
            ("repeat", "ends") => part.bars.get_mut(self.at.bar as usize)?.repeat_end = true,
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
            ("ends", "before") => {
                let bar = self.at.bar;
                part.bars.truncate(bar as usize);
                part.notes.retain(|n| n.at.bar < bar);
                part.rests.retain(|r| r.at.bar < bar);
            }
            ("double", "bar") => part.bars.get_mut(self.at.bar as usize)?.double_bar = true,
            _ => return None,
        }
        Some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PASSAGE: &str = "meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  2  | 1 |
trumpet 1 | C5 D5 | . |
on the page:
trumpet 1, bar 1, beat 2: dynamic mf
trumpet 1, bar 1, beat 2: lasts 2
trumpet 1, bar 2: rehearsal mark B
trumpet 1, bar 1: key -3
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
            "trumpet 2, bar 1: key 1\n",
            "trumpet 1, bar 9: key 1\n",
            "trumpet 1, bar 1, beat 3: slur starts\n",
            "trumpet 1, bar 1: smile\n",
        ] {
            let text: String = format!("{PASSAGE}{line}");
            assert!(Example::score(text.leak()).is_err(), "{line}");
        }
    }
}
