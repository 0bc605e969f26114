//! `unplayable-stretch`: chords on strings and bars that hands cannot take. Strings and mallets are
//! data: `rules/instruments.toml`. What hands reach is common practice, no source.

use crate::diagnosis::Fault;
use crate::finding::{Finding, Level};
use crate::ground::instrument::{Instrument, Mallets};
use crate::rules::input::RuleInput;
use crate::rules::rule::{DependsOn, Example, Exception, Group, Rule, Setting, Silent};
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::sonority::{Sonority, Voice, voice_number};
use crate::voicing::Semitones;
use rustc_hash::FxHashMap;
use smallvec::SmallVec;

pub static RULE: Rule = Rule {
    name: "unplayable-stretch",
    group: Group::Players,
    asks: "A guitar chord has one string for each note within the reach of the left hand; a vibraphone chord has a mallet for each note within the reach of two hands.",
    why: "The player has to leave notes out, and the voicing is no longer the one that was written. Stretching for it can hurt; the player and the teacher know the hand.",
    source: "tuning and mallets: published, encyclopaedia article on guitar tunings, and percussion pitch charts; what hands reach: common practice, no source",
    level: Level::Warning,
    off: false,
    depends_on: DependsOn::Pitch,
    settings: &[Setting {
        name: "frets",
        about: "frets between the lowest and the highest finger that a left hand spans",
        default: 4.0,
    }],
    examples: &[Example {
        wrong: "\
key: F major
meter: 4/4
section: guitar
pitch: written
parts: guitar = guitar

chord  | Fmaj7       -           |
count  | 1           3           |
guitar | E5+C5+A4+F3 E6+C6+A5+F3 |
                     ^^ ^^ ^^ ^^ out of reach
suggestion: leave a note out, or move one by an octave so that the chord lies together; drop 2 and drop 3 fit four strings
",
        right: "guitar | E5+C5+A4+F3 E5+C5+A4+F4 |",
    }],
    exceptions: &[
        Exception {
            says: "notes that are held from before",
            silent: Silent::Passage {
                passage: "\
key: C major
meter: 4/4
section: vibraphone
parts: vibraphone = vibraphone

chord      | Cmaj7 -                |
count      | 1     3                |
vibraphone | C4+G3 E5+D5+B4+-C4+-G3 |
",
                but: "vibraphone | C4+G3 E5+D5+B4+C4+G3   |",
            },
        },
        Exception {
            says: "open strings",
            silent: Silent::Passage {
                passage: "\
key: G major
meter: 4/4
section: guitar
pitch: written
parts: guitar = guitar

chord  | Em7         - |
count  | 1           3 |
guitar | B5+G5+D5+E3 . |
",
                but: "\
chord  | G7          - |
guitar | B5+G5+D5+F3 . |
",
            },
        },
    ],
};

pub fn check(input: &RuleInput<'_>, out: &mut Vec<Finding>) {
    let frets = input.setting(&RULE, "frets") as i16;
    for passage in input.passages {
        for member in &passage.section.parts {
            let Some(instrument) = member
                .instrument
                .filter(|i| !i.strings.is_empty() || i.mallets.is_some())
            else {
                continue;
            };
            for (index, sonority) in passage.sonorities.iter().enumerate() {
                let struck: SmallVec<[&Voice; 8]> = sonority
                    .voices
                    .iter()
                    .filter(|v| v.attacked && v.note.part == member.part)
                    .collect();
                if struck.len() < 2 {
                    continue;
                }
                if let Some(what) = trouble(instrument, &struck, frets) {
                    let chord = passage.symbol_of(input.score, index).map(str::to_owned);
                    let mut finding = finding(input, instrument, sonority, &struck, &what);
                    finding.section = Some(passage.section.name.clone());
                    finding.chord = chord;
                    out.push(finding);
                }
            }
        }
    }
}

/// What is wrong with a chord on this instrument.
fn trouble(instrument: &Instrument, struck: &[&Voice], frets: i16) -> Option<String> {
    let back = instrument.transposition.inverse();
    // From the top.
    let mut written: Semitones = struck
        .iter()
        .map(|v| v.pitch.transposed(back).midi())
        .collect();
    written.dedup();
    if let Some(mallets) = instrument.mallets {
        return mallet_trouble(&written, mallets);
    }
    let strings: Semitones = instrument.strings.iter().map(|p| p.midi()).collect();
    if written.len() > strings.len() {
        return Some(format!(
            "has {} notes at once on {} strings",
            written.len(),
            strings.len()
        ));
    }
    // Notes beyond the instrument are written-range's business.
    let high = strings.iter().max().map_or(0, |s| s + LAST_FRET);
    let low = strings.iter().min().copied().unwrap_or(0);
    if written.iter().any(|m| *m > high || *m < low) {
        return None;
    }
    let mut free = strings.clone();
    if fits(&written, &mut free, None, frets) {
        return None;
    }
    let mut free = strings;
    Some(if fits(&written, &mut free, None, LAST_FRET) {
        format!(
            "has a chord that spans more than {} frets however it is fingered",
            frets + 1
        )
    } else {
        "has a chord with two notes that only one string has".to_owned()
    })
}

const LAST_FRET: i16 = 19;

/// Whether the notes find a string each so that all stopped notes lie within `reach` frets. Open
/// strings cost no reach. `hand`: lowest and highest fret stopped so far.
fn fits(notes: &[i16], free: &mut Semitones, hand: Option<(i16, i16)>, reach: i16) -> bool {
    let Some((note, rest)) = notes.split_first() else {
        return true;
    };
    for at in 0..free.len() {
        let Some(open) = free.get(at).copied() else {
            continue;
        };
        let fret = note - open;
        if !(0..=LAST_FRET).contains(&fret) {
            continue;
        }
        let wider = if fret == 0 {
            hand
        } else {
            let (low, high) = hand.unwrap_or((fret, fret));
            Some((low.min(fret), high.max(fret)))
        };
        if wider.is_some_and(|(low, high)| high - low > reach) {
            continue;
        }
        free.remove(at);
        let found = fits(rest, free, wider, reach);
        free.insert(at, open);
        if found {
            return true;
        }
    }
    false
}

fn mallet_trouble(written: &[i16], mallets: Mallets) -> Option<String> {
    let count = usize::from(mallets.count);
    if written.len() > count {
        return Some(format!(
            "has {} notes at once for {count} mallets",
            written.len()
        ));
    }
    // With one mallet a hand any two notes go; else the hands share the notes, two each at most.
    let hand = count / 2;
    let shared = (0..=written.len()).any(|at| {
        let (right, left) = written.split_at(at);
        [right, left].iter().all(|h| {
            h.len() <= hand
                && match (h.first(), h.last()) {
                    (Some(a), Some(b)) => a - b <= mallets.span,
                    _ => true,
                }
        })
    });
    (!shared).then(|| "has a chord that is wider than two mallets in one hand open".to_owned())
}

fn finding(
    input: &RuleInput<'_>,
    instrument: &Instrument,
    sonority: &Sonority,
    struck: &[&Voice],
    what: &str,
) -> Finding {
    let places: FxHashMap<NoteRef, usize> =
        sonority.voices.iter().map(|v| v.note).zip(0..).collect();
    let faults: Vec<Fault> = struck
        .iter()
        .map(|v| Fault {
            note: v.note,
            found: v.pitch,
            voice: voice_number(places.get(&v.note).copied().unwrap_or(0)),
            expected: v.pitch,
        })
        .collect();
    let part = faults.first().map_or(0, |f| f.note.part);
    let pitches: Vec<String> = faults
        .iter()
        .map(|f| wording::for_player(input.score, f.note, f.found))
        .collect();
    let message = format!(
        "{} {what}: {}",
        wording::part(input.score, part),
        wording::join(&pitches)
    );
    let why = match &instrument.caution {
        Some(caution) => format!("{} {caution}", RULE.why),
        None => RULE.why.to_owned(),
    };
    RULE
        .finding(sonority.at, message)
        .parts([part])
        .because(why)
        .at_fault(&faults, "out of reach")
        .sounding(sonority.pitches())
        .instead("leave a note out, or move one by an octave so that the chord lies together; drop 2 and drop 3 fit four strings")
}

crate::rules::test_examples!(RULE);

#[cfg(test)]
mod tests {
    use super::*;

    const STRINGS: [i16; 6] = [52, 57, 62, 67, 71, 76];

    fn plays(notes: &[i16]) -> bool {
        fits(notes, &mut Semitones::from_slice(&STRINGS), None, 4)
    }

    #[test]
    fn chords_on_strings() {
        // Published: Wikipedia, Guitar chord: the open E and the barre F, written pitch.
        assert!(plays(&[76, 71, 68, 64, 59, 52]));
        assert!(plays(&[77, 72, 69, 65, 60, 53]));
        // Two notes that only the lowest string has.
        assert!(!plays(&[56, 53]));
        // First and twelfth fret.
        assert!(!plays(&[88, 84, 81, 53]));
    }

    #[test]
    fn chords_on_bars() {
        let mallets = Mallets { count: 4, span: 14 };
        assert_eq!(mallet_trouble(&[76, 72, 67, 60], mallets), None);
        assert!(mallet_trouble(&[84, 60, 59], mallets).is_none());
        assert!(mallet_trouble(&[88, 72, 67, 48], mallets).is_some());
        assert!(mallet_trouble(&[76, 72, 69, 67, 60], mallets).is_some());
    }
}
