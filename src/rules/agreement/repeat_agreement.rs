//! `repeat-agreement`: the road map makes sense and is the same in all parts. Common practice, no
//! source.

use crate::finding::{Finding, Level};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Silent};
use crate::rules::shared::whole;
use crate::score::{PartBar, Signs};

pub static RULE: Rule = Rule {
    name: "repeat-agreement",
    group: Group::Agreement,
    asks: "Repeats open and close, endings come in order, every jump has its target, and all parts have the same road map.",
    why: "A repeat that one part lacks, or a D.S. without a segno, stops the band.",
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

count     | 1  2  3  4  | 1  2  3  4  |
                          ^ trumpet 3
trumpet 1 | E5 F5 G5 F5 | E5 D5 C5 D5 |
trumpet 2 | C5 D5 E5 D5 | C5 B4 A4 B4 |
trumpet 3 | G4 A4 B4 A4 | G4 F4 E4 F4 |
on the page:
trumpet 1, bar 1, beat 1: dynamic mf
trumpet 2, bar 1, beat 1: dynamic mf
trumpet 3, bar 1, beat 1: dynamic mf
trumpet 1, bar 1: repeat starts
trumpet 2, bar 1: repeat starts
trumpet 3, bar 1: repeat starts
trumpet 1, bar 2: repeat ends
trumpet 2, bar 2: repeat ends
suggestion: trumpet 3: add the repeat end
",
        right: "\
on the page:
trumpet 3, bar 2: repeat ends
",
    }],
    exceptions: &[
        Exception {
            says: "a repeat without its start, which goes back to the top",
            silent: Silent::Passage {
                passage: "\
meter: 4/4
section: trumpets
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet

count     | 1  2  3  4  | 1  2  3 | 1  |
trumpet 1 | E5 F5 D5 E5 | C5 D5 . | E5 |
trumpet 2 | C5 C5 B4 B4 | A4 B4 . | C5 |
on the page:
trumpet 1, bar 2: repeat ends
trumpet 2, bar 2: repeat ends
",
                but: "\
on the page:
trumpet 1, bar 3: repeat starts
trumpet 2, bar 3: repeat starts
",
            },
        },
        Exception {
            says: "signs that only some of the parts carry: scores often print them over the top part",
            silent: Silent::With(
                "\
not on the page:
trumpet 2, bar 1: repeat starts
trumpet 3, bar 1: repeat starts
trumpet 2, bar 2: repeat ends
",
            ),
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

/// The road map of one bar, of one part or of all together.
#[derive(Clone, Default)]
struct Road {
    start: bool,
    end: bool,
    ending: Option<String>,
    signs: Signs,
}

/// The numbers of an ending: `1, 2` is 1 and 2.
fn numbers(ending: &str) -> Vec<u8> {
    ending
        .split(|c: char| !c.is_ascii_digit())
        .filter_map(|n| n.parse().ok())
        .collect()
}

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    parts_agree(input, out);
    makes_sense(input, out);
}

/// A kind of sign, how it is called, and whether a bar has it.
type Kind = (&'static str, fn(&PartBar) -> bool);

const KINDS: [Kind; 8] = [
    ("repeat start", |b| b.repeat_start),
    ("repeat end", |b| b.repeat_end),
    ("ending", |b| b.ending.is_some()),
    ("segno", |b| b.signs.has(Signs::SEGNO)),
    ("coda sign", |b| b.signs.has(Signs::CODA)),
    ("To Coda", |b| b.signs.has(Signs::TO_CODA)),
    ("D.S.", |b| b.signs.has(Signs::DAL_SEGNO)),
    ("D.C.", |b| b.signs.has(Signs::DA_CAPO)),
];

fn parts_agree(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let score = input.score;
    let whole = input.whole();
    for (name, test) in KINDS {
        // Counted once, so that a long score of many parts stays cheap.
        let mut having: Vec<Vec<u32>> = vec![Vec::new(); whole.bars];
        let mut carriers = 0;
        for &p in &whole.in_step {
            let bars = score.parts.get(p as usize).map_or(&[][..], |p| &p.bars);
            let mut any = false;
            for (slot, bar) in having.iter_mut().zip(bars) {
                if test(bar) {
                    slot.push(p);
                    any = true;
                }
            }
            carriers += usize::from(any);
        }
        if carriers < 2 || carriers * 2 <= whole.in_step.len() {
            continue;
        }
        for (bar, with) in having.iter().enumerate() {
            if with.is_empty() || with.len() == whole.in_step.len() {
                continue;
            }
            let without: Vec<u32> = whole
                .in_step
                .iter()
                .copied()
                .filter(|p| with.binary_search(p).is_err())
                .collect();
            let lead_has = whole.in_step.first().is_some_and(|p| with.contains(p));
            let most_have = with.len() > without.len() || with.len() == without.len() && lead_has;
            let (odd, message, suggestion) = if most_have {
                let names = whole::names(score, &without);
                let message = format!(
                    "{names} {} no {name} here, the other parts have one",
                    whole::has(&without)
                );
                (without, message, format!("{names}: add the {name}"))
            } else {
                let names = whole::names(score, with);
                let message = format!(
                    "{names} {} a {name} here that the other parts do not have",
                    whole::has(with)
                );
                (
                    with.clone(),
                    message,
                    format!("{names}: take the {name} away, or give it to every part"),
                )
            };
            out.push(
                RULE.finding(whole::bar_line(bar), message)
                    .parts(odd)
                    .instead(suggestion),
            );
        }
    }
}

/// The road map that most parts have, or, of signs that few carry, that of those which do.
fn road(input: &RuleInput<'_>) -> Vec<Road> {
    let whole = input.whole();
    let mut road = vec![Road::default(); whole.bars];
    for &p in &whole.in_step {
        let bars = input
            .score
            .parts
            .get(p as usize)
            .map_or(&[][..], |p| &p.bars);
        for (slot, bar) in road.iter_mut().zip(bars) {
            slot.start |= bar.repeat_start;
            slot.end |= bar.repeat_end;
            slot.signs = slot.signs.with(bar.signs);
            if slot.ending.is_none() {
                slot.ending.clone_from(&bar.ending);
            }
        }
    }
    road
}

fn makes_sense(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let road = road(input);
    let lead: Vec<u32> = input.whole().in_step.first().copied().into_iter().collect();
    let mut say = |bar: usize, level: Level, message: String, suggestion: &str| {
        out.push(
            RULE.finding(whole::bar_line(bar), message)
                .level(level)
                .parts(lead.clone())
                .instead(suggestion.to_owned()),
        );
    };
    let number = |bar: usize| input.score.bar_number(bar as u32);
    let mut open: Option<usize> = None;
    for (bar, here) in road.iter().enumerate() {
        if here.start {
            if let Some(before) = open {
                say(
                    before,
                    Level::Error,
                    format!(
                        "the repeat that starts in bar {} does not end before the next one starts, in bar {}",
                        number(before),
                        number(bar)
                    ),
                    "add the repeat end, or take the start away",
                );
            }
            open = Some(bar);
        }
        if here.end {
            open = None;
        }
    }
    if let Some(before) = open {
        say(
            before,
            Level::Error,
            format!(
                "the repeat that starts in bar {} never ends",
                number(before)
            ),
            "add the repeat end, or take the start away",
        );
    }
    endings(&road, &number, &mut say);
    jumps(&road, &number, &mut say);
}

/// A first ending wants a second one.
fn endings(
    road: &[Road],
    number: &impl Fn(usize) -> String,
    say: &mut impl FnMut(usize, Level, String, &str),
) {
    let starts: Vec<(usize, Vec<u8>)> = road
        .iter()
        .enumerate()
        .filter_map(|(bar, r)| Some((bar, numbers(r.ending.as_deref()?))))
        .collect();
    for (i, (bar, own)) in starts.iter().enumerate() {
        let Some(highest) = own.iter().max() else {
            continue;
        };
        // The last of a group has no repeat end in it; then nothing need follow.
        let next = starts.get(i + 1);
        let until = next.map_or(road.len(), |n| n.0);
        let repeats = road
            .get(*bar..until)
            .unwrap_or_default()
            .iter()
            .any(|r| r.end);
        let follows = next.is_some_and(|(_, n)| n.iter().any(|n| n > highest));
        if own.contains(&1) && repeats && !follows {
            // The players find their way: the second time they go on after the repeat.
            say(
                *bar,
                Level::Warning,
                format!("the first ending in bar {} has no second one", number(*bar)),
                "add the second ending after the repeat",
            );
        }
    }
}

fn jumps(
    road: &[Road],
    number: &impl Fn(usize) -> String,
    say: &mut impl FnMut(usize, Level, String, &str),
) {
    let first = |test: &dyn Fn(Signs) -> bool| road.iter().position(|r| test(r.signs));
    let segno = first(&|s| s.has(Signs::SEGNO));
    // A coda sign beside "To Coda" is where the jump leaves from.
    let coda = first(&|s| s.has(Signs::CODA) && !s.has(Signs::TO_CODA));
    let to_coda = first(&|s| s.has(Signs::TO_CODA));
    let al_coda = first(&|s| s.has(Signs::AL_CODA));
    let dal_segno = first(&|s| s.has(Signs::DAL_SEGNO));
    let codas = road.iter().filter(|r| r.signs.has(Signs::CODA)).count();
    if let (Some(bar), None) = (dal_segno, segno) {
        say(
            bar,
            Level::Error,
            format!(
                "D.S. in bar {}, but there is no segno to go back to",
                number(bar)
            ),
            "put the segno over the bar to go back to, or write D.C.",
        );
    }
    if let (Some(bar), None) = (al_coda.or(to_coda), coda) {
        say(
            bar,
            Level::Error,
            format!(
                "bar {} sends the players to the coda, but there is no coda sign to jump to",
                number(bar)
            ),
            "put the coda sign over the bar where the coda starts",
        );
    }
    if let (Some(bar), None, None) = (coda, al_coda, to_coda)
        && codas == 1
    {
        say(
            bar,
            Level::Warning,
            format!(
                "there is a coda in bar {}, but nothing sends the players there",
                number(bar)
            ),
            "write To Coda where the jump leaves from, and D.S. or D.C. al Coda",
        );
    }
    // Two signs stand for themselves: from the one back to the other.
    let segnos = road.iter().filter(|r| r.signs.has(Signs::SEGNO)).count();
    if let (Some(bar), None) = (segno, dal_segno)
        && segnos == 1
    {
        say(
            bar,
            Level::Note,
            format!(
                "there is a segno in bar {}, but no D.S. comes back to it",
                number(bar)
            ),
            "write D.S. where the players go back, or take the segno away",
        );
    }
    if let (Some(bar), None) = (
        first(&|s| s.has(Signs::AL_FINE)),
        first(&|s| s.has(Signs::FINE)),
    ) {
        say(
            bar,
            Level::Warning,
            format!(
                "bar {} says al Fine, but no bar is marked Fine",
                number(bar)
            ),
            "write Fine over the last note to be played",
        );
    }
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use crate::rules::shared::whole::pages::{places, score};

    const START: &str = "<barline~location=\"left\"><repeat~direction=\"forward\"/></barline>";
    const END: &str = "<barline~location=\"right\"><repeat~direction=\"backward\"/></barline>";

    fn said(bars: &[&str]) -> Vec<String> {
        places(&score(&[("Flute", bars)]), "repeat-agreement")
    }

    #[test]
    fn repeats_nest() {
        let open = format!("{START} C5:8");
        let close = format!("C5:8 {END}");
        assert!(said(&[&open, "D5:8", &close]).is_empty());
        assert!(said(&["C5:8", &close, "D5:8"]).is_empty());
        assert_eq!(said(&["C5:8", &open, "D5:8"]), ["2 1: Flute"]);
        assert_eq!(said(&[&open, &open, &close]), ["1 1: Flute"]);
    }

    #[test]
    fn a_first_ending_wants_a_second() {
        let ending = |n: u8| {
            format!("<barline~location=\"left\"><ending~number=\"{n}\"~type=\"start\"/></barline>")
        };
        let first = format!("{} C5:8 {END}", ending(1));
        let second = format!("{} C5:8", ending(2));
        assert!(said(&["C5:8", &first, &second]).is_empty());
        assert_eq!(said(&["C5:8", &first, "C5:8"]), ["2 1: Flute"]);
    }

    #[test]
    fn jumps_have_targets() {
        let segno = "<direction><direction-type><segno/></direction-type></direction> C5:8";
        let coda = "<direction><direction-type><coda/></direction-type></direction> C5:8";
        let ds = "C5:8 words-D.S.~al~Coda";
        assert_eq!(said(&["C5:8", "C5:8 words-D.S."]), ["2 1: Flute"]);
        assert!(said(&[segno, "C5:8 words-D.S."]).is_empty());
        assert_eq!(said(&[segno, ds, "C5:8"]), ["2 1: Flute"]);
        assert!(said(&[segno, "words-To~Coda C5:8", ds, coda]).is_empty());
        // From one sign back to the other, without words.
        assert_eq!(said(&["C5:8", segno, "C5:8"]), ["2 1: Flute"]);
        assert!(said(&["C5:8", segno, "C5:8", segno]).is_empty());
    }

    #[test]
    fn a_part_without_the_repeat_is_named() {
        let open = format!("{START} C5:8");
        let close = format!("C5:8 {END}");
        let full: &[&str] = &[&open, "C5:8", &close];
        let late: &[&str] = &[&open, &close, "C5:8"];
        let wrong = score(&[("Flute", full), ("Oboe", full), ("Bassoon", late)]);
        assert_eq!(
            places(&wrong, "repeat-agreement"),
            ["2 1: Bassoon", "3 1: Bassoon"]
        );
    }
}
