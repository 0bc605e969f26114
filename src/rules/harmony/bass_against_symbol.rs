//! `bass-against-symbol`: the bass line says the chord that stands over it.

use crate::finding::{Finding, Level};
use crate::ground::chord::Chord;
use crate::ground::instrument::Property;
use crate::ground::pitch::{Pitch, PitchClass};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::line::Tone;
use crate::rules::shared::wording;
use crate::score::{Change, Score};

pub static RULE: Rule = Rule {
    name: "bass-against-symbol",
    group: Group::Harmony,
    asks: "On the strong beats of a bar, and in notes of half a bar or more, the bass has a note of the chord symbol or of its scale that the line explains.",
    why: "The band hears the chord from the bass: a root a half step off turns every voicing over it into another chord.",
    source: "common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: F major
meter: 4/4
parts: bass = double bass

chord | F6 -  -  -  | Gm7 -   -  -  | C7 -  -  -   | F6 -  |
count | 1  2  3  4  | 1   2   3  4  | 1  2  3  4   | 1  3  |
bass  | F2 A2 C3 D3 | Ab2 Bb2 Db3 D3 | C3 G2 E2 Bb2 | F2 C2 |
                      ^^^     ^^^ not of Gm7
suggestion: bass: write a note of Gm7 on the strong beats, or the symbol that is meant
",
        right: "bass  | F2 A2 C3 D3 | G2 Bb2 D3 Db3 | C3 G2 E2 Bb2 | F2 C2 |",
    }],
    exceptions: &[
        Exception {
            says: "an approach by half step in walking quarters, on one strong beat of the bar",
            silent: Silent::With("bass  | F2 A2 C3 D3 | G2 Bb2 B2 C3 | C3 G2 E2 Bb2 | F2 C2 |"),
        },
        Exception {
            says: "a pedal: the note of the strong beats around it goes on under the chord",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
parts: bass = double bass

chord | F6 -  | Gb6 -  | Gm7 -  | F6 -  |
count | 1  3  | 1   3  | 1   3  | 1  3  |
bass  | F2 F2 | F2  F2 | F2  F2 | F2 C2 |
",
                but: "bass  | F2 C3 | E2  E2 | G2  D3 | F2 C2 |",
            },
        },
        Exception {
            says: "the bass note after a slash, and inversions",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
parts: bass = double bass

chord | F6 -  | Gm7/C - | C7 -  | F6 -  |
count | 1  3  | 1     3 | 1  3  | 1  3  |
bass  | F2 A2 | C3   C3 | E2 Bb2 | F2 C2 |
",
                but: "chord | F6 -  | Abm7  - | C7 -  | F6 -  |",
            },
        },
        Exception {
            says: "a note that comes ahead of its chord by a beat or less",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
parts: bass = double bass

chord | F6 -  -  -  | Gm7 -  -  Ab7 | C7 -  -  -  | F6 -  |
count | 1  2  3  4  | 1   2  3  4   | 1  2  3  4  | 1  3  |
bass  | F2 A2 C3 D3 | G2  D3 Ab2 -  | C3 G2 E2 G2 | F2 C2 |
",
                but: "chord | F6 -  -  -  | Gm7 -  -  -   | C7 -  -  -  | F6 -  |",
            },
        },
    ],
};

/// From so many strong notes on they say whether the symbols can be believed.
const FEW: usize = 8;

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    if input.score.chords.is_empty() {
        return;
    }
    for line in input.lines(|i| i.single_line) {
        if !line.section.is(Property::BassLine) {
            continue;
        }
        let strong: Vec<Strong<'_>> = line
            .tones
            .iter()
            .enumerate()
            .filter_map(|(index, _)| Strong::of(input.score, &line.tones, index))
            .collect();
        let mut found = Vec::new();
        for bar in strong.chunk_by(|a, b| a.tone.at.bar == b.tone.at.bar) {
            let first = strong.partition_point(|s| {
                s.tone.onset < bar.first().map_or(Ticks::ZERO, |b| b.tone.onset)
            });
            let odd: Vec<&Strong<'_>> = bar
                .iter()
                .enumerate()
                .filter(|(i, s)| s.is_foreign(input.score) && !is_pedal(&strong, first + i))
                .map(|(_, s)| s)
                .collect();
            if odd.len() > 1 || odd.iter().any(|s| s.is_long || !s.moves_on && s.is_first) {
                found.extend(finding(input, line.part, &odd));
            }
        }
        // Where the line goes its own way all the time the symbols are not its own.
        if strong.len() < FEW || found.len() * 6 <= strong.len() {
            out.extend(found);
        }
    }
}

/// A note on a strong beat, or as long as half a bar.
#[allow(clippy::struct_excessive_bools)] // each is a fact of its own
struct Strong<'a> {
    tone: &'a Tone,
    chord: &'a Chord,
    /// The next chord, where it comes in within a beat.
    ahead: Option<&'a Chord>,
    /// It lasts half a bar or more.
    is_long: bool,
    /// It stands on the first beat.
    is_first: bool,
    /// The chord comes in with it.
    starts: bool,
    /// It goes on at once by a half or whole step, or comes from there.
    moves_on: bool,
}

impl<'a> Strong<'a> {
    fn of(score: &'a Score, tones: &'a [Tone], index: usize) -> Option<Self> {
        let tone = tones.get(index)?;
        let bar = score.bars.get(tone.at.bar as usize)?;
        let meter = score.meter_at(bar.start).bar(score.per_quarter);
        let beat = score.felt_beat_at(bar.start);
        let half = Ticks(meter.0 / 2);
        let first = tone.at.offset == Ticks::ZERO && bar.missing == Ticks::ZERO;
        let even = meter.0.checked_rem(beat.0.saturating_mul(2)) == Some(0);
        let middle = even && tone.at.offset == half;
        let is_long = tone.duration() >= half;
        if !(first || middle || is_long) {
            return None;
        }
        let mark = score.chord_at(tone.onset)?;
        let chord = mark.value.chord.as_ref()?;
        let ahead = score.chord_after(tone.onset);
        let ahead = ahead.filter(|m| m.onset - tone.onset <= beat);
        let step = |other: Option<&Tone>| {
            other.is_some_and(|o| (1..=2).contains(&(o.midi() - tone.midi()).abs()))
        };
        let next = tones.get(index + 1).filter(|n| n.onset == tone.end);
        Some(Self {
            tone,
            chord,
            ahead: ahead.and_then(|m| m.value.chord.as_ref()),
            is_long,
            is_first: first,
            starts: mark.onset == tone.onset,
            moves_on: step(next) && step(index.checked_sub(1).and_then(|i| tones.get(i))),
        })
    }

    /// Neither the chord nor its scale has the note, nor the chord that comes in with the next beat.
    fn is_foreign(&self, score: &Score) -> bool {
        let class = self.tone.sounding.class();
        let in_key = |chord: &Chord| has(chord, class);
        // An approach on the way is the line's, but not where the chord comes in.
        let approach = self.moves_on && !self.is_long && !self.starts;
        let before = score.chords.partition_point(|m| m.onset <= self.tone.onset);
        let late = before
            .checked_sub(2)
            .and_then(|i| score.chords.get(i))
            .and_then(|m| m.value.chord.as_ref())
            .filter(|_| !self.is_first);
        let suspended = late.is_some_and(|c| c.root.class() == class);
        !in_key(self.chord) && !self.ahead.is_some_and(in_key) && !approach && !suspended
    }
}

/// The notes that a bass may stand on under a chord: its own, and the ninth and sixth that no chord note is a
/// half step under; in minor the fourth.
fn has(chord: &Chord, class: PitchClass) -> bool {
    let root = chord.root.class();
    let above = class.above(root);
    let minor = chord.contains(root.plus(3)) && !chord.contains(root.plus(4));
    chord.contains(class)
        || chord.bass.is_some_and(|b| b.class() == class)
        || above == 2
        || above == 9
        || minor && above == 5
        || chord.altered
}

/// So many strong notes in a row are a pedal.
const PEDAL: usize = 3;

/// Whether the strong notes around have the same note, under a chord of it among others.
fn is_pedal(strong: &[Strong<'_>], at: usize) -> bool {
    let Some(own) = strong.get(at) else {
        return false;
    };
    let class = own.tone.sounding.class();
    let same = |s: &&Strong<'_>| s.tone.sounding.class() == class;
    let before = strong.get(..at).unwrap_or_default().iter().rev();
    let after = strong.get(at + 1..).unwrap_or_default().iter();
    let around: Vec<&Strong<'_>> = before
        .take_while(same)
        .chain(after.take_while(same))
        .collect();
    around.len() + 1 >= PEDAL && around.iter().any(|s| has(s.chord, class))
}

/// The note that the symbol has in the bass, where the one written is a half or whole step off it.
fn a_step_off(odd: &Strong<'_>) -> Vec<Vec<Change>> {
    let name = odd.chord.bass.unwrap_or(odd.chord.root);
    let found = odd.tone.midi();
    let near = [-1, 1, -2, 2].map(|step| found + step);
    let meant = near
        .into_iter()
        .find(|m| PitchClass::new(*m) == name.class());
    let sounding = meant.and_then(|midi| Pitch::named(name, midi));
    let change = sounding.map(|sounding| Change {
        note: odd.tone.note,
        sounding,
    });
    change.map(|c| vec![c]).into_iter().collect()
}

fn finding(input: &RuleInput<'_>, part: u32, odd: &[&Strong<'_>]) -> Option<Finding> {
    let first = odd.first()?;
    if odd.iter().any(|s| input.is_explained(s.tone.note)) {
        return None;
    }
    let score = input.score;
    let name = wording::part(score, part);
    let each: Vec<String> = odd
        .iter()
        .map(|s| {
            let pitch = wording::for_player(score, s.tone.note, s.tone.sounding);
            format!("{pitch} on {}", input.beat_of(s.tone.onset))
        })
        .collect();
    let chord = &first.chord.text;
    let message = format!(
        "{name} has {} under {chord}, which has no such note",
        wording::join(&each)
    );
    Some(
        RULE.finding(first.tone.at, message)
            .chord(Some(chord))
            .at_notes(
                odd.iter().map(|s| s.tone.note),
                1,
                &format!("not of {chord}"),
            )
            .instead(format!(
                "{name}: write a note of {chord} on the strong beats, or the symbol that is meant"
            ))
            .may_mend(match odd {
                [only] => a_step_off(only),
                _ => Vec::new(),
            }),
    )
}

crate::rules::test_examples!(RULE);
