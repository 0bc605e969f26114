//! Lays a score out: everything gets its time, and the whole score its bars, meters and chord symbols.

use super::bar::Bar;
use super::marks::{ChordMark, Mark, in_force, place};
use super::place::Place;
use super::score::Score;
use crate::ground::time::{Meter, Ticks};
use rustc_hash::FxHashMap;

/// How many chord symbols that differ are distinguished at one time.
const MOST_SYMBOLS: usize = 64;

impl Score {
    /// Parts of one name are numbered from the top, "Trumpet in Bb (2)": whoever reads of one has to find it.
    fn tell_parts_apart(&mut self) {
        let mut count: FxHashMap<String, (usize, usize)> = FxHashMap::default();
        for part in &self.parts {
            count.entry(part.name.clone()).or_default().0 += 1;
        }
        if count.len() == self.parts.len() {
            return;
        }
        for part in &mut self.parts {
            if let Some((2.., seen)) = count.get_mut(&part.name) {
                *seen += 1;
                part.name = format!("{} ({seen})", part.name);
            }
        }
    }

    /// Puts bars, notes and marks on one time line, sorts them, and collects the chord symbols.
    /// Readers call it once, last.
    pub fn lay_out(&mut self) {
        if self.per_quarter.0 < 1 {
            self.per_quarter = Ticks(1);
        }
        self.tell_parts_apart();
        let count = self.parts.iter().map(|p| p.bars.len()).max().unwrap_or(0);
        let mut starts = Vec::with_capacity(count + 1);
        let mut bars = Vec::with_capacity(count);
        let mut start = Ticks::ZERO;
        let mut meter = Meter::COMMON;
        let mut new_meters: Vec<Option<Meter>> = vec![None; count];
        for mark in self.parts.iter().flat_map(|p| &p.meters) {
            if let Some(slot) = new_meters.get_mut(mark.at.bar as usize) {
                *slot = Some(mark.value);
            }
        }
        for (index, new_meter) in new_meters.into_iter().enumerate() {
            meter = new_meter.unwrap_or(meter);
            let here = || self.parts.iter().filter_map(|p| p.bars.get(index));
            let filled = here().map(|b| b.filled).max().unwrap_or_default();
            let nominal = meter.bar(self.per_quarter);
            let length = if filled > Ticks::ZERO {
                filled
            } else {
                nominal
            };
            let number = here()
                .map(|b| b.number.as_str())
                .find(|n| !n.is_empty())
                .map_or_else(|| (index + 1).to_string(), str::to_owned);
            let uncounted = here().any(|b| b.uncounted);
            let pickup = length < nominal && (uncounted || index == 0);
            // The second half of a bar that a repeat or a double bar divides goes on counting.
            let first_half = bars
                .last()
                .filter(|b: &&Bar| b.missing == Ticks::ZERO && b.length + length == nominal)
                .map(|b| b.length);
            let missing = match first_half {
                Some(before) => before,
                None if pickup => nominal - length,
                None => Ticks::ZERO,
            };
            bars.push(Bar {
                number,
                start,
                length,
                pickup,
                missing,
            });
            starts.push(start);
            start += length;
        }
        self.bars = bars.into();
        let when = |at: Place| -> Ticks {
            starts.get(at.bar as usize).copied().unwrap_or(start) + at.offset
        };
        for part in &mut self.parts {
            // What was read for growing is given back before anything else is made of the score.
            part.notes.shrink_to_fit();
            part.rests.shrink_to_fit();
            part.bars.shrink_to_fit();
            for n in &mut part.notes {
                n.onset = when(n.at);
            }
            for r in &mut part.rests {
                r.onset = when(r.at);
            }
            part.notes.sort_by_key(|n| (n.onset, n.staff, n.voice));
            part.rests.sort_by_key(|r| (r.onset, r.staff, r.voice));
            place(&mut part.keys, &when);
            place(&mut part.meters, &when);
            place(&mut part.clefs, &when);
            place(&mut part.transpositions, &when);
            place(&mut part.words, &when);
            place(&mut part.dynamics, &when);
            place(&mut part.hairpins, &when);
            place(&mut part.pedals, &when);
            place(&mut part.impossible, &when);
            place(&mut part.loose_slurs, &when);
            place(&mut part.chords, &when);
            place(&mut part.tempos, &when);
        }
        place(&mut self.stated, &when);
        place(&mut self.choices, &when);
        self.collect_chords();
        self.collect_meters();
    }

    fn collect_meters(&mut self) {
        let mut changes: Vec<Ticks> = self
            .parts
            .iter()
            .flat_map(|p| p.meters.iter().map(|m| m.onset))
            .collect();
        changes.sort_unstable();
        changes.dedup();
        self.meters.clear();
        for onset in changes {
            let meter = self.most_stated_meter(onset);
            if self
                .meters
                .last()
                .is_none_or(|(_, before, _)| *before != meter)
            {
                let beat = meter.felt_beat(self.per_quarter);
                self.meters.push((onset, meter, beat));
            }
        }
    }

    /// One symbol at a time: where several parts carry one, the readable one that most of them have,
    /// of equals the first from the top. A part that differs is one mistake, not a wrong chord for all.
    fn collect_chords(&mut self) {
        let mut all: Vec<&Mark<ChordMark>> = self.parts.iter().flat_map(|p| &p.chords).collect();
        all.sort_by_key(|m| (m.onset, m.value.unread.is_some()));
        let alike = |a: &ChordMark, b: &ChordMark| {
            a.chord == b.chord && a.unread.is_some() == b.unread.is_some()
        };
        self.chords = all
            .chunk_by(|a, b| a.onset == b.onset)
            .filter_map(|here| {
                let readable = here.partition_point(|m| m.value.unread.is_none());
                let among = here.get(..readable.max(1))?;
                // Each symbol that differs, with its first from the top and its votes. What a sane
                // score has at one time are a few; those of a file made to do harm do not vote.
                let mut ballot: Vec<(&Mark<ChordMark>, usize)> = Vec::new();
                for &m in among {
                    if let Some((_, votes)) =
                        ballot.iter_mut().find(|(o, _)| alike(&o.value, &m.value))
                    {
                        *votes += 1;
                    } else if ballot.len() < MOST_SYMBOLS {
                        ballot.push((m, 1));
                    }
                }
                // The last of equals wins a maximum: from below, that is the first.
                let (most, _) = ballot.iter().rev().max_by_key(|(_, votes)| *votes)?;
                Some((*most).clone())
            })
            .collect();
    }

    fn most_stated_meter(&self, onset: Ticks) -> Meter {
        let stated: Vec<&Mark<Meter>> = self
            .parts
            .iter()
            .filter_map(|p| in_force(&p.meters, onset))
            .collect();
        let Some(first) = stated.first() else {
            return Meter::COMMON;
        };
        if stated.iter().all(|m| m.value == first.value) {
            return first.value;
        }
        let votes = |m: &&&Mark<Meter>| {
            let length = m.value.bar(self.per_quarter);
            let outdated = stated
                .iter()
                .any(|o| o.onset > m.onset && o.value.bar(self.per_quarter) != length);
            let same = stated.iter().filter(|o| o.value == m.value).count();
            (!outdated, same)
        };
        stated
            .iter()
            .rev()
            .max_by_key(votes)
            .map_or(Meter::COMMON, |m| m.value)
    }
}

#[cfg(test)]
mod tests {
    use crate::score::{Part, Score};

    #[test]
    fn parts_of_one_name_are_numbered_from_the_top() {
        let part = |name: &str| Part {
            name: name.to_owned(),
            ..Part::default()
        };
        let mut score = Score {
            parts: ["Trumpet", "Horn", "Trumpet"].map(part).to_vec(),
            ..Score::default()
        };
        score.lay_out();
        let names: Vec<&str> = score.parts.iter().map(|p| p.name.as_str()).collect();
        assert_eq!(names, ["Trumpet (1)", "Horn", "Trumpet (2)"]);
    }
}
