//! Low interval limits: how low an interval may stand before it turns to mud. The limits and their
//! sources stand in `rules/low-intervals.toml`.

use crate::ground::pitch::Pitch;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    distance: Distance,
    limit: Vec<Row>,
}

/// How far below its limit an interval counts, in semitones.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Distance {
    /// Makes a note.
    pub note: i16,
    /// Is avoided in what is voiced, however short.
    pub avoided: i16,
    /// Makes a warning.
    pub warning: i16,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    semitones: i16,
    name: String,
    lowest: String,
    #[serde(default)]
    tolerance: i16,
}

struct Limits {
    distance: Distance,
    /// By interval in semitones: the limit, and how much below it is let pass.
    lowest: BTreeMap<i16, (Pitch, i16)>,
    /// By interval in semitones.
    names: BTreeMap<i16, String>,
}

#[allow(
    clippy::expect_used,
    reason = "built-in data, proved by the test `the_limits_are_those_of_the_tables`"
)]
static LIMITS: LazyLock<Limits> = LazyLock::new(|| {
    let file: File = serde_json::from_str(include_str!(concat!(
        env!("OUT_DIR"),
        "/low-intervals.json"
    )))
    .expect("built-in data");
    let names = file
        .limit
        .iter()
        .map(|row| (row.semitones, row.name.clone()))
        .collect();
    Limits {
        distance: file.distance,
        names,
        lowest: file
            .limit
            .into_iter()
            .map(|row| {
                let limit = row.lowest.parse().expect("built-in data");
                (row.semitones, (limit, row.tolerance))
            })
            .collect(),
    }
});

/// How far the lower of two voices lies below the limit of their interval, in semitones, and the
/// limit.
pub fn below(upper: i16, lower: i16) -> Option<(i16, Pitch)> {
    let (limit, tolerance) = *LIMITS.lowest.get(&(upper - lower))?;
    let by = limit.midi() - tolerance - lower;
    (by >= LIMITS.distance.note).then_some((by, limit))
}

/// How far below its limit an interval counts, by level.
pub fn distance() -> Distance {
    LIMITS.distance
}

/// What an interval that has a limit is called: "minor third".
pub fn name(semitones: i16) -> &'static str {
    LIMITS
        .names
        .get(&semitones)
        .map_or("interval", String::as_str)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limits_are_those_of_the_tables() {
        // Published: retailer's glossary, octave corrected (m2 E3, M2 Eb3, m3 C3, sixths and sevenths
        // F2); the rest from memory.
        let lowest = |semitones: i16| LIMITS.lowest[&semitones].0.to_string();
        assert_eq!(lowest(1), "E3");
        assert_eq!(lowest(2), "Eb3");
        assert_eq!(lowest(3), "C3");
        for semitones in 8..=11 {
            assert_eq!(lowest(semitones), "F2");
        }
        assert!(!LIMITS.lowest.contains_key(&12));
    }
}
