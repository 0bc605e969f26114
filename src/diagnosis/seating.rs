//! The order of the seats that a section keeps.

use crate::score::Score;
use crate::sonority::{Section, SectionPart, Sonority};

/// Fewer chords than this do not change the order of the score.
const FEW: usize = 4;

/// What a section keeps of an order.
struct Kept {
    chords: usize,
    /// Chords out of order.
    off: usize,
    /// Stretches of such chords.
    runs: usize,
}

impl Kept {
    /// `rank` is each seat's place in the order.
    fn of(sonorities: &[Sonority], rank: &[usize]) -> Self {
        let mut kept = Self {
            chords: 0,
            off: 0,
            runs: 0,
        };
        let mut was_off = false;
        let of = |seat: u16| rank.get(usize::from(seat));
        for s in sonorities.iter().filter(|s| s.is_block()) {
            // From the top down: the lowest seat among those above, and among those of one pitch.
            let (mut above, mut level): (Option<&usize>, Option<&usize>) = (None, None);
            let mut midi = None;
            let is_off = s.voices.iter().any(|voice| {
                if midi != Some(voice.midi) {
                    (above, level, midi) = (above.max(level), None, Some(voice.midi));
                }
                let own = of(voice.seat);
                level = level.max(own);
                above > own
            });
            kept.chords += 1;
            kept.off += usize::from(is_off);
            kept.runs += usize::from(is_off && !was_off);
            was_off = is_off;
        }
        kept
    }

    fn nearly_always(&self) -> bool {
        self.off * 10 <= self.chords
    }
}

/// Puts the parts of a section into the order that its chords keep nearly always, where that is not the
/// score's; the same for the seats in its sonorities. Gives whether it keeps any: a few slips are no
/// other order, and what the passage or the house style says of its section is one.
pub(super) fn seat(score: &Score, section: &mut Section, sonorities: &mut [Sonority]) -> bool {
    let given = |m: &SectionPart| {
        let part = score.parts.get(m.part as usize);
        part.is_some_and(|p| p.seat.is_some())
    };
    let stated = score.stated.iter().any(|m| m.value.section.is_some());
    let count = section.parts.len();
    if stated || count < 2 || section.chordal || section.parts.iter().any(given) {
        return true;
    }
    let as_written: Vec<usize> = (0..count).collect();
    let written = Kept::of(sonorities, &as_written);
    if written.nearly_always() {
        return true;
    }
    let order = by_height(count, sonorities);
    let mut rank = vec![0; count];
    for (place, seat) in order.iter().enumerate() {
        if let Some(slot) = rank.get_mut(*seat) {
            *slot = place;
        }
    }
    let other = Kept::of(sonorities, &rank);
    if other.nearly_always() && !section.is_choir() && other.chords >= FEW {
        let parts = order
            .iter()
            .filter_map(|seat| section.parts.get(*seat).cloned());
        section.parts = parts.collect();
        for voice in sonorities.iter_mut().flat_map(|s| &mut s.voices) {
            if let Some(place) = rank.get(usize::from(voice.seat)) {
                voice.seat = u16::try_from(*place).unwrap_or(u16::MAX);
            }
        }
        for sonority in sonorities {
            sonority.voices.sort_by_key(|v| (-v.midi, v.seat));
        }
        return true;
    }
    written.runs.min(other.runs) < FEW
}

/// The seats by the place that they have in the chords on average, from the top.
fn by_height(count: usize, sonorities: &[Sonority]) -> Vec<usize> {
    let mut places = vec![(0usize, 0usize); count];
    for s in sonorities.iter().filter(|s| s.is_block()) {
        for (place, voice) in s.voices.iter().enumerate() {
            if let Some((sum, n)) = places.get_mut(usize::from(voice.seat)) {
                // In hundredths of the chord, so that a part that rests moves nobody.
                *sum += 100 * place / s.voices.len().max(1);
                *n += 1;
            }
        }
    }
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by_key(|seat| {
        places
            .get(*seat)
            .map_or(usize::MAX, |(sum, n)| 100 * sum / (*n).max(1))
    });
    order
}

#[cfg(test)]
mod tests {
    use crate::diagnosis::{Passage, passages};
    use crate::reading::grid;
    use crate::style::Style;
    use std::path::Path;

    fn heard(rows: [&str; 4]) -> Passage {
        let mut text = "key: C\nmeter: 4/4\npitch: sounding\nparts: horn 1 = french horn\n       horn 2 = french horn\n       \
                        horn 3 = french horn\n       horn 4 = french horn\n\ncount | 1 2 3 4 | 1 2 3 4 |\n"
            .to_owned();
        for (seat, row) in (1..).zip(rows) {
            text += &["horn ", &i32::to_string(&seat), " | ", row, " |\n"].concat();
        }
        let score = grid::read(Path::new("x.passage"), text.into()).unwrap();
        passages(&score, &Style::default()).swap_remove(0)
    }

    fn order(passage: &Passage) -> Vec<u32> {
        passage.section.parts.iter().map(|p| p.part + 1).collect()
    }

    // Horns in pairs, the first and third above: published orchestration texts.
    #[test]
    fn the_order_is_the_one_that_is_kept() {
        let pairs = [
            "C5 D5 E5 D5 | C5 D5 E5 C5",
            "G4 G4 A4 G4 | G4 G4 A4 G4",
            "A4 B4 C5 B4 | A4 B4 C5 A4",
            "E4 F4 G4 F4 | E4 F4 G4 E4",
        ];
        let heard_pairs = heard(pairs);
        assert_eq!(order(&heard_pairs), [1, 3, 2, 4]);
        assert!(heard_pairs.keeps_order);
        let tops = heard_pairs.sonorities.iter().map(|s| s.voices[1].seat);
        assert!(tops.into_iter().all(|seat| seat == 1));
        let straight = [pairs[0], pairs[2], pairs[1], pairs[3]];
        assert_eq!(order(&heard(straight)), [1, 2, 3, 4]);
    }

    #[test]
    fn equal_voices_keep_none() {
        let equal = heard([
            "C5 A4 C5 A4 | C5 A4 C5 A4",
            "A4 C5 A4 C5 | A4 C5 A4 C5",
            "G4 E4 G4 E4 | G4 E4 G4 E4",
            "E4 G4 E4 G4 | E4 G4 E4 G4",
        ]);
        assert!(!equal.keeps_order);
        // One stretch in which two have changed places is a slip, however long.
        let once = heard([
            "C5 D5 A4 B4 | A4 D5 E5 C5",
            "A4 B4 C5 D5 | C5 B4 C5 A4",
            "G4 G4 G4 G4 | G4 G4 A4 G4",
            "E4 F4 E4 F4 | E4 F4 G4 E4",
        ]);
        assert!(once.keeps_order);
        assert_eq!(order(&once), [1, 2, 3, 4]);
    }
}
