//! Who plays: the players named, the parts of the score, or the usual seats of a section.

use super::request::{Request, VoiceError};
use super::seats::{Role, Seat};
use crate::ground::instrument::{Catalogue, Instrument, Property, Section};
use crate::ground::text::meant;
use crate::score::identity::{Identity, identify_all};
use crate::score::{Part, Score};
use crate::sonority::sections;
use crate::voicing::Technique;

/// The most seats of an answer: a brass tutti with five saxes has thirteen.
const MOST: usize = 16;

/// Winds of both kinds as a small band has them. Common practice, no source.
const HORNS: [&str; 4] = ["trumpet", "alto-saxophone", "tenor-saxophone", "trombone"];
/// The brass of a big band. Common practice, no source.
const BRASS: [&str; 8] = [
    "trumpet",
    "trumpet",
    "trumpet",
    "trumpet",
    "trombone",
    "trombone",
    "trombone",
    "bass-trombone",
];
/// One of each. Common practice, no source.
const WOODWINDS: [&str; 4] = ["flute", "oboe", "clarinet", "bassoon"];

/// The seats in the order in which a voicing is dealt out: the lead first, doublings of it last.
pub(super) fn seats(
    score: &Score,
    part: usize,
    request: &Request,
) -> Result<Vec<Seat>, VoiceError> {
    let catalogue = score.instruments.catalogue();
    let mut seats = match &request.players {
        Some(text) => named(catalogue, text)?,
        None => of_score(score, part, request, catalogue)?,
    };
    for (place, seat) in seats.iter_mut().enumerate() {
        seat.place = place;
    }
    let leads = seats.iter().any(|s| s.role == Role::Leads);
    if let Some(first) = seats.iter_mut().find(|s| s.role == Role::Voice)
        && !leads
    {
        first.role = Role::Leads;
    }
    seats.sort_by_key(|s| s.role);
    let chordal = matches!(seats.as_slice(), [one] if !one.instrument.single_line);
    if !(2..=MOST).contains(&seats.len()) && !chordal {
        return Err(VoiceError::Seats {
            found: seats.len(),
            most: MOST,
        });
    }
    Ok(seats)
}

/// A list such as "clarinet, 2 altos, tenor lead".
fn named(catalogue: &'static Catalogue, text: &str) -> Result<Vec<Seat>, VoiceError> {
    let mut said: Vec<(String, Role)> = Vec::new();
    for piece in text.split([',', ';', '+', '\n']) {
        let (count, name, role) = player(piece);
        if name.is_empty() {
            continue;
        }
        for _ in 0..count.min(MOST + 1) {
            said.push((name.clone(), role));
        }
    }
    let parts: Vec<Part> = said
        .iter()
        .map(|(name, _)| Part {
            name: name.clone(),
            ..Part::default()
        })
        .collect();
    let together = identify_all(catalogue, &parts);
    let mut players = Vec::new();
    for ((name, role), identity) in said.iter().zip(together) {
        let one = name.strip_suffix('s').unwrap_or(name);
        // The name alone says whether it is one; the company, which of those that share it.
        let known = catalogue.named(name).or_else(|| catalogue.named(one));
        let found = known.map(|k| identity.map_or(k, |i| i.instrument));
        let instrument = found.and_then(|i| catalogue.instrument(&i.key));
        let Some(instrument) = instrument.filter(|i| !i.is(Property::Unpitched)) else {
            let known = catalogue.instruments.iter();
            let names = known.map(|i| i.name.as_str());
            return Err(VoiceError::NoSuchInstrument {
                found: name.clone(),
                help: meant(one, names),
            });
        };
        players.push((instrument, *role));
    }
    let mut seats = numbered(players.iter().map(|(i, _)| *i));
    for (seat, (_, role)) in seats.iter_mut().zip(players) {
        seat.role = role;
    }
    Ok(seats)
}

/// How many, who, and what for: "2 altos", "clarinet (lead)", "tenor doubles".
fn player(piece: &str) -> (usize, String, Role) {
    let (mut count, mut role) = (1, Role::Voice);
    let mut words = Vec::new();
    let letters = |c: char| c.is_whitespace() || matches!(c, '(' | ')');
    for (at, word) in piece.split(letters).filter(|w| !w.is_empty()).enumerate() {
        match word.to_lowercase().as_str() {
            "lead" | "leads" => role = Role::Leads,
            "doubles" | "doubling" | "double" if at > 0 => role = Role::Doubles,
            other => match other.trim_end_matches('x').parse::<usize>() {
                Ok(n) if at == 0 => count = n,
                // A number behind the name is a seat, which follows from the order.
                Ok(_) => {}
                Err(_) => words.push(word.to_owned()),
            },
        }
    }
    let role = if count > 1 { Role::Voice } else { role };
    (count, words.join(" "), role)
}

/// The parts that stand ready in the score, else the seats of a section.
fn of_score(
    score: &Score,
    part: usize,
    request: &Request,
    catalogue: &'static Catalogue,
) -> Result<Vec<Seat>, VoiceError> {
    let identities = identify_all(catalogue, &score.parts);
    let own = identities
        .get(part)
        .and_then(Option::as_ref)
        .map(|i| i.instrument);
    let stated = score.stated.iter().find_map(|m| m.value.section.as_deref());
    let said = request.section.as_deref().or(stated);
    let asked = match said {
        Some(words) => Some(asked(catalogue, words)?),
        None => None,
    };
    let belongs = |at: usize| {
        let i = identities.get(at).and_then(Option::as_ref);
        i.is_some_and(|i| match asked.as_ref() {
            Some(Asked::Section(s)) => i.instrument.section == s.key,
            Some(Asked::Players(list)) => {
                let of = |key: &&str| catalogue.instrument(key).map(|p| &p.section);
                list.iter()
                    .any(|key| of(key) == Some(&i.instrument.section))
            }
            None => plays_lines(catalogue, i.instrument),
        })
    };
    let silent = |p: &Part| p.notes.is_empty() && p.unpitched == 0;
    let ready: Vec<usize> = (0..score.parts.len())
        .filter(|&at| at == part || score.parts.get(at).is_some_and(silent))
        .filter(|&at| belongs(at))
        .collect();
    if ready.len() > 1 && ready.contains(&part) {
        return Ok(of_parts(score, &identities, part, &ready));
    }
    if said.is_none() {
        let beside = sections(score)
            .into_iter()
            .find(|s| s.parts.iter().any(|p| p.part as usize == part));
        let beside: Vec<usize> = beside
            .iter()
            .flat_map(|s| &s.parts)
            .map(|p| p.part as usize)
            .filter(|&at| belongs(at))
            .collect();
        if beside.len() > 1 && beside.contains(&part) {
            return Ok(of_parts(score, &identities, part, &beside));
        }
    }
    let keys = match asked {
        Some(Asked::Players(list)) => list.into_iter().map(str::to_owned).collect(),
        Some(Asked::Section(section)) => usual(section, request.technique),
        None => {
            let section = own.and_then(|i| catalogue.section(&i.section));
            let section = section.filter(|s| !s.seats.is_empty());
            let section = section.ok_or_else(|| {
                let name = score.parts.get(part).map(|p| p.name.clone());
                VoiceError::WhichSection(name.unwrap_or_default())
            })?;
            usual(section, request.technique)
        }
    };
    let players = keys.iter().filter_map(|k| catalogue.instrument(k));
    Ok(numbered(players))
}

/// Whether an instrument is one of those that are voiced together: no rhythm section, nothing struck.
fn plays_lines(catalogue: &Catalogue, instrument: &Instrument) -> bool {
    let section = catalogue.section(&instrument.section);
    instrument.single_line && section.is_none_or(|s| !s.rhythm)
}

/// Parts of the score as seats, in their order; the lead's leads.
fn of_parts(
    score: &Score,
    identities: &[Option<Identity<'_>>],
    lead: usize,
    parts: &[usize],
) -> Vec<Seat> {
    let catalogue = score.instruments.catalogue();
    let mut seats: Vec<(u8, Seat)> = parts
        .iter()
        .filter_map(|&at| {
            let (part, identity) = (score.parts.get(at)?, identities.get(at)?.as_ref()?);
            let role = if at == lead { Role::Leads } else { Role::Voice };
            let seat = Seat {
                name: part.name.clone(),
                instrument: catalogue.instrument(&identity.instrument.key)?,
                number: identity.seat.unwrap_or(1),
                role,
                place: 0,
            };
            // A house style may say who sits where.
            Some((part.seat.unwrap_or(u8::MAX), seat))
        })
        .collect();
    seats.sort_by_key(|(given, _)| *given);
    seats.into_iter().map(|(_, seat)| seat).collect()
}

/// What a section's name asks for.
enum Asked {
    /// A section of the table.
    Section(&'static Section),
    /// Players of several sections, by instrument key.
    Players(Vec<&'static str>),
}

fn asked(catalogue: &'static Catalogue, words: &str) -> Result<Asked, VoiceError> {
    let Some(called) = catalogue.section_called(words) else {
        let joined = ["horns", "brass", "woodwinds"];
        let names = catalogue.sections.iter().map(|s| s.name.as_str());
        return Err(VoiceError::NoSuchSection {
            found: words.to_owned(),
            help: meant(words, names.chain(joined)),
        });
    };
    if let Some(section) = called.section {
        if section.seats.is_empty() {
            return Err(VoiceError::NotVoiced(called.name));
        }
        return Ok(Asked::Section(section));
    }
    Ok(Asked::Players(match called.name.as_str() {
        "horns" => HORNS.to_vec(),
        "brass" => BRASS.to_vec(),
        "woodwinds" => WOODWINDS.to_vec(),
        name => joined(catalogue, name),
    }))
}

/// The players of a joined name: `clarinet and saxes`, `trumpets and trombones`, `oboes`.
fn joined(catalogue: &'static Catalogue, name: &str) -> Vec<&'static str> {
    let pieces: Vec<&str> = name.split(',').flat_map(|p| p.split(" and ")).collect();
    let pieces = pieces.iter().map(|p| p.trim()).filter(|p| !p.is_empty());
    let alone = pieces.clone().count() == 1;
    let mut keys: Vec<&'static str> = Vec::new();
    for piece in pieces {
        let one = piece.strip_suffix('s').unwrap_or(piece);
        let player = |text: &str| catalogue.instruments.iter().find(|i| i.name == text);
        if let Some(section) = catalogue.sections.iter().find(|s| s.name == piece) {
            // Under a leader from another section four play.
            let list = section.seats.iter().rfind(|l| l.len() <= 4);
            keys.extend(list.into_iter().flatten().map(String::as_str));
        } else if let Some(instrument) = player(piece) {
            keys.push(&instrument.key);
        } else if let Some(instrument) = player(one) {
            let count = if alone { 4 } else { 2 };
            keys.extend(std::iter::repeat_n(instrument.key.as_str(), count));
        }
    }
    keys
}

/// The list of seats that a section usually has, where the technique lets it; else the longest that does.
fn usual(section: &Section, technique: Technique) -> Vec<String> {
    let fits = |n: usize| match technique {
        Technique::Mechanical(m) => m.voices() == n,
        Technique::Form(f) => f.voices().contains(&n),
    };
    let mut lists = section.seats.iter();
    let mut ordinary: &[String] = lists.next().map_or(&[], Vec::as_slice);
    for list in lists {
        // A section grows to four; a fifth seat is usual only for another instrument.
        let new = list.last().is_some_and(|last| !ordinary.contains(last));
        if list.len() <= 4 || new {
            ordinary = list;
        }
    }
    if section.chordal || fits(ordinary.len()) {
        return ordinary.to_vec();
    }
    let longest = section.seats.iter().rev().find(|l| fits(l.len()));
    longest.map_or_else(|| ordinary.to_vec(), Clone::clone)
}

/// Seats of some instruments from the top, numbered where an instrument comes more than once.
fn numbered(instruments: impl Iterator<Item = &'static Instrument>) -> Vec<Seat> {
    let instruments: Vec<&'static Instrument> = instruments.collect();
    let mut seats: Vec<Seat> = Vec::new();
    for instrument in &instruments {
        let same = |other: &&Instrument| other.key == instrument.key;
        let number = seats.iter().filter(|s| same(&s.instrument)).count() as u8 + 1;
        let several = instruments.iter().filter(|i| same(i)).count() > 1;
        let mut name: String = short(instrument).to_owned();
        if name.is_empty() {
            instrument.name.clone_into(&mut name);
        }
        if several {
            name = format!("{name} {number}");
        }
        seats.push(Seat {
            name: capital(&name),
            instrument,
            number,
            role: Role::Voice,
            place: 0,
        });
    }
    seats
}

/// What a band calls the seat: "alto", "bass trombone".
fn short(instrument: &Instrument) -> &str {
    if instrument.is(Property::ShortName) {
        &instrument.label
    } else {
        &instrument.name
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(chars).collect()
    })
}
