//! `instrument-change`: time to change instruments or mutes.

use crate::finding::{Finding, Level};
use crate::ground::instrument::{Instrument, Property, catalogue};
use crate::ground::time::{Meter, Ticks};
use crate::ground::words::{is_among, known_words};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::page::{Tempos, pitched};
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::score::{Note, Part, Score, in_force};
use std::ops::Range;

pub static RULE: Rule = Rule {
    name: "instrument-change",
    group: Group::Notation,
    asks: "A player who changes instruments or mutes has four seconds or four bars for it; arco and pizzicato stand in string parts only.",
    why: "The player is still putting one thing down when the next note is due.",
    source: "published: a web arranging tutorial asks for ample time; the numbers are common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[
        Setting {
            name: "seconds",
            about: "seconds of rest that are enough",
            default: 4.0,
        },
        Setting {
            name: "bars",
            about: "bars of rest that are enough at any tempo",
            default: 4.0,
        },
        Setting {
            name: "error-seconds",
            about: "seconds of rest under which it cannot be done",
            default: 2.0,
        },
        Setting {
            name: "tempo",
            about: "quarter notes a minute where the score gives no tempo",
            default: 120.0,
        },
    ],
    examples: &[Example {
        wrong: "\
meter: 4/4
parts: trumpet 1 = trumpet

count     | 1  2  3 | 1  2 | 1  |
trumpet 1 | C5 D5 . | E5 - | E5 |
                      ^^ too soon
on the page:
trumpet 1, bar 2, beat 1: words cup mute
suggestion: trumpet 1: give the player more rest there, or leave the change out
",
        right: "\
count     | 1  2  3 | 1 | 1 | 1  2 | 1  |
trumpet 1 | C5 D5 . | . | . | E5 - | E5 |
not on the page:
trumpet 1, bar 2, beat 1: words cup mute
on the page:
trumpet 1, bar 4, beat 1: words cup mute
",
    }],
    exceptions: &[
        Exception {
            says: "plunger, hat and derby, which are only held before the bell",
            silent: Silent::With(
                "\
not on the page:
trumpet 1, bar 2, beat 1: words cup mute
on the page:
trumpet 1, bar 2, beat 1: words plunger mute
",
            ),
        },
        Exception {
            says: "a change before the first note",
            silent: Silent::With(
                "\
not on the page:
trumpet 1, bar 2, beat 1: words cup mute
on the page:
trumpet 1, bar 1, beat 1: words cup mute
",
            ),
        },
    ],
};

/// What words over a staff tell the player to do.
#[derive(Clone, Debug, PartialEq)]
enum Instruction {
    /// Put a mute in, by its name.
    Mute(&'static str),
    /// Play open.
    Open,
    /// Something held in or before the hand: no time needed.
    Hand,
    /// Take another instrument.
    Take(&'static Instrument),
    /// Bow or pluck.
    String(&'static str),
}

fn instruction(text: &str) -> Option<(Instruction, bool)> {
    let lower = text.to_lowercase();
    let list: Vec<&str> = lower
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty())
        .collect();
    // Long sentences are about something else.
    if list.len() > 5 {
        return None;
    }
    let known = &known_words().mutes;
    let has = |words: &[Box<str>]| words.iter().any(|w| list.contains(&&**w));
    let is_only = |words: &[Box<str>]| matches!(list.as_slice(), [one] if is_among(words, one));
    if has(&known.in_hand) {
        return Some((Instruction::Hand, false));
    }
    if let Some(word) = known.strings.iter().find(|w| list.contains(&&***w)) {
        return Some((Instruction::String(word), false));
    }
    if has(&known.mute) || is_only(&known.mute_alone) {
        if has(&known.away) {
            return Some((Instruction::Open, true));
        }
        let name = known
            .names
            .iter()
            .find(|(word, _)| list.contains(&&**word))
            .map_or("mute", |(_, name)| name);
        return Some((Instruction::Mute(name), has(&known.to_come)));
    }
    if is_only(&known.open) {
        return Some((Instruction::Open, false));
    }
    let rest = known
        .take
        .iter()
        .find_map(|prefix| lower.trim().strip_prefix(&**prefix))?;
    let instrument = catalogue().named(rest)?;
    is_wind(instrument).then_some((Instruction::Take(instrument), true))
}

fn is_wind(instrument: &Instrument) -> bool {
    instrument.is(Property::Blown)
}

/// A change that a player has to make before a note.
struct Change {
    /// What for, in words: "the cup mute", "clarinet".
    what: String,
    /// Index of the first note played so.
    note: usize,
    /// The rest before it.
    from: Ticks,
    to: Ticks,
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    let mut tempos = None;
    for (index, part) in pitched(score) {
        if part.words.is_empty() && part.transpositions.len() < 2 {
            continue;
        }
        let member = input
            .passages
            .iter()
            .flat_map(|p| &p.section.parts)
            .find(|m| m.part == index);
        let Some(instrument) = member.and_then(|m| m.instrument).filter(|i| is_wind(i)) else {
            continue;
        };
        let tempos = tempos.get_or_insert_with(|| Tempos::of(score));
        bow_words(score, index, part, instrument, out);
        for change in changes(part, instrument) {
            out.extend(too_quick(input, tempos, index, part, &change));
        }
    }
}

/// When the notes before each note have all ended.
fn ends(part: &Part) -> Vec<Ticks> {
    let mut latest = Ticks::ZERO;
    part.notes
        .iter()
        .map(|n| {
            let before = latest;
            if n.sounds() {
                latest = latest.max(n.end());
            }
            before
        })
        .collect()
}

/// One part, and the time its player has between notes.
struct Gaps<'a> {
    part: &'a Part,
    /// For each note, when all before it have ended.
    ends: Vec<Ticks>,
}

impl Gaps<'_> {
    /// The rest before a note: from when, to when.
    fn before(&self, note: usize) -> Range<Ticks> {
        let before = self.ends.get(note).copied().unwrap_or_default();
        let notes = &self.part.notes;
        let at = notes.get(note).map_or(Ticks::ZERO, |n| n.onset);
        before..at.max(before)
    }

    /// The first note from a time on.
    fn next(&self, onset: Ticks) -> Option<usize> {
        let from = self.part.notes.partition_point(|n| n.onset < onset);
        let sounding = self.part.notes.iter().skip(from).position(Note::sounds)?;
        Some(from + sounding)
    }

    /// The note after the first rest that follows a note: there a player who has to get ready does it.
    fn next_rest(&self, note: usize) -> Option<usize> {
        let notes = self.part.notes.iter().enumerate().skip(note + 1);
        notes
            .filter(|(_, n)| n.sounds())
            .take(MOST_NOTES)
            .find(|(i, _)| !self.before(*i).is_empty())
            .map(|(i, _)| i)
    }

    /// The change that words or a transposition at a time ask for; `to_come` where the words say what is
    /// to be got ready.
    fn change(&self, what: String, onset: Ticks, to_come: bool) -> Option<Change> {
        let mut note = self.next(onset)?;
        let mut rest = self.before(note);
        let starts = self.part.notes.get(note).is_some_and(|n| n.onset == onset);
        if to_come
            && starts
            && let Some(later) = self.next_rest(note)
        {
            let longer = self.before(later);
            if longer.end - longer.start > rest.end - rest.start {
                (rest, note) = (longer, later);
            }
        }
        Some(Change {
            what,
            note,
            from: rest.start,
            to: rest.end,
        })
    }
}

/// The changes that words and transpositions ask of the player.
fn changes(part: &Part, instrument: &'static Instrument) -> Vec<Change> {
    let gaps = Gaps {
        part,
        ends: ends(part),
    };
    let first = part.notes.iter().position(Note::sounds);
    let mut all: Vec<Change> = Vec::new();
    let mut muted: Option<&str> = None;
    let mut current = instrument;
    let mut add = |what: String, onset: Ticks, to_come: bool| {
        let change = gaps.change(what, onset, to_come);
        let new = |c: &Change| Some(c.note) != first && !all.iter().any(|o| o.note == c.note);
        if let Some(change) = change.filter(new) {
            all.push(change);
        }
    };
    for words in &part.words {
        let Some((instruction, to_come)) = instruction(&words.value.text) else {
            continue;
        };
        match instruction {
            Instruction::Mute(name) => {
                if muted != Some(name) {
                    add(format!("the {name}"), words.onset, to_come);
                }
                muted = Some(name);
            }
            Instruction::Open | Instruction::Hand => {
                if let Some(name) = muted.take() {
                    add(format!("taking out the {name}"), words.onset, to_come);
                }
            }
            Instruction::Take(new) => {
                if new.key != current.key {
                    add(format!("the {}", new.name), words.onset, to_come);
                }
                current = new;
            }
            Instruction::String(_) => {}
        }
    }
    for pair in part.transpositions.windows(2) {
        let [before, after] = pair else { continue };
        if before.value.chromatic.rem_euclid(12) != after.value.chromatic.rem_euclid(12) {
            add("another instrument".to_owned(), after.onset, false);
        }
    }
    all
}

/// Words for players of strings in a part for another instrument.
fn bow_words(
    score: &Score,
    index: u32,
    part: &Part,
    instrument: &Instrument,
    out: &mut Vec<Finding>,
) {
    for words in &part.words {
        let Some((Instruction::String(word), _)) = instruction(&words.value.text) else {
            continue;
        };
        let name = wording::part(score, index);
        let message = format!(
            "{name}: \"{word}\" stands in a part for {}, which has no bow",
            wording::with_article(&instrument.name)
        );
        out.push(
            RULE.finding(words.at, message)
                .parts([index])
                .instead(format!(
                    "{name}: take the word away, or move it to the part it belongs to"
                )),
        );
    }
}

/// How many notes after "to flute" are looked at for the rest in which it is meant.
const MOST_NOTES: usize = 64;

fn too_quick(
    input: &RuleInput<'_>,
    tempos: &Tempos,
    index: u32,
    part: &Part,
    change: &Change,
) -> Option<Finding> {
    let score = input.score;
    let note = part.notes.get(change.note)?;
    let meter = in_force(&part.meters, note.onset).map_or_else(
        || score.meter_at(note.onset),
        |m: &crate::score::Mark<Meter>| m.value,
    );
    let bar = meter.bar(score.per_quarter).0.max(1) as f64;
    let bars = (change.to - change.from).0 as f64 / bar;
    let assumed = input.setting(&RULE, "tempo");
    let seconds = tempos.seconds(change.from, change.to, assumed);
    if bars >= input.setting(&RULE, "bars") || seconds >= input.setting(&RULE, "seconds") {
        return None;
    }
    let level = if seconds < input.setting(&RULE, "error-seconds") {
        Level::Error
    } else {
        Level::Warning
    };
    let name = wording::part(score, index);
    let basis = if tempos.is_given(change.to) {
        String::new()
    } else {
        format!(" (at {assumed:.0} quarter notes a minute; the score gives no tempo)")
    };
    let first = score.spoken_name(index, note.pitch()).first;
    let message = if change.to > change.from {
        format!(
            "{name}: only {seconds:.1} seconds of rest before {} for {}{basis}",
            first, change.what
        )
    } else {
        format!(
            "{name}: no rest at all before {} for {}",
            first, change.what
        )
    };
    Some(
        RULE.finding(note.at, message)
            .level(level)
            .parts([index])
            .instead(format!(
                "{name}: give the player more rest there, or leave the change out"
            ))
            .at_notes(
                [NoteRef {
                    part: index,
                    note: change.note as u32,
                }],
                1,
                "too soon",
            ),
    )
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_tell_a_player_to_change() {
        let of = |text| instruction(text).map(|(t, _)| t);
        assert_eq!(of("Cup Mute"), Some(Instruction::Mute("cup mute")));
        assert_eq!(of("con sord."), Some(Instruction::Mute("mute")));
        assert_eq!(of("senza sord."), Some(Instruction::Open));
        assert_eq!(of("Open"), Some(Instruction::Open));
        assert_eq!(of("plunger"), Some(Instruction::Hand));
        assert!(matches!(of("To Flute"), Some(Instruction::Take(i)) if i.key == "flute"));
        for text in [
            "straight eighths",
            "to Coda",
            "open solo",
            "to the end",
            "cup of",
            "Swing",
        ] {
            assert_eq!(of(text), None, "{text}");
        }
    }
}
