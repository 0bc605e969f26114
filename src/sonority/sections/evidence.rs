//! What speaks for units being one section: the chords that they strike together.

use super::cells::Cell;
use super::units::Unit;
use crate::ground::pitch::PitchClass;
use crate::score::Score;
use crate::voicing::{classes_of, mechanical_of};
use smallvec::SmallVec;

/// Why several sections are read as one, in numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Evidence {
    /// Chords that all of them strike together.
    pub chords: usize,
    /// Those that are complete together.
    pub complete: usize,
    /// Those in which one of them is complete by itself.
    pub apart: usize,
}

impl Evidence {
    pub(super) fn add(&mut self, other: Self) {
        self.chords += other.chords;
        self.complete += other.complete;
        self.apart += other.apart;
    }
}

/// One chord that units strike together.
struct Chord {
    /// For each unit its notes, from the top.
    notes: SmallVec<[SmallVec<[i16; 6]>; 4]>,
    /// It is left within two beats.
    moves: bool,
}

impl Chord {
    fn voices(&self) -> SmallVec<[i16; 8]> {
        let mut all: SmallVec<[i16; 8]> = self.notes.iter().flatten().copied().collect();
        all.sort_unstable_by(|a, b| b.cmp(a));
        all
    }

    /// The unit that has the top note.
    fn top(&self) -> Option<usize> {
        let tops = self.notes.iter().enumerate();
        let tops = tops.filter_map(|(i, n)| Some((*n.first()?, std::cmp::Reverse(i))));
        tops.max().map(|(_, i)| i.0)
    }
}

/// The chords that some units strike together.
#[derive(Default)]
pub(super) struct Chords(Vec<Chord>);

/// What the chords say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    Together,
    Apart,
    /// Nothing: what is beside it decides.
    Open,
}

/// Fewer chords than this say nothing.
const FEW: usize = 3;

/// More voices than this are no section of single players.
const MOST: usize = 6;

/// Most chords: of so many, at least these.
const fn most(part: usize, of: usize, percent: usize) -> bool {
    part * 100 >= of * percent
}

impl Chords {
    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there are enough for a verdict.
    pub(super) fn say_something(&self) -> bool {
        self.0.len() >= FEW
    }

    pub(super) fn moving(&self) -> usize {
        self.0.iter().filter(|c| c.moves).count()
    }

    /// Adds those of a cell, in which all of `units` play.
    pub(super) fn add(&mut self, score: &Score, all: &[Unit], units: &[usize], cell: &Cell) {
        let playing: SmallVec<[_; 6]> = units.iter().filter_map(|u| cell.playing(*u)).collect();
        let Some(model) = playing.iter().max_by_key(|p| p.parts.len()) else {
            return;
        };
        for onset in &model.onsets {
            let mut moves = true;
            let notes: Option<SmallVec<_>> = playing
                .iter()
                .map(|p| {
                    let unit = all.get(p.unit)?;
                    let each = p.parts.iter().map(|part| {
                        let strikes = unit.strikes.get(*part)?;
                        let at = strikes.binary_search_by_key(onset, |s| s.onset).ok()?;
                        let strike = strikes.get(at)?;
                        moves &= (strike.end - *onset).0 < 2 * score.felt_beat_at(*onset).0;
                        Some(strike.midi)
                    });
                    let mut notes = each.collect::<Option<SmallVec<[i16; 6]>>>()?;
                    notes.sort_unstable_by(|a, b| b.cmp(a));
                    Some(notes)
                })
                .collect();
            // A chord that is struck again says nothing new.
            if let Some(notes) = notes
                && self.0.last().is_none_or(|last| last.notes != notes)
            {
                self.0.push(Chord { notes, moves });
            }
        }
    }

    pub(super) fn judge(&self) -> (Verdict, Evidence) {
        let mut count = Count::default();
        for chord in &self.0 {
            count.add(chord);
        }
        let evidence = Evidence {
            chords: count.harmony,
            complete: count.complete,
            apart: count.alone,
        };
        (count.verdict(), evidence)
    }
}

#[derive(Default)]
struct Count {
    /// Chords of two different notes or more.
    harmony: usize,
    /// Every voice has a note of its own, or four notes are there.
    complete: usize,
    /// Together in a mechanical technique.
    in_technique: usize,
    /// A unit of three voices or more is complete by itself.
    alone: usize,
    /// A unit of one or two voices has the top note, and no other of the larger unit's.
    led: usize,
    /// A unit of one or two voices is more than an octave above the rest.
    far: usize,
    /// In how many chords so many units have three voices or more.
    large: [usize; 3],
    /// Most voices.
    voices: usize,
    /// Chords of three voices or more.
    enough: usize,
    /// Voices of the largest unit.
    largest: usize,
}

impl Count {
    fn add(&mut self, chord: &Chord) {
        let voices = chord.voices();
        let classes = classes_of(&voices).len();
        if classes < 2 {
            return;
        }
        let whole = |notes: &[i16]| classes_of(notes).len() >= notes.len().min(4);
        self.harmony += 1;
        self.voices = self.voices.max(voices.len());
        self.enough += usize::from(voices.len() >= 3);
        self.complete += usize::from(voices.len() >= 3 && whole(&voices));
        self.in_technique += usize::from(mechanical_of(&voices).is_some());
        let large = chord.notes.iter().filter(|n| n.len() >= 3);
        self.alone += usize::from(large.clone().any(|n| whole(n)));
        self.largest = chord
            .notes
            .iter()
            .map(SmallVec::len)
            .fold(self.largest, usize::max);
        let top = chord.top().and_then(|i| chord.notes.get(i));
        let lead = top.and_then(|n| n.first()).copied();
        // The lead's octave directly below it in the larger unit is that unit's own lead, doubled.
        let doubles = large.clone().any(|n| {
            let first = n.first().map(|m| PitchClass::new(*m));
            first.is_some() && first == lead.map(PitchClass::new)
        });
        let gap = voices.first().zip(voices.get(1)).map_or(0, |(a, b)| a - b);
        self.far += usize::from(top.is_some_and(|n| n.len() < 3) && gap > 12);
        self.led += usize::from(top.is_some_and(|n| n.len() < 3) && !doubles);
        if let Some(slot) = self.large.get_mut(large.count().min(2)) {
            *slot += 1;
        }
    }

    fn verdict(&self) -> Verdict {
        if self.harmony < FEW || self.voices < 3 {
            return Verdict::Open;
        }
        let [small, one, several] = self.large;
        if most(several, self.harmony, 50) {
            return Verdict::Apart;
        }
        if self.voices > MOST {
            return Verdict::Open;
        }
        if most(one, self.harmony, 50) {
            // A lead over a section that doubles it is the section's lead, though the section is complete
            // below it; a voice inside or below is one of it where it is needed.
            let needed = self.largest < 4 || most(self.led, self.harmony, 75);
            if most(self.in_technique, self.harmony, 75) && needed {
                return Verdict::Together;
            }
            // A line far above held chords that change with it.
            let beyond = most(self.far, self.harmony, 30);
            return if beyond {
                Verdict::Apart
            } else {
                Verdict::Open
            };
        }
        if small > 0 && most(self.enough, self.harmony, 50) && most(self.complete, self.enough, 60)
        {
            return Verdict::Together;
        }
        Verdict::Open
    }
}
