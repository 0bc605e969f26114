//! `wide-gap`: neighbouring upper voices stay within an octave. Published: open music theory text
//! and part-writing pages (choir); nothing stated for jazz: common practice, no source.

use crate::diagnosis::{Passage, Verdict};
use crate::finding::{Finding, Level};
use crate::ground::instrument::Property;
use crate::rules::diagnosed::SonorityAt;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::remedies::nearby;
use crate::rules::shared::wording;
use crate::sonority::Voice;
use crate::voicing::{Form, Technique, classes_of};

pub static RULE: Rule = Rule {
    name: "wide-gap",
    group: Group::Voicing,
    asks: "Neighbouring voices lie at most an octave apart, the two lowest excepted.",
    why: "A hole in the middle splits the section into two groups that no longer blend.",
    source: "published: open music theory text, part-writing pages; for horns: common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[Setting {
        name: "semitones",
        about: "the widest gap between neighbouring upper voices, in semitones",
        default: 12.0,
    }],
    examples: &[Example {
        wrong: "\
key: F major
meter: 4/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

chord   | F  Bb F  |
count   | 1  2  3  |
soprano | C5 D5 C5 |
alto    | F4 F4 F4 |
             ^^ too far apart
tenor   | A3 D3 A3 |
             ^^ too far apart
bass    | F3 Bb2 F3 |
fix: alto: write D4 instead of F4
",
        right: "tenor   | A3 Bb3 A3 |",
    }],
    exceptions: &[
        Exception {
            says: "the two lowest voices",
            silent: Silent::With("tenor   | A3 D4 A3 |"),
        },
        Exception {
            says: "spreads and triads over a bass note",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: trombones
technique: spread
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

count      | 1   | 1   |
trombone 1 | Bb4 | Ab4 |
trombone 2 | Ab3 | F4  |
trombone 3 | Eb3 | D4  |
trombone 4 | F2  | Bb2 |
",
                but: "technique: free",
            },
        },
        Exception {
            says: "voicings that are right in their technique, whatever gap the style allows",
            silent: Silent::Passage {
                passage: "\
setting: wide-gap semitones = 7
key: G major
meter: 4/4
section: saxes
technique: drop 2 & 4
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | G6 -  |
count   | 1  3  |
alto 1  | D5 G5 |
alto 2  | G4 D5 |
tenor 1 | B3 E4 |
tenor 2 | E3 B3 |
",
                but: "technique: free",
            },
        },
        Exception {
            says: "unison and octaves",
            silent: Silent::Passage {
                passage: "\
key: C minor
meter: 4/4
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

count   | 1   2  3  |
alto 1  | Eb5 D5 C5 |
alto 2  | C5  B4 C5 |
tenor 1 | G4  G4 C4 |
tenor 2 | Eb4 F4 C4 |

count   | 1  |
alto 1  | G5 |
alto 2  | G5 |
tenor 1 | G3 |
tenor 2 | G3 |
",
                but: "\
system 2:
alto 2  | Eb5 |
tenor 1 | C4  |
",
            },
        },
        Exception {
            says: "between two instruments that are a section by name only, such as oboes over bassoons",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
section: double reeds
parts: oboe 1 = oboe
       oboe 2 = oboe
       bassoon 1 = bassoon
       bassoon 2 = bassoon

count     | 1  2   3  |
oboe 1    | A5 Bb5 A5 |
oboe 2    | F5 F5  F5 |
bassoon 1 | C4 D4  C4 |
bassoon 2 | A3 Bb3 A3 |
",
                but: "section: saxes",
            },
        },
        Exception {
            says: "chords shorter than a beat",
            silent: Silent::With("count   | 1  2  &  |"),
        },
        Exception {
            says: "passages that are not in rhythmic unison, except where the style asks for it (choir)",
            silent: Silent::Passage {
                passage: "\
key: D major
meter: 4/4
section: choir
parts: soprano = soprano voice
       alto = alto voice
       tenor = tenor voice
       bass = bass voice

count   | 1   2  3  4   | 1   3 |
soprano | D5  -  E5 -   | F#5 - |
alto    | A4  G4 A4 -   | D4  - |
tenor   | F#4 -  -  C#4 | A3  - |
bass    | D3  B2 A2 G2  | F#2 - |
",
                but: "style: choir",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let widest = input.setting(&RULE, "semitones");
    let mut last: Option<Gap<'_>> = None;
    let keeps = |p: &Passage| p.keeps_order && !p.section.chordal;
    for at in input.sonorities().filter(|at| keeps(at.passage)) {
        let sonority = at.sonority;
        if last
            .as_ref()
            .is_some_and(|l| !std::ptr::eq(l.at.passage, at.passage))
        {
            last = None;
        }
        let choir = at.passage.section.is_choir() && input.style.counterpoint;
        if !(at.is_block() || choir)
            || sonority.voices.len() < 4
            || sonority.voices.iter().any(|v| input.is_explained(v.note))
            || is_meant(at)
        {
            continue;
        }
        // A gap that a voice only passes through is no hole.
        let beat = input.score.felt_beat_at(sonority.onset);
        if sonority.end - sonority.onset < beat {
            continue;
        }
        let upper = sonority.voices.get(..sonority.voices.len() - 1);
        let wide = upper.unwrap_or_default().windows(2).find_map(|w| match w {
            [a, b]
                if f64::from(a.midi - b.midi) > widest
                    && (a.attacked || b.attacked)
                    && !by_name_only(at, [a, b]) =>
            {
                Some([a, b])
            }
            _ => None,
        });
        let Some(pair) = wide else { continue };
        let parts = pair.map(|v| v.note.part);
        // The same two parts that stay apart are reported once.
        if let Some(gap) = &mut last
            && gap.parts == parts
            && gap.at.index + 1 == at.index
        {
            gap.at = at;
            continue;
        }
        last = Some(Gap { at, parts });
        let faults = pair.map(|v| at.fault(v));
        let message = format!(
            "more than an octave between neighbours: {}",
            wording::who_has(input.score, &faults)
        );
        out.push(
            at.finding(input.score, &RULE, message)
                .parts(parts)
                .at_fault(&faults, "too far apart")
                .instead("close the gap: raise the lower of the two, or give it another chord note")
                .may_mend(nearby(input, at, &faults)),
        );
    }
}

/// Whether two voices are different instruments of a section that holds by its name alone.
fn by_name_only(at: SonorityAt<'_>, voices: [&Voice; 2]) -> bool {
    let section = &at.passage.section;
    let [a, b] = voices.map(|v| {
        let member = section.parts.iter().find(|m| m.part == v.note.part);
        member.and_then(|m| m.instrument).map(|i| &i.key)
    });
    section.is(Property::GroupedByName) && a != b
}

/// A gap between two parts, and where it was heard last.
struct Gap<'a> {
    at: SonorityAt<'a>,
    parts: [u32; 2],
}

/// Right in its technique, a spread, or one note in octaves.
fn is_meant(at: SonorityAt<'_>) -> bool {
    let Some(diagnosis) = at.passage.diagnoses.get(at.index) else {
        return false;
    };
    let spread = diagnosis.technique.is_some_and(|t| {
        matches!(
            t.technique,
            Technique::Form(Form::Spread | Form::TriadOverBass | Form::Octaves | Form::Unison)
        )
    });
    spread
        || matches!(diagnosis.verdict, Verdict::Right(_))
        || classes_of(&at.sonority.midi()).len() < 3
}

crate::rules::test_examples!(RULE);
