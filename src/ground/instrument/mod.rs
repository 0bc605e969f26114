//! Instruments and sections: what a part may be asked for, and what people call it.
//!
//! The values stand in `rules/instruments.toml` ([`Catalogue::read`]). All ranges are written pitch.
//! What an instrument is like is a set of [`Property`] words of that table.

mod index;
mod joined;
mod matching;
mod name;
mod property;
mod ranges;
mod table;

pub use joined::{Member, joined_name};
pub(crate) use name::{names_several, seat_in, stated_key};
pub use property::{Family, Properties, Property};
pub use ranges::{Extension, GradeRange, RangeVerdict, Ranges, Register, RegisterKind};
pub use table::{CatalogueError, CatalogueInUse, catalogue};
pub(crate) use table::{changed, shipped_table};

use crate::ground::pitch::{Pitch, Transposition};
use matching::KnownNames;
use serde::Deserialize;
use std::collections::BTreeMap;

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
    /// Its family.
    pub family: Family,
    /// What it is like: its own properties, those of its section and those of its family.
    pub properties: Properties,
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
    /// What people call it.
    names: NameList,
    /// What horns and voices are called alike.
    bare: NameList,
}

/// Names in one text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct NameList(String);

impl NameList {
    fn iter(&self) -> impl Iterator<Item = &str> {
        self.0
            .split([',', '\n'])
            .map(str::trim)
            .filter(|name| !name.is_empty())
    }
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
    /// What it is like, and with it its instruments.
    #[serde(default, rename = "is")]
    pub properties: Properties,
    /// What its instruments are not like, though their family is.
    #[serde(default)]
    pub is_not: Properties,
    /// How much a part of this section that is named in full speaks for a choir: parts called just
    /// "Alto" beside it are voices where the sum is above 0.
    #[serde(default)]
    pub choir_evidence: i32,
    /// Where its properties come from.
    pub source: Option<String>,
}

impl Section {
    /// Whether it has the property.
    pub fn is(&self, property: Property) -> bool {
        self.properties.has(property)
    }
}

/// A family of instruments as the table has it.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FamilyEntry {
    /// The family.
    pub key: Family,
    /// What its instruments are like.
    #[serde(default, rename = "is")]
    pub properties: Properties,
    /// Where that comes from.
    pub source: String,
}

/// What a property says of an instrument.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PropertyEntry {
    /// What it says, in a sentence, and what the program makes of it.
    pub about: String,
    /// Where that comes from.
    pub source: String,
}

/// Instruments and sections.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Catalogue {
    /// The instruments; of those that share a name, the usual one first.
    pub instruments: Vec<Instrument>,
    /// The sections.
    pub sections: Vec<Section>,
    /// The families.
    pub families: Vec<FamilyEntry>,
    /// What each property says.
    pub properties: BTreeMap<Property, PropertyEntry>,
    /// What names of parts have turned out to be.
    known: KnownNames,
}

impl Instrument {
    /// Whether it has the property.
    pub fn is(&self, property: Property) -> bool {
        self.properties.has(property)
    }
}

impl Catalogue {
    /// The section with this key.
    pub fn section(&self, key: &str) -> Option<&Section> {
        self.sections.iter().find(|s| s.key == key)
    }

    /// The instrument with this key.
    pub fn instrument(&self, key: &str) -> Option<&Instrument> {
        self.instruments.iter().find(|i| i.key == key)
    }
}
