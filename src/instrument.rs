//! Instruments and sections: `rules/instruments.toml`.
//!
//! All ranges are written pitch. Names are matched as people write them: any word order, seat
//! numbers, keys ("in Bb"), six languages. Where horns and voices share a name, the other parts
//! decide ([`Catalogue::identify_all`]).

use crate::ground::pitch::{Pitch, Transposition};
use crate::score::Part;
use rustc_hash::FxHashMap;
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{LazyLock, Mutex, PoisonError, RwLock};

const BUILT_IN: &str = include_str!("../rules/instruments.toml");

/// The catalogue that ships with the program.
pub fn catalogue() -> &'static Catalogue {
    // The file is built in and a test reads it, so the empty catalogue is never seen.
    static CATALOGUE: LazyLock<Catalogue> =
        LazyLock::new(|| Catalogue::read(BUILT_IN).unwrap_or_default());
    &CATALOGUE
}

/// The shipped file as it is written.
pub(crate) fn shipped_table() -> toml::Table {
    // As above: a test reads it.
    toml::from_str(BUILT_IN).unwrap_or_default()
}

/// The shipped catalogue with the changes of house styles laid over it in turn. One that was made
/// before is given again, so that a run keeps as many as its house styles differ.
pub(crate) fn changed(layers: &[toml::Table]) -> Result<&'static Catalogue, CatalogueError> {
    static MADE: Mutex<Vec<(Vec<toml::Table>, &'static Catalogue)>> = Mutex::new(Vec::new());
    let mut made = MADE.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some((_, known)) = made.iter().find(|(of, _)| of == layers) {
        return Ok(known);
    }
    let new: &'static Catalogue = Box::leak(Box::new(Catalogue::with_layers(layers)?));
    made.push((layers.to_vec(), new));
    Ok(new)
}

/// The catalogue that a score's parts are read by: the shipped one, or that of a house style.
#[derive(Clone, Copy, Debug, Default)]
pub struct Book(Option<&'static Catalogue>);

impl Book {
    /// Another catalogue from now on.
    pub fn set(&mut self, catalogue: &'static Catalogue) {
        self.0 = Some(catalogue);
    }

    /// The catalogue.
    pub fn catalogue(self) -> &'static Catalogue {
        self.0.unwrap_or_else(catalogue)
    }
}

/// Why a file of instruments cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CatalogueError {
    /// It is not TOML, or has keys that mean nothing here.
    #[error(
        "the instruments cannot be read: {0}; compare the entry with one from the shipped file"
    )]
    Syntax(String),
    /// A range holds something that is no pitch.
    #[error(
        "instrument `{instrument}`, {group}: {error} (written pitch, lowest first, as in [\"Bb3\", \"F6\"])"
    )]
    Pitch {
        /// The instrument's key.
        instrument: String,
        /// The group of values.
        group: &'static str,
        /// What is wrong with the pitch.
        error: crate::ground::pitch::PitchError,
    },
    /// A range is upside down, or does not hold the one inside it.
    #[error(
        "instrument `{instrument}`, {group}: found {low} to {high}, expected {expected}; correct the pitches (written pitch)"
    )]
    Order {
        /// The instrument's key.
        instrument: String,
        /// The group of values.
        group: &'static str,
        /// Its lower end.
        low: Pitch,
        /// Its upper end.
        high: Pitch,
        /// What it should be.
        expected: String,
    },
    /// An instrument names a section that the file does not have.
    #[error(
        "instrument `{instrument}` is put in the section `{section}`, which does not exist; use one of: {known}"
    )]
    UnknownSection {
        /// The instrument's key.
        instrument: String,
        /// What was found.
        section: String,
        /// The sections there are.
        known: String,
    },
    /// Two entries have one key.
    #[error("two entries have the key `{0}`; give each its own")]
    Repeated(String),
    /// A group of values does not say where it comes from.
    #[error(
        "instrument `{instrument}` gives no source for {group}; add `{group} = \"...\"` to its [instrument.source] (for example \"common practice, no source\")"
    )]
    NoSource {
        /// The instrument's key.
        instrument: String,
        /// The group of values.
        group: &'static str,
    },
}

/// A range that a common addition to the instrument gives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Extension {
    /// Lowest and highest note with it, written pitch.
    pub range: (Pitch, Pitch),
    /// What it is: "high F# key".
    pub name: String,
    /// Nearly every instrument in use has it, so nothing need be said of it.
    pub usual: bool,
}

/// How far one hand reaches on a keyboard, in semitones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HandSpan {
    /// Most hands.
    pub comfortable: i16,
    /// Large hands.
    pub large: i16,
}

/// How many mallets a player has, and how far the two of one hand open, in semitones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mallets {
    /// In both hands.
    pub count: u8,
    /// How far those of one hand open.
    pub span: i16,
}

/// What is awkward about a register.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RegisterKind {
    /// Notes cannot start softly, and answer late.
    NoSoftStart,
    /// Slurs between the lower and the upper note of it change register.
    Break,
    /// Thin or dull: easily covered.
    Weak,
    /// Never soft.
    Thick,
    /// Not safe in section parts.
    Insecure,
    /// Out of tune on most instruments.
    OutOfTune,
    /// Not there without an addition.
    Missing,
    /// High enough to tire the player.
    Tiring,
}

/// A register that does not do everything, at written pitch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Register {
    /// Lowest and highest note.
    pub range: (Pitch, Pitch),
    /// What is awkward about it.
    pub kind: RegisterKind,
    /// The same in a sentence.
    pub about: String,
    /// Where it comes from.
    pub source: String,
}

/// What players of a school grade are asked for, at written pitch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GradeRange {
    /// The highest grade it holds for.
    pub to: u8,
    /// Lowest and highest note.
    pub range: (Pitch, Pitch),
    /// The same for the first seat.
    pub lead: Option<(Pitch, Pitch)>,
    /// Where it comes from.
    pub source: String,
}

/// Ranges at written pitch, each from lowest to highest note.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ranges {
    /// What the instrument has at all; beyond it nothing sounds.
    pub possible: (Pitch, Pitch),
    /// What a professional player is asked for.
    pub professional: (Pitch, Pitch),
    /// What sounds well without effort.
    pub comfortable: Option<(Pitch, Pitch)>,
    /// What young players are asked for.
    pub school: Option<(Pitch, Pitch)>,
    /// What a common addition gives.
    pub extension: Option<Extension>,
    /// What replaces `professional` in seat 1.
    pub lead: Option<(Pitch, Pitch)>,
}

/// How a written note lies on an instrument.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RangeVerdict<'a> {
    /// In the comfortable range (or in the professional one, when no narrower one is known).
    Comfortable,
    /// In the professional range.
    Professional,
    /// Only with an addition that not every instrument has.
    Extension {
        /// What it is: "F attachment".
        name: &'a str,
        /// The last note without it on that side, written pitch.
        limit: Pitch,
    },
    /// Beyond the professional range, but some players have it.
    Stretched {
        /// The professional range's end on that side, written pitch.
        limit: Pitch,
    },
    /// The instrument does not have it.
    Impossible {
        /// The last note it has on that side, written pitch.
        limit: Pitch,
    },
}

/// An instrument or a voice.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// Its key in the file: `alto-saxophone`.
    pub key: String,
    /// As players write it: "alto saxophone".
    pub name: String,
    /// Its short name within the section: "alto".
    pub label: String,
    /// The key of its section.
    pub section: String,
    /// `woodwind`, `brass`, `string`, `keyboard`, `percussion` or `voice`.
    pub family: String,
    /// What is added to written pitch to get sounding pitch.
    pub transposition: Transposition,
    /// Its clefs, the usual one first: `G`, `F`, `C`, `P`, `G8vb`.
    pub clefs: Vec<String>,
    /// It plays one note at a time.
    pub single_line: bool,
    /// Its MusicXML sound id, the most exact one.
    pub sound: Option<String>,
    /// All sound ids that may stand for it.
    pub sounds: Vec<String>,
    /// Its ranges at written pitch.
    pub range: Ranges,
    /// A word of care where a player's body is at stake.
    pub caution: Option<String>,
    /// How far one hand reaches, on a keyboard.
    pub hand_span: Option<HandSpan>,
    /// Registers that do not do everything.
    pub registers: Vec<Register>,
    /// What school grades are asked for, the lowest grades first.
    pub grades: Vec<GradeRange>,
    /// Its open strings at written pitch, where chords are played on them.
    pub strings: Vec<Pitch>,
    /// What its chords are struck with.
    pub mallets: Option<Mallets>,
    /// Where its values come from, all groups in one text.
    pub source: String,
    /// Where each group of values comes from, by the group's name in the file.
    pub sources: BTreeMap<String, String>,
    patterns: Vec<Pattern>,
}

/// Parts that are voiced together, as a kind.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Section {
    /// Its key: `saxes`.
    pub key: String,
    /// What the trade calls it.
    pub name: String,
    /// What else it is called.
    pub aliases: Vec<String>,
    /// One part plays many notes.
    pub chordal: bool,
    /// It belongs to the rhythm section.
    pub rhythm: bool,
    /// The usual seats from the top, by instrument key, for as many voices as each list is long.
    #[serde(default)]
    pub seats: Vec<Vec<String>>,
}

/// What a part is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Identity<'a> {
    /// The instrument.
    pub instrument: &'a Instrument,
    /// The seat, 1-based: from the name, or from the order of parts of one instrument.
    pub seat: Option<u8>,
}

/// Instruments and sections.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Catalogue {
    /// The instruments; of those that share a name, the usual one first.
    pub instruments: Vec<Instrument>,
    /// The sections.
    pub sections: Vec<Section>,
    /// What names of parts have turned out to be.
    known: Known,
}

/// Answers that were given: a library calls its parts by the same few names. They are part of no
/// catalogue, whose copy starts without them.
#[derive(Debug, Default)]
struct Known(RwLock<FxHashMap<Box<str>, Option<Match>>>);

/// How many answers are kept, and for names of how many bytes.
const MOST_KNOWN: (usize, usize) = (4096, 128);

impl Known {
    fn answer(&self, text: &str, find: impl FnOnce() -> Option<Match>) -> Option<Match> {
        let known = self.0.read().unwrap_or_else(PoisonError::into_inner);
        if let Some(answer) = known.get(text) {
            return answer.clone();
        }
        drop(known);
        let answer = find();
        let mut known = self.0.write().unwrap_or_else(PoisonError::into_inner);
        if known.len() < MOST_KNOWN.0 && text.len() <= MOST_KNOWN.1 {
            known.insert(text.into(), answer.clone());
        }
        answer
    }
}

impl Clone for Known {
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl PartialEq for Known {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

fn holds(range: (Pitch, Pitch), midi: i16) -> bool {
    (range.0.midi()..=range.1.midi()).contains(&midi)
}

impl Instrument {
    /// How a note lies for a player in a seat (1 is the lead); `midi` is its written pitch in semitones.
    pub fn judge_range(&self, midi: i16, seat: Option<u8>) -> RangeVerdict<'_> {
        let professional = match (seat, self.range.lead) {
            (Some(1), Some(lead)) => lead,
            _ => self.range.professional,
        };
        let beyond = |range: (Pitch, Pitch)| {
            if midi < range.0.midi() {
                range.0
            } else {
                range.1
            }
        };
        if self
            .range
            .comfortable
            .map_or_else(|| holds(professional, midi), |r| holds(r, midi))
        {
            return RangeVerdict::Comfortable;
        }
        if holds(professional, midi) {
            return RangeVerdict::Professional;
        }
        if let Some(extension) = &self.range.extension
            && holds(extension.range, midi)
        {
            return if extension.usual {
                RangeVerdict::Professional
            } else {
                RangeVerdict::Extension {
                    name: &extension.name,
                    limit: beyond(professional),
                }
            };
        }
        if holds(self.range.possible, midi) {
            return RangeVerdict::Stretched {
                limit: beyond(professional),
            };
        }
        // What an extension reaches beyond everything else is the last note there is.
        let reach = self
            .range
            .extension
            .as_ref()
            .map_or(self.range.possible, |e| outer(self.range.possible, e.range));
        RangeVerdict::Impossible {
            limit: beyond(reach),
        }
    }

    /// What players of a school grade (1 to 6) are asked for in a seat, at written pitch. Grades that
    /// have no range of their own: 1 and 2 the school range, 3 and 4 the comfortable one, from 5 on
    /// the professional one.
    pub fn graded(&self, grade: u8, seat: Option<u8>) -> (Pitch, Pitch) {
        let own = self.grades.iter().find(|g| grade <= g.to);
        if let Some(own) = own {
            return match (seat, own.lead) {
                (Some(1), Some(lead)) => lead,
                _ => own.range,
            };
        }
        let range = &self.range;
        match grade {
            1 | 2 => range.school.or(range.comfortable),
            3 | 4 => range.comfortable,
            _ => None,
        }
        .unwrap_or(match (seat, range.lead) {
            (Some(1), Some(lead)) => lead,
            _ => range.professional,
        })
    }

    /// Whether a part said to be "in" this key (pitch class that its written C sounds) can be one.
    fn may_be_in(&self, key: i16) -> bool {
        let own = self.transposition.chromatic.rem_euclid(12);
        // Low brass is built in Bb, F, Eb or C and still read at concert pitch.
        own == key || (own == 0 && self.family == "brass" && self.section != "trumpets")
    }
}

/// The range from the lower low to the higher high.
fn outer(a: (Pitch, Pitch), b: (Pitch, Pitch)) -> (Pitch, Pitch) {
    (
        if b.0.midi() < a.0.midi() { b.0 } else { a.0 },
        if b.1.midi() > a.1.midi() { b.1 } else { a.1 },
    )
}

// ------------------------------------------------------------------ the file

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileOfInstruments {
    #[serde(default)]
    instrument: Vec<InstrumentEntry>,
    #[serde(default)]
    section: Vec<Section>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct InstrumentEntry {
    key: String,
    name: String,
    label: String,
    section: String,
    family: String,
    transpose: TransposeEntry,
    clefs: Vec<String>,
    single_line: bool,
    #[serde(default)]
    sounds: Vec<String>,
    professional: (String, String),
    possible: Option<(String, String)>,
    extension: Option<ExtensionEntry>,
    lead: Option<(String, String)>,
    comfortable: Option<(String, String)>,
    school: Option<(String, String)>,
    names: Vec<String>,
    #[serde(default)]
    bare: Vec<String>,
    caution: Option<String>,
    hand_span: Option<HandSpan>,
    #[serde(default)]
    registers: Vec<RegisterEntry>,
    #[serde(default)]
    grades: Vec<GradeEntry>,
    #[serde(default)]
    strings: Vec<String>,
    mallets: Option<Mallets>,
    source: BTreeMap<String, String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RegisterEntry {
    range: (String, String),
    kind: RegisterKind,
    about: String,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct GradeEntry {
    to: u8,
    range: (String, String),
    lead: Option<(String, String)>,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TransposeEntry {
    diatonic: i8,
    chromatic: i8,
    octave: i8,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ExtensionEntry {
    range: (String, String),
    name: String,
    #[serde(default)]
    usual: bool,
}

impl InstrumentEntry {
    fn range_of(
        &self,
        group: &'static str,
        texts: &(String, String),
    ) -> Result<(Pitch, Pitch), CatalogueError> {
        let pitch = |text: &str| {
            text.parse::<Pitch>()
                .map_err(|error| CatalogueError::Pitch {
                    instrument: self.key.clone(),
                    group,
                    error,
                })
        };
        let (low, high) = (pitch(&texts.0)?, pitch(&texts.1)?);
        if low.midi() > high.midi() {
            return Err(self.order(group, (low, high), "the lowest note first".to_owned()));
        }
        Ok((low, high))
    }

    fn order(
        &self,
        group: &'static str,
        range: (Pitch, Pitch),
        expected: String,
    ) -> CatalogueError {
        CatalogueError::Order {
            instrument: self.key.clone(),
            group,
            low: range.0,
            high: range.1,
            expected,
        }
    }

    fn ranges(&self) -> Result<Ranges, CatalogueError> {
        let optional = |group, texts: &Option<(String, String)>| {
            texts.as_ref().map(|t| self.range_of(group, t)).transpose()
        };
        let professional = self.range_of("professional", &self.professional)?;
        let ranges = Ranges {
            professional,
            possible: optional("possible", &self.possible)?.unwrap_or(professional),
            comfortable: optional("comfortable", &self.comfortable)?,
            school: optional("school", &self.school)?,
            lead: optional("lead", &self.lead)?,
            extension: self
                .extension
                .as_ref()
                .map(|e| {
                    Ok(Extension {
                        range: self.range_of("extension", &e.range)?,
                        name: e.name.clone(),
                        usual: e.usual,
                    })
                })
                .transpose()?,
        };
        let inside = |group, inner: Option<(Pitch, Pitch)>, around: (Pitch, Pitch), name: &str| {
            match inner {
                Some(r) if !(holds(around, r.0.midi()) && holds(around, r.1.midi())) => Err(self
                    .order(
                        group,
                        r,
                        format!("within {} to {}, the {name} range", around.0, around.1),
                    )),
                _ => Ok(()),
            }
        };
        inside(
            "professional",
            Some(professional),
            ranges.possible,
            "possible",
        )?;
        inside("lead", ranges.lead, ranges.possible, "possible")?;
        inside(
            "comfortable",
            ranges.comfortable,
            professional,
            "professional",
        )?;
        inside("school", ranges.school, professional, "professional")?;
        Ok(ranges)
    }

    fn registers(&self) -> Result<Vec<Register>, CatalogueError> {
        self.registers
            .iter()
            .map(|r| {
                Ok(Register {
                    range: self.range_of("registers", &r.range)?,
                    kind: r.kind,
                    about: r.about.clone(),
                    source: r.source.clone(),
                })
            })
            .collect()
    }

    fn grades(&self) -> Result<Vec<GradeRange>, CatalogueError> {
        let mut grades = self
            .grades
            .iter()
            .map(|g| {
                Ok(GradeRange {
                    to: g.to,
                    range: self.range_of("grades", &g.range)?,
                    lead: g
                        .lead
                        .as_ref()
                        .map(|l| self.range_of("grades", l))
                        .transpose()?,
                    source: g.source.clone(),
                })
            })
            .collect::<Result<Vec<_>, CatalogueError>>()?;
        grades.sort_by_key(|g| g.to);
        Ok(grades)
    }

    fn strings(&self) -> Result<Vec<Pitch>, CatalogueError> {
        self.strings
            .iter()
            .map(|text| {
                text.parse().map_err(|error| CatalogueError::Pitch {
                    instrument: self.key.clone(),
                    group: "strings",
                    error,
                })
            })
            .collect()
    }

    fn check_sources(&self) -> Result<(), CatalogueError> {
        let groups = [
            ("transpose", true),
            ("professional", true),
            ("possible", self.possible.is_some()),
            ("extension", self.extension.is_some()),
            ("lead", self.lead.is_some()),
            ("comfortable", self.comfortable.is_some()),
            ("school", self.school.is_some()),
            ("strings", !self.strings.is_empty()),
            ("mallets", self.mallets.is_some()),
        ];
        for (group, texts) in [
            (
                "registers",
                self.registers.iter().map(|r| &r.source).collect::<Vec<_>>(),
            ),
            ("grades", self.grades.iter().map(|g| &g.source).collect()),
        ] {
            if texts.iter().any(|t| t.trim().is_empty()) {
                return Err(CatalogueError::NoSource {
                    instrument: self.key.clone(),
                    group,
                });
            }
        }
        for (group, present) in groups {
            if present && self.source.get(group).is_none_or(|s| s.trim().is_empty()) {
                return Err(CatalogueError::NoSource {
                    instrument: self.key.clone(),
                    group,
                });
            }
        }
        Ok(())
    }

    fn instrument(self) -> Result<Instrument, CatalogueError> {
        let range = self.ranges()?;
        self.check_sources()?;
        let registers = self.registers()?;
        let grades = self.grades()?;
        let strings = self.strings()?;
        let source: Vec<String> = self
            .source
            .iter()
            .map(|(group, text)| format!("{group}: {text}"))
            .collect();
        let patterns = self
            .names
            .iter()
            .chain([&self.name, &self.key])
            .map(|n| Pattern::new(n, false))
            .chain(self.bare.iter().map(|n| Pattern::new(n, true)))
            .collect();
        Ok(Instrument {
            transposition: Transposition::from_parts(
                i16::from(self.transpose.diatonic),
                i16::from(self.transpose.chromatic),
                i16::from(self.transpose.octave),
            ),
            sound: self.sounds.first().cloned(),
            range,
            source: source.join("; "),
            patterns,
            key: self.key,
            name: self.name,
            label: self.label,
            section: self.section,
            family: self.family,
            clefs: self.clefs,
            single_line: self.single_line,
            sounds: self.sounds,
            caution: self.caution,
            hand_span: self.hand_span,
            registers,
            grades,
            strings,
            mallets: self.mallets,
            sources: self.source,
        })
    }
}

impl Catalogue {
    /// Reads a complete file of instruments and sections.
    pub fn read(text: &str) -> Result<Self, CatalogueError> {
        let table: toml::Table =
            toml::from_str(text).map_err(|e| CatalogueError::Syntax(e.to_string()))?;
        Self::from_table(table)
    }

    /// The shipped catalogue changed by a user's file: entries with a known key replace only the
    /// values they give, entries with a new key are added.
    pub fn with(changes: &str) -> Result<Self, CatalogueError> {
        let syntax = |e: toml::de::Error| CatalogueError::Syntax(e.to_string());
        let changes: toml::Table = toml::from_str(changes).map_err(syntax)?;
        Self::with_layers(std::slice::from_ref(&changes))
    }

    /// The same for several files, each of which changes what those before it gave.
    fn with_layers(layers: &[toml::Table]) -> Result<Self, CatalogueError> {
        let mut table = shipped_table();
        for (list, entries) in layers.iter().flatten() {
            match (table.get_mut(list), entries) {
                (Some(toml::Value::Array(known)), toml::Value::Array(new)) => {
                    for entry in new {
                        overlay(known, entry.clone());
                    }
                }
                (_, entries) => {
                    table.insert(list.clone(), entries.clone());
                }
            }
        }
        Self::from_table(table)
    }

    fn from_table(table: toml::Table) -> Result<Self, CatalogueError> {
        let file: FileOfInstruments = table
            .try_into()
            .map_err(|e: toml::de::Error| CatalogueError::Syntax(e.to_string()))?;
        let mut keys = BTreeSet::new();
        for key in file.section.iter().map(|s| &s.key) {
            if !keys.insert(key.clone()) {
                return Err(CatalogueError::Repeated(key.clone()));
            }
        }
        let mut instrument_keys = BTreeSet::new();
        let mut instruments = Vec::with_capacity(file.instrument.len());
        for entry in file.instrument {
            if !instrument_keys.insert(entry.key.clone()) {
                return Err(CatalogueError::Repeated(entry.key));
            }
            if !keys.contains(&entry.section) {
                return Err(CatalogueError::UnknownSection {
                    instrument: entry.key,
                    section: entry.section,
                    known: keys.into_iter().collect::<Vec<_>>().join(", "),
                });
            }
            instruments.push(entry.instrument()?);
        }
        Ok(Self {
            instruments,
            sections: file.section,
            known: Known::default(),
        })
    }

    /// The section with this key.
    pub fn section(&self, key: &str) -> Option<&Section> {
        self.sections.iter().find(|s| s.key == key)
    }

    /// The section people call this: "sax section", "bones", "SATB".
    pub fn section_named(&self, text: &str) -> Option<&Section> {
        let said = Name::read(text);
        let drop = |words: &[String]| -> String {
            words
                .iter()
                .filter(|w| !DECORATION.contains(&w.as_str()))
                .map(String::as_str)
                .collect()
        };
        let (whole, short) = (said.words.concat(), drop(&said.words));
        if whole.is_empty() {
            return None;
        }
        let called = |wanted: &str| {
            self.sections.iter().find(|s| {
                s.aliases
                    .iter()
                    .chain([&s.key, &s.name])
                    .any(|a| Name::read(a).words.concat() == wanted)
            })
        };
        called(&whole).or_else(|| {
            if short.is_empty() {
                None
            } else {
                called(&short)
            }
        })
    }

    /// The instrument with this key.
    pub fn instrument(&self, key: &str) -> Option<&Instrument> {
        self.instruments.iter().find(|i| i.key == key)
    }

    /// The instrument people call this, without other parts to go by: a name that horns and
    /// voices share is the horn's.
    pub fn named(&self, text: &str) -> Option<&Instrument> {
        let found = self.match_text(text)?;
        found
            .candidates
            .first()
            .and_then(|&i| self.instruments.get(i))
    }

    /// What each part is, by its sound id, names, transposition and company, in part order.
    pub fn identify_all(&self, parts: &[Part]) -> Vec<Option<Identity<'_>>> {
        let matches: Vec<Option<Match>> = parts.iter().map(|p| self.match_part(p)).collect();
        let voices = self.is_vocal(parts, &matches);
        let brass = self.has_low_brass(&matches);
        let concert = self.is_concert(parts, &matches);
        let mut found: Vec<Option<(usize, Option<u8>)>> = parts
            .iter()
            .zip(&matches)
            .map(|(part, m)| {
                let m = m.as_ref()?;
                let mut left = m.candidates.clone();
                if m.bare {
                    self.keep(&mut left, |i| (i.section == "voices") == voices);
                    let brass = brass || states(part, -14);
                    self.keep(&mut left, |i| (i.section == "low-brass") == brass);
                }
                self.keep_transposition(&mut left, part, concert);
                left.first().map(|&i| (i, m.seat))
            })
            .collect();
        seat(&mut found);
        found
            .into_iter()
            .map(|f| {
                let (index, seat) = f?;
                self.instruments
                    .get(index)
                    .map(|instrument| Identity { instrument, seat })
            })
            .collect()
    }

    /// Keeps the candidates for which `test` holds, or all when it holds for none.
    fn keep(&self, candidates: &mut Vec<usize>, test: impl Fn(&Instrument) -> bool) {
        let kept: Vec<usize> = candidates
            .iter()
            .copied()
            .filter(|&i| self.instruments.get(i).is_some_and(&test))
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
    fn is_concert(&self, parts: &[Part], matches: &[Option<Match>]) -> bool {
        parts.iter().zip(matches).any(|(part, m)| {
            let Some(m) = m else { return false };
            let stated = part
                .transpositions
                .first()
                .map_or(0, |t| t.value.chromatic.rem_euclid(12));
            stated == 0
                && !m.bare
                && m.candidates.iter().all(|&i| {
                    self.instruments
                        .get(i)
                        .is_some_and(|i| i.transposition.chromatic.rem_euclid(12) != 0)
                })
        })
    }

    /// Whether a part called "Baritone" is a horn of the low brass: among such horns, or beside a
    /// baritone saxophone that is called one.
    fn has_low_brass(&self, matches: &[Option<Match>]) -> bool {
        let mut horns = false;
        let mut short_saxes = false;
        for m in matches.iter().flatten() {
            let Some(first) = m.candidates.first().and_then(|&i| self.instruments.get(i)) else {
                continue;
            };
            if m.bare {
                short_saxes |= matches!(first.label.as_str(), "alto" | "tenor");
            } else if first.key == "baritone-saxophone" {
                return true;
            } else {
                horns |= matches!(first.section.as_str(), "french-horns" | "low-brass");
            }
        }
        horns && !short_saxes
    }

    /// Whether parts with names such as "Alto" are voices, going by all parts together.
    fn is_vocal(&self, parts: &[Part], matches: &[Option<Match>]) -> bool {
        let mut weight = 0i32;
        let mut transposing = false;
        let mut bare: BTreeMap<&str, u32> = BTreeMap::new();
        for (part, m) in parts.iter().zip(matches) {
            let Some(m) = m else { continue };
            let Some(first) = m.candidates.first().and_then(|&i| self.instruments.get(i)) else {
                continue;
            };
            if !m.bare {
                weight += match first.section.as_str() {
                    "voices" => 3,
                    "saxes" => -3,
                    "trumpets" | "trombones" => -2,
                    _ => 0,
                };
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
        if many("tenor") && has("bass") && !has("alto") && matches.iter().flatten().all(|m| m.bare)
        {
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

    fn by_sound(&self, sound: &str) -> Vec<usize> {
        let indices = |wanted: &str| -> Vec<usize> {
            self.instruments
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
        // (`brass.trombone.alto`) is not told apart from a manner of playing, so only one level up
        // and only where the kinds do not transpose apart.
        sound
            .rsplit_once('.')
            .map(|(parent, _)| indices(parent))
            .filter(|found| {
                found
                    .iter()
                    .filter_map(|&i| self.instruments.get(i))
                    .all(|i| matches!(i.family.as_str(), "keyboard" | "string"))
            })
            .unwrap_or_default()
    }

    /// Whether the sound id ends in the shared name: "Bass" with `wind.reed.saxophone.bass`.
    fn shares_word(&self, m: &Match, part: &Part) -> bool {
        let last = part.sound.as_deref().and_then(|s| s.rsplit('.').next());
        m.candidates
            .iter()
            .filter_map(|&i| self.instruments.get(i))
            .any(|i| Some(i.label.as_str()) == last)
    }

    /// What one part may be, by name and sound.
    fn match_part(&self, part: &Part) -> Option<Match> {
        // The reader knows it outright; the name only gives the seat.
        if let Some(key) = &part.instrument
            && let Some(index) = self.instruments.iter().position(|i| i.key == *key)
        {
            return Some(Match {
                candidates: vec![index],
                bare: false,
                seat: Name::read(&part.name).seat,
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
            .filter_map(|t| self.match_text(t));
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
        let seat = texts.into_iter().flatten().find_map(|t| Name::read(t).seat);
        let sounds = part
            .sound
            .as_deref()
            .map(|s| self.by_sound(s))
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
                } else if m.bare && !sounds.is_empty() && self.shares_word(&m, part) {
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

    /// What a text may be.
    fn match_text(&self, text: &str) -> Option<Match> {
        self.known.answer(text, || self.match_anew(text))
    }

    /// The strictest way to match that gives anything decides.
    fn match_anew(&self, text: &str) -> Option<Match> {
        let whole = Name::read(text);
        if let Some(m) = self.match_exactly(&whole) {
            return Some(m);
        }
        let segments: Vec<&str> = text
            .split(|c: char| "()[]/,;:+&".contains(c))
            .filter(|s| s.chars().take(LONGEST_NAME).any(char::is_alphabetic))
            .take(8)
            .collect();
        if segments.len() > 1
            && let Some(mut m) = segments
                .iter()
                .find_map(|s| self.match_exactly(&Name::read(s)))
        {
            m.seat = m.seat.or(whole.seat);
            return Some(m);
        }
        self.match_within(&whole)
            .or_else(|| self.match_nearly(&whole))
    }

    fn collect(&self, name: &Name, test: impl Fn(&Pattern) -> bool) -> Option<Match> {
        let mut candidates = Vec::new();
        let mut bare = true;
        for wants_bare in [false, true] {
            candidates = self
                .instruments
                .iter()
                .enumerate()
                .filter(|(_, i)| name.key.is_none_or(|k| i.may_be_in(k)))
                .filter(|(_, i)| {
                    i.patterns.iter().any(|p| {
                        p.bare == wants_bare && (p.key.is_none() || p.key == name.key) && test(p)
                    })
                })
                .map(|(index, _)| index)
                .collect();
            if !candidates.is_empty() {
                bare = wants_bare;
                break;
            }
        }
        (!candidates.is_empty()).then_some(Match {
            candidates,
            bare,
            seat: name.seat,
        })
    }

    /// The words of the name and no others, in any order, joined or apart.
    fn match_exactly(&self, name: &Name) -> Option<Match> {
        let try_words = |name: &Name| {
            if name.words.is_empty() {
                return None;
            }
            let (sorted, joined) = (sorted(&name.words), name.words.concat());
            self.collect(name, |p| p.sorted == sorted || p.joined == joined)
        };
        let plain = Name {
            words: name
                .words
                .iter()
                .filter(|w| !DECORATION.contains(&w.as_str()))
                .cloned()
                .collect(),
            ..name.clone()
        };
        try_words(name)
            .or_else(|| try_words(&plain))
            .or_else(|| try_words(&plain.with_key_at_end()?))
    }

    /// A name with other words around it, as long as they name no other instrument.
    fn match_within(&self, name: &Name) -> Option<Match> {
        let other = |word: &&String| {
            OTHER_INSTRUMENTS.contains(&word.as_str())
                || self
                    .instruments
                    .iter()
                    .flat_map(|i| &i.patterns)
                    .any(|p| p.sorted.contains(word))
        };
        let others: Vec<&String> = name.words.iter().filter(other).collect();
        let fits = |p: &Pattern| {
            !p.bare
                && p.joined.len() >= 4
                && p.sorted.iter().all(|w| name.words.contains(w))
                && others.iter().all(|w| p.sorted.contains(w))
        };
        let longest = self
            .instruments
            .iter()
            .flat_map(|i| &i.patterns)
            .filter(|p| fits(p))
            .map(|p| p.joined.len())
            .max()?;
        self.collect(name, |p| p.joined.len() == longest && fits(p))
    }

    /// A long name with a slip of the pen in it.
    fn match_nearly(&self, name: &Name) -> Option<Match> {
        let plain: String = name
            .words
            .iter()
            .filter(|w| !DECORATION.contains(&w.as_str()))
            .map(String::as_str)
            .collect();
        let length = plain.chars().count();
        // Names far longer than any instrument's are not worth comparing.
        if !(6..=60).contains(&length) {
            return None;
        }
        let slips = if length >= 12 { 2 } else { 1 };
        self.collect(name, |p| {
            let own = p.joined.chars().count();
            !p.bare
                && own >= 6
                && own.abs_diff(length) <= slips
                && strsim::osa_distance(&p.joined, &plain) <= slips
        })
    }
}

/// Whether the part says that it adds this many semitones to written pitch.
fn states(part: &Part, semitones: i16) -> bool {
    part.transpositions
        .first()
        .is_some_and(|t| t.value.chromatic == semitones)
}

/// Replaces the values that `entry` gives in the known entry with its key, or adds it.
fn overlay(known: &mut Vec<toml::Value>, entry: toml::Value) {
    let key = entry.get("key").cloned();
    let old = known
        .iter_mut()
        .find(|k| key.is_some() && k.get("key") == key.as_ref());
    match (old, entry) {
        (Some(toml::Value::Table(old)), toml::Value::Table(new)) => {
            for (name, value) in new {
                match (old.get_mut(&name), value) {
                    // Sources are given group by group.
                    (Some(toml::Value::Table(inner)), toml::Value::Table(value)) => {
                        inner.extend(value);
                    }
                    (_, value) => {
                        old.insert(name, value);
                    }
                }
            }
        }
        (_, entry) => known.push(entry),
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

// ------------------------------------------------------------------ names

/// What a text may be.
#[derive(Clone, Debug)]
struct Match {
    /// Indices into the instruments, in order; never empty.
    candidates: Vec<usize>,
    /// The name is shared by horns and voices.
    bare: bool,
    seat: Option<u8>,
}

/// Words that say nothing of the instrument.
const DECORATION: &[&str] = &[
    "solo", "soli", "soloist", "solist", "solista", "section", "player", "part", "partie", "parte",
    "stimme", "spieler", "opt", "optional", "ad", "lib", "tutti", "div", "divisi", "uni", "unison",
    "jazz", "concert", "tc", "bc", "mute", "muted", "staff", "chair", "seat", "no", "nr", "num",
    "reed", "woodwind", "wind", "the", "der", "die", "das", "le", "la", "il", "el", "de", "het",
    "lead",
];

/// Words of instruments that are not in the catalogue, which must not be taken for one that is.
const OTHER_INSTRUMENTS: &[&str] = &[
    "steel",
    "sopranino",
    "contra",
    "kontra",
    "contralto",
    "basset",
    "post",
    "alpine",
    "hunting",
    "toy",
    "tongue",
    "ocean",
    "slit",
    "finger",
    "mouth",
    "glass",
    "nose",
    "pan",
    "electronic",
    "synth",
    "synthesizer",
    "organ",
    "viola",
    "violin",
    "cello",
    "harp",
    "hand",
];

/// How a name in the file is matched.
#[derive(Clone, Debug, PartialEq)]
struct Pattern {
    sorted: Vec<String>,
    joined: String,
    key: Option<i16>,
    bare: bool,
}

impl Pattern {
    fn new(text: &str, bare: bool) -> Self {
        let name = Name::read(text);
        Self {
            sorted: sorted(&name.words),
            joined: name.words.concat(),
            key: name.key,
            bare,
        }
    }
}

fn sorted(words: &[String]) -> Vec<String> {
    let mut sorted = words.to_vec();
    sorted.sort_unstable();
    sorted
}

/// A name taken apart.
#[derive(Clone, Debug, Default, PartialEq)]
struct Name {
    /// Lower case, no accents, singular.
    words: Vec<String>,
    /// The key it is said to be in: the pitch class its written C sounds.
    key: Option<i16>,
    /// 1-based.
    seat: Option<u8>,
}

impl Name {
    fn read(text: &str) -> Self {
        let tokens = tokens(text);
        let mut name = Self::default();
        let mut rest = tokens.as_slice();
        while let Some((token, after)) = rest.split_first() {
            let first = name.words.is_empty();
            rest = after;
            if let Some(seat) = seat_of(token, first) {
                name.seat = name.seat.or(Some(seat)).filter(|s| *s > 0);
                continue;
            }
            if token == "in" || token == "en" {
                if let Some((key, used)) = key_of(after, true) {
                    name.key = Some(key);
                    rest = after.get(used..).unwrap_or_default();
                    continue;
                }
            } else if let Some((key, used)) =
                key_of(std::slice::from_ref(token), false).or_else(|| flat_key(token, after))
            {
                name.key = Some(key);
                rest = after.get(used - 1..).unwrap_or_default();
                continue;
            }
            match (token.as_str(), after.first().map(String::as_str)) {
                // "Bass clef" is no bass.
                ("bass", Some("clef")) => {
                    name.words.push("bc".to_owned());
                    rest = after.get(1..).unwrap_or_default();
                }
                ("treble", Some("clef")) => {
                    name.words.push("tc".to_owned());
                    rest = after.get(1..).unwrap_or_default();
                }
                ("t" | "b", Some("c")) if !first => {
                    name.words.push(format!("{token}c"));
                    rest = after.get(1..).unwrap_or_default();
                }
                _ => {
                    let word = singular(token);
                    // "Tbn. 4 (B. Tbn.)" is one name said twice.
                    if !name.words.contains(&word) {
                        name.words.push(word);
                    }
                }
            }
            if token == "lead" {
                name.seat = name.seat.or(Some(1));
            }
        }
        name
    }

    /// The same name when its last word is a key: "Horn F", "Trompete B".
    fn with_key_at_end(&self) -> Option<Self> {
        let (last, words) = self.words.split_last()?;
        if words.is_empty() || self.key.is_some() {
            return None;
        }
        let (key, _) = key_of(std::slice::from_ref(last), true)?;
        Some(Self {
            words: words.to_vec(),
            key: Some(key),
            seat: self.seat,
        })
    }
}

/// A seat number in figures, roman numerals or words. Zero stands for "a number, but no seat".
fn seat_of(token: &str, first: bool) -> Option<u8> {
    if token.bytes().all(|b| b.is_ascii_digit()) && !token.is_empty() {
        return Some(token.parse().ok().filter(|n| *n <= 99).unwrap_or(0));
    }
    if !first {
        let roman = match token {
            "i" => Some(1),
            "ii" => Some(2),
            "iii" => Some(3),
            "iv" => Some(4),
            "v" => Some(5),
            "vi" => Some(6),
            "vii" => Some(7),
            "viii" => Some(8),
            _ => None,
        };
        if roman.is_some() {
            return roman;
        }
    }
    Some(match token {
        "first" | "erste" | "erster" | "erstes" | "premier" | "premiere" | "primo" | "prima"
        | "primer" | "primera" | "primero" | "eerste" => 1,
        "second" | "zweite" | "zweiter" | "zweites" | "deuxieme" | "seconde" | "secondo"
        | "seconda" | "segundo" | "segunda" | "tweede" => 2,
        "third" | "dritte" | "dritter" | "drittes" | "troisieme" | "terzo" | "terza"
        | "tercero" | "tercer" | "tercera" | "derde" => 3,
        "fourth" | "vierte" | "vierter" | "viertes" | "quatrieme" | "quarto" | "quarta"
        | "cuarto" | "cuarta" | "vierde" => 4,
        "fifth" | "funfte" | "cinquieme" | "quinto" | "quinta" | "vijfde" => 5,
        _ => return None,
    })
}

/// A key at the start of `tokens` and how many tokens it takes. After "in" a single letter is a
/// key (a German B is Bb, and no instrument is in B); elsewhere only what can be nothing else is.
fn key_of(tokens: &[String], after_in: bool) -> Option<(i16, usize)> {
    let token = tokens.first()?.as_str();
    match token {
        "bb" | "sib" => return Some((10, 1)),
        "eb" | "mib" => return Some((3, 1)),
        _ if !after_in => return None,
        "es" => return Some((3, 1)),
        "as" | "ab" | "lab" => return Some((8, 1)),
        "b" if tokens.get(1).is_none_or(|t| !is_flat(t)) => return Some((10, 1)),
        _ => {}
    }
    let natural = natural(token)?;
    Some(match tokens.get(1) {
        Some(next) if is_flat(next) => ((natural + 11) % 12, 2),
        _ => (natural, 1),
    })
}

/// "B flat" and "mi bémol", wherever they stand.
fn flat_key(token: &str, after: &[String]) -> Option<(i16, usize)> {
    after
        .first()
        .filter(|t| is_flat(t) && *t != "b")
        .and_then(|_| natural(token))
        .map(|n| ((n + 11) % 12, 2))
}

fn is_flat(token: &str) -> bool {
    matches!(token, "flat" | "b" | "bemol" | "bemolle" | "mol")
}

fn natural(token: &str) -> Option<i16> {
    Some(match token {
        "c" | "do" | "ut" => 0,
        "d" | "re" => 2,
        "e" | "mi" => 4,
        "f" | "fa" => 5,
        "g" | "sol" => 7,
        "a" | "la" => 9,
        "b" | "h" | "si" => 11,
        _ => return None,
    })
}

/// "Trumpets" is "trumpet"; "bass" stays.
fn singular(token: &str) -> String {
    match token.strip_suffix('s') {
        Some("saxe") => "sax".to_owned(),
        Some(stem) if stem.len() >= 3 && !stem.ends_with('s') => stem.to_owned(),
        _ => token.to_owned(),
    }
}

/// Characters of a name that are looked at; what follows in a damaged file is no name.
const LONGEST_NAME: usize = 200;

/// Words and numbers, folded: "AltoSax1", "1ère", "B♭-Trompete".
fn tokens(text: &str) -> Vec<String> {
    #[derive(Clone, Copy, PartialEq)]
    enum Kind {
        Lower,
        Upper,
        Digit,
        None,
    }
    let mut tokens: Vec<String> = Vec::new();
    let mut word = String::new();
    let mut last = Kind::None;
    // Letters right after a number are its ending ("2nd", "1er").
    let mut after_digit = false;
    let finish = |word: &mut String, after_digit: bool, tokens: &mut Vec<String>| {
        let done = std::mem::take(word);
        if done.is_empty() || (after_digit && ORDINAL_ENDINGS.contains(&done.as_str())) {
            return;
        }
        tokens.push(done);
    };
    for c in text.chars().take(LONGEST_NAME) {
        let kind = if c.is_numeric() && c.is_ascii() {
            Kind::Digit
        } else if c.is_uppercase() {
            Kind::Upper
        } else if c.is_alphabetic() || c == '♭' {
            Kind::Lower
        } else {
            Kind::None
        };
        // A combining accent belongs to the letter before it.
        if ('\u{300}'..='\u{36f}').contains(&c) {
            continue;
        }
        let breaks = matches!(
            (last, kind),
            (_, Kind::None)
                | (Kind::Digit, Kind::Lower | Kind::Upper)
                | (Kind::Lower | Kind::Upper, Kind::Digit)
                | (Kind::Lower, Kind::Upper)
        );
        if breaks {
            finish(&mut word, after_digit, &mut tokens);
            after_digit = last == Kind::Digit && kind != Kind::None;
        }
        if kind != Kind::None {
            fold(c, &mut word);
        }
        last = kind;
    }
    finish(&mut word, after_digit, &mut tokens);
    tokens
}

const ORDINAL_ENDINGS: &[&str] = &[
    "st", "nd", "rd", "th", "er", "ere", "re", "e", "eme", "nde", "o", "a", "do", "da", "ro", "ra",
    "to", "ta", "de", "ste",
];

/// Adds a letter in lower case without its accent.
fn fold(c: char, word: &mut String) {
    for c in c.to_lowercase() {
        match c {
            'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => word.push('a'),
            'ç' => word.push('c'),
            'è' | 'é' | 'ê' | 'ë' => word.push('e'),
            'ì' | 'í' | 'î' | 'ï' => word.push('i'),
            'ñ' => word.push('n'),
            'ò' | 'ó' | 'ô' | 'õ' | 'ö' => word.push('o'),
            'ù' | 'ú' | 'û' | 'ü' => word.push('u'),
            'ß' => word.push_str("ss"),
            'œ' => word.push_str("oe"),
            'æ' => word.push_str("ae"),
            '♭' => word.push('b'),
            // An ordinal's raised letter says nothing; a dotted capital I leaves a dot behind.
            'º' | 'ª' | '\u{307}' => {}
            c => word.push(c),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::text::Span;
    use crate::score::{Clef, Mark, Place};

    fn p(text: &str) -> Pitch {
        text.parse().unwrap()
    }

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
        catalogue()
            .identify_all(parts)
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
    fn the_shipped_file_loads_and_is_ordered() {
        let shipped = Catalogue::read(BUILT_IN).unwrap();
        assert_eq!(shipped.instruments.len(), 37);
        assert_eq!(shipped.sections.len(), 14);
        for i in &shipped.instruments {
            let r = &i.range;
            for (low, high) in [Some(r.professional), Some(r.possible), r.comfortable]
                .into_iter()
                .chain([r.school, r.lead, r.extension.as_ref().map(|e| e.range)])
                .flatten()
            {
                assert!(low.midi() < high.midi(), "{}", i.key);
            }
            assert!(r.possible.0.midi() <= r.professional.0.midi(), "{}", i.key);
            assert!(r.possible.1.midi() >= r.professional.1.midi(), "{}", i.key);
            for (group, source) in &i.sources {
                let tags = ["published: ", "common practice, no source", "from memory"];
                let others = ["reference library: ", "computed: "];
                assert!(
                    tags.iter().chain(&others).any(|t| source.contains(t)),
                    "{} {group}: {source}",
                    i.key
                );
            }
            assert_eq!(
                i.single_line,
                !matches!(
                    i.section.as_str(),
                    "piano" | "guitar" | "vibraphone" | "drums"
                )
            );
        }
    }

    #[test]
    fn every_instrument_is_called_by_its_own_name_and_key() {
        for i in &catalogue().instruments {
            assert_eq!(
                catalogue().named(&i.name).map(|f| &f.key),
                Some(&i.key),
                "{}",
                i.name
            );
            assert_eq!(
                catalogue().named(&i.key).map(|f| &f.key),
                Some(&i.key),
                "{}",
                i.key
            );
        }
    }

    #[test]
    fn names_in_six_languages() {
        let table = [
            // English
            ("Alto Saxophone", "alto-saxophone"),
            ("Alto Sax 1", "alto-saxophone"),
            ("Sax alto", "alto-saxophone"),
            ("Sax, Alto", "alto-saxophone"),
            ("A. Sx. 2", "alto-saxophone"),
            ("ASax1", "alto-saxophone"),
            ("AltoSax1", "alto-saxophone"),
            ("1st Alto Sax", "alto-saxophone"),
            ("Lead Alto", "alto-saxophone"),
            ("Alto 1", "alto-saxophone"),
            ("Alto Saxaphone", "alto-saxophone"),
            ("E\u{266d} Alto Saxophone II", "alto-saxophone"),
            ("Alto Sax in Eb", "alto-saxophone"),
            ("ALTO SAXOPHONES", "alto-saxophone"),
            ("Woodwind 1 (Alto Sax)", "alto-saxophone"),
            ("Reed 3 - Tenor Sax/Clarinet", "tenor-saxophone"),
            ("Tbn. 4 (B. Tbn.)", "bass-trombone"),
            ("Alto Saxes", "alto-saxophone"),
            ("Es-Altsaxophon", "alto-saxophone"),
            ("Tromba in Si\u{266d} I", "trumpet"),
            ("Women", "voice"),
            ("Männer", "voice"),
            ("T. Sax 2", "tenor-saxophone"),
            ("Tenor Sax (Solo)", "tenor-saxophone"),
            ("Tenor 2", "tenor-saxophone"),
            ("Tenor in Bb", "tenor-saxophone"),
            ("Bari", "baritone-saxophone"),
            ("Bari Sax", "baritone-saxophone"),
            ("B. Sx.", "baritone-saxophone"),
            ("Baritone", "baritone-saxophone"),
            ("Soprano Sax", "soprano-saxophone"),
            ("Bass Sax", "bass-saxophone"),
            ("Bb Trumpet 3", "trumpet"),
            ("Trumpet in Bb", "trumpet"),
            ("Trumpet in B-flat 2", "trumpet"),
            ("Lead Trumpet", "trumpet"),
            ("Tpt. 4", "trumpet"),
            ("Trumpet 1 (Flugelhorn)", "trumpet"),
            ("Trumpet 2/Flugel", "trumpet"),
            ("Trumpt 2", "trumpet"),
            ("C Trumpet", "trumpet-in-c"),
            ("Trumpet in C", "trumpet-in-c"),
            ("Flugelhorn", "flugelhorn"),
            ("Cornet 1", "cornet"),
            ("Horn in F 1", "french-horn"),
            ("F Horn", "french-horn"),
            ("Horn F", "french-horn"),
            ("Trombone 4 (Bass)", "bass-trombone"),
            ("Bass Trombone", "bass-trombone"),
            ("B. Tbn.", "bass-trombone"),
            ("Trombone 1", "trombone"),
            ("Trombone in Bb", "trombone"),
            ("Trombone (Bass Clef)", "trombone"),
            ("Tbn. III", "trombone"),
            ("Euphonium", "euphonium"),
            ("Baritone T.C.", "euphonium-treble-clef"),
            ("Tuba", "tuba"),
            ("Tuba in Eb", "tuba"),
            ("Clarinet in Bb 1", "clarinet"),
            ("EbClarinet", "-"),
            ("Clarinet in A", "clarinet-in-a"),
            ("Clarinet A", "clarinet-in-a"),
            ("Bass Clarinet", "bass-clarinet"),
            ("Flute 1", "flute"),
            ("Alto Flute", "alto-flute"),
            ("Piccolo", "piccolo"),
            ("Oboe 2", "oboe"),
            ("English Horn", "english-horn"),
            ("Bassoon", "bassoon"),
            ("Acoustic Guitar", "guitar"),
            ("Guitar (Electric)", "guitar"),
            ("Bass", "double-bass"),
            ("Acoustic Bass", "double-bass"),
            ("Bass Guitar", "electric-bass"),
            ("Piano RH", "piano"),
            ("Vibes", "vibraphone"),
            ("Drum Set", "drums"),
            ("Soprano Voice", "soprano-voice"),
            ("Bass (Voice)", "bass-voice"),
            ("Lead Vocal", "voice"),
            // German
            ("Altsaxophon", "alto-saxophone"),
            ("Alt-Sax 2", "alto-saxophone"),
            ("Alt Saxophon in Es", "alto-saxophone"),
            ("2. Tenorsaxophon", "tenor-saxophone"),
            ("Baritonsaxophon", "baritone-saxophone"),
            ("Trompete in B", "trumpet"),
            ("1. Trompete", "trumpet"),
            ("Trompete B 2", "trumpet"),
            ("Trompete in C", "trumpet-in-c"),
            ("Flügelhorn", "flugelhorn"),
            ("Posaune 1", "trombone"),
            ("Bassposaune", "bass-trombone"),
            ("Klarinette in B", "clarinet"),
            ("Bassklarinette", "bass-clarinet"),
            ("Querflöte", "flute"),
            ("Englischhorn", "english-horn"),
            ("Kontrabaß", "double-bass"),
            ("Klavier", "piano"),
            ("Schlagzeug", "drums"),
            ("Sopranstimme", "soprano-voice"),
            // French
            ("Saxophone alto 1", "alto-saxophone"),
            ("1er saxophone ténor", "tenor-saxophone"),
            ("Saxophone baryton en mi bémol", "baritone-saxophone"),
            ("2e trompette", "trumpet"),
            ("Trompette en si bémol", "trumpet"),
            ("Trompette en ut", "trumpet-in-c"),
            ("Trombone basse", "bass-trombone"),
            ("Cor en fa", "french-horn"),
            ("Cor anglais", "english-horn"),
            ("Flûte traversière", "flute"),
            ("Clarinette basse", "bass-clarinet"),
            ("Contrebasse", "double-bass"),
            ("Batterie", "drums"),
            ("Flute\u{300}", "flute"),
            // Italian
            ("Sax contralto", "alto-saxophone"),
            ("Sassofono tenore", "tenor-saxophone"),
            ("1ª tromba in Sib", "trumpet"),
            ("Tromba in do", "trumpet-in-c"),
            ("Trombone basso", "bass-trombone"),
            ("Corno inglese", "english-horn"),
            ("Corno in Fa", "french-horn"),
            ("Ottavino", "piccolo"),
            ("Flauto in sol", "alto-flute"),
            ("Contrabbasso", "double-bass"),
            // Spanish
            ("Saxofón alto", "alto-saxophone"),
            ("Saxofón barítono", "baritone-saxophone"),
            ("Trompeta 3ª", "trumpet"),
            ("Trombón bajo", "bass-trombone"),
            ("Flauta travesera", "flute"),
            ("Clarinete en La", "clarinet-in-a"),
            ("Contrabajo", "double-bass"),
            ("Bajo eléctrico", "electric-bass"),
            ("Batería", "drums"),
            // Dutch
            ("Altsaxofoon", "alto-saxophone"),
            ("2e tenorsaxofoon", "tenor-saxophone"),
            ("Bastrombone", "bass-trombone"),
            ("Dwarsfluit", "flute"),
            ("Basklarinet", "bass-clarinet"),
            ("Bugel", "flugelhorn"),
            ("Slagwerk", "drums"),
            ("Zang", "voice"),
            // Not in the catalogue, and not to be taken for what is
            ("Violin 1", "-"),
            ("Contrabass Clarinet", "-"),
            ("Alto Trombone", "-"),
            ("Piccolo Trumpet", "-"),
            ("Bass Flute", "-"),
            ("Steel Drums", "-"),
            ("Basset Horn", "-"),
            ("Tenor Horn", "-"),
            ("Horn in Eb", "-"),
            ("Clarinet in Eb", "-"),
            ("Part 1", "-"),
            ("1", "-"),
            ("", "-"),
            ("\u{0} ((((", "-"),
        ];
        let wrong: Vec<String> = table
            .iter()
            .filter_map(|(text, key)| {
                let found = catalogue().named(text).map_or("-", |i| i.key.as_str());
                (found != *key).then(|| format!("{text}: found {found}, expected {key}"))
            })
            .collect();
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
        assert!(table.len() >= 80);
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
        let seat = |text| Name::read(text).seat;
        assert_eq!(seat("Trumpet 3"), Some(3));
        assert_eq!(seat("2nd Trombone"), Some(2));
        assert_eq!(seat("Tenor Sax IV"), Some(4));
        assert_eq!(seat("1. Trompete in B"), Some(1));
        assert_eq!(seat("Zweite Posaune"), Some(2));
        assert_eq!(seat("Trumpet 1 & 2"), Some(1));
        assert_eq!(seat("Trumpet 99999999999999999999"), None);
        assert_eq!(seat("Trumpet 0"), None);
        assert_eq!(
            keys_of(&["Trumpet", "Trumpet 1", "Trumpet", "Piano"]),
            ["trumpet 2", "trumpet 1", "trumpet 3", "piano"]
        );
        let crowd: Vec<Part> = (0..300).map(|_| part("Trumpet")).collect();
        assert_eq!(keys(&crowd)[299], "trumpet");
    }

    #[test]
    fn a_damaged_name_takes_no_time() {
        let long = "trumpet/alto (".repeat(100_000);
        assert!(catalogue().named(&long).is_some());
        assert!(catalogue().named(&"x ".repeat(1_000_000)).is_none());
    }

    #[test]
    fn verdicts_on_ranges() {
        let named = |text| catalogue().named(text).unwrap();
        let alto = named("Alto Sax");
        assert_eq!(
            alto.judge_range(p("C5").midi(), None),
            RangeVerdict::Comfortable
        );
        assert_eq!(
            alto.judge_range(p("E6").midi(), None),
            RangeVerdict::Professional
        );
        // Nearly every alto has the key.
        assert_eq!(
            alto.judge_range(p("F#6").midi(), None),
            RangeVerdict::Professional
        );
        assert_eq!(
            alto.judge_range(p("G6").midi(), None),
            RangeVerdict::Impossible { limit: p("F#6") }
        );
        assert_eq!(
            alto.judge_range(p("A3").midi(), None),
            RangeVerdict::Impossible { limit: p("Bb3") }
        );
        let trumpet = named("Trumpet");
        assert_eq!(
            trumpet.judge_range(p("E6").midi(), Some(1)),
            RangeVerdict::Professional
        );
        assert_eq!(
            trumpet.judge_range(p("E6").midi(), Some(2)),
            RangeVerdict::Stretched { limit: p("C6") }
        );
        assert_eq!(
            trumpet.judge_range(p("Ab6").midi(), Some(1)),
            RangeVerdict::Stretched { limit: p("G6") }
        );
        assert_eq!(
            trumpet.judge_range(p("C#7").midi(), Some(1)),
            RangeVerdict::Impossible { limit: p("C7") }
        );
        let trombone = named("Trombone");
        assert_eq!(
            trombone.judge_range(p("D2").midi(), None),
            RangeVerdict::Extension {
                name: "F attachment",
                limit: p("E2")
            }
        );
        assert_eq!(
            trombone.judge_range(p("G1").midi(), None),
            RangeVerdict::Stretched { limit: p("E2") }
        );
        let piano = named("Piano");
        assert_eq!(
            piano.judge_range(p("C8").midi(), None),
            RangeVerdict::Comfortable
        );
        // Far outside any range.
        let far = Pitch::new(crate::ground::pitch::Step::B, 3, 9);
        assert_eq!(
            piano.judge_range(far.midi(), Some(255)),
            RangeVerdict::Impossible { limit: p("C8") }
        );
    }

    #[test]
    fn sections_by_what_people_call_them() {
        for (text, key) in [
            ("saxes", "saxes"),
            ("Sax section", "saxes"),
            ("Saxophones", "saxes"),
            ("reeds", "saxes"),
            ("sax soli", "saxes"),
            ("bones", "trombones"),
            ("Posaunen", "trombones"),
            ("TPTS", "trumpets"),
            ("SATB", "voices"),
            ("Choir", "voices"),
            ("Männerchor", "voices"),
            ("vocals", "voices"),
            ("keys", "piano"),
            ("Hörner", "french-horns"),
        ] {
            assert_eq!(
                catalogue().section_named(text).map(|s| s.key.as_str()),
                Some(key),
                "{text}"
            );
        }
        for text in ["horns", "strings", "", "  ", "section"] {
            assert_eq!(catalogue().section_named(text), None, "{text}");
        }
        for i in &catalogue().instruments {
            assert!(catalogue().section(&i.section).is_some());
        }
    }

    #[test]
    fn a_users_file_changes_and_adds() {
        let changed = Catalogue::with(
            "[[instrument]]\nkey = \"baritone-saxophone\"\nprofessional = [\"Bb3\", \"F6\"]\n\
             [instrument.source]\nprofessional = \"our band: no low A\"\n",
        )
        .unwrap();
        let bari = changed.named("Bari").unwrap();
        assert_eq!(bari.range.professional.0, p("Bb3"));
        assert_eq!(bari.sources["professional"], "our band: no low A");
        assert_eq!(bari.sources["extension"], "common practice, no source");
        assert_eq!(changed.instruments.len(), catalogue().instruments.len());
    }

    #[test]
    fn a_users_mistakes_are_named() {
        let error = |entry: &str| Catalogue::with(entry).unwrap_err().to_string();
        let upside_down = error("[[instrument]]\nkey = \"flute\"\nprofessional = [\"D7\", \"C4\"]");
        assert!(
            upside_down.contains("`flute`, professional: found D7 to C4"),
            "{upside_down}"
        );
        let no_pitch = error("[[instrument]]\nkey = \"flute\"\nprofessional = [\"H4\", \"C7\"]");
        assert!(no_pitch.contains("`H4` is not a pitch"), "{no_pitch}");
        let outside = error("[[instrument]]\nkey = \"flute\"\nschool = [\"C3\", \"C5\"]");
        assert!(outside.contains("within C4 to D7"), "{outside}");
        let section = error("[[instrument]]\nkey = \"flute\"\nsection = \"winds\"");
        assert!(
            section.contains("`winds`, which does not exist; use one of: bass"),
            "{section}"
        );
        let source = error("[[instrument]]\nkey = \"bass-saxophone\"\nschool = [\"C4\", \"C5\"]");
        assert!(source.contains("gives no source for school"), "{source}");
        let word = error("[[instrument]]\nkey = \"flute\"\ncolour = \"silver\"");
        assert!(word.contains("colour"), "{word}");
        assert!(error("instrument = 3").contains("cannot be read"));
        assert!(error("[[section]\n").contains("cannot be read"));
        assert!(error("[[instrument]]\nname = \"kazoo\"").contains("missing field"));
    }
}
