//! Every name a house style file can use, with its kind and description. The loader checks names
//! against this list; the printed style and the JSON Schema are made from it.

/// The kind of value a name takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Any text.
    Text,
    /// A text with the name of a part, `*` and `?` allowed.
    Names,
    /// A list of texts.
    Texts,
    /// `true` or `false`.
    Flag,
    /// A whole number between two others.
    Whole(i64, i64),
    /// `off`, `note`, `warning` or `error`.
    Level,
    /// `note`, `warning`, `error` or `never`.
    Gate,
    /// A technique in the trade's words.
    Technique,
    /// Printed bar numbers.
    Bars,
    /// The name of a rule.
    Name,
    /// The things a rule looks at.
    Scope,
    /// When something is wrong, in the Common Expression Language.
    Condition,
    /// The message of a rule, with values in braces.
    Message,
    /// Possible fixes.
    Fix,
    /// A group of settings of its own: `[name]`.
    Group,
    /// A list of groups: `[[name]]`.
    Groups,
}

impl Kind {
    /// Its name with an article: "a text in quotation marks".
    pub(super) fn described(self) -> String {
        match self {
            Self::Text | Self::Technique | Self::Condition | Self::Message => {
                "a text in quotation marks".to_owned()
            }
            Self::Names => "a part's name in quotation marks".to_owned(),
            Self::Texts | Self::Fix => "a list of texts".to_owned(),
            Self::Flag => "either true or false".to_owned(),
            Self::Whole(from, to) => format!("a whole number from {from} to {to}"),
            Self::Level | Self::Gate | Self::Scope | Self::Name => {
                "a word in quotation marks".to_owned()
            }
            Self::Bars => "bar numbers in quotation marks".to_owned(),
            Self::Group => "a group of settings".to_owned(),
            Self::Groups => "a list of groups of settings".to_owned(),
        }
    }

    /// An example.
    pub(super) fn example(self) -> String {
        match self {
            Self::Text => "\"...\"".to_owned(),
            Self::Names => "\"Reed 1*\"".to_owned(),
            Self::Texts => "[\"one\", \"two\"]".to_owned(),
            Self::Flag => "true".to_owned(),
            Self::Whole(from, to) => (from + (to - from).min(3)).to_string(),
            Self::Level | Self::Gate => "\"warning\"".to_owned(),
            Self::Technique => "\"drop 2\"".to_owned(),
            Self::Bars => "\"17-32\"".to_owned(),
            Self::Name => "\"high-and-soft\"".to_owned(),
            Self::Scope => "\"note\"".to_owned(),
            Self::Condition => "\"written > pitch('A5')\"".to_owned(),
            Self::Message => "\"{part} has {written}\"".to_owned(),
            Self::Fix => "\"octave down\"".to_owned(),
            Self::Group => "{ }".to_owned(),
            Self::Groups => "[]".to_owned(),
        }
    }
}

/// A name.
#[derive(Debug)]
pub(super) struct Key {
    pub(super) name: &'static str,
    pub(super) kind: Kind,
    pub(super) required: bool,
    /// Its description.
    pub(super) about: &'static str,
}

/// Names that stand together.
#[derive(Debug)]
pub(super) struct Group {
    /// Its heading: `accepted`; empty for the file itself.
    pub(super) name: &'static str,
    /// Its description.
    pub(super) about: &'static str,
    pub(super) keys: &'static [Key],
}

impl Group {
    pub(super) fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|k| k.name == name)
    }

    /// "in a house style", "under [[accepted]]".
    pub(super) fn place(&self) -> String {
        match self.name {
            "" => "in a house style".to_owned(),
            name => format!("under [[{name}]]"),
        }
    }

    /// "this house style", "this [[accepted]]".
    pub(super) fn one(&self) -> String {
        match self.name {
            "" => "this house style".to_owned(),
            name => format!("this [[{name}]]"),
        }
    }
}

const fn must(name: &'static str, kind: Kind, about: &'static str) -> Key {
    Key {
        name,
        kind,
        required: true,
        about,
    }
}

const fn may(name: &'static str, kind: Kind, about: &'static str) -> Key {
    Key {
        name,
        kind,
        required: false,
        about,
    }
}

pub(super) static FILE: Group = Group {
    name: "",
    about: "A house style for chartproof: what a band, a class or a publisher asks of its parts.",
    keys: &[
        may(
            "extends",
            Kind::Text,
            "the style this one changes: chart, homework, choir, or another file, by its path from this one",
        ),
        may(
            "about",
            Kind::Text,
            "what the style is for, in one sentence",
        ),
        may(
            "gate",
            Kind::Gate,
            "the lowest level that makes the exit code 1; `--gate` comes before it",
        ),
        may(
            "grade",
            Kind::Whole(0, 6),
            "the school grade of the players, 1 to 6; 0 for professionals",
        ),
        may(
            "technique",
            Kind::Technique,
            "the technique of every passage that does not state its own; `--technique` comes before it",
        ),
        may(
            "only-diminished",
            Kind::Flag,
            "passing notes take the diminished seventh that holds them and no other approach chord",
        ),
        may(
            "counterpoint",
            Kind::Flag,
            "a choir's voices keep their order in counterpoint too, not only in block passages",
        ),
        may(
            "levels",
            Kind::Group,
            "the level of each rule: off, note, warning or error; that of its most serious finding",
        ),
        may("settings", Kind::Group, "the numbers of each rule"),
        may("part", Kind::Groups, "what parts are, by their names"),
        may(
            "passage",
            Kind::Groups,
            "the technique of a section, some bars or a file",
        ),
        may("score", Kind::Groups, "part files that are one score"),
        may(
            "accepted",
            Kind::Groups,
            "findings that are meant to be there",
        ),
        may("rule", Kind::Groups, "rules of the house's own"),
        may(
            "instrument",
            Kind::Groups,
            "instruments added, or known ones changed",
        ),
        may(
            "section",
            Kind::Groups,
            "sections added, or known ones changed",
        ),
    ],
};

pub(super) static PART: Group = Group {
    name: "part",
    about: "What parts of a name are; the first that fits holds.",
    keys: &[
        must(
            "name",
            Kind::Names,
            "the part's name as printed; * stands for any run of characters, ? for one, capitals do not matter",
        ),
        may(
            "instrument",
            Kind::Text,
            "its instrument: \"alto saxophone\", or the key of an [[instrument]]",
        ),
        may(
            "section",
            Kind::Text,
            "the section it is voiced with: saxes, trumpets, trombones, voices ...",
        ),
        may(
            "seat",
            Kind::Whole(1, 12),
            "its seat in the section, 1 is the lead",
        ),
    ],
};

pub(super) static PASSAGE: Group = Group {
    name: "passage",
    about: "The technique of a section, of some bars, of a file; the first that fits holds, before words over the staff.",
    keys: &[
        must(
            "technique",
            Kind::Technique,
            "the technique, or free for none",
        ),
        may("section", Kind::Text, "only this section"),
        may(
            "bars",
            Kind::Bars,
            "only these printed bars, such as \"17-32\" or \"1-8, 17-24\"",
        ),
        may(
            "file",
            Kind::Text,
            "only these files, from the folder of the style; * within a folder, ** through folders",
        ),
    ],
};

pub(super) static SCORE: Group = Group {
    name: "score",
    about: "Part files that are read as one score, in this order.",
    keys: &[
        must(
            "files",
            Kind::Texts,
            "the files, from the folder of the style; * within a folder, ** through folders",
        ),
        may("title", Kind::Text, "the title of the score"),
    ],
};

pub(super) static ACCEPTED: Group = Group {
    name: "accepted",
    about: "A finding that is meant to be there: it is counted in one line and stops no gate.",
    keys: &[
        must("rule", Kind::Text, "the rule that finds it"),
        must("reason", Kind::Text, "why it is meant"),
        may(
            "file",
            Kind::Text,
            "only in these files, from the folder of the style",
        ),
        may("bars", Kind::Bars, "only in these printed bars"),
        may(
            "parts",
            Kind::Texts,
            "only where all parts at fault are among these; * and ? as in [[part]]",
        ),
    ],
};

pub(super) static RULE: Group = Group {
    name: "rule",
    about: "A rule of the house's own; `chartproof style --words` prints what its condition may speak of.",
    keys: &[
        must(
            "name",
            Kind::Name,
            "its name: lower-case words joined by hyphens",
        ),
        must(
            "scope",
            Kind::Scope,
            "what it looks at: note, sonority, line step, bar or part",
        ),
        must("when", Kind::Condition, "when something is wrong"),
        must(
            "message",
            Kind::Message,
            "the sentence of the finding, with values in { }",
        ),
        may(
            "level",
            Kind::Level,
            "error, warning, note, or off until a style has it on; warning when left out",
        ),
        may(
            "why",
            Kind::Text,
            "why it is wrong, for the player or the student",
        ),
        may("source", Kind::Text, "where the rule comes from"),
        may(
            "voice",
            Kind::Text,
            "the voice of a sonority at fault: lead, second voice ... bottom voice, or a player",
        ),
        may(
            "fix",
            Kind::Fix,
            "what may mend it, the best first: octave up, octave down, or a degree of the chord such as 3rd",
        ),
    ],
};

/// Every name a group of this file can have under a heading of two brackets.
pub(super) static GROUPS: [&Group; 5] = [&PART, &PASSAGE, &SCORE, &ACCEPTED, &RULE];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_group_has_its_setting_in_the_file_and_no_setting_stands_twice() {
        for group in GROUPS {
            let key = FILE.key(group.name);
            assert_eq!(key.map(|k| k.kind), Some(Kind::Groups), "{}", group.name);
        }
        for group in GROUPS.into_iter().chain([&FILE]) {
            let mut names: Vec<&str> = group.keys.iter().map(|k| k.name).collect();
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), group.keys.len(), "{}", group.one());
        }
    }

    #[test]
    fn an_example_is_of_its_kind() {
        for kind in [
            Kind::Text,
            Kind::Texts,
            Kind::Flag,
            Kind::Whole(1, 12),
            Kind::Bars,
        ] {
            let table: toml::Table = format!("x = {}", kind.example()).parse().unwrap();
            let found = match &table["x"] {
                toml::Value::String(_) => "in quotation marks",
                toml::Value::Array(_) => "a list of texts",
                toml::Value::Boolean(_) => "either true or false",
                toml::Value::Integer(_) => "a whole number from 1 to 12",
                other => panic!("{other}"),
            };
            assert!(kind.described().contains(found), "{kind:?}");
        }
    }
}
