//! The known slips, one file each, and the order in which they are asked.

mod altered_tension;
mod build;
mod chord_note_on_passing;
pub(super) mod lone_habit;
mod one_seat;
mod one_voice;
pub(super) mod other_drop;
mod passing_on_chord;
mod rub;
mod two_voices;
mod wrong_lead;
mod wrong_passing_chord;

use super::account::Account;
use super::candidates::Candidate;
use super::case::Case;
use super::outcome::Slip;
use super::right;

/// How a row of the order is asked about a sonority. It is given the candidates under the top note.
#[derive(Clone, Copy)]
pub(super) enum Ask {
    /// Whether no slip behind it may be named.
    Clear(fn(&Case<'_>, &[Candidate<'_>]) -> Option<Account>),
    /// Whether this slip explains it, and how.
    Slip(fn(&Case<'_>, &[Candidate<'_>]) -> Option<Slip>),
}

/// The order in which a sonority is accounted for; the first row that answers has it. A row answers from
/// the sonority alone and knows nothing of the others, so the order alone says which of two accounts of the
/// same notes is taken:
///
/// * The seats come first: one part out of its place is one mistake, whatever chord the heap of notes
///   happens to make.
/// * Notes that are exactly a candidate's are right or rub; then they are a habit that the passage does not
///   have, or bring in a tension that nobody asked for.
/// * The same chord in another technique comes before single voices: most drops are two voices apart.
/// * A chord kept under a passing note comes before single voices: it is three notes off the diminished
///   seventh.
/// * One voice before two, and the lower voices before the lead: the lead is the tune.
pub(super) const ORDER: &[(&str, Ask)] = &[
    ("one seat", Ask::Slip(one_seat::explain)),
    ("right", Ask::Clear(right::right)),
    ("rub", Ask::Slip(rub::explain)),
    ("lone habit", Ask::Slip(lone_habit::explain)),
    ("altered tension", Ask::Slip(altered_tension::explain)),
    ("other drop", Ask::Slip(other_drop::explain)),
    (
        "chord kept by habit",
        Ask::Clear(right::chord_kept_by_habit),
    ),
    ("passing on chord", Ask::Slip(passing_on_chord::explain)),
    ("complete", Ask::Clear(right::complete)),
    ("one voice", Ask::Slip(one_voice::explain)),
    (
        "wrong passing chord",
        Ask::Slip(wrong_passing_chord::explain),
    ),
    (
        "chord note on passing",
        Ask::Slip(chord_note_on_passing::explain),
    ),
    ("wrong lead", Ask::Slip(wrong_lead::explain)),
    ("two voices", Ask::Slip(two_voices::explain)),
];

#[cfg(test)]
mod tests {
    use super::ORDER;
    use crate::diagnosis::example::DiagnosedGrid;

    #[test]
    fn every_row_has_a_name_of_its_own() {
        for (i, (name, _)) in ORDER.iter().enumerate() {
            assert!(ORDER.iter().skip(i + 1).all(|(other, _)| other != name));
        }
    }

    #[test]
    fn where_several_rows_would_account_for_a_place_the_order_says_which() {
        let passage = DiagnosedGrid::new(
            "technique: close
             chord | F6 -  -   -  | F6 |
             count | 1  2  3   4  | 1  |
             1     | A4 C5 G4  F4 | A4 |
             2     | F4 A4 E4  D4 | F5 |
             3     | D4 F4 C#4 C4 | D4 |
             4     | C4 D4 Bb3 A3 | C4 |",
        );
        assert_eq!(
            passage.rows(2, 1.0),
            ["one seat", "other drop", "one voice", "two voices"]
        );
        let passage = DiagnosedGrid::new(
            "technique: drop 2
             chord | F6 -  -   -  |
             count | 1  2  3   4  |
             1     | A4 C5 G4  F4 |
             2     | D4 A4 C#4 C4 |
             3     | C4 F4 Bb3 A3 |
             4     | F3 D4 E3  D3 |",
        );
        assert_eq!(
            passage.rows(1, 2.0),
            ["other drop", "one voice", "two voices"]
        );
    }
}
