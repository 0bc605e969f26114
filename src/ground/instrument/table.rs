//! `rules/instruments.toml`, and the changes that house styles lay over it.

use super::matching::KnownNames;
use super::ranges::holds;
use super::{
    Catalogue, Extension, Family, FamilyEntry, GradeRange, HandSpan, Instrument, Mallets, NameList,
    Properties, Property, PropertyEntry, Ranges, Register, RegisterKind, Section,
};
use crate::ground::pitch::{Pitch, PitchError, Transposition};
use serde::de::{SeqAccess, Visitor};
use serde::{Deserialize, Deserializer};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::{LazyLock, Mutex, PoisonError};

const BUILT_IN: &str = include_str!("../../../rules/instruments.toml");

/// The same made ready by `build.rs`.
const BUILT_IN_AS_JSON: &str = include_str!(concat!(env!("OUT_DIR"), "/instruments.json"));

/// The catalogue that ships with the program.
pub fn catalogue() -> &'static Catalogue {
    // The file is built in and a test reads it, so the empty catalogue is never seen.
    static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| {
        let file = serde_json::from_str(BUILT_IN_AS_JSON).ok();
        let catalogue = file.and_then(|file| Catalogue::from_file(file).ok());
        catalogue.unwrap_or_default()
    });
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
pub struct CatalogueInUse(Option<&'static Catalogue>);

impl CatalogueInUse {
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
    /// A range holds something that is not a pitch.
    #[error(
        "instrument `{instrument}`, {group}: {error} (written pitch, lowest first, as in [\"Bb3\", \"F6\"])"
    )]
    Pitch {
        /// The instrument's key.
        instrument: String,
        /// The group of values.
        group: &'static str,
        /// What is wrong with the pitch.
        error: PitchError,
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

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileOfInstruments {
    #[serde(default)]
    property: BTreeMap<Property, PropertyEntry>,
    #[serde(default)]
    family: Vec<FamilyEntry>,
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
    family: Family,
    #[serde(default)]
    is: Properties,
    #[serde(default)]
    is_not: Properties,
    #[serde(default)]
    transpose: TransposeEntry,
    clefs: Vec<String>,
    single_line: bool,
    #[serde(default)]
    sounds: Vec<String>,
    professional: Option<(String, String)>,
    possible: Option<(String, String)>,
    extension: Option<ExtensionEntry>,
    lead: Option<(String, String)>,
    comfortable: Option<(String, String)>,
    school: Option<(String, String)>,
    names: NameList,
    #[serde(default)]
    bare: NameList,
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

impl<'de> Deserialize<'de> for NameList {
    /// One text with commas, or a list.
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Names;
        impl<'de> Visitor<'de> for Names {
            type Value = NameList;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("names in a list, or in one text with commas")
            }

            fn visit_str<E>(self, text: &str) -> Result<NameList, E> {
                Ok(NameList(text.to_owned()))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<NameList, A::Error> {
                let mut text = String::new();
                while let Some(name) = list.next_element::<String>()? {
                    // A name of the list may hold a comma.
                    text.push_str(&name.replace(',', " "));
                    text.push('\n');
                }
                Ok(NameList(text))
            }
        }
        from.deserialize_any(Names)
    }
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

#[derive(Default, PartialEq, Eq, Deserialize)]
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
        let professional = optional("professional", &self.professional)?.unwrap_or(Ranges::OPEN);
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
            ("transpose", self.transpose != TransposeEntry::default()),
            ("professional", self.professional.is_some()),
            ("possible", self.possible.is_some()),
            ("extension", self.extension.is_some()),
            ("lead", self.lead.is_some()),
            ("comfortable", self.comfortable.is_some()),
            ("school", self.school.is_some()),
            ("strings", !self.strings.is_empty()),
            ("mallets", self.mallets.is_some()),
            ("is", self.is != Properties::default()),
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

    /// `inherited` is what its section and its family are like.
    fn instrument(self, inherited: Properties) -> Result<Instrument, CatalogueError> {
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
        Ok(Instrument {
            transposition: Transposition::from_parts(
                i16::from(self.transpose.diatonic),
                i16::from(self.transpose.chromatic),
                i16::from(self.transpose.octave),
            ),
            sound: self.sounds.first().cloned(),
            range,
            properties: inherited.changed(self.is, self.is_not),
            source: source.join("; "),
            names: self.names,
            bare: self.bare,
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
        toml::from_str(text)
            .map_err(|e| CatalogueError::Syntax(e.to_string()))
            .and_then(Self::from_file)
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
        table
            .try_into()
            .map_err(|e: toml::de::Error| CatalogueError::Syntax(e.to_string()))
            .and_then(Self::from_file)
    }

    fn from_file(file: FileOfInstruments) -> Result<Self, CatalogueError> {
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
            let Some(section) = file.section.iter().find(|s| s.key == entry.section) else {
                return Err(CatalogueError::UnknownSection {
                    instrument: entry.key,
                    section: entry.section,
                    known: keys.into_iter().collect::<Vec<_>>().join(", "),
                });
            };
            let inherited = file
                .family
                .iter()
                .find(|f| f.key == entry.family)
                .map_or_else(Properties::default, |f| f.properties)
                .changed(section.properties, section.is_not);
            instruments.push(entry.instrument(inherited)?);
        }
        Ok(Self {
            instruments,
            sections: file.section,
            families: file.family,
            properties: file.property,
            known: KnownNames::default(),
        })
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::instrument::catalogue;

    fn p(text: &str) -> Pitch {
        text.parse().unwrap()
    }

    /// The text list of a shipped entry.
    fn texts(entry: &toml::Value, list: &str) -> Vec<String> {
        let list = entry.get(list).and_then(toml::Value::as_array);
        list.into_iter()
            .flatten()
            .map(|text| text.as_str().unwrap().to_owned())
            .collect()
    }

    fn shipped(list: &str) -> Vec<toml::Value> {
        shipped_table()[list].as_array().unwrap().clone()
    }

    #[test]
    fn the_shipped_file_is_read() {
        if let Err(error) = Catalogue::read(BUILT_IN) {
            panic!("rules/instruments.toml: {error}");
        }
    }

    #[test]
    fn ranges_go_up_and_lie_in_each_other() {
        for i in &catalogue().instruments {
            let r = &i.range;
            let extension = r.extension.as_ref().map(|e| e.range);
            for (low, high) in [Some(r.professional), Some(r.possible), r.comfortable]
                .into_iter()
                .chain([r.school, r.lead, extension])
                .flatten()
                .chain(i.registers.iter().map(|r| r.range))
                .chain(i.grades.iter().map(|g| g.range))
            {
                assert!(
                    low.midi() < high.midi(),
                    "{}: {low} to {high}: write the lowest note first",
                    i.key
                );
            }
            for inner in [Some(r.professional), r.comfortable, r.school, r.lead] {
                let (low, high) = inner.unwrap_or(r.professional);
                assert!(
                    holds(r.possible, low.midi()) && holds(r.possible, high.midi()),
                    "{}: {low} to {high} is not within `possible`",
                    i.key
                );
            }
        }
    }

    /// The kinds of sources that a value may name.
    const TAGS: [&str; 5] = [
        "published: ",
        "reference library: ",
        "computed: ",
        "common practice, no source",
        "from memory",
    ];

    #[test]
    fn every_source_is_of_a_kind() {
        let book = catalogue();
        let of_groups = book.instruments.iter().flat_map(|i| {
            let groups = i.sources.iter().map(|(group, text)| (group.clone(), text));
            let registers = i.registers.iter().map(|r| ("registers".into(), &r.source));
            let grades = i.grades.iter().map(|g| ("grades".into(), &g.source));
            groups
                .chain(registers)
                .chain(grades)
                .map(move |(group, text)| (format!("{}, {group}", i.key), text))
        });
        let of_families = book
            .families
            .iter()
            .map(|f| (format!("family {}", f.key), &f.source));
        let of_sections = book
            .sections
            .iter()
            .filter_map(|s| Some((format!("section {}", s.key), s.source.as_ref()?)));
        let of_properties = book
            .properties
            .iter()
            .map(|(p, entry)| (format!("property {p:?}"), &entry.source));
        for (of, source) in of_groups
            .chain(of_families)
            .chain(of_sections)
            .chain(of_properties)
        {
            assert!(
                TAGS.iter().any(|tag| source.contains(tag)),
                "{of}: the source is `{source}`; begin it with one of: {}",
                TAGS.join("; ")
            );
        }
    }

    #[test]
    fn every_word_of_the_table_has_its_entry() {
        let book = catalogue();
        for property in Property::ALL {
            let entry = book.properties.get(property);
            assert!(
                entry.is_some_and(|e| !e.about.is_empty()),
                "{property:?}: add a [property] entry with `about` and `source`"
            );
        }
        for i in &book.instruments {
            assert!(
                book.families.iter().any(|f| f.key == i.family),
                "{}: the family `{}` has no entry; add [[family]] key = \"{}\" with the properties in `is`, and `source`",
                i.key,
                i.family,
                i.family
            );
        }
        for s in &book.sections {
            let says_something = s.properties != Properties::default()
                || s.is_not != Properties::default()
                || s.choir_evidence != 0;
            assert!(
                !says_something || s.source.is_some(),
                "section {}: add the `source` of its properties",
                s.key
            );
            for key in s.seats.iter().flatten() {
                assert!(
                    book.instrument(key).is_some_and(|i| i.section == s.key),
                    "section {}: `{key}` in its seats is not an instrument of this section",
                    s.key
                );
            }
        }
    }

    #[test]
    fn entries_agree_with_themselves() {
        for i in &catalogue().instruments {
            // A transposition in letters that does not fit its semitones spells C as B## or Dbb.
            let c = p("C5").transposed(i.transposition);
            assert!(
                ["", "b", "#"].contains(&&c.to_string()[1..c.to_string().len() - 1]),
                "{}: written C5 sounds {c}; `diatonic` and `chromatic` do not fit each other",
                i.key
            );
            for clef in &i.clefs {
                assert!(
                    ["G", "F", "C", "P", "G8vb"].contains(&clef.as_str()),
                    "{}: no clef is called `{clef}`; use G, F, C, P or G8vb",
                    i.key
                );
            }
            let section = catalogue().section(&i.section).unwrap();
            let many = section.chordal
                || i.is(Property::Unpitched)
                || i.hand_span.is_some()
                || i.mallets.is_some()
                || !i.strings.is_empty();
            assert!(
                !(i.single_line && many),
                "{}: it plays several notes at once (a chordal section, hand_span, mallets or strings), so write single_line = false",
                i.key
            );
        }
    }

    #[test]
    fn every_name_of_the_table_finds_its_entry() {
        let book = catalogue();
        let mut wrong = Vec::new();
        for (index, entry) in shipped("instrument").iter().enumerate() {
            let key = &book.instruments[index].key;
            for name in [texts(entry, "names"), texts(entry, "bare")].concat() {
                let found = book.match_text(&name);
                let found = found.map(|m| m.candidates).unwrap_or_default();
                if !found.contains(&index) {
                    let others: Vec<&str> = found
                        .iter()
                        .map(|&i| book.instruments[i].key.as_str())
                        .collect();
                    wrong.push(format!("{key}: `{name}` is read as {others:?}"));
                }
            }
        }
        assert!(
            wrong.is_empty(),
            "{}\ntake these names away, or write each in the list (`names`, `bare`) in which the others have it",
            wrong.join("\n")
        );
        for entry in shipped("section") {
            let key = entry["key"].as_str().unwrap();
            for alias in texts(&entry, "aliases") {
                let found = book.section_named(&alias).map(|s| s.key.as_str());
                assert_eq!(
                    found,
                    Some(key),
                    "the alias `{alias}` of the section {key} belongs to another section; take it away"
                );
            }
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
