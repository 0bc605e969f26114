//! Names of sections, also of several that play as one: `horns`, `brass`, `clarinet and saxes`.

use super::{Catalogue, Family, Instrument, Property, Section};

/// Winds of both kinds together. To a band `horns` means that. Common practice, no source.
const HORNS: &str = "horns";
/// Several sections of brass. Common practice, no source.
const BRASS: &str = "brass";
/// Three sections of woodwinds or more. Common practice, no source.
const WOODWINDS: &str = "woodwinds";

/// A section by name.
#[derive(Clone, Debug)]
pub struct NamedSection<'c> {
    /// The section of the table, when it is a single one of them.
    pub section: Option<&'c Section>,
    /// The key of that, else the name.
    pub key: String,
    /// The name people read.
    pub name: String,
}

/// One of the sections that play as one.
#[derive(Clone, Copy, Debug)]
pub enum Member<'c> {
    /// A section of the table.
    Section(&'c Section),
    /// Some players of one instrument.
    Players(&'c Instrument, usize),
}

impl Member<'_> {
    /// The name people read: `saxes`, `clarinet`, `oboes`.
    pub fn name(&self) -> String {
        match self {
            Self::Section(section) => section.name.clone(),
            Self::Players(instrument, 1) => instrument.name.clone(),
            Self::Players(instrument, _) => format!("{}s", instrument.name),
        }
    }
}

/// The name of several members that play as one, each with the family of its instruments; from the top.
pub fn joined_name(members: &[(Member<'_>, Option<&Family>)]) -> String {
    let all = |family: &Family| members.iter().all(|(_, f)| *f == Some(family));
    let any = |family: &Family| members.iter().any(|(_, f)| *f == Some(family));
    if all(&Family::Brass) {
        return BRASS.to_owned();
    }
    if members.len() > 2 && all(&Family::Woodwind) {
        return WOODWINDS.to_owned();
    }
    if members.len() > 2 && any(&Family::Woodwind) && any(&Family::Brass) {
        return HORNS.to_owned();
    }
    let names: Vec<String> = members.iter().map(|(m, _)| m.name()).collect();
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.concat(),
    }
}

impl Catalogue {
    /// The section that people or the program call this. `None` when a word of it is unknown.
    pub fn section_called(&self, text: &str) -> Option<NamedSection<'_>> {
        let text = text.trim();
        if let Some(one) = self.one_section(text) {
            return Some(one);
        }
        let name = text.to_lowercase();
        if [HORNS, BRASS, WOODWINDS].contains(&name.as_str()) {
            return Some(NamedSection {
                section: None,
                key: name.clone(),
                name,
            });
        }
        let pieces: Vec<&str> = text
            .split([',', '&', '+'])
            .flat_map(|p| p.split(" and "))
            .map(str::trim)
            .filter(|p| !p.is_empty())
            .collect();
        if pieces.len() < 2 {
            return None;
        }
        let names: Option<Vec<String>> = pieces
            .iter()
            .map(|p| {
                let players = || self.players_called(p);
                let section = || self.one_section(p).map(|s| s.name);
                players().or_else(section)
            })
            .collect();
        let names = names?;
        let (last, rest) = names.split_last()?;
        let name = format!("{} and {last}", rest.join(", "));
        Some(NamedSection {
            section: None,
            key: name.clone(),
            name,
        })
    }

    /// A section of the table; or one instrument of a section that only the name holds together.
    fn one_section(&self, text: &str) -> Option<NamedSection<'_>> {
        let of = |section: &'_ Section| (section.key.clone(), section.name.clone());
        let printed = |s: &&Section| s.key == text || s.name.eq_ignore_ascii_case(text);
        if let Some(section) = self.sections.iter().find(printed) {
            let (key, name) = of(section);
            return Some(NamedSection {
                section: Some(section),
                key,
                name,
            });
        }
        let loose = |name: &String| {
            let of = self.instruments.iter().find(|i| is_called(i, name));
            of.and_then(|i| self.section(&i.section))
                .is_some_and(|s| s.properties.has(Property::GroupedByName))
        };
        if let Some(name) = self.players_called(text).filter(loose) {
            return Some(NamedSection {
                section: None,
                key: name.clone(),
                name,
            });
        }
        let section = self.section_named(text)?;
        let (key, name) = of(section);
        Some(NamedSection {
            section: Some(section),
            key,
            name,
        })
    }

    /// The name of an instrument that plays single lines, or of several of them, as the program prints it.
    fn players_called(&self, text: &str) -> Option<String> {
        let text = text.to_lowercase();
        self.instruments
            .iter()
            .filter(|i| i.single_line)
            .find(|i| is_called(i, &text))
            .map(|i| {
                let count = 1 + usize::from(!i.name.eq_ignore_ascii_case(&text));
                Member::Players(i, count).name()
            })
    }
}

/// Whether this is the name of the instrument, or of several.
fn is_called(instrument: &Instrument, text: &str) -> bool {
    let one = text.strip_suffix('s').unwrap_or(text);
    let same = |name: &str| instrument.name.eq_ignore_ascii_case(name);
    same(text) || same(one)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::instrument::catalogue;

    fn melodic() -> Vec<(Member<'static>, Option<&'static Family>)> {
        let book = catalogue();
        let of = |key: &str| book.instruments.iter().find(|i| i.section == key);
        let sections = book.sections.iter().filter(|s| !s.chordal);
        let sections = sections.map(|s| (Member::Section(s), of(&s.key).map(|i| &i.family)));
        let single = book.instruments.iter().filter(|i| i.single_line);
        let players =
            single.flat_map(|i| [1, 2].map(|count| (Member::Players(i, count), Some(&i.family))));
        sections.chain(players).collect()
    }

    #[test]
    fn every_name_that_can_be_made_is_read_back() {
        let members = melodic();
        assert!(members.len() > 60);
        let book = catalogue();
        for (i, first) in members.iter().enumerate() {
            for second in &members[i + 1..] {
                let two = joined_name(&[*first, *second]);
                let read = book.section_called(&two);
                let read = read.unwrap_or_else(|| panic!("{two}"));
                // "Oboes and bassoons" is what people call the double reeds.
                assert!(read.key == two || read.section.is_some(), "{two}");
            }
        }
        for three in members.windows(3) {
            let name = joined_name(three);
            let read = book.section_called(&name);
            let read = read.unwrap_or_else(|| panic!("{name}"));
            assert!(read.name == name || read.section.is_some(), "{name}");
        }
        for (member, _) in &members {
            let Member::Players(instrument, _) = member else {
                continue;
            };
            let section = book.section(&instrument.section).unwrap();
            if section.properties.has(Property::GroupedByName) {
                let name = member.name();
                // Where the section is called so too, that is meant.
                let read = book.section_called(&name).unwrap();
                assert!(read.name == name || read.name == section.name, "{name}");
            }
        }
    }

    #[test]
    fn people_call_them_in_their_own_words() {
        let book = catalogue();
        for (text, name) in [
            ("Saxophones", "saxes"),
            ("horns", "horns"),
            ("Brass", "brass"),
            ("Clarinet and Saxophones", "clarinet and saxes"),
            ("flutes & clarinets", "flutes and clarinets"),
            ("oboes", "oboes"),
            ("oboes and bassoons", "double reeds"),
        ] {
            assert_eq!(book.section_called(text).unwrap().name, name, "{text}");
        }
        for text in [
            "",
            "strings and saxes and kettles",
            "clarinet and kettles",
            "section",
        ] {
            assert!(book.section_called(text).is_none(), "{text}");
        }
    }
}
