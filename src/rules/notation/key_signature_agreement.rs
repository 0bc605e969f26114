//! `key-signature-agreement`: every part is in the key of the score, as its instrument reads it.

use crate::finding::{Finding, Level};
use crate::ground::instrument::{Instrument, Property};
use crate::ground::pitch::written_fifths;
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::page::pitched;
use crate::rules::shared::wording;
use crate::score::{Part, Place};
use crate::sonority::signs;

pub static RULE: Rule = Rule {
    name: "key-signature-agreement",
    group: Group::Notation,
    asks: "The key signature of every part is that of the score, moved by the part's transposition.",
    why: "A player in another key than the rest plays every altered note wrong at sight.",
    source: "published: Wikipedia, list of transposing instruments; common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: Eb major
meter: 4/4
parts: alto 1 = alto saxophone
       tenor 1 = tenor saxophone
       trumpet 1 = trumpet
       trombone 1 = trombone

count      | 1   | 1   |
             ^ tenor 1
alto 1     | G4  | Eb4 |
tenor 1    | G4  | Eb4 |
trumpet 1  | G4  | Eb4 |
trombone 1 | G3  | Eb3 |
on the page:
tenor 1, bar 1: key -3
suggestion: tenor 1: write 1 flat
",
        right: "\
not on the page:
tenor 1, bar 1: key -3
",
    }],
    exceptions: &[
        Exception {
            says: "parts written without any signature: horns, trumpets of an orchestra, and parts of no known instrument",
            silent: Silent::Missing,
        },
        Exception {
            says: "fewer than three parts, or no key that most of them share",
            silent: Silent::Missing,
        },
        Exception {
            says: "keys that differ in spelling only",
            silent: Silent::Missing,
        },
        Exception {
            says: "voices of old music that have a flat more or less than the rest",
            silent: Silent::Missing,
        },
    ],
};

/// A part that has a vote.
struct Voter<'a> {
    index: u32,
    part: &'a Part,
    instrument: Option<&'a Instrument>,
    /// Concert fifths in force.
    key: Option<i8>,
    /// What it was last blamed for: its own key and the one expected.
    blamed: Option<(i8, usize)>,
}

/// Keys that differ in spelling only are one.
fn class(fifths: i8) -> usize {
    usize::from(fifths.rem_euclid(12).unsigned_abs())
}

/// Old vocal music gives single voices a flat more or less than the rest.
fn is_partial(key: i8, expected: usize) -> bool {
    key <= 0
        && (class(key + 1) == expected || class(key - 1) == expected)
        && (expected == 0 || expected > 6)
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    let instrument = |part: u32| {
        input
            .passages
            .iter()
            .flat_map(|p| &p.section.parts)
            .find(|m| m.part == part)
            .and_then(|m| m.instrument)
    };
    let band = input.passages.iter().any(|p| p.section.is(Property::Band));
    let mut voters: Vec<Voter<'_>> = pitched(score)
        .map(|(index, part)| Voter {
            index,
            part,
            instrument: instrument(index),
            key: None,
            blamed: None,
        })
        .filter(|v| {
            let plain = v.part.keys.iter().all(|k| k.value.fifths == 0);
            let may_be_plain = v.instrument.is_none_or(|i| {
                i.is(Property::NoKeySignature) || i.is(Property::NoKeySignatureInOrchestra) && !band
            });
            !(plain && may_be_plain)
        })
        .collect();
    // Every key of every part in order of time.
    let mut marks: Vec<(Ticks, Place, usize)> = voters
        .iter()
        .enumerate()
        .flat_map(|(i, v)| v.part.keys.iter().map(move |k| (k.onset, k.at, i)))
        .collect();
    marks.sort_unstable();
    let singing = voters
        .iter()
        .all(|v| v.instrument.is_none_or(|i| i.is(Property::Sung)));
    let mut counts = [0usize; 12];
    let mut common: Option<usize> = None;
    for group in marks.chunk_by(|a, b| a.0 == b.0) {
        let Some(&(onset, at, _)) = group.first() else {
            continue;
        };
        for &(_, _, i) in group {
            let Some(voter) = voters.get_mut(i) else {
                continue;
            };
            let key = voter.part.concert_fifths(onset);
            if let Some(n) = voter.key.and_then(|old| counts.get_mut(class(old))) {
                *n -= 1;
            }
            if let Some(n) = counts.get_mut(class(key)) {
                *n += 1;
            }
            voter.key = Some(key);
        }
        let all: usize = counts.iter().sum();
        let majority = counts.iter().position(|n| *n >= 2 && n * 2 > all);
        let moved = majority != common;
        common = majority;
        let Some(expected) = majority else { continue };
        // Only what has just changed can be newly wrong.
        let looked_at: Vec<usize> = if moved {
            (0..voters.len()).collect()
        } else {
            group.iter().map(|(_, _, i)| *i).collect()
        };
        for i in looked_at {
            let Some(voter) = voters.get_mut(i) else {
                continue;
            };
            let Some(key) = voter.key else { continue };
            if class(key) == expected || singing && is_partial(key, expected) {
                voter.blamed = None;
            } else if voter.blamed != Some((key, expected)) {
                voter.blamed = Some((key, expected));
                out.push(differs(input, voter, at, onset, expected));
            }
        }
    }
}

fn differs(
    input: &RuleInput<'_>,
    voter: &Voter<'_>,
    at: Place,
    onset: Ticks,
    expected: usize,
) -> Finding {
    // The spelling nearest to no signature.
    let concert = match i8::try_from(expected) {
        Ok(n) if n > 6 => n - 12,
        Ok(n) => n,
        Err(_) => 0,
    };
    let name = wording::part(input.score, voter.index);
    let found = signs(voter.part.key(onset).fifths);
    let wanted = signs(written_fifths(concert, voter.part.transposition(onset)));
    let player = voter.instrument.map_or_else(
        || "this part".to_owned(),
        |i| wording::with_article(&i.name),
    );
    RULE
        .finding(
            at,
            format!(
                "{name}: the key signature has {found}; the other parts are in concert {}, which {player} reads as {wanted}",
                signs(concert)
            ),
        )
        .parts([voter.index])
        .instead(format!("{name}: write {wanted}"))
}

crate::rules::test_examples!(RULE);
