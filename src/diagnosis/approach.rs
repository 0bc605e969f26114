//! Approach chords in a form: forms have no pattern for those but the harmony.

use super::case::{Case, Context, HeldTo};
use super::habits::Judging;
use super::right::is_parallel_approach;
use super::technique::How;
use crate::voicing::{Form, Mechanical, Voicing, Way};

/// Whether every note of a sonority is one of an approach chord under its lead, or all move with it into the
/// next.
pub(super) fn approach_in_form<'a>(
    context: &Context<'a>,
    form: Form,
    target: Option<&'a Voicing>,
    judging: Judging<'a>,
) -> bool {
    let voices = context.sonority.voices.len();
    if form.is_doubling() || !context.lead.is_some_and(|l| l.approaches()) {
        return false;
    }
    let held_to = HeldTo {
        technique: Mechanical::FourWayClose,
        how: How::Inferred,
        stated_for_four: None,
    };
    let case = Case::new(context.clone(), held_to, target, judging);
    let written = case.classes();
    written.len() == voices
        && case.candidates(case.top(), 0).iter().any(|c| {
            let own = c.harmony.classes();
            case.is_right_anywhere(c)
                && c.harmony.changes == 0
                && c.harmony.way > Way::Tension
                && written.iter().all(|w| own.contains(w))
        })
        || is_parallel_approach(&case)
}
