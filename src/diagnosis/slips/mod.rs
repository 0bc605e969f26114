//! The known slips, one file each. Each gives every way in which it would account for a sonority, with what
//! that costs; the cheapest account of all is taken, so that no slip knows of another.

mod altered_tension;
mod build;
mod chord_note_on_passing;
mod missed_change;
mod one_seat;
mod one_voice;
mod other_drop;
mod passing_on_chord;
mod rub;
pub(super) mod shape;
mod two_voices;
mod wrong_lead;
mod wrong_passing_chord;

use super::account::Reading;
use super::candidates::Candidate;
use super::case::Case;

/// Adds the readings of one kind of slip. It is given the candidates under the top note.
type Add = for<'a> fn(&Case<'a>, &[Candidate<'a>], &mut Vec<Reading<'a>>);

/// Every slip of a sonority under a chord symbol. Of two that cost the same the first is taken.
pub(super) const ALL: &[Add] = &[
    one_seat::add,
    rub::add,
    altered_tension::add,
    other_drop::add,
    passing_on_chord::add,
    one_voice::add,
    wrong_passing_chord::add,
    chord_note_on_passing::add,
    missed_change::add,
    wrong_lead::add,
    two_voices::add,
];
