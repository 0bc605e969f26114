//! `articulation-agreement`: the same marks on the same attack. Published: university proofreading
//! checklists; falls and scoops: common practice, no source.

use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::mark_comparison::{MarkComparison, Odd};
use crate::rules::shared::together::{Together, by_votes, most};
use crate::rules::shared::wording;
use crate::score::{Added, Addition, Articulations};

pub static RULE: Rule = Rule {
    name: "articulation-agreement",
    group: Group::Agreement,
    asks: "Where parts of a section strike together, accents, dots, lines, hats, falls, scoops and fermatas are the same in all of them (a note where as many parts have the one as the other).",
    why: "A section phrases as one: a short note in one part beside long ones in the others sounds like a mistake even when every pitch is right.",
    source: "published: university proofreading checklists; falls, doits and scoops: common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: Bb major
meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Bb6  -    -    -   |
count   | 1    2    3    4   |
alto 1  | D5.  F5.  D5>  F5  |
alto 2  | Bb4. D5.  Bb4> D5  |
tenor 1 | G4.  Bb4. G4   Bb4 |
                    ^^ section: an accent
tenor 2 | F4.  G4.  F4>  G4  |
suggestion: tenor 1: add an accent on 3, as in alto 1, alto 2 and tenor 2
",
        right: "tenor 1 | G4.  Bb4. G4>  Bb4 |",
    }],
    exceptions: &[
        Exception {
            says: "parts that are not together in the bar",
            silent: Silent::With("tenor 1 | G4.  -    G4_  -   |"),
        },
        Exception {
            says: "notes that others do not strike",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

count      | 1   &   2   3  4  |
trombone 1 | D4. E4. D4> B3 G3 |
trombone 2 | B3. C4. B3> G3 D3 |
trombone 3 | G3. -   G3> D3 G2 |
",
                but: "trombone 3 | G3. A3  G3> D3 G2 |",
            },
        },
    ],
};

const NAMES: [(Articulations, &str); 10] = [
    (Articulations::ACCENT, "an accent"),
    (Articulations::STACCATO, "a staccato dot"),
    (Articulations::TENUTO, "a tenuto line"),
    (Articulations::MARCATO, "a marcato hat"),
    (Articulations::STACCATISSIMO, "a staccatissimo wedge"),
    (Articulations::FALL, "a fall"),
    (Articulations::DOIT, "a doit"),
    (Articulations::SCOOP, "a scoop"),
    (Articulations::PLOP, "a plop"),
    (Articulations::FERMATA, "a fermata"),
];

/// Marks that are compared with each other: how they are called, which they are, what a missing one
/// weighs.
const KINDS: [(&str, u16, Level); 3] = [
    (
        "articulations",
        Articulations::ACCENT.0
            | Articulations::STACCATO.0
            | Articulations::TENUTO.0
            | Articulations::MARCATO.0
            | Articulations::STACCATISSIMO.0,
        Level::Warning,
    ),
    (
        "falls, doits and scoops",
        Articulations::FALL.0
            | Articulations::DOIT.0
            | Articulations::SCOOP.0
            | Articulations::PLOP.0,
        Level::Warning,
    ),
    ("fermatas", Articulations::FERMATA.0, Level::Error),
];

/// Marks that a note is given as one sign, whatever stands around it.
const PLAIN: u16 = Articulations::ACCENT.0
    | Articulations::STACCATO.0
    | Articulations::TENUTO.0
    | Articulations::MARCATO.0
    | Articulations::STACCATISSIMO.0
    | Articulations::FERMATA.0;

/// Marks in words.
fn named(marks: Articulations, kind: &str) -> String {
    let names: Vec<String> = NAMES
        .iter()
        .filter(|(mark, _)| marks.has(*mark))
        .map(|(_, name)| (*name).to_owned())
        .collect();
    if names.is_empty() {
        let one = match kind {
            "articulations" => "no mark",
            "fermatas" => "no fermata",
            _ => "no fall, doit or scoop",
        };
        return one.to_owned();
    }
    wording::join(&names)
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for (passage, together) in input.passages.iter().zip(input.together()) {
        for (kind, mask, level) in KINDS {
            let mut odds = Vec::new();
            for bar in 0..together.bars.len() {
                in_bar(together, bar, (kind, mask, level), &mut odds);
            }
            if odds.is_empty() {
                continue;
            }
            let any: Vec<bool> = together
                .players
                .iter()
                .map(|p| p.attacks.iter().any(|a| a.marks.0 & mask != 0))
                .collect();
            let comparison = MarkComparison {
                rule: &RULE,
                section: &passage.section,
                together,
                marks: kind,
                has_any: any,
            };
            comparison.report(input, odds, out);
        }
    }
}

fn in_bar(
    together: &Together,
    bar: usize,
    (kind, mask, level): (&str, u16, Level),
    odds: &mut Vec<Odd>,
) {
    let all = together.all(bar);
    let Some(company) = together.bars.get(bar).filter(|_| all.len() > 1) else {
        return;
    };
    let Some(model) = company.with.first().and_then(|&p| together.players.get(p)) else {
        return;
    };
    for attack in model.attacks_in(bar) {
        let here = all.iter().filter_map(|&p| {
            let (_, a) = together.players.get(p)?.at(bar, attack.onset)?;
            let length = a.end - a.onset;
            Some((p, Articulations(a.marks.0 & mask), length))
        });
        // Nearly everywhere all have the same.
        if here
            .clone()
            .all(|(_, marks, _)| marks.0 == attack.marks.0 & mask)
        {
            continue;
        }
        let here: Vec<(usize, Articulations, Ticks)> = here.collect();
        let lengths: Vec<Ticks> = here.iter().map(|h| h.2).collect();
        let usual = most(&lengths).unwrap_or_default();
        // A long note beside short ones has marks of its own.
        let alike = |own: Ticks| own < usual.times(2) && usual < own.times(2);
        let fermata = mask == Articulations::FERMATA.0;
        let here: Vec<(usize, Articulations)> = here
            .into_iter()
            .filter(|h| fermata || alike(h.2))
            .map(|h| (h.0, h.1))
            .collect();
        let marks: Vec<Articulations> = here.iter().map(|h| h.1).collect();
        let (Some(wanted), true) = (most(&marks), here.len() > 1) else {
            continue;
        };
        // A mark too many stops nobody.
        let level = if wanted.0 == 0 { Level::Warning } else { level };
        let level = by_votes(level, &marks, &wanted);
        let votes = marks.iter().filter(|m| **m == wanted).count();
        let adds = |player: usize, found: Articulations| {
            let lacks = Articulations(wanted.0 & !found.0);
            let note = together.note_at(player, bar, attack.onset);
            let most_have = votes > 1 && votes * 2 > marks.len();
            let plain = wanted.has(found) && lacks.0 & !PLAIN == 0 && most_have;
            let addition = |note| Addition {
                note,
                what: Added::Articulations(lacks),
            };
            note.filter(|_| plain).map(addition).into_iter().collect()
        };
        odds.extend(here.iter().filter(|h| h.1 != wanted).map(|h| Odd {
            adds: adds(h.0, h.1),
            player: h.0,
            bar,
            onset: attack.onset,
            found: named(h.1, kind),
            wanted: named(wanted, kind),
            level,
        }));
    }
}

crate::rules::test_examples!(RULE);
