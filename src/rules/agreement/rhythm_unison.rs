//! `rhythm-unison`: a section that moves together attacks and releases together. Common practice,
//! no source.

use crate::diagnosis::Passage;
use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::together::{Company, Player, Together, most};
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::score::{Articulations, NoteFlags};
use crate::sonority::Section;
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "rhythm-unison",
    group: Group::Agreement,
    asks: "Parts that move together have the same rhythm: the same attacks, the same ties, the same length at the end of a phrase (a note where as many parts have the one rhythm as the other).",
    why: "One player who re-attacks, holds over or lets go at another time than the section is heard at once, and the rehearsal stops to ask whose part is right.",
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[Setting {
        name: "together",
        about: "how many of the attacks in a bar have to match for parts to count as together, in per cent",
        default: 80.0,
    }],
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

chord   | Bb6 -   -   -   -   | F7  -   -   |
count   | 1   2   3   &   4   | 1   2   3   |
alto 1  | D5  F5  D5  -   F5  | Eb5 F5  Eb5 |
alto 2  | Bb4 D5  Bb4 -   D5  | C5  Eb5 C5  |
tenor 1 | G4  Bb4 G4  -   Bb4 | A4  C5  A4  |
tenor 2 | F4  G4  F4  F4  G4  | F4  A4  F4  |
                      ^^ not with the section
suggestion: tenor 2: take the section's rhythm, attacks on 1, 2, 3 and 4
",
        right: "\
chord   | Bb6 -   -   -   | F7  -   -   |
count   | 1   2   3   4   | 1   2   3   |
alto 1  | D5  F5  D5  F5  | Eb5 F5  Eb5 |
alto 2  | Bb4 D5  Bb4 D5  | C5  Eb5 C5  |
tenor 1 | G4  Bb4 G4  Bb4 | A4  C5  A4  |
tenor 2 | F4  G4  F4  G4  | F4  A4  F4  |
",
    }],
    exceptions: &[
        Exception {
            says: "parts with a line of their own: fewer than 80 % of their attacks in the bar match",
            silent: Silent::With("tenor 2 | F4  -   F4  G4  -   | F4  -   F4  |"),
        },
        Exception {
            says: "parts that often differ in the bars around",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

count      | 1  2  3   4  &  | 1  2  3   4  &  | 1  2  3   4  &  | 1  2  3  4 & |
trombone 1 | A3 C4 D4  C4 -  | A3 G3 Bb3 A3 -  | F3 A3 Bb3 C4 -  | A3 C4 A3 - - |
trombone 2 | F3 A3 Bb3 A3 -  | F3 E3 G3  F3 -  | D3 F3 G3  A3 -  | F3 A3 F3 - - |
trombone 3 | F2 C3 F2  C3 D3 | F2 C3 C3  F2 E2 | D3 D3 G2  C3 C3 | F2 C3 F2 - - |
",
                but: "trombone 3 | F2 C3 F2  C3 D3 | F2 C3 C3  F2 -  | D3 D3 G2  C3 -  | F2 C3 F2 - - |",
            },
        },
        Exception {
            says: "the attacks of a choir, where passing notes are each voice's own; its releases count",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: voices
parts: soprano = soprano
       alto = alto
       tenor = tenor
       baritone = baritone

count    | 1  2  3   &  4   | 1  3 |
soprano  | D5 E5 D5  -  C5  | B4 . |
alto     | G4 G4 A4  G4 F#4 | G4 . |
tenor    | B3 C4 A3  -  D4  | D4 . |
baritone | G3 C3 F#3 -  D3  | G3 . |
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
            says: "bars written in slashes",
            silent: Silent::With(
                "\
on the page:
tenor 2, bar 1: slashes
",
            ),
        },
        Exception {
            says: "cue notes",
            silent: Silent::With(
                "\
on the page:
tenor 2, bar 1, beat 3-and: cue note
",
            ),
        },
        Exception {
            says: "grace notes",
            silent: Silent::With(
                "\
on the page:
tenor 2, bar 1, beat 3-and: grace note
",
            ),
        },
        Exception {
            says: "the length of a note that falls off",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1   2  3   4  | 1   2 3 4 |
trumpet 1 | D5  F5 G5  F5 | G5  - - . |
trumpet 2 | Bb4 D5 D5  D5 | D5  - - . |
trumpet 3 | G4  F4 Bb4 A4 | Bb4 . . . |
on the page:
trumpet 1, bar 2, beat 1: fall
trumpet 2, bar 2, beat 1: fall
trumpet 3, bar 2, beat 1: fall
",
                but: "\
not on the page:
trumpet 1, bar 2, beat 1: fall
trumpet 2, bar 2, beat 1: fall
trumpet 3, bar 2, beat 1: fall
",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for (passage, together) in input.passages.iter().zip(input.together()) {
        for bar in 0..together.bars.len() {
            if !passage.section.is_choir() {
                attacks(input, passage, together, bar, out);
            }
            releases(input, &passage.section, together, bar, out);
        }
    }
}

/// When a player strikes in a bar.
fn onsets(together: &Together, player: usize, bar: usize) -> Vec<Ticks> {
    let player = together.players.get(player);
    let attacks = player.map_or(&[][..], |p| p.attacks_in(bar));
    attacks.iter().map(|a| a.onset).collect()
}

/// Players who have the same other rhythm in a bar.
struct OtherRhythm {
    /// Their attacks.
    onsets: Vec<Ticks>,
    /// A change of chord under the lead on which they rest.
    rests_on: Option<Ticks>,
    players: Vec<usize>,
}

/// A bar of a section that is together, and the rhythm its players should have.
struct SectionBar<'a, 'r> {
    input: &'a RuleInput<'r>,
    passage: &'a Passage,
    together: &'a Together,
    company: &'a Company,
    bar: usize,
    /// The attacks of those who are with the section.
    model: Vec<Ticks>,
}

/// One finding for all that have the same other rhythm.
fn attacks(
    input: &RuleInput<'_>,
    passage: &Passage,
    together: &Together,
    bar: usize,
    out: &mut Vec<Finding>,
) {
    let Some(company) = together.bars.get(bar).filter(|c| !c.off.is_empty()) else {
        return;
    };
    let Some(model) = company.with.first() else {
        return;
    };
    let here = SectionBar {
        input,
        passage,
        together,
        company,
        bar,
        model: onsets(together, *model, bar),
    };
    out.extend(here.others().iter().filter_map(|o| here.finding(o)));
}

impl SectionBar<'_, '_> {
    /// Where the chord changes under a held lead, each voice strikes that has to move; the others hold.
    fn is_free(&self, onset: Ticks) -> bool {
        self.passage
            .changes_under_held_lead(self.input.score, onset)
    }

    /// Those who have not the model's rhythm, or rest where the chord changes.
    fn others(&self) -> Vec<OtherRhythm> {
        let all = self.together.all(self.bar);
        let rhythm = |p: usize| onsets(self.together, p, self.bar);
        let mut changes: Vec<Ticks> = all.iter().flat_map(|&p| rhythm(p)).collect();
        changes.retain(|t| self.is_free(*t));
        changes.sort_unstable();
        let sounds_on = |p: usize, t: Ticks| {
            let last = self.together.players.get(p).and_then(|p| p.last_before(t));
            last.is_some_and(|a| a.end > t)
        };
        let mut others: Vec<OtherRhythm> = Vec::new();
        for p in all {
            let rests_on = changes.iter().find(|t| !sounds_on(p, **t)).copied();
            if rests_on.is_none() && self.company.with.contains(&p) {
                continue;
            }
            let onsets = rhythm(p);
            let mut known = others.iter_mut();
            match known.find(|o| o.onsets == onsets && o.rests_on == rests_on) {
                Some(other) => other.players.push(p),
                None => others.push(OtherRhythm {
                    onsets,
                    rests_on,
                    players: vec![p],
                }),
            }
        }
        others
    }

    /// Whether a player only comes in later than the section or leaves earlier, after or before a bar of rest:
    /// a second player doubles a part of the phrase.
    fn is_tacet(&self, player: usize) -> bool {
        let own = onsets(self.together, player, self.bar);
        let (Some(first), Some(last)) = (own.first(), own.last()) else {
            return true;
        };
        let rests = |bar: Option<usize>| {
            bar.is_none_or(|bar| onsets(self.together, player, bar).is_empty())
        };
        let inside = |t: &&Ticks| first <= *t && *t <= last;
        let same = own.iter().eq(self.model.iter().filter(inside));
        let late = self.model.first().is_some_and(|t| t < first);
        let early = self.model.last().is_some_and(|t| t > last);
        same && (late || early)
            && (!late || rests(self.bar.checked_sub(1)))
            && (!early || rests(self.bar.checked_add(1)))
    }

    fn beats(&self, onsets: &[Ticks]) -> String {
        let each: Vec<String> = onsets.iter().map(|t| self.input.beat_of(*t)).collect();
        wording::join(&each)
    }

    fn finding(&self, other: &OtherRhythm) -> Option<Finding> {
        let counts = |t: &&Ticks| !self.is_free(**t);
        let (own, model) = (&other.onsets, &self.model);
        let extra = own.iter().filter(counts).find(|t| !model.contains(t));
        let missing = model.iter().filter(counts).find(|t| !own.contains(t));
        let each = [extra, missing, other.rests_on.as_ref()];
        let first = each.into_iter().flatten().min().copied()?;
        let rests = other.rests_on == Some(first);
        let score = self.input.score;
        let models = self.together.names(score, &self.company.with);
        let tied = |players: &[usize]| is_tied_at(self.input, self.together, players, first);
        let several = other.players.len() > 1;
        let verb = |one: &'static str, many: &'static str| if several { many } else { one };
        let on = self.input.beat_of(first);
        let differs = if rests {
            let rests = verb("rests", "rest");
            format!("{rests} on {on}, where the section goes with the chord under the lead")
        } else if extra == Some(&first) && tied(&self.company.with) {
            let strikes = verb("strikes", "strike");
            format!("{strikes} again on {on} where {models} hold the note over")
        } else if missing == Some(&first) && tied(&other.players) {
            let holds = verb("holds", "hold");
            format!("{holds} the note over on {on} where {models} strike again")
        } else {
            let strikes = verb("strikes", "strike");
            format!(
                "{strikes} on {}; {models} on {}",
                self.beats(own),
                self.beats(model)
            )
        };
        // The same number of notes on other beats, against two parts or more, is a slip of the pen;
        // more or fewer notes may be meant.
        let same = own.len() == model.len() && other.rests_on.is_none();
        // Against as many or more neither is the section.
        let level = if self.company.with.len() <= other.players.len()
            || other.players.iter().all(|p| self.is_tacet(*p))
        {
            Level::Note
        } else if same && self.company.with.len() > other.players.len().max(1) {
            Level::Error
        } else {
            Level::Warning
        };
        let names = self.together.names(score, &other.players);
        let section = &self.passage.section;
        Some(
            differing(
                self.input,
                section,
                &self.together.of_index(&other.players),
                first,
                format!("{names} {differs}"),
            )
            .level(level)
            .instead(if rests {
                format!("{names}: hold on, or move with the chord")
            } else {
                let model = self.beats(model);
                format!("{names}: take the section's rhythm, attacks on {model}")
            }),
        )
    }
}

/// Whether one of the players has a note tied into this moment.
fn is_tied_at(input: &RuleInput<'_>, together: &Together, players: &[usize], onset: Ticks) -> bool {
    players
        .iter()
        .filter_map(|&p| together.players.get(p))
        .filter_map(|p| input.score.parts.get(p.part as usize))
        .any(|part| {
            let from = part.notes.partition_point(|n| n.onset < onset);
            part.notes
                .iter()
                .skip(from)
                .take_while(|n| n.onset == onset)
                .any(|n| n.flags.has(NoteFlags::TIED_IN))
        })
}

/// Ends of phrases: struck together, let go at different times.
fn releases(
    input: &RuleInput<'_>,
    section: &Section,
    together: &Together,
    bar: usize,
    out: &mut Vec<Finding>,
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
    let eighth = Ticks(input.score.per_quarter.0 / 2);
    for attack in model.attacks_in(bar) {
        // No phrase ends where the model plays on.
        let goes_on = model
            .last_before(attack.end)
            .is_some_and(|next| next.onset > attack.onset);
        if goes_on && !attack.marks.has(Articulations::FALL) {
            continue;
        }
        let here: SmallVec<[(usize, Ticks, Option<Ticks>); 6]> = all
            .iter()
            .filter_map(|&p| {
                let player = together.players.get(p)?;
                let (i, own) = player.at(bar, attack.onset)?;
                (!own.marks.has(Articulations::FALL))
                    .then(|| (p, own.end, player.attacks.get(i + 1).map(|n| n.onset)))
            })
            .collect();
        let ends: SmallVec<[Ticks; 6]> = here.iter().map(|h| h.1).collect();
        let (Some(end), true) = (most(&ends), here.len() > 1) else {
            continue;
        };
        // All who rest next: the end of a phrase for everyone, only not at the same time.
        let rests = |h: &(usize, Ticks, Option<Ticks>)| h.2.is_none_or(|next| next > h.1);
        let latest = ends.iter().max().copied().unwrap_or(end);
        let ends_phrase = here
            .iter()
            .all(|h| rests(h) && h.2.is_none_or(|next| next >= latest));
        if !ends_phrase {
            continue;
        }
        let mut odd: Vec<(Ticks, Vec<usize>)> = Vec::new();
        for (p, own, _) in &here {
            if (own.0 - end.0).abs() <= eighth.0 {
                continue;
            }
            match odd.iter_mut().find(|(e, _)| e == own) {
                Some((_, players)) => players.push(*p),
                None => odd.push((*own, vec![*p])),
            }
        }
        for (own, players) in odd {
            let names = together.names(input.score, &players);
            let models: Vec<usize> = here.iter().filter(|h| h.1 == end).map(|h| h.0).collect();
            let level = if models.len() > players.len() {
                Level::Warning
            } else {
                Level::Note
            };
            let models = together.names(input.score, &models);
            let (longer, verb) = match (own > end, players.len() > 1) {
                (true, false) => ("longer", "holds"),
                (true, true) => ("longer", "hold"),
                (false, false) => ("shorter", "lets go"),
                (false, true) => ("shorter", "let go"),
            };
            let message = format!(
                "{names} {verb} the last note of the phrase {longer} than {models}: until {}, the section until {}",
                until(input, own),
                until(input, end)
            );
            let players = together.of_index(&players);
            out.push(
                differing(input, section, &players, attack.onset, message)
                    .level(level)
                    .instead(format!(
                        "{names}: let go with the section, on {}",
                        until(input, end)
                    )),
            );
        }
    }
}

/// "beat 4 of bar 7".
fn until(input: &RuleInput<'_>, end: Ticks) -> String {
    let at = input.score.place_of(end);
    format!(
        "beat {} of bar {}",
        input.score.beat_at(at),
        input.score.bar_number(at.bar)
    )
}

/// A finding about players who are not with their section at a time.
fn differing(
    input: &RuleInput<'_>,
    section: &Section,
    players: &[&Player],
    onset: Ticks,
    message: String,
) -> Finding {
    let notes = players.iter().filter_map(|p| {
        Some(NoteRef {
            part: p.part,
            note: p.last_before(onset)?.note,
        })
    });
    RULE.finding(input.score.place_of(onset), message)
        .section(&section.name)
        .parts(players.iter().map(|p| p.part))
        .at_notes(notes, 0, "not with the section")
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::whole::pages::{places, said, score};

    const RULE: &str = "rhythm-unison";

    fn trombones(last: &[&str]) -> crate::score::Score {
        let bars: &[&str] = &["C4:2 D4:2 E4:2 F4:2", "C4:2:tie", "C4:6:tied r:2"];
        let full: &[&str] = &[bars[0], "C4:2 D4:2 E4:4:tie", "E4:2:tied C4:2 r:4"];
        score(&[
            ("Trombone 1", full),
            ("Trombone 2", full),
            ("Trombone 3", full),
            ("Trombone 4", last),
        ])
    }

    #[test]
    fn attacks_ties_and_releases_agree() {
        let right = [
            "C3:2 D3:2 E3:2 F3:2",
            "C3:2 D3:2 E3:4:tie",
            "E3:2:tied C3:2 r:4",
        ];
        assert!(places(&trombones(&right), RULE).is_empty());
        // Trade notes, F18: two eighths where the section has a quarter.
        let split = ["C3:2 D3:2 E3:1 E3:1 F3:2", right[1], right[2]];
        assert_eq!(places(&trombones(&split), RULE), ["1 3-and: Trombone 4"]);
        let struck = [right[0], "C3:2 D3:2 E3:4", "E3:2 C3:2 r:4"];
        let wrong = trombones(&struck);
        assert_eq!(places(&wrong, RULE), ["3 1: Trombone 4"]);
        assert!(said(&wrong, RULE)[0].message.contains("strikes again"));
        let held = [right[0], right[1], "E3:2:tied C3:6"];
        assert_eq!(places(&trombones(&held), RULE), ["3 2: Trombone 4"]);
    }

    #[test]
    fn a_part_with_its_own_line_is_left_alone() {
        let own = ["C3:4 D3:4", "C3:1 D3:1 E3:1 F3:1 C3:4", "E3:8"];
        assert!(places(&trombones(&own), RULE).is_empty());
    }
}
