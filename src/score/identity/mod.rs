//! Who plays what: all parts of a score asked together.
//!
//! A part's own name is not enough: an "Alto" is a voice in a choir and a saxophone in a band. So each
//! part says what it may be by itself (`own.rs`), and then all of them decide. What counts, in this
//! order: the name, the transposition, the clef, lyrics, the written range, the sound that a player
//! program is to use.

mod evidence;
mod own;

pub use evidence::Evidence;

use super::part::Part;
use crate::ground::instrument::{Catalogue, Family, Instrument, Property};
use own::Case;
use std::collections::{BTreeMap, BTreeSet};

/// What a part is.
#[derive(Clone, Debug, PartialEq)]
pub struct Identity<'a> {
    /// The instrument.
    pub instrument: &'a Instrument,
    /// The seat, 1-based: from the name, or from the order of parts of one instrument.
    pub seat: Option<u8>,
    /// How this is known, the most trusted first.
    pub evidence: Vec<Evidence>,
}

/// What each part is, with the evidence, in part order.
pub fn identify_all<'a>(catalogue: &'a Catalogue, parts: &[Part]) -> Vec<Option<Identity<'a>>> {
    let cases = parts.iter().map(|p| own::case(catalogue, p)).collect();
    let ensemble = Ensemble {
        catalogue,
        parts,
        cases,
    };
    let company = Company::of(&ensemble);
    let mut decided: Vec<Option<Case>> = ensemble
        .each()
        .map(|(part, case)| Some(ensemble.decide(part, case?.clone(), &company)))
        .collect();
    ensemble.song(&mut decided);
    let mut found: Vec<Option<(usize, Option<u8>)>> = decided
        .iter()
        .map(|case| {
            let case = case.as_ref()?;
            Some((*case.left.first()?, case.seat))
        })
        .collect();
    seat(&mut found);
    found
        .into_iter()
        .zip(decided)
        .map(|(found, case)| {
            let (index, seat) = found?;
            let evidence = case?.evidence;
            catalogue.instruments.get(index).map(|instrument| Identity {
                instrument,
                seat,
                evidence,
            })
        })
        .collect()
}

/// The parts of a score, and what each may be by itself.
struct Ensemble<'a, 'p> {
    catalogue: &'a Catalogue,
    parts: &'p [Part],
    /// For each part.
    cases: Vec<Option<Case>>,
}

/// What the parts say of one another.
struct Company {
    /// Parts with names such as "Alto" are voices, or are not; `None` where nothing speaks.
    voices: Option<bool>,
    /// That they are is beyond doubt.
    full_choir: bool,
    /// A part called "Baritone" is a horn of the low brass.
    low_brass: bool,
    /// The name of a part that stands in an old choirbook.
    choirbook: Option<String>,
    /// The name of a part beside which an "Alto" is a viola.
    strings: Option<String>,
    /// The parts are written at sounding pitch.
    concert: bool,
    /// The name of a part that speaks for the voices, or against them.
    because: Option<String>,
}

impl Company {
    fn of(ensemble: &Ensemble<'_, '_>) -> Self {
        let named = |property: Property| {
            ensemble
                .likeliest()
                .filter(move |(_, case, first)| !case.bare && first.is(property))
        };
        let voices = ensemble.vocal();
        let singers = ensemble.bare_labels();
        let alone = !["soprano", "tenor"]
            .iter()
            .any(|label| singers.contains_key(label));
        let strings = named(Property::StringCompany);
        let two = named(Property::StringCompany).count() > 1;
        Self {
            voices: voices.0.cmp(&0).is_ne().then_some(voices.0 > 0),
            full_choir: voices.1,
            low_brass: ensemble.has_low_brass(),
            choirbook: named(Property::OldVoice)
                .map(|(part, ..)| part.name.clone())
                .next(),
            strings: strings
                .map(|(part, ..)| part.name.clone())
                .next()
                .filter(|_| two && alone),
            concert: ensemble.is_concert(),
            because: voices.2,
        }
    }
}

impl<'a, 'p> Ensemble<'a, 'p> {
    fn each(&self) -> impl Iterator<Item = (&'p Part, Option<&Case>)> {
        self.parts.iter().zip(self.cases.iter().map(Option::as_ref))
    }

    fn instrument(&self, index: usize) -> Option<&'a Instrument> {
        self.catalogue.instruments.get(index)
    }

    /// The parts that may be something, with the likeliest instrument.
    fn likeliest(&self) -> impl Iterator<Item = (&'p Part, &Case, &'a Instrument)> {
        self.each().filter_map(|(part, case)| {
            let case = case?;
            let first = self.instrument(*case.left.first()?)?;
            Some((part, case, first))
        })
    }

    /// Keeps the instruments for which `test` holds, or all when it holds for none. Whether that left
    /// fewer.
    fn keep(&self, left: &mut Vec<usize>, test: impl Fn(&Instrument) -> bool) -> bool {
        own::keep(self.catalogue, left, test)
    }

    /// What a part is, among all.
    fn decide(&self, part: &Part, mut case: Case, company: &Company) -> Case {
        if case.bare {
            self.decide_bare(part, &mut case, company);
        } else {
            // Names of choirbooks that others have too are the others'.
            self.keep(&mut case.left, |i| !i.is(Property::OldVoice));
            if self.keep_transposition(&mut case.left, part, company.concert) {
                case.evidence.push(Evidence::transposition(part));
            }
            own::by_clef(self.catalogue, part, &mut case);
            own::by_range(self.catalogue, part, &mut case);
            own::by_sound(self.catalogue, part, &mut case);
        }
        case
    }

    /// What a part with a name that horns and voices share is.
    fn decide_bare(&self, part: &Part, case: &mut Case, company: &Company) {
        let named = |name: &Option<String>| name.clone().map(Evidence::Company);
        if company.choirbook.is_some()
            && !own::transposes(part)
            && self.keep(&mut case.left, |i| i.is(Property::OldVoice))
        {
            case.evidence.extend(named(&company.choirbook));
            return;
        }
        let old = case
            .left
            .iter()
            .copied()
            .find(|&i| self.instrument(i).is_some_and(|i| i.is(Property::OldVoice)));
        self.keep(&mut case.left, |i| !i.is(Property::OldVoice));
        let before = case.left.len();
        let brass = company.low_brass || own::states(part, -14);
        let sings = own::is_sung(part) && !own::transposes(part);
        if sings {
            if self.keep(&mut case.left, |i| i.is(Property::Choir)) {
                case.evidence.extend(Evidence::lyrics(part));
            }
        } else if company.full_choir {
            if self.keep(&mut case.left, |i| i.is(Property::Choir)) {
                case.evidence.extend(named(&company.because));
            }
        } else if !own::by_sound(self.catalogue, part, case) {
            self.by_company(case, company);
        }
        if !sings {
            self.keep(&mut case.left, |i| !i.is(Property::StringCompany));
            if self.keep(&mut case.left, |i| i.is(Property::BaritoneHorn) == brass) && brass {
                case.evidence.extend(named(&company.because));
            }
        }
        if self.keep_transposition(&mut case.left, part, company.concert) {
            case.evidence.push(Evidence::transposition(part));
        }
        if before == case.left.len() {
            own::by_range(self.catalogue, part, case);
        }
        // An alto that stands in the clef of tenors and basses is the high tenor of old music.
        let alto = case.left.first().and_then(|&i| self.instrument(i));
        if let Some(old) = old
            && alto.is_some_and(|i| i.is(Property::Choir) && i.label == "alto")
            && let Some(clef) = own::low_clef(part)
        {
            case.left = vec![old];
            case.evidence.push(Evidence::Clef(clef));
        }
    }

    /// What the other parts say of a part with a shared name.
    fn by_company(&self, case: &mut Case, company: &Company) {
        let strings = |i: &Instrument| i.is(Property::StringCompany) || i.is(Property::BassLine);
        if let Some(beside) = &company.strings
            && self.keep(&mut case.left, strings)
        {
            case.evidence.push(Evidence::Company(beside.clone()));
        } else if let Some(voices) = company.voices
            && self.keep(&mut case.left, |i| i.is(Property::Choir) == voices)
        {
            let beside = company.because.clone();
            case.evidence.extend(beside.map(Evidence::Company));
        } else {
            self.keep(&mut case.left, |i| !i.is(Property::Choir));
        }
    }

    /// A melody with text over a keyboard is sung, also where its file calls it by the sound that a
    /// player program gives it.
    fn song(&self, decided: &mut [Option<Case>]) {
        let first = |case: &Option<Case>| {
            let index = *case.as_ref()?.left.first()?;
            self.instrument(index)
        };
        let melody = |i: &Instrument| i.single_line && !i.is(Property::Sung);
        let mut melodies = decided
            .iter()
            .enumerate()
            .filter(|(_, case)| first(case).is_none_or(melody));
        let (Some((index, Some(case))), None) = (melodies.next(), melodies.next()) else {
            return;
        };
        let Some(part) = self.parts.get(index) else {
            return;
        };
        let by_default = part.instrument.is_none()
            && part.instrument_name.as_ref().is_none_or(|own| {
                self.catalogue
                    .match_text(own)
                    .is_some_and(|m| m.candidates.iter().any(|i| case.left.contains(i)))
            });
        let accompanied = decided
            .iter()
            .enumerate()
            .any(|(i, c)| i != index && first(c).is_some_and(|i| i.family == Family::Keyboard));
        if !(by_default && accompanied && own::is_text(part) && !own::transposes(part)) {
            return;
        }
        let singer = own::singer(self.catalogue);
        if let (Some(singer), Some(Some(case))) = (singer, decided.get_mut(index)) {
            case.left = vec![singer];
            case.evidence.clear();
            case.evidence.extend(Evidence::lyrics(part));
        }
    }

    /// Breaks ties by what the part adds to its written pitch. Whether it did.
    fn keep_transposition(&self, left: &mut Vec<usize>, part: &Part, concert: bool) -> bool {
        if !part.states_transposition && part.transpositions.is_empty() {
            return false;
        }
        let stated = part.transpositions.first().map_or(0, |m| m.value.chromatic);
        // Nothing follows from zero in a concert score.
        if concert && stated.rem_euclid(12) == 0 {
            return false;
        }
        let all = left.len();
        let own = |i: &Instrument| i.transposition.chromatic;
        let octaves_apart =
            |i: &Instrument| !i.is(Property::AnyKey) && (own(i) - stated).rem_euclid(12) == 0;
        if left
            .iter()
            .filter_map(|&i| self.instrument(i))
            .any(octaves_apart)
        {
            self.keep(left, octaves_apart);
            self.keep(left, |i| own(i) == stated);
        } else if part.keys.iter().all(|k| k.value.fifths == 0) {
            // A crook for each key, and no signature.
            self.keep(left, |i| i.is(Property::AnyKey));
        }
        left.len() < all
    }

    /// Whether parts that surely transpose are written at sounding pitch.
    fn is_concert(&self) -> bool {
        self.each().any(|(part, case)| {
            let Some(case) = case else { return false };
            let transposes = |i: &Instrument| {
                i.is(Property::AnyKey) || i.transposition.chromatic.rem_euclid(12) != 0
            };
            let mut all = case.left.iter().filter_map(|&i| self.instrument(i));
            let first = all.next();
            !own::transposes(part)
                && !case.bare
                && first.is_some_and(|i| !i.is(Property::AnyKey) && transposes(i))
                && all.all(transposes)
        })
    }

    /// Whether a part called "Baritone" is a horn of the low brass: among such horns, or beside a
    /// baritone saxophone that is called one.
    fn has_low_brass(&self) -> bool {
        let mut horns = false;
        let mut short_saxes = false;
        for (_, case, first) in self.likeliest() {
            if case.bare {
                short_saxes |= matches!(first.label.as_str(), "alto" | "tenor");
            } else if first.label == "baritone" && !first.is(Property::Choir) {
                return true;
            } else {
                horns |= first.is(Property::BesideBaritoneHorn);
            }
        }
        horns && !short_saxes
    }

    /// How many parts have each shared name, by its label.
    fn bare_labels(&self) -> BTreeMap<&'a str, u32> {
        let mut bare = BTreeMap::new();
        for (_, _, first) in self.likeliest().filter(|(_, case, _)| case.bare) {
            *bare.entry(first.label.as_str()).or_default() += 1;
        }
        bare
    }

    /// How much speaks for parts with names such as "Alto" being voices (above 0), whether it is a full
    /// choir, and the name of a part that speaks for or against.
    fn vocal(&self) -> (i32, bool, Option<String>) {
        let mut weight = 0i32;
        let mut transposing = false;
        let mut because: Option<String> = None;
        for (part, case, first) in self.likeliest() {
            let speaks = if case.bare {
                let clef = part.clefs.first().map(|c| c.value);
                let low = clef.is_some_and(|c| c.sign == 'F' || c.octave == -1);
                if own::transposes(part) {
                    transposing = true;
                    -4
                } else if own::is_sung(part) {
                    6
                } else if low && matches!(first.label.as_str(), "tenor" | "baritone")
                    || clef.is_some_and(|c| c.sign == 'C') && first.label != "bass"
                {
                    3
                } else {
                    0
                }
            } else {
                self.catalogue
                    .section(&first.section)
                    .map_or(0, |s| s.choir_evidence)
            };
            weight += speaks;
            if speaks != 0 {
                because.get_or_insert_with(|| part.name.clone());
            }
        }
        let bare = self.bare_labels();
        let has = |label| bare.contains_key(label);
        let many = |label| bare.get(label).is_some_and(|n| *n > 1);
        // A bass beside instruments is one of them.
        if bare.keys().all(|label| *label == "bass") && !many("bass") {
            weight = weight.min(0);
        }
        if has("soprano") {
            weight += 2;
        }
        // A full choir, even beside a band whose horns are named in full. "Alto, Tenor, Bass" alone
        // may be two saxes and a string bass.
        let full = ["soprano", "alto", "tenor", "bass"].into_iter().all(has);
        if full && !transposing {
            return (weight.max(1), true, because);
        }
        if has("bass") && has("tenor") && has("soprano") {
            weight += 3;
        }
        // Nothing but tenors, a baritone and a bass: a male choir.
        let all_bare = || self.cases.iter().flatten().all(|m| m.bare);
        if many("tenor") && has("bass") && !has("alto") && all_bare() {
            weight += 1;
        }
        // Sections of basses sing; a band has one.
        if many("bass") {
            weight += 3;
        }
        // A baritone with no bass below it is the foot of a sax section.
        if has("baritone") && !has("bass") && (has("alto") || has("soprano")) {
            weight -= 3;
        }
        (weight, false, because)
    }
}

/// Numbers the parts of one instrument that have no seat, in score order; a single part without
/// a number has none.
fn seat(found: &mut [Option<(usize, Option<u8>)>]) {
    let mut of: BTreeMap<usize, (u32, BTreeSet<u8>)> = BTreeMap::new();
    for (index, seat) in found.iter().flatten() {
        let entry = of.entry(*index).or_default();
        entry.0 += 1;
        entry.1.extend(*seat);
    }
    for (index, seat) in found.iter_mut().flatten() {
        let Some((count, taken)) = of.get_mut(index) else {
            continue;
        };
        if seat.is_none()
            && *count > 1
            && let Some(free) = (1..=u8::MAX).find(|n| !taken.contains(n))
        {
            taken.insert(free);
            *seat = Some(free);
        }
    }
}

#[cfg(test)]
mod tests;
