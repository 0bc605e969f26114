//! The chord vocabulary of `rules/chords.toml` and MusicXML's kinds.

use super::{Chord, Degree, Family, symbol};
use crate::ground::pitch::{NoteName, Pitch, PitchClass};
use serde::Deserialize;
use std::collections::{BTreeMap, HashMap};
use std::sync::LazyLock;

/// What a MusicXML `<degree>` does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DegreeEdit {
    /// Adds a degree, counted against a dominant chord.
    Add,
    /// Alters a degree the kind has.
    Alter,
    /// Takes a degree away.
    Subtract,
}

/// A MusicXML `<degree>`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct DegreeChange {
    /// What it does.
    pub edit: DegreeEdit,
    /// `degree-value`.
    pub number: u8,
    /// `degree-alter` in semitones.
    pub alter: i8,
}

/// A kind or a degree of it that the vocabulary lacks; holds the whole sentence.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct KindError(pub String);

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
    Vocabulary::read(include_str!("../../../rules/chords.toml")).expect("built-in data")
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
    kinds: HashMap<String, Kind>,
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
struct Kind {
    text: String,
    /// The schema's set.
    degrees: Vec<Degree>,
    /// The set as it is played.
    played: Vec<Degree>,
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
    /// Not TOML, or not this file's tables.
    #[error(transparent)]
    Toml(#[from] toml::de::Error),
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
    fn read(text: &str) -> Result<Self, VocabularyError> {
        let file: File = toml::from_str(text)?;
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
    fn text_of(&self, degrees: &[Degree]) -> Option<&str> {
        self.qualities
            .iter()
            .find(|q| !q.altered && q.degrees == degrees)
            .map(|q| q.text.as_str())
    }

    /// Ways to print these degrees as a quality with additions and omissions, from the quality
    /// that is least far from them on.
    fn nearest_texts(&self, degrees: &[Degree]) -> Vec<String> {
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

/// The degrees of a chord while it is being read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct DegreeSet(Vec<Degree>);

impl DegreeSet {
    pub fn new(degrees: &[Degree]) -> Self {
        Self(degrees.to_vec())
    }

    pub fn has(&self, number: u8, alter: i8) -> bool {
        self.0.contains(&Degree::new(number, alter))
    }

    pub fn has_number(&self, number: u8) -> bool {
        self.0.iter().any(|d| d.number == number)
    }

    pub fn insert(&mut self, degree: Degree) {
        if !self.0.contains(&degree) {
            self.0.push(degree);
        }
    }

    pub fn remove(&mut self, degree: Degree) {
        self.0.retain(|d| *d != degree);
    }

    pub fn remove_number(&mut self, number: u8) {
        self.0.retain(|d| d.number != number);
    }

    /// Puts an altered degree in, in place of its natural; a b9 beside a #9 stays.
    pub fn alter(&mut self, degree: Degree) {
        if degree.alter != 0 {
            self.remove(Degree::new(degree.number, 0));
        }
        self.insert(degree);
    }

    /// Puts a fourth (or a second) in place of the third.
    pub fn suspend(&mut self, number: u8) {
        self.remove_number(3);
        self.insert(Degree::new(number, 0));
    }

    /// The degrees in order, under the names they go by: a second beside a third is a ninth, a
    /// fourth beside a third an eleventh, a sixth beside a seventh a thirteenth.
    pub fn finish(mut self) -> Vec<Degree> {
        let third = self.has(3, 0) || self.has(3, -1);
        let seventh = self.has(7, 0) || self.has(7, -1);
        for d in &mut self.0 {
            let compound = match d.number {
                2 | 4 => third && d.alter == 0,
                6 => seventh,
                _ => false,
            };
            if compound {
                d.number += 7;
            }
        }
        self.0.sort_unstable();
        self.0.dedup();
        self.0
    }
}

/// Builds a chord from MusicXML's `<kind>` value, its `text` attribute and its degrees; `Ok(None)`
/// is the kind `none`. `root` and `bass` may be at written or sounding pitch; the chord is at the
/// same.
pub fn from_kind(
    root: NoteName,
    kind: &str,
    text: Option<&str>,
    degrees: &[DegreeChange],
    bass: Option<NoteName>,
) -> Result<Option<Chord>, KindError> {
    let value = kind.trim();
    if value == "none" {
        return Ok(None);
    }
    let Some(found) = VOCABULARY.kinds.get(value) else {
        return Err(unknown_kind(value));
    };
    let changes = degrees
        .iter()
        .map(|c| in_compass(value, *c))
        .collect::<Result<Vec<_>, _>>()?;
    let text = text.map(str::trim).filter(|t| !t.is_empty());

    if text.is_some_and(|t| t.to_lowercase().contains("alt")) {
        // Files write arbitrary degrees beside "alt"; what is meant is the altered set.
        let degrees = [(1, 0), (3, 0), (7, -1)].map(|(n, a)| Degree::new(n, a));
        return Ok(Some(Chord {
            root,
            bass,
            degrees: degrees.to_vec(),
            altered: true,
            text: print(root, text.unwrap_or_default(), bass),
        }));
    }

    let by_text = text.and_then(|t| symbol::parse(&format!("{root}{t}")).ok().flatten());
    if let (Some(read), true) = (&by_text, changes.is_empty()) {
        // The kind is too poor for what the text says: only then is the text believed.
        let suspended =
            found.played.contains(&Degree::new(3, 0)) || found.played.contains(&Degree::new(4, 0));
        let says_sus = suspended
            && matches!(
                read.family(),
                Family::DominantSuspended | Family::SuspendedTriad
            )
            && text.is_some_and(|t| t.to_lowercase().contains("sus"));
        if value == "other" || says_sus {
            return Ok(Some(Chord {
                root,
                bass,
                degrees: read.degrees.clone(),
                altered: read.altered,
                text: print(root, text.unwrap_or_default(), bass),
            }));
        }
    }

    // Who edits the third or the eleventh of an eleventh chord counts on the schema's set.
    let schema = value == "dominant-11th" && changes.iter().any(|c| matches!(c.number, 3 | 11));
    let base = if schema {
        &found.degrees
    } else {
        &found.played
    };
    let mut set = DegreeSet::new(base);
    for c in &changes {
        apply(&mut set, base, *c);
    }
    let touches_third = changes.iter().any(|c| matches!(c.number, 2 | 3 | 4 | 11));
    if !touches_third && set.has_number(3) && text.is_some_and(|t| t.to_lowercase().contains("sus"))
    {
        set.suspend(4);
    }
    let degrees = set.finish();

    let reads = |tail: &str| matches!(symbol::parse(&format!("{root}{tail}")), Ok(Some(c)) if c.degrees == degrees);
    let printed = match text {
        Some(t) => {
            // The text may leave the degrees to be printed after it, or may hold them already.
            let spelled = spell(t, &changes);
            if !reads(t) && reads(&spelled) {
                spelled
            } else {
                t.to_owned()
            }
        }
        None if changes.is_empty() => found.text.clone(),
        None => {
            let spelled = spell(&found.text, &changes);
            match VOCABULARY.text_of(&degrees) {
                Some(text) => text.to_owned(),
                None if reads(&spelled) => spelled,
                None => VOCABULARY
                    .nearest_texts(&degrees)
                    .into_iter()
                    .find(|t| reads(t))
                    .unwrap_or(spelled),
            }
        }
    };
    Ok(Some(Chord {
        root,
        bass,
        degrees,
        altered: false,
        text: print(root, &printed, bass),
    }))
}

fn unknown_kind(value: &str) -> KindError {
    let near = VOCABULARY
        .kinds
        .keys()
        .map(|k| (strsim::jaro_winkler(&value.to_lowercase(), k), k))
        .filter(|(score, _)| *score > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0).then_with(|| b.1.cmp(a.1)));
    let advice = match near {
        Some((_, k)) => format!("the nearest is `{k}`"),
        None => "write `other` and give the chord's degrees".to_owned(),
    };
    let shown: String = value.chars().take(40).collect();
    KindError(format!(
        "`{shown}` is not a chord kind of MusicXML 4.0; {advice}"
    ))
}

/// The change with its number brought within 1 to 13.
fn in_compass(kind: &str, change: DegreeChange) -> Result<DegreeChange, KindError> {
    let number = match change.number {
        // Octaves and compounds that have no name of their own.
        8 => 1,
        10 => 3,
        12 => 5,
        n @ 1..=13 => n,
        n => {
            return Err(KindError(format!(
                "the degree {n} of a `{kind}` chord is not one of 1 to 13: write the degree within them"
            )));
        }
    };
    if number == 1 && change.alter != 0 {
        return Err(KindError(format!(
            "the root of a `{kind}` chord is altered by {} semitones: write the altered note as \
             `root-step` and `root-alter`",
            change.alter
        )));
    }
    if !(-2..=2).contains(&change.alter) {
        return Err(KindError(format!(
            "the degree {} of a `{kind}` chord is altered by {} semitones: write -2 to 2",
            change.number, change.alter
        )));
    }
    Ok(DegreeChange { number, ..change })
}

/// What an added degree is: counted against a dominant chord, whose seventh is minor.
fn added(number: u8, alter: i8) -> Degree {
    Degree::new(number, if number == 7 { alter - 1 } else { alter })
}

fn apply(set: &mut DegreeSet, base: &[Degree], change: DegreeChange) {
    let DegreeChange {
        edit,
        number,
        alter,
    } = change;
    match edit {
        DegreeEdit::Subtract => {
            // The root names the chord whether it sounds or not.
            if number != 1 {
                set.remove_number(number);
            }
        }
        DegreeEdit::Alter => match base.iter().find(|d| d.number == number) {
            Some(&old) if number != 1 => {
                set.remove(old);
                let relative = Degree::new(number, old.alter + alter);
                // A fifth raised twice was raised by the kind already: such files write the
                // degree as it ends up.
                let sane =
                    (-1..=1).contains(&relative.alter) || (number, relative.alter) == (7, -2);
                set.insert(usual(if sane { relative } else { added(number, alter) }));
            }
            // Files alter degrees that the kind lacks: what is meant is to add them.
            _ => add(set, base, added(number, alter)),
        },
        DegreeEdit::Add => add(set, base, added(number, alter)),
    }
}

/// Adds a degree. An altered fifth, ninth, eleventh or thirteenth takes the place of the natural
/// that the kind brought along: nobody plays both.
fn add(set: &mut DegreeSet, base: &[Degree], degree: Degree) {
    if matches!(degree.number, 5 | 9 | 11 | 13)
        && base.contains(&Degree::new(degree.number, 0))
        && degree.alter != 0
    {
        set.alter(usual(degree));
    } else {
        set.insert(usual(degree));
    }
}

/// Altered seconds and fourths under the names tensions go by.
pub(super) fn usual(degree: Degree) -> Degree {
    match (degree.number, degree.alter) {
        (2, -1 | 1) | (4, 1) => Degree::new(degree.number + 7, degree.alter),
        _ => degree,
    }
}

/// A quality's text with the changes spelled out after it.
fn spell(text: &str, changes: &[DegreeChange]) -> String {
    let pieces: Vec<String> = changes
        .iter()
        .map(|c| match c.edit {
            DegreeEdit::Subtract => format!("no{}", c.number),
            DegreeEdit::Add if c.number == 7 && c.alter == 1 => "maj7".to_owned(),
            DegreeEdit::Add if c.alter == 0 => format!("add{}", c.number),
            _ => Degree::new(c.number, c.alter).to_string(),
        })
        .collect();
    if pieces.is_empty() {
        return text.to_owned();
    }
    // Alone after a root, `b5` would be read as the root's accidental.
    if text.is_empty() || pieces.len() > 1 {
        format!("{text}({})", pieces.join(","))
    } else {
        format!("{text}{}", pieces.concat())
    }
}

fn print(root: NoteName, text: &str, bass: Option<NoteName>) -> String {
    match bass {
        Some(b) => format!("{root}{text}/{b}"),
        None => format!("{root}{text}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::pitch::Step;

    const C: NoteName = NoteName::new(Step::C, 0);

    const fn change(edit: DegreeEdit, number: u8, alter: i8) -> DegreeChange {
        DegreeChange {
            edit,
            number,
            alter,
        }
    }

    const fn plus(number: u8, alter: i8) -> DegreeChange {
        change(DegreeEdit::Add, number, alter)
    }

    const fn altered(number: u8, alter: i8) -> DegreeChange {
        change(DegreeEdit::Alter, number, alter)
    }

    const fn minus(number: u8) -> DegreeChange {
        change(DegreeEdit::Subtract, number, 0)
    }

    fn built(kind: &str, text: Option<&str>, changes: &[DegreeChange]) -> Chord {
        from_kind(C, kind, text, changes, None).unwrap().unwrap()
    }

    fn degrees(chord: &Chord) -> String {
        let all: Vec<String> = chord.degrees.iter().map(ToString::to_string).collect();
        all.join(" ")
    }

    #[test]
    fn the_built_in_data_is_sound() {
        let v = Vocabulary::read(include_str!("../../../rules/chords.toml")).unwrap();
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
            Vocabulary::read(&data.replacen(from, to, 1))
                .unwrap_err()
                .to_string()
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

    #[test]
    fn added_degrees_count_against_a_dominant() {
        // Published: MusicXML 4.0 schema; the #9 is its author's own example (format issue 369).
        let c = built("dominant", None, &[plus(9, 1)]);
        assert_eq!(
            (degrees(&c).as_str(), c.text.as_str()),
            ("1 3 5 b7 #9", "C7#9")
        );
        assert_eq!(degrees(&built("major", None, &[plus(7, 0)])), "1 3 5 b7");
        assert_eq!(degrees(&built("major", None, &[plus(7, 1)])), "1 3 5 7");
        let sus = built("suspended-fourth", None, &[plus(7, 0)]);
        assert_eq!(
            (degrees(&sus).as_str(), sus.text.as_str()),
            ("1 4 5 b7", "C7sus4")
        );
        let six_nine = built("major-sixth", None, &[plus(9, 0)]);
        assert_eq!(
            (degrees(&six_nine).as_str(), six_nine.text.as_str()),
            ("1 3 5 6 9", "C6/9")
        );
    }

    #[test]
    fn altered_degrees_count_against_the_kind() {
        // Published: MusicXML 4.0 schema.
        let c = built("dominant", None, &[altered(5, -1)]);
        assert_eq!(
            (degrees(&c).as_str(), c.text.as_str()),
            ("1 3 b5 b7", "C7b5")
        );
        assert_eq!(
            degrees(&built("dominant-13th", None, &[altered(9, -1)])),
            "1 3 5 b7 b9 13"
        );
        assert_eq!(
            degrees(&built("dominant", None, &[altered(7, 1)])),
            "1 3 5 7"
        );
        // The kind has it already. common practice, no source
        assert_eq!(
            degrees(&built("augmented-seventh", None, &[altered(5, 1)])),
            "1 3 #5 b7"
        );
        // Missing from the kind, so added. common practice, no source
        assert_eq!(
            degrees(&built("dominant", None, &[altered(9, -1), altered(11, 1)])),
            "1 3 5 b7 b9 #11"
        );
        assert_eq!(
            degrees(&built("dominant-13th", None, &[altered(11, 1)])),
            "1 3 5 b7 9 #11 13"
        );
    }

    #[test]
    fn degrees_are_taken_away_but_never_the_root() {
        let c = built("dominant", None, &[minus(3), minus(5)]);
        assert_eq!(
            (degrees(&c).as_str(), c.text.as_str()),
            ("1 b7", "C7(no3,no5)")
        );
        assert_eq!(degrees(&built("major", None, &[minus(1)])), "1 3 5");
        assert_eq!(degrees(&built("major", None, &[minus(13)])), "1 3 5");
    }

    #[test]
    fn eleventh_chords_give_up_their_third_unless_the_degrees_say_otherwise() {
        assert_eq!(degrees(&built("dominant-11th", None, &[])), "1 4 5 b7 9");
        assert_eq!(
            degrees(&built("dominant-11th", None, &[altered(11, 1)])),
            "1 3 5 b7 9 #11"
        );
        assert_eq!(
            degrees(&built("dominant-11th", None, &[altered(9, -1)])),
            "1 4 5 b7 b9"
        );
    }

    #[test]
    fn the_text_is_believed_only_where_the_kind_says_too_little() {
        // common practice, no source
        let sus = built("dominant-13th", Some("13sus"), &[]);
        assert_eq!(
            (degrees(&sus).as_str(), sus.text.as_str()),
            ("1 4 5 b7 9 13", "C13sus")
        );
        let alt = built("dominant", Some("7alt"), &[plus(9, 1), altered(5, 1)]);
        assert!(alt.altered);
        assert_eq!(
            (degrees(&alt).as_str(), alt.text.as_str()),
            ("1 3 b7", "C7alt")
        );
        assert_eq!(degrees(&built("other", Some("7b9"), &[])), "1 3 5 b7 b9");
        // A text that contradicts its kind is display only.
        let odd = built("minor", Some("maj7"), &[]);
        assert_eq!(
            (degrees(&odd).as_str(), odd.text.as_str()),
            ("1 b3 5", "Cmaj7")
        );
    }

    #[test]
    fn degrees_are_printed_once() {
        let beside = built("dominant", Some("7"), &[plus(9, 1)]);
        assert_eq!(beside.text, "C7#9");
        let within = built("dominant", Some("7(#9)"), &[plus(9, 1)]);
        assert_eq!(within.text, "C7(#9)");
    }

    #[test]
    fn other_is_built_from_what_is_added() {
        assert_eq!(
            degrees(&built("other", None, &[plus(3, 0), plus(9, 0)])),
            "1 3 9"
        );
        assert_eq!(degrees(&built("other", None, &[])), "1");
    }

    #[test]
    fn none_is_no_chord_and_the_unknown_an_error() {
        assert_eq!(from_kind(C, "none", None, &[], None), Ok(None));
        let error = from_kind(C, "dominant-nineth", None, &[], None).unwrap_err();
        assert_eq!(
            error.to_string(),
            "`dominant-nineth` is not a chord kind of MusicXML 4.0; the nearest is \
             `dominant-ninth`"
        );
        for bad in [
            plus(0, 0),
            plus(14, 0),
            plus(9, 3),
            altered(1, 1),
            plus(9, i8::MIN),
        ] {
            assert!(
                from_kind(C, "dominant", None, &[bad], None).is_err(),
                "{bad:?}"
            );
        }
    }

    #[test]
    fn a_bass_is_printed_and_changes_nothing() {
        let bass = NoteName::new(Step::B, -1);
        let c = from_kind(C, "dominant", None, &[], Some(bass))
            .unwrap()
            .unwrap();
        assert_eq!(
            (degrees(&c).as_str(), c.text.as_str()),
            ("1 3 5 b7", "C7/Bb")
        );
        assert_eq!(c.bass, Some(bass));
    }

    #[test]
    fn what_a_kind_prints_reads_as_the_same_chord() {
        let changes = [
            vec![],
            vec![plus(9, 0)],
            vec![plus(9, -1)],
            vec![altered(5, -1)],
            vec![altered(5, 1), plus(9, 1)],
            vec![plus(13, 0)],
            vec![minus(5)],
            vec![plus(11, 1), plus(13, -1)],
        ];
        for kind in VOCABULARY.kinds.keys() {
            // What is named by its function is no symbol over a staff.
            if [
                "none",
                "Neapolitan",
                "Italian",
                "French",
                "German",
                "Tristan",
                "pedal",
                "other",
            ]
            .contains(&kind.as_str())
            {
                continue;
            }
            for edits in &changes {
                let c = built(kind, None, edits);
                let read = symbol::parse(&c.text).unwrap().unwrap();
                assert_eq!(
                    read.degrees, c.degrees,
                    "{kind} {edits:?} prints {}",
                    c.text
                );
            }
        }
    }
}
