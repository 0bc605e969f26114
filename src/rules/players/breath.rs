//! `breath`: a wind player or a singer finds a place to breathe. Common practice, no source, for
//! the seconds; one beginners' guide says four bars at most.

use crate::finding::{Finding, Level};
use crate::ground::instrument::Property;
use crate::ground::time::Ticks;
use crate::ground::words::known_words;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::line::{Line, Tempos, Tone, dynamic, is_soft, merged, place_in_words};
use crate::rules::shared::wording;
use crate::score::Score;

pub static RULE: Rule = Rule {
    name: "breath",
    group: Group::Players,
    asks: "A wind player finds a rest, a breath mark, the end of a slur, a repeated note or the end of a long note to breathe at within 8 seconds, 12 when soft and low (for singers, and where a part has it more than once, a note).",
    why: "One breath carries a phrase about this long; beyond it the player breathes somewhere, and then everybody somewhere else.",
    source: "common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[
        Setting {
            name: "seconds",
            about: "seconds one breath lasts",
            default: 8.0,
        },
        Setting {
            name: "soft-seconds",
            about: "seconds one breath lasts when it is soft and low",
            default: 12.0,
        },
        Setting {
            name: "cut-beats",
            about: "beats as conducted of a note that can be cut to breathe",
            default: 2.0,
        },
        Setting {
            name: "tempo",
            about: "quarter notes a minute where the score gives no tempo; the finding is a note there",
            default: 120.0,
        },
    ],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: trombones
parts: trombone 1 = trombone

count      | 1  | 1 | 1 | 1 | 1 | 1 |
trombone 1 | C4 | D4 | - | - | - | - |
                  ^^ no breath from here
suggestion: trombone 1: shorten the note, or let players breathe in turn
",
        right: "trombone 1 | C4 | D4 | - | - | D4 | - |",
    }],
    exceptions: &[
        Exception {
            says: "circular or staggered breathing asked for in words",
            silent: Silent::With(
                "\
on the page:
trombone 1, bar 2, beat 1: words circular breathing
",
            ),
        },
        Exception {
            says: "a note of two beats or more, with no slur leading on, which can be cut short",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: saxes
parts: tenor 1 = tenor saxophone

count   | 1  2  3   4  | 1  2  3  4  | 1  2   3  4  | 1  2  3  4  | 1  2  3  4  | 1  2 |
tenor 1 | F4 G4 Bb4 A4 | G4 F4 D4 F4 | G4 Bb4 A4 -  | G4 F4 G4 A4 | C5 A4 G4 E4 | F4 . |
on the page:
tenor 1, bar 1: tempo 120
",
                but: "tenor 1 | F4 G4 Bb4 A4 | G4 F4 D4 F4 | G4 Bb4 A4 F4 | G4 F4 G4 A4 | C5 A4 G4 E4 | F4 . |",
            },
        },
        Exception {
            says: "a note that is struck again, which parts the line",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: trumpets
parts: trumpet 2 = trumpet

count     | 1  2  3  4  | 1  2  3  4  | 1  2  3  4  | 1  2  3  4  | 1  2  3  4  | 1  2 |
trumpet 2 | D4 E4 G4 F4 | E4 D4 C4 E4 | F4 G4 G4 F4 | E4 G4 F4 D4 | C4 D4 E4 F4 | E4 . |
on the page:
trumpet 2, bar 1: tempo 116
",
                but: "trumpet 2 | D4 E4 G4 F4 | E4 D4 C4 E4 | F4 G4 A4 F4 | E4 G4 F4 D4 | C4 D4 E4 F4 | E4 . |",
            },
        },
        Exception {
            says: "the end of a slur",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: clarinets
parts: clarinet 1 = clarinet

count      | 1  2  3  4  | 1  2   3  4  | 1  2  3  4  | 1  2   3  4  | 1  2  3  4  | 1  2 |
clarinet 1 | B4 C5 E5 D5 | C5 B4  A4 C5 | D5 E5 D5 B4 | C5 E5  D5 B4 | A4 B4 C5 D5 | B4 . |
on the page:
clarinet 1, bar 1: tempo 116
clarinet 1, bar 2, beat 1: slur starts
clarinet 1, bar 3, beat 1: slur ends
",
                but: "\
not on the page:
clarinet 1, bar 2, beat 1: slur starts
clarinet 1, bar 3, beat 1: slur ends
",
            },
        },
        Exception {
            says: "the end of a word, for singers",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: voices
parts: alto = alto

count | 1  2  &   3  4  | 1  &  2  3   4  | 1  &   2  &  3  4  | 1  &  2  &  3  &   4  &  | 1  &  2   &  3   4  &  | 1  2 |
alto  | F4 G4 Bb4 A4 F4 | G4 F4 E4 Bb4 A4 | G4 Bb4 A4 F4 G4 A4 | C5 A4 G4 A4 F4 G4  E4 G4 | F4 G4 Bb4 A4 G4  F4 E4 | F4 . |
on the page:
alto, bar 1: tempo 120
alto, bar 3, beat 1: word ends
alto, bar 1, beat 1: slur starts
alto, bar 5, beat 4-and: slur ends
",
                but: "\
not on the page:
alto, bar 3, beat 1: word ends
",
            },
        },
        Exception {
            says: "held notes that another player of the section holds too: they breathe by turns",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
section: French horns
parts: horn 1 = french horn
       horn 2 = french horn

count  | 1  | 1 | 1 | 1 | 1 | 1 |
horn 1 | G4 | - | - | - | - | - |
horn 2 | E4 | - | - | - | - | - |
on the page:
horn 1, bar 1: tempo 112
",
                but: "horn 2 | E4 | . | . | . | . | . |",
            },
        },
        Exception {
            says: "a note of one beat in a voice",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: voices
parts: soprano = soprano

count   | 1  &  2  &  3  &  4  &  | 1  &  2  &  3  &  4  &  | 1  &  2  &  3  &  4  &  | 1  &  2  &  3  &  4  &  | 1  &  2  &  3   &  4  &   | 1  3 |
soprano | G4 A4 B4 C5 D5 C5 B4 A4 | G4 B4 A4 C5 B4 D5 C5 A4 | B4 A4 G4 A4 B4 C5 D5 -  | C5 B4 A4 B4 C5 B4 A4 G4 | A4 B4 A4 G4 F#4 G4 A4 F#4 | G4 . |
on the page:
soprano, bar 1: tempo 120
",
                but: "soprano | G4 A4 B4 C5 D5 C5 B4 A4 | G4 B4 A4 C5 B4 D5 C5 A4 | B4 A4 G4 A4 B4 C5 D5 E5 | C5 B4 A4 B4 C5 B4 A4 G4 | A4 B4 A4 G4 F#4 G4 A4 F#4 | G4 . |",
            },
        },
        Exception {
            says: "a note of one beat where no tempo is given",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
section: trumpets
parts: flugelhorn = flugelhorn

count      | 1   &  2  &  3  &  4  &  | 1   &  2  &   3  &  4   &  | 1  &  2  &  3   & 4  &  | 1   &  2  &  3  &  4  &  | 1  &  2   &  3  &   4  &  | 1   3 |
flugelhorn | Bb3 C4 D4 F4 G4 F4 D4 C4 | Eb4 F4 G4 Bb4 G4 F4 Eb4 C4 | D4 F4 G4 F4 Bb4 - G4 F4 | Eb4 G4 F4 D4 C4 D4 F4 D4 | C4 D4 Eb4 G4 F4 Eb4 C4 A3 | Bb3 . |
",
                but: "\
on the page:
flugelhorn, bar 1: tempo 112
",
            },
        },
    ],
};

/// A rest shorter than this many seconds is too short to breathe in, and so is a note to be cut for it.
const SHORTEST_REST: f64 = 0.2;

/// A note held so many beats as conducted is one that players of a pair breathe in by turns.
const HELD_BEATS: i64 = 2;

/// How many places are named when a part has no place to breathe more than once.
const NAMED: usize = 4;

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let tempos = Tempos::of(input.score, input.setting(&RULE, "tempo"));
    let beats = input.setting(&RULE, "cut-beats");
    // Without a tempo nobody knows how fast it goes, and singers breathe between words, which are
    // not read: half of that will do.
    let cut = |line: &Line<'_>, tone: &Tone| {
        if tempos.is_given(tone.onset) && !line.is_sung() {
            beats
        } else {
            beats / 2.0
        }
    };
    let lines: Vec<&Line<'_>> = input
        .lines(|i| i.is(Property::Blown) || i.is(Property::Sung))
        .collect();
    let mut found = Vec::new();
    for line in &lines {
        let mut of_part = Vec::new();
        let mut start = 0;
        for (at, tone) in line.tones.iter().enumerate() {
            let beat = input.score.felt_beat_at(tone.onset).0 as f64;
            let breathes = line.tones.get(at + 1).is_none_or(|next| {
                tone.breath
                    || tone.ends_word
                    || tempos.seconds(tone.end, next.onset) >= SHORTEST_REST
                    || (!tone.slurred_on && tone.duration().0 as f64 >= cut(line, tone) * beat)
                    || is_parted(tone, next)
                        && tempos.seconds(tone.onset, tone.end) >= SHORTEST_REST
            });
            if !breathes {
                continue;
            }
            let phrase = line.tones.get(start..=at).unwrap_or_default();
            start = at + 1;
            if !is_shared(input.score, &lines, line, phrase) {
                of_part.extend(judge(input, line, phrase, &tempos));
            }
        }
        found.extend(once(input.score, of_part));
    }
    out.extend(merged(input.score, found));
}

/// Whether a line may be parted between two notes: a slur ends, or the note is struck again.
fn is_parted(tone: &Tone, next: &Tone) -> bool {
    !tone.slurred_on && (tone.ends_slur || tone.written == next.written)
}

/// Held notes that another player of the section holds too: they breathe by turns.
fn is_shared(score: &Score, lines: &[&Line<'_>], line: &Line<'_>, phrase: &[Tone]) -> bool {
    let held = |tone: &Tone| tone.duration() >= score.felt_beat_at(tone.onset).times(HELD_BEATS);
    let long = phrase.iter().filter(|tone| held(tone)).count();
    let (Some(first), Some(last)) = (phrase.first(), phrase.last()) else {
        return false;
    };
    let half = Ticks((last.end - first.onset).0 / 2);
    long * 2 > phrase.len()
        && lines.iter().any(|other| {
            let from = other.tones.partition_point(|t| t.end <= first.onset);
            let with = other.tones.iter().skip(from);
            let with = with.take_while(|t| t.onset < last.end).filter(|t| held(t));
            let shared = with.fold(Ticks::ZERO, |sum, t| {
                sum + (t.end.min(last.end) - t.onset.max(first.onset))
            });
            other.part != line.part
                && other.instrument.family == line.instrument.family
                && shared >= half
        })
}

/// The same in several places of a part is its style: one note that names them.
fn once(score: &Score, mut found: Vec<Finding>) -> Option<Finding> {
    if found.len() < 2 {
        return found.pop();
    }
    let mut places: Vec<String> = found
        .iter()
        .skip(1)
        .take(NAMED)
        .map(|f| score.bar_number(f.at.bar))
        .collect();
    if let Some(more) = found.len().checked_sub(NAMED + 1).filter(|n| *n > 0) {
        places.push(format!("{more} more places"));
    }
    let mut all = found.into_iter();
    let mut first = all.next()?;
    first.notes.extend(all.flat_map(|f| f.notes));
    first.message = format!(
        "{}; so also from bar {}",
        first.message,
        wording::join(&places)
    );
    Some(first.level(Level::Note))
}

fn judge(
    input: &RuleInput<'_>,
    line: &Line<'_>,
    phrase: &[Tone],
    tempos: &Tempos,
) -> Option<Finding> {
    let (first, last) = (phrase.first()?, phrase.last()?);
    let seconds = tempos.seconds(first.onset, last.end);
    let score = input.score;
    let limit = if is_soft_and_low(score, line, phrase) {
        input.setting(&RULE, "soft-seconds")
    } else {
        input.setting(&RULE, "seconds")
    };
    if seconds <= limit || breathing_is_said(score, line.part, first, last) {
        return None;
    }
    let who = wording::part(score, line.part);
    let given = tempos.is_given(first.onset);
    let how = if given {
        String::new()
    } else {
        " at 120 quarter notes a minute (no tempo is given)"
            .replace("120", &format!("{:.0}", input.setting(&RULE, "tempo")))
    };
    let (what, suggestion) = if phrase.len() == 1 {
        (
            "one note held",
            format!("{who}: shorten the note, or let players breathe in turn"),
        )
    } else {
        // The longest note that no slur leads on from is where a phrase can be parted best.
        let rest = phrase
            .iter()
            .take(phrase.len().saturating_sub(1))
            .max_by_key(|t| (!t.slurred_on, t.duration()))?;
        let here = score.place_of(rest.onset);
        (
            "no place to breathe",
            format!(
                "{who}: put a rest or a breath mark where the phrase parts, perhaps after the note of {}",
                place_in_words(score, here)
            ),
        )
    };
    let message = format!(
        "{who}: {what} for {seconds:.0} seconds, to bar {}{how}",
        score.bar_number(score.place_of(last.end - Ticks(1)).bar)
    );
    let level = if given && !line.is_sung() {
        Level::Warning
    } else {
        Level::Note
    };
    Some(
        line.finding(&RULE, first.at, message)
            .level(level)
            .at_notes([first.note], 1, "no breath from here")
            .instead(suggestion)
            .because(line.with_care(RULE.why)),
    )
}

/// Soft, and on average in the lower half of what lies well.
fn is_soft_and_low(score: &Score, line: &Line<'_>, phrase: &[Tone]) -> bool {
    let Some(first) = phrase.first() else {
        return false;
    };
    let middle = line
        .instrument
        .range
        .comfortable
        .map_or(i16::MIN, |r| i16::midpoint(r.0.midi(), r.1.midi()));
    let sum: i64 = phrase.iter().map(|t| i64::from(t.written)).sum();
    dynamic(score, line.part, first.onset).is_some_and(is_soft)
        && sum <= i64::from(middle) * phrase.len() as i64
}

/// Words over the staff in or shortly before the phrase that speak of breathing.
fn breathing_is_said(score: &Score, part: u32, first: &Tone, last: &Tone) -> bool {
    let Some(part) = score.parts.get(part as usize) else {
        return false;
    };
    let from = part.words.partition_point(|w| w.onset < first.onset);
    part.words
        .iter()
        .skip(from)
        .take_while(|w| w.onset <= last.end)
        .any(|w| {
            let text = w.value.text.to_lowercase();
            let marks = &known_words().breathing.marks;
            marks.iter().any(|word| text.contains(&**word))
        })
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::line::fixture::{Page, SLUR, SLUR_END, tempo};
    use crate::style::Style;

    fn said(part: &str, per_minute: u16, more: &str) -> Vec<String> {
        let mut page = Page::of(part, (-5, -9, 0));
        page.bar(
            &tempo(per_minute),
            &[("C5", 1, SLUR), ("D5", 1, ""), ("E5", 1, ""), ("D5", 1, "")],
        );
        for bar in 0..4 {
            let last = if bar == 3 { SLUR_END } else { "" };
            let middle = if bar == 1 { more } else { "" };
            page.bar(
                "",
                &[
                    ("C5", 1, ""),
                    ("D5", 1, middle),
                    ("E5", 1, ""),
                    ("D5", 1, last),
                ],
            );
        }
        page.findings("breath", &Style::default())
    }

    #[test]
    fn twenty_beats_at_a_stated_tempo() {
        // At 120 they take 10 seconds, at 180 less than 7.
        let found = said("Alto Sax 2", 120, "");
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(
            found[0].starts_with("warning") && found[0].contains("10 seconds"),
            "{found:?}"
        );
        assert_eq!(said("Alto Sax 2", 180, ""), Vec::<String>::new());
        let mark = "@<articulations><breath-mark/></articulations>";
        assert_eq!(said("Alto Sax 2", 120, mark), Vec::<String>::new());
        // Of singers it is a note.
        let sung = said("Soprano voice", 120, "");
        assert!(sung.len() == 1 && sung[0].starts_with("note"), "{sung:?}");
        // Fingers do not breathe.
        assert_eq!(said("Vibraphone", 120, ""), Vec::<String>::new());
    }
}
