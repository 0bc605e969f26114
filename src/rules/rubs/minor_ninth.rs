//! `minor-ninth`: no two voices a minor ninth apart. Published: jazz arranging course, orchestration
//! blogs; the exceptions from a textbook on jazz voicings.

use crate::diagnosis::{Fault, Passage, SlipKind, Verdict};
use crate::finding::{Finding, Level};
use crate::ground::chord::Family;
use crate::ground::instrument::Property;
use crate::ground::pitch::PitchClass;
use crate::rules::diagnosed::SlipAt;
use crate::rules::diagnosed::SonorityAt;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::wording;
use crate::sonority::Sonority;
use crate::voicing::{Mechanical, mechanical_of, minor_ninths};

pub static RULE: Rule = Rule {
    name: "minor-ninth",
    group: Group::Rubs,
    asks: "No two voices of a chord lie a minor ninth apart (or that and an octave more), and no two sections hold a half step or a minor ninth against each other.",
    why: "A half step spread over an octave is the hardest dissonance two horns can make: it sounds like a wrong note however right both notes are for the chord.",
    source: "published: jazz arranging course, textbook on jazz voicings",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: saxes
technique: drop 2
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Cmaj7 -   -  |
count   | 1     2   3  |
alto 1  | G5    E5  C5 |
alto 2  | C5    B4  G4 |
tenor 1 | B4    G4  E4 |
tenor 2 | E4    C4  B3 |
                    ^^ should be A3
fix: tenor 2: write A3 (written B4) instead of B3 (written C#5)
",
        right: "tenor 2 | E4    C4  A3 |",
    }],
    exceptions: &[
        Exception {
            says: "the b9 over the root of its own dominant",
            silent: Silent::Passage {
                passage: "\
key: F minor
meter: 4/4
section: saxes
technique: drop 3
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | C7b9 | Fm6 |
count   | 1    | 1   |
alto 1  | E5   | F5  |
alto 2  | Db5  | D5  |
tenor 1 | Bb4  | Ab4 |
tenor 2 | C4   | C4  |
",
                but: "\
chord   | Cmaj7 | Fm6 |
alto 2  | C5    | D5  |
tenor 1 | G4    | Ab4 |
tenor 2 | B3    | C4  |
",
            },
        },
        Exception {
            says: "in free writing, the b9 over the root of its own dominant",
            silent: Silent::Passage {
                passage: "\
key: C minor
meter: 4/4
section: trombones
technique: free
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | G7b9 -  | Cm6 |
count      | 1    3  | 1   |
trombone 1 | Ab4  F4 | Eb4 |
trombone 2 | F4   D4 | C4  |
trombone 3 | B3   B3 | A3  |
trombone 4 | G3   G3 | G3  |
",
                but: "\
chord      | Abmaj7 G7b9 | Cm6 |
trombone 3 | C4     B3   | A3  |
",
            },
        },
        Exception {
            says: "a chord of half a beat or less that moves on",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: trombones
technique: drop 2
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone
       trombone 4 = bass trombone

chord      | Fmaj7 -   -  -  |
count      | 1     3   3& 4  |
trombone 1 | A4    G4  F4 E4 |
trombone 2 | E4    Db4 C4 A3 |
trombone 3 | C4    Bb3 A3 F3 |
trombone 4 | F3    E3  E3 C3 |
",
                but: "count      | 1     2  3  4  |",
            },
        },
        Exception {
            says: "in free writing, a chord shorter than a beat",
            silent: Silent::Passage {
                passage: "\
key: Ab major
meter: 4/4
section: trumpets
technique: free
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

chord     | Abmaj7 -   Db6 |
count     | 1      3&  4   |
trumpet 1 | Eb5    Ab5 F5  |
trumpet 2 | C5     Eb5 Db5 |
trumpet 3 | G4     G4  Bb4 |
",
                but: "count     | 1      3  4   |",
            },
        },
        Exception {
            says: "in free writing, voicings in fourths",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: brass
technique: free
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

chord      | Dm11 -  |
count      | 1    3  |
trumpet 1  | F5   E5 |
trumpet 2  | C5   B4 |
trumpet 3  | G4   A4 |
trombone 1 | D4   D4 |
trombone 2 | A3   C4 |
trombone 3 | E3   F3 |
",
                but: "trombone 2 | C4   C4 |",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    for at in input.slips() {
        if let SlipKind::MinorNinth(upper, lower) = at.slip.kind {
            out.push(in_technique(input, &at, upper, lower));
        }
    }
    for at in input.sonorities().filter(|at| !at.passage.section.chordal) {
        let free = at.verdict() == Some(&Verdict::LeftAlone);
        if free && at.is_block() {
            out.extend(in_free_writing(input, at));
        }
    }
    between_sections(input, out);
}

/// Two sections that hold a half step or a minor ninth against each other for a beat. One finding for
/// a beat and a pair of sections, at the note that comes second.
fn between_sections(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let horns: Vec<&Passage> = input
        .passages
        .iter()
        .filter(|p| {
            let section = &p.section;
            !(section.chordal || section.is(Property::BassLine) || section.is(Property::Unpitched))
        })
        .collect();
    for (i, own) in horns.iter().enumerate() {
        for other in horns.iter().enumerate().filter(|(j, _)| *j != i) {
            let (j, other) = other;
            // Sonorities are in order of time, in both.
            let mut at = 0;
            for (index, sonority) in own.sonorities.iter().enumerate() {
                if !own.is_block_phrase(index) || !sonority.is_block() {
                    continue;
                }
                let started = |s: &Sonority| s.onset <= sonority.onset;
                while other.sonorities.get(at).is_some_and(started) {
                    at += 1;
                }
                let Some((k, beside)) = at
                    .checked_sub(1)
                    .and_then(|k| Some((k, other.sonorities.get(k)?)))
                else {
                    continue;
                };
                // Where both start together the pair is looked at once.
                let twice = beside.onset == sonority.onset && j < i;
                if twice || beside.voices.len() < 3 || !other.is_block_phrase(k) {
                    continue;
                }
                out.extend(clash(input, (own, index, sonority), (other, beside)));
            }
        }
    }
}

fn clash(
    input: &RuleInput<'_>,
    (own, index, sonority): (&Passage, usize, &Sonority),
    (other, beside): (&Passage, &Sonority),
) -> Option<Finding> {
    let mut rubs = sonority
        .voices
        .iter()
        .flat_map(|a| beside.voices.iter().map(move |b| (a, b)))
        .filter(|(a, b)| matches!((a.midi - b.midi).abs(), 1 | 13))
        .peekable();
    rubs.peek()?;
    let beat = input.score.felt_beat_at(sonority.onset);
    // A push is judged by the chord that it anticipates, in either section.
    let own_read = own.diagnoses.get(index).and_then(|d| d.under);
    let chord = input
        .score
        .chord_at(own_read.map_or(sonority.onset, |t| t.max(sonority.onset)))
        .and_then(|m| m.value.chord.as_ref())?;
    let dominant = matches!(
        chord.family(),
        Family::Dominant | Family::Altered | Family::DominantSuspended
    );
    let root = chord.root.class();
    let (a, b) = rubs.find(|(a, b)| {
        let (upper, lower) = if a.midi >= b.midi { (a, b) } else { (b, a) };
        let together = a.end.min(b.end) - sonority.onset;
        together >= beat
            && !(dominant && (lower.pitch.class() == root || upper.pitch.class() == root))
            && !input.is_explained(a.note)
            && !input.is_explained(b.note)
    })?;
    let faults = [a, b].map(|v| Fault {
        note: v.note,
        found: v.pitch,
        voice: 1,
        expected: v.pitch,
    });
    let message = format!(
        "{} and {} clash: {}",
        own.section.name,
        other.section.name,
        wording::who_has(input.score, &faults)
    );
    let force = own.diagnoses.get(index).and_then(|d| d.technique);
    Some(
        RULE.finding(sonority.at, message)
            .level(Level::Warning)
            .because("Two sections that hold a half step against each other sound like a wrong note, however right each is by itself: agree on one tension for both.")
            .source("common practice, no source")
            .section(&own.section.name)
            .chord(Some(&chord.text))
            .technique(force.map(|f| f.technique))
            .at_fault(&faults, "clashes")
            .sounding(sonority.pitches())
            .instead("let both sections have the same tension, or the chord note in its place"),
    )
}

fn pair(sonority: &Sonority, upper: u8, lower: u8) -> String {
    let name = |i: u8| {
        sonority
            .voices
            .get(i as usize)
            .map(|v| v.pitch.to_string())
            .unwrap_or_default()
    };
    format!("{} over {} (sounding)", name(upper), name(lower))
}

fn level(held: bool) -> Level {
    if held { Level::Error } else { Level::Warning }
}

fn in_technique(input: &RuleInput<'_>, at: &SlipAt<'_>, upper: u8, lower: u8) -> Finding {
    // What is written may be in another technique than the one in force.
    let technique = mechanical_of(&at.place.sonority.midi())
        .map(Mechanical::name)
        .or(at.diagnosis.technique.map(|t| t.technique.name()))
        .unwrap_or("this technique");
    let message = format!(
        "{technique} makes a minor ninth here, {}: {}",
        pair(at.place.sonority, upper, lower),
        at.who_has(input.score)
    );
    at.finding(input.score, &RULE, message)
        .level(at.level(level(at.is_held())))
}

/// In writing that is held to no technique: two notes of one chord symbol, struck together and
/// held a beat.
fn in_free_writing(input: &RuleInput<'_>, at: SonorityAt<'_>) -> Option<Finding> {
    let sonority = at.sonority;
    let chord = input
        .score
        .chord_at(at.read_at())
        .and_then(|m| m.value.chord.as_ref())?;
    let lead = at.lead()?;
    if lead.duration() < lead.beat {
        return None;
    }
    let midi = sonority.midi();
    let fourths = midi
        .windows(2)
        .all(|w| matches!(w, [a, b] if matches!(a - b, 5 | 6)));
    if fourths {
        return None;
    }
    let dominant = matches!(
        chord.family(),
        Family::Dominant | Family::Altered | Family::DominantSuspended
    );
    let struck = |i: usize| sonority.voices.get(i).is_some_and(|v| v.attacked);
    let (upper, lower) = minor_ninths(&midi).find(|&(upper, lower)| {
        // A lead held over may be suspended.
        struck(upper)
            && struck(lower)
            && !(dominant
                && midi
                    .get(lower)
                    .is_some_and(|&m| PitchClass::new(m) == chord.root.class()))
    })?;
    let voices = [sonority.voices.get(upper)?, sonority.voices.get(lower)?];
    let faults = voices.map(|v| at.fault(v));
    if faults.iter().any(|f| input.is_claimed(f.note)) {
        return None;
    }
    let message = format!(
        "a minor ninth, {}: {}",
        pair(sonority, upper as u8, lower as u8),
        wording::who_has(input.score, &faults)
    );
    Some(
        at.finding(input.score, &RULE, message)
            .chord(Some(&chord.text))
            .level(level(true))
            .parts(faults.iter().map(|f| f.note.part))
            .at_fault(&faults, "minor ninth")
            .instead("exchange the octaves of the two voices, or put a tension in place of one of the notes"),
    )
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::proof::proof;
    use crate::reading::grid;
    use crate::style::Style;

    fn band(trumpet_1: &str) -> String {
        format!(
            "key: C\nmeter: 4/4\nparts: trumpet 1 = trumpet\ntrumpet 2 = trumpet\n\
             trumpet 3 = trumpet\ntrumpet 4 = trumpet\nalto 1 = alto saxophone\n\
             alto 2 = alto saxophone\ntenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\n\n\
             chord | Cmaj7 - |\ncount | 1 3 |\n{trumpet_1}\
             alto 1 | B4 G4 |\nalto 2 | E4 C4 |\ntenor 1 | C4 B3 |\ntenor 2 | G3 E3 |\n"
        )
    }

    #[test]
    fn sections_that_hold_a_half_step_against_each_other_clash() {
        // Common practice, no source.
        let read = |text: &str| {
            grid::read(std::path::Path::new("x.passage"), text.into())
                .unwrap_or_else(|e| panic!("{e}"))
        };
        // Trumpets on C6, saxes with B on top of theirs: C5 over B4.
        let clashing = read(&band(
            "trumpet 1 | G5 E5 |\ntrumpet 2 | E5 C5 |\ntrumpet 3 | C5 A4 |\ntrumpet 4 | A4 G4 |\n",
        ));
        let found = proof(&clashing, &Style::default()).findings;
        let rubs: Vec<_> = found.iter().filter(|f| f.rule == "minor-ninth").collect();
        assert_eq!(rubs.len(), 2, "{found:#?}");
        assert!(rubs[0].message.contains("clash"), "{}", rubs[0].message);
        assert_eq!(rubs[0].parts.len(), 2);
        // Both on the major seventh: no clash.
        let agreed = read(&band(
            "trumpet 1 | G5 E5 |\ntrumpet 2 | E5 B4 |\ntrumpet 3 | B4 G4 |\ntrumpet 4 | G4 E4 |\n",
        ));
        let found = proof(&agreed, &Style::default()).findings;
        assert!(found.iter().all(|f| f.rule != "minor-ninth"), "{found:#?}");
    }

    #[test]
    fn the_root_on_top_of_its_major_seventh_in_drop_2_is_one_rub_and_the_tune_stays() {
        // Published: textbook on jazz voicings (the sixth takes the place of the major seventh under
        // the root).
        use crate::voicing::Mechanical;
        let close = [[72, 71, 67, 64], [77, 76, 72, 69], [70, 69, 65, 62]];
        for (chord, close) in ["Cmaj7", "Fmaj7", "Bbmaj7"].into_iter().zip(close) {
            let dropped = Mechanical::Drop2.apply(&close);
            let names: Vec<String> = dropped
                .iter()
                .map(|&m| crate::ground::pitch::Pitch::in_key(m, -1).to_string())
                .collect();
            let [a, b, c, d] = names.as_slice() else {
                panic!("four voices")
            };
            let text = format!(
                "key: F\nmeter: 4/4\ntechnique: four-way close\nparts: alto 1 = alto saxophone\n\
                 alto 2 = alto saxophone\ntenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\n\n\
                 chord | {chord} |\ncount | 1 |\n\
                 alto 1 | {a} |\nalto 2 | {b} |\ntenor 1 | {c} |\ntenor 2 | {d} |\n"
            );
            let score = grid::read(std::path::Path::new("x.passage"), text.into()).unwrap();
            let found = proof(&score, &Style::default()).findings;
            let [rub] = found.as_slice() else {
                panic!("{found:#?}")
            };
            assert_eq!(rub.rule, "minor-ninth");
            assert!(rub.message.contains("drop 2 makes"), "{}", rub.message);
            let fix = rub.fix.as_ref().unwrap();
            assert!(fix.changes.iter().all(|c| c.note.part != 0), "{chord}");
            // Each part keeps its seat.
            let expected: Vec<i16> = rub.expected.iter().map(|p| p.midi()).collect();
            let now = |part: u32| fix.changes.iter().find(|c| c.note.part == part);
            for (part, midi) in (0u32..).zip(expected) {
                let own =
                    now(part).map_or(score.parts[part as usize].notes[0].sounding, |c| c.sounding);
                assert_eq!(own.midi(), midi, "{chord}");
            }
        }
    }
}
