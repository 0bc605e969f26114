use super::*;
use crate::reading::grid;
use crate::sonority::heard;
use std::path::Path;

const SOLI: &str = "key: Bb major
meter: 4/4
parts: alto 1 = alto saxophone
   alto 2 = alto saxophone
   tenor 1 = tenor saxophone
   trombone 1 = trombone

count      | 1  2  3  4  | 1  2  3   4  |
alto 1     | D5 C5 D5 F5 | F5 D5 Eb5 D5 |
alto 2     | Bb4 A4 Bb4 D5 | D5 Bb4 C5 Bb4 |
tenor 1    | F4 Eb4 F4 Bb4 | Bb4 F4 G4 F4 |
trombone 1 | D4 C4 D4 F4 | F4 D4 Eb4 D4 |
";

fn soli() -> Score {
    grid::read(Path::new("soli.passage"), SOLI.into()).unwrap()
}

/// The part as a file without its transposition has it.
fn strip(part: &mut Part) {
    part.transpositions.clear();
    part.states_transposition = false;
    for note in &mut part.notes {
        note.sounding = note.written;
    }
}

#[test]
fn a_missing_transposition_is_read_as_meant() {
    let good = soli();
    assert!(heard(&good).is_none());
    let mut score = good.clone();
    strip(&mut score.parts[1]);
    let meant = heard(&score).unwrap();
    assert_eq!(meant.parts[1].notes, good.parts[1].notes);
    assert_eq!(meant.presumed.len(), 1);
    assert_eq!(meant.presumed[0].part, 1);
    assert_eq!(meant.presumed[0].stated, None);
    // Once heard, there is nothing left to hear.
    assert!(heard(&meant).is_none());
}

#[test]
fn concert_scores_are_left_as_they_are() {
    // All parts at concert pitch under one key signature, whether the file says so or not.
    let mut score = soli();
    for part in &mut score.parts {
        for note in &mut part.notes {
            note.written = note.sounding;
        }
        strip(part);
        for key in &mut part.keys {
            key.value.fifths = -2;
        }
    }
    assert!(heard(&score).is_none());
    let mut stated = soli();
    strip(&mut stated.parts[1]);
    stated.concert = true;
    // The part stands a third off in all that follows, but not for its transposition.
    assert!(heard(&stated).is_none_or(|h| h.presumed.is_empty()));
}

#[test]
fn a_missing_octave_is_read_as_meant() {
    let mut score = soli();
    let wrong = Transposition::from_parts(-1, -2, 0);
    score.parts[2].transpositions[0].value = wrong;
    for note in &mut score.parts[2].notes {
        note.sounding = note.written.transposed(wrong);
    }
    let meant = heard(&score).unwrap();
    // Published: Wikipedia, list of transposing instruments: a tenor saxophone sounds a major
    // ninth below.
    assert_eq!(meant.presumed[0].meant.chromatic, -14);
    assert_eq!(meant.parts[2].notes, soli().parts[2].notes);
}

#[test]
fn without_signatures_the_sonorities_decide() {
    let mut score = soli();
    for part in &mut score.parts {
        for key in &mut part.keys {
            key.value.fifths = 0;
        }
    }
    assert!(heard(&score).is_none());
}

#[test]
fn a_score_exported_without_any_transposition_gives_itself_away() {
    let mut score = soli();
    score.parts.truncate(3);
    for part in &mut score.parts {
        strip(part);
    }
    let meant = heard(&score).unwrap();
    assert_eq!(meant.presumed.len(), 3);
}

fn set_transposition(part: &mut Part, by: Transposition) {
    part.transpositions[0].value = by;
}

/// The part's page as it would be for another transposition, with the same sound.
fn write_for(part: &mut Part, by: Transposition) {
    let own = part.transposition(Ticks::ZERO);
    for key in &mut part.keys {
        key.value.fifths = written_fifths(concert(key.value.fifths, own), by);
    }
    for note in &mut part.notes {
        note.written = note.sounding.transposed(by.inverse());
    }
    set_transposition(part, by);
}

fn only(score: &Score) -> (Score, Presumed) {
    let meant = heard(score).unwrap();
    assert_eq!(meant.presumed.len(), 1, "{:?}", meant.presumed);
    let presumed = meant.presumed[0].clone();
    (meant, presumed)
}

#[test]
fn another_instruments_page_sounds_right_and_is_found() {
    let good = soli();
    let mut score = soli();
    // Published: Wikipedia, list of transposing instruments: an alto saxophone in Eb.
    write_for(&mut score.parts[2], Transposition::from_parts(-5, -9, 0));
    let (meant, presumed) = only(&score);
    let other = PartFault::OtherInstrument("alto saxophone".to_owned());
    assert_eq!((presumed.part, presumed.fault), (2, other));
    assert_eq!(meant.parts[2].notes, good.parts[2].notes);
    assert_eq!(meant.parts[2].keys[0].value, good.parts[2].keys[0].value);
    // The pages of the files are still known.
    let filed = meant.filed(|_| false);
    assert_eq!(filed.parts[2].notes, score.parts[2].notes);
}

#[test]
fn a_part_at_concert_pitch_among_transposed_ones_is_found() {
    let good = soli();
    let mut score = soli();
    write_for(&mut score.parts[1], Transposition::NONE);
    strip(&mut score.parts[1]);
    let (meant, presumed) = only(&score);
    assert_eq!(
        (presumed.part, presumed.fault),
        (1, PartFault::Untransposed)
    );
    assert_eq!(meant.parts[1].notes, good.parts[1].notes);
}

/// The notes of a part at concert pitch, under its transposition.
fn at_concert_pitch(score: &mut Score, part: usize, key: bool) {
    let part = &mut score.parts[part];
    let own = part.transposition(Ticks::ZERO);
    write_for(part, Transposition::NONE);
    if !key {
        for mark in &mut part.keys {
            mark.value.fifths = written_fifths(mark.value.fifths, own);
        }
    }
    set_transposition(part, own);
    for note in &mut part.notes {
        note.sounding = note.written.transposed(own);
    }
}

fn twice(score: &Score) -> Score {
    let text = SOLI.replace("count ", "\u{0}");
    let rows = text.split_once('\u{0}').unwrap().1;
    let text = format!("{SOLI}\ncount {rows}");
    let again = grid::read(Path::new("soli.passage"), text.into()).unwrap();
    assert!(again.parts[0].notes.len() > score.parts[0].notes.len());
    again
}

#[test]
fn concert_notes_under_a_transposition_are_found() {
    let good = twice(&soli());
    for (key, fault) in [
        (false, PartFault::ConcertNotes),
        (true, PartFault::ConcertPitch),
    ] {
        let mut score = good.clone();
        at_concert_pitch(&mut score, 1, key);
        let (meant, presumed) = only(&score);
        assert_eq!((presumed.part, &presumed.fault), (1, &fault));
        assert_eq!(meant.parts[1].notes, good.parts[1].notes);
        assert_eq!(meant.parts[1].keys[0].value, good.parts[1].keys[0].value);
    }
}

#[test]
fn one_signature_over_transposed_notes_is_found_in_all_parts() {
    let good = twice(&soli());
    let mut score = good.clone();
    for part in &mut score.parts {
        part.keys[0].value.fifths = -2;
    }
    let meant = heard(&score).unwrap();
    let faults: Vec<(u32, &PartFault)> =
        meant.presumed.iter().map(|p| (p.part, &p.fault)).collect();
    let key = &PartFault::ConcertKey;
    assert_eq!(faults, [(0, key), (1, key), (2, key)]);
    for (meant, good) in meant.parts.iter().zip(&good.parts) {
        assert_eq!(meant.keys[0].value, good.keys[0].value);
        assert_eq!(meant.notes, good.notes);
    }
}

fn faults(score: &Score) -> Vec<(u32, PartFault)> {
    let presumed = heard(score).map(|h| h.presumed).unwrap_or_default();
    presumed.into_iter().map(|p| (p.part, p.fault)).collect()
}

#[test]
fn a_whole_score_of_concert_notes_is_found_in_all_parts() {
    for others in [true, false] {
        for (key, fault) in [
            (false, PartFault::ConcertNotes),
            (true, PartFault::ConcertPitch),
        ] {
            let mut score = twice(&soli());
            if !others {
                score.parts.truncate(3);
            }
            for part in 0..3 {
                at_concert_pitch(&mut score, part, key);
            }
            let all: Vec<(u32, PartFault)> = (0..3).map(|p| (p, fault.clone())).collect();
            assert_eq!(faults(&score), all, "others: {others}");
        }
    }
}

#[test]
fn one_signature_of_c_is_found_and_no_signatures_are_silent() {
    let plain = |key: &str| {
        let text = SOLI.replace("Bb major", key);
        let mut score = grid::read(Path::new("soli.passage"), text.into()).unwrap();
        for mark in score.parts.iter_mut().flat_map(|p| &mut p.keys) {
            mark.value.fifths = 0;
        }
        score
    };
    assert_eq!(faults(&plain("Bb major")), []);
    let mut in_c = plain("C major");
    let up = Transposition::from_parts(1, 2, 0);
    for note in in_c.parts.iter_mut().flat_map(|p| &mut p.notes) {
        note.written = note.written.transposed(up);
        note.sounding = note.sounding.transposed(up);
    }
    let key = PartFault::ConcertKey;
    let all: Vec<(u32, PartFault)> = (0..3).map(|p| (p, key.clone())).collect();
    assert_eq!(faults(&in_c), all);
}

#[test]
fn a_name_that_has_its_key_is_believed() {
    let mut score = soli();
    write_for(&mut score.parts[2], Transposition::from_parts(-5, -9, 0));
    score.parts[2].name = "Tenor Sax in Eb".to_owned();
    assert!(heard(&score).is_none());
}
