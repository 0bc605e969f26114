//! `dynamic-agreement`: a section that moves together has one dynamic. Published: orchestra
//! librarians' guidelines (from memory), university proofreading checklists.

use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::ground::words::known_words;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::mark_comparison::{MarkComparison, Odd};
use crate::rules::shared::together::{Player, Players, Together, most};
use crate::score::{Added, Addition, Hairpin, NoteRef, Part};

pub static RULE: Rule = Rule {
    name: "dynamic-agreement",
    group: Group::Agreement,
    asks: "Where parts of a section move together they have the same dynamic and the same hairpins.",
    why: "A dynamic that is missing in one part is played as the last one: one player stays loud or soft against the section.",
    source: "published: orchestra librarians' guidelines (from memory), university proofreading checklists",
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
            ^^ section: f
on the page:
trumpet 1, bar 1, beat 1: dynamic f
trumpet 2, bar 1, beat 1: dynamic f
trumpet 3, bar 1, beat 1: dynamic mf
suggestion: trumpet 3: write f instead of mf on 1, as in trumpet 1 and trumpet 2
",
        right: "\
not on the page:
trumpet 3, bar 1, beat 1: dynamic mf
on the page:
trumpet 3, bar 1, beat 1: dynamic f
",
    }],
    exceptions: &[
        Exception {
            says: "a lead one step louder than the section",
            silent: Silent::With(
                "\
not on the page:
trumpet 2, bar 1, beat 1: dynamic f
on the page:
trumpet 2, bar 1, beat 1: dynamic mf
",
            ),
        },
        Exception {
            says: "a part without a dynamic so far, which `entry-dynamic` reports",
            silent: Silent::With(
                "\
not on the page:
trumpet 3, bar 1, beat 1: dynamic mf
",
            ),
        },
        Exception {
            says: "a part in the middle of a crescendo",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

count      | 1  2  3  4  | 1  2  3  4  |
trombone 1 | F4 G4 A4 G4 | F4 E4 D4 E4 |
trombone 2 | D4 E4 F4 E4 | D4 C4 B3 C4 |
trombone 3 | A3 B3 C4 B3 | A3 G3 F3 G3 |
on the page:
trombone 1, bar 1, beat 1: dynamic mf
trombone 2, bar 1, beat 1: dynamic mf
trombone 3, bar 1, beat 1: dynamic mf
trombone 1, bar 2, beat 1: dynamic f
trombone 2, bar 2, beat 1: dynamic f
trombone 3, bar 1, beat 2: words cresc.
",
                but: "\
not on the page:
trombone 3, bar 1, beat 2: words cresc.
",
            },
        },
        Exception {
            says: "parts that are not together in the bar",
            silent: Silent::With("trumpet 3 | G4 -  F4 -  | E4 -  -  -  |"),
        },
    ],
};

/// The step of a dynamic that stays in force; accents such as sfz are none.
fn step(mark: &str) -> Option<usize> {
    let known = &known_words().dynamics;
    let mark = mark.trim();
    let mark = known.after_attack.get(mark).map_or(mark, |after| &**after);
    known.steps.iter().position(|s| **s == *mark)
}

/// A dynamic: since when, and its step.
type Step = (Ticks, usize);

/// A part's dynamics: steps by onset.
fn steps(part: &Part) -> Vec<(Ticks, usize)> {
    part.dynamics
        .iter()
        .filter_map(|m| Some((m.onset, step(&m.value)?)))
        .collect()
}

/// When a part begins to change its loudness by and by, in order.
fn changes(part: &Part) -> Vec<Ticks> {
    let known = &known_words().dynamics.changing;
    let changing = |text: &str| {
        let text = text.to_lowercase();
        let mut words = text.split(|c: char| !c.is_alphabetic());
        words.any(|w| known.iter().any(|k| w.starts_with(&**k)))
    };
    let words = part.words.iter().filter(|w| changing(&w.value.text));
    let pins = part.hairpins.iter().filter(|h| h.value != Hairpin::Stop);
    let mut all: Vec<Ticks> = words
        .map(|w| w.onset)
        .chain(pins.map(|h| h.onset))
        .collect();
    all.sort_unstable();
    all
}

/// A hairpin from its start to its end.
#[derive(Clone, Copy)]
struct Wedge {
    kind: Hairpin,
    from: Ticks,
    to: Ticks,
}

fn wedges(part: &Part) -> Vec<Wedge> {
    let mut open: Option<Wedge> = None;
    let mut found = Vec::new();
    for mark in &part.hairpins {
        if let Some(mut wedge) = open.take() {
            wedge.to = mark.onset;
            found.push(wedge);
        }
        if mark.value != Hairpin::Stop {
            open = Some(Wedge {
                kind: mark.value,
                from: mark.onset,
                to: mark.onset,
            });
        }
    }
    found.extend(open);
    found
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for (passage, together) in input.passages.iter().zip(input.together()) {
        if together.players.len() < 2 {
            continue;
        }
        let parts: Vec<Option<&Part>> = together
            .players
            .iter()
            .map(|p| input.score.parts.get(p.part as usize))
            .collect();
        let marks: Vec<Vec<(Ticks, usize)>> = parts
            .iter()
            .map(|p| p.map(steps).unwrap_or_default())
            .collect();
        let changes: Vec<Vec<Ticks>> = parts
            .iter()
            .map(|p| p.map(changes).unwrap_or_default())
            .collect();
        let pins: Vec<Vec<Wedge>> = parts
            .iter()
            .map(|p| p.map(wedges).unwrap_or_default())
            .collect();
        let mut odds = Vec::new();
        let mut reported: Vec<Option<(usize, usize)>> = vec![None; together.players.len()];
        for bar in 0..together.bars.len() {
            let marks = (&marks[..], &changes[..]);
            levels(input, together, marks, bar, &mut reported, &mut odds);
        }
        // A part without dynamics is never in `odds`, so nothing is systematic here.
        let comparison = MarkComparison {
            rule: &RULE,
            section: &passage.section,
            together,
            marks: "dynamics",
            has_any: vec![true; together.players.len()],
        };
        comparison.report(input, odds, out);
        let mut odds = Vec::new();
        for bar in 0..together.bars.len() {
            hairpins(input, together, &pins, bar, &mut odds);
        }
        let comparison = MarkComparison {
            rule: &RULE,
            section: &passage.section,
            together,
            marks: "hairpins",
            has_any: pins.iter().map(|w| !w.is_empty()).collect(),
        };
        comparison.report(input, odds, out);
    }
}

/// When a player's dynamics stand, and which they are.
type MarksOfPlayer = Vec<(Ticks, usize)>;

fn levels(
    input: &RuleInput<'_>,
    together: &Together,
    (marks, changes): (&[MarksOfPlayer], &[Vec<Ticks>]),
    bar: usize,
    reported: &mut [Option<(usize, usize)>],
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
    let beat = input.score.per_quarter;
    let in_force = |p: usize, onset: Ticks| -> Option<Step> {
        let list = marks.get(p)?;
        let n = list.partition_point(|(t, _)| *t <= onset);
        list.get(n.checked_sub(1)?).copied()
    };
    for attack in model.attacks_in(bar) {
        let onset = attack.onset;
        let stands = all.iter().filter_map(|&p| {
            let player = together.players.get(p)?;
            let (i, _) = player.at(bar, onset)?;
            let before = i.checked_sub(1).and_then(|i| player.attacks.get(i));
            let (since, own) = in_force(p, onset)?;
            let changes = changes.get(p).map_or(&[][..], Vec::as_slice);
            let next = changes.partition_point(|t| *t < since);
            Some(Standing {
                player: p,
                own,
                fresh: before.is_none_or(|b| since > b.onset),
                changing: changes.get(next).is_some_and(|t| *t < onset),
            })
        });
        // In the middle of a crescendo nobody can say how loud it is.
        let here = stands.clone().filter(|s| !s.changing);
        // Nearly everywhere all play on as before.
        if !here.clone().any(|s| s.fresh) {
            continue;
        }
        let values: Vec<usize> = here.clone().map(|s| s.own).collect();
        let (Some(wanted), true) = (most(&values), values.len() > 1) else {
            continue;
        };
        let agreed = Agreed {
            together,
            bar,
            onset,
            wanted,
            agree: here.clone().filter(|s| s.fresh && s.own == wanted).count(),
            all: values.len(),
        };
        let open = stands.filter(|s| s.changing);
        odds.extend(agreed.lacking(open, input.is_charted()));
        for standing in here.clone() {
            // A mark a little late, before the part's next note, is only drawn late.
            let late = in_force(standing.player, onset + beat).is_some_and(|f| f.1 == wanted);
            let Some(slot) = reported.get_mut(standing.player) else {
                continue;
            };
            if late || agreed.holds_for(&standing) {
                *slot = None;
            } else if *slot != Some((standing.own, wanted)) {
                *slot = Some((standing.own, wanted));
                odds.push(agreed.differing(&standing));
            }
        }
    }
}

/// What stands for one player at a time.
struct Standing {
    player: usize,
    /// The dynamic in force, as its step.
    own: usize,
    /// It stands here, not earlier.
    fresh: bool,
    /// A hairpin or words lead here.
    changing: bool,
}

/// The dynamic that most have at a time.
struct Agreed<'t> {
    together: &'t Together,
    bar: usize,
    onset: Ticks,
    wanted: usize,
    /// Those for whom it stands here.
    agree: usize,
    /// All who have a say.
    all: usize,
}

impl Agreed<'_> {
    /// Whether a player has it too, or leads a step louder. A lead that says nothing of its own is not
    /// meant to be louder.
    fn holds_for(&self, standing: &Standing) -> bool {
        let says = standing.fresh || self.agree < 2;
        standing.own == self.wanted
            || standing.player == 0 && standing.own == self.wanted + 1 && says
    }

    /// All others have a new dynamic, and one that a hairpin leads to has none.
    fn lacking(&self, mut open: impl Iterator<Item = Standing>, charted: bool) -> Option<Odd> {
        let one = open.next()?;
        let enough = self.agree > 2 || self.agree == 2 && charted;
        let lacks = enough && self.agree == self.all && open.next().is_none();
        lacks.then(|| self.odd(one.player, None))
    }

    fn differing(&self, standing: &Standing) -> Odd {
        let says = standing.fresh || self.agree < 2;
        let own = says.then_some(standing.own);
        let mut odd = self.odd(standing.player, own);
        if standing.fresh {
            odd.adds.clear();
        }
        odd
    }

    /// A player who has another dynamic, or none.
    fn odd(&self, player: usize, own: Option<usize>) -> Odd {
        let name = |s: usize| known_words().dynamics.steps.get(s).map(|step| &**step);
        let wanted = name(self.wanted);
        let note = self.together.note_at(player, self.bar, self.onset);
        let plain = self.agree > 1 && self.agree * 2 > self.all;
        let addition = note
            .zip(wanted)
            .filter(|_| plain)
            .map(|(note, name)| Addition {
                note,
                what: Added::Dynamic(name),
            });
        Odd {
            player,
            bar: self.bar,
            onset: self.onset,
            found: own
                .map_or("no dynamic", |s| name(s).unwrap_or("?"))
                .to_owned(),
            wanted: wanted.unwrap_or("?").to_owned(),
            level: Level::Warning,
            adds: addition.into_iter().collect(),
        }
    }
}

fn hairpins(
    input: &RuleInput<'_>,
    together: &Together,
    pins: &[Vec<Wedge>],
    bar: usize,
    odds: &mut Vec<Odd>,
) {
    let all = together.all(bar);
    let Some(start) = input.score.bars.get(bar).filter(|_| all.len() > 1) else {
        return;
    };
    let (from, to) = (start.start, start.start + start.length);
    let slack = input.score.per_quarter;
    let has = |p: usize, wedge: &Wedge| {
        pins.get(p).is_some_and(|list| {
            let first = list.partition_point(|w| w.to + slack < wedge.from);
            list.iter()
                .skip(first)
                .take_while(|w| w.from <= wedge.to + slack)
                .any(|w| w.kind == wedge.kind)
        })
    };
    let mut seen: Vec<Wedge> = Vec::new();
    for &p in &all {
        let Some(list) = pins.get(p) else { continue };
        let first = list.partition_point(|w| w.from < from);
        for wedge in list.iter().skip(first).take_while(|w| w.from < to) {
            let known = seen
                .iter()
                .any(|s| s.kind == wedge.kind && wedge.from <= s.to + slack);
            if known {
                continue;
            }
            seen.push(*wedge);
            // Who rests meanwhile has no say.
            let playing = playing_in(together, &all, wedge);
            let values: Vec<bool> = playing.iter().map(|&p| has(p, wedge)).collect();
            let (Some(wanted), true) = (most(&values), playing.len() > 1) else {
                continue;
            };
            for (&odd, _) in playing.iter().zip(&values).filter(|(_, v)| **v != wanted) {
                let Some(player) = together.players.get(odd) else {
                    continue;
                };
                if player.last_before(wedge.to).is_none() {
                    continue;
                }
                let name = match wedge.kind {
                    Hairpin::Diminuendo => "diminuendo hairpin",
                    _ => "crescendo hairpin",
                };
                let words = |has: bool| format!("{} {name}", if has { "a" } else { "no" });
                let votes = values.iter().filter(|v| **v).count();
                let plain = wanted && votes > 1 && votes * 2 > values.len();
                odds.push(Odd {
                    player: odd,
                    bar,
                    onset: wedge.from,
                    found: words(!wanted),
                    wanted: words(wanted),
                    level: Level::Warning,
                    adds: plain
                        .then(|| whole_hairpin(input, player, wedge))
                        .flatten()
                        .map_or(Vec::new(), |both| both.to_vec()),
                });
            }
        }
    }
}

/// Both ends of a hairpin for a player who has notes that begin and end where it does.
fn whole_hairpin(input: &RuleInput<'_>, player: &Player, wedge: &Wedge) -> Option<[Addition; 2]> {
    let notes = &input.score.parts.get(player.part as usize)?.notes;
    let from = notes.partition_point(|n| n.onset < wedge.from);
    let here = (from..).zip(notes.iter().skip(from));
    let mut here = here
        .take_while(|(_, n)| n.onset < wedge.to)
        .filter(|(_, n)| n.sounds());
    let (first, _) = here.clone().next().filter(|(_, n)| n.onset == wedge.from)?;
    let (last, _) = here.find(|(_, n)| n.end() == wedge.to)?;
    let add = |index: usize, what| {
        let note = u32::try_from(index).ok()?;
        let part = player.part;
        Some(Addition {
            note: NoteRef { part, note },
            what,
        })
    };
    Some([
        add(first, Added::HairpinStart(wedge.kind))?,
        add(last, Added::HairpinStop)?,
    ])
}

/// Those who play for at least half as much of a hairpin as any other.
fn playing_in(together: &Together, all: &[usize], wedge: &Wedge) -> Players {
    let sounding = |p: usize| -> i64 {
        let attacks = together.players.get(p).map_or(&[][..], |p| &p.attacks);
        let from = attacks.partition_point(|a| a.end <= wedge.from);
        let here = attacks.iter().skip(from);
        here.take_while(|a| a.onset < wedge.to)
            .map(|a| (a.end.min(wedge.to) - a.onset.max(wedge.from)).0)
            .sum()
    };
    let most = all.iter().map(|&p| sounding(p)).max().unwrap_or_default();
    let players = all.iter().copied();
    players.filter(|&p| sounding(p) * 2 >= most).collect()
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::whole::pages::{places, said, score};

    const RULE: &str = "dynamic-agreement";

    fn trumpets(third: &str) -> crate::score::Score {
        let other = "dyn-f C5:2 D5:2 E5:2 F5:2";
        let bars = |b: &str| [b.to_owned(), "C5:4 C5:4".to_owned()];
        let (a, b) = (bars(other), bars(third));
        let a: Vec<&str> = a.iter().map(String::as_str).collect();
        let b: Vec<&str> = b.iter().map(String::as_str).collect();
        score(&[
            ("Trumpet 1", &a),
            ("Trumpet 2", &a),
            ("Trumpet 3", &b),
            ("Trumpet 4", &a),
        ])
    }

    #[test]
    fn another_dynamic_in_one_part_is_told() {
        // Trade notes, F22: trumpet 3 mf, the others f.
        let wrong = trumpets("dyn-mf C5:2 D5:2 E5:2 F5:2");
        assert_eq!(places(&wrong, RULE), ["1 1: Trumpet 3"]);
        let message = &said(&wrong, RULE)[0].message;
        assert!(
            message.contains("mf on 1 where the section has f"),
            "{message}"
        );
        assert!(places(&trumpets("dyn-f C5:2 D5:2 E5:2 F5:2"), RULE).is_empty());
    }

    #[test]
    fn a_lead_one_step_louder_is_meant() {
        let lead = "dyn-f C5:2 D5:2 E5:2 F5:2";
        let rest = "dyn-mf C5:2 D5:2 E5:2 F5:2";
        let bars = |b: &'static str| [b];
        let (l, r) = (bars(lead), bars(rest));
        let all = score(&[("Trumpet 1", &l), ("Trumpet 2", &r), ("Trumpet 3", &r)]);
        assert!(places(&all, RULE).is_empty());
    }

    // The trade notes' F22: a dynamic that one part lacks, where a hairpin leads.
    #[test]
    fn a_dynamic_after_a_hairpin_is_missed_where_all_others_have_one() {
        let before = "dyn-p wedge-crescendo C5:2 D5:2 E5:2 F5:2 wedge-stop";
        let with = [before, "dyn-f C5:4 C5:4"];
        let without = [before, "C5:4 C5:4"];
        let all = |third: &[&str]| {
            score(&[
                ("Trumpet 1", &with),
                ("Trumpet 2", &with),
                ("Trumpet 3", third),
                ("Trumpet 4", &with),
            ])
        };
        assert!(places(&all(&with), RULE).is_empty());
        assert_eq!(places(&all(&without), RULE), ["2 1: Trumpet 3"]);
        let message = &said(&all(&without), RULE)[0].message;
        assert!(message.contains("no dynamic on 1"), "{message}");
    }

    #[test]
    fn a_hairpin_that_one_part_lacks_is_told() {
        let with = "dyn-f wedge-crescendo C5:2 D5:2 E5:2 F5:2 wedge-stop";
        let without = "dyn-f C5:2 D5:2 E5:2 F5:2";
        let (w, o) = ([with], [without]);
        let wrong = score(&[("Trumpet 1", &w), ("Trumpet 2", &w), ("Trumpet 3", &o)]);
        assert_eq!(places(&wrong, RULE), ["1 1: Trumpet 3"]);
    }
}
