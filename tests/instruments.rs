//! Every instrument of the table through the program: a part written for it is read as its own, and
//! the range that the table gives is the range that is judged. A new entry is held to this by itself.
//!
//! What each rule says of one instrument is printed by
//! `CHARTPROOF_INSTRUMENT=trombone cargo test --test all instruments:: -- --nocapture`.

use chartproof::inside::finding::{Finding, Level};
use chartproof::inside::ground::instrument::{Instrument, Property, catalogue};
use chartproof::inside::ground::pitch::Pitch;
use chartproof::inside::proof::proof;
use chartproof::inside::reading::grid;
use chartproof::inside::style::Style;
use std::collections::BTreeMap;
use std::path::Path;

/// A written pitch by its semitones (C4 is 60).
fn pitch(midi: i16) -> String {
    let names = [
        "C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
    ];
    let octave = midi.div_euclid(12) - 1;
    format!("{}{octave}", names[midi.rem_euclid(12) as usize])
}

/// A grid of one player, with the cells of each bar at these counts.
fn grid_of(instrument: &Instrument, counts: &str, bars: &[Vec<String>]) -> String {
    let counts = vec![counts; bars.len()].join(" | ");
    let cells: Vec<String> = bars.iter().map(|bar| bar.join(" ")).collect();
    format!(
        "meter: 4/4\npitch: written\nparts: player = {}\n\ncount  | {counts} |\nplayer | {} |\n",
        instrument.name,
        cells.join(" | ")
    )
}

fn proofed(text: &str) -> Vec<Finding> {
    let mut score = grid::read(Path::new("made.passage"), text.into())
        .unwrap_or_else(|error| panic!("{error}\n{text}"));
    let style = Style::default();
    style.prepare(&mut score);
    proof(&score, &style).findings
}

/// Quarter notes, four to a bar, rests to fill the last.
fn quarters(instrument: &Instrument, midis: impl IntoIterator<Item = i16>) -> String {
    let mut notes: Vec<String> = midis.into_iter().map(pitch).collect();
    notes.resize(notes.len().next_multiple_of(4), ".".to_owned());
    let bars: Vec<Vec<String>> = notes.chunks(4).map(<[String]>::to_vec).collect();
    grid_of(instrument, "1 2 3 4", &bars)
}

fn span(range: (Pitch, Pitch)) -> std::ops::RangeInclusive<i16> {
    range.0.midi()..=range.1.midi()
}

/// The lowest and the highest note the instrument has at all, written pitch in semitones.
fn reach(instrument: &Instrument) -> (i16, i16) {
    if !instrument.range.is_known() {
        return (48, 84);
    }
    let all = instrument.range.extension.as_ref().map(|e| e.range);
    let ranges = [Some(instrument.range.possible), all];
    let low = ranges.iter().flatten().map(|r| r.0.midi()).min().unwrap();
    let high = ranges.iter().flatten().map(|r| r.1.midi()).max().unwrap();
    (low, high)
}

#[test]
fn the_range_of_the_table_is_the_range_that_is_judged() {
    for i in &catalogue().instruments {
        if i.is(Property::Unpitched) || !i.range.is_known() {
            continue;
        }
        let of_range = |text: &str| -> Vec<Finding> {
            let mut all = proofed(text);
            all.retain(|f| f.rule == "written-range");
            all
        };
        let inside = of_range(&quarters(i, span(i.range.professional)));
        assert!(
            inside.iter().all(|f| f.level == Level::Note),
            "{}: a note of its `professional` range is reported: {}",
            i.key,
            inside[0].message
        );
        let (low, high) = reach(i);
        for beyond in [low - 1, high + 1] {
            let found = of_range(&quarters(i, [beyond]));
            // Voices differ more than instruments: what is just beyond is no error yet.
            let least = if i.is(Property::Sung) {
                Level::Warning
            } else {
                Level::Error
            };
            assert!(
                found.iter().any(|f| f.level >= least),
                "{}: written {} is beyond all its ranges and is no error",
                i.key,
                pitch(beyond)
            );
        }
    }
}

/// Passages that ask what the rules think of an instrument, each with a heading.
fn passages(i: &Instrument) -> Vec<(String, String)> {
    let (low, high) = reach(i);
    let usual = i.range.comfortable.unwrap_or(i.range.professional).1;
    let top = usual.midi().min(high);
    let eighths = |a: i16, b: i16| {
        let bar: Vec<String> = (0..8)
            .map(|n| pitch(if n % 2 == 0 { a } else { b }))
            .collect();
        grid_of(i, "1 & 2 & 3 & 4 &", &vec![bar; 24])
    };
    let mut made = vec![
        (
            "each semitone from below its lowest to above its highest note".to_owned(),
            quarters(i, low - 1..=high + 1),
        ),
        (
            "24 bars of eighth notes at the top of the comfortable range, without a rest"
                .to_owned(),
            eighths(top, top - 2),
        ),
        (
            "two notes at once".to_owned(),
            grid_of(
                i,
                "1 2 3 4",
                &[vec![
                    pitch(top - 5),
                    pitch(top - 5),
                    format!("{}+{}", pitch(top), pitch(top - 5)),
                    pitch(top - 5),
                ]],
            ),
        ),
    ];
    for register in &i.registers {
        let (a, b) = (register.range.0.midi(), register.range.1.midi());
        let bar: Vec<String> = (0..16)
            .map(|n| pitch(if n % 2 == 0 { a } else { b }))
            .collect();
        made.push((
            format!("sixteenth notes between {} and {}", pitch(a), pitch(b)),
            grid_of(i, "1 e & a 2 e & a 3 e & a 4 e & a", &vec![bar; 2]),
        ));
    }
    made
}

#[test]
fn every_passage_for_an_instrument_is_read() {
    let asked = std::env::var("CHARTPROOF_INSTRUMENT").ok();
    if let Some(key) = &asked {
        assert!(
            catalogue().instrument(key).is_some(),
            "CHARTPROOF_INSTRUMENT: no entry has the key `{key}`"
        );
    }
    for i in &catalogue().instruments {
        if i.is(Property::Unpitched) {
            continue;
        }
        let shown = asked.as_ref() == Some(&i.key);
        if shown {
            introduce(i);
        }
        for (heading, text) in passages(i) {
            let mut of_rules: BTreeMap<&str, Vec<String>> = BTreeMap::new();
            for f in proofed(&text) {
                let said = format!("{}, bar {}: {}", f.level.word(), f.at.bar + 1, f.message);
                of_rules.entry(f.rule).or_default().push(said);
            }
            if !shown {
                continue;
            }
            println!("\n{heading}");
            for (rule, said) in &of_rules {
                println!("  {rule}");
                for line in said {
                    println!("    {line}");
                }
            }
            if of_rules.is_empty() {
                println!("  no rule reports anything");
            }
        }
    }
}

fn introduce(i: &Instrument) {
    let sounding = |p: Pitch| p.transposed(i.transposition);
    println!(
        "{} ({}), section {}, family {}",
        i.name, i.key, i.section, i.family
    );
    for (name, range) in [
        ("possible", Some(i.range.possible)),
        ("professional", Some(i.range.professional)),
        ("lead", i.range.lead),
        ("comfortable", i.range.comfortable),
        ("school", i.range.school),
    ] {
        if let Some((low, high)) = range {
            println!(
                "  {name:<13}{low} to {high}, sounding {} to {}",
                sounding(low),
                sounding(high)
            );
        }
    }
    for property in Property::ALL.iter().filter(|p| i.is(**p)) {
        println!("  {}", catalogue().properties[property].about);
    }
}
