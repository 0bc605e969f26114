//! The parts of a score beside each other: their instruments, and the concert key they agree on.

use super::fit::{in_scale, sample};
use crate::ground::instrument::{self, Instrument, Property, stated_key};
use crate::ground::pitch::{Transposition, written_fifths};
use crate::ground::time::Ticks;
use crate::score::identity::identify_all;
use crate::score::{Part, Score, in_force};

/// A part with one transposition, and the instrument it is for.
pub struct Seat<'a> {
    pub index: u32,
    pub part: &'a Part,
    pub instrument: &'static Instrument,
    /// The transposition its file has.
    pub stated: Option<Transposition>,
    /// It is one line on one staff, so that its transposition can be judged.
    pub is_judged: bool,
}

impl Seat<'_> {
    /// What the file adds to its written pitch.
    pub fn added(&self) -> Transposition {
        self.stated.unwrap_or_default()
    }

    /// What its instrument adds.
    pub fn own(&self) -> Transposition {
        self.instrument.transposition
    }

    /// The file does not transpose as the instrument does, octaves left out.
    pub fn is_off(&self) -> bool {
        (self.added().chromatic - self.own().chromatic) % 12 != 0
    }

    /// A signature with sharps or flats is printed somewhere.
    pub fn prints_signature(&self) -> bool {
        self.part.keys.iter().any(|k| k.value.fifths != 0)
    }

    /// Its name without the number at its end.
    fn unnumbered(&self) -> &str {
        let is_number = |c: char| !c.is_alphabetic();
        self.part.name.trim_end_matches(is_number)
    }

    /// Its name says that it is in the key that this puts it in.
    fn is_named_for(&self, by: Transposition) -> bool {
        let names = [Some(&self.part.name), self.part.instrument_name.as_ref()];
        let mut keys = names.into_iter().flatten().filter_map(|n| stated_key(n));
        keys.any(|key| key == by.chromatic.rem_euclid(12))
    }
}

/// All parts that say anything of transposition and key.
pub struct Company<'a> {
    pub seats: Vec<Seat<'a>>,
    /// Some part prints a signature, so that one without sharps and flats means something.
    pub has_keys: bool,
    /// Instruments of different transpositions all print one signature: that of concert pitch.
    pub one_signature: bool,
    /// With no part to trust: the concert key that all parts agree on when each is read as its
    /// instrument transposes, and not otherwise.
    agreed: Option<i8>,
    /// There is a band, not an orchestra.
    band: bool,
}

impl<'a> Company<'a> {
    pub fn of(score: &'a Score) -> Self {
        let identities = identify_all(instrument::catalogue(), &score.parts);
        let seats: Vec<Seat<'_>> = identities
            .into_iter()
            .zip(&score.parts)
            .enumerate()
            .filter_map(|(index, (identity, part))| {
                // Parts that change instruments say so themselves.
                if part.transpositions.len() > 1 || part.notes.is_empty() {
                    return None;
                }
                let mut instrument = identity?.instrument;
                let stated = part.transpositions.first().map(|m| m.value);
                // Whatever key it is in, it may be right, unless its name says another.
                if instrument.is(Property::AnyKey) {
                    instrument = named_for_another(part, stated.unwrap_or_default())?;
                }
                Some(Seat {
                    index: index as u32,
                    part,
                    instrument,
                    stated: stated
                        .or_else(|| part.states_transposition.then_some(Transposition::NONE)),
                    is_judged: part.staves <= 1,
                })
            })
            .collect();
        let mut company = Self {
            has_keys: seats.iter().any(Seat::prints_signature),
            band: seats.iter().any(|s| s.instrument.is(Property::Band)),
            seats,
            one_signature: false,
            agreed: None,
        };
        company.one_signature = company.has_one_signature();
        company.has_keys |= company.one_signature;
        company.agreed = company.agreed_without_transpositions();
        company
    }

    /// Parts of this kind are commonly written without a signature, and none here has one.
    pub fn may_be_plain(&self, seat: &Seat<'_>) -> bool {
        let instrument = seat.instrument;
        let by_custom = instrument.is(Property::NoKeySignature)
            || instrument.is(Property::NoKeySignatureInOrchestra) && !self.band;
        let like = |s: &&Seat<'_>| s.instrument.key == instrument.key && s.added() == seat.added();
        by_custom && !self.seats.iter().filter(like).any(Seat::prints_signature)
    }

    fn has_one_signature(&self) -> bool {
        let voters = || {
            let signed = |s: &&Seat<'_>| !s.is_off() && !self.may_be_plain(s);
            self.seats.iter().filter(signed)
        };
        let first = |s: &Seat<'_>| s.part.keys.first().map(|k| k.value.fifths);
        let Some(one) = voters().next().and_then(first) else {
            return false;
        };
        if voters().any(|s| first(s) != Some(one)) {
            return false;
        }
        let shift = |s: &Seat<'_>| s.added().key_shift();
        // Scores without signatures are in any key, and in C by chance only.
        (self.has_keys || one == 0 && self.sounds_in_c())
            && voters().any(|s| voters().next().is_some_and(|f| shift(f) != shift(s)))
    }

    /// The notes of all parts fit the scale of C better than any other.
    fn sounds_in_c(&self) -> bool {
        let mut inside = [0usize; 12];
        let mut all = 0usize;
        for seat in self.seats.iter().filter(|s| !s.is_off()) {
            for note in sample(seat.part) {
                all += 1;
                for (fifths, n) in (0i8..).zip(&mut inside) {
                    *n += usize::from(in_scale(note.sounding.class(), fifths));
                }
            }
        }
        let [in_c, others @ ..] = inside;
        in_c * 10 >= all * 8 && others.iter().all(|n| *n < in_c)
    }

    fn agreed_without_transpositions(&self) -> Option<i8> {
        if self.seats.iter().any(|s| !s.is_off()) {
            return None;
        }
        let mut keys = Vec::new();
        for seat in &self.seats {
            let printed = seat.part.keys.first()?.value.fifths;
            keys.push((printed, concert(printed, seat.own())));
        }
        let &(own, key) = keys.first()?;
        let agree = keys.iter().all(|k| same_key(k.1, key));
        let differ = keys.iter().any(|k| !same_key(k.0, own));
        (agree && differ).then_some(key)
    }

    /// The concert key most trusted parts have at a time.
    pub fn key(&self, onset: Ticks, without: u32) -> Option<i8> {
        if !self.has_keys {
            return None;
        }
        let mut votes: Vec<(i8, usize)> = Vec::new();
        let mut sounding: Vec<i8> = Vec::new();
        let mut all = 0;
        let trusted = |s: &&Seat<'_>| s.index != without && !s.is_off();
        for seat in self.seats.iter().filter(trusted) {
            let Some(printed) = in_force(&seat.part.keys, onset).map(|k| k.value.fifths) else {
                continue;
            };
            if self.may_be_plain(seat) {
                continue;
            }
            let by = if self.one_signature {
                Transposition::NONE
            } else {
                seat.added()
            };
            let key = concert(printed, by);
            if by.key_shift() == 0 {
                sounding.push(key);
            }
            all += 1;
            match votes.iter_mut().find(|(k, _)| same_key(*k, key)) {
                Some((_, n)) => *n += 1,
                None => votes.push((key, 1)),
            }
        }
        let most = votes.into_iter().find(|(_, n)| n * 2 > all);
        most.map(|(key, _)| key)
            // Parts at concert pitch have nothing to get wrong.
            .or_else(|| {
                let first = *sounding.first()?;
                let agree = sounding.len() > 1 && sounding.iter().all(|k| same_key(*k, first));
                agree.then_some(first)
            })
            .or(self.agreed)
    }

    /// Whether the keys of a part agree with those of its company, as it is read with a transposition,
    /// when there is anything to compare.
    pub fn keys_agree(&self, seat: &Seat<'_>, by: Transposition) -> Option<bool> {
        let (mut agree, mut all) = (0, 0);
        for mark in &seat.part.keys {
            let Some(key) = self.key(mark.onset, seat.index) else {
                continue;
            };
            all += 1;
            agree += usize::from(same_key(concert(mark.value.fifths, by), key));
        }
        (all > 0).then_some(agree * 2 > all)
    }

    /// Whether a part is surely meant for an instrument that transposes as the table says: it is built in
    /// one key, the part's name has the key, others of the same kind are written so, or it is no kind
    /// that was ever written in as many keys.
    pub fn is_sure(&self, seat: &Seat<'_>) -> bool {
        let instrument = seat.instrument;
        if seat.is_named_for(seat.added()) {
            return false;
        }
        let mut like = self.seats.iter().filter(|s| {
            let is_like = s.index != seat.index && s.instrument.key == instrument.key;
            is_like && !s.is_off() && s.stated.is_some()
        });
        // "Alto" may be a voice, a sax or a viola where no sax beside it is transposed.
        let bare = instrument::catalogue().match_text(&seat.part.name);
        if bare.is_some_and(|m| m.bare) {
            return self.seats.iter().any(|s| {
                s.instrument.section == instrument.section
                    && !s.is_off()
                    && s.added().key_shift() != 0
            });
        }
        if instrument.is(Property::OneTransposition) {
            return true;
        }
        // Horns and trumpets of old scores are crooked in many keys, without signatures.
        let crooked = instrument.is(Property::NoKeySignature)
            || instrument.is(Property::NoKeySignatureInOrchestra) && !self.band;
        let sounds_as_written = seat.added().chromatic % 12 == 0;
        // "Trumpet 2" beside "Trumpet 1".
        let mut namesakes = self
            .seats
            .iter()
            .filter(|s| s.index != seat.index && s.instrument.key == instrument.key && !s.is_off());
        seat.is_named_for(seat.own())
            || namesakes.any(|s| s.unnumbered() == seat.unnumbered() && s.prints_signature())
            || !self.may_be_plain(seat)
                && (like.next().is_some() || !crooked && (self.band || !sounds_as_written))
    }
}

/// The instrument of a part whose name says a key, where its file puts it in another.
fn named_for_another(part: &Part, stated: Transposition) -> Option<&'static Instrument> {
    let key = stated_key(&part.name).filter(|key| *key != stated.chromatic.rem_euclid(12))?;
    let catalogue = instrument::catalogue();
    let found = catalogue.match_text(&part.name)?;
    let candidates = found.candidates.iter();
    candidates
        .filter_map(|i| catalogue.instruments.get(*i))
        .find(|i| !i.is(Property::AnyKey) && i.transposition.chromatic.rem_euclid(12) == key)
}

/// The concert key of a printed signature.
pub fn concert(printed: i8, transposition: Transposition) -> i8 {
    written_fifths(printed, transposition.inverse())
}

fn same_key(a: i8, b: i8) -> bool {
    (i16::from(a) - i16::from(b)) % 12 == 0
}
