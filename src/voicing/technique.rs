//! Every technique of the trade: the mechanical ones and the forms that are known by what they
//! hold.

use super::{Form, Mechanical};
use std::fmt;

/// A voicing technique.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Technique {
    /// Made from close position by dropping voices and doubling the lead.
    Mechanical(Mechanical),
    /// Known by what it holds: spread, fourths, a cluster ...
    Form(Form),
}

impl From<Mechanical> for Technique {
    fn from(m: Mechanical) -> Self {
        Self::Mechanical(m)
    }
}

impl From<Form> for Technique {
    fn from(form: Form) -> Self {
        Self::Form(form)
    }
}

impl Technique {
    /// All a passage may be written in.
    pub fn all() -> impl Iterator<Item = Self> {
        Mechanical::ALL
            .into_iter()
            .map(Self::Mechanical)
            .chain(Form::ALL.into_iter().map(Self::Form))
    }

    /// The trade's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Mechanical(m) => m.name(),
            Self::Form(form) => form.name(),
        }
    }

    /// Reads a technique as people write it: over a staff, in a grid, on the command line.
    pub fn named(text: &str) -> Option<Self> {
        Mechanical::named(text)
            .map(Self::Mechanical)
            .or_else(|| Form::named(text).map(Self::Form))
    }

    /// The mechanical technique it is.
    pub const fn mechanical(self) -> Option<Mechanical> {
        match self {
            Self::Mechanical(m) => Some(m),
            Self::Form(_) => None,
        }
    }

    /// The same for another number of voices; `None` when the trade has no such form.
    pub fn for_voices(self, voices: usize) -> Option<Self> {
        match self {
            Self::Mechanical(m) => m.for_voices(voices).map(Self::Mechanical),
            Self::Form(form) => form.voices().contains(&voices).then_some(self),
        }
    }

    /// How it is made, in words: for the reason given with a finding.
    pub const fn recipe(self) -> &'static str {
        match self {
            Self::Mechanical(m) => m.recipe(),
            Self::Form(form) => form.recipe(),
        }
    }
}

/// No such technique.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{found}` is not a technique that chartproof knows: {}", self.help())]
pub struct UnknownTechnique {
    found: String,
    nearest: Option<&'static str>,
}

impl UnknownTechnique {
    /// The nearest name, or all of them.
    pub fn help(&self) -> String {
        self.nearest.map_or_else(
            || {
                let names: Vec<&str> = Technique::all().map(Technique::name).collect();
                format!("write one of {}", names.join(", "))
            },
            |name| format!("did you mean `{name}`?"),
        )
    }
}

impl Technique {
    /// Reads a technique that has to be one.
    ///
    /// # Errors
    ///
    /// When no technique is called so; the error names the nearest.
    pub fn read(text: &str) -> Result<Self, UnknownTechnique> {
        Self::named(text).ok_or_else(|| {
            // "drop two" is "drop 2"; no other name has a number written out.
            let spelled = ["one", "two", "three", "four", "five"]
                .iter()
                .zip(1..)
                .fold(text.to_lowercase(), |t, (word, n)| {
                    t.replace(word, &n.to_string())
                });
            let nearest = Self::all()
                .map(Self::name)
                .map(|name| (strsim::jaro_winkler(&spelled, name), name))
                .filter(|(likeness, _)| *likeness > 0.7)
                .max_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(_, name)| name);
            UnknownTechnique {
                found: text.to_owned(),
                nearest,
            }
        })
    }
}

impl fmt::Display for Technique {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_technique_reads_its_own_name() {
        for t in Technique::all() {
            assert_eq!(Technique::named(t.name()), Some(t));
            assert!(!t.recipe().is_empty());
        }
    }
}
