//! Marks that players of a section have to have alike, and what is said where one differs.

use super::together::Together;
use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::rules::diagnosed::DiagnosedScore;
use crate::rules::rule::Rule;
use crate::rules::shared::wording;
use crate::score::{Addition, NoteRef};
use crate::sonority::Section;

/// One player's mark that is not the section's, at one attack.
pub struct Odd {
    pub player: usize,
    pub bar: usize,
    pub onset: Ticks,
    /// What the player has, in words: "no accent".
    pub found: String,
    /// What the section has.
    pub wanted: String,
    pub level: Level,
    /// The marks that the player lacks, where most have them and the file can be given them.
    pub adds: Vec<Addition>,
}

impl Odd {
    /// " on 3"; a slur says itself where it starts.
    fn on(&self, beat: &str) -> String {
        if self.found.contains(" from ") {
            String::new()
        } else {
            format!(" on {beat}")
        }
    }

    /// What the player is asked to do: "add an accent on 3".
    fn asked(&self, beat: &str) -> String {
        let (found, wanted, on) = (&self.found, &self.wanted, self.on(beat));
        if wanted.starts_with("no ") {
            format!("take away {found}{on}")
        } else if found.starts_with("no ") {
            format!("add {wanted}{on}")
        } else {
            format!("write {wanted} instead of {found}{on}")
        }
    }
}

/// A part that differs in more bars than this, and never has such marks (or alone has them), is reported
/// once.
const OFTEN: usize = 2;

/// The marks of one kind in a section, as they are compared.
pub struct MarkComparison<'a> {
    /// The rule that compares them.
    pub rule: &'static Rule,
    pub section: &'a Section,
    pub together: &'a Together,
    /// The marks by name: "slurs".
    pub marks: &'static str,
    /// For each player, whether they have such marks anywhere.
    pub has_any: Vec<bool>,
}

/// Bars no further from each other than this are one stretch.
const NEAR: usize = 4;

/// So many bars of a stretch are told one by one.
const FEW_PLACES: usize = 4;

/// Whether players lack marks that the section has, or have marks that it lacks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Lacks {
    Marks,
    Nothing,
    Other,
}

impl Lacks {
    fn of(odds: &[&Odd]) -> Self {
        if odds.iter().all(|o| o.found.starts_with("no ")) {
            Self::Marks
        } else if odds.iter().all(|o| o.wanted.starts_with("no ")) {
            Self::Nothing
        } else {
            Self::Other
        }
    }
}

/// Bars near each other in which the same players differ alike.
struct Stretch<'o> {
    group: Vec<usize>,
    lacks: Lacks,
    last_bar: usize,
    /// What is odd in each bar.
    bars: Vec<Vec<&'o Odd>>,
    /// What to add in each bar, where the file can be given it.
    adds: Vec<Option<Vec<Addition>>>,
}

/// Players of one bar, what is odd about each of them, and what to add in each.
type Alike<'o> = (Vec<usize>, Vec<&'o Odd>, Vec<Vec<Addition>>);

/// The players of one bar by what is odd about them.
fn alike(odds: &[Odd]) -> Vec<Alike<'_>> {
    let mut players: Vec<usize> = odds.iter().map(|o| o.player).collect();
    players.sort_unstable();
    players.dedup();
    let mut groups: Vec<Alike<'_>> = Vec::new();
    for p in players {
        let own: Vec<&Odd> = odds.iter().filter(|o| o.player == p).collect();
        let same = |list: &[&Odd]| {
            list.len() == own.len()
                && list
                    .iter()
                    .zip(&own)
                    .all(|(a, b)| a.onset == b.onset && a.found == b.found && a.wanted == b.wanted)
        };
        let own_adds = own.iter().flat_map(|o| o.adds.clone()).collect();
        if let Some((group, _, adds)) = groups.iter_mut().find(|(_, list, _)| same(list)) {
            group.push(p);
            adds.push(own_adds);
        } else {
            groups.push((vec![p], own, vec![own_adds]));
        }
    }
    groups
}

impl MarkComparison<'_> {
    /// One finding for each bar and set of players that differ alike; one for a part without any such
    /// marks.
    pub fn report(&self, diagnosed: &DiagnosedScore<'_>, odds: Vec<Odd>, out: &mut Vec<Finding>) {
        let mut rest: Vec<Odd> = Vec::new();
        let mut by_player: Vec<Vec<Odd>> = self.has_any.iter().map(|_| Vec::new()).collect();
        for odd in odds {
            if let Some(list) = by_player.get_mut(odd.player) {
                list.push(odd);
            }
        }
        for (p, list) in by_player.into_iter().enumerate() {
            let mut bars: Vec<usize> = list.iter().map(|o| o.bar).collect();
            bars.dedup();
            let has_any = self.has_any.get(p).is_some_and(|has| *has);
            let others = self.has_any.iter().enumerate().filter(|(o, _)| *o != p);
            let alone = has_any && !others.into_iter().any(|(_, has)| *has);
            if bars.len() <= OFTEN || has_any && !alone {
                rest.extend(list);
            } else if let Some(first) = list.first() {
                out.push(self.throughout(diagnosed, first, bars.len(), alone));
            }
        }
        rest.sort_by_key(|o| (o.bar, o.onset, o.player));
        let mut stretches: Vec<Stretch<'_>> = Vec::new();
        for in_bar in rest.chunk_by(|a, b| a.bar == b.bar) {
            for (group, odds, adds) in alike(in_bar) {
                // All of a bar's marks, or none.
                let whole = odds.iter().all(|o| !o.adds.is_empty());
                let adds = whole.then(|| adds.concat());
                let lacks = Lacks::of(&odds);
                let bar = odds.first().map_or(0, |o| o.bar);
                let goes_on = stretches.iter_mut().find(|s| {
                    s.group == group
                        && s.lacks == lacks
                        && lacks != Lacks::Other
                        && bar.saturating_sub(s.last_bar) <= NEAR
                });
                match goes_on {
                    Some(stretch) => {
                        stretch.last_bar = bar;
                        stretch.bars.push(odds);
                        stretch.adds.push(adds);
                    }
                    None => stretches.push(Stretch {
                        group,
                        lacks,
                        last_bar: bar,
                        bars: vec![odds],
                        adds: vec![adds],
                    }),
                }
            }
        }
        for stretch in stretches {
            out.extend(self.of_stretch(diagnosed, &stretch));
        }
    }

    /// A player without any such marks, or the only one who has them.
    fn throughout(
        &self,
        diagnosed: &DiagnosedScore<'_>,
        first: &Odd,
        bars: usize,
        alone: bool,
    ) -> Finding {
        let marks = self.marks;
        let group = [first.player];
        let name = self.together.names(diagnosed.score, &group);
        let others = self.others(diagnosed, first.bar, &group);
        if alone {
            let message = format!(
                "only {name} carries {marks}; {others} have none, in {bars} bars where they move together"
            );
            self.finding(diagnosed, &group, first, message)
                .level(Level::Note)
                .instead(format!("copy {name}'s {marks} to the other parts"))
        } else {
            let message = format!(
                "{name} carries no {marks} at all; the section has them, in {bars} bars where they move together, here for the first time"
            );
            self.finding(diagnosed, &group, first, message)
                .instead(format!("{name}: copy the {marks} of {others}"))
        }
    }

    /// The names of the others who are together in a bar.
    fn others(&self, diagnosed: &DiagnosedScore<'_>, bar: usize, group: &[usize]) -> String {
        let mut others = self.together.all(bar);
        others.retain(|p| !group.contains(p));
        self.together.names(diagnosed.score, &others)
    }

    /// The same players who lack marks bar after bar are one finding, with its places.
    fn of_stretch(&self, diagnosed: &DiagnosedScore<'_>, stretch: &Stretch<'_>) -> Option<Finding> {
        let list = stretch.bars.first()?;
        let first = list.first()?;
        let group = &stretch.group;
        let names = self.together.names(diagnosed.score, group);
        let others = self.others(diagnosed, first.bar, group);
        // Of two parts neither is the section.
        let whom = if self.together.all(first.bar).len() > 2 {
            "the section"
        } else {
            &others
        };
        let clauses: Vec<String> = list
            .iter()
            .map(|o| {
                let beat = diagnosed.beat_of(o.onset);
                let on = o.on(&beat);
                format!("{}{on} where {whom} has {}", o.found, o.wanted)
            })
            .collect();
        let asked = |odds: &[&Odd]| {
            let each = odds.iter().map(|o| o.asked(&diagnosed.beat_of(o.onset)));
            wording::join(&each.collect::<Vec<String>>())
        };
        let has = if group.len() > 1 { "have" } else { "has" };
        let mut message = format!("{names} {has} {}", wording::join(&clauses));
        let mut instead = format!("{names}: {}, as in {others}", asked(list));
        let more = stretch.bars.get(1..).unwrap_or_default();
        let number = |odds: &Vec<&Odd>| {
            let bar = odds.first().map_or(0, |o| o.bar);
            diagnosed
                .score
                .bar_number(u32::try_from(bar).unwrap_or(u32::MAX))
        };
        if !more.is_empty() {
            let bars: Vec<String> = more.iter().map(number).collect();
            let word = if bars.len() > 1 { "bars" } else { "bar" };
            message = format!("{message}; the same in {word} {}", wording::join(&bars));
            let first_bar = number(list);
            let each = more.iter().take(FEW_PLACES);
            let each = each.map(|odds| format!("in bar {} {}", number(odds), asked(odds)));
            let rest = more.len().saturating_sub(FEW_PLACES);
            let rest = (rest > 0).then(|| format!("so on in {rest} more bars"));
            let each: Vec<String> = each.chain(rest).collect();
            instead = format!(
                "{names}: in bar {first_bar} {}; {}; as in {others}",
                asked(list),
                each.join("; ")
            );
        }
        let mut finding = self
            .finding(diagnosed, group, first, message)
            .instead(instead);
        for odds in more {
            if let Some(odd) = odds.first() {
                let notes = self.finding(diagnosed, group, odd, String::new()).notes;
                finding.notes.extend(notes);
                finding.level = finding.level.max(odd.level);
            }
        }
        // All of them, or the finding stays.
        if let Some(adds) = stretch.adds.iter().cloned().collect::<Option<Vec<_>>>() {
            finding = finding.may_add(adds.concat());
        }
        Some(finding)
    }

    fn finding(
        &self,
        diagnosed: &DiagnosedScore<'_>,
        group: &[usize],
        first: &Odd,
        message: String,
    ) -> Finding {
        let players = self.together.of_index(group);
        let notes = players.iter().filter_map(|p| {
            let struck = p.at(first.bar, first.onset).map(|(_, attack)| attack);
            let attack = struck.or_else(|| p.last_before(first.onset))?;
            Some(NoteRef {
                part: p.part,
                note: attack.note,
            })
        });
        self.rule
            .finding(diagnosed.score.place_of(first.onset), message)
            .level(first.level)
            .section(&self.section.name)
            .parts(players.iter().map(|p| p.part))
            .at_notes(notes, 0, &format!("section: {}", first.wanted))
    }
}

#[cfg(test)]
mod tests {
    use crate::rules::shared::whole::pages::{places, said, score};

    #[test]
    fn the_same_missing_marks_through_a_stretch_are_one_finding_with_its_places() {
        let lead = "C5:2:accent D5:2 E5:2:staccato F5:2";
        let bare = "C5:2 D5:2 E5:2 F5:2";
        let whole = [lead, lead, lead, lead];
        let lacks = [lead, bare, bare, bare];
        let wrong = score(&[
            ("Trombone 1", &whole[..]),
            ("Trombone 2", &whole[..]),
            ("Trombone 3", &lacks[..]),
        ]);
        let rule = "articulation-agreement";
        assert_eq!(places(&wrong, rule), ["2 1: Trombone 3"]);
        let found = said(&wrong, rule);
        assert!(
            found[0].message.ends_with("the same in bars 3 and 4"),
            "{}",
            found[0].message
        );
        let suggestion = found[0].suggestion.clone().unwrap();
        assert!(
            suggestion.starts_with("Trombone 3: in bar 2 add an accent on 1"),
            "{suggestion}"
        );
        assert!(
            suggestion.ends_with("as in Trombone 1 and Trombone 2"),
            "{suggestion}"
        );
        assert!(found[0].fix.as_ref().is_some_and(|f| f.edits.is_some()));
    }
}
