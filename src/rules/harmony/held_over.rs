//! What `wrong-note` says of notes held under a held lead into a chord they are foreign to.

use crate::diagnosis::{Fault, Passage, frame_at};
use crate::finding::{Finding, Level, NoteAtFault};
use crate::ground::time::Ticks;
use crate::rules::diagnosed::SonorityAt;
use crate::rules::input::RuleInput;
use crate::rules::rule::Rule;
use crate::rules::shared::wording;
use crate::score::NoteRef;
use crate::score::Score;
use crate::sonority::{Voice, voice_number};
use crate::voicing::{Colour, Frame};
use std::collections::HashSet;

/// How long notes have to be held under the new chord, in beats: less is a late move or a release.
const HELD: i64 = 2;

/// From more such changes than this on they say whether the symbols can be believed.
const FEW: usize = 8;

/// One finding for a section and a change of chord. Where more than a third of more than [`FEW`] such
/// changes go against the symbols, the symbols are the ones that are off, and nothing is said.
pub fn check(input: &RuleInput<'_>, rule: &Rule, out: &mut Vec<Finding>) {
    for passage in input.passages {
        let (Some(first), Some(last)) = (passage.sonorities.first(), passage.sonorities.last())
        else {
            continue;
        };
        if passage.section.chordal && !passage.alone {
            continue; // a keyboard lets a chord ring on
        }
        let chords = &input.score.chords;
        let from = chords.partition_point(|m| m.onset <= first.onset);
        let to = chords.partition_point(|m| m.onset < last.end);
        let mut reported: HashSet<NoteRef> = HashSet::new();
        let mut changes = 0usize;
        let mut found: Vec<Finding> = Vec::new();
        for mark in chords.get(from..to).unwrap_or_default() {
            let Some(mut held) = at_change(input, passage, mark.onset) else {
                continue;
            };
            changes += 1;
            held.faults.retain(|f| reported.insert(f.note));
            found.extend(finding(input, rule, &held));
        }
        if changes <= FEW || found.len() * 3 <= changes {
            out.extend(found);
        }
    }
}

/// The notes held over a change of chord into the new one, where they have no place.
struct HeldOver<'a> {
    /// What sounds where the chord comes in.
    at: SonorityAt<'a>,
    /// When it comes in.
    onset: Ticks,
    faults: Vec<Fault>,
}

/// What sounds where a chord comes in, and which of the notes held into it have no place there: `None`
/// where nothing is held under a lead that goes with it.
fn at_change<'a>(
    input: &RuleInput<'_>,
    passage: &'a Passage,
    onset: Ticks,
) -> Option<HeldOver<'a>> {
    let score = input.score;
    score.chord_change(onset)?;
    let key = passage.key_at(score, onset);
    let frame = frame_at(score, onset, key)?;
    let index = passage
        .sonorities
        .partition_point(|s| s.onset <= onset)
        .checked_sub(1)?;
    let sonority = passage.sonorities.get(index)?;
    let starts = |v: &Voice| {
        let part = score.parts.get(v.note.part as usize)?;
        part.notes.get(v.note.note as usize).map(|n| n.onset)
    };
    let (lead, lower) = sonority.voices.split_first()?;
    let beat = score.felt_beat_at(onset);
    let is_held = |v: &Voice| v.end > onset && starts(v).is_some_and(|t| t < onset);
    // The lead is held with a place in the new chord, or all others go on and one is left behind.
    let held = sonority.voices.iter().filter(|v| is_held(v)).count();
    let left_behind = sonority.onset == onset && held == 1 && lead.attacked;
    if lower.len() < 2
        || !passage.is_block_phrase(index)
        || !(left_behind || is_held(lead) && frame.may_sound(lead.midi))
    {
        return None;
    }
    let later = score.chords.partition_point(|m| m.onset <= onset);
    let next = score
        .chords
        .get(later..)?
        .iter()
        .find(|m| score.chord_change(m.onset).is_some());
    let foreign = |v: &Voice, at: Ticks| {
        frame_at(score, at, key).is_some_and(|f| {
            let colour = f.colour(v.pitch.class());
            colour == Colour::Foreign || left_behind && colour == Colour::Avoid
        })
    };
    // The bottom voice under voices that move is a pedal.
    let pedal = (sonority.onset == onset && !left_behind).then_some(lower.len());
    let voices: Vec<(usize, &Voice)> = (1..)
        .zip(lower)
        .filter(|(i, v)| is_held(v) && Some(*i) != pedal)
        .collect();
    if voices.is_empty() {
        return None;
    }
    let faults = voices
        .into_iter()
        .filter(|(_, v)| {
            let until = next.map_or(v.end, |n| n.onset.min(v.end));
            let long = if left_behind { 1 } else { HELD };
            until - onset >= beat.times(long)
                && foreign(v, onset)
                // A chord that passes while notes are held leaves them right in the end.
                && foreign(v, v.end - Ticks(1))
                && starts(v).is_some_and(|t| !foreign(v, t))
                && !resolves(input, v, &frame, next.map(|n| n.onset))
                && !input.is_explained(v.note)
        })
        .map(|(i, v)| Fault {
            note: v.note,
            found: v.pitch,
            voice: voice_number(i),
            expected: v.pitch,
        })
        .collect();
    let at = SonorityAt {
        passage,
        index,
        sonority,
    };
    Some(HeldOver { at, onset, faults })
}

/// Whether a suspended note goes on by step to one that the same chord, in force `until`, has a place
/// for.
fn resolves(input: &RuleInput<'_>, held: &Voice, frame: &Frame<'_>, until: Option<Ticks>) -> bool {
    let score = input.score;
    let notes = score
        .parts
        .get(held.note.part as usize)
        .map_or(&[][..], |p| &p.notes);
    let beat = score.felt_beat_at(held.end);
    let next = notes.partition_point(|n| n.onset < held.end);
    let onset = notes
        .get(next)
        .map(|n| n.onset)
        .filter(|t| until.is_none_or(|u| *t < u));
    notes
        .iter()
        .skip(next)
        .take_while(|n| Some(n.onset) == onset && n.onset - held.end <= beat)
        .any(|n| {
            let to = n.sounding.midi();
            matches!(to - held.midi, -2 | -1 | 1) && frame.may_sound(to)
        })
}

fn finding(input: &RuleInput<'_>, rule: &Rule, held: &HeldOver<'_>) -> Option<Finding> {
    let HeldOver { at, onset, faults } = held;
    let onset = *onset;
    let score = input.score;
    let chord = score.chord_change(onset)?.text.clone();
    let first = faults.first()?;
    let own = score.parts.get(first.note.part as usize)?;
    let since = own.notes.get(first.note.note as usize)?.onset;
    let old = score.chord_at(since)?.value.chord.as_ref()?;
    let clash = if faults.len() > 1 {
        "they clash"
    } else {
        "it clashes"
    };
    let message = format!(
        "{}, held from {old} into {chord}, where {clash}",
        wording::who_has(score, faults)
    );
    let label = format!("not in {chord}");
    let held = faults.iter().map(|f| NoteAtFault {
        note: sounding_at(score, f.note, onset),
        voice: f.voice,
        expected: None,
        label: label.clone(),
    });
    Some(
        rule.finding(score.place_of(onset), message)
            .level(Level::Warning)
            .because("Under a held lead the chord changes for every voice: notes of the old chord that are held on contradict the new one for as long as they sound.")
            .source("published: jazz harmony course cards on chord notes and available tensions; how long is common practice, no source")
            .section(&at.passage.section.name)
            .chord(Some(&chord))
            .mark(held)
            .sounding(at.sonority.pitches())
            .instead(format!("move to a note of {chord} where it comes in, or let go before it")),
    )
}

/// Of a note and those it is tied to, the one that sounds at a time: there the player sees it.
fn sounding_at(score: &Score, note: NoteRef, onset: Ticks) -> NoteRef {
    let started = |n: &NoteRef| {
        let part = score.parts.get(n.part as usize);
        part.and_then(|p| p.notes.get(n.note as usize))
            .is_some_and(|n| n.onset <= onset)
    };
    let chain = score.tied_chain(note);
    chain.into_iter().rfind(started).unwrap_or(note)
}

#[cfg(test)]
mod tests {
    use crate::proof::proof;
    use crate::reading::grid;
    use crate::style::Style;
    use std::path::Path;

    /// Rule, bar and beat of each finding, and the parts at fault (0-based), in four saxophones.
    fn found(key: &str, rows: &str) -> Vec<(&'static str, String, String, Vec<u32>)> {
        let text = format!(
            "key: {key}\nmeter: 4/4\nsection: saxes\ntechnique: four-way close\n\
             parts: alto 1 = alto saxophone\nalto 2 = alto saxophone\n\
             tenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\n\n{rows}"
        );
        let score = grid::read(Path::new("x.passage"), text.as_str().into()).unwrap();
        let found = proof(&score, &Style::default()).findings;
        found
            .into_iter()
            .map(|f| {
                let bar = score.bar_number(f.at.bar);
                (f.rule, bar, score.beat_at(f.at).to_string(), f.parts)
            })
            .collect()
    }

    #[test]
    fn a_voice_that_stays_behind_is_one_finding_and_no_other_rhythm() {
        let rows = "chord   | Gm7 -   -   -  | C7  -  | F6 |\n\
                    count   | 1   2   3   4  | 1   3  | 1  |\n\
                    alto 1  | D5  F5  D5  Bb4 | -  C5 | C5 |\n\
                    alto 2  | Bb4 D5  Bb4 G4 | -   Bb4 | A4 |\n\
                    tenor 1 | G4  Bb4 G4  F4 | E4  G4 | F4 |\n\
                    tenor 2 | F4  G4  F4  D4 | C4  E4 | D4 |\n";
        assert_eq!(found("F", rows), []);
        // The third part keeps the major third of D7 for the whole of Dm7.
        let behind = "chord   | D7  -   -   -  | Dm7 -  | G7 |\n\
                      count   | 1   2   3   4  | 1   3  | 1  |\n\
                      alto 1  | D5  C5  D5  C5 | -   -  | B4 |\n\
                      alto 2  | C5  A4  C5  A4 | A4  -  | G4 |\n\
                      tenor 1 | A4  F#4 A4  F#4 | -  -  | F4 |\n\
                      tenor 2 | F#4 D4  F#4 D4 | D4  -  | D4 |\n";
        assert_eq!(
            found("C", behind),
            [("wrong-note", "2".to_owned(), "1".to_owned(), vec![2])]
        );
        // With the chord it is right, and so it is as a suspension that the same bar resolves.
        for right in ["| F4  -  |", "| -   F4 |"] {
            let rows = behind.replace("F#4 | -  -  |", &format!("F#4 {right}"));
            assert_eq!(found("C", &rows), [], "{rows}");
        }
    }

    #[test]
    fn anticipations_pedals_and_short_holds_are_met_with_silence() {
        let all = |push: &str, chords: &str, counts: &str, held: &str| {
            format!(
                "chord   | {push} | {chords} | Eb7 |\ncount   | 1   4&  | {counts} | 1 |\n\
                 alto 1  | Db5 Bb4 | {held} | Db5 |\nalto 2  | Bb4 Gb4 | {held} | Bb4 |\n\
                 tenor 1 | Ab4 Eb4 | {held} | G4 |\ntenor 2 | F4  Db4 | {held} | Eb4 |\n"
            )
        };
        // Struck half a beat ahead and held over the bar line: the notes are those of Ebm7.
        assert_eq!(found("Db", &all("Db6 -", "Ebm7", "1", "-")), []);
        // Gone before the second beat of a chord that they are foreign to.
        let rows = all("Db6 Ebm7", "Gm7 -", "1 2", "- .");
        assert_eq!(found("Db", &rows), []);
        // Held on, they are a mistake; not where the chord they belong to comes again.
        let rows = all("Db6 Ebm7", "Gm7 - -", "1 2 4", "- - -");
        assert_eq!(
            found("Db", &rows),
            [("wrong-note", "2".to_owned(), "1".to_owned(), vec![1, 3])]
        );
        let rows = all("Db6 Ebm7", "Gm7 - Ebm7", "1 2 4", "- - -");
        assert_eq!(found("Db", &rows), []);
    }

    #[test]
    fn one_player_who_strikes_the_same_note_again_has_lost_a_tie() {
        let rows = "chord   | Db6 -   -   -   | Ebm7 -   -   -   | Db6 |\n\
                    count   | 1   2   3   4&  | 1    2   3   4   | 1   |\n\
                    alto 1  | Db5 F5  Db5 Bb4 | -    Db5 Eb5 Db5 | F5  |\n\
                    alto 2  | Bb4 Db5 Bb4 Gb4 | -    Bb4 Db5 Bb4 | Db5 |\n\
                    tenor 1 | Ab4 Bb4 Ab4 Eb4 | -    Gb4 Bb4 Gb4 | Bb4 |\n\
                    tenor 2 | F4  Ab4 F4  Db4 | -    Eb4 Gb4 Eb4 | Ab4 |\n";
        assert_eq!(found("Db", rows), []);
        let rows = rows.replace("Db4 | -  ", "Db4 | Db4");
        assert_eq!(
            found("Db", &rows),
            [("rhythm-unison", "2".to_owned(), "1".to_owned(), vec![3])]
        );
    }

    #[test]
    fn a_player_who_rests_where_the_section_goes_with_the_chord_is_told() {
        let rows = |alto: &str, tenor: &str| {
            format!(
                "chord   | Gm7 -   -   -   | C7 -  -   | F6 |\n\
                 count   | 1   2   3   4   | 1  3  4   | 1  |\n\
                 alto 1  | D5  F5  D5  Bb4 | -  D5 Bb4 | C5 |\n\
                 alto 2  | Bb4 D5  Bb4 G4  | {alto} Bb4 G4 | A4 |\n\
                 tenor 1 | G4  Bb4 G4  F4  | {tenor} G4 E4 | F4 |\n\
                 tenor 2 | F4  G4  F4  D4  | C4 E4 C4  | D4 |\n"
            )
        };
        let at = |part| vec![("rhythm-unison", "2".to_owned(), "1".to_owned(), vec![part])];
        // Where as many strike as do not, and where most do; one who holds is right.
        for (alto, tenor, expected) in [
            ("G4", ".", at(2)),
            ("-", ".", at(2)),
            (".", "E4", at(1)),
            ("-", "E4", vec![]),
            ("G4", "E4", vec![]),
        ] {
            assert_eq!(found("F", &rows(alto, tenor)), expected, "{alto} {tenor}");
        }
    }

    #[test]
    fn a_fix_is_tried_by_the_rule_that_reports() {
        // A pianist beside a section lets chords ring: with the note put right, they ring into Fm6.
        let piano = "C5+A4+G4+E4";
        let text = format!(
            "key: C\nmeter: 4/4\n\
             parts: alto 1 = alto saxophone\nalto 2 = alto saxophone\n\
             tenor 1 = tenor saxophone\ntenor 2 = tenor saxophone\npiano = piano\n\n\
             chord   | C6 -  -  -  | Fm6 -  | C6 |\ncount   | 1  2  3  4  | 1   3  | 1  |\n\
             alto 1  | G4 A4 G4 A4 | Ab4 C5 | G4 |\nalto 2  | E4 G4 E4 G4 | F4  Ab4 | E4 |\n\
             tenor 1 | C4 E4 C4 E4 | D4  F4 | C4 |\ntenor 2 | A3 C4 A3 C4 | C4  D4 | A3 |\n\
             piano   | G4+E4+C4+A3 A4+G4+E4+C4 G4+E4+C4+A3 {piano} | - - | G4+E4+C4+A3 |\n"
        );
        let proofed = |text: &str| {
            let score = grid::read(Path::new("x.passage"), text.into()).unwrap();
            proof(&score, &Style::default()).findings
        };
        assert_eq!(proofed(&text), []);
        let wrong = proofed(&text.replace(piano, "C5+A4+G4+D#4"));
        let fixes: Vec<_> = wrong.iter().map(|f| (f.rule, f.fix.is_some())).collect();
        assert_eq!(fixes, [("wrong-note", true)]);
    }

    #[test]
    fn chords_that_pass_under_a_lead_foreign_to_them_are_the_writers_own() {
        let rows = |tenor: &str| {
            format!(
                "chord   | C6 -   -  -  | Dbm7 C6 | F6 |\ncount   | 1  2   3  4  | 1  3 | 1 |\n\
                 alto 1  | G4 A4  G4 C5 | -  -  | D5 |\nalto 2  | E4 G4  E4 A4 | Ab4 A4 | C5 |\n\
                 tenor 1 | C4 E4  C4 G4 | {tenor} G4 | A4 |\ntenor 2 | A3 C4  A3 E4 | Db4 E4 | F4 |\n"
            )
        };
        assert_eq!(found("C", &rows("Fb4")), []);
        // Over the chord that it belongs to a wrong note is one again.
        let rows = rows("Fb4").replace("Fb4 G4", "Fb4 F4");
        assert_eq!(
            found("C", &rows),
            [("wrong-note", "2".to_owned(), "3".to_owned(), vec![2])]
        );
    }
}
