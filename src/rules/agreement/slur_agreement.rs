//! `slur-agreement`: parts of a family that move together slur together. Published: university
//! proofreading checklists.

use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::mark_comparison::{MarkComparison, Odd};
use crate::rules::shared::page::is_slur_at_joint;
use crate::rules::shared::together::{Player, Together, by_votes, most};
use crate::score::{Added, Addition, LooseSlur, Note, NoteFlags, NoteRef, Score};
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "slur-agreement",
    group: Group::Agreement,
    asks: "Where parts of one family move together, their slurs start and end on the same notes (a note where as many parts have the one as the other).",
    why: "One player who tongues where the others slur breaks the line of the whole section.",
    source: "published: university proofreading checklists",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2  3  4  | 1  2  3  4  |
trumpet 1 | E5 F5 G5 F5 | E5 D5 C5 D5 |
trumpet 2 | C5 D5 E5 D5 | C5 B4 A4 B4 |
trumpet 3 | G4 A4 B4 A4 | G4 F4 E4 F4 |
            ^^ section: a slur from 1 to 4
on the page:
trumpet 1, bar 1, beat 1: dynamic mf
trumpet 2, bar 1, beat 1: dynamic mf
trumpet 3, bar 1, beat 1: dynamic mf
trumpet 1, bar 1, beat 1: slur starts
trumpet 1, bar 1, beat 4: slur ends
trumpet 2, bar 1, beat 1: slur starts
trumpet 2, bar 1, beat 4: slur ends
trumpet 3, bar 1, beat 1: slur starts
trumpet 3, bar 1, beat 3: slur ends
suggestion: trumpet 3: write a slur from 1 to 4 instead of a slur from 1 to 3, as in trumpet 1 and trumpet 2
",
        right: "\
not on the page:
trumpet 3, bar 1, beat 3: slur ends
on the page:
trumpet 3, bar 1, beat 4: slur ends
",
    }],
    exceptions: &[
        Exception {
            says: "instruments of different families (brass tongue where saxophones slur)",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: horns
parts: trumpet = trumpet
       alto = alto saxophone
       tenor = tenor saxophone
       trombone = trombone

count    | 1   2   3   4   | 1   |
trumpet  | G4  Bb4 C5  Bb4 | G4  |
alto     | Eb4 G4  Ab4 G4  | Eb4 |
tenor    | Bb3 Eb4 Eb4 D4  | Bb3 |
trombone | G3  Bb3 C4  Bb3 | G3  |
on the page:
alto, bar 1, beat 1: slur starts
alto, bar 1, beat 2: slur ends
tenor, bar 1, beat 1: slur starts
tenor, bar 1, beat 2: slur ends
",
                but: "\
not on the page:
tenor, bar 1, beat 1: slur starts
tenor, bar 1, beat 2: slur ends
on the page:
trombone, bar 1, beat 1: slur starts
trombone, bar 1, beat 2: slur ends
",
            },
        },
        Exception {
            says: "voices, whose slurs follow their words",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 3/4
section: voices
parts: soprano = soprano
       alto = alto
       tenor = tenor
       baritone = baritone

count    | 1   2  3   | 1   |
soprano  | F#5 E5 D5  | E5  |
alto     | A4  B4 A4  | A4  |
tenor    | D4  E4 F#4 | C#4 |
baritone | D3  G3 D3  | A2  |
on the page:
soprano, bar 1, beat 1: slur starts
soprano, bar 1, beat 2: slur ends
",
                but: "\
section: saxes
parts: soprano = soprano saxophone
       alto = alto saxophone
       tenor = tenor saxophone
       baritone = baritone saxophone
",
            },
        },
        Exception {
            says: "a part that repeats its note, which cannot be slurred",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  2   3  4 | 1  |
trumpet 1 | C5 D5  F5 - | E5 |
trumpet 2 | A4 Bb4 C5 - | C5 |
trumpet 3 | F4 F4  A4 - | G4 |
on the page:
trumpet 1, bar 1, beat 1: slur starts
trumpet 1, bar 1, beat 2: slur ends
trumpet 2, bar 1, beat 1: slur starts
trumpet 2, bar 1, beat 2: slur ends
",
                but: "trumpet 3 | F4 G4  A4 - | G4 |",
            },
        },
        Exception {
            says: "parts that are not together in the bar",
            silent: Silent::With("trumpet 3 | G4 -  B4 -  | G4 -  -  -  |"),
        },
    ],
};

/// A slur by the attacks it starts and ends on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Slur {
    from: Ticks,
    to: Ticks,
}

/// The slurs of a part in order; those that never end are left out.
fn slurs(score: &Score, player: &Player) -> Vec<Slur> {
    let Some(part) = score.parts.get(player.part as usize) else {
        return Vec::new();
    };
    let mut open: Vec<Ticks> = Vec::new();
    let mut found = Vec::new();
    let ends = |n: &&Note| {
        n.sounds() && (n.flags.has(NoteFlags::SLUR_START) || n.flags.has(NoteFlags::SLUR_STOP))
    };
    for note in part.notes.iter().filter(ends) {
        let struck = player
            .last_before(note.onset)
            .map_or(note.onset, |a| a.onset);
        if note.flags.has(NoteFlags::SLUR_STOP)
            && let Some(from) = open.pop()
            && from < struck
        {
            found.push(Slur { from, to: struck });
        }
        if note.flags.has(NoteFlags::SLUR_START) {
            open.push(struck);
        }
    }
    found.sort_by_key(|s| (s.from, s.to));
    // Of slurs that start on one note the shortest says how it is played.
    found.dedup_by_key(|s| s.from);
    found
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for (passage, together) in input.passages.iter().zip(input.together()) {
        if passage.section.is_choir() || together.players.len() < 2 {
            continue;
        }
        let all: Vec<Vec<Slur>> = together
            .players
            .iter()
            .map(|p| slurs(input.score, p))
            .collect();
        if all.iter().all(Vec::is_empty) {
            continue;
        }
        let mut odds = Vec::new();
        let one_way = slur_alike(together, &all);
        for bar in 0..together.bars.len() {
            in_bar(input, together, (&all, one_way), bar, &mut odds);
        }
        let comparison = MarkComparison {
            rule: &RULE,
            section: &passage.section,
            together,
            marks: "slurs",
            has_any: all.iter().map(|s| !s.is_empty()).collect(),
        };
        comparison.report(input, odds, out);
    }
}

fn in_bar(
    input: &RuleInput<'_>,
    together: &Together,
    (slurs, one_way): (&[Vec<Slur>], bool),
    bar: usize,
    odds: &mut Vec<Odd>,
) {
    let all = together.all(bar);
    let Some(model) = together
        .bars
        .get(bar)
        .and_then(|c| c.with.first())
        .and_then(|&p| together.players.get(p))
    else {
        return;
    };
    // Families that slur alike elsewhere are one here.
    let family = |p: usize| {
        let own = together.players.get(p).and_then(|p| p.family);
        own.filter(|_| !one_way)
    };
    for attack in model.attacks_in(bar) {
        let slur = |p: usize| slur_from(slurs, p, attack.onset);
        if all.iter().all(|&p| slur(p).is_none()) {
            continue;
        }
        // A slur that is under way (an outer one, or one split in two) says enough.
        let under_way = |p: usize| {
            slurs.get(p).is_some_and(|list| {
                let i = list.partition_point(|s| s.from < attack.onset);
                i.checked_sub(1)
                    .and_then(|i| list.get(i))
                    .is_some_and(|s| s.to > attack.onset)
            })
        };
        let repeats = |p: usize| {
            together.players.get(p).is_some_and(|player| {
                player.at(bar, attack.onset).is_some_and(|(i, own)| {
                    player
                        .attacks
                        .get(i + 1)
                        .is_none_or(|next| next.midi == own.midi)
                })
            })
        };
        let mut families: SmallVec<[Option<&str>; 6]> = all.iter().map(|&p| family(p)).collect();
        families.sort_unstable();
        families.dedup();
        for one in families {
            let here: SmallVec<[(usize, Option<Slur>); 6]> = all
                .iter()
                .filter(|&&p| family(p) == one && !repeats(p) && !under_way(p))
                .filter_map(|&p| {
                    together.players.get(p)?.at(bar, attack.onset)?;
                    Some((p, slur(p)))
                })
                .collect();
            let values: SmallVec<[Option<Slur>; 6]> = here.iter().map(|h| h.1).collect();
            let (Some(mut wanted), true) = (most(&values), here.len() > 1) else {
                continue;
            };
            // Of two in a family the rest of the section says who is right.
            if let [a, b] = values[..] {
                let votes = |value| all.iter().filter(|&&p| slur(p) == value).count();
                wanted = if votes(b) > votes(a) { b } else { a };
            }
            let level = level(&values, all.iter().map(|&p| slur(p)), wanted);
            odds.extend(
                here.iter()
                    .filter(|h| {
                        h.1 != wanted
                            && !is_half(input, together, h.0, attack.onset, wanted)
                            && !ends_on_repetition(together, h.0, h.1, wanted)
                    })
                    .map(|h| Odd {
                        adds: whole_slur(input, together, h.0, (h.1, wanted), &values),
                        player: h.0,
                        bar,
                        onset: attack.onset,
                        found: in_words(input, attack.onset, h.1),
                        wanted: in_words(input, attack.onset, wanted),
                        level,
                    }),
            );
        }
    }
}

/// How a difference weighs: of two in a family the whole section has a vote.
fn level(
    values: &[Option<Slur>],
    all: impl Iterator<Item = Option<Slur>>,
    wanted: Option<Slur>,
) -> Level {
    let section: SmallVec<[Option<Slur>; 6]> = all.collect();
    let voting = if values.len() == 2 { &section } else { values };
    by_votes(Level::Warning, voting, &wanted)
}

/// Both ends of the slur that a player lacks altogether and most have, of two at least.
fn whole_slur(
    input: &RuleInput<'_>,
    together: &Together,
    player: usize,
    (own, wanted): (Option<Slur>, Option<Slur>),
    values: &[Option<Slur>],
) -> Vec<Addition> {
    let votes = values.iter().filter(|v| **v == wanted).count();
    let (None, Some(slur), true) = (own, wanted, votes > 1 && votes * 2 > values.len()) else {
        return Vec::new();
    };
    let Some(own) = together.players.get(player) else {
        return Vec::new();
    };
    let struck = |onset: Ticks| {
        let attack = own.last_before(onset).filter(|a| a.onset == onset)?;
        Some(NoteRef {
            part: own.part,
            note: attack.note,
        })
    };
    let (Some(first), Some(last)) = (struck(slur.from), struck(slur.to)) else {
        return Vec::new();
    };
    let last = input.score.tied_chain(last).last().copied().unwrap_or(last);
    let end = |note, what| Addition { note, what };
    vec![end(first, Added::SlurStart), end(last, Added::SlurStop)]
}

/// The slur that starts for a player at a time.
fn slur_from(slurs: &[Vec<Slur>], player: usize, onset: Ticks) -> Option<Slur> {
    let list = slurs.get(player)?;
    let i = list.partition_point(|s| s.from < onset);
    list.get(i).filter(|s| s.from == onset).copied()
}

/// Whether the slurs of different families start and end alike nearly always: then they are meant so.
fn slur_alike(together: &Together, slurs: &[Vec<Slur>]) -> bool {
    let mut families: SmallVec<[Option<&str>; 6]> =
        together.players.iter().map(|p| p.family).collect();
    families.sort_unstable();
    families.dedup();
    if families.len() < 2 {
        return false;
    }
    let (mut alike, mut differ) = (0usize, 0usize);
    for bar in 0..together.bars.len() {
        let all = together.all(bar);
        let mut onsets: Vec<Ticks> = all
            .iter()
            .filter_map(|&p| together.players.get(p))
            .flat_map(|p| p.attacks_in(bar).iter().map(|a| a.onset))
            .collect();
        onsets.sort_unstable();
        onsets.dedup();
        for onset in onsets {
            let here = all.iter().map(|&p| slur_from(slurs, p, onset));
            let here: SmallVec<[Option<Slur>; 6]> = here.collect();
            match here.first() {
                Some(first) if here.iter().any(Option::is_some) => {
                    let same = here.iter().all(|s| s == first);
                    alike += usize::from(same);
                    differ += usize::from(!same);
                }
                _ => {}
            }
        }
    }
    alike > 1 && differ * 4 <= alike
}

/// Whether a slur only goes on to the same note struck again, which `rhythm-unison` reports.
fn ends_on_repetition(
    together: &Together,
    player: usize,
    own: Option<Slur>,
    wanted: Option<Slur>,
) -> bool {
    let (Some(own), Some(wanted)) = (own, wanted) else {
        return false;
    };
    let Some(player) = together.players.get(player) else {
        return false;
    };
    let (Some(last), Some(before)) = (player.last_before(own.to), player.last_before(wanted.to))
    else {
        return false;
    };
    own.to > wanted.to && last.midi == before.midi && before.end == last.onset
}

/// "a slur from 1 to 4"; the bar is named where it is another one.
fn in_words(input: &RuleInput<'_>, from: Ticks, slur: Option<Slur>) -> String {
    let score = input.score;
    let start = score.place_of(from);
    let from = score.beat_at(start);
    let Some(slur) = slur else {
        return format!("no slur from {from} on");
    };
    let end = score.place_of(slur.to);
    let of_bar = if end.bar == start.bar {
        String::new()
    } else {
        format!(" of bar {}", score.bar_number(end.bar))
    };
    format!("a slur from {from} to {}{of_bar}", score.beat_at(end))
}

/// Whether a player has half of the wanted slur, from this onset: `unclosed-slur` reports that.
fn is_half(
    input: &RuleInput<'_>,
    together: &Together,
    player: usize,
    from: Ticks,
    wanted: Option<Slur>,
) -> bool {
    let player = together.players.get(player);
    let part = player.and_then(|p| input.score.parts.get(p.part as usize));
    part.is_some_and(|part| {
        let own = part.loose_slurs.iter();
        own.filter(|m| !is_slur_at_joint(part, m))
            .any(|m| match m.value {
                LooseSlur::Start => m.onset == from,
                LooseSlur::Stop => wanted.is_some_and(|w| w.to == m.onset),
            })
    })
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::whole::pages::{places, score};

    const RULE: &str = "slur-agreement";
    const ONE: &str = "C5:2:slur D5:2 E5:2:end F5:2";
    const TWO: &str = "A4:2:slur B4:2 C5:2:end D5:2";

    #[test]
    fn a_slur_that_one_part_lacks_is_told_at_its_start() {
        let parts = |third: &'static str| {
            score(&[
                ("Alto 1", &[ONE, "C5:8"][..]),
                ("Alto 2", &[TWO, "A4:8"][..]),
                ("Tenor 1", &[third, "F4:8"][..]),
                ("Tenor 2", &["E4:2:slur F4:2 G4:2:end A4:2", "E4:8"][..]),
            ])
        };
        assert_eq!(
            places(&parts("F4:2 G4:2 A4:2 B4:2"), RULE),
            ["1 1: Tenor 1"]
        );
        assert_eq!(
            places(&parts("F4:2:slur G4:2:end A4:2 B4:2"), RULE),
            ["1 1: Tenor 1"]
        );
        assert!(places(&parts("F4:2:slur G4:2 A4:2:end B4:2"), RULE).is_empty());
        // Half of it is there: another rule's business.
        let half = parts("F4:2:slur G4:2 A4:2 B4:2");
        assert!(places(&half, RULE).is_empty());
        assert_eq!(places(&half, "unclosed-slur").len(), 1);
        // A repeated note cannot be slurred.
        assert!(places(&parts("F4:2 F4:2 A4:2 B4:2"), RULE).is_empty());
    }
}
