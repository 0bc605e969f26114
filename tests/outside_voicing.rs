//! The voicing engine against the trade's tables, over every quality, root and lead: spans, minor
//! ninths, recognition, the sixth-diminished system. The transforms used here are those of
//! `tests/common`, written from their definitions apart from the engine.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing)]

use crate::common::{close, transform};
use chartproof::inside::ground::chord::{Leads, parse};
use chartproof::inside::ground::pitch::{NoteName, PitchClass};
use chartproof::inside::voicing::harmonise::{on_chord, other_diminished, passing_diminished};
use chartproof::inside::voicing::{
    Form, Frame, Mechanical, Way, close_position, mechanical_of, minor_ninths,
};
use std::collections::{BTreeMap, BTreeSet};

/// Four-note qualities, semitones above the root. Published: the degrees are those of the MusicXML
/// 4.0 schema's kinds and of music21 10.5.1; rootless forms (a ninth for the root): published, the
/// substitution table of a textbook on jazz voicings.
const QUALITIES: [(&str, [i16; 4]); 17] = [
    ("6", [0, 4, 7, 9]),
    ("m6", [0, 3, 7, 9]),
    ("maj7", [0, 4, 7, 11]),
    ("m(maj7)", [0, 3, 7, 11]),
    ("7", [0, 4, 7, 10]),
    ("m7", [0, 3, 7, 10]),
    ("m7b5", [0, 3, 6, 10]),
    ("dim7", [0, 3, 6, 9]),
    ("7b5", [0, 4, 6, 10]),
    ("7#5", [0, 4, 8, 10]),
    ("maj7#5", [0, 4, 8, 11]),
    ("7sus4", [0, 5, 7, 10]),
    ("9, no root", [2, 4, 7, 10]),
    ("m9, no root", [2, 3, 7, 10]),
    ("maj9, no root", [2, 4, 7, 11]),
    ("6/9, no root", [2, 4, 7, 9]),
    ("7b9, no root", [1, 4, 7, 10]),
];

/// A technique, the voices of close position that go down an octave (0-based), whether the lead is
/// doubled an octave below, and its least and greatest span.
type Transform = (Mechanical, &'static [usize], bool, (i16, i16));

/// The transforms by definition (published: jazz arranging texts and lesson sheets) with their spans
/// in semitones (computed from the definitions).
const TRANSFORMS: [Transform; 10] = [
    (Mechanical::FourWayClose, &[], false, (7, 11)),
    (Mechanical::DoubledLead, &[], true, (12, 12)),
    (Mechanical::Drop2, &[1], false, (13, 17)),
    (Mechanical::Drop3, &[2], false, (16, 20)),
    (Mechanical::Drop23, &[1, 2], false, (16, 20)),
    (Mechanical::Drop24, &[1, 3], false, (19, 23)),
    (Mechanical::Drop2DoubledLead, &[1], true, (13, 17)),
    // The lead doubled inside another drop changes no outer voice: computed.
    (Mechanical::Drop3DoubledLead, &[2], true, (16, 20)),
    (Mechanical::Drop23DoubledLead, &[1, 2], true, (16, 20)),
    (Mechanical::Drop24DoubledLead, &[1, 3], true, (19, 23)),
];

fn classes(set: &[i16]) -> Vec<PitchClass> {
    set.iter().map(|&c| PitchClass::new(c)).collect()
}

/// Every lead note of a set on a root: the set moved there, and the lead between C5 and B5.
fn placed(set: [i16; 4], root: i16, member: i16) -> (i16, Vec<i16>) {
    (
        72 + (root + member) % 12,
        set.iter().map(|m| (root + m) % 12).collect(),
    )
}

/// Over all qualities, roots and leads.
fn every(mut check: impl FnMut(&str, i16, &[i16])) -> usize {
    let mut seen = 0;
    for (name, set) in QUALITIES {
        for root in 0..12 {
            for member in set {
                let (lead, set) = placed(set, root, member);
                check(name, lead, &set);
                seen += 1;
            }
        }
    }
    assert_eq!(seen, 17 * 12 * 4);
    seen
}

#[test]
fn the_transforms_are_those_of_the_definitions_and_so_are_their_spans() {
    let mut spans: BTreeMap<Mechanical, BTreeSet<i16>> = BTreeMap::new();
    every(|name, lead, set| {
        let by_definition = close(lead, set);
        assert_eq!(
            close_position(lead, &classes(set)).as_deref(),
            Some(&by_definition[..]),
            "{name} under {lead}"
        );
        for (technique, drops, doubled, _) in TRANSFORMS {
            let voicing = technique.apply(&by_definition);
            assert_eq!(
                voicing[..],
                transform(&by_definition, drops, doubled),
                "{technique}: {name} under {lead}"
            );
            spans
                .entry(technique)
                .or_default()
                .insert(voicing[0] - voicing[voicing.len() - 1]);
        }
    });
    assert_eq!(TRANSFORMS.map(|t| t.0), Mechanical::EVERY);
    for (technique, _, _, (low, high)) in TRANSFORMS {
        let found = &spans[&technique];
        assert_eq!(
            (found.first(), found.last()),
            (Some(&low), Some(&high)),
            "{technique}: {found:?}"
        );
    }
}

/// The quick test a musician makes at the keyboard (computed from the definitions): a note an octave
/// under the lead is put aside; then the lowest voice, or the two lowest, go up an octave, and where
/// they land between the others is the name.
fn by_hand(voicing: &[i16]) -> Vec<(Vec<usize>, bool)> {
    let mut found = Vec::new();
    let mut four = voicing.to_vec();
    let doubled = four.len() == 5;
    if doubled {
        let Some(at) = four.iter().skip(1).position(|m| *m == four[0] - 12) else {
            return found;
        };
        four.remove(at + 1);
    }
    for raised in 0..=2 {
        let mut up = four.clone();
        for note in up.iter_mut().rev().take(raised) {
            *note += 12;
        }
        let lifted: Vec<i16> = up[4 - raised..].to_vec();
        up.sort_unstable_by(|a, b| b.cmp(a));
        if up[0] != four[0] || up[0] - up[3] > 11 {
            continue;
        }
        found.push((
            (0..4).filter(|&i| lifted.contains(&up[i])).collect(),
            doubled,
        ));
    }
    found
}

#[test]
fn every_voicing_is_recognised_as_one_technique_only() {
    let mut recognised = 0;
    every(|name, lead, set| {
        let close = close(lead, set);
        let made: Vec<(Mechanical, Vec<i16>)> = TRANSFORMS
            .iter()
            .map(|(t, drops, doubled, _)| (*t, transform(&close, drops, *doubled)))
            .collect();
        for (at, (technique, voicing)) in made.iter().enumerate() {
            assert_eq!(
                mechanical_of(voicing),
                Some(*technique),
                "{name} under {lead}: {voicing:?}"
            );
            assert_eq!(
                made.iter().filter(|(_, v)| v == voicing).count(),
                1,
                "{technique} is ambiguous: {name} under {lead}"
            );
            let (_, drops, doubled, _) = TRANSFORMS[at];
            assert_eq!(
                by_hand(voicing),
                [(drops.to_vec(), doubled)],
                "{technique} by hand: {name} under {lead}: {voicing:?}"
            );
            // A voice that is moved by an octave more is in no technique, or in that which makes it.
            for voice in 1..voicing.len() {
                let mut off = voicing.clone();
                off[voice] -= 12;
                off.sort_unstable_by(|a, b| b.cmp(a));
                let really = made.iter().find(|(_, v)| *v == off).map(|(t, _)| *t);
                assert_eq!(mechanical_of(&off), really, "{name} under {lead}: {off:?}");
            }
            recognised += 1;
        }
    });
    assert_eq!(recognised, 8160);
}

const DROP2: &[Mechanical] = &[Mechanical::Drop2, Mechanical::Drop23, Mechanical::Drop24];
const DROP3: &[Mechanical] = &[Mechanical::Drop3];
const DROP24: &[Mechanical] = &[Mechanical::Drop24];

/// Where a technique makes a minor ninth (computed from the definitions; the trade's own warnings
/// are published for drop 2 under a root lead only): chord as used, its four notes, and the leads
/// with the techniques that rub there. Every other lead and technique is clean.
type Rubs = &'static [(i16, &'static [Mechanical])];
const MINOR_NINTHS: [(&str, [i16; 4], Rubs); 17] = [
    (
        "maj7",
        [0, 4, 7, 11],
        &[(0, DROP2), (4, DROP3), (7, DROP24)],
    ),
    (
        "m(maj7)",
        [0, 3, 7, 11],
        &[(0, DROP2), (3, DROP3), (7, DROP24)],
    ),
    (
        "m9, 9 for 1",
        [2, 3, 7, 10],
        &[(3, DROP2), (7, DROP3), (10, DROP24)],
    ),
    (
        "13 with 9",
        [4, 9, 10, 2],
        &[(10, DROP2), (2, DROP3), (4, DROP24)],
    ),
    (
        "7alt, 3 b13 b7 #9",
        [4, 8, 10, 3],
        &[(4, DROP2), (8, DROP3), (10, DROP24)],
    ),
    ("6", [0, 4, 7, 9], &[]),
    ("m6", [0, 3, 7, 9], &[]),
    ("7", [0, 4, 7, 10], &[]),
    ("m7", [0, 3, 7, 10], &[]),
    ("m7b5", [0, 3, 6, 10], &[]),
    ("dim7", [0, 3, 6, 9], &[]),
    ("7b5", [0, 4, 6, 10], &[]),
    ("9, no root", [2, 4, 7, 10], &[]),
    ("7b9, no root", [1, 4, 7, 10], &[]),
    ("6/9, no root", [2, 4, 7, 9], &[]),
    ("maj9, no root", [2, 4, 7, 11], &[]),
    ("7#11", [0, 4, 6, 10], &[]),
];

#[test]
fn minor_ninths_come_from_these_chords_leads_and_techniques_only() {
    let mut rubs = 0;
    for (name, set, expected) in MINOR_NINTHS {
        for root in 0..12 {
            for member in set {
                let (lead, set) = placed(set, root, member);
                let close = close(lead, &set);
                for (technique, drops, doubled, _) in TRANSFORMS {
                    let voicing = transform(&close, drops, doubled);
                    // Doubling the lead an octave below adds none: whatever is dropped lies
                    // within an octave of it. Close position has no ninths at all.
                    let base = technique.for_voices(4).unwrap();
                    let makes = expected
                        .iter()
                        .any(|(l, which)| *l == member && which.contains(&base));
                    assert_eq!(
                        minor_ninths(&voicing).next().is_some(),
                        makes,
                        "{technique}: {name} on {root}, lead {member}: {voicing:?}"
                    );
                    rubs += usize::from(makes);
                }
            }
        }
    }
    // Five chords, twelve roots, five of the single drops and as many with the lead doubled.
    assert_eq!(rubs, 5 * 12 * 5 * 2);
}

#[test]
fn what_the_table_has_instead_is_clean() {
    // "Clean instead" of the same table: the sixth for the seventh, the root kept, the fifth for the
    // thirteenth, b9 for #9 (computed).
    for (name, instead) in [
        ("maj7: 6 for 7", [0, 4, 7, 9]),
        ("m(maj7): 6 for 7", [0, 3, 7, 9]),
        ("m9: the root kept", [0, 3, 7, 10]),
        ("13 with 9: 5 for 13", [2, 4, 7, 10]),
        ("7alt: b9 for #9", [1, 4, 8, 10]),
    ] {
        for root in 0..12 {
            for member in instead {
                let (lead, set) = placed(instead, root, member);
                for (technique, drops, doubled, _) in TRANSFORMS {
                    let voicing = transform(&close(lead, &set), drops, doubled);
                    assert_eq!(
                        minor_ninths(&voicing).count(),
                        0,
                        "{technique}: {name}, lead {member}"
                    );
                }
            }
        }
    }
}

/// The forms that no transform makes: the least and the greatest span in semitones (computed from
/// their definitions; the definitions: published, see `src/voicing/form.rs`; a spread of four with its root up to G3:
/// common practice, no source).
const FORMS: [(Form, i16, i16); 7] = [
    (Form::Spread, 17, 60),
    (Form::Fourths, 10, 20),
    (Form::Cluster, 5, 10),
    (Form::UpperStructure, 12, 20),
    (Form::TwoPart, 3, 16),
    (Form::FiveNoteSoli, 12, 17),
    (Form::ThreePart, 3, 16),
];

#[test]
fn the_other_forms_keep_to_their_spans_and_have_no_minor_ninth() {
    let mut made: BTreeMap<Form, usize> = BTreeMap::new();
    for position in -5..=6 {
        let root = NoteName::from_fifths(position);
        for tail in [
            "6", "m6", "maj7", "m7", "7", "13", "m9", "6/9", "9sus", "7b9",
        ] {
            let chord = parse(&format!("{root}{tail}")).unwrap().unwrap();
            let frame = Frame {
                chord: &chord,
                leads: Leads::ToMajor,
            };
            // Two leads of each chord, others on every root.
            let members: Vec<PitchClass> = chord.classes().collect();
            for member in
                [0, 2].map(|i| members[(i + position.unsigned_abs() as usize) % members.len()])
            {
                let lead = 72 + member.get();
                for (form, low, high) in FORMS {
                    let voices = *form.voices().start();
                    for (_, voicing) in form.voicings(lead, voices, &frame, 36) {
                        let span = voicing[0] - voicing[voicing.len() - 1];
                        assert!(
                            (low..=high).contains(&span),
                            "{form} {root}{tail}: {voicing:?} spans {span}"
                        );
                        // Published: the one accepted minor ninth is a dominant's b9 over its root.
                        assert!(
                            minor_ninths(&voicing).all(|(_, low)| frame.is_dominant()
                                && voicing[low].rem_euclid(12) == chord.root.class().get()),
                            "{form} {root}{tail}: {voicing:?}"
                        );
                        *made.entry(form).or_default() += 1;
                    }
                }
            }
        }
    }
    for (form, ..) in FORMS {
        assert!(made.contains_key(&form), "{form} was never made");
    }
}

/// The sixth-diminished system: quality, its four notes, and the scale's notes left over. Published:
/// web lessons and a guitar journal for 6, m6, 7, m7; 7b5 from memory; m7b5 and dim7 computed.
const SYSTEM: [(&str, [i16; 4], [i16; 4]); 7] = [
    ("6", [0, 4, 7, 9], [1, 3, 6, 10]),
    ("m6", [0, 3, 7, 9], [1, 4, 6, 10]),
    ("7", [0, 4, 7, 10], [1, 3, 6, 9]),
    ("7b5", [0, 4, 6, 10], [1, 3, 7, 9]),
    ("m7", [0, 3, 7, 10], [1, 4, 6, 9]),
    ("m7b5", [0, 3, 6, 10], [1, 4, 7, 9]),
    ("dim7", [0, 3, 6, 9], [1, 4, 7, 10]),
];

/// Published (as above): the passing chord holds 2, 4, b6 and 7 of every one of these chords.
const PASSING: [i16; 4] = [2, 5, 8, 11];

#[test]
fn the_sixth_diminished_system_on_all_twelve_roots() {
    for position in -5..=6 {
        let root = NoteName::from_fifths(position);
        let above = |list: &mut dyn Iterator<Item = PitchClass>| -> BTreeSet<i16> {
            list.map(|c| c.above(root.class())).collect()
        };
        let passing = passing_diminished(root);
        assert_eq!(
            above(&mut passing.classes().into_iter()),
            BTreeSet::from(PASSING)
        );
        // Published: it is the dominant's V7b9 without its root: 3 5 b7 b9 of the chord on 5.
        let dominant: BTreeSet<i16> = [4, 7, 10, 13].map(|d| (7 + d) % 12).into();
        assert_eq!(BTreeSet::from(PASSING), dominant);
        for (tail, members, left_over) in SYSTEM {
            let chord = parse(&format!("{root}{tail}")).unwrap().unwrap();
            assert_eq!(above(&mut chord.classes()), BTreeSet::from(members));
            let scale: BTreeSet<i16> = members.into_iter().chain(PASSING).collect();
            assert_eq!(
                scale.len(),
                8,
                "{tail}: chord and passing chord share no note"
            );
            let rest: BTreeSet<i16> = (0..12).filter(|n| !scale.contains(n)).collect();
            assert_eq!(rest, BTreeSet::from(left_over), "{tail}");
            // The scale alternates chord and passing chord step by step.
            let kinds: Vec<bool> = scale.iter().map(|n| members.contains(n)).collect();
            assert!(kinds.windows(2).all(|w| w[0] != w[1]), "{tail} {scale:?}");
            for up in 0..12 {
                let lead = root.class().plus(up);
                let plain = on_chord(&chord, lead, false)
                    .into_iter()
                    .find(|h| h.way == Way::Chord);
                // A chord note stands on the chord itself, and nothing else does.
                assert_eq!(plain.is_some(), members.contains(&up), "{root}{tail}: {up}");
                if let Some(plain) = plain {
                    assert_eq!(
                        above(&mut plain.classes().into_iter()),
                        BTreeSet::from(members)
                    );
                }
                // Every note of the passing chord is harmonised by it, and by no other diminished
                // seventh; the rest have one other that holds them.
                let named = NoteName::from_fifths(
                    position + [0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5][up as usize],
                );
                assert_eq!(named.class(), lead);
                let other = other_diminished(root, named);
                assert_eq!(other.is_none(), PASSING.contains(&up), "{root}{tail}: {up}");
                if let Some(other) = other {
                    let set = above(&mut other.classes().into_iter());
                    assert_eq!(set, (0..4).map(|i| (up + 3 * i) % 12).collect());
                    assert!(set.is_disjoint(&BTreeSet::from(PASSING)));
                }
            }
        }
    }
}
