//! Judges one sonority that is held to a mechanical technique: first whether it is right, then the slips
//! in their order.

use super::account::Account;
use super::candidates::Candidate;
use super::case::Case;
use super::habits::Habit;
use super::outcome::{Slip, SlipKind, Verdict};
use super::right;
use super::slips::{Ask, ORDER, lone_habit, other_drop};
use crate::ground::chord::Family;
use crate::voicing::{Way, mechanical_of};

/// The account of a sonority.
pub(super) fn judge(case: &Case<'_>) -> Account {
    if case.is_one_note() {
        return Account::LEFT_ALONE;
    }
    let Some(chord) = case.chord().filter(|c| c.family() != Family::Other) else {
        return by_shape(case);
    };
    if right::plain_triad(case, chord) {
        return Account::right(Way::Chord);
    }
    // Candidates of the notes written are enough to see that a sonority is right. All others are needed
    // only to explain a slip.
    if let Some(account) = right::of_own_notes(case) {
        return account;
    }
    let at_top = case.candidates(case.top(), 0);
    first(case, &at_top).map_or(Account::LEFT_ALONE, |(_, account)| account)
}

/// The first row of the order that accounts for a sonority, and its name.
pub(super) fn first(case: &Case<'_>, at_top: &[Candidate<'_>]) -> Option<(&'static str, Account)> {
    ORDER.iter().find_map(|(name, ask)| {
        let account = match ask {
            Ask::Clear(clear) => clear(case, at_top)?,
            Ask::Slip(explain) => {
                let slip = explain(case, at_top)?;
                let habit = unproven_habit(case, at_top, &slip);
                Account::slip(slip, habit)
            }
        };
        Some((*name, account))
    })
}

/// The habit for want of which a slip is one. A chord restruck under a lead foreign to it is a habit too,
/// when the passage keeps to it.
fn unproven_habit(case: &Case<'_>, at_top: &[Candidate<'_>], slip: &Slip) -> Option<Habit> {
    match slip.kind {
        SlipKind::PassingOnChord => case.approaches().then_some(Habit::SameChord),
        SlipKind::WrongPassingChord => lone_habit::unproven(case, at_top),
        _ => None,
    }
}

/// Without a chord symbol only the shape can be judged: the same four notes in another technique than
/// the one in force.
fn by_shape(case: &Case<'_>) -> Account {
    let Some(found) = mechanical_of(&case.written) else {
        return Account::LEFT_ALONE;
    };
    if found == case.technique {
        return Account {
            verdict: Verdict::Right(None),
            approach: None,
        };
    }
    other_drop::of_shape(case, found).map_or(Account::LEFT_ALONE, |slip| Account::slip(slip, None))
}
