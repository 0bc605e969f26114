//! At which pitch a part sounds when its file cannot mean what it says of its transposition.
//!
//! A part whose `transpose` is missing or wrong puts every sonority of its section out of joint.
//! What its file meant is decided by its key signature beside those of the parts that can be
//! trusted, and by whether its notes make sense with theirs as stated or as the instrument
//! transposes. The part is then read as it was meant, and one finding says so.

use crate::ground::instrument::{self, Instrument, Property};
use crate::ground::pitch::{PitchClass, Transposition, written_fifths};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::score::identity::identify_all;
use crate::score::{ChordMark, Mark, Part, Place, Presumed, Score, in_force};

/// How many notes of a part are listened to.
const SAMPLE: usize = 240;

/// How many other parts they are compared with.
const COMPANY: usize = 12;

/// Fewer notes than this say nothing.
const FEW: usize = 8;

/// Fewer notes than this say nothing without a key signature that says the same.
const ENOUGH: usize = 12;

/// Reads the parts as they are meant.
pub fn apply(meant: &mut Score, presumed: &[Presumed]) {
    for p in presumed {
        if let Some(part) = meant.parts.get_mut(p.part as usize) {
            transpose(part, p.stated.unwrap_or_default(), p.meant);
        }
    }
}

fn transpose(part: &mut Part, stated: Transposition, meant: Transposition) {
    let span = part
        .transpositions
        .first()
        .map_or(Span::default(), |m| m.span);
    part.transpositions = vec![Mark::new(Place::default(), meant, span)];
    part.states_transposition = true;
    for note in &mut part.notes {
        note.sounding = note.written.transposed(meant);
    }
    for mark in &mut part.chords {
        if let Some(chord) = &mut mark.value.chord {
            *chord = chord.transposed(stated.inverse()).transposed(meant);
        }
    }
}

/// A part whose transposition can be judged.
struct Seat<'a> {
    index: u32,
    part: &'a Part,
    instrument: &'static Instrument,
    stated: Option<Transposition>,
}

impl Seat<'_> {
    /// What the file adds to its written pitch.
    fn added(&self) -> Transposition {
        self.stated.unwrap_or_default()
    }

    /// Semitones between what the file says and what the instrument does, octaves left out.
    fn is_off(&self) -> bool {
        (self.added().chromatic - self.instrument.transposition.chromatic) % 12 != 0
    }
}

/// The parts whose transposition cannot be meant as their file says it.
pub fn presumed(score: &Score) -> Vec<Presumed> {
    if score.concert {
        return Vec::new();
    }
    let seats: Vec<Seat<'_>> = identify_all(instrument::catalogue(), &score.parts)
        .into_iter()
        .zip(&score.parts)
        .enumerate()
        .filter_map(|(index, (identity, part))| {
            // Parts that change instruments say so themselves, staves of their own too.
            if part.transpositions.len() > 1 || part.staves > 1 || part.notes.is_empty() {
                return None;
            }
            let instrument = identity?.instrument;
            // Whatever key it is in, it may be right.
            if instrument.is(Property::AnyKey) {
                return None;
            }
            Some(Seat {
                index: index as u32,
                part,
                instrument,
                stated: part
                    .transpositions
                    .first()
                    .map(|m| m.value)
                    .or_else(|| part.states_transposition.then_some(Transposition::NONE)),
            })
        })
        .collect();
    let company = Company::of(&seats);
    seats
        .iter()
        .filter_map(|seat| judge(score, seat, &company))
        .collect()
}

/// The parts that can be trusted, and what they agree on.
struct Company<'a> {
    seats: Vec<&'a Seat<'a>>,
    /// Some part prints a signature, so that one without sharps and flats means something.
    has_keys: bool,
    /// With no part to trust: the concert key that all parts agree on when each is read as its
    /// instrument transposes, and not otherwise.
    agreed: Option<i8>,
}

impl<'a> Company<'a> {
    fn of(seats: &'a [Seat<'a>]) -> Self {
        let (off, trusted): (Vec<_>, Vec<_>) = seats.iter().partition(|s| s.is_off());
        let printed = |s: &Seat<'_>| s.part.keys.first().map(|k| k.value.fifths);
        let mut agreed = None;
        if trusted.is_empty() {
            let keys: Option<Vec<(i8, i8)>> = off
                .iter()
                .map(|s| printed(s).map(|f| (f, concert(f, s.instrument.transposition))))
                .collect();
            let keys = keys.unwrap_or_default();
            if let Some(&(own, key)) = keys.first()
                && keys.iter().all(|k| same_key(k.1, key))
                && keys.iter().any(|k| !same_key(k.0, own))
            {
                agreed = Some(key);
            }
        }
        Self {
            seats: trusted,
            has_keys: seats
                .iter()
                .flat_map(|s| &s.part.keys)
                .any(|k| k.value.fifths != 0),
            agreed,
        }
    }

    /// The concert key most trusted parts have at a time.
    fn key(&self, onset: Ticks, without: u32) -> Option<i8> {
        if !self.has_keys {
            return None;
        }
        let mut counts: Vec<(i8, usize)> = Vec::new();
        let mut all = 0;
        for seat in self.seats.iter().filter(|s| s.index != without) {
            let Some(key) = in_force(&seat.part.keys, onset) else {
                continue;
            };
            let key = concert(key.value.fifths, seat.added());
            all += 1;
            match counts.iter_mut().find(|(k, _)| same_key(*k, key)) {
                Some((_, n)) => *n += 1,
                None => counts.push((key, 1)),
            }
        }
        counts
            .into_iter()
            .find(|(_, n)| n * 2 > all)
            .map(|(key, _)| key)
            .or(self.agreed)
    }
}

/// The concert key of a printed signature.
fn concert(printed: i8, transposition: Transposition) -> i8 {
    written_fifths(printed, transposition.inverse())
}

fn same_key(a: i8, b: i8) -> bool {
    (i16::from(a) - i16::from(b)) % 12 == 0
}

/// The keys of the part against those of its company, as the part is read with a transposition:
/// whether they agree, when there is anything to compare.
fn keys_agree(seat: &Seat<'_>, company: &Company<'_>, by: Transposition) -> Option<bool> {
    let (mut agree, mut all) = (0, 0);
    for mark in &seat.part.keys {
        let Some(key) = company.key(mark.onset, seat.index) else {
            continue;
        };
        all += 1;
        agree += usize::from(same_key(concert(mark.value.fifths, by), key));
    }
    (all > 0).then_some(agree * 2 > all)
}

/// How well the notes of a part stand with the rest when it is read with a transposition.
struct Sense {
    /// Notes that could be compared.
    notes: usize,
    /// 0 to 1.
    fit: f64,
}

fn sense(seat: &Seat<'_>, company: &Company<'_>, by: Transposition) -> Sense {
    let notes = &seat.part.notes;
    let step = notes.len().div_ceil(SAMPLE).max(1);
    let others: Vec<&Part> = company
        .seats
        .iter()
        .filter(|s| s.index != seat.index)
        .take(COMPANY)
        .map(|s| s.part)
        .collect();
    let chords: Vec<&[Mark<ChordMark>]> = others.iter().map(|p| p.chords.as_slice()).collect();
    // Each kind of witness: how many notes it heard, and how many it found good.
    let (mut rubs, mut chord, mut scale) = ((0usize, 0usize), (0usize, 0usize), (0usize, 0usize));
    let mut compared = 0;
    for note in notes.iter().step_by(step).filter(|n| n.sounds()) {
        let class = PitchClass::new(note.written.midi() + by.chromatic);
        let mut heard = false;
        let mut clean = true;
        for part in &others {
            let at = part.notes.partition_point(|n| n.onset <= note.onset);
            let sounding = at
                .checked_sub(1)
                .and_then(|i| part.notes.get(i))
                .filter(|n| n.sounds() && n.end() > note.onset);
            if let Some(other) = sounding {
                heard = true;
                clean &= !matches!(class.above(other.sounding.class()), 1 | 11);
            }
        }
        if heard {
            rubs.0 += 1;
            rubs.1 += usize::from(clean);
        }
        let symbol = chords
            .iter()
            .find_map(|marks| in_force(marks, note.onset))
            .and_then(|m| m.value.chord.as_ref());
        if let Some(symbol) = symbol {
            chord.0 += 1;
            chord.1 += usize::from(symbol.contains(class));
        }
        if let Some(key) = company.key(note.onset, seat.index) {
            scale.0 += 1;
            // The seven notes of a signature lie on the line of fifths from one below its key.
            let tonic = PitchClass::new(i16::from(key) * 7);
            scale.1 += usize::from(matches!(class.above(tonic), 0 | 2 | 4 | 5 | 7 | 9 | 11));
        }
        compared += usize::from(heard || symbol.is_some());
    }
    let witnesses: Vec<f64> = [rubs, chord, scale]
        .into_iter()
        .filter(|(all, _)| *all > 0)
        .map(|(all, good)| good as f64 / all as f64)
        .collect();
    Sense {
        notes: compared,
        fit: if witnesses.is_empty() {
            0.0
        } else {
            witnesses.iter().sum::<f64>() / witnesses.len() as f64
        },
    }
}

/// What a part was meant to be, when that is not what its file says.
fn judge(score: &Score, seat: &Seat<'_>, company: &Company<'_>) -> Option<Presumed> {
    let own = seat.instrument.transposition;
    let stated = seat.added();
    let presumed = |meant, because: String| {
        Some(Presumed {
            part: seat.index,
            stated: seat.stated,
            meant,
            instrument: seat.instrument.name.clone(),
            because,
        })
    };
    if !seat.is_off() {
        if stated.chromatic != own.chromatic && octave_is_missing(seat) {
            return presumed(
                own,
                format!(
                    "its written notes are those of a {} and would sound {} away",
                    seat.instrument.name,
                    octaves(stated.chromatic - own.chromatic)
                ),
            );
        }
        return sounding_already(score, seat, company)
            .and_then(|because| presumed(Transposition::NONE, because));
    }
    let by_key = (
        keys_agree(seat, company, own),
        keys_agree(seat, company, stated),
    );
    let lazily = || (sense(seat, company, own), sense(seat, company, stated));
    match by_key {
        (Some(true), Some(false)) => {
            let (as_own, as_stated) = lazily();
            if as_own.notes >= FEW && as_own.fit + 0.05 < as_stated.fit {
                return None;
            }
            presumed(own, signature(score, seat, company))
        }
        // The signature is that of the file's own reading; only a plain contradiction counts.
        (_, Some(true)) => {
            let (as_own, as_stated) = lazily();
            (as_own.notes >= 2 * ENOUGH && as_own.fit >= as_stated.fit + 0.3)
                .then(|| by_ear(&as_own, &as_stated))
                .and_then(|because| presumed(own, because))
        }
        _ => {
            let (as_own, as_stated) = lazily();
            (as_own.notes >= ENOUGH && as_own.fit >= as_stated.fit + 0.2)
                .then(|| by_ear(&as_own, &as_stated))
                .and_then(|because| presumed(own, because))
        }
    }
}

/// A part that says it transposes, with the key signature and the notes of concert pitch.
fn sounding_already(score: &Score, seat: &Seat<'_>, company: &Company<'_>) -> Option<String> {
    let stated = seat.added();
    if stated.key_shift() == 0
        || keys_agree(seat, company, Transposition::NONE) != Some(true)
        || keys_agree(seat, company, stated) != Some(false)
    {
        return None;
    }
    let as_concert = sense(seat, company, Transposition::NONE);
    let as_stated = sense(seat, company, stated);
    (as_concert.notes >= ENOUGH && as_concert.fit >= as_stated.fit + 0.15).then(|| {
        format!(
            "{}, and {}",
            signature(score, seat, company),
            by_ear(&as_concert, &as_stated)
        )
    })
}

/// Saxophones and their like always sound where their name says; others are written either way.
fn octave_is_missing(seat: &Seat<'_>) -> bool {
    let instrument = seat.instrument;
    if !instrument.is(Property::FixedOctave)
        || seat.stated.is_none()
        || instrument.transposition.key_shift() == 0
    {
        return false;
    }
    let (low, high) = instrument.range.possible;
    let notes = || seat.part.notes.iter().filter(|n| n.sounds());
    let inside = notes()
        .filter(|n| (low.midi()..=high.midi()).contains(&n.written.midi()))
        .count();
    inside * 10 >= notes().count() * 9
}

fn octaves(semitones: i16) -> String {
    match semitones.abs() / 12 {
        1 => "an octave".to_owned(),
        n => format!("{n} octaves"),
    }
}

/// What the key signature says, in words.
fn signature(score: &Score, seat: &Seat<'_>, company: &Company<'_>) -> String {
    let found = seat.part.keys.first().map_or(0, |k| k.value.fifths);
    let onset = score.bars.first().map_or(Ticks::ZERO, |b| b.start);
    match company.key(onset, seat.index) {
        Some(key) => format!(
            "its key signature is {} where the other parts are in concert {}",
            signs(found),
            signs(key)
        ),
        None => format!("its key signature is {}", signs(found)),
    }
}

/// A signature in words: "3 flats".
pub fn signs(fifths: i8) -> String {
    let count = fifths.unsigned_abs();
    let what = if fifths < 0 { "flat" } else { "sharp" };
    match count {
        0 => "no sharps or flats".to_owned(),
        1 => format!("1 {what}"),
        _ => format!("{count} {what}s"),
    }
}

/// What the notes say, in words.
fn by_ear(better: &Sense, worse: &Sense) -> String {
    format!(
        "its notes stand with the other parts and the chords far better that way ({:.0} of 100 against {:.0})",
        better.fit * 100.0,
        worse.fit * 100.0
    )
}

#[cfg(test)]
mod tests {
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
}
