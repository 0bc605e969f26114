//! What may stand in each of the four categories of a chord: root, third, fifth, and seventh or sixth. The
//! notes and their sources stand in `rules/harmonisations.toml`.

use crate::ground::chord::{Chord, Degree, Family};
use serde::Deserialize;
use smallvec::{SmallVec, smallvec};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// A degree that may stand in a category.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct CategoryNote {
    pub(super) degree: Degree,
    /// A tension that only the lead or the symbol may bring in.
    pub(super) lead_only: bool,
}

/// The degrees that may stand in a category, the chord's own first.
pub(super) type CategoryNotes = SmallVec<[CategoryNote; 8]>;

/// Root, third, fifth and seventh of a chord, with the tensions that may take their places.
pub(super) struct Categories {
    pub(super) of: [CategoryNotes; 4],
}

impl Categories {
    /// The categories of a chord; `None` when it has no four-part form (a power chord, a pedal).
    pub(super) fn new(chord: &Chord) -> Option<Self> {
        let family = chord.family();
        let in_place = SUBSTITUTES.get(&family)?;
        let third = chord.third().or(in_place.plain_third)?;
        let fifth = chord.fifth();
        let plain_fifth = fifth.unwrap_or(in_place.plain_fifth);
        let mut root: CategoryNotes = smallvec![plain(Degree::new(1, 0))];
        let mut thirds: CategoryNotes = smallvec![plain(third)];
        let mut fifths: CategoryNotes = smallvec![plain(plain_fifth)];
        let mut sevenths: CategoryNotes = chord.seventh().map(plain).into_iter().collect();
        root.extend_from_slice(&in_place.root);
        thirds.extend_from_slice(&in_place.third);
        fifths.extend_from_slice(&in_place.fifth);
        if fifth.is_none_or(|f| f.alter == 0) {
            fifths.extend_from_slice(&in_place.natural_fifth);
        }
        sevenths.extend_from_slice(&in_place.seventh);
        if let Some(bass) = chord.bass.filter(|b| !chord.contains(b.class())) {
            let up = bass.class().above(chord.root.class());
            let of_bass = in_place.over_bass.iter();
            sevenths.extend(of_bass.copied().filter(|c| c.degree.semitones() == up));
        }
        sevenths.extend_from_slice(&in_place.added);
        if sevenths.is_empty() {
            return None;
        }
        for (notes, numbers) in [
            (&mut root, [9, 2]),
            (&mut fifths, [13, 11]),
            (&mut thirds, [11, 4]),
        ] {
            add_named(chord, notes, numbers, plain_fifth);
        }
        let mut of = [root, thirds, fifths, sevenths];
        for notes in &mut of {
            keep_first_of_each(notes);
        }
        Some(Self { of })
    }
}

const fn plain(degree: Degree) -> CategoryNote {
    CategoryNote {
        degree,
        lead_only: false,
    }
}

/// The tensions of these numbers that the symbol names may stand in an inner voice.
fn add_named(chord: &Chord, notes: &mut CategoryNotes, numbers: [u8; 2], plain_fifth: Degree) {
    for degree in &chord.degrees {
        let same = |c: &CategoryNote| c.degree.semitones() == degree.semitones();
        let is_fifth = notes.iter().any(|c| same(c) && c.degree == plain_fifth);
        if !numbers.contains(&degree.number) || is_fifth {
            continue;
        }
        // 11 is for the third, #11 for the fifth.
        if degree.number == 11 && (degree.alter > 0) != (numbers == [13, 11]) {
            continue;
        }
        match notes.iter_mut().find(|c| same(c)) {
            Some(note) => note.lead_only = false,
            None => notes.push(plain(*degree)),
        }
    }
}

fn keep_first_of_each(notes: &mut CategoryNotes) {
    let mut seen = 0u16;
    notes.retain(|c| {
        let own = 1 << c.degree.semitones();
        let new = seen & own == 0;
        seen |= own;
        new
    });
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    chord: Vec<Row>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
struct Row {
    families: Vec<Family>,
    root: String,
    third: String,
    fifth: String,
    natural_fifth: String,
    seventh: String,
    over_bass: String,
    added: String,
    plain_third: Option<String>,
    plain_fifth: Option<String>,
}

/// What may take the place of a chord's own notes.
#[derive(Clone, Debug)]
struct Substitutes {
    root: CategoryNotes,
    third: CategoryNotes,
    fifth: CategoryNotes,
    natural_fifth: CategoryNotes,
    seventh: CategoryNotes,
    over_bass: CategoryNotes,
    added: CategoryNotes,
    plain_third: Option<Degree>,
    plain_fifth: Degree,
}

/// Why the table could not be read.
#[derive(Debug, thiserror::Error)]
enum TableError {
    #[error("`{0}` is not a degree: write a number 1 to 13 with b or # before it, such as b9")]
    Degree(String),
    #[error("the family {0:?} stands in two rows: keep it in one of them")]
    Twice(Family),
}

fn read_degree(text: &str) -> Result<Degree, TableError> {
    Degree::read(text).ok_or_else(|| TableError::Degree(text.to_owned()))
}

/// Degrees such as `9 (b9)`.
fn read_notes(text: &str) -> Result<CategoryNotes, TableError> {
    text.split_whitespace()
        .map(|word| {
            let inner = word.strip_prefix('(').and_then(|w| w.strip_suffix(')'));
            Ok(CategoryNote {
                degree: read_degree(inner.unwrap_or(word))?,
                lead_only: inner.is_some(),
            })
        })
        .collect()
}

fn substitutes(file: File) -> Result<BTreeMap<Family, Substitutes>, TableError> {
    let mut table = BTreeMap::new();
    for row in file.chord {
        let plain_third = row.plain_third.as_deref().map(read_degree).transpose()?;
        let plain_fifth = row.plain_fifth.as_deref().map(read_degree).transpose()?;
        let substitutes = Substitutes {
            root: read_notes(&row.root)?,
            third: read_notes(&row.third)?,
            fifth: read_notes(&row.fifth)?,
            natural_fifth: read_notes(&row.natural_fifth)?,
            seventh: read_notes(&row.seventh)?,
            over_bass: read_notes(&row.over_bass)?,
            added: read_notes(&row.added)?,
            plain_third,
            plain_fifth: plain_fifth.unwrap_or(Degree::new(5, 0)),
        };
        for family in row.families {
            if table.insert(family, substitutes.clone()).is_some() {
                return Err(TableError::Twice(family));
            }
        }
    }
    Ok(table)
}

#[allow(
    clippy::expect_used,
    reason = "built-in data, proved by the test `every_family_has_its_row`"
)]
static SUBSTITUTES: LazyLock<BTreeMap<Family, Substitutes>> = LazyLock::new(|| {
    let table = include_str!(concat!(env!("OUT_DIR"), "/harmonisations.json"));
    let file = serde_json::from_str(table).expect("built-in data");
    substitutes(file).expect("built-in data")
});

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::chord::parse;

    /// The categories of a symbol as the table writes them.
    fn categories(symbol: &str) -> Option<[String; 4]> {
        let text = |c: &CategoryNote| {
            if c.lead_only {
                format!("({})", c.degree)
            } else {
                c.degree.to_string()
            }
        };
        let join = |notes: CategoryNotes| notes.iter().map(text).collect::<Vec<_>>().join(" ");
        let chord = parse(symbol).unwrap().unwrap();
        Categories::new(&chord).map(|c| c.of.map(join))
    }

    #[test]
    fn every_family_has_its_row() {
        let file = toml::from_str(include_str!("../../rules/harmonisations.toml")).unwrap();
        let table = substitutes(file).unwrap();
        // One after the other in the order of the type, which ends with `Other`.
        let families: Vec<usize> = table.keys().map(|f| *f as usize).collect();
        assert_eq!(families, (0..=Family::Other as usize).collect::<Vec<_>>());
    }

    #[test]
    fn a_wrong_row_is_refused() {
        let read = |row: &str| {
            let file: Result<File, _> = toml::from_str(&format!("[[chord]]\n{row}"));
            let table = file.map_err(|e| e.to_string());
            let table = table.and_then(|file| substitutes(file).map_err(|e| e.to_string()));
            table.unwrap_err()
        };
        assert!(read("root = \"b15\"").contains("`b15` is not a degree"));
        assert!(read("families = [\"sixth\", \"sixth\"]").contains("two rows"));
        assert!(read("sixth = \"6\"").contains("unknown field"));
    }

    #[test]
    fn the_categories_are_those_of_the_symbol() {
        let expected: [(&str, [&str; 4]); 9] = [
            ("C", ["1 9", "3", "5 (#11)", "6 7 9"]),
            ("Bb/C", ["1 9", "3", "5 (#11)", "6 7 9"]),
            ("Bb/Ab", ["1 9", "3", "5 (#11)", "6 7 b7 9"]),
            ("Cm7", ["1 9", "b3 (11)", "5 11 (13)", "b7"]),
            ("C7", ["1 9 (b9) (#9)", "3", "5 13 (b13) (#11)", "b7"]),
            ("C7b9", ["1 9 b9 (#9)", "3", "5 13 (b13) (#11)", "b7"]),
            ("C7b5", ["1 9 (b9) (#9)", "3", "b5", "b7"]),
            ("C7alt", ["1 b9 #9", "3", "b13 #11", "b7"]),
            ("Cdim", ["1 (9)", "b3 (11)", "b5 (b13)", "bb7 (7)"]),
        ];
        for (symbol, four) in expected {
            assert_eq!(categories(symbol).unwrap(), four, "{symbol}");
        }
    }

    #[test]
    fn a_power_chord_has_no_four_parts() {
        assert_eq!(categories("C5"), None);
    }
}
