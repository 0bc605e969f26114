//! `written-range`: what the instrument has. Ranges are data with their sources:
//! `rules/instruments.toml`.

use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::instrument::{Instrument, Property, RangeVerdict};
use crate::ground::pitch::Pitch;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::wording;
use crate::score::{Note, NoteRef, in_force};
use std::collections::BTreeMap;

pub static RULE: Rule = Rule {
    name: "written-range",
    group: Group::Players,
    asks: "Every note lies in the range the instrument has (error), and in the range players are asked for (warning): professionals, or those of the school grade that is set.",
    why: "The note is not on the instrument, or only a few players have it.",
    source: "published: orchestration handbooks' range tables; common practice, no source, where they differ",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[
        Setting {
            name: "grade",
            about: "school grade of the players, 1 to 6; 0 is professional",
            default: 0.0,
        },
        Setting {
            name: "held-beats",
            about: "beats as conducted above which a note outside the comfortable range gets a note; 0 is never",
            default: 4.0,
        },
    ],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Eb6 -   -   |
count   | 1   2   3   |
alto 1  | G5  Bb5 G5  |
              ^^^ above written F#6
alto 2  | Eb5 G5  Eb5 |
tenor 1 | C5  Eb5 C5  |
tenor 2 | Bb4 C5  Bb4 |
suggestion: alto 1: take the phrase down an octave, or give the note to a higher seat or instrument
",
        right: "\
alto 1  | G5  Eb5 G5  |
alto 2  | Eb5 C5  Eb5 |
tenor 1 | C5  Bb4 C5  |
tenor 2 | Bb4 G4  Bb4 |
",
    }],
    exceptions: &[
        Exception {
            says: "the low bass clef of old horn parts, which sounds an octave higher",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
pitch: written
section: French horns
parts: horn 2 = french horn

count  | 1  3  |
horn 2 | C2 G2 |
on the page:
horn 2, bar 1: clef F4
",
                but: "\
not on the page:
horn 2, bar 1: clef F4
",
            },
        },
        Exception {
            says: "the high F# key, which every current saxophone has",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 4/4
pitch: written
section: saxes
parts: alto 1 = alto saxophone

count  | 1  2   3   4   | 1  3 |
alto 1 | B5 D#6 F#6 D#6 | B5 . |
",
                but: "alto 1 | B5 D#6 G6  D#6 | B5 . |",
            },
        },
        Exception {
            says: "notes outside the comfortable range, which `tessitura` counts; only one held very long gets a note",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
pitch: written
section: trumpets
parts: trumpet 2 = trumpet

count     | 1  2  3  4   | 1  | 1  3 |
trumpet 2 | F5 G5 A5 Bb5 | C6 | F5 . |
",
                but: "trumpet 2 | F5 G5 A5 Bb5 | C6 | -  . |",
            },
        },
        Exception {
            says: "the lead of a section, who may hold such a note",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
pitch: written
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet

count     | 1  2  3  4   | 1  | 1 3 |
trumpet 1 | A5 C6 D6 C6  | C6 | - . |
trumpet 2 | F5 G5 A5 G5  | A5 | - . |
",
                but: "trumpet 2 | F5 G5 A5 Bb5 | C6 | - . |",
            },
        },
    ],
};

/// A note outside, and how.
struct Outside<'a> {
    at: NoteRef,
    note: &'a Note,
    /// Above the range; else below it.
    above: bool,
    level: Level,
    limit: Pitch,
    /// The addition to the instrument that has it.
    needs: Option<&'a str>,
    /// The school grade that does not have it.
    grade: Option<u8>,
    /// It is only held too long for where it lies.
    held: bool,
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for passage in input.passages {
        for member in passage.section.own_parts() {
            let Some(instrument) = member.instrument.filter(|i| i.range.is_known()) else {
                continue;
            };
            let part = input.score.parts.get(member.part as usize);
            if part.is_some_and(|p| p.may_be_untransposed(instrument)) {
                continue;
            }
            // One finding for the notes of one bar on the same side of the range.
            let mut bars: BTreeMap<(u32, bool), Vec<Outside<'_>>> = BTreeMap::new();
            let leads = member.seat == Some(1) && passage.section.parts.len() > 1;
            for outside in notes_outside(input, member.part, member.seat, instrument) {
                if outside.held && leads {
                    continue;
                }
                bars.entry((outside.note.at.bar, outside.above))
                    .or_default()
                    .push(outside);
            }
            let about = |above, notes: &[Outside<'_>]| {
                let section = &passage.section.name;
                finding(input, member.part, instrument, above, notes, section)
            };
            let found: Vec<(bool, Finding)> = bars
                .iter()
                .filter_map(|((_, above), notes)| Some((*above, about(*above, notes)?)))
                .collect();
            for above in [false, true] {
                let side = found.iter().filter(|(side, _)| *side == above);
                let side: Vec<Finding> = side.map(|(_, finding)| finding.clone()).collect();
                for level in [Level::Error, Level::Warning, Level::Note] {
                    let here: Vec<Finding> =
                        side.iter().filter(|f| f.level == level).cloned().collect();
                    out.extend(once(input, here));
                }
            }
        }
    }
}

/// So many bars of one part are more than slips of the pen: one finding names them.
const OFTEN: usize = 3;

/// The same side of the range left in many bars of a part is one choice, or one misunderstanding.
fn once(input: &RuleInput<'_>, mut found: Vec<Finding>) -> Vec<Finding> {
    let slips = found.iter().all(|f| f.level == Level::Error);
    if found.len() <= if slips { OFTEN } else { 1 } {
        return found;
    }
    let rest = found.split_off(1);
    let Some(first) = found.first_mut() else {
        return found;
    };
    let bars: Vec<String> = rest
        .iter()
        .map(|f| input.score.bar_number(f.at.bar))
        .collect();
    let last = bars.last().cloned().unwrap_or_default();
    first.message = if bars.len() > OFTEN {
        format!(
            "{}; so in {} more bars, to bar {last}",
            first.message,
            bars.len()
        )
    } else {
        format!("{}; so also in bar {}", first.message, bars.join(", "))
    };
    first.notes.extend(rest.into_iter().flat_map(|f| f.notes));
    found
}

fn notes_outside<'a>(
    input: &'a RuleInput<'_>,
    index: u32,
    seat: Option<u8>,
    instrument: &'a Instrument,
) -> impl Iterator<Item = Outside<'a>> {
    let grade = input.setting(&RULE, "grade").clamp(0.0, 6.0) as u8;
    let graded = (grade > 0).then(|| instrument.graded(grade, seat));
    let held = input.setting(&RULE, "held-beats");
    input.notes(index).filter_map(move |(i, note)| {
        let at = NoteRef {
            part: index,
            note: i,
        };
        if !note.sounds() || note.flags.has(crate::score::NoteFlags::TIED_IN) {
            return None;
        }
        // The range is written for the instrument's own transposition; a concert score or an
        // unusual one is brought to it.
        let written = note.sounding.midi() - instrument.transposition.chromatic;
        let mut needs = None;
        let beyond = |range: (Pitch, Pitch)| {
            if written < range.0.midi() {
                Some(range.0)
            } else {
                (written > range.1.midi()).then_some(range.1)
            }
        };
        let school = graded.and_then(beyond);
        let (mut of_grade, mut long) = (None, false);
        let (level, limit) = match instrument.judge_range(written, seat) {
            RangeVerdict::Impossible { .. } | RangeVerdict::Stretched { .. }
                if is_old_bass_clef(input, index, note, instrument, written) =>
            {
                return None;
            }
            // Voices differ, and so do their names in old music: only far beyond is it surely wrong.
            RangeVerdict::Impossible { limit }
                if instrument.is(Property::Sung) && (written - limit.midi()).abs() <= FAR =>
            {
                (Level::Warning, limit)
            }
            RangeVerdict::Impossible { limit } => (Level::Error, limit),
            _ if school.is_some() => {
                of_grade = Some(grade);
                (Level::Warning, school?)
            }
            // The published ranges of voices differ by a third; what lies between them is no mistake.
            RangeVerdict::Stretched { limit } if instrument.is(Property::Sung) => {
                (Level::Note, limit)
            }
            RangeVerdict::Stretched { limit } => (Level::Warning, limit),
            RangeVerdict::Extension { limit, name } => {
                needs = Some(name);
                (Level::Note, limit)
            }
            RangeVerdict::Professional
                if !instrument.is(Property::Sung) && is_held(input, at, note, held) =>
            {
                long = true;
                (Level::Note, instrument.range.comfortable.and_then(beyond)?)
            }
            RangeVerdict::Comfortable | RangeVerdict::Professional => return None,
        };
        // A note that no player has is reported here, whatever else it is.
        if level < Level::Error && input.is_explained(at) {
            return None;
        }
        Some(Outside {
            at,
            note,
            above: written > limit.midi(),
            level,
            limit,
            needs,
            grade: of_grade,
            held: long,
        })
    })
}

/// So many semitones beyond what a voice has are no singer's choice.
const FAR: i16 = 5;

/// In old parts of horns the bass clef stands an octave lower than it sounds.
fn is_old_bass_clef(
    input: &RuleInput<'_>,
    index: u32,
    note: &Note,
    instrument: &Instrument,
    written: i16,
) -> bool {
    let part = input.score.parts.get(index as usize);
    let clef = part.and_then(|p| in_force(&p.clefs, note.onset));
    instrument.is(Property::NoKeySignature)
        && clef.is_some_and(|c| c.value.sign == 'F')
        && !matches!(
            instrument.judge_range(written + 12, None),
            RangeVerdict::Impossible { .. }
        )
}

/// Whether a note and what it is tied to is held longer than so many beats as conducted.
fn is_held(input: &RuleInput<'_>, at: NoteRef, note: &Note, beats: f64) -> bool {
    let score = input.score;
    let part = score.parts.get(at.part as usize);
    let last = if note.flags.has(crate::score::NoteFlags::TIED_OUT) {
        score.tied_chain(at).last().copied().unwrap_or(at)
    } else {
        at
    };
    let end = part
        .and_then(|p| p.notes.get(last.note as usize))
        .map_or(note.end(), Note::end);
    let beat = score.felt_beat_at(note.onset);
    beats > 0.0 && (end - note.onset).0 as f64 > beats * beat.0 as f64
}

fn finding(
    input: &RuleInput<'_>,
    index: u32,
    instrument: &Instrument,
    above: bool,
    notes: &[Outside<'_>],
    section: &str,
) -> Option<Finding> {
    let first = notes.first()?;
    let level = notes.iter().map(|n| n.level).max()?;
    let worst = notes.iter().find(|n| n.level == level)?;
    let who = wording::part(input.score, index);
    let pitches: Vec<String> = notes
        .iter()
        .map(|n| wording::for_player(input.score, n.at, n.note.sounding))
        .collect();
    let (side, end, move_to) = if above {
        ("above", "highest", "down")
    } else {
        ("below", "lowest", "up")
    };
    let voice = instrument.is(Property::Sung);
    let player = if voice { "" } else { " player" };
    let what = match (level, worst.needs) {
        _ if worst.held => format!(
            "the comfortable range of the {}, for a long time",
            instrument.name
        ),
        _ if worst.grade.is_some() => format!(
            "the {end} note {}{player} of grade {} is asked for",
            wording::with_article(&instrument.name),
            worst.grade.unwrap_or_default()
        ),
        (_, Some(needs)) => format!(
            "the {end} note of the {} without its {needs}",
            instrument.name
        ),
        (Level::Error, None) => format!("the {end} note of the {}", instrument.name),
        (_, None) => format!(
            "the {end} note {}{player} is usually asked for",
            wording::with_article(&instrument.name)
        ),
    };
    let message = format!(
        "{who} has {}, {side} written {}, {what}",
        wording::join(&pitches),
        worst.limit
    );
    let other = match (voice, above) {
        (true, true) => "a higher voice",
        (true, false) => "a lower voice",
        (false, true) => "a higher seat or instrument",
        (false, false) => "a lower seat or instrument",
    };
    let suggestion =
        format!("{who}: take the phrase {move_to} an octave, or give the note to {other}");
    let mut why = match level {
        Level::Error => RULE.why.to_owned(),
        _ if worst.held => "It is on the instrument, but holding it there is an effort.".to_owned(),
        _ if worst.grade.is_some() => {
            "Players of this grade have not grown into it yet.".to_owned()
        }
        _ if worst.needs.is_some() => {
            "Not every player's instrument has it; ask before it is on the stand.".to_owned()
        }
        _ => "It can be had, but not from everybody, not for long and not safely; published ranges differ here.".to_owned(),
    };
    if let Some(caution) = &instrument.caution {
        why = format!("{why} {caution}");
    }
    let marks = notes.iter().map(|n| NoteAtFault {
        note: n.at,
        voice: 1,
        expected: None,
        label: format!("{side} {}", wording::limit(input.score, index, n.limit)),
    });
    Some(
        RULE.finding(first.note.at, message)
            .level(level)
            .because(why)
            .section(section)
            .mark(marks)
            .sounding(notes.iter().map(|n| n.note.sounding).collect())
            .instead(suggestion),
    )
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::line::fixture::{Page, style};

    fn said(seat: &str, pitch: &str, grade: f64) -> Vec<String> {
        let mut page = Page::of(seat, (-1, -2, 0));
        page.bar("", &[(pitch, 4, "")]);
        page.findings("written-range", &style("written-range", "grade", grade))
    }

    #[test]
    fn a_school_grade_lowers_the_limit() {
        // Published: US Army Field Band, grading of jazz charts: easy charts to G5, a lead of middle
        // grades to C6 or D6.
        assert_eq!(said("Trumpet 2", "A5", 0.0), Vec::<String>::new());
        assert_eq!(said("Trumpet 2", "G5", 2.0), Vec::<String>::new());
        let found = said("Trumpet 2", "A5", 2.0);
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(
            found[0].contains("above written G5") && found[0].contains("grade 2"),
            "{found:?}"
        );
        assert_eq!(said("Trumpet 1", "C6", 3.0), Vec::<String>::new());
        assert_eq!(said("Trumpet 1", "D6", 3.0).len(), 1);
        assert_eq!(said("Trumpet 1", "D6", 4.0), Vec::<String>::new());
    }

    #[test]
    fn a_note_held_at_the_edge_is_named() {
        let mut page = Page::of("Trumpet 2", (-1, -2, 0));
        page.bar("", &[("B5", 4, "<tie type=\"start\"/>")]);
        page.bar("", &[("B5", 4, "<tie type=\"stop\"/>")]);
        let held = style("written-range", "held-beats", 4.0);
        assert_eq!(page.findings("written-range", &held).len(), 1);
        let never = style("written-range", "held-beats", 0.0);
        assert_eq!(page.findings("written-range", &never), Vec::<String>::new());
    }
}
