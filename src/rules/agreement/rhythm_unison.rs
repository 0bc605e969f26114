//! `rhythm-unison`: a section that moves together attacks and releases together. Common practice,
//! no source.

use crate::diagnosis::Passage;
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::time::Ticks;
use crate::rules::shared::together::{Attack, Together, most};
use crate::rules::shared::wording;
use crate::rules::{Example, Group, Reading, Rule, Setting};
use crate::score::NoteRef;
use crate::score::{Articulations, NoteFlags};
use crate::sonority::Section;
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "rhythm-unison",
    group: Group::Agreement,
    asks: "Parts that move together have the same rhythm: the same attacks, the same ties, the same length at the end of a phrase.",
    why: "One player who re-attacks, holds over or lets go at another time than the section is heard at once, and the rehearsal stops to ask whose part is right.",
    exceptions: &[
        "parts with a line of their own: fewer than 80 % of the attacks match, or the part often differs in the bars around",
        "the attacks of a choir, where passing notes are each voice's own; its releases count",
        "slashes, cue notes, grace notes, a falloff at the end",
    ],
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    settings: &[Setting {
        name: "together",
        about: "how many of the attacks in a bar have to match for parts to count as together, in per cent",
        default: 80.0,
    }],
    examples: &[Example {
        wrong: "key: Bb major
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
",
        at: ("1", "3-and"),
        right: "key: Bb major
meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Bb6 -   -   -   | F7  -   -   |
count   | 1   2   3   4   | 1   2   3   |
alto 1  | D5  F5  D5  F5  | Eb5 F5  Eb5 |
alto 2  | Bb4 D5  Bb4 D5  | C5  Eb5 C5  |
tenor 1 | G4  Bb4 G4  Bb4 | A4  C5  A4  |
tenor 2 | F4  G4  F4  G4  | F4  A4  F4  |
",
    }],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    if reading.is_window() {
        return;
    }
    for (passage, together) in reading.passages.iter().zip(reading.together()) {
        for bar in 0..together.bars.len() {
            if !passage.section.is_choir() {
                attacks(reading, passage, together, bar, out);
            }
            releases(reading, &passage.section, together, bar, out);
        }
    }
}

fn onsets(attacks: &[Attack]) -> Vec<Ticks> {
    attacks.iter().map(|a| a.onset).collect()
}

/// One finding for all that have the same other rhythm.
fn attacks(
    reading: &Reading<'_>,
    passage: &Passage,
    together: &Together,
    bar: usize,
    out: &mut Vec<Finding>,
) {
    let Some(company) = together.bars.get(bar).filter(|c| !c.off.is_empty()) else {
        return;
    };
    let own = |p: usize| {
        together
            .players
            .get(p)
            .map(|p| onsets(p.attacks_in(bar)))
            .unwrap_or_default()
    };
    let Some(model) = company.with.first().map(|&p| own(p)) else {
        return;
    };
    // Where the chord changes under a held lead, each voice strikes that has to move; the others hold.
    let free = |t: &Ticks| passage.changes_under_held_lead(reading.score, *t);
    let all = together.all(bar);
    let mut changes: Vec<Ticks> = all.iter().flat_map(|&p| own(p)).filter(free).collect();
    changes.sort_unstable();
    let sounds_on = |p: usize, t: Ticks| {
        let last = together.players.get(p).and_then(|p| p.last_before(t));
        last.is_some_and(|a| a.end > t)
    };
    let mut groups: Vec<(Vec<Ticks>, Option<Ticks>, Vec<usize>)> = Vec::new();
    for p in all {
        let silent = changes.iter().find(|t| !sounds_on(p, **t)).copied();
        if silent.is_none() && company.with.contains(&p) {
            continue;
        }
        let rhythm = own(p);
        let mut known = groups.iter_mut();
        match known.find(|(r, s, _)| *r == rhythm && *s == silent) {
            Some((.., players)) => players.push(p),
            None => groups.push((rhythm, silent, vec![p])),
        }
    }
    for (rhythm, silent, players) in groups {
        let counts = |t: &&Ticks| !free(t);
        let extra = rhythm.iter().filter(counts).find(|t| !model.contains(t));
        let missing = model.iter().filter(counts).find(|t| !rhythm.contains(t));
        let each = [extra, missing, silent.as_ref()];
        let Some(first) = each.into_iter().flatten().min().copied() else {
            continue;
        };
        let names = together.names(reading.score, &players);
        let models = together.names(reading.score, &company.with);
        let beats = |list: &[Ticks]| -> String {
            let each: Vec<String> = list.iter().map(|t| reading.beat_of(*t)).collect();
            wording::join(&each)
        };
        let tie = extra == Some(&first) && is_tied_at(reading, together, &company.with, first);
        let own_tie = missing == Some(&first) && is_tied_at(reading, together, &players, first);
        let what = if silent == Some(first) {
            let on = reading.beat_of(first);
            format!("rests on {on}, where the section goes with the chord under the lead")
        } else if tie {
            format!(
                "strikes again on {} where {models} hold the note over",
                reading.beat_of(first)
            )
        } else if own_tie {
            format!(
                "holds the note over on {} where {models} strike again",
                reading.beat_of(first)
            )
        } else {
            format!(
                "strikes on {}; {models} on {}",
                beats(&rhythm),
                beats(&model)
            )
        };
        let plural = players.len() > 1;
        let what = if plural {
            what.replacen("rests", "rest", 1)
                .replacen("strikes", "strike", 1)
                .replacen("holds", "hold", 1)
        } else {
            what
        };
        // The same number of notes on other beats, against two parts or more, is a slip of the pen;
        // more or fewer notes may be meant.
        let same = rhythm.len() == model.len() && silent.is_none();
        let level = if same && company.with.len() > players.len().max(1) {
            Level::Error
        } else {
            Level::Warning
        };
        out.push(finding(
            reading,
            &passage.section,
            together,
            (&players, first, level),
            format!("{names} {what}"),
            if silent == Some(first) {
                format!("{names}: hold on, or move with the chord")
            } else {
                format!(
                    "{names}: take the section's rhythm, attacks on {}",
                    beats(&model)
                )
            },
        ));
    }
}

/// Whether one of the players has a note tied into this moment.
fn is_tied_at(reading: &Reading<'_>, together: &Together, players: &[usize], onset: Ticks) -> bool {
    players
        .iter()
        .filter_map(|&p| together.players.get(p))
        .filter_map(|p| reading.score.parts.get(p.part as usize))
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
    reading: &Reading<'_>,
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
    let eighth = Ticks(reading.score.per_quarter.0 / 2);
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
            let names = together.names(reading.score, &players);
            let models: Vec<usize> = here.iter().filter(|h| h.1 == end).map(|h| h.0).collect();
            let models = together.names(reading.score, &models);
            let (longer, verb) = match (own > end, players.len() > 1) {
                (true, false) => ("longer", "holds"),
                (true, true) => ("longer", "hold"),
                (false, false) => ("shorter", "lets go"),
                (false, true) => ("shorter", "let go"),
            };
            out.push(finding(
                reading,
                section,
                together,
                (&players, attack.onset, Level::Warning),
                format!(
                    "{names} {verb} the last note of the phrase {longer} than {models}: until {}, the section until {}",
                    until(reading, own),
                    until(reading, end)
                ),
                format!("{names}: let go with the section, on {}", until(reading, end)),
            ));
        }
    }
}

/// "beat 4 of bar 7".
fn until(reading: &Reading<'_>, end: Ticks) -> String {
    let at = reading.score.place_of(end);
    format!(
        "beat {} of bar {}",
        reading.score.beat_at(at),
        reading.score.bar_number(at.bar)
    )
}

fn finding(
    reading: &Reading<'_>,
    section: &Section,
    together: &Together,
    (players, onset, level): (&[usize], Ticks, Level),
    message: String,
    suggestion: String,
) -> Finding {
    let players = || players.iter().filter_map(|&p| together.players.get(p));
    Finding {
        section: Some(section.name.clone()),
        parts: players().map(|p| p.part).collect(),
        why: RULE.why.to_owned(),
        source: RULE.source,
        notes: players()
            .filter_map(|p| {
                Some(NoteAtFault {
                    note: NoteRef {
                        part: p.part,
                        note: p.last_before(onset)?.note,
                    },
                    voice: 0,
                    expected: None,
                    label: "not with the section".to_owned(),
                })
            })
            .collect(),
        suggestion: Some(suggestion),
        ..Finding::new(RULE.name, level, reading.score.place_of(onset), message)
    }
}

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
