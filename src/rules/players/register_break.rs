//! `register-break`: registers that do not do what is asked. They are data with their sources:
//! `registers` in `rules/instruments.toml`.

use crate::finding::{Finding, Level};
use crate::ground::instrument::{Property, Register, RegisterKind};
use crate::ground::time::Ticks;
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::line::{Line, Tempos, Tone, dynamic, is_soft};
use crate::rules::shared::wording;

pub static RULE: Rule = Rule {
    name: "register-break",
    group: Group::Players,
    asks: "Low saxophone notes are not started softly or tongued fast, young clarinets do not slur fast over the break, and trombone slurs do not need a long slide.",
    why: "Each instrument has registers that answer late, squeak or smear; what is easy a third higher fails there.",
    source: "published: an arranging tutorial and an open orchestration course (saxophones), a band publisher's grade table and an orchestration text (clarinet break); speeds and the trombone: common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[
        Setting {
            name: "grade",
            about: "school grade, 1 to 6; 0 is professional",
            default: 0.0,
        },
        Setting {
            name: "fast-tongued",
            about: "seconds between tongued low notes that are too fast",
            default: 0.15,
        },
        Setting {
            name: "fast-slur",
            about: "seconds a note before a slurred break or long slide lasts at least",
            default: 0.25,
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
pitch: written
section: saxes
parts: alto 2 = alto saxophone

count  | 1  e  &  a  2 3 |
alto 2 | B3 C4 B3 C4 D4 . |
         ^^ ^^ ^^ ^^ fast and low
suggestion: alto 2: slur them, take them up an octave, or give them to a lower instrument
",
        right: "alto 2 | F4 G4 F4 G4 A4 . |",
    }],
    exceptions: &[
        Exception {
            says: "soft low notes that follow another note without a rest",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
pitch: written
section: saxes
parts: tenor 2 = tenor saxophone

count   | 1  2  3  4 | 1  3 |
tenor 2 | G4 E4 D4 - | C4 - |
on the page:
tenor 2, bar 1, beat 1: dynamic p
",
                but: "tenor 2 | G4 E4 D4 . | C4 - |",
            },
        },
        Exception {
            says: "the baritone saxophone, which speaks well down to its low A",
            silent: Silent::Passage {
                passage: "\
key: Ab major
meter: 4/4
pitch: written
section: saxes
parts: sax 5 = baritone saxophone

count | 1  3  | 1  3 |
sax 5 | C4 B3 | C4 - |
on the page:
sax 5, bar 1, beat 1: dynamic pp
",
                but: "parts: sax 5 = tenor saxophone",
            },
        },
        Exception {
            says: "clarinets, except where a school grade up to 3 is set",
            silent: Silent::Passage {
                passage: "\
key: Bb major
meter: 4/4
pitch: written
section: clarinets
parts: clarinet 2 = clarinet

count      | 1  e  &  a  2  3 |
clarinet 2 | G4 A4 C5 D5 E5 . |
on the page:
clarinet 2, bar 1, beat 1: slur starts
clarinet 2, bar 1, beat 2: slur ends
",
                but: "setting: register-break grade = 3",
            },
        },
        Exception {
            says: "slides marked as glissando",
            silent: Silent::Passage {
                passage: "\
key: Eb major
meter: 4/4
section: trombones
parts: trombone 3 = trombone

count      | 1   &  2   3 |
trombone 3 | Bb2 E2 Eb3 . |
on the page:
trombone 3, bar 1: tempo 168
trombone 3, bar 1, beat 1: slur starts
trombone 3, bar 1, beat 1-and: slur ends
trombone 3, bar 1, beat 1: words gliss.
",
                but: "\
not on the page:
trombone 3, bar 1, beat 1: words gliss.
",
            },
        },
    ],
};

/// How many fast tongued low notes in a row are too many.
const FAST_RUN: usize = 3;

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let tempos = Tempos::of(input.score, input.setting(&RULE, "tempo"));
    for line in input.lines(|i| !i.registers.is_empty() || i.is(Property::Slide)) {
        for register in &line.instrument.registers {
            match register.kind {
                RegisterKind::NoSoftStart => {
                    soft_starts(input, line, register, out);
                    fast_tongued(input, line, register, &tempos, out);
                }
                // Other breaks are for the reader of the data: only the clarinet's is published as
                // one that a grade does not cross.
                RegisterKind::Break if line.instrument.is(Property::GradedBreak) => {
                    breaks(input, line, register, &tempos, out);
                }
                _ => {}
            }
        }
        if line.instrument.is(Property::Slide) {
            long_slides(input, line, &tempos, out);
        }
    }
}

fn lies_in(register: &Register, tone: &Tone) -> bool {
    (register.range.0.midi()..=register.range.1.midi()).contains(&tone.written)
}

fn pitch(input: &RuleInput<'_>, tone: &Tone) -> String {
    wording::for_player(input.score, tone.note, tone.sounding)
}

/// Notes after a rest, in p or softer: one finding for each bar.
fn soft_starts(
    input: &RuleInput<'_>,
    line: &Line<'_>,
    register: &Register,
    out: &mut Vec<Finding>,
) {
    let mut last_bar = None;
    let mut before: Option<Tone> = None;
    for tone in &line.tones {
        let starts = before.is_none_or(|b| b.end < tone.onset);
        before = Some(*tone);
        if !starts
            || !lies_in(register, tone)
            || last_bar == Some(tone.at.bar)
            || !dynamic(input.score, line.part, tone.onset).is_some_and(is_soft)
        {
            continue;
        }
        last_bar = Some(tone.at.bar);
        let who = wording::part(input.score, line.part);
        let message = format!(
            "{who} starts softly on {}, where the {} cannot",
            pitch(input, tone),
            line.instrument.name
        );
        out.push(line.finding(&RULE, tone.at, message).at_notes([tone.note], 1, "no soft start").because(format!("{} {}", RULE.why, register.about)).instead(format!(
                "{who}: start above written {}, give the entry to a lower instrument, or mark it mf",
                register.range.1
            )));
    }
}

/// Runs of fast tongued notes: one finding for each run.
fn fast_tongued(
    input: &RuleInput<'_>,
    line: &Line<'_>,
    register: &Register,
    tempos: &Tempos,
    out: &mut Vec<Finding>,
) {
    let fast = input.setting(&RULE, "fast-tongued");
    let mut run: Vec<Tone> = Vec::new();
    let mut slurred_in = false;
    let mut before: Option<Tone> = None;
    let mut close = |run: &mut Vec<Tone>| {
        if run.len() >= FAST_RUN
            && let Some(first) = run.first()
        {
            let who = wording::part(input.score, line.part);
            let message = format!(
                "{who} tongues {} fast notes from {} on, where the {} answers late",
                run.len(),
                pitch(input, first),
                line.instrument.name
            );
            out.push(line.finding(&RULE, first.at, message).level(Level::Note).at_notes(run.iter().map(|t| t.note), 1, "fast and low").because(format!("{} {}", RULE.why, register.about)).instead(format!(
                    "{who}: slur them, take them up an octave, or give them to a lower instrument"
                )));
        }
        run.clear();
    };
    for tone in &line.tones {
        let follows = before
            .is_some_and(|b| b.end == tone.onset && tempos.seconds(b.onset, tone.onset) < fast);
        let low = lies_in(register, tone) && !slurred_in && !tone.slurred_on;
        if !(follows && low) {
            close(&mut run);
        }
        if low {
            run.push(*tone);
        }
        slurred_in = tone.slurred_on;
        before = Some(*tone);
    }
    close(&mut run);
}

/// Slurs over the break, for school grades: grade 1 not at all, grades 2 and 3 not fast. One finding
/// for each bar.
fn breaks(
    input: &RuleInput<'_>,
    line: &Line<'_>,
    register: &Register,
    tempos: &Tempos,
    out: &mut Vec<Finding>,
) {
    let grade = input.setting(&RULE, "grade");
    if !(1.0..4.0).contains(&grade) {
        return;
    }
    let least = input.setting(&RULE, "fast-slur");
    let (below, above) = (register.range.0.midi(), register.range.1.midi());
    let mut last_bar = None;
    for pair in line.tones.windows(2) {
        let [a, b] = pair else { continue };
        let crosses =
            a.written <= below && b.written >= above || a.written >= above && b.written <= below;
        let fast = tempos.seconds(a.onset, b.onset) < least;
        let flagged = crosses && a.end == b.onset && (grade < 2.0 || a.slurred_on && fast);
        if !flagged || last_bar == Some(a.at.bar) {
            continue;
        }
        last_bar = Some(a.at.bar);
        let who = wording::part(input.score, line.part);
        let message = format!(
            "{who} goes from {} to {} over the break between written {} and {}",
            pitch(input, a),
            pitch(input, b),
            register.range.0,
            register.range.1
        );
        out.push(
            line.finding(&RULE, a.at, message)
                .level(Level::Note)
                .at_notes([a.note, b.note], 1, "over the break")
                .because(line.with_care(&register.about))
                .instead(format!(
                    "{who}: keep the figure on one side of the break, or tongue the note after it"
                )),
        );
    }
}

/// Fast slurs that only one partial holds, wider than a major third: the slide has to travel and is
/// heard on the way. One finding for each bar.
fn long_slides(input: &RuleInput<'_>, line: &Line<'_>, tempos: &Tempos, out: &mut Vec<Finding>) {
    let least = input.setting(&RULE, "fast-slur");
    let mut last_bar = None;
    for pair in line.tones.windows(2) {
        let [a, b] = pair else { continue };
        if !a.slurred_on
            || a.end != b.onset
            || last_bar == Some(a.at.bar)
            || (a.midi() - b.midi()).abs() <= 4
            || tempos.seconds(a.onset, b.onset) >= least
            || !only_by_slide(a.midi(), b.midi())
            || glissando(input, line.part, a.onset, b.onset)
        {
            continue;
        }
        last_bar = Some(a.at.bar);
        let who = wording::part(input.score, line.part);
        let message = format!(
            "{who} slurs {} to {}, {} positions of the slide apart on one partial",
            pitch(input, a),
            pitch(input, b),
            (a.midi() - b.midi()).abs() + 1
        );
        out.push(
            line.finding(&RULE, a.at, message)
                .level(Level::Note)
                .at_notes([a.note, b.note], 1, "long slide")
                .instead(format!(
                    "{who}: tongue the second note, or mark a glissando"
                )),
        );
    }
}

/// The partials of the tenor slide in first position, in semitones: B flat 1 and up. Seven positions
/// go down a tritone.
const PARTIALS: [i16; 8] = [34, 46, 53, 58, 62, 65, 68, 70];

fn only_by_slide(a: i16, b: i16) -> bool {
    let on = |midi: i16| {
        PARTIALS
            .iter()
            .enumerate()
            .filter(move |(_, p)| (0..=6).contains(&(*p - midi)))
            .map(|(i, _)| i)
    };
    let mut ways = on(a).flat_map(|x| on(b).map(move |y| (x, y))).peekable();
    ways.peek().is_some() && ways.all(|(x, y)| x == y)
}

fn glissando(input: &RuleInput<'_>, part: u32, from: Ticks, to: Ticks) -> bool {
    input.score.parts.get(part as usize).is_some_and(|p| {
        let at = p.words.partition_point(|w| w.onset < from);
        p.words
            .iter()
            .skip(at)
            .take_while(|w| w.onset <= to)
            .any(|w| w.value.text.to_lowercase().contains("gliss"))
    })
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::pitch::Pitch;
    use crate::rules::shared::line::fixture::{Page, SLUR, SLUR_END, dynamic as mark_of, style};
    use crate::style::Style;

    #[test]
    fn slides_and_partials() {
        let p = |text: &str| text.parse::<Pitch>().unwrap().midi();
        // Published: Wikipedia, Trombone: partials and positions.
        assert!(only_by_slide(p("Bb2"), p("E2")));
        assert!(!only_by_slide(p("Bb2"), p("F3")));
        // F3 in sixth position lies on the partial of Bb3.
        assert!(!only_by_slide(p("B2"), p("F3")));
        assert!(!only_by_slide(p("D4"), p("Bb3")));
    }

    fn soft(part: &str, transpose: (i8, i8, i8), mark: &str, pitch: &str) -> Vec<String> {
        let mut page = Page::of(part, transpose);
        page.bar(&mark_of(mark), &[(pitch, 2, ""), (pitch, 2, "")]);
        page.findings("register-break", &Style::default())
    }

    #[test]
    fn low_saxes_cannot_start_softly() {
        // Published: an open orchestration course and an arranging tutorial.
        let alto = |mark, pitch| soft("Alto Sax 2", (-5, -9, 0), mark, pitch).len();
        assert_eq!(
            (alto("p", "B3"), alto("mf", "B3"), alto("p", "D4")),
            (1, 0, 0)
        );
        assert_eq!(soft("Tenor Sax", (-1, -2, -1), "p", "D4").len(), 1);
        assert_eq!(soft("Baritone Sax", (-5, -9, -1), "p", "B3").len(), 0);
    }

    #[test]
    fn the_clarinet_break_is_a_matter_of_grade() {
        // Published: a band publisher's grade table: grade 1 never crosses.
        let mut page = Page::of("Clarinet 2", (-1, -2, 0));
        page.bar("", &[("A4", -1, SLUR), ("C5", -1, SLUR_END), (".", 3, "")]);
        let at = |grade| {
            page.findings("register-break", &style("register-break", "grade", grade))
                .len()
        };
        assert_eq!((at(0.0), at(1.0), at(3.0), at(5.0)), (0, 1, 1, 0));
        let mut sax = Page::of("Alto Sax 2", (-5, -9, 0));
        sax.bar("", &[("C5", 2, ""), ("E5", 2, "")]);
        let grade = style("register-break", "grade", 1.0);
        assert_eq!(sax.findings("register-break", &grade), Vec::<String>::new());
    }
}
