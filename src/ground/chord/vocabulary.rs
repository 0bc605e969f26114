//! The chord vocabulary of `rules/chords.toml`.

use super::{Degree, Family};
use crate::ground::pitch::{NoteName, Pitch, PitchClass};
use serde::Deserialize;
use std::collections::{BTreeMap, HashMap};
use std::sync::LazyLock;

/// Which degrees beyond a chord's own may sound over it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tensions {
    /// May sound whenever the lead or a voice wants them.
    pub available: Vec<Degree>,
    /// May sound when the key or the melody calls for them.
    pub conditional: Vec<Degree>,
    /// Lie a half step above a chord note or undo what the chord is for.
    pub avoid: Vec<Degree>,
}

/// Where a dominant leads; it decides its tensions. Other chords take theirs whatever follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Leads {
    /// A fifth down to a major chord.
    ToMajor,
    /// A fifth down to a minor chord.
    ToMinor,
    /// A half step down: the substitute dominant.
    HalfStepDown,
    /// Nowhere: a blues, a chord that stays.
    Nowhere,
}

/// The tensions of a family of chords, for a dominant by where it leads.
pub fn tensions_leading(family: Family, leads: Leads) -> &'static Tensions {
    VOCABULARY
        .dominants
        .get(&(family, leads))
        .unwrap_or_else(|| tensions(family))
}

/// The tensions of a family of chords.
pub fn tensions(family: Family) -> &'static Tensions {
    static NONE: Tensions = Tensions {
        available: Vec::new(),
        conditional: Vec::new(),
        avoid: Vec::new(),
    };
    VOCABULARY.tensions.get(&family).unwrap_or(&NONE)
}

/// What the notes of a sonority make by themselves, from the top at sounding pitch: a quality of the
/// vocabulary that holds exactly these pitch classes, over the lowest note as its root if it can be,
/// else over the others from the top; `preferred` is the root that is tried before them all. `None`
/// when no quality does.
pub fn name_of(pitches: &[Pitch], preferred: Option<NoteName>) -> Option<String> {
    let mut classes: Vec<PitchClass> = pitches.iter().map(|p| p.class()).collect();
    classes.sort_unstable();
    classes.dedup();
    if classes.len() < 3 {
        return None;
    }
    let (bottom, upper) = pitches.split_last()?;
    let others = std::iter::once(bottom).chain(upper).map(|p| p.name());
    let mut roots = preferred.into_iter().chain(others);
    roots.find_map(|root| {
        let mut above: Vec<i16> = classes.iter().map(|c| c.above(root.class())).collect();
        above.sort_unstable();
        VOCABULARY
            .qualities
            .iter()
            .filter(|q| !q.altered && q.degrees.len() == above.len())
            .find(|q| {
                let mut own: Vec<i16> = q.degrees.iter().map(|d| d.semitones()).collect();
                own.sort_unstable();
                own == above
            })
            .map(|q| format!("{root}{}", q.text))
    })
}

/// The built-in vocabulary.
#[allow(
    clippy::expect_used,
    reason = "built-in data, proved by the test `the_built_in_data_is_sound`"
)]
pub(super) static VOCABULARY: LazyLock<Vocabulary> = LazyLock::new(|| {
    let table = include_str!(concat!(env!("OUT_DIR"), "/chords.json"));
    let file = serde_json::from_str(table).expect("built-in data");
    Vocabulary::of(file).expect("built-in data")
});

/// `rules/chords.toml` as it is read.
#[derive(Debug)]
pub(super) struct Vocabulary {
    /// Every spelling of every quality.
    pub spellings: Vec<Spelling>,
    /// The qualities, in the order of the file.
    pub qualities: Vec<Quality>,
    /// The words for "major".
    pub major: Vec<Vec<char>>,
    /// The altered degrees that may follow a quality.
    pub altered: Vec<Degree>,
    /// The numbers that may be added.
    pub added: Vec<u8>,
    /// The numbers that may be left out.
    pub omitted: Vec<u8>,
    /// MusicXML's kinds by name.
    pub kinds: HashMap<String, Kind>,
    tensions: BTreeMap<Family, Tensions>,
    dominants: BTreeMap<(Family, Leads), Tensions>,
}

/// One way to write a quality.
#[derive(Debug)]
pub(super) struct Spelling {
    /// Its characters; a space stands for any decoration or none.
    pub chars: Vec<char>,
    /// Index into the qualities.
    pub quality: usize,
}

/// A chord quality.
#[derive(Debug)]
pub(super) struct Quality {
    /// Its degrees, the root first.
    pub degrees: Vec<Degree>,
    /// Whether any altered tension may be added.
    pub altered: bool,
    /// How it is printed after a root.
    pub text: String,
}

/// One of MusicXML's kinds.
#[derive(Debug)]
pub(super) struct Kind {
    /// How it is printed after the root.
    pub text: String,
    /// The schema's set.
    pub degrees: Vec<Degree>,
    /// The set as it is played.
    pub played: Vec<Degree>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    words: BTreeMap<String, Vec<String>>,
    after: AfterRow,
    quality: Vec<QualityRow>,
    kind: Vec<KindRow>,
    tension: Vec<TensionRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AfterRow {
    altered: Vec<String>,
    added: Vec<u8>,
    omitted: Vec<u8>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct QualityRow {
    degrees: String,
    #[serde(default)]
    altered: bool,
    spellings: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct KindRow {
    value: String,
    text: String,
    degrees: String,
    played: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TensionRow {
    family: Family,
    leads: Option<Leads>,
    available: String,
    conditional: String,
    avoid: String,
}

/// Why a vocabulary could not be read.
#[derive(Debug, thiserror::Error)]
pub(super) enum VocabularyError {
    /// A degree nobody knows.
    #[error("`{0}` is not a degree: write a number 1 to 13 with b or # before it, such as b9")]
    Degree(String),
    /// A word list that is not there.
    #[error("`{{{0}}}` in a spelling names no list of [words]")]
    Word(String),
    /// One spelling for two qualities.
    #[error("`{0}` is given for two qualities: keep it with one of them")]
    Twice(String),
}

fn read_degrees(text: &str) -> Result<Vec<Degree>, VocabularyError> {
    text.split_whitespace()
        .map(|d| Degree::read(d).ok_or_else(|| VocabularyError::Degree(d.to_owned())))
        .collect()
}

/// Every spelling a template such as `{minor}7` stands for.
fn expand(
    template: &str,
    words: &BTreeMap<String, Vec<String>>,
) -> Result<Vec<String>, VocabularyError> {
    let mut all = vec![String::new()];
    let mut rest = template;
    while let Some((before, after)) = rest.split_once('{') {
        let unknown = || VocabularyError::Word(after.to_owned());
        let (name, tail) = after.split_once('}').ok_or_else(unknown)?;
        let list = words
            .get(name)
            .ok_or_else(|| VocabularyError::Word(name.to_owned()))?;
        all = all
            .iter()
            .flat_map(|head| list.iter().map(move |w| format!("{head}{before}{w}")))
            .collect();
        rest = tail;
    }
    for spelling in &mut all {
        spelling.push_str(rest);
    }
    Ok(all)
}

impl Vocabulary {
    fn of(file: File) -> Result<Self, VocabularyError> {
        let mut spellings: Vec<Spelling> = Vec::new();
        let mut owners: HashMap<String, usize> = HashMap::new();
        let mut qualities = Vec::with_capacity(file.quality.len());
        for (quality, row) in file.quality.iter().enumerate() {
            let mut text = None;
            for template in &row.spellings {
                for spelling in expand(template, &file.words)? {
                    text.get_or_insert_with(|| spelling.replace(' ', ""));
                    match owners.get(&spelling) {
                        Some(&owner) if owner != quality => {
                            return Err(VocabularyError::Twice(spelling));
                        }
                        Some(_) => {}
                        None => {
                            spellings.push(Spelling {
                                chars: spelling.chars().collect(),
                                quality,
                            });
                            owners.insert(spelling, quality);
                        }
                    }
                }
            }
            qualities.push(Quality {
                degrees: read_degrees(&row.degrees)?,
                altered: row.altered,
                text: text.unwrap_or_default(),
            });
        }
        let mut kinds = HashMap::with_capacity(file.kind.len());
        for row in file.kind {
            let degrees = read_degrees(&row.degrees)?;
            let played = match &row.played {
                Some(played) => read_degrees(played)?,
                None => degrees.clone(),
            };
            let text = row.text;
            kinds.insert(
                row.value,
                Kind {
                    text,
                    degrees,
                    played,
                },
            );
        }
        let mut tensions = BTreeMap::new();
        let mut dominants = BTreeMap::new();
        for row in &file.tension {
            let read = Tensions {
                available: read_degrees(&row.available)?,
                conditional: read_degrees(&row.conditional)?,
                avoid: read_degrees(&row.avoid)?,
            };
            match row.leads {
                Some(leads) => dominants.insert((row.family, leads), read),
                None => tensions.insert(row.family, read),
            };
        }
        let mut major: Vec<Vec<char>> = file
            .words
            .get("major")
            .ok_or_else(|| VocabularyError::Word("major".to_owned()))?
            .iter()
            .map(|w| w.chars().collect())
            .collect();
        // The longest first, so that "maj" is not read as "ma" and a stray "j".
        major.sort_by_key(|w| std::cmp::Reverse(w.len()));
        Ok(Self {
            spellings,
            qualities,
            major,
            altered: read_degrees(&file.after.altered.join(" "))?,
            added: file.after.added,
            omitted: file.after.omitted,
            kinds,
            tensions,
            dominants,
        })
    }

    /// How the quality with exactly these degrees is printed.
    pub fn text_of(&self, degrees: &[Degree]) -> Option<&str> {
        self.qualities
            .iter()
            .find(|q| !q.altered && q.degrees == degrees)
            .map(|q| q.text.as_str())
    }

    /// Ways to print these degrees as a quality with additions and omissions, from the quality
    /// that is least far from them on.
    pub fn nearest_texts(&self, degrees: &[Degree]) -> Vec<String> {
        let mut ways: Vec<(usize, String)> = self
            .qualities
            .iter()
            .filter(|q| !q.altered)
            .map(|q| {
                let beyond = degrees.iter().filter(|d| !q.degrees.contains(d));
                let lacking = q.degrees.iter().filter(|d| !degrees.contains(d));
                let omitted = lacking.clone().map(|d| format!("no{}", d.number));
                let added = beyond.clone().map(|d| match d.alter {
                    0 => format!("add{}", d.number),
                    _ => d.to_string(),
                });
                // Omissions first: they take every form of their number away.
                let changes: Vec<String> = omitted.chain(added).collect();
                let cost = 2 * lacking.count() + beyond.count();
                (cost, format!("{}({})", q.text, changes.join(",")))
            })
            .collect();
        ways.sort_by_key(|(cost, _)| *cost);
        ways.into_iter().map(|(_, text)| text).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::chord::symbol;

    #[test]
    fn the_built_in_data_is_sound() {
        let file = toml::from_str(include_str!("../../../rules/chords.toml")).unwrap();
        let v = Vocabulary::of(file).unwrap();
        assert_eq!(v.kinds.len(), 33, "MusicXML 4.0 has 33 kinds");
        let sets = v.qualities.iter().map(|q| &q.degrees);
        let kinds = v.kinds.iter().filter(|(k, _)| *k != "none");
        for set in sets.chain(kinds.map(|(_, k)| &k.played)) {
            assert_eq!(set.first(), Some(&Degree::new(1, 0)), "{set:?}");
            let mut sorted = set.clone();
            sorted.sort_unstable();
            assert_eq!(&sorted, set);
        }
    }

    #[test]
    fn every_spelling_reads_as_its_own_quality() {
        for s in &VOCABULARY.spellings {
            let text: String = s.chars.iter().collect();
            let quality = &VOCABULARY.qualities[s.quality];
            // Bare alterations need their gap filled: `C#5` is another root.
            let symbol = match text.strip_prefix(' ') {
                Some(tail) => format!("C({tail})"),
                None => format!("C{text}"),
            };
            let read = symbol::parse(&symbol).unwrap().unwrap();
            assert_eq!(read.degrees, quality.degrees, "{symbol}");
            assert_eq!(read.altered, quality.altered, "{symbol}");
            for gap in ["", "(", ", "] {
                let filled = format!("C{}", text.replace(' ', gap));
                if text.starts_with(' ') {
                    continue;
                }
                let read = symbol::parse(&filled).unwrap().unwrap();
                assert_eq!(read.degrees, quality.degrees, "{filled}");
            }
        }
    }

    #[test]
    fn data_that_is_wrong_is_refused_by_name() {
        let data = include_str!("../../../rules/chords.toml");
        let broken = |from: &str, to: &str| {
            assert!(data.contains(from), "{from}");
            let file: Result<File, _> = toml::from_str(&data.replacen(from, to, 1));
            let read = file.map_err(|e| e.to_string());
            let read = read.and_then(|file| Vocabulary::of(file).map_err(|e| e.to_string()));
            read.unwrap_err()
        };
        assert!(broken("degrees = \"1 b3 5\"", "degrees = \"1 b3 h5\"").contains("`h5`"));
        assert!(broken("[\"{minor}\"]", "[\"{minro}\"]").contains("minro"));
        assert!(broken("[\"{minor}\"]", "[\"dom7\"]").contains("`dom7`"));
        assert!(broken("[after]", "[behind]").contains("behind"));
    }

    #[test]
    fn every_family_has_its_tensions() {
        use Family as F;
        let all = [
            F::MajorTriad,
            F::MinorTriad,
            F::AugmentedTriad,
            F::DiminishedTriad,
            F::SuspendedTriad,
            F::Sixth,
            F::MinorSixth,
            F::MajorSeventh,
            F::MinorMajor,
            F::Dominant,
            F::DominantSuspended,
            F::Altered,
            F::MinorSeventh,
            F::HalfDiminished,
            F::DiminishedSeventh,
            F::DiminishedMajor,
            F::Other,
        ];
        assert_eq!(VOCABULARY.tensions.len(), all.len());
        for family in all {
            let t = VOCABULARY.tensions.get(&family).unwrap();
            for d in t.available.iter().chain(&t.conditional) {
                assert!(!t.avoid.contains(d), "{family:?} {d}");
            }
        }
        // Published: harmony course cards.
        let nine = Degree::new(9, 0);
        for family in [F::Sixth, F::MinorSixth, F::MajorSeventh, F::MinorSeventh] {
            assert!(tensions(family).available.contains(&nine), "{family:?}");
        }
        assert!(tensions(F::Sixth).avoid.contains(&Degree::new(11, 0)));
        assert!(
            tensions(F::MinorSeventh)
                .conditional
                .contains(&Degree::new(13, 0))
        );
    }

    #[test]
    fn a_half_step_above_a_chord_tone_is_no_tension_except_on_dominants() {
        // Published: harmony course as quoted in its cards.
        for (symbol, family) in [
            ("C6", Family::Sixth),
            ("Cm6", Family::MinorSixth),
            ("Cmaj7", Family::MajorSeventh),
            ("CmM7", Family::MinorMajor),
            ("Cm7", Family::MinorSeventh),
            ("Cm7b5", Family::HalfDiminished),
            ("Cdim7", Family::DiminishedSeventh),
        ] {
            let chord = symbol::parse(symbol).unwrap().unwrap();
            assert_eq!(chord.family(), family);
            for t in &tensions(family).available {
                let clash = chord
                    .degrees
                    .iter()
                    .any(|d| (d.semitones() + 1).rem_euclid(12) == t.semitones());
                assert!(!clash, "{t} over {symbol}");
            }
        }
    }
}
