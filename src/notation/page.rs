//! The page that a part is printed on.

use super::quarters::{Quarters, quarters};
use crate::ground::pitch::Pitch;
use crate::ground::time::{Meter, Ticks};
use crate::score::{Clef, Score};

/// The page of one player: in which pitch, clef, key and meter a part is printed.
pub(crate) trait PlayersPage {
    /// The printed pitch of a note; `note` is a 0-based index into the part's notes.
    fn pitch(&self, note: usize) -> Pitch;
    /// The meter at a time of the score.
    fn meter(&self, onset: Ticks) -> Meter;
    /// The clef of a staff (1-based, from the top) at a time of the score.
    fn clef(&self, staff: u8, onset: Ticks) -> Clef;
    /// The printed key signature at a time of the score: sharps, or flats when negative.
    fn fifths(&self, onset: Ticks) -> i8;
}

/// How long a bar of the score is (0-based).
pub(super) fn bar_length(score: &Score, bar: usize) -> Quarters {
    let ticks = score.bars.get(bar).map_or(Ticks::ZERO, |b| b.length);
    quarters(ticks, score.per_quarter)
}
