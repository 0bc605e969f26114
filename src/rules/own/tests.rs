use crate::finding::Finding;
use crate::house_style;
use crate::proof::{Proofed, proof};
use crate::rules::Example;
use crate::score::Score;
use crate::style::Style;
use std::path::Path;

fn sample(file: &str) -> Style {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-parts/house-styles")
        .join(file);
    match house_style::read(&path) {
        Ok(style) => style,
        Err(error) => panic!("{error}"),
    }
}

fn own(rules: &str) -> Style {
    match house_style::read_text(Path::new("chartproof.toml"), rules) {
        Ok(style) => style,
        Err(error) => panic!("{error}\n{rules}"),
    }
}

fn one(scope: &str, when: &str, message: &str) -> Style {
    own(&format!(
        "[[rule]]\nname = \"my-rule\"\nscope = \"{scope}\"\nwhen = \"{when}\"\nmessage = \"{message}\"\n"
    ))
}

fn read(passage: &'static str, style: &Style) -> Score {
    let mut score = Example::score(passage).unwrap_or_else(|e| panic!("{e}\n{passage}"));
    style.prepare(&mut score);
    score
}

fn findings(passage: &'static str, style: &Style, rule: &str) -> (Score, Vec<Finding>) {
    let score = read(passage, style);
    let found = proof(&score, style).findings;
    (
        score,
        found.into_iter().filter(|f| f.rule == rule).collect(),
    )
}

/// "bar beat: message" of what a rule says.
fn said(passage: &'static str, style: &Style, rule: &str) -> Vec<String> {
    let (score, found) = findings(passage, style, rule);
    found
        .iter()
        .map(|f| {
            format!(
                "{} {}: {}",
                score.bar_number(f.at.bar),
                score.beat_at(f.at),
                f.message
            )
        })
        .collect()
}

/// A wrong passage is reported at its place in these words, the right one is not.
fn holds(style: &Style, rule: &str, wrong: &'static str, expected: &[&str], right: &'static str) {
    assert_eq!(said(wrong, style, rule), expected);
    assert_eq!(said(right, style, rule), Vec::<String>::new());
}

const SOFT: &str = "meter: 4/4
pitch: written
parts: trumpet 1 = trumpet

count     | 1  2   3  4 | 1  2   3  4 |
trumpet 1 | G5 Bb5 A5 . | G5 Bb5 A5 . |
on the page:
trumpet 1, bar 1, beat 1: dynamic ff
trumpet 1, bar 2, beat 1: dynamic mf
";

const LOUD: &str = "meter: 4/4
pitch: written
parts: trumpet 1 = trumpet

count     | 1  2   3  4 | 1  2  3  4 |
trumpet 1 | G5 Bb5 A5 . | G5 A5 A5 . |
on the page:
trumpet 1, bar 1, beat 1: dynamic f
trumpet 1, bar 2, beat 1: dynamic p
";

#[test]
fn high_and_soft() {
    let style = sample("school-band.toml");
    holds(
        &style,
        "high-and-soft",
        SOFT,
        &["2 2: trumpet 1 has Bb5 (mf); above A5 we play f or louder"],
        LOUD,
    );
    let (_, found) = findings(SOFT, &style, "high-and-soft");
    let fix = found[0].fix.as_ref().map(|f| f.summary.as_str());
    assert_eq!(
        fix,
        Some("trumpet 1: write Bb4 (sounding Ab4) instead of Bb5 (sounding Ab5) (an octave down)")
    );
    assert_eq!(found[0].level, crate::finding::Level::Error);
    assert!(found[0].why.contains("air is loud"));
}

#[test]
fn baritone_over_tenor() {
    let style = sample("school-band.toml");
    let rule = "bari-over-tenor";
    holds(
        &style,
        rule,
        "meter: 4/4
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | C6 -  |
count    | 1  3  |
alto 1   | C5 G5 |
alto 2   | A4 E5 |
tenor 1  | G4 C5 |
tenor 2  | E4 A4 |
baritone | C4 B4 |
",
        &["1 3: the baritone (B4) is above the second tenor (A4)"],
        "meter: 4/4
section: saxes
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone
       baritone = baritone saxophone

chord    | C6 -  |
count    | 1  3  |
alto 1   | C5 G5 |
alto 2   | A4 E5 |
tenor 1  | G4 C5 |
tenor 2  | E4 A4 |
baritone | C4 G4 |
",
    );
    // Without a baritone there is nothing to ask.
    assert_eq!(said(SOFT, &style, rule), Vec::<String>::new());
}

#[test]
fn low_drop_2() {
    holds(
        &sample("school-band.toml"),
        "low-drop-2",
        "meter: 4/4
section: saxes
technique: drop 2
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | C6 -  |
count   | 1  3  |
alto 1  | A4 G4 |
alto 2  | E4 C4 |
tenor 1 | C4 A3 |
tenor 2 | G3 E3 |
",
        &["1 3: drop 2 under a lead on G4: the bottom voice is down on E3"],
        "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | C6 -  |
count   | 1  3  |
alto 1  | A4 G4 |
alto 2  | G4 E4 |
tenor 1 | E4 C4 |
tenor 2 | C4 A3 |
",
    );
}

#[test]
fn slurred_leap() {
    holds(
        &sample("school-band.toml"),
        "slurred-leap",
        "meter: 4/4
parts: trombone 1 = trombone

count      | 1  2  3  4  |
trombone 1 | F3 D4 C4 F3 |
on the page:
trombone 1, bar 1, beat 1: slur starts
trombone 1, bar 1, beat 2: slur ends
",
        &["1 2: trombone 1 is slurred over 9 semitones, from F3 to D4"],
        "meter: 4/4
parts: trombone 1 = trombone

count      | 1  2  3  4  |
trombone 1 | F3 D4 C4 G3 |
on the page:
trombone 1, bar 1, beat 3: slur starts
trombone 1, bar 1, beat 4: slur ends
",
    );
}

#[test]
fn busy_trombones() {
    holds(
        &sample("school-band.toml"),
        "busy-trombones",
        "meter: 4/4
parts: trombone 1 = trombone

count      | 1  | 1  e  &  a  2  e  &  a  3  4  |
trombone 1 | F3 | F3 G3 F3 G3 F3 G3 F3 G3 F3 G3 |
",
        &["2 1: one trombone strikes 10 notes in this bar"],
        "meter: 4/4
parts: trombone 1 = trombone

count      | 1  | 1  e  &  a  2  &  3  4  |
trombone 1 | F3 | F3 G3 F3 G3 F3 G3 F3 G3 |
",
    );
}

#[test]
fn part_without_dynamics() {
    holds(
        &sample("publisher.toml"),
        "part-without-dynamics",
        "meter: 4/4
parts: trombone 1 = trombone

count      | 1 | 1  &  2  &  3  &  4  &  |
trombone 1 | . | F3 G3 F3 G3 F3 G3 F3 G3 |
",
        &["2 1: trombone 1 has 8 notes and not one dynamic"],
        "meter: 4/4
parts: trombone 1 = trombone

count      | 1  &  2  &  3  &  4  &  |
trombone 1 | F3 G3 F3 G3 F3 G3 F3 G3 |
on the page:
trombone 1, bar 1, beat 1: dynamic mf
",
    );
}

#[test]
fn long_marcato() {
    holds(
        &sample("publisher.toml"),
        "long-marcato",
        "meter: 4/4
parts: trombone 1 = trombone

count      | 1   2   3 & |
trombone 1 | F3^ G3^ - . |
",
        &["1 2: trombone 1 holds a note with a hat for 1.5 beats"],
        "meter: 4/4
parts: trombone 1 = trombone

count      | 1   2   3  |
trombone 1 | F3^ G3> .  |
",
    );
}

#[test]
fn avoid_on_top() {
    let style = sample("publisher.toml");
    let wrong = "meter: 4/4
section: saxes
technique: free
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Cmaj7 -  |
count   | 1     3  |
alto 1  | G5    F5 |
alto 2  | E5    C5 |
tenor 1 | C5    B4 |
tenor 2 | B4    G4 |
";
    holds(
        &style,
        "avoid-on-top",
        wrong,
        &["1 3: the lead holds F5, the fourth of Cmaj7, for 2 beats"],
        "meter: 4/4
section: saxes
technique: free
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | Cmaj7 -  -  |
count   | 1     3  4  |
alto 1  | G5    F5 E5 |
alto 2  | E5    C5 C5 |
tenor 1 | C5    B4 B4 |
tenor 2 | B4    G4 G4 |
",
    );
    let (_, found) = findings(wrong, &style, "avoid-on-top");
    let tried: Vec<String> = found[0]
        .remedies
        .iter()
        .map(|r| r[0].sounding.to_string())
        .collect();
    assert_eq!(tried, ["E5", "G5"]);
}

const TWO: &str = "meter: 4/4
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet

chord     | C7 -  -  - | F  -    |
count     | 1  2  3  4 | 1  3    |
trumpet 1 | E5 D5 C5 . | A4 Db5  |
trumpet 2 | C5 .  G4 . | F4 A4   |
";

#[test]
fn values_of_a_note_are_what_stands_there() {
    for (when, expected) in [
        ("degree == '3' && chord_note", vec!["1 1: E5", "2 3: A4"]),
        ("!chord_note", vec!["1 2: D5", "2 3: Db5"]),
        ("voice == 2 && beat >= 2", vec!["1 3: G4", "2 3: A4"]),
        (
            "is_lead && bar == 2 && duration == 2",
            vec!["2 1: A4", "2 3: Db5"],
        ),
        ("seat == 2 && chord == 'F'", vec!["2 1: F4", "2 3: A4"]),
        ("sounding_name == 'Db5'", vec!["2 3: Db5"]),
        ("sounding_name == 'C#5'", vec![]),
        (
            "written - sounding == 2 && part.endsWith('1') && beat == 4",
            vec![],
        ),
    ] {
        let mut expected: Vec<String> = expected.into_iter().map(str::to_owned).collect();
        let mut found = said(TWO, &one("note", when, "{sounding}"), "my-rule");
        expected.sort();
        found.sort();
        // A4 stands in both parts of bar 2.
        if when.starts_with("degree") {
            expected.insert(1, "2 1: A4".to_owned());
        }
        assert_eq!(found, expected, "{when}");
    }
}

#[test]
fn values_of_the_other_scopes_are_what_stands_there() {
    for (scope, when, message, expected) in [
        (
            "sonority",
            "count == 2 && span > 4 && bar == 1",
            "{voices} {gaps}",
            vec!["1 3: C5 and G4 5"],
        ),
        (
            "sonority",
            "!('trumpet 2' in sounding)",
            "{lead}",
            vec!["1 2: D5"],
        ),
        (
            "sonority",
            "written['trumpet 2'] < pitch('A4')",
            "{written['trumpet 2']}",
            vec!["2 1: G4"],
        ),
        (
            "sonority",
            "gaps.exists(g, g == 7)",
            "{lead - bottom}",
            vec![],
        ),
        (
            "line step",
            "rest > 0",
            "{from.sounding} {to.sounding} {rest} {interval}",
            vec!["1 3: C5 G4 1 -5", "2 1: C5 A4 1 -3", "2 1: G4 F4 1 -2"],
        ),
        (
            "line step",
            "from.bar == 2 && size == 4",
            "{from.beat} to {to.beat}",
            vec!["2 3: 1 to 3"],
        ),
        (
            "bar",
            "notes > 4",
            "{notes} {busiest} {playing} {sonorities} {highest} {lowest} {chords}",
            vec!["1 1: 5 3 2 3 E5 G4 1"],
        ),
        (
            "part",
            "playing == bars && seat == 1",
            "{notes} {highest} {lowest} {longest}",
            vec!["1 1: 5 F#5 B4 4"],
        ),
    ] {
        let found = said(TWO, &one(scope, when, message), "my-rule");
        let expected: Vec<String> = expected.into_iter().map(str::to_owned).collect();
        assert_eq!(found, expected, "{when}");
    }
}

#[test]
fn one_finding_where_parts_say_the_same() {
    let style = own(
        "[[rule]]\nname = \"my-rule\"\nscope = \"note\"\nwhen = \"beat == 1 && bar == 2\"\nmessage = \"too early\"\nfix = \"octave up\"\n",
    );
    let (_, found) = findings(TWO, &style, "my-rule");
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].parts, [0, 1]);
    assert_eq!(found[0].remedies[0].len(), 2);
}

#[test]
fn a_failure_is_reported_once() {
    let style = one("sonority", "voices[1] < pitch('C4')", "{lead}");
    let score = read(TWO, &style);
    let Proofed {
        findings, remarks, ..
    } = proof(&score, &style);
    assert!(!findings.iter().any(|f| f.rule == "my-rule"));
    let expected: Vec<&String> = remarks.iter().filter(|r| r.contains("my-rule")).collect();
    assert_eq!(expected.len(), 1, "{remarks:#?}");
    assert!(
        expected[0].starts_with("bar 1, beat 2, trumpets: the house's rule my-rule cannot be worked out: there is no number 1 in the list"),
        "{}",
        expected[0]
    );
}

#[test]
fn a_rule_that_finds_everything_is_cut_short() {
    let mut text = String::from("meter: 4/4\nparts: trumpet 1 = trumpet\n");
    for _ in 0..60 {
        text.push_str("\ncount     | 1  2  3  4  |\ntrumpet 1 | C5 D5 C5 D5 |\n");
    }
    let score = crate::reading::grid::read(Path::new("a.passage"), text.as_str().into()).unwrap();
    let style = one("note", "true", "{part}");
    let proofed = proof(&score, &style);
    let count = proofed
        .findings
        .iter()
        .filter(|f| f.rule == "my-rule")
        .count();
    assert_eq!(count, super::MOST);
    assert!(
        proofed
            .remarks
            .iter()
            .any(|r| r.contains("finds 40 more places")),
        "{:#?}",
        proofed.remarks
    );
}

#[test]
fn rules_can_be_off_and_findings_accepted() {
    let text =
        "[[rule]]\nname = \"my-rule\"\nscope = \"note\"\nwhen = \"true\"\nmessage = \"here\"\n";
    let off = own(&format!("{text}[levels]\nmy-rule = \"off\"\n"));
    assert_eq!(said(TWO, &off, "my-rule"), Vec::<String>::new());
    let accepted = own(&format!(
        "{text}[[accepted]]\nrule = \"my-rule\"\nbars = \"1\"\nreason = \"meant\"\n"
    ));
    assert!(
        said(TWO, &accepted, "my-rule")
            .iter()
            .all(|s| s.starts_with('2'))
    );
    let loud = own(&format!("{text}[levels]\nmy-rule = \"error\"\n"));
    let (_, found) = findings(TWO, &loud, "my-rule");
    assert!(
        found
            .iter()
            .all(|f| f.level == crate::finding::Level::Error)
    );
}
