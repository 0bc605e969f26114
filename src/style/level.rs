//! Levels of findings, and the level that stops a run.

/// How much a finding weighs; the levels of SARIF 2.1.0, an open standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Level {
    /// Worth knowing.
    Note,
    /// Probably wrong.
    Warning,
    /// Wrong.
    Error,
}

impl Level {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Error => "error",
        }
    }
}

/// The words for the level of a rule; `off` is no level.
pub const LEVEL_WORDS: [(&str, Option<Level>); 4] = [
    ("off", None),
    ("note", Some(Level::Note)),
    ("warning", Some(Level::Warning)),
    ("error", Some(Level::Error)),
];

/// The lowest level that makes the exit code 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gate {
    /// A finding of this level or above.
    At(Level),
    /// Nothing.
    Never,
}

impl Gate {
    /// The words for them.
    pub const WORDS: [(&'static str, Self); 4] = [
        ("error", Self::At(Level::Error)),
        ("warning", Self::At(Level::Warning)),
        ("note", Self::At(Level::Note)),
        ("never", Self::Never),
    ];

    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::At(level) => level.word(),
            Self::Never => "never",
        }
    }

    /// Whether the heaviest finding is at the gate or above it.
    pub fn stops(self, worst: Option<Level>) -> bool {
        match self {
            Self::At(lowest) => worst.is_some_and(|level| level >= lowest),
            Self::Never => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gate_stops_at_its_level_and_above() {
        use Level::{Error, Note, Warning};
        for (gate, stopping) in [
            (Gate::At(Note), &[Note, Warning, Error][..]),
            (Gate::At(Warning), &[Warning, Error]),
            (Gate::At(Error), &[Error]),
            (Gate::Never, &[]),
        ] {
            for level in [Note, Warning, Error] {
                let stops = gate.stops(Some(level));
                assert_eq!(stops, stopping.contains(&level), "{gate:?} {level:?}");
            }
            assert!(!gate.stops(None));
        }
    }

    #[test]
    fn every_level_and_gate_is_read_by_its_own_word() {
        for (word, level) in LEVEL_WORDS {
            assert_eq!(level.map_or("off", Level::word), word);
        }
        for (word, gate) in Gate::WORDS {
            assert_eq!(gate.word(), word);
        }
    }
}
