//! `key-signature-agreement`: every part is in the key of the score, as its instrument reads it.

use crate::finding::{Finding, Level};
use crate::ground::instrument::{Instrument, Property};
use crate::ground::pitch::written_fifths;
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::page::{names, pitched};
use crate::rules::shared::wording;
use crate::score::{Key, Mark, Part, PartFault, Place, Presumed};
use crate::sonority::signs;

pub static RULE: Rule = Rule {
    name: "key-signature-agreement",
    group: Group::Notation,
    asks: "The key signature of every part is that of the score, moved by the part's transposition.",
    why: "A player in another key than the rest plays every altered note wrong at sight.",
    source: "published: encyclopaedia, list of transposing instruments; common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: Bb major
meter: 4/4
parts: alto 1 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       trombone 1 = trombone

count      | 1  2   3  4   | 1   2  3   4  |
             ^ alto 1, tenor 1, tenor 2
alto 1     | D5 C5  D5 F5  | F5  D5 Eb5 D5 |
tenor 1    | Bb4 A4 Bb4 D5 | D5 Bb4 C5 Bb4 |
tenor 2    | F4 Eb4 F4 Bb4 | Bb4 F4 G4  F4 |
trombone 1 | D4 C4  D4 F4  | F4  D4 Eb4 D4 |
on the page:
alto 1, bar 1: key -2
tenor 1, bar 1: key -2
tenor 2, bar 1: key -2
suggestion: alto 1: write 1 sharp; tenor 1: write no sharps or flats; tenor 2: write no sharps or flats
",
        right: "\
not on the page:
alto 1, bar 1: key -2
tenor 1, bar 1: key -2
tenor 2, bar 1: key -2
",
    },
    Example {
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
            says: "horns, whose parts are commonly written without a signature",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
parts: clarinet = clarinet
       trombone = trombone
       horn = french horn

count    | 1   3  |
clarinet | G4  F4 |
horn     | Eb4 D4 |
trombone | Bb3 -  |
on the page:
horn, bar 1: key 0
",
                but: "\
not on the page:
horn, bar 1: key 0
on the page:
horn, bar 1: key 2
",
            },
        },
        Exception {
            says: "trumpets of an orchestra, without a signature",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
parts: flute = flute
       oboe = oboe
       trumpet = trumpet
       bassoon = bassoon

count   | 1   3   |
flute   | Bb5 C6  |
oboe    | G5  Ab5 |
trumpet | Eb5 -   |
bassoon | Eb3 Ab3 |
on the page:
trumpet, bar 1: key 0
",
                but: "\
parts: flute = flute
       oboe = oboe
       trumpet = trumpet
       bassoon = bassoon
       alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor = tenor saxophone
alto 1  | C5  -   |
alto 2  | Ab4 -   |
tenor   | Eb4 -   |
",
            },
        },
        Exception {
            says: "scores without a key that most parts share, as with two parts",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
parts: flute = flute
       clarinet = clarinet

count    | 1  3  |
flute    | A5 C6 |
clarinet | F4 A4 |
on the page:
clarinet, bar 1: key -1
",
                but: "\
parts: flute = flute
       clarinet = clarinet
       bassoon = bassoon
bassoon  | F3 F3 |
",
            },
        },
        Exception {
            says: "a part that rests until its next signature",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
parts: flute = flute
       oboe = oboe
       bassoon = bassoon

count   | 1  | 1  | 1  |
flute   | C5 | C5 | A4 |
oboe    | E4 | Eb4 | C4 |
bassoon | C3 | .  | F3 |
on the page:
flute, bar 2: key -3
oboe, bar 2: key -3
flute, bar 3: key -1
oboe, bar 3: key -1
bassoon, bar 3: key -1
",
                but: "bassoon | C3 | C3 | F3 |",
            },
        },
        Exception {
            says: "scores without any signature",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor = tenor saxophone

count  | 1   3   |
alto 1 | C5  Bb4 |
alto 2 | A4  G4  |
tenor  | F4  E4  |
on the page:
alto 1, bar 1: key 0
alto 2, bar 1: key 0
tenor, bar 1: key 0
",
                but: "\
not on the page:
alto 1, bar 1: key 0
alto 2, bar 1: key 0
",
            },
        },
        Exception {
            says: "keys that differ in spelling only",
            silent: Silent::Passage {
                passage: "\
key: Gb major
meter: 4/4
parts: flute = flute
       trumpet = trumpet
       trombone = trombone

count    | 1   3   |
flute    | Bb5 Ab5 |
trumpet  | Gb4 F4  |
trombone | Gb3 Db4 |
on the page:
flute, bar 1: key 6
",
                but: "\
not on the page:
flute, bar 1: key 6
on the page:
flute, bar 1: key 5
",
            },
        },
        Exception {
            says: "voices of old music that have a flat more or less than the rest",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: voices
parts: soprano = soprano
       alto = alto
       tenor = tenor
       bass = bass voice

count   | 1  3  |
soprano | A4 G4 |
alto    | F4 E4 |
tenor   | D4 C4 |
bass    | D3 C3 |
on the page:
bass, bar 1: key -1
",
                but: "\
not on the page:
bass, bar 1: key -1
on the page:
bass, bar 1: key 1
",
            },
        },
        Exception {
            says: "parts of no known instrument, without a signature",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 4/4

count      | 1   3  |
flute      | A5  B5 |
oboe       | F#5 G5 |
nose flute | D5  E5 |
bassoon    | D3  G3 |
on the page:
nose flute, bar 1: key 0
",
                but: "\
not on the page:
nose flute, bar 1: key 0
on the page:
oboe, bar 1: key 0
",
            },
        },
    ],
};

/// A part that has a vote.
struct Voter<'a> {
    index: u32,
    part: &'a Part,
    instrument: Option<&'a Instrument>,
    /// It may be without a signature by custom.
    may_be_plain: bool,
    /// Concert fifths in force.
    key: Option<i8>,
    /// What it was last blamed for: its own key and the one expected.
    blamed: Option<(i8, usize)>,
}

/// Whether a part rests from here to its next signature: it may change when it comes in.
fn is_tacet(part: &Part, onset: Ticks) -> bool {
    let next = part.keys.iter().find(|k| k.onset > onset);
    let from = part.notes.partition_point(|n| n.onset < onset);
    let note = part.notes.iter().skip(from).find(|n| n.sounds());
    note.is_none_or(|n| next.is_some_and(|k| k.onset <= n.onset))
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

/// The parts whose signature counts.
fn voters<'a>(input: &RuleInput<'a>) -> Vec<Voter<'a>> {
    let score = input.score;
    let instrument = |part: u32| {
        input
            .passages
            .iter()
            .flat_map(|p| &p.section.parts)
            .find(|m| m.part == part)
            .and_then(|m| m.instrument)
    };
    let parts = || input.passages.iter().flat_map(|p| &p.section.parts);
    let band = parts().any(|m| m.instrument.is_some_and(|i| i.is(Property::Band)));
    // Instruments with a signature, each with its transposition.
    let shift = |part: &Part| {
        part.transpositions
            .first()
            .map_or(0, |t| t.value.key_shift())
    };
    let signed: Vec<(&Instrument, i8)> = pitched(score)
        .filter(|(_, part)| part.keys.iter().any(|k| k.value.fifths != 0))
        .filter_map(|(index, part)| Some((instrument(index)?, shift(part))))
        .filter(|(_, shift)| *shift != 0)
        .collect();
    pitched(score)
        .map(|(index, part)| {
            let instrument = instrument(index);
            // Not beside others of its kind that have one.
            let may_be_plain = instrument.is_none_or(|i| {
                let by_custom = i.is(Property::NoKeySignature)
                    || i.is(Property::NoKeySignatureInOrchestra) && !band;
                let like = |s: &(&Instrument, i8)| s.0.key == i.key && s.1 == shift(part);
                by_custom && !signed.iter().any(like)
            });
            Voter {
                index,
                part,
                instrument,
                may_be_plain,
                key: None,
                blamed: None,
            }
        })
        .filter(|v| {
            let plain = v.part.keys.iter().all(|k| k.value.fifths == 0);
            let any_key = v.instrument.is_some_and(|i| i.is(Property::AnyKey));
            !(plain && v.may_be_plain || any_key)
        })
        .collect()
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    out.extend(at_concert_pitch(input));
    if !pitched(score).any(|(_, part)| part.keys.iter().any(|k| k.value.fifths != 0)) {
        // A score without signatures says so in every part, whatever its transposition.
        return;
    }
    let mut voters = voters(input);
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
        let mut blamed: Vec<usize> = Vec::new();
        for i in looked_at {
            let Some(voter) = voters.get_mut(i) else {
                continue;
            };
            let Some(key) = voter.key else { continue };
            let plain = voter.may_be_plain && voter.part.key(onset).fifths == 0;
            if class(key) == expected
                || plain
                || singing && is_partial(key, expected)
                || is_tacet(voter.part, onset)
            {
                voter.blamed = None;
            } else if voter.blamed != Some((key, expected)) {
                voter.blamed = Some((key, expected));
                blamed.push(i);
            }
        }
        let blamed: Vec<&Voter<'_>> = blamed.iter().filter_map(|i| voters.get(*i)).collect();
        out.extend(differ(input, &blamed, at, onset, expected));
    }
}

/// The key signature of concert pitch over transposed notes: one mistake for all parts that have it.
fn at_concert_pitch(input: &RuleInput<'_>) -> Option<Finding> {
    let score = input.score;
    let presumed = score.presumed.iter();
    let cases: Vec<&Presumed> = presumed
        .filter(|p| p.fault == PartFault::ConcertKey)
        .collect();
    let first = cases.first()?;
    let parts: Vec<u32> = cases.iter().map(|p| p.part).collect();
    let signature = |keys: &[Mark<Key>]| keys.first().map_or(0, |k| k.value.fifths);
    let found = first.filed.as_ref().map_or(0, |f| signature(&f.keys));
    let wanted: Vec<String> = cases
        .iter()
        .filter_map(|p| {
            let part = score.parts.get(p.part as usize)?;
            let name = wording::part(score, p.part);
            Some(format!("{name}: write {}", signs(signature(&part.keys))))
        })
        .collect();
    let who = names(score, &parts);
    let (have, their, of) = if parts.len() > 1 {
        ("have", "their", "of the first, ")
    } else {
        ("has", "its", "")
    };
    let message = format!(
        "{who} {have} the key signature of concert pitch ({}) over transposed notes, though {their} file transposes: {of}{}",
        signs(found),
        first.because
    );
    let at = score
        .parts
        .get(first.part as usize)
        .and_then(|p| p.keys.first())
        .map(|k| k.at)
        .unwrap_or_default();
    // Some scores have no signatures at all.
    let level = if found == 0 {
        Level::Warning
    } else {
        RULE.level
    };
    let finding = RULE.finding(at, message).level(level).parts(parts);
    Some(finding.instead(wanted.join("; ")))
}

/// Players of one instrument with one signature have one mistake.
fn differ(
    input: &RuleInput<'_>,
    blamed: &[&Voter<'_>],
    at: Place,
    onset: Ticks,
    expected: usize,
) -> Vec<Finding> {
    let what = |v: &Voter<'_>| {
        let instrument = v.instrument.map(|i| i.key.clone());
        (
            instrument,
            v.part.key(onset).fifths,
            v.part.transposition(onset),
        )
    };
    let mut alike: Vec<Vec<&Voter<'_>>> = Vec::new();
    for voter in blamed {
        let same = |group: &&mut Vec<&Voter<'_>>| {
            group
                .first()
                .is_some_and(|v| v.instrument.is_some() && what(v) == what(voter))
        };
        match alike.iter_mut().find(same) {
            Some(group) => group.push(voter),
            None => alike.push(vec![voter]),
        }
    }
    let found = alike.iter();
    found
        .filter_map(|group| differs(input, group, at, onset, expected))
        .collect()
}

fn differs(
    input: &RuleInput<'_>,
    voters: &[&Voter<'_>],
    at: Place,
    onset: Ticks,
    expected: usize,
) -> Option<Finding> {
    let voter = voters.first()?;
    // The spelling nearest to no signature.
    let concert = match i8::try_from(expected) {
        Ok(n) if n > 6 => n - 12,
        Ok(n) => n,
        Err(_) => 0,
    };
    let parts: Vec<u32> = voters.iter().map(|v| v.index).collect();
    let name = names(input.score, &parts);
    let found = signs(voter.part.key(onset).fifths);
    let wanted = signs(written_fifths(concert, voter.part.transposition(onset)));
    let player = voter.instrument.map_or_else(
        || "this part".to_owned(),
        |i| wording::with_article(&i.name),
    );
    let has = if parts.len() > 1 {
        "signatures have"
    } else {
        "signature has"
    };
    let finding = RULE
        .finding(
            at,
            format!(
                "{name}: the key {has} {found}; the other parts are in concert {}, which {player} reads as {wanted}",
                signs(concert)
            ),
        )
        .parts(parts)
        .instead(format!("{name}: write {wanted}"));
    Some(finding)
}

crate::rules::test_examples!(RULE);
