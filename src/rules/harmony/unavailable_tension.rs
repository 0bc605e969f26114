//! `unavailable-tension`: tensions are those the chord's function has. Published: harmony course
//! cards; dominants: common practice, no source.

use crate::diagnosis::SlipKind;
use crate::finding::{Finding, Level};
use crate::rules::shared::{free, wording};
use crate::rules::{Example, Group, Reading, Rule};
use crate::voicing::Colour;

pub static RULE: Rule = Rule {
    name: "unavailable-tension",
    group: Group::Harmony,
    asks: "A note beyond the chord is a tension that the chord's function has: no eleventh over a major third, no natural ninth against a flat one.",
    why: "A note a half step above a chord note, or against an alteration the symbol names, undoes what the chord is for.",
    exceptions: &[
        "suspended symbols",
        "altered tensions over a dominant that leads on, and wherever the symbol or the lead names them",
        "short approach chords",
    ],
    source: "published: harmony course cards; dominants: common practice, no source",
    level: Level::Warning,
    off: false,
    settings: &[],
    examples: &[
        Example {
            wrong: "key: C major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

chord      | Cmaj7 -  |
count      | 1     3  |
trombone 1 | G4    E4 |
trombone 2 | E4    B3 |
trombone 3 | B3    F3 |
",
            at: ("1", "3"),
            right: "key: C major
meter: 4/4
section: trombones
parts: trombone 1 = trombone
       trombone 2 = trombone
       trombone 3 = trombone

chord      | Cmaj7 -  |
count      | 1     3  |
trombone 1 | G4    E4 |
trombone 2 | E4    B3 |
trombone 3 | B3    G3 |
",
        },
        Example {
            wrong: "key: C major
meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | G7 -  Fmaj7 |
count     | 1  2  3     |
trumpet 1 | F5 D5 E5    |
trumpet 2 | D5 B4 C5    |
trumpet 3 | B4 G4 A4    |
trumpet 4 | Ab4 F4 F4   |
",
            at: ("1", "1"),
            right: "key: C major
meter: 4/4
section: trumpets
technique: four-way close
parts: trumpet 1 = trumpet
       trumpet 2 = trumpet
       trumpet 3 = trumpet
       trumpet 4 = trumpet

chord     | G7 -  Fmaj7 |
count     | 1  2  3     |
trumpet 1 | F5 D5 E5    |
trumpet 2 | D5 B4 C5    |
trumpet 3 | B4 G4 A4    |
trumpet 4 | G4 F4 F4   |
",
        },
    ],
    check,
};

fn check(reading: &Reading<'_>, out: &mut Vec<Finding>) {
    for at in reading.slips() {
        let SlipKind::AlteredTension(name) = at.slip.kind else {
            continue;
        };
        let chord = at.chord(reading.score).unwrap_or("the chord");
        let message = format!(
            "{}: {name} alters {chord}, and neither the symbol, the lead nor the next chord asks for it",
            wording::who_has(reading.score, &at.slip.faults)
        );
        out.push(at.finding(reading.score, &RULE, Level::Note, message));
    }
    for chord in free::chords(reading) {
        let off = chord.coloured(Colour::Avoid);
        if off.is_empty() || !chord.coloured(Colour::Foreign).is_empty() {
            continue; // with a foreign note beside it, it is the wrong note's business
        }
        let faults: Vec<_> = off
            .iter()
            .filter_map(|&i| chord.fault(i, chord.alternatives(i).first().copied()))
            .collect();
        let level = if chord.is_held() || chord.lead.strong {
            Level::Warning
        } else {
            Level::Note
        };
        let message = format!(
            "{}, which {} does not take",
            wording::who_has(reading.score, &faults),
            chord.frame.chord
        );
        let mut finding = chord.finding(&RULE, level, message, &faults, "not over this chord");
        finding.suggestion = wording::instead(reading.score, &faults);
        out.push(finding);
    }
}
