//! What one part may be by itself.

use super::Evidence;
use crate::ground::instrument::{Catalogue, Instrument, Property, seat_in};
use crate::score::{Clef, Note, NoteFlags, Part};

/// What a part may be.
#[derive(Clone, Debug)]
pub(super) struct Case {
    /// The instruments that are left, as indices in order; never empty.
    pub(super) left: Vec<usize>,
    /// Its name is shared by horns and voices.
    pub(super) bare: bool,
    /// 1-based.
    pub(super) seat: Option<u8>,
    pub(super) evidence: Vec<Evidence>,
}

/// Keeps the instruments for which `test` holds, or all when it holds for none. Whether that left fewer.
pub(super) fn keep(
    catalogue: &Catalogue,
    left: &mut Vec<usize>,
    test: impl Fn(&Instrument) -> bool,
) -> bool {
    let kept: Vec<usize> = left
        .iter()
        .copied()
        .filter(|&i| catalogue.instruments.get(i).is_some_and(&test))
        .collect();
    let fewer = !kept.is_empty() && kept.len() < left.len();
    if fewer {
        *left = kept;
    }
    fewer
}

/// What the part may be by its names and its sound.
pub(super) fn case(catalogue: &Catalogue, part: &Part) -> Option<Case> {
    // The reader knows it outright; the name only gives the seat.
    if let Some(key) = &part.instrument
        && let Some(index) = catalogue.instruments.iter().position(|i| i.key == *key)
    {
        return Some(Case {
            left: vec![index],
            bare: false,
            seat: seat_in(&part.name),
            evidence: vec![Evidence::File],
        });
    }
    let mut case = by_name(catalogue, part)
        .or_else(|| by_lyrics(catalogue, part))
        .or_else(|| by_other_names(catalogue, part))
        .or_else(|| {
            let sound = part.sound.as_deref()?;
            let left = with_sound(catalogue, sound);
            (!left.is_empty()).then(|| Case {
                left,
                bare: false,
                seat: None,
                evidence: vec![Evidence::Sound(sound.to_owned())],
            })
        })?;
    // "Instrument 7" counts instruments of the file, not seats.
    let own = part
        .instrument_name
        .as_deref()
        .filter(|name| catalogue.match_text(name).is_some());
    let texts = [Some(part.name.as_str()), own, part.abbreviation.as_deref()];
    case.seat = case
        .seat
        .or_else(|| texts.into_iter().flatten().find_map(seat_in));
    Some(case)
}

fn named(catalogue: &Catalogue, text: &str) -> Option<(Case, Vec<usize>)> {
    let found = catalogue.match_text(text)?;
    Some((
        Case {
            left: found.candidates,
            bare: found.bare,
            seat: found.seat,
            evidence: vec![Evidence::Name(text.to_owned())],
        },
        found.sung,
    ))
}

/// By the name that is printed. "Alto 1" is settled by an instrument name that says which alto.
fn by_name(catalogue: &Catalogue, part: &Part) -> Option<Case> {
    let (mut case, sung) = named(catalogue, &part.name)?;
    if !sung.is_empty() && is_sung(part) {
        case.left = sung;
        case.evidence.extend(Evidence::lyrics(part));
        return Some(case);
    }
    let sings = is_sung(part) && !transposes(part);
    let others = [
        part.instrument_name.as_deref(),
        part.abbreviation.as_deref(),
    ];
    for text in others.into_iter().flatten() {
        let open = case.bare && !sings;
        let Some((other, _)) = named(catalogue, text).filter(|(o, _)| open && !o.bare) else {
            continue;
        };
        let both: Vec<usize> = case
            .left
            .iter()
            .copied()
            .filter(|i| other.left.contains(i))
            .collect();
        if !both.is_empty() {
            case.left = both;
            case.bare = false;
            case.evidence.extend(other.evidence);
        } else if keep(catalogue, &mut case.left, |i| {
            other.left.iter().any(|&o| {
                catalogue
                    .instruments
                    .get(o)
                    .is_some_and(|o| o.section == i.section)
            })
        }) {
            case.evidence.extend(other.evidence);
        }
    }
    Some(case)
}

/// A part with words under its notes and a name that says nothing: a role, "Melody".
fn by_lyrics(catalogue: &Catalogue, part: &Part) -> Option<Case> {
    let chords = part
        .notes
        .iter()
        .filter(|n| n.flags.has(NoteFlags::CHORD_MEMBER));
    let voice = singer(catalogue)?;
    let range = catalogue.instruments.get(voice)?.range.possible;
    let sings = |n: &Note| (range.0.midi()..=range.1.midi()).contains(&n.sounding.midi());
    // Words under chords are those of an analysis, words over a melody of an orchestra its themes.
    if !is_text(part)
        || transposes(part)
        || chords.count() * 10 > part.notes.len()
        || !part.notes.iter().all(sings)
    {
        return None;
    }
    let mut case = Case {
        left: vec![voice],
        bare: false,
        seat: None,
        evidence: Evidence::lyrics(part).into_iter().collect(),
    };
    // Which voice, where the file gives it one.
    let sings = |i: &usize| {
        catalogue
            .instruments
            .get(*i)
            .is_some_and(|i| i.is(Property::Choir) && !i.is(Property::OldVoice))
    };
    let finer = part
        .instrument_name
        .as_deref()
        .and_then(|text| named(catalogue, text));
    if let Some((mut other, _)) = finer {
        other.left.retain(sings);
        if !other.left.is_empty() {
            case.left = other.left;
            case.evidence.extend(other.evidence);
            return Some(case);
        }
    }
    if let Some(sound) = &part.sound {
        let left: Vec<usize> = with_sound(catalogue, sound)
            .into_iter()
            .filter(sings)
            .collect();
        if !left.is_empty() {
            case.left = left;
            case.evidence.push(Evidence::Sound(sound.clone()));
        }
    }
    Some(case)
}

/// By the name of the instrument in the file, then by the short name.
fn by_other_names(catalogue: &Catalogue, part: &Part) -> Option<Case> {
    [
        part.instrument_name.as_deref(),
        part.abbreviation.as_deref(),
    ]
    .into_iter()
    .flatten()
    .find_map(|text| named(catalogue, text))
    .map(|(case, _)| case)
}

/// The instrument that stands for any voice.
pub(super) fn singer(catalogue: &Catalogue) -> Option<usize> {
    let sings = |i: &Instrument| i.sounds.iter().any(|s| s == "voice");
    catalogue.instruments.iter().position(sings)
}

/// Words stand under so many of the notes that someone sings them: melismas have few, words of an
/// analysis still fewer.
pub(super) fn is_sung(part: &Part) -> bool {
    part.lyrics as usize * 5 >= part.notes.len() && part.lyrics > 1
}

/// Words stand under most notes.
pub(super) fn is_text(part: &Part) -> bool {
    part.lyrics as usize * 2 >= part.notes.len() && part.lyrics > 7
}

/// Whether the part is written in another key than it sounds.
pub(super) fn transposes(part: &Part) -> bool {
    part.transpositions
        .iter()
        .any(|t| t.value.chromatic.rem_euclid(12) != 0)
}

/// Whether the part says that it adds this many semitones to written pitch.
pub(super) fn states(part: &Part, semitones: i16) -> bool {
    part.transpositions
        .first()
        .is_some_and(|t| t.value.chromatic == semitones)
}

/// The clef of the part where it is one for tenors and basses.
pub(super) fn low_clef(part: &Part) -> Option<Clef> {
    let clef = part.clefs.first()?.value;
    (clef.sign == 'F' || clef.sign == 'G' && clef.octave < 0).then_some(clef)
}

/// Keeps the instruments that read the clef, among those that transpose alike.
pub(super) fn by_clef(catalogue: &Catalogue, part: &Part, case: &mut Case) {
    let Some(clef) = part.clefs.first().map(|c| c.value) else {
        return;
    };
    let get = |i: &usize| catalogue.instruments.get(*i);
    let mut left = case.left.iter().filter_map(get);
    let first = left.next().map(|i| i.transposition);
    if left.any(|i| Some(i.transposition) != first) {
        return;
    }
    let reads = |i: &Instrument| i.clefs.iter().any(|c| c.starts_with(clef.sign));
    if keep(catalogue, &mut case.left, reads) {
        case.evidence.push(Evidence::Clef(clef));
    }
}

/// How many notes of a part are looked at for its range.
const SAMPLE: usize = 120;

/// Keeps the instruments that have nearly all notes of the part.
pub(super) fn by_range(catalogue: &Catalogue, part: &Part, case: &mut Case) {
    if case.left.len() < 2 || part.notes.is_empty() {
        return;
    }
    let step = part.notes.len().div_ceil(SAMPLE).max(1);
    let heard: Vec<&Note> = part
        .notes
        .iter()
        .step_by(step)
        .filter(|n| n.sounds())
        .collect();
    let has = |i: &Instrument| {
        if !i.range.is_known() {
            return false;
        }
        let (low, high) = i.range.possible;
        let own = i.transposition.chromatic;
        let range = low.midi() + own..=high.midi() + own;
        let inside = heard
            .iter()
            .filter(|n| range.contains(&n.sounding.midi()))
            .count();
        inside * 20 >= heard.len() * 19
    };
    // The usual instrument stays where it has the notes.
    let first = case
        .left
        .first()
        .and_then(|&i| catalogue.instruments.get(i));
    if first.is_none_or(has) {
        return;
    }
    if keep(catalogue, &mut case.left, has) {
        let low = heard.iter().map(|n| n.sounding).min_by_key(|p| p.midi());
        let high = heard.iter().map(|n| n.sounding).max_by_key(|p| p.midi());
        let range = low.zip(high);
        case.evidence
            .extend(range.map(|(low, high)| Evidence::WrittenRange(low, high)));
    }
}

/// Keeps the instruments that the sound id stands for, or whose section it is of. Whether that left
/// fewer. Files keep a default sound such as a piano's, so one that fits none says nothing.
pub(super) fn by_sound(catalogue: &Catalogue, part: &Part, case: &mut Case) -> bool {
    let Some(sound) = part.sound.as_deref() else {
        return false;
    };
    let exact = with_sound(catalogue, sound);
    let kept: Vec<usize> = case
        .left
        .iter()
        .copied()
        .filter(|i| exact.contains(i))
        .collect();
    let fewer = if kept.is_empty() {
        let section = section_of_sound(catalogue, sound, &exact);
        // "Bass" with `wind.reed.saxophone.bass`.
        let last = sound.rsplit('.').next();
        let label = |i: &usize| catalogue.instruments.get(*i).map(|i| i.label.as_str());
        if section.is_some_and(|s| keep(catalogue, &mut case.left, |i| i.section == s)) {
            true
        } else if case.bare && !exact.is_empty() && case.left.iter().any(|i| label(i) == last) {
            case.left = exact;
            true
        } else {
            false
        }
    } else {
        let fewer = kept.len() < case.left.len();
        case.left = kept;
        fewer
    };
    if fewer {
        case.evidence.push(Evidence::Sound(sound.to_owned()));
    }
    fewer
}

/// The section of a sound id, also where only the beginning of the id is known.
fn section_of_sound<'a>(catalogue: &'a Catalogue, sound: &str, exact: &[usize]) -> Option<&'a str> {
    let one = |mut sections: Box<dyn Iterator<Item = &'a str> + '_>| {
        let first = sections.next()?;
        sections.all(|s| s == first).then_some(first)
    };
    if !exact.is_empty() {
        let known = exact.iter().filter_map(|&i| catalogue.instruments.get(i));
        return one(Box::new(known.map(|i| i.section.as_str())));
    }
    let (mut rest, _) = sound.rsplit_once('.')?;
    loop {
        let within = |known: &String| {
            known
                .strip_prefix(rest)
                .is_some_and(|r| r.is_empty() || r.starts_with('.'))
        };
        let known = catalogue
            .instruments
            .iter()
            .filter(|i| i.sounds.iter().any(within));
        let sections: Vec<&str> = known.map(|i| i.section.as_str()).collect();
        if !sections.is_empty() {
            return one(Box::new(sections.into_iter()));
        }
        rest = rest.rsplit_once('.')?.0;
    }
}

/// The instruments that a MusicXML sound id may stand for.
fn with_sound(catalogue: &Catalogue, sound: &str) -> Vec<usize> {
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
