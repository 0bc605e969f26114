//! `low-interval`: intervals open up towards the bottom. The limits and their sources stand in
//! `rules/low-intervals.toml`.

use crate::diagnosis::frame_at;
use crate::diagnosis::{Passage, Verdict};
use crate::finding::{Finding, Level};
use crate::ground::instrument::Property;
use crate::ground::pitch::Pitch;
use crate::rules::diagnosed::SonorityAt;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::remedies::nearby;
use crate::rules::shared::wording;
use crate::sonority::Voice;
use crate::voicing::low;

pub static RULE: Rule = Rule {
    name: "low-interval",
    group: Group::Voicing,
    asks: "No two neighbouring voices sound an interval below the pitch where it turns to mud (a note; a warning from six semitones below it on).",
    why: "The lower an interval lies, the more its overtones beat against each other: a third that is clear in the middle of the keyboard is a rumble in the bass.",
    source: "published: retailer's glossary, textbook on arranging for large jazz ensemble; some limits from memory",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
key: C major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | C  -  |
count      | 1  3  |
trombone 1 | E3 E4 |
trombone 2 | C3 C4 |
trombone 3 | G2 G3 |
             ^^ too low together
trombone 4 | E2 C3 |
             ^^ too low together
suggestion: open the interval to a fifth, an octave or a tenth, or move the chord up
",
        right: "\
trombone 1 | C4 E4 |
trombone 2 | E3 C4 |
trombone 4 | C2 C3 |
",
    }],
    exceptions: &[
        Exception {
            says: "octaves and unisons",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | Bb6 -   |
count      | 1   3   |
trombone 1 | D4  F4  |
trombone 2 | G3  D4  |
trombone 3 | Bb2 Bb3 |
trombone 4 | Bb1 G3  |
",
                but: "trombone 3 | G2  Bb3 |",
            },
        },
        Exception {
            says: "intervals wider than a tenth",
            silent: Silent::Passage {
                passage: "\
key: Db major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | Db6 -   |
count      | 1   3   |
trombone 1 | F4  Ab4 |
trombone 2 | Db4 F4  |
trombone 3 | Bb3 Db4 |
trombone 4 | Db2 Bb3 |
",
                but: "trombone 3 | Bb2 Db4 |",
            },
        },
        Exception {
            says: "the chords of one player (piano, cello) in music without chord symbols",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: piano
parts: piano = piano

count | 1           3           |
piano | G4+Eb4+G2+Eb2 Ab4+F4+Ab2+F2 |
",
                but: "chord | Eb          Fm          |",
            },
        },
        Exception {
            says: "a bass note that is held from before",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

count      | 1  3  |
trombone 1 | A3 C4 |
trombone 2 | F3 A3 |
trombone 3 | C3 A2 |
trombone 4 | F2 -  |
",
                but: "trombone 4 | F2 F2 |",
            },
        },
        Exception {
            says: "chords that pass in less than a beat, unless they lie far below",
            silent: Silent::Passage {
                passage: "\
key: Db major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | Bbm7 -   Eb9 |
count      | 1    &   2   |
trombone 1 | Ab3  Db4 C4  |
trombone 2 | F3   Bb3 G3  |
trombone 3 | Db3  Ab3 F3  |
trombone 4 | Bb2  F3  Db3 |
",
                but: "count      | 1    2   3   |",
            },
        },
    ],
};

/// The widest interval over the bass that is looked at, in semitones.
const CLOSE: i16 = 9;

/// Two neighbouring voices too low for their interval.
struct LowInterval {
    upper: Voice,
    lower: Voice,
    /// How far the lower voice lies below the limit, in semitones.
    by: i16,
    /// The lowest note the interval should stand on.
    limit: Pitch,
}

impl LowInterval {
    fn between(upper: &Voice, lower: &Voice) -> Option<Self> {
        let (by, limit) = low::below(upper.midi, lower.midi)?;
        Some(Self {
            upper: *upper,
            lower: *lower,
            by,
            limit,
        })
    }
}

/// The lowest horn over the bass player's note that sounds with it for all its length. Published:
/// textbook on arranging for large jazz ensemble (the real bass, else none).
fn over_the_bass(bass: &Passage, at: SonorityAt<'_>) -> Option<LowInterval> {
    let (section, sonority) = (&at.passage.section, at.sonority);
    if section.chordal || section.is(Property::BassLine) || sonority.voices.len() < 3 {
        return None;
    }
    let index = bass
        .sonorities
        .partition_point(|s| s.onset <= sonority.onset)
        .checked_sub(1)?;
    let root = bass.sonorities.get(index)?.voices.last()?;
    let horn = sonority.voices.last()?;
    let together = root.end >= sonority.end;
    if horn.midi - root.midi > CLOSE {
        return None; // tenths over a walking bass are what it is for
    }
    let low = LowInterval::between(horn, root)?;
    (together && horn.attacked).then_some(low)
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let bass = input
        .passages
        .iter()
        .find(|p| p.section.is(Property::BassLine));
    let mut last: Option<Stretch<'_>> = None;
    for at in input.sonorities() {
        let Some(low) = lowest(input, bass, at) else {
            continue;
        };
        let Some(level) = level(input, at, low.by) else {
            continue;
        };
        let mut both = [low.upper.note.part, low.lower.note.part];
        both.sort_unstable();
        // The same players that go on as low are one finding, where it begins.
        if let Some(stretch) = &mut last
            && std::ptr::eq(stretch.at.passage, at.passage)
            && stretch.both == both
            && stretch.at.index + 1 == at.index
        {
            stretch.at = at;
            if let Some(open) = out.get_mut(stretch.finding) {
                open.level = open.level.max(level);
            }
            continue;
        }
        last = Some(Stretch {
            both,
            at,
            finding: out.len(),
        });
        out.push(finding(input, at, &low).level(level));
    }
}

/// Two players that stay too low together.
struct Stretch<'a> {
    /// Their parts, 0-based.
    both: [u32; 2],
    /// The last sonority of it so far.
    at: SonorityAt<'a>,
    /// The place of its finding among all.
    finding: usize,
}

/// The interval that lies furthest below its limit.
fn lowest(
    input: &RuleInput<'_>,
    bass: Option<&Passage>,
    at: SonorityAt<'_>,
) -> Option<LowInterval> {
    let voices = &at.sonority.voices;
    if !voices.iter().any(|v| v.attacked) || voices.iter().any(|v| input.is_explained(v.note)) {
        return None;
    }
    // Over a bass that is held from before the others move as they like.
    let struck = voices.windows(2).filter_map(|w| match w {
        [upper, lower] if lower.attacked && !is_own_chord(input, at, upper, lower) => {
            LowInterval::between(upper, lower)
        }
        _ => None,
    });
    struck
        .max_by_key(|low| low.by)
        .or_else(|| over_the_bass(bass?, at))
}

/// Whether one player has both notes, in music for its own sake: low thirds of a piano or a cello are its sound.
/// Where chord symbols stand it plays with others.
fn is_own_chord(input: &RuleInput<'_>, at: SonorityAt<'_>, upper: &Voice, lower: &Voice) -> bool {
    let part = upper.note.part;
    let mut members = at.passage.section.parts.iter();
    let single = members
        .find(|m| m.part == part)
        .and_then(|m| m.instrument)
        .is_some_and(|i| i.single_line);
    let symbols = input.score.chords.iter().any(|m| m.value.chord.is_some());
    part == lower.note.part && !single && !symbols
}

/// How much such an interval weighs; `None` where it passes quickly.
fn level(input: &RuleInput<'_>, at: SonorityAt<'_>, by: i16) -> Option<Level> {
    let beat = input.score.felt_beat_at(at.sonority.onset);
    let length = at.sonority.end - at.sonority.onset;
    let distance = low::distance();
    if length < beat {
        return (by >= distance.warning).then_some(Level::Note);
    }
    // Two players in thirds without symbols are at home there: horns, bassoons.
    let pair = at.sonority.voices.len() < 3
        && input
            .score
            .chord_at(at.sonority.onset)
            .is_none_or(|m| m.value.chord.is_none());
    Some(if is_right(at) || pair {
        Level::Note
    } else if by >= distance.warning {
        Level::Warning
    } else {
        Level::Note
    })
}

/// In a passage that is right in its technique the register is low, and no note is wrong: that is the
/// writer's choice, worth knowing.
fn is_right(at: SonorityAt<'_>) -> bool {
    matches!(at.verdict(), Some(Verdict::Right(_)))
}

fn finding(input: &RuleInput<'_>, at: SonorityAt<'_>, low: &LowInterval) -> Finding {
    let faults = [at.fault(&low.upper), at.fault(&low.lower)];
    let key = at.passage.key_at(input.score, at.sonority.onset);
    let chord = frame_at(input.score, at.sonority.onset, key);
    let name = low::name(low.upper.midi - low.lower.midi);
    let message = format!(
        "a {name} with {} at the bottom (sounding) is too low: {}; {} is the lowest it should stand on",
        low.lower.pitch,
        wording::who_has(input.score, &faults),
        low.limit
    );
    // Of a voicing that is right no voice is moved by itself.
    let remedies = if is_right(at) {
        Vec::new()
    } else {
        nearby(input, at, &faults)
    };
    at.finding(input.score, &RULE, message)
        .chord(chord.map(|f| f.chord.text.as_str()))
        .at_fault(&faults, "too low together")
        .instead("open the interval to a fifth, an octave or a tenth, or move the chord up")
        .may_mend(remedies)
}

crate::rules::test_examples!(RULE);
