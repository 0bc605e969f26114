//! The list of all rules. Everything that goes through the rules goes through it: the checks, the
//! rulebook, the style file and its schema.

use super::input::RuleInput;
use super::rule::Rule;
use super::{agreement, harmony, lines, notation, players, rubs, voicing};
use crate::diagnosis::SlipKind;
use crate::finding::Finding;
use crate::style::Style;

/// Looks for what a rule asks and adds its findings.
pub(super) type Check = fn(&RuleInput<'_>, &mut Vec<Finding>);

/// `ALL` and `CHECKS` from one list of files.
macro_rules! list_rules {
    ($($group:ident::$rule:ident),+ $(,)?) => {
        const COUNT: usize = [$(stringify!($rule)),+].len();

        /// All rules, in the order they are listed.
        pub static ALL: [&Rule; COUNT] = [$(&$group::$rule::RULE),+];

        /// The checks of the rules, in the same order.
        pub(super) static CHECKS: [Check; COUNT] = [$($group::$rule::check),+];
    };
}

list_rules! {
    harmony::passing_diminished,
    harmony::wrong_note,
    harmony::missing_guide_tone,
    harmony::unavailable_tension,
    harmony::chord_symbol_agreement,
    harmony::bass_against_symbol,
    voicing::wrong_voice_dropped,
    voicing::lead_doubling,
    voicing::lead_not_on_top,
    voicing::voice_crossing,
    voicing::doubled_note,
    voicing::wrong_octave,
    voicing::technique_wanders,
    voicing::wide_gap,
    voicing::low_interval,
    voicing::semitone_under_lead,
    voicing::hand_span,
    rubs::minor_ninth,
    rubs::semitone_cluster,
    lines::displaced_line,
    lines::copied_line,
    lines::awkward_leap,
    lines::repeated_inner_note,
    lines::static_voice,
    lines::parallel_outer_voices,
    players::written_range,
    players::tessitura,
    players::endurance,
    players::breath,
    players::register_break,
    players::double_stop,
    players::unplayable_stretch,
    agreement::rhythm_unison,
    agreement::articulation_agreement,
    agreement::slur_agreement,
    agreement::dynamic_agreement,
    agreement::bar_count,
    agreement::rehearsal_mark_agreement,
    agreement::repeat_agreement,
    agreement::meter_agreement,
    agreement::tempo_agreement,
    notation::bar_length,
    notation::tie_mismatch,
    notation::impossible_note,
    notation::spelling,
    notation::transposition,
    notation::key_signature_agreement,
    notation::clef,
    notation::entry_dynamic,
    notation::courtesy_accidental,
    notation::unclosed_slur,
    notation::instrument_change,
    notation::multi_rest,
    notation::waiver,
}

/// Whether a rule is called so, be it the program's or the house's own.
pub fn is_known(style: &Style, name: &str) -> bool {
    named(name).is_some() || style.own_rule(name).is_some()
}

/// The rule of this name.
pub fn named(name: &str) -> Option<&'static Rule> {
    ALL.into_iter().find(|r| r.name == name)
}

/// The rule that reports a slip.
pub(super) fn rule_of(kind: SlipKind) -> &'static Rule {
    match kind {
        SlipKind::OtherDrop(_) => &voicing::wrong_voice_dropped::RULE,
        SlipKind::OtherTechnique(_) | SlipKind::NotInTechnique => &voicing::technique_wanders::RULE,
        SlipKind::LeadDoubling => &voicing::lead_doubling::RULE,
        SlipKind::PassingOnChord | SlipKind::WrongPassingChord | SlipKind::ChordNoteOnPassing => {
            &harmony::passing_diminished::RULE
        }
        SlipKind::WrongNote => &harmony::wrong_note::RULE,
        SlipKind::AlteredTension(_) => &harmony::unavailable_tension::RULE,
        SlipKind::WrongOctave => &voicing::wrong_octave::RULE,
        SlipKind::DoubledNote(_) => &voicing::doubled_note::RULE,
        SlipKind::MinorNinth(..) => &rubs::minor_ninth::RULE,
        SlipKind::SemitoneUnderLead => &voicing::semitone_under_lead::RULE,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::example_tests::file_of;

    #[test]
    fn names_are_unique_and_every_rule_says_why() {
        let mut names: Vec<&str> = ALL.iter().map(|r| r.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), ALL.len());
        for rule in ALL {
            assert!(named(rule.name).is_some_and(|r| std::ptr::eq(r, rule)));
            assert!(!rule.asks.is_empty() && !rule.why.is_empty() && !rule.source.is_empty());
        }
    }

    #[test]
    fn every_rule_has_a_file_of_its_name_that_tests_its_examples() {
        for rule in ALL {
            let file = file_of(rule);
            let text = std::fs::read_to_string(&file);
            let text = text.unwrap_or_else(|e| panic!("{} belongs there: {e}", file.display()));
            assert!(
                text.contains("test_examples!(RULE);"),
                "write `crate::rules::test_examples!(RULE);` at the end of {}",
                file.display()
            );
        }
    }
}
