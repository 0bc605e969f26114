//! `tempo-agreement`: the same tempo and feel in every part that carries them. Published: university
//! proofreading checklists; words of feel: common practice, no source.

use crate::finding::{Finding, Level};
use crate::ground::time::Ticks;
use crate::ground::words::known_words;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::whole;
use crate::score::{Mark, Part, Score};
use std::collections::BTreeSet;

pub static RULE: Rule = Rule {
    name: "tempo-agreement",
    group: Group::Agreement,
    asks: "Metronome marks and words of tempo and feel (swing, straight, rit.) are the same in all parts that carry them.",
    why: "A player whose part lacks the change finds out about it a bar late.",
    source: "published: university proofreading checklists; words of feel: common practice, no source",
    level: Level::Warning,
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

count     | 1  2  3  4  | 1  2  3  4  |
            ^ trumpet 3
trumpet 1 | E5 F5 G5 F5 | E5 D5 C5 D5 |
trumpet 2 | C5 D5 E5 D5 | C5 B4 A4 B4 |
trumpet 3 | G4 A4 B4 A4 | G4 F4 E4 F4 |
on the page:
trumpet 1, bar 1, beat 1: dynamic mf
trumpet 2, bar 1, beat 1: dynamic mf
trumpet 3, bar 1, beat 1: dynamic mf
trumpet 1, bar 1: tempo 120
trumpet 2, bar 1: tempo 120
trumpet 3, bar 1: tempo 132
suggestion: trumpet 3: write quarter = 120
",
        right: "\
not on the page:
trumpet 3, bar 1: tempo 132
on the page:
trumpet 3, bar 1: tempo 120
",
    }],
    exceptions: &[
        Exception {
            says: "a tempo over the top part of the score or of a section, or over the same parts each time: scores print it over the system",
            silent: Silent::Passage {
                passage: "\
key: F major
meter: 4/4
parts: flute = flute
       clarinet = clarinet

count    | 1  2  3  4  | 1  |
flute    | A4 C5 F5 E5 | F5 |
clarinet | F4 A4 C5 G4 | A4 |
on the page:
flute, bar 1: tempo 96
",
                but: "\
on the page:
clarinet, bar 1: tempo 104
",
            },
        },
        Exception {
            says: "parts with another number of bars",
            silent: Silent::With(
                "\
on the page:
trumpet 3, bar 2: ends before
",
            ),
        },
    ],
};

/// The tempo words of a text.
fn feel(text: &str) -> Vec<&'static str> {
    known_words().tempo.said(text)
}

/// What a part says of the tempo at one time.
fn said<'a, T: 'a>(
    marks: &'a [Mark<T>],
    onset: Ticks,
) -> impl Iterator<Item = &'a Mark<T>> + use<'a, T> {
    let from = marks.partition_point(|m| m.onset < onset);
    marks
        .iter()
        .skip(from)
        .take_while(move |m| m.onset == onset)
}

fn words_at(part: &Part, onset: Ticks) -> Vec<&'static str> {
    let mut all: Vec<&str> = said(&part.words, onset)
        .flat_map(|m| feel(&m.value.text))
        .collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// Whether a part has words of tempo anywhere in the bar of `onset`.
fn says_in_bar(part: &Part, onset: Ticks, score: &Score) -> bool {
    let bar = score.place_of(onset).bar;
    let from = part.words.partition_point(|m| m.at.bar < bar);
    part.words
        .iter()
        .skip(from)
        .take_while(|m| m.at.bar == bar)
        .any(|m| !feel(&m.value.text).is_empty())
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    let in_step = &input.whole().in_step;
    let part = |p: u32| score.parts.get(p as usize);
    if in_step.len() < 2 {
        return;
    }
    let mut times: BTreeSet<Ticks> = BTreeSet::new();
    for p in in_step.iter().filter_map(|&p| part(p)) {
        times.extend(p.tempos.iter().map(|m| m.onset));
        times.extend(
            p.words
                .iter()
                .filter(|m| !feel(&m.value.text).is_empty())
                .map(|m| m.onset),
        );
    }
    for onset in times {
        let beats: Vec<(u32, Option<u64>)> = in_step
            .iter()
            .filter_map(|&p| Some((p, part(p)?)))
            .map(|(p, own)| {
                // In hundredths, so that figures rounded otherwise still agree.
                let tempo = said(&own.tempos, onset)
                    .next()
                    .map(|m| (m.value * 10.0).round().max(0.0) as u64);
                (p, tempo)
            })
            .collect();
        let words: Vec<(u32, Option<Vec<&str>>)> = in_step
            .iter()
            .filter_map(|&p| Some((p, part(p)?)))
            .map(|(p, own)| (p, Some(words_at(own, onset)).filter(|w| !w.is_empty())))
            // The same words a beat off are only placed otherwise.
            .filter(|(p, w)| {
                w.is_some() || !part(*p).is_some_and(|own| says_in_bar(own, onset, score))
            })
            .collect();
        out.extend(in_some_only(input, onset, &beats));
        compare(
            input,
            onset,
            &beats,
            |t| format!("quarter = {}", *t as f64 / 10.0),
            Some("no tempo"),
            out,
        );
        let from = out.len();
        compare(
            input,
            onset,
            &words,
            |w| format!("\"{}\"", w.join(" ")),
            None,
            out,
        );
        // Over some parts of a system a word holds for all, and who rests is told by the conductor.
        let have = words.iter().filter(|(_, w)| w.is_some()).count();
        let few = have < 3 || have * 4 < words.len() * 3;
        for finding in out.iter_mut().skip(from) {
            if few
                || finding
                    .parts
                    .iter()
                    .all(|p| part(*p).is_some_and(|own| rests(own, onset, score)))
            {
                finding.level = finding.level.min(Level::Note);
            }
        }
    }
}

/// Whether a part has no note in the bar of this time.
fn rests(part: &Part, onset: Ticks, score: &Score) -> bool {
    let bar = score.place_of(onset).bar;
    !part.notes.iter().any(|n| n.at.bar == bar && n.sounds())
}

/// A new tempo over some parts only, which are neither the top of the score nor of a section: who prints
/// tempos over the system prints them there.
fn in_some_only(
    input: &RuleInput<'_>,
    onset: Ticks,
    beats: &[(u32, Option<u64>)],
) -> Option<Finding> {
    let score = input.score;
    let (with, without): (Vec<_>, Vec<_>) = beats.iter().partition(|(_, t)| t.is_some());
    let (_, tempo) = *with.first()?;
    let tempo = tempo?;
    let is_top = |part: u32| {
        let sections = input.passages.iter().map(|p| &p.section);
        let mut tops = sections.filter_map(|s| s.parts.iter().map(|m| m.part).min());
        part == 0 || tops.any(|top| top == part)
    };
    if with.len() * 2 > beats.len()
        || with.iter().any(|(_, t)| *t != Some(tempo))
        || with.iter().all(|(p, _)| is_top(*p))
        || is_custom(score, onset, &with)
    {
        return None;
    }
    let lack: Vec<u32> = without.iter().map(|(p, _)| *p).collect();
    let have: Vec<u32> = with.iter().map(|(p, _)| *p).collect();
    let tempo = format!("quarter = {}", tempo as f64 / 10.0);
    let message = format!(
        "{} {} no tempo where {} {} {tempo}",
        whole::names(score, &lack),
        whole::has(&lack),
        whole::names(score, &have),
        whole::has(&have),
    );
    let finding = RULE
        .finding(score.place_of(onset), message)
        .parts(lack.clone());
    Some(finding.instead(format!(
        "write {tempo} in every part, also in {}",
        whole::names(score, &lack)
    )))
}

/// Whether the same parts, and no others, carry other tempos of the score too.
fn is_custom(score: &Score, onset: Ticks, with: &[(u32, Option<u64>)]) -> bool {
    let carriers = |at: Ticks| {
        let parts = score.parts.iter().zip(0u32..);
        let here = parts.filter(|(p, _)| said(&p.tempos, at).next().is_some());
        here.map(|(_, i)| i).collect::<Vec<u32>>()
    };
    let own: Vec<u32> = with.iter().map(|(p, _)| *p).collect();
    let first = own.first().and_then(|p| score.parts.get(*p as usize));
    let mut others = first
        .iter()
        .flat_map(|p| &p.tempos)
        .filter(|m| m.onset != onset);
    others.any(|m| carriers(m.onset) == own)
}

fn compare<T: PartialEq + Clone>(
    input: &RuleInput<'_>,
    onset: Ticks,
    values: &[(u32, Option<T>)],
    words: impl Fn(&T) -> String,
    none: Option<&str>,
    out: &mut Vec<Finding>,
) {
    let score = input.score;
    let carriers = values.iter().filter(|(_, v)| v.is_some()).count();
    let most_carry = carriers >= 2 && carriers * 2 > values.len();
    // Where few carry it, those that do still have to agree.
    let held: Vec<(u32, Option<T>)> = values
        .iter()
        .filter(|(_, v)| most_carry || v.is_some())
        .cloned()
        .collect();
    let Some((Some(most), _, differ)) = whole::split(&held) else {
        return;
    };
    // A word over one of two is at times over the system.
    let level = if values.len() > 2 {
        RULE.level
    } else {
        Level::Note
    };
    for d in differ {
        let names = whole::names(score, &d.parts);
        let most = words(&most);
        let (own, theirs) = match (&d.own, none) {
            (Some(own), _) => (words(own), most.as_str()),
            (None, Some(none)) => (none.to_owned(), most.as_str()),
            (None, None) => (format!("no {most}"), "it"),
        };
        let has = whole::has(&d.parts);
        out.push(
            RULE.finding(
                score.place_of(onset),
                format!("{names} {has} {own} where the other parts have {theirs}"),
            )
            .level(level)
            .parts(d.parts.clone())
            .instead(format!("{names}: write {most}")),
        );
    }
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use super::feel;
    use crate::rules::shared::whole::pages::{places, score};

    #[test]
    fn words_of_tempo() {
        assert_eq!(feel("Medium Swing"), ["swing"]);
        assert_eq!(feel("poco rit."), ["rit"]);
        assert_eq!(feel("Macha cha cha"), ["cha cha"]);
        assert!(feel("with spirit").is_empty());
        assert_eq!(feel("Double-time feel"), ["double time"]);
    }

    #[test]
    fn a_tempo_that_most_have_is_missed_and_one_over_the_top_part_is_not() {
        let full: &[&str] = &["tempo-120 words-Medium~Swing C5:8", "D5:8"];
        let bare: &[&str] = &["C4:8", "D4:8"];
        let other: &[&str] = &["tempo-96 words-Medium~Swing C4:8", "D4:8"];
        let rule = "tempo-agreement";
        let wrong = score(&[("Flute", full), ("Oboe", full), ("Bassoon", other)]);
        assert_eq!(places(&wrong, rule), ["1 1: Bassoon"]);
        let missing = score(&[("Flute", full), ("Oboe", full), ("Bassoon", bare)]);
        assert_eq!(places(&missing, rule).len(), 2);
        let top = score(&[("Flute", full), ("Oboe", bare), ("Bassoon", bare)]);
        assert!(places(&top, rule).is_empty());
    }

    #[test]
    fn a_new_tempo_in_some_parts_only_is_told() {
        let rule = super::RULE.name;
        let new: &[&str] = &["C5:8", "tempo-144 D5:8"];
        let old: &[&str] = &["C5:8", "D5:8"];
        let names = ["Flute", "Oboe 1", "Oboe 2", "Horn 1", "Horn 2", "Bassoon"];
        let with = |some: &[usize]| {
            let bars = |i| if some.contains(&i) { new } else { old };
            let all: Vec<_> = names
                .iter()
                .enumerate()
                .map(|(i, n)| (*n, bars(i)))
                .collect();
            places(&score(&all), rule)
        };
        assert_eq!(with(&[2, 4]).len(), 1);
        assert!(with(&[0]).is_empty(), "over the top part");
        assert!(with(&[]).is_empty());
    }
}
