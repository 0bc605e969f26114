//! Printed bar numbers and ranges of them.

use std::fmt;

/// Printed bar numbers: `5`, `17-32`, `1-8, 17-24`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bars(Vec<(u32, u32)>);

/// Why a text names no bars.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BarsError {
    /// Something that is not a number.
    #[error("`{0}` names no bars")]
    NotBars(String),
    /// A range that ends before it starts.
    #[error("bars {0} to {1} run backwards")]
    Backwards(u32, u32),
}

impl Bars {
    /// Reads bar numbers and ranges of them, with commas between.
    pub fn read(text: &str) -> Result<Self, BarsError> {
        let mut all = Vec::new();
        for piece in text.split(',') {
            let no_bars = || BarsError::NotBars(piece.trim().to_owned());
            let mut ends = piece.split(['-', '\u{2013}']);
            let number = |t: &str| t.trim().parse::<u32>().map_err(|_| no_bars());
            let from = number(ends.next().unwrap_or_default())?;
            let to = ends.next().map_or(Ok(from), number)?;
            if ends.next().is_some() {
                return Err(no_bars());
            }
            if to < from {
                return Err(BarsError::Backwards(from, to));
            }
            all.push((from, to));
        }
        Ok(Self(all))
    }

    /// Whether a printed bar number is among them; `12a` counts as 12.
    pub fn hold(&self, number: &str) -> bool {
        let digits: String = number.chars().take_while(char::is_ascii_digit).collect();
        digits
            .parse::<u32>()
            .is_ok_and(|n| self.0.iter().any(|(from, to)| (*from..=*to).contains(&n)))
    }
}

impl fmt::Display for Bars {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, (from, to)) in self.0.iter().enumerate() {
            if i > 0 {
                f.write_str(", ")?;
            }
            if from == to {
                write!(f, "{from}")?;
            } else {
                write!(f, "{from}-{to}")?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_are_numbers_and_ranges() {
        let bars = Bars::read("5, 17-20").unwrap();
        assert_eq!(bars.to_string(), "5, 17-20");
        for (number, inside) in [
            ("5", true),
            ("6", false),
            ("18a", true),
            ("20", true),
            ("x", false),
        ] {
            assert_eq!(bars.hold(number), inside, "{number}");
        }
        assert_eq!(Bars::read("8-4"), Err(BarsError::Backwards(8, 4)));
        assert_eq!(
            Bars::read("4-").unwrap_err(),
            BarsError::NotBars("4-".to_owned())
        );
        assert!(Bars::read("").is_err());
        assert!(Bars::read("1-2-3").is_err());
    }
}
