//! Sections heard in small charts. Voicings are by the definitions of the techniques: common practice, no source.

use super::*;
use crate::reading::grid;
use std::fmt::Write as _;
use std::path::Path;

/// A chart without a stated section, sounding: each part with its instrument and its cells, for `bars` of
/// four beats with a column each.
fn heard(parts: &[(&str, &str, &str)]) -> Vec<Section> {
    let notes: Vec<Vec<&str>> = parts
        .iter()
        .map(|p| p.2.split_whitespace().collect())
        .collect();
    let columns = notes[0].len();
    let mut text = "key: C\nmeter: 4/4\npitch: sounding\nparts: ".to_owned();
    for (name, instrument, _) in parts {
        write!(text, "{name} = {instrument}\n       ").unwrap();
    }
    text += "\n\n";
    let mut row = |name: &str, cell: &dyn Fn(usize) -> String| {
        write!(text, "{name} |").unwrap();
        for column in 0..columns {
            write!(text, " {}", cell(column)).unwrap();
            if column % 4 == 3 {
                text += " |";
            }
        }
        text += "\n";
    };
    row("count", &|c| (c % 4 + 1).to_string());
    for ((name, ..), cells) in parts.iter().zip(&notes) {
        assert_eq!(cells.len(), columns, "{name}");
        row(name, &|c| cells[c].to_owned());
    }
    sections(&grid::read(Path::new("x.passage"), text.into()).unwrap())
}

/// The names of the sections, with a star where they play in some stretches only.
fn grouped(parts: &[(&str, &str, &str)]) -> Vec<String> {
    let star = |s: &Section| if s.stretches.is_empty() { "" } else { "*" };
    let sections = heard(parts);
    sections
        .iter()
        .map(|s| format!("{}{}", s.name, star(s)))
        .collect()
}

const LEAD: &str = "C5 D5 E5 G5 A5 G5 E5 D5";
const SECOND: &str = "A4 B4 C5 E5 G5 E5 C5 B4";
const THIRD: &str = "G4 Ab4 A4 C5 E5 C5 A4 Ab4";
const FOURTH: &str = "E4 F4 G4 A4 C5 A4 G4 F4";
const DOUBLING: &str = "C4 D4 E4 G4 A4 G4 E4 D4";

#[test]
fn a_clarinet_over_saxes_is_their_lead() {
    // Doubled lead: the saxes alone are a complete four-way close chord under it.
    for (name, instrument) in [
        ("clarinet", "clarinet"),
        ("flute", "flute"),
        ("trumpet", "trumpet"),
    ] {
        let parts = [
            (name, instrument, LEAD),
            ("alto 1", "alto saxophone", SECOND),
            ("alto 2", "alto saxophone", THIRD),
            ("tenor 1", "tenor saxophone", FOURTH),
            ("tenor 2", "tenor saxophone", DOUBLING),
        ];
        assert_eq!(grouped(&parts), [format!("{name} and saxes")]);
    }
    // The saxes' own lead an octave up is a doubling.
    let parts = [
        ("clarinet", "clarinet", "A5 B5 C6 E6 G6 E6 C6 B5"),
        ("alto 1", "alto saxophone", SECOND),
        ("alto 2", "alto saxophone", THIRD),
        ("tenor 1", "tenor saxophone", FOURTH),
        ("tenor 2", "tenor saxophone", DOUBLING),
    ];
    assert_eq!(grouped(&parts), ["clarinets", "saxes"]);
}

#[test]
fn single_players_who_make_one_chord_are_a_section() {
    let four = |names: [&'static str; 4]| -> Vec<String> {
        let lines = [LEAD, SECOND, THIRD, FOURTH];
        let named: Vec<String> = (1..).zip(names).map(|(i, n)| format!("{n} {i}")).collect();
        let parts = named.iter().zip(names).zip(lines);
        let parts: Vec<(&str, &str, &str)> = parts.map(|((n, i), l)| (n.as_str(), i, l)).collect();
        grouped(&parts)
    };
    assert_eq!(
        four(["flute", "flute", "clarinet", "clarinet"]),
        ["flutes and clarinets"]
    );
    assert_eq!(
        four(["trumpet", "trumpet", "trombone", "trombone"]),
        ["brass"]
    );
    assert_eq!(
        four(["trumpet", "alto saxophone", "tenor saxophone", "trombone"]),
        ["horns"]
    );
    assert_eq!(
        four(["flute", "oboe", "clarinet", "bassoon"]),
        ["woodwinds"]
    );
}

#[test]
fn a_soprano_is_the_lead_of_its_own_section() {
    let parts = [
        ("soprano", "soprano saxophone", LEAD),
        ("alto", "alto saxophone", SECOND),
        ("tenor 1", "tenor saxophone", THIRD),
        ("tenor 2", "tenor saxophone", FOURTH),
        ("baritone", "baritone saxophone", DOUBLING),
    ];
    assert_eq!(grouped(&parts), ["saxes"]);
}

#[test]
fn saxes_that_double_brass_an_octave_below_stay_a_section() {
    let parts = [
        ("trumpet 1", "trumpet", LEAD),
        ("trumpet 2", "trumpet", SECOND),
        ("trumpet 3", "trumpet", THIRD),
        ("trumpet 4", "trumpet", FOURTH),
        ("alto 1", "alto saxophone", "C4 D4 E4 G4 A4 G4 E4 D4"),
        ("alto 2", "alto saxophone", "A3 B3 C4 E4 G4 E4 C4 B3"),
        ("tenor 1", "tenor saxophone", "G3 Ab3 A3 C4 E4 C4 A3 Ab3"),
        ("tenor 2", "tenor saxophone", "E3 F3 G3 A3 C4 A3 G3 F3"),
    ];
    assert_eq!(grouped(&parts), ["trumpets", "saxes"]);
}

#[test]
fn horns_in_pairs_are_one_section() {
    // The first and third above, the second and fourth below: published orchestration texts.
    let parts = [
        ("horn 1", "french horn", LEAD),
        ("horn 2", "french horn", THIRD),
        ("horn 3", "french horn", SECOND),
        ("horn 4", "french horn", FOURTH),
    ];
    assert_eq!(grouped(&parts), ["French horns"]);
}

#[test]
fn woodwinds_in_counterpoint_are_no_section() {
    let parts = [
        ("flute", "flute", "C6 - - B5 A5 - G5 -"),
        ("oboe", "oboe", ". E5 F5 - G5 F5 E5 D5"),
        ("clarinet", "clarinet", "C5 - D5 - . . E5 D5"),
        ("bassoon", "bassoon", "C3 - - - G3 - - -"),
    ];
    assert!(heard(&parts).iter().all(|s| s.parts.len() == 1));
}

#[test]
fn a_section_changes_in_mid_chart() {
    let rest = ". . . . . . . .";
    let parts = [
        ("clarinet", "clarinet", format!("{rest} {LEAD}")),
        ("alto 1", "alto saxophone", format!("{LEAD} {SECOND}")),
        ("alto 2", "alto saxophone", format!("{SECOND} {THIRD}")),
        ("tenor 1", "tenor saxophone", format!("{THIRD} {FOURTH}")),
        ("tenor 2", "tenor saxophone", format!("{FOURTH} {DOUBLING}")),
    ];
    let parts: Vec<(&str, &str, &str)> =
        parts.iter().map(|(n, i, l)| (*n, *i, l.as_str())).collect();
    let sections = heard(&parts);
    let names: Vec<&str> = sections.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["clarinet and saxes", "saxes"]);
    let second = Ticks(sections[0].stretches[0].start.0);
    let (before, after) = (Ticks(second.0 - 1), second);
    assert!(!sections[0].plays_at(before) && sections[0].plays_at(after));
    assert!(sections[1].plays_at(before) && !sections[1].plays_at(after));
    // Each part belongs to one of them as a whole.
    let own = |s: &Section| s.own_parts().map(|p| p.part).collect::<Vec<u32>>();
    assert_eq!(
        (own(&sections[0]), own(&sections[1])),
        (vec![0], vec![1, 2, 3, 4])
    );
}

#[test]
fn a_solo_over_backgrounds_is_no_member() {
    let parts = [
        (
            "clarinet",
            "clarinet",
            "E5 F5 G5 A5 B5 C6 B5 A5 G5 F5 E5 D5",
        ),
        ("alto 1", "alto saxophone", "A4 - - - G4 - - - A4 - - -"),
        ("alto 2", "alto saxophone", "G4 - - - F4 - - - G4 - - -"),
        ("tenor 1", "tenor saxophone", "E4 - - - D4 - - - E4 - - -"),
        ("tenor 2", "tenor saxophone", "C4 - - - B3 - - - C4 - - -"),
    ];
    assert_eq!(grouped(&parts), ["clarinets", "saxes"]);
}

#[test]
fn sections_that_double_each_other_stay_apart() {
    let lines = [LEAD, SECOND, THIRD, FOURTH];
    let below = [
        "C4 D4 E4 G4 A4 G4 E4 D4",
        "A3 B3 C4 E4 G4 E4 C4 B3",
        "G3 Ab3 A3 C4 E4 C4 A3 Ab3",
        "E3 F3 G3 A3 C4 A3 G3 F3",
    ];
    let names = ["trumpet", "trombone"];
    let named: Vec<(String, &str, &str)> = names
        .iter()
        .zip([lines, below])
        .flat_map(|(n, four)| {
            (1..)
                .zip(four)
                .map(move |(i, l)| (format!("{n} {i}"), *n, l))
        })
        .collect();
    let parts: Vec<(&str, &str, &str)> =
        named.iter().map(|(n, i, l)| (n.as_str(), *i, *l)).collect();
    assert_eq!(grouped(&parts), ["trumpets", "trombones"]);
}

#[test]
fn double_reeds_are_one_section_where_they_move_together() {
    let oboe = "C5 D5 E5 G5 A5 G5 E5 D5";
    let pair =
        |bassoon: &'static str| grouped(&[("oboe", "oboe", oboe), ("bassoon", "bassoon", bassoon)]);
    assert_eq!(pair("C3 D3 E3 G3 A3 G3 E3 D3"), ["double reeds"]);
    assert_eq!(pair("C3 - - - A2 - - -"), ["oboe", "bassoon"]);
}

#[test]
fn what_the_passage_says_is_never_regrouped() {
    let text = "key: C\nmeter: 4/4\npitch: sounding\nsection: clarinet and saxes\nparts: clarinet = clarinet\n       \
                alto 1 = alto saxophone\n\ncount | 1 2 |\nclarinet | C5 D5 |\nalto 1 | A4 . |\n";
    let all = sections(&grid::read(Path::new("x.passage"), text.into()).unwrap());
    let names: Vec<(&str, usize)> = all
        .iter()
        .map(|s| (s.name.as_str(), s.parts.len()))
        .collect();
    assert_eq!(names, [("clarinet and saxes", 2)]);
}
