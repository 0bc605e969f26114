//! Who plays what: all parts of a score asked together.
//!
//! A part's own name is not enough: an "Alto" is a voice in a choir and a saxophone in a band. So each
//! part says what it may be by itself, and then all of them decide.

use super::part::Part;
use crate::ground::instrument::{Catalogue, Instrument, Match, Property, seat_in};
use std::collections::{BTreeMap, BTreeSet};

/// What a part is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Identity<'a> {
    /// The instrument.
    pub instrument: &'a Instrument,
    /// The seat, 1-based: from the name, or from the order of parts of one instrument.
    pub seat: Option<u8>,
}

/// What each part is, by its sound id, names, transposition and company, in part order.
pub fn identify_all<'a>(catalogue: &'a Catalogue, parts: &[Part]) -> Vec<Option<Identity<'a>>> {
    let matches = parts.iter().map(|p| match_part(catalogue, p)).collect();
    let ensemble = Ensemble {
        catalogue,
        parts,
        matches,
    };
    let voices = ensemble.is_vocal();
    let brass = ensemble.has_low_brass();
    let concert = ensemble.is_concert();
    let mut found: Vec<Option<(usize, Option<u8>)>> = ensemble
        .each()
        .map(|(part, m)| {
            let m = m?;
            let mut left = m.candidates.clone();
            if m.bare {
                ensemble.keep(&mut left, |i| i.is(Property::Choir) == voices);
                let brass = brass || states(part, -14);
                ensemble.keep(&mut left, |i| i.is(Property::BaritoneHorn) == brass);
            }
            ensemble.keep_transposition(&mut left, part, concert);
            left.first().map(|&i| (i, m.seat))
        })
        .collect();
    seat(&mut found);
    found
        .into_iter()
        .map(|f| {
            let (index, seat) = f?;
            catalogue
                .instruments
                .get(index)
                .map(|instrument| Identity { instrument, seat })
        })
        .collect()
}

/// The parts of a score, and what each may be by itself.
struct Ensemble<'a, 'p> {
    catalogue: &'a Catalogue,
    parts: &'p [Part],
    /// For each part.
    matches: Vec<Option<Match>>,
}

impl<'a, 'p> Ensemble<'a, 'p> {
    fn each(&self) -> impl Iterator<Item = (&'p Part, Option<&Match>)> {
        self.parts
            .iter()
            .zip(self.matches.iter().map(Option::as_ref))
    }

    /// The parts that may be something, with the likeliest instrument.
    fn likeliest(&self) -> impl Iterator<Item = (&'p Part, &Match, &'a Instrument)> {
        self.each().filter_map(|(part, m)| {
            let m = m?;
            let first = self.catalogue.instruments.get(*m.candidates.first()?)?;
            Some((part, m, first))
        })
    }

    /// Keeps the candidates for which `test` holds, or all when it holds for none.
    fn keep(&self, candidates: &mut Vec<usize>, test: impl Fn(&Instrument) -> bool) {
        let kept: Vec<usize> = candidates
            .iter()
            .copied()
            .filter(|&i| self.catalogue.instruments.get(i).is_some_and(&test))
            .collect();
        if !kept.is_empty() {
            *candidates = kept;
        }
    }

    /// Breaks ties by what the part adds to its written pitch.
    fn keep_transposition(&self, candidates: &mut Vec<usize>, part: &Part, concert: bool) {
        if !part.states_transposition && part.transpositions.is_empty() {
            return;
        }
        let stated = part.transpositions.first().map_or(0, |m| m.value.chromatic);
        // Nothing follows from zero in a concert score.
        if concert && stated.rem_euclid(12) == 0 {
            return;
        }
        let own = |i: &Instrument| i.transposition.chromatic;
        self.keep(candidates, |i| {
            own(i).rem_euclid(12) == stated.rem_euclid(12)
        });
        self.keep(candidates, |i| own(i) == stated);
    }

    /// Whether parts that surely transpose are written at sounding pitch.
    fn is_concert(&self) -> bool {
        self.each().any(|(part, m)| {
            let Some(m) = m else { return false };
            let stated = part
                .transpositions
                .first()
                .map_or(0, |t| t.value.chromatic.rem_euclid(12));
            stated == 0
                && !m.bare
                && m.candidates.iter().all(|&i| {
                    self.catalogue
                        .instruments
                        .get(i)
                        .is_some_and(|i| i.transposition.chromatic.rem_euclid(12) != 0)
                })
        })
    }

    /// Whether a part called "Baritone" is a horn of the low brass: among such horns, or beside a
    /// baritone saxophone that is called one.
    fn has_low_brass(&self) -> bool {
        let mut horns = false;
        let mut short_saxes = false;
        for (_, m, first) in self.likeliest() {
            if m.bare {
                short_saxes |= matches!(first.label.as_str(), "alto" | "tenor");
            } else if first.label == "baritone" && !first.is(Property::Choir) {
                return true;
            } else {
                horns |= first.is(Property::BesideBaritoneHorn);
            }
        }
        horns && !short_saxes
    }

    /// Whether parts with names such as "Alto" are voices.
    fn is_vocal(&self) -> bool {
        let mut weight = 0i32;
        let mut transposing = false;
        let mut bare: BTreeMap<&str, u32> = BTreeMap::new();
        for (part, m, first) in self.likeliest() {
            if !m.bare {
                weight += self
                    .catalogue
                    .section(&first.section)
                    .map_or(0, |s| s.choir_evidence);
                continue;
            }
            *bare.entry(first.label.as_str()).or_default() += 1;
            if part
                .transpositions
                .iter()
                .any(|t| t.value.chromatic.rem_euclid(12) != 0)
            {
                weight -= 4;
                transposing = true;
            }
            if let Some(clef) = part.clefs.first().map(|c| c.value)
                && matches!(first.label.as_str(), "tenor" | "baritone")
                && (clef.sign == 'F' || clef.octave == -1)
            {
                weight += 3;
            }
        }
        let has = |label| bare.contains_key(label);
        let many = |label| bare.get(label).is_some_and(|n| *n > 1);
        if has("soprano") {
            weight += 2;
        }
        // A full choir, even beside a band whose horns are named in full. "Alto, Tenor, Bass" alone
        // may be two saxes and a string bass.
        let full = ["soprano", "alto", "tenor", "bass"].into_iter().all(has);
        if full && !transposing {
            return true;
        }
        if has("bass") && has("tenor") && has("soprano") {
            weight += 3;
        }
        // Nothing but tenors, a baritone and a bass: a male choir.
        let all_bare = || self.matches.iter().flatten().all(|m| m.bare);
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
        weight > 0
    }
}

/// The instruments that a MusicXML sound id may stand for.
fn by_sound(catalogue: &Catalogue, sound: &str) -> Vec<usize> {
    let indices = |wanted: &str| -> Vec<usize> {
        catalogue
            .instruments
            .iter()
            .enumerate()
            .filter(|(_, i)| i.sounds.iter().any(|s| s == wanted))
            .map(|(index, _)| index)
            .collect()
    };
    let sound = sound.trim().to_lowercase();
    let exact = indices(&sound);
    if !exact.is_empty() {
        return exact;
    }
    // An id finer than those known: `keyboard.piano.honky-tonk` is a piano. A kind of its own
    // (`brass.trombone.alto`) is not distinguished from a manner of playing, so only one level up
    // and only where the kinds do not transpose apart.
    sound
        .rsplit_once('.')
        .map(|(parent, _)| indices(parent))
        .filter(|found| {
            found
                .iter()
                .filter_map(|&i| catalogue.instruments.get(i))
                .all(|i| i.is(Property::FinerSounds))
        })
        .unwrap_or_default()
}

/// Whether the sound id ends in the shared name: "Bass" with `wind.reed.saxophone.bass`.
fn shares_word(catalogue: &Catalogue, m: &Match, part: &Part) -> bool {
    let last = part.sound.as_deref().and_then(|s| s.rsplit('.').next());
    m.candidates
        .iter()
        .filter_map(|&i| catalogue.instruments.get(i))
        .any(|i| Some(i.label.as_str()) == last)
}

/// What one part may be, by name and sound.
fn match_part(catalogue: &Catalogue, part: &Part) -> Option<Match> {
    // The reader knows it outright; the name only gives the seat.
    if let Some(key) = &part.instrument
        && let Some(index) = catalogue.instruments.iter().position(|i| i.key == *key)
    {
        return Some(Match {
            candidates: vec![index],
            bare: false,
            seat: seat_in(&part.name),
        });
    }
    let texts = [
        Some(part.name.as_str()),
        part.instrument_name.as_deref(),
        part.abbreviation.as_deref(),
    ];
    let mut by_name = texts
        .into_iter()
        .flatten()
        .filter_map(|t| catalogue.match_text(t));
    let mut best = by_name.next();
    // "Alto 1" is settled by an instrument name that says which alto.
    if let Some(m) = best.as_mut().filter(|m| m.bare) {
        for other in by_name.filter(|o| !o.bare) {
            let both: Vec<usize> = m
                .candidates
                .iter()
                .copied()
                .filter(|i| other.candidates.contains(i))
                .collect();
            if !both.is_empty() {
                m.candidates = both;
                m.bare = false;
                break;
            }
        }
    }
    let seat = texts.into_iter().flatten().find_map(seat_in);
    let sounds = part
        .sound
        .as_deref()
        .map(|s| by_sound(catalogue, s))
        .unwrap_or_default();
    let mut m = match best {
        None if sounds.is_empty() => return None,
        None => Match {
            candidates: sounds,
            bare: false,
            seat: None,
        },
        Some(mut m) => {
            let both: Vec<usize> = sounds
                .iter()
                .copied()
                .filter(|i| m.candidates.contains(i))
                .collect();
            if !both.is_empty() {
                m.candidates = both;
                m.bare = false;
            } else if m.bare && !sounds.is_empty() && shares_word(catalogue, &m, part) {
                m.candidates = sounds;
                m.bare = false;
            }
            // Else the name says otherwise: files keep a default sound such as a piano's.
            m
        }
    };
    m.seat = m.seat.or(seat);
    Some(m)
}

/// Whether the part says that it adds this many semitones to written pitch.
fn states(part: &Part, semitones: i16) -> bool {
    part.transpositions
        .first()
        .is_some_and(|t| t.value.chromatic == semitones)
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
mod tests {
    use super::*;
    use crate::ground::instrument::catalogue;
    use crate::ground::pitch::Transposition;
    use crate::ground::text::Span;
    use crate::score::{Clef, Mark, Place};

    fn mark<T>(value: T) -> Mark<T> {
        Mark::new(Place::default(), value, Span::default())
    }

    fn part(name: &str) -> Part {
        Part {
            name: name.to_owned(),
            ..Part::default()
        }
    }

    fn transposing(name: &str, chromatic: i16, diatonic: i16) -> Part {
        Part {
            transpositions: vec![mark(Transposition {
                diatonic,
                chromatic,
            })],
            states_transposition: true,
            ..part(name)
        }
    }

    fn keys(parts: &[Part]) -> Vec<String> {
        identify_all(catalogue(), parts)
            .iter()
            .map(|i| {
                i.map_or("-".to_owned(), |i| match i.seat {
                    Some(seat) => format!("{} {seat}", i.instrument.key),
                    None => i.instrument.key.clone(),
                })
            })
            .collect()
    }

    fn keys_of(names: &[&str]) -> Vec<String> {
        keys(&names.iter().map(|n| part(n)).collect::<Vec<_>>())
    }

    #[test]
    fn a_big_band() {
        assert_eq!(
            keys_of(&[
                "Alto Sax 1",
                "Alto Sax 2",
                "Tenor 1",
                "Tenor 2",
                "Bari",
                "Trumpet 1",
                "Trumpet 2",
                "Trombone",
                "Trombone",
                "Trombone 4 (Bass)",
                "Guitar",
                "Piano",
                "Bass",
                "Drums",
            ]),
            [
                "alto-saxophone 1",
                "alto-saxophone 2",
                "tenor-saxophone 1",
                "tenor-saxophone 2",
                "baritone-saxophone",
                "trumpet 1",
                "trumpet 2",
                "trombone 1",
                "trombone 2",
                "bass-trombone 4",
                "guitar",
                "piano",
                "double-bass",
                "drums"
            ]
        );
        assert_eq!(
            keys_of(&["Alto 1", "Alto 2", "Tenor 1", "Tenor 2", "Baritone"]),
            [
                "alto-saxophone 1",
                "alto-saxophone 2",
                "tenor-saxophone 1",
                "tenor-saxophone 2",
                "baritone-saxophone"
            ]
        );
    }

    #[test]
    fn a_choir() {
        let satb = ["soprano-voice", "alto-voice", "tenor-voice", "bass-voice"];
        assert_eq!(keys_of(&["Soprano", "Alto", "Tenor", "Bass"]), satb);
        assert_eq!(keys_of(&["S", "A", "T", "B"]), satb);
        assert_eq!(keys_of(&["Sopran", "Alt", "Tenor", "Bass"]), satb);
        assert_eq!(
            keys_of(&["Soprano 1", "Soprano 2", "Alto", "Piano"]),
            ["soprano-voice 1", "soprano-voice 2", "alto-voice", "piano"]
        );
        assert_eq!(
            keys_of(&["Tenor 1", "Tenor 2", "Bass 1", "Bass 2"]),
            [
                "tenor-voice 1",
                "tenor-voice 2",
                "bass-voice 1",
                "bass-voice 2"
            ]
        );
        assert_eq!(
            keys_of(&["Soprano", "Alto", "Tenor", "Baritone"])[3],
            "baritone-saxophone"
        );
    }

    #[test]
    fn a_choir_beside_a_band() {
        let band = [
            "Alto Sax 1",
            "Alto Sax 2",
            "Tenor Sax",
            "Trumpet 1",
            "Bass Guitar",
        ];
        let names = ["Soprano", "Alto", "Tenor", "Bass"].into_iter().chain(band);
        assert_eq!(
            keys_of(&names.collect::<Vec<_>>())[..5],
            [
                "soprano-voice",
                "alto-voice",
                "tenor-voice",
                "bass-voice",
                "alto-saxophone 1"
            ]
        );
        assert_eq!(
            keys_of(&["Tenor I", "Tenor II", "Bariton", "Bass"]),
            [
                "tenor-voice 1",
                "tenor-voice 2",
                "baritone-voice",
                "bass-voice"
            ]
        );
        // Three parts: the baritone's clef tells the choir from the saxes.
        let mut baritone = part("Baritone");
        baritone.clefs.push(mark(Clef {
            sign: 'F',
            line: 4,
            octave: 0,
            staff: 1,
        }));
        assert_eq!(
            keys(&[part("Soprano"), part("Alto"), baritone]),
            ["soprano-voice", "alto-voice", "baritone-voice"]
        );
    }

    #[test]
    fn a_baritone_among_horns() {
        assert_eq!(
            keys_of(&[
                "Alto Sax", "Bari Sax", "Trumpet", "Horn", "Baritone", "Tuba"
            ])[4],
            "euphonium"
        );
        assert_eq!(keys_of(&["Horn", "Baritone", "Tuba"])[1], "euphonium");
        assert_eq!(
            keys_of(&["Alto", "Tenor", "Baritone", "Tuba"])[2],
            "baritone-saxophone"
        );
        // A concert score, where nothing is added.
        let untransposed = ["Alto 1", "Alto 2", "Tenor 1", "Tenor 2", "Baritone"]
            .map(|name| transposing(name, 0, 0));
        assert_eq!(keys(&untransposed)[4], "baritone-saxophone");
    }

    #[test]
    fn a_small_band_with_a_bass() {
        assert_eq!(
            keys_of(&["Trumpet", "Alto", "Tenor", "Bass", "Drums"]),
            [
                "trumpet",
                "alto-saxophone",
                "tenor-saxophone",
                "double-bass",
                "drums"
            ]
        );
    }

    #[test]
    fn transposition_and_clef_break_ties() {
        assert_eq!(
            keys(&[
                transposing("Soprano", -2, -1),
                transposing("Alto", -9, -5),
                transposing("Saxophone 3", -14, -8),
                transposing("Sax 4", -21, -12),
                transposing("Baritone", -14, -8),
                transposing("Clarinet", -3, -2),
                transposing("Trumpet", 0, 0),
            ]),
            [
                "soprano-saxophone",
                "alto-saxophone",
                "tenor-saxophone 3",
                "baritone-saxophone 4",
                "euphonium-treble-clef",
                "clarinet-in-a",
                "trumpet-in-c"
            ]
        );
        // In a concert score a trumpet that adds nothing is still a trumpet in Bb.
        assert_eq!(
            keys(&[transposing("Alto Sax", 0, 0), transposing("Trumpet", 0, 0)]),
            ["alto-saxophone", "trumpet"]
        );
        let mut tenor = part("Tenor");
        tenor.clefs.push(mark(Clef {
            sign: 'G',
            line: 2,
            octave: -1,
            staff: 1,
        }));
        assert_eq!(keys(&[part("Alto"), tenor]), ["alto-voice", "tenor-voice"]);
    }

    #[test]
    fn sound_ids_and_names() {
        let with = |name: &str, sound: &str| Part {
            sound: Some(sound.to_owned()),
            ..part(name)
        };
        assert_eq!(
            keys(&[
                with("Melody 2", "wind.reed.saxophone.tenor"),
                with("Trombone 4", "brass.trombone.bass"),
                with("Alto Sax 1", "keyboard.piano"),
                with("Alto", "voice.alto"),
                with("Bass", "wind.reed.saxophone.bass"),
                with("Bass", "pluck.bass.electric"),
                with("Keys", "keyboard.piano.honky-tonk"),
                with("Something", "brass.trombone.alto"),
                with("Something", "metal.bells.church"),
            ]),
            [
                "tenor-saxophone 2",
                "bass-trombone 4",
                "alto-saxophone 1",
                "alto-voice",
                "bass-saxophone",
                "electric-bass",
                "piano",
                "-",
                "-"
            ]
        );
        let named = Part {
            instrument_name: Some("Alto Saxophone".to_owned()),
            ..part("Alto 2")
        };
        assert_eq!(
            keys(&[part("Soprano"), part("Bass"), named])[2],
            "alto-saxophone 2"
        );
    }

    #[test]
    fn seats() {
        assert_eq!(
            keys_of(&["Trumpet", "Trumpet 1", "Trumpet", "Piano"]),
            ["trumpet 2", "trumpet 1", "trumpet 3", "piano"]
        );
        let crowd: Vec<Part> = (0..300).map(|_| part("Trumpet")).collect();
        assert_eq!(keys(&crowd)[299], "trumpet");
    }
}
