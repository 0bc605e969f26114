//! Whole parts that are not on the page as their player needs them: transposition and key signature.
//!
//! What a part was meant to be is decided by its key signature beside those of the parts that can be
//! trusted, and by whether its notes make sense with theirs as the file says or as its instrument
//! transposes. The part is then read as it was meant, and one finding says so. A cheap look at the notes
//! of a part decides whether it is listened to at all.

use super::company::{Company, Seat, concert};
use super::fit::{Fit, Reading, fit, in_scale, sample};
use crate::ground::instrument::{self, Property};
use crate::ground::pitch::{PitchClass, Transposition, written_fifths};
use crate::ground::text::Span;
use crate::ground::time::Ticks;
use crate::score::{ChordMark, Filed, Mark, Part, PartFault, Place, Presumed, Score, in_force};

/// Fewer notes than this say nothing.
const FEW: usize = 8;

/// Fewer notes than this say nothing without a key signature that says the same.
const ENOUGH: usize = 12;

/// Notes of a part that is as it should be lean further away from concert pitch than this.
const LEANING: f64 = -0.05;

/// Notes that lean further to concert pitch than this are not to be relied on.
const DOUBTFUL: f64 = 0.03;

/// By how much what speaks for one reading must outweigh what speaks for the other.
const CLEAR: f64 = 0.1;

/// Reads the parts as they are meant.
pub fn apply(meant: &mut Score, presumed: &mut [Presumed]) {
    for p in presumed {
        if let Some(part) = meant.parts.get_mut(p.part as usize) {
            read_as_meant(part, p);
        }
    }
}

fn read_as_meant(part: &mut Part, presumed: &mut Presumed) {
    let (fault, meant) = (&presumed.fault, presumed.meant);
    if *fault != PartFault::Transposition {
        presumed.filed = Some(Filed {
            notes: part.notes.clone(),
            keys: part.keys.clone(),
        });
    }
    let stated = presumed.stated.unwrap_or_default();
    for (key, signature) in part.keys.iter_mut().zip(&presumed.signatures) {
        key.value.fifths = *signature;
    }
    let span = part
        .transpositions
        .first()
        .map_or(Span::default(), |m| m.span);
    part.transpositions = vec![Mark::new(Place::default(), presumed.own, span)];
    part.states_transposition = true;
    if *fault != PartFault::ConcertKey {
        let keys = part.keys.clone();
        for note in &mut part.notes {
            note.sounding = note.written.transposed(meant);
            if fault.is_in_notes() {
                let fifths = in_force(&keys, note.onset).map_or(0, |k| k.value.fifths);
                note.written = note
                    .sounding
                    .transposed(presumed.own.inverse())
                    .readable(fifths);
                note.sounding = note.written.transposed(presumed.own);
            }
        }
    }
    if matches!(fault, PartFault::Transposition | PartFault::ConcertPitch) {
        for mark in &mut part.chords {
            if let Some(chord) = &mut mark.value.chord {
                *chord = chord.transposed(stated.inverse()).transposed(meant);
            }
        }
    }
}

/// The parts that cannot be meant as their file has them.
pub fn presumed(score: &Score) -> Vec<Presumed> {
    if score.concert {
        return Vec::new();
    }
    let company = Company::of(score);
    let transposed = |s: &Seat<'_>| s.is_off() || s.added().key_shift() != 0;
    if !company.seats.iter().any(transposed) {
        return Vec::new();
    }
    let looks: Vec<Look> = company
        .seats
        .iter()
        .map(|s| Look::at(score, s, &company))
        .collect();
    let hearing = Hearing {
        score,
        company: &company,
        looks: &looks,
    };
    let mut found: Vec<Presumed> = hearing.all();
    if found.is_empty() {
        found = hearing.all_in_concert_key();
    }
    found
}

/// What a part looks like before it is listened to.
#[derive(Clone, Copy, PartialEq)]
enum Look {
    /// Nothing speaks against it.
    Fine,
    /// Its file does not transpose as its instrument does.
    Off,
    /// Its file transposes as its instrument does, and something is at concert pitch.
    Concert {
        /// The key signature is.
        keyed: bool,
        /// How far its notes lean to concert pitch: a difference of shares.
        lean: f64,
    },
}

impl Look {
    /// Whether other parts are compared with it.
    fn is_trusted(self) -> bool {
        match self {
            Self::Fine => true,
            Self::Off => false,
            Self::Concert { keyed, lean } => !keyed && lean < DOUBTFUL,
        }
    }

    fn at(score: &Score, seat: &Seat<'_>, company: &Company<'_>) -> Self {
        if seat.is_off() {
            return Self::Off;
        }
        let stated = seat.added();
        if !seat.is_judged || stated.key_shift() == 0 {
            return Self::Fine;
        }
        let silent = company.may_be_plain(seat);
        let keyed = !silent
            && company.keys_agree(seat, Transposition::NONE) == Some(true)
            && company.keys_agree(seat, stated) == Some(false);
        let lean = lean(score, seat, keyed, !silent && company.has_keys);
        if keyed || lean > LEANING {
            Self::Concert { keyed, lean }
        } else {
            Self::Fine
        }
    }
}

/// How far the notes of a part lean to the scale of concert pitch, away from that of its instrument;
/// without signatures to the chord symbols.
fn lean(score: &Score, seat: &Seat<'_>, keyed: bool, has_keys: bool) -> f64 {
    let stated = seat.added();
    let (mut all, mut concert, mut own) = (0i32, 0i32, 0i32);
    for note in sample(seat.part) {
        let class = note.written.class();
        if has_keys {
            let printed = in_force(&seat.part.keys, note.onset).map_or(0, |k| k.value.fifths);
            let shift = stated.key_shift();
            let (at_concert, as_own) = if keyed {
                (printed, printed + shift)
            } else {
                (printed - shift, printed)
            };
            concert += i32::from(in_scale(class, at_concert));
            own += i32::from(in_scale(class, as_own));
        } else {
            let symbol = score.chord_at(note.onset);
            let Some(chord) = symbol.and_then(|m| m.value.chord.as_ref()) else {
                continue;
            };
            concert += i32::from(chord.contains(class));
            own += i32::from(chord.contains(class.plus(stated.chromatic)));
        }
        all += 1;
    }
    f64::from(concert - own) / f64::from(all.max(1))
}

/// The parts, and what each looks like.
struct Hearing<'a> {
    score: &'a Score,
    company: &'a Company<'a>,
    looks: &'a [Look],
}

impl<'a> Hearing<'a> {
    fn seats(&self) -> impl Iterator<Item = (&'a Seat<'a>, Look)> {
        self.company.seats.iter().zip(self.looks.iter().copied())
    }

    fn all(&self) -> Vec<Presumed> {
        let leans: Vec<f64> = self
            .seats()
            .filter_map(|(seat, look)| match look {
                Look::Concert { keyed: true, lean } => Some(lean + self.for_concert(seat).0),
                _ => None,
            })
            .collect();
        let together = leans.iter().sum::<f64>() / leans.len().max(1) as f64;
        let mut found: Vec<Presumed> = self
            .seats()
            .filter(|(seat, _)| seat.is_judged)
            .filter_map(|(seat, look)| match look {
                Look::Fine => self.octave(seat),
                Look::Off => self.off(seat),
                Look::Concert { keyed, lean } => self
                    .at_concert_pitch(seat, keyed, lean, together)
                    .or_else(|| self.octave(seat)),
            })
            .collect();
        // Where most parts are at concert pitch, the score is.
        let at_concert = |p: &Presumed| p.fault == PartFault::Untransposed;
        let untransposed = found.iter().filter(|p| at_concert(p)).count();
        let transposed = self
            .seats()
            .filter(|(s, look)| *look != Look::Off && s.added().key_shift() != 0)
            .count();
        found.retain(|p| !at_concert(p) || untransposed <= transposed);
        found
    }

    fn presumed(
        &self,
        seat: &Seat<'_>,
        fault: PartFault,
        meant: Transposition,
        because: String,
    ) -> Presumed {
        let (own, keys) = (seat.own(), &seat.part.keys);
        let signatures = keys.iter().map(|mark| {
            let printed = mark.value.fifths;
            if !fault.is_in_key_signature() {
                return printed;
            }
            let as_own = written_fifths(concert(printed, meant), own);
            match self.company.key(mark.onset, seat.index) {
                // Some of its signatures may be right.
                Some(key) if fault == PartFault::ConcertKey => {
                    let wanted = written_fifths(key, own);
                    if printed == key { wanted } else { printed }
                }
                _ => as_own,
            }
        });
        Presumed {
            part: seat.index,
            signatures: signatures.collect(),
            fault,
            stated: seat.stated,
            meant,
            own,
            instrument: seat.instrument.name.clone(),
            because,
            filed: None,
        }
    }

    /// Listens to a part as it is read with a transposition, among the parts that can be trusted.
    fn fit(&self, seat: &Seat<'_>, by: Transposition) -> Fit {
        self.fit_among(seat, by, |_| None)
    }

    /// The same, where others may be trusted with a transposition of their own.
    fn fit_among(
        &self,
        seat: &Seat<'_>,
        by: Transposition,
        also: impl Fn(&Seat<'_>) -> Option<Transposition>,
    ) -> Fit {
        let mut others: Vec<Reading<'_>> = Vec::new();
        let mut symbols: Vec<&[Mark<ChordMark>]> = Vec::new();
        for (other, look) in self.seats().filter(|(s, _)| s.index != seat.index) {
            let read = |by| Reading {
                part: other.part,
                by,
            };
            if look.is_trusted() {
                others.push(read(other.added()));
                symbols.push(other.part.chords.as_slice());
            } else {
                others.extend(also(other).map(read));
            }
        }
        let part = seat.part;
        fit(Reading { part, by }, &others, &symbols, |onset| {
            self.company.key(onset, seat.index)
        })
    }

    /// By how much a part with its instrument's transposition fits better at concert pitch, and both fits.
    fn for_concert(&self, seat: &Seat<'_>) -> (f64, Fit, Fit) {
        let stated = seat.added();
        let mut as_concert = self.fit(seat, Transposition::NONE);
        let mut as_own = self.fit(seat, stated);
        if as_own.notes < ENOUGH {
            // Nobody to trust: all that look alike are read alike.
            let looks_alike = |s: &Seat<'_>| !s.is_off();
            as_concert = self.fit_among(seat, Transposition::NONE, |s| {
                looks_alike(s).then_some(Transposition::NONE)
            });
            as_own = self.fit_among(seat, stated, |s| looks_alike(s).then(|| s.added()));
        }
        (as_concert.share - as_own.share, as_concert, as_own)
    }

    /// A part that transposes as its instrument does, with the signature or the notes of concert pitch.
    fn at_concert_pitch(
        &self,
        seat: &Seat<'_>,
        keyed: bool,
        lean: f64,
        together: f64,
    ) -> Option<Presumed> {
        let (better, as_concert, as_own) = self.for_concert(seat);
        if as_own.notes < FEW {
            return None;
        }
        let none = Transposition::NONE;
        if !keyed {
            let clear = as_own.notes >= ENOUGH && better >= as_concert.margin();
            return clear.then(|| {
                let because = counted(as_concert, "at concert pitch", as_own, "as transposed");
                self.presumed(seat, PartFault::ConcertNotes, none, because)
            });
        }
        let own = better + lean;
        let verdict = if own.abs() > CLEAR { own } else { together };
        if verdict > CLEAR {
            let because = format!(
                "{}; {}",
                self.signature(seat),
                counted(as_concert, "at concert pitch", as_own, "as transposed")
            );
            Some(self.presumed(seat, PartFault::ConcertPitch, none, because))
        } else if verdict < -CLEAR {
            let because = counted(as_own, "as transposed", as_concert, "at concert pitch");
            Some(self.presumed(seat, PartFault::ConcertKey, seat.added(), because))
        } else {
            None
        }
    }

    /// A part that does not transpose as its instrument does.
    fn off(&self, seat: &Seat<'_>) -> Option<Presumed> {
        let (own, stated) = (seat.own(), seat.added());
        let by_key = (
            self.company.keys_agree(seat, own),
            self.company.keys_agree(seat, stated),
        );
        let (as_own, as_stated) = (self.fit(seat, own), self.fit(seat, stated));
        let counted = || {
            counted(
                as_own,
                "as the instrument transposes",
                as_stated,
                "as it stands",
            )
        };
        let meant =
            |because: String| Some(self.presumed(seat, PartFault::Transposition, own, because));
        let better = as_own.share - as_stated.share;
        match by_key {
            (Some(true), Some(false)) => {
                if as_own.notes < FEW {
                    return meant(self.signature(seat));
                }
                if better < -0.05 {
                    return None;
                }
                meant(format!("{}; {}", self.signature(seat), counted()))
            }
            // The signature is that of the file's own reading; only a plain contradiction counts.
            (_, Some(true)) if as_own.notes >= 2 * ENOUGH && better >= 0.3 => meant(counted()),
            (_, Some(true)) => self.not_usable(seat, as_own, as_stated, FEW, 0.02),
            _ if as_own.notes >= ENOUGH && better >= 0.2 => meant(counted()),
            (None, None) => self.not_usable(seat, as_own, as_stated, ENOUGH, as_own.margin()),
            _ => None,
        }
    }

    /// A part that sounds right and that the player of its instrument cannot use.
    fn not_usable(
        &self,
        seat: &Seat<'_>,
        as_own: Fit,
        as_stated: Fit,
        least: usize,
        margin: f64,
    ) -> Option<Presumed> {
        let better = as_stated.share - as_own.share;
        if seat.own().key_shift() == 0
            || as_own.notes < least
            || better < margin
            || !self.company.is_sure(seat)
        {
            return None;
        }
        let stated = seat.added();
        let own = format!("as {}", possessive(&seat.instrument.name));
        if stated.chromatic % 12 == 0 {
            let because = counted(as_stated, "at concert pitch", as_own, &own);
            return Some(self.presumed(seat, PartFault::Untransposed, stated, because));
        }
        let other = self.transposed_by(stated)?;
        let because = counted(
            as_stated,
            &format!("as {}", possessive(&other)),
            as_own,
            &own,
        );
        Some(self.presumed(seat, PartFault::OtherInstrument(other), stated, because))
    }

    /// The instrument that transposes so: one of the score, or the first of the table.
    fn transposed_by(&self, by: Transposition) -> Option<String> {
        let here = self.company.seats.iter().map(|s| s.instrument);
        let table = &instrument::catalogue().instruments;
        let known = table.iter().filter(|i| i.is(Property::OneTransposition));
        here.chain(known)
            .chain(table)
            .find(|i| i.transposition.chromatic == by.chromatic)
            .map(|i| i.name.clone())
    }

    /// Saxophones and their like always sound where their name says; others are written either way.
    fn octave(&self, seat: &Seat<'_>) -> Option<Presumed> {
        let instrument = seat.instrument;
        let (own, stated) = (seat.own(), seat.added());
        if stated.chromatic == own.chromatic
            || !instrument.is(Property::FixedOctave)
            || seat.stated.is_none()
            || own.key_shift() == 0
        {
            return None;
        }
        let (low, high) = instrument.range.possible;
        let notes = || seat.part.notes.iter().filter(|n| n.sounds());
        let inside = notes()
            .filter(|n| (low.midi()..=high.midi()).contains(&n.written.midi()))
            .count();
        (inside * 10 >= notes().count() * 9).then(|| {
            let because = format!(
                "its written notes are the {}'s and would sound {} away",
                instrument.name,
                octaves(stated.chromatic - own.chromatic)
            );
            self.presumed(seat, PartFault::Transposition, own, because)
        })
    }

    /// Parts of one transposition and nothing else: their notes and their last sonority are in the key
    /// that their signature would be written as, were it that of concert pitch.
    fn all_in_concert_key(&self) -> Vec<Presumed> {
        let seats = &self.company.seats;
        let Some(shift) = seats.first().map(|s| s.added().key_shift()) else {
            return Vec::new();
        };
        let alike = |s: &Seat<'_>| {
            s.added().key_shift() == shift && s.is_judged && !s.is_off() && s.prints_signature()
        };
        if seats.len() < 2 || shift == 0 || !seats.iter().all(alike) {
            return Vec::new();
        }
        let (mut all, mut new, mut old) = (0usize, 0usize, 0usize);
        for seat in seats {
            for note in sample(seat.part) {
                let printed = seat.part.key(note.onset).fifths;
                let class = note.written.class();
                let inside = (in_scale(class, printed), in_scale(class, printed + shift));
                all += 1;
                new += usize::from(inside == (false, true));
                old += usize::from(inside == (true, false));
            }
        }
        let steps = usize::from(shift.unsigned_abs());
        if all < 4 * ENOUGH || new < 2 * old.max(1) || new * 25 < all * steps {
            return Vec::new();
        }
        // The last sonority has the tonic of the one key, major or minor, and not that of the other.
        let is_tonic = |seat: &Seat<'_>, by: i8| {
            seat.part.notes.last().is_some_and(|n| {
                let fifths = seat.part.key(n.onset).fifths + by;
                let tonic = PitchClass::new(i16::from(fifths) * 7);
                matches!(n.written.class().above(tonic), 0 | 9)
            })
        };
        if !seats.iter().any(|s| is_tonic(s, shift)) || seats.iter().any(|s| is_tonic(s, 0)) {
            return Vec::new();
        }
        let because = format!(
            "{new} of {all} notes need the key signature that the instrument reads, {old} the printed one"
        );
        let read = |seat: &Seat<'_>| {
            let signatures = seat
                .part
                .keys
                .iter()
                .map(|k| written_fifths(k.value.fifths, seat.own()));
            Presumed {
                signatures: signatures.collect(),
                ..self.presumed(seat, PartFault::ConcertKey, seat.added(), because.clone())
            }
        };
        seats.iter().map(read).collect()
    }

    /// What the key signature says, in words.
    fn signature(&self, seat: &Seat<'_>) -> String {
        let found = seat.part.keys.first().map_or(0, |k| k.value.fifths);
        let onset = self.score.bars.first().map_or(Ticks::ZERO, |b| b.start);
        match self.company.key(onset, seat.index) {
            Some(key) => format!(
                "its key signature is {} where the other parts are in concert {}",
                signs(found),
                signs(key)
            ),
            None => format!("its key signature is {}", signs(found)),
        }
    }
}

fn octaves(semitones: i16) -> String {
    match semitones.abs() / 12 {
        1 => "an octave".to_owned(),
        n => format!("{n} octaves"),
    }
}

fn possessive(instrument: &str) -> String {
    let article = if instrument.starts_with(['a', 'e', 'i', 'o', 'u', 'E']) {
        "an"
    } else {
        "a"
    };
    format!("{article} {instrument}'s")
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

/// What the notes say, in words and numbers.
fn counted(better: Fit, how: &str, worse: Fit, otherwise: &str) -> String {
    format!(
        "{how} {} of {} notes fit the chords and the other parts, {otherwise} {}",
        better.good, better.notes, worse.good
    )
}

#[cfg(test)]
mod tests;
