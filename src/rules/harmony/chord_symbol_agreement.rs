//! `chord-symbol-agreement`: one harmony, the same symbol in every part that carries one. Common
//! practice, no source.

use crate::finding::{Finding, Level};
use crate::ground::chord::Chord;
use crate::ground::instrument::Property;
use crate::ground::pitch::{NoteName, Transposition};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::{whole, wording};
use crate::score::{ChordMark, Mark, Part, Score};
use crate::voicing::Classes;
use smallvec::SmallVec;
use std::collections::BTreeMap;

pub static RULE: Rule = Rule {
    name: "chord-symbol-agreement",
    group: Group::Harmony,
    asks: "Parts that carry chord symbols have the same chord at the same beat, each transposed for its player, and every symbol can be read. More or fewer tensions over it (C7 and C13) are a note.",
    why: "Two players who comp or improvise on different chords clash, and a symbol at concert pitch over a transposed part is wrong in every bar.",
    source: "common practice, no source",
    level: Level::Error,
    off: false,
    depends_on: DependsOn::Page,
    settings: &[],
    examples: &[Example {
        wrong: "\
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet

count     | 1  3  | 1  3  |
            ^ trumpet 2
trumpet 1 | E5 G5 | E5 G5 |
trumpet 2 | B4 E5 | B4 E5 |
trumpet 3 | G4 B4 | G4 B4 |
on the page:
trumpet 1, bar 1, beat 1: dynamic mf
trumpet 2, bar 1, beat 1: dynamic mf
trumpet 3, bar 1, beat 1: dynamic mf
trumpet 1, bar 1, beat 1: symbol Cmaj7
trumpet 2, bar 1, beat 1: symbol Cm7
suggestion: write the same chord in both: Cmaj7 at concert pitch
",
        right: "\
not on the page:
trumpet 2, bar 1, beat 1: symbol Cm7
on the page:
trumpet 2, bar 1, beat 1: symbol Cmaj7
",
    }],
    exceptions: &[
        Exception {
            says: "the same chord spelled otherwise (Db7 and C#7)",
            silent: Silent::Passage {
                passage: "\
key: Gb major
meter: 4/4
parts: alto = alto saxophone
       trombone = trombone

count    | 1   3   | 1   |
alto     | Ab4 F4  | Gb4 |
trombone | B3  Ab3 | Bb3 |
on the page:
alto, bar 1, beat 1: symbol C#7
trombone, bar 1, beat 1: symbol Db7
",
                but: "\
not on the page:
alto, bar 1, beat 1: symbol C#7
on the page:
alto, bar 1, beat 1: symbol C#m7
",
            },
        },
        Exception {
            says: "beats at which only one part has a symbol, unless the others have the same one within a bar",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
parts: guitar = guitar
       piano = piano

count  | 1        3         4   |
guitar | C5       D5        Bb4 |
piano  | A4+F4+C4 Bb4+G4+D4 -   |
on the page:
guitar, bar 1, beat 1: symbol F6
guitar, bar 1, beat 3: symbol Gm7
piano, bar 1, beat 1: symbol F6
piano, bar 1, beat 4: symbol C7
",
                but: "\
not on the page:
piano, bar 1, beat 4: symbol C7
on the page:
piano, bar 1, beat 3: symbol C7
",
            },
        },
    ],
};

/// How many symbols have to be alike before a part counts as written at concert pitch.
const ENOUGH: usize = 3;

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    unreadable(score, out);
    let concert = at_concert_pitch(score);
    for &p in &concert {
        let Some((part, first)) = score
            .parts
            .get(p as usize)
            .and_then(|part| Some((part, part.chords.iter().find(|m| m.value.chord.is_some())?)))
        else {
            continue;
        };
        let name = wording::part(score, p);
        let sample = as_written(part, first).map_or(String::new(), |(is, wants)| {
            format!(" (the first is {is} and should be {wants})")
        });
        out.push(
            RULE
                .finding(
                    first.at,
                    format!(
                        "the chord symbols of {name} stand at concert pitch, but the part is transposed{sample}"
                    ),
                )
                .parts([p])
                .instead(format!("{name}: transpose all chord symbols as the notes are")),
        );
    }
    disagreements(input, &concert, out);
    moved(input, &concert, out);
}

/// Symbols that one part has at another time than the others, within a bar: they change on 1, it on 3.
fn moved(input: &RuleInput<'_>, concert: &[u32], out: &mut Vec<Finding>) {
    let score = input.score;
    let carriers =
        score.parts.iter().zip(0u32..).filter(|(p, i)| {
            !concert.contains(i) && p.chords.iter().any(|m| m.value.chord.is_some())
        });
    let carriers: Vec<(&Part, u32)> = carriers.collect();
    let (Some(most), true) = (
        carriers.iter().map(|(p, _)| p.chords.len()).max(),
        carriers.len() > 1,
    ) else {
        return;
    };
    // Who has far fewer symbols leaves some out on purpose.
    let full = |p: &Part| p.chords.len() * 10 >= most * 8;
    let beats = by_beat(score);
    let says = |p: u32, at: Ticks| {
        let here = beats.get(&at)?;
        here.iter().find(|(o, _)| *o == p).map(|(_, m)| *m)
    };
    for (part, index) in carriers.iter().filter(|(p, _)| full(p)) {
        let others: Vec<u32> = carriers
            .iter()
            .filter(|(p, o)| o != index && full(p))
            .map(|(_, o)| *o)
            .collect();
        for mark in part.chords.iter().filter(|m| m.value.unread.is_none()) {
            // Nobody else has a symbol here; all others have this one near by, and this part none there.
            if others.is_empty() || others.iter().any(|o| says(*o, mark.onset).is_some()) {
                continue;
            }
            let bar = score
                .bars
                .get(mark.at.bar as usize)
                .map_or(Ticks::ZERO, |b| b.length);
            let near = beats.range(mark.onset - bar..mark.onset + bar);
            let place = near.map(|(at, _)| *at).find(|at| {
                *at != mark.onset
                    && says(*index, *at).is_none()
                    && others
                        .iter()
                        .all(|o| says(*o, *at).is_some_and(|m| alike(&m.value, &mark.value)))
            });
            let Some(at) = place.filter(|at| is_alone(part, mark, *at)) else {
                continue;
            };
            let name = wording::part(score, *index);
            let models = whole::names(score, &others);
            let (own, theirs) = (input.beat_of(mark.onset), input.beat_of(at));
            let text = mark
                .value
                .chord
                .as_ref()
                .map_or("no chord", |c| c.text.as_str());
            let when = if mark.onset > at { "late" } else { "early" };
            let message = format!(
                "{name} has {text} (sounding) on {own}, {when}: {models} {} it on {theirs}",
                whole::has(&others)
            );
            out.push(
                RULE.finding(mark.at, message)
                    .level(Level::Warning)
                    .parts([*index])
                    .instead(format!("{name}: move the symbol to {theirs}"))
                    .chord(mark.value.chord.as_ref().map(|c| c.text.as_str())),
            );
        }
    }
}

/// Whether no other symbol of the part stands between a symbol and where it should be.
fn is_alone(part: &Part, mark: &Mark<ChordMark>, at: Ticks) -> bool {
    let (from, to) = (mark.onset.min(at), mark.onset.max(at));
    let between = |m: &&Mark<ChordMark>| m.onset >= from && m.onset <= to;
    part.chords.iter().filter(between).count() == 1
}

/// The first symbol of a part at concert pitch as it is written, and as it should be.
fn as_written(part: &Part, mark: &Mark<ChordMark>) -> Option<(String, String)> {
    let sounding = mark.value.chord.as_ref()?;
    let inverse = part.transposition(mark.onset).inverse();
    // What is on the page is meant to sound as it stands.
    let meant = sounding.transposed(inverse);
    Some((meant.text.clone(), meant.transposed(inverse).text))
}

fn unreadable(score: &Score, out: &mut Vec<Finding>) {
    let mut by_text: BTreeMap<&str, Vec<(u32, &Mark<ChordMark>)>> = BTreeMap::new();
    for (p, part) in score.parts.iter().enumerate() {
        for mark in part.chords.iter().filter(|m| m.value.unread.is_some()) {
            by_text
                .entry(&mark.value.written)
                .or_default()
                .push((p as u32, mark));
        }
    }
    for (text, places) in by_text {
        let Some((_, first)) = places.iter().min_by_key(|(p, m)| (m.onset, *p)) else {
            continue;
        };
        let why = first.value.unread.as_deref().unwrap_or_default();
        let mut parts: Vec<u32> = places.iter().map(|(p, _)| *p).collect();
        parts.sort_unstable();
        parts.dedup();
        let times = if places.len() > 1 {
            format!(", {} times, here for the first time", places.len())
        } else {
            String::new()
        };
        out.push(
            RULE
                .finding(
                    first.at,
                    format!(
                        "the chord symbol `{text}` cannot be read ({why}){times}; nothing is checked against it"
                    ),
                )
                .level(Level::Warning)
                .parts(parts)
                .instead("write root, quality and tensions as in C7, F#m7b5, Bbmaj7, G13(b9), D7/A"),
        );
    }
}

fn classes(chord: &Chord) -> Classes {
    let mut all: Classes = chord.classes().collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn same(a: &Chord, b: &Chord) -> bool {
    a.root.class() == b.root.class()
        && a.bass.map(NoteName::class) == b.bass.map(NoteName::class)
        && a.altered == b.altered
        && classes(a) == classes(b)
}

/// Whether two symbols say the same: one chord, or both none.
fn alike(a: &ChordMark, b: &ChordMark) -> bool {
    match (&a.chord, &b.chord) {
        (Some(a), Some(b)) => same(a, b),
        (None, None) => true,
        _ => false,
    }
}

/// The same chord with more or fewer tensions: for the one who plays from it a note.
fn is_simpler(a: &Chord, b: &Chord) -> bool {
    let (x, y) = (classes(a), classes(b));
    a.root.class() == b.root.class()
        && (x.iter().all(|c| y.contains(c))
            || y.iter().all(|c| x.contains(c))
            || a.altered
            || b.altered)
}

/// Symbols of one beat: which part has which.
type Beat<'a> = SmallVec<[(u32, &'a Mark<ChordMark>); 4]>;

fn by_beat(score: &Score) -> BTreeMap<Ticks, Beat<'_>> {
    let mut beats: BTreeMap<Ticks, Beat<'_>> = BTreeMap::new();
    for (p, part) in score.parts.iter().enumerate() {
        for mark in part.chords.iter().filter(|m| m.value.unread.is_none()) {
            let at = beats.entry(mark.onset).or_default();
            // A part that has two at once is a mistake of the file, not of the music.
            if at.last().is_none_or(|(last, _)| *last != p as u32) {
                at.push((p as u32, mark));
            }
        }
    }
    beats
}

/// Transposed parts whose symbols, as they are written, are the concert chords of the other parts.
fn at_concert_pitch(score: &Score) -> Vec<u32> {
    let by = |p: u32, onset: Ticks| {
        score
            .parts
            .get(p as usize)
            .map_or(Transposition::NONE, |part| part.transposition(onset))
    };
    let mut counts: BTreeMap<u32, (usize, usize)> = BTreeMap::new();
    for (onset, beat) in by_beat(score) {
        if beat.len() < 2 {
            continue;
        }
        for (p, mark) in &beat {
            let (Some(chord), shift) = (&mark.value.chord, by(*p, onset)) else {
                continue;
            };
            if shift.chromatic.rem_euclid(12) == 0 {
                continue;
            }
            let written = chord.transposed(shift.inverse());
            let others: Vec<&Chord> = beat
                .iter()
                .filter(|(o, _)| {
                    o != p
                        && by(*o, onset).chromatic.rem_euclid(12) != shift.chromatic.rem_euclid(12)
                })
                .filter_map(|(_, m)| m.value.chord.as_ref())
                .collect();
            if others.is_empty() {
                continue;
            }
            let slot = counts.entry(*p).or_default();
            slot.1 += 1;
            slot.0 += usize::from(
                others
                    .iter()
                    .all(|o| o.root.class() == written.root.class())
                    && others.iter().all(|o| o.root.class() != chord.root.class()),
            );
        }
    }
    let mut found: Vec<u32> = counts
        .into_iter()
        .filter(|(_, (alike, of))| *alike >= ENOUGH && alike * 10 >= of * 8)
        .map(|(p, _)| p)
        .collect();
    // Two transposed parts that differ each look wrong beside the other: the one with a concert part
    // to lean on is reported.
    let plain = |p: &u32| by(*p, Ticks::ZERO).chromatic.rem_euclid(12) == 0;
    let leans = score
        .parts
        .iter()
        .enumerate()
        .any(|(i, part)| !part.chords.is_empty() && plain(&(i as u32)));
    if !leans && found.len() > 1 {
        found.clear();
    }
    found
}

/// The score with such symbols read as they are meant, when it has any.
pub fn as_meant(score: &Score) -> Option<Score> {
    let concert = at_concert_pitch(score);
    if concert.is_empty() {
        return None;
    }
    let mut meant = score.clone();
    let mut all: Vec<Mark<ChordMark>> = Vec::new();
    for (p, part) in score.parts.iter().enumerate() {
        for mark in &part.chords {
            let mut mark = mark.clone();
            if concert.contains(&(p as u32)) {
                let inverse = part.transposition(mark.onset).inverse();
                mark.value.chord = mark.value.chord.map(|c| c.transposed(inverse));
            }
            all.push(mark);
        }
    }
    all.sort_by_key(|m| (m.onset, m.value.unread.is_some()));
    all.dedup_by_key(|m| m.onset);
    meant.chords = all.into();
    Some(meant)
}

/// Two symbols, what is found and what others have, and who has the first.
type Pair = (String, String, Vec<u32>);

/// Whether only singers have symbols, fewer than one in this many bars: letters of a text, read as symbols.
const BARS_OF_A_LETTER: usize = 4;

fn are_letters(input: &RuleInput<'_>) -> bool {
    let has = |part: u32| {
        let part = input.score.parts.get(part as usize);
        part.is_some_and(|p| p.chords.iter().any(|m| m.value.chord.is_some()))
    };
    let mut members = input.passages.iter().flat_map(|p| &p.section.parts);
    let sung = members.all(|m| !has(m.part) || m.instrument.is_some_and(|i| i.is(Property::Sung)));
    let symbols = input
        .score
        .chords
        .iter()
        .filter(|m| m.value.chord.is_some());
    sung && symbols.count() * BARS_OF_A_LETTER < input.score.bars.len()
}

fn disagreements(input: &RuleInput<'_>, concert: &[u32], out: &mut Vec<Finding>) {
    let score = input.score;
    if are_letters(input) {
        return;
    }
    // The same pair of symbols in the same parts is reported once, with its count.
    let mut reported: BTreeMap<Pair, (usize, usize)> = BTreeMap::new();
    for beat in by_beat(score).into_values() {
        let held: Beat<'_> = beat
            .into_iter()
            .filter(|(p, _)| !concert.contains(p))
            .collect();
        let Some((_, first)) = held.first() else {
            continue;
        };
        if held.iter().all(|(_, m)| alike(&m.value, &first.value)) {
            continue;
        }
        let mut groups: Vec<(&ChordMark, Vec<u32>)> = Vec::new();
        for (p, mark) in &held {
            match groups.iter_mut().find(|(own, _)| alike(own, &mark.value)) {
                Some((_, parts)) => parts.push(*p),
                None => groups.push((&mark.value, vec![*p])),
            }
        }
        let best = groups.iter().map(|g| g.1.len()).max();
        let Some(model) = groups.iter().position(|g| Some(g.1.len()) == best) else {
            continue;
        };
        let (wanted, with) = groups.swap_remove(model);
        let at = first.at;
        for (own, parts) in groups {
            let text = |mark: &ChordMark| {
                let chord = mark.chord.as_ref();
                chord.map_or("no chord", |c| c.text.as_str()).to_owned()
            };
            let key = (text(own), text(wanted), parts.clone());
            if let Some((times, _)) = reported.get_mut(&key) {
                *times += 1;
                continue;
            }
            let simpler =
                matches!((&own.chord, &wanted.chord), (Some(a), Some(b)) if is_simpler(a, b));
            let names = whole::names(score, &parts);
            reported.insert(key, (1, out.len()));
            out.push(
                RULE.finding(
                    at,
                    format!(
                        "{names} {} {} (sounding) where {} {} {}",
                        whole::has(&parts),
                        text(own),
                        whole::names(score, &with),
                        whole::has(&with),
                        text(wanted)
                    ),
                )
                .level(if simpler { Level::Note } else { Level::Warning })
                .parts(parts.clone())
                .instead(format!(
                    "write the same chord in both: {} at concert pitch",
                    text(wanted)
                ))
                .chord(wanted.chord.as_ref().map(|c| c.text.as_str())),
            );
        }
    }
    for (times, index) in reported.into_values() {
        if let Some(finding) = out.get_mut(index).filter(|_| times > 1) {
            finding.message = format!(
                "{}, {times} times, here for the first time",
                finding.message
            );
        }
    }
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::finding::Level;
    use crate::rules::shared::whole::pages::{places, said, score};

    const RULE: &str = "chord-symbol-agreement";

    #[test]
    fn another_chord_at_the_same_beat_is_told() {
        let one: &[&str] = &["chord-C-dominant C5:8", "chord-F-major-seventh C5:8"];
        let two: &[&str] = &["chord-C-minor-seventh C4:8", "chord-F-major-seventh C4:8"];
        let wrong = score(&[("Piano", one), ("Guitar", two)]);
        assert_eq!(places(&wrong, RULE), ["1 1: Guitar"]);
        let right = score(&[("Piano", one), ("Guitar", one)]);
        assert!(places(&right, RULE).is_empty());
    }

    #[test]
    fn another_spelling_is_the_same_chord() {
        let one: &[&str] = &["chord-Db-dominant C5:8"];
        let two: &[&str] = &["chord-C#-dominant C5:8"];
        assert!(places(&score(&[("Piano", one), ("Guitar", two)]), RULE).is_empty());
    }

    #[test]
    fn more_tensions_over_the_same_chord_are_a_note() {
        // Common practice, no source.
        let one: &[&str] = &["chord-C-dominant C5:8"];
        for (kind, level) in [
            ("dominant-13th", Level::Note),
            ("minor-seventh", Level::Warning),
        ] {
            let other = format!("chord-C-{kind} C4:8");
            let two: &[&str] = &[&other];
            let found = said(&score(&[("Piano", one), ("Guitar", two)]), RULE);
            let levels: Vec<Level> = found.iter().map(|f| f.level).collect();
            assert_eq!(levels, [level], "{kind}");
        }
    }

    #[test]
    fn symbols_at_concert_pitch_over_a_transposed_part_are_one_finding() {
        let bars = ["C-dominant", "F-dominant", "Bb-major", "G-dominant"];
        let concert: Vec<String> = bars.iter().map(|c| format!("chord-{c} C5:8")).collect();
        let concert: Vec<&str> = concert.iter().map(String::as_str).collect();
        let wrong: Vec<String> = concert
            .iter()
            .enumerate()
            .map(|(i, b)| {
                let head = if i == 0 { "alto-sax " } else { "" };
                format!("{head}{}", b.replace("C5", "A5"))
            })
            .collect();
        let wrong: Vec<&str> = wrong.iter().map(String::as_str).collect();
        let found = score(&[("Alto Sax", &wrong), ("Piano", &concert)]);
        assert_eq!(places(&found, RULE), ["1 1: Alto Sax"]);
        let message = &said(&found, RULE)[0].message;
        assert!(message.contains("is C7 and should be A7"), "{message}");
    }

    #[test]
    fn a_symbol_that_cannot_be_read_is_told_once() {
        let bad = "<harmony><root><root-step>C</root-step></root><kind>sideways</kind></harmony>";
        let bars = [format!("{bad} C5:8"), format!("{bad} C5:8")];
        let bars: Vec<&str> = bars.iter().map(String::as_str).collect();
        assert_eq!(places(&score(&[("Piano", &bars)]), RULE).len(), 1);
    }

    #[test]
    fn a_symbol_that_comes_late_in_one_part_is_told() {
        let on_one: &[&str] = &["chord-F-major-seventh C5:8", "chord-C-dominant C5:8"];
        let late: &[&str] = &["chord-F-major-seventh C4:8", "C4:4 chord-C-dominant C4:4"];
        let found = score(&[("Piano", on_one), ("Guitar", late), ("Bass", on_one)]);
        assert_eq!(places(&found, RULE), ["2 3: Guitar"]);
        let right = score(&[("Piano", on_one), ("Guitar", on_one), ("Bass", on_one)]);
        assert!(places(&right, RULE).is_empty());
    }
}
