//! `rhythm-unison`: a section that moves together attacks and releases together. Common practice,
//! no source.

use crate::diagnosis::Passage;
use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::together::{Attack, Company, Divided, Player, Together, most};
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::score::{Articulations, NoteFlags};
use crate::sonority::Section;
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "rhythm-unison",
    group: Group::Agreement,
    asks: "Parts that move together have the same rhythm: the same attacks, the same ties, the same lengths. In a choir it is a note, and where as many parts have the one rhythm as the other.",
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
        let lengths = Lengths::of(together, Ticks(input.score.per_quarter.0 / 2));
        for bar in 0..together.bars.len() {
            attacks(input, passage, together, bar, out);
            releases(input, passage, together, &lengths, bar, out);
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
    let others = here.others();
    let told = others.iter().filter(|o| {
        !passage.section.is_choir() || o.players.iter().all(|p| here.divided(*p).is_some())
    });
    out.extend(told.filter_map(|o| here.finding(o)));
}

impl SectionBar<'_, '_> {
    /// Where the chord changes under a held lead, each voice strikes that has to move; the others hold.
    fn is_free(&self, onset: Ticks) -> bool {
        self.passage
            .changes_under_held_lead(self.input.score, onset)
    }

    /// How a player differs from the section within a beat.
    fn divided(&self, player: usize) -> Option<Divided> {
        let model = *self.company.with.first()?;
        self.together.divided(player, model, self.bar)
    }

    /// Whether a tie without an end leads to what the player strikes; `tie-mismatch` reports it.
    fn is_half_tied(&self, other: &OtherRhythm, onset: Ticks) -> bool {
        let players = self.together.of_index(&other.players);
        players
            .iter()
            .all(|p| p.at(self.bar, onset).is_some_and(|(_, a)| a.half_tied))
    }

    /// Whether all that players strike beside the section are notes on the way to others: an inner voice
    /// that moves, more likely meant than not.
    fn moves(&self, other: &OtherRhythm) -> bool {
        let players = self.together.of_index(&other.players);
        players.iter().all(|p| {
            let extra = other.onsets.iter().filter(|t| !self.model.contains(t));
            let mut each = extra.map(|t| {
                let (index, own) = p.at(self.bar, *t)?;
                let last = p.attacks.get(index.checked_sub(1)?)?;
                Some((1..=2).contains(&(own.midi - last.midi).abs()) && last.end == own.onset)
            });
            each.all(|moves| moves == Some(true))
        })
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
            if is_short(self.input, self.together, p, self.bar) {
                continue;
            }
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

    fn beats(&self, onsets: &[Ticks]) -> String {
        let each: Vec<String> = onsets.iter().map(|t| self.input.beat_of(*t)).collect();
        wording::join(&each)
    }

    fn finding(&self, other: &OtherRhythm) -> Option<Finding> {
        let counts = |t: &&Ticks| !self.is_free(**t);
        let (own, model) = (&other.onsets, &self.model);
        let extra = own
            .iter()
            .filter(|t| counts(t) && !self.is_half_tied(other, **t))
            .find(|t| !model.contains(t));
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
        // The same number of notes on other beats, against three parts or more, is a slip of the pen;
        // more or fewer notes may be meant.
        let same = own.len() == model.len() && other.rests_on.is_none();
        // Against as many or more neither is the section.
        let level = if self.passage.section.is_choir()
            || missing.is_none() && self.moves(other)
            || self.company.with.len() <= other.players.len()
            || self.company.with.len() < 3 && !self.input.is_charted()
            || self
                .together
                .are_tacet(&other.players, self.bar, &self.model)
        {
            Level::Note
        } else if same && self.company.with.len() > other.players.len().max(2) {
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

/// Whether a player's bar holds less than that of the score; `bar-length` reports it.
fn is_short(input: &RuleInput<'_>, together: &Together, player: usize, bar: usize) -> bool {
    let part = together.players.get(player);
    let part = part.and_then(|p| input.score.parts.get(p.part as usize));
    let own = part.and_then(|p| p.bars.get(bar));
    let whole = input.score.bars.get(bar);
    matches!((own, whole), (Some(own), Some(whole)) if own.filled < whole.length)
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

/// How often players who strike together let go at different times, bar by bar.
struct Lengths {
    /// An eighth.
    eighth: Ticks,
    /// For each bar: attacks of three players or more, and those of them with different lengths.
    bars: Vec<(usize, usize)>,
}

/// So many bars to either side say whether lengths agree.
const AROUND: usize = 4;

impl Lengths {
    fn of(together: &Together, eighth: Ticks) -> Self {
        let bars = (0..together.bars.len()).map(|bar| {
            let all = together.all(bar);
            let model = all.first().and_then(|p| together.players.get(*p));
            let attacks = model.map_or(&[][..], |p| p.attacks_in(bar));
            let ends = attacks.iter().map(|a| releases_of(together, &all, bar, a));
            let counted: Vec<Releases> = ends.filter(|r| r.len() > 2).collect();
            let differ = |r: &&Releases| {
                let ends = || r.iter().map(|h| h.end);
                ends().max() > ends().min().map(|e| e + Ticks(eighth.0 / 2))
            };
            (counted.len(), counted.iter().filter(differ).count())
        });
        Self {
            eighth,
            bars: bars.collect(),
        }
    }

    /// Whether lengths nearly always agree around a bar, but for one attack in it.
    fn agree(&self, bar: usize) -> bool {
        let to = (bar + AROUND + 1).min(self.bars.len());
        let near = self.bars.get(bar.saturating_sub(AROUND)..to);
        let sum = near.unwrap_or_default().iter();
        let (all, odd) = sum.fold((0, 0), |s, n| (s.0 + n.0, s.1 + n.1));
        odd.saturating_sub(1) * 10 <= all
    }
}

/// When a player lets go, and strikes again.
#[derive(Clone, Copy)]
struct Release {
    player: usize,
    end: Ticks,
    next: Option<Ticks>,
}

type Releases = SmallVec<[Release; 6]>;

/// The players who strike with an attack; none who fall off.
fn releases_of(together: &Together, all: &[usize], bar: usize, attack: &Attack) -> Releases {
    let each = all.iter().filter_map(|&p| {
        let player = together.players.get(p)?;
        let (i, own) = player.at(bar, attack.onset)?;
        (!own.marks.has(Articulations::FALL)).then(|| Release {
            player: p,
            end: own.end,
            next: player.attacks.get(i + 1).map(|n| n.onset),
        })
    });
    each.collect()
}

/// Struck together, let go at different times: at ends of phrases, and on the way.
fn releases(
    input: &RuleInput<'_>,
    passage: &Passage,
    together: &Together,
    lengths: &Lengths,
    bar: usize,
    out: &mut Vec<Finding>,
) {
    let section = &passage.section;
    let all = together.all(bar);
    let Some(model) = together
        .bars
        .get(bar)
        .and_then(|c| c.with.first())
        .and_then(|&p| together.players.get(p))
    else {
        return;
    };
    for attack in model.attacks_in(bar) {
        let mut here = releases_of(together, &all, bar, attack);
        here.retain(|h| !is_short(input, together, h.player, bar));
        let ends: SmallVec<[Ticks; 6]> = here.iter().map(|h| h.end).collect();
        let (Some(end), true) = (most(&ends), here.len() > 1) else {
            continue;
        };
        if ends.iter().all(|e| *e == end) {
            continue;
        }
        // No phrase ends where the model plays on.
        let goes_on = model
            .last_before(attack.end)
            .is_some_and(|next| next.onset > attack.onset);
        // All who rest next: the end of a phrase for everyone, only not at the same time.
        let rests = |h: &Release| h.next.is_none_or(|next| next > h.end);
        let latest = ends.iter().max().copied().unwrap_or(end);
        let ends_phrase = here
            .iter()
            .all(|h| rests(h) && h.next.is_none_or(|next| next >= latest));
        let at_end = (!goes_on || attack.marks.has(Articulations::FALL)) && ends_phrase;
        if !at_end {
            out.extend(on_the_way(
                input,
                passage,
                together,
                lengths,
                (bar, attack, end),
                &here,
            ));
            continue;
        }
        at_the_end(input, section, together, lengths, (attack, end), &here, out);
    }
}

/// The end of a phrase, where some let go at another time than most; an eighth is no difference.
fn at_the_end(
    input: &RuleInput<'_>,
    section: &Section,
    together: &Together,
    lengths: &Lengths,
    (attack, end): (&Attack, Ticks),
    here: &[Release],
    out: &mut Vec<Finding>,
) {
    let mut odd: Vec<(Ticks, Vec<usize>)> = Vec::new();
    for h in here {
        if (h.end.0 - end.0).abs() <= lengths.eighth.0 {
            continue;
        }
        match odd.iter_mut().find(|(e, _)| *e == h.end) {
            Some((_, players)) => players.push(h.player),
            None => odd.push((h.end, vec![h.player])),
        }
    }
    for (own, players) in odd {
        let names = together.names(input.score, &players);
        let models: Vec<usize> = here
            .iter()
            .filter(|h| h.end == end)
            .map(|h| h.player)
            .collect();
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

/// A note that one player alone shortens or holds on while the phrase goes on, where lengths agree
/// otherwise.
fn on_the_way(
    input: &RuleInput<'_>,
    passage: &Passage,
    together: &Together,
    lengths: &Lengths,
    (bar, attack, end): (usize, &Attack, Ticks),
    here: &[Release],
) -> Option<Finding> {
    let mut odd = here.iter().filter(|h| h.end != end);
    let (one, None) = (odd.next()?, odd.next()) else {
        return None;
    };
    let shorter = one.end < end;
    let gap = Ticks((one.end.0 - end.0).abs());
    let length = end.max(one.end) - attack.onset;
    // Silence where the others sound, or a note where they are silent.
    let alone = if shorter {
        one.next.is_none_or(|next| next >= end)
    } else {
        let others = here.iter().filter(|h| h.player != one.player);
        others
            .clone()
            .all(|h| h.next.is_none_or(|next| next >= one.end))
    };
    let enough = gap >= lengths.eighth || gap.0 * 2 >= length.0;
    // A dot on the long notes makes them as short.
    let dotted = together.of_index(&here.iter().map(|h| h.player).collect::<Vec<_>>());
    let dotted = dotted.iter().any(|p| {
        let struck = p.at(bar, attack.onset);
        struck.is_some_and(|(_, a)| a.marks.0 & SHORT != 0)
    });
    // Who rests where the section goes with the chord under the lead is told there.
    let told = shorter
        && (passage.changes_under_held_lead(input.score, one.end)
            || is_written(input, together, one, end));
    // The lead may hold on over the section.
    let lead = !shorter && one.player == 0;
    if here.len() < 3 || lead || told || !alone || !enough || dotted || !lengths.agree(bar) {
        return None;
    }
    let name = together.names(input.score, &[one.player]);
    let on = input.beat_of(attack.onset);
    let (verb, until_own) = if shorter {
        ("lets go of", until(input, one.end))
    } else {
        ("holds", until(input, one.end))
    };
    let message = format!(
        "{name} {verb} the note on {on} {} than the section: until {until_own}, the section until {}",
        if shorter { "earlier" } else { "longer" },
        until(input, end)
    );
    let level = if passage.section.is_choir() {
        Level::Note
    } else {
        Level::Warning
    };
    let players = together.of_index(&[one.player]);
    Some(
        differing(input, &passage.section, &players, attack.onset, message)
            .level(level)
            .instead(format!(
                "{name}: hold the note until {}, as the section does",
                until(input, end)
            )),
    )
}

/// Whether something that is not played (a cue) stands where a player is silent.
fn is_written(input: &RuleInput<'_>, together: &Together, one: &Release, until: Ticks) -> bool {
    let player = together.players.get(one.player);
    let part = player.and_then(|p| input.score.parts.get(p.part as usize));
    part.is_some_and(|part| {
        let from = part.notes.partition_point(|n| n.onset < one.end);
        let here = part.notes.get(from..).unwrap_or_default();
        here.first().is_some_and(|n| n.onset < until && !n.sounds())
    })
}

/// Marks that make a note shorter than it is written.
const SHORT: u16 =
    Articulations::STACCATO.0 | Articulations::STACCATISSIMO.0 | Articulations::MARCATO.0;

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

    /// Three bars of quarters with a second bar of the fourth player's own.
    fn second_bar(lead: &str, own: &str) -> Vec<String> {
        let bars = ["C4:2 D4:2 E4:2 F4:2", lead, "E4:2 D4:2 C4:4"];
        let others: Vec<&str> = bars.to_vec();
        let fourth = [bars[0], own, bars[2]];
        let all = [
            ("Trombone 1", &others[..]),
            ("Trombone 2", &others[..]),
            ("Trombone 3", &others[..]),
            ("Trombone 4", &fourth[..]),
        ];
        places(&score(&all), RULE)
    }

    #[test]
    fn a_note_that_one_player_shortens_is_told() {
        let lead = "C4:2 D4:2 E4:4";
        assert_eq!(second_bar(lead, "C4:2 D4:1 r:1 E4:4"), ["2 2: Trombone 4"]);
        assert_eq!(second_bar("C4:8", "C4:4 r:4"), ["2 1: Trombone 4"]);
        assert!(second_bar(lead, lead).is_empty());
        // A dot makes the quarters of the others as short.
        let dotted = "C4:2 D4:2:staccato E4:4";
        let short = "C4:2 D4:1 r:1 E4:4";
        assert!(second_bar(dotted, short).is_empty());
    }

    #[test]
    fn a_note_struck_again_under_a_tie_is_told_even_where_nothing_else_is_struck() {
        let tied = ["C4:2 D4:2 E4:4:tie", "E4:6:tied r:2", "C4:4 D4:4"];
        let own = ["C3:2 D3:2 E3:4", "E3:6 r:2", "C3:4 D3:4"];
        let all = [
            ("Trombone 1", &tied[..]),
            ("Trombone 2", &tied[..]),
            ("Trombone 3", &tied[..]),
            ("Trombone 4", &own[..]),
        ];
        assert_eq!(places(&score(&all), RULE), ["2 1: Trombone 4"]);
    }

    #[test]
    fn a_bar_that_does_not_add_up_is_told_by_another_rule() {
        assert!(second_bar("C4:2 D4:2 E4:2 F4:2", "C4:2 D4:2 E4:2").is_empty());
    }

    #[test]
    fn a_part_with_its_own_line_is_left_alone() {
        let own = ["C3:4 D3:4", "C3:1 D3:1 E3:1 F3:1 C3:4", "E3:8"];
        assert!(places(&trombones(&own), RULE).is_empty());
    }
}
