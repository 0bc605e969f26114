//! The chord vocabulary of `rules/chords.toml` and MusicXML's kinds.

use super::{Chord, Degree};
use crate::pitch::NoteName;

/// What a MusicXML `<degree>` does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DegreeEdit {
    /// Adds a degree, counted against a dominant chord.
    Add,
    /// Alters a degree the kind has.
    Alter,
    /// Takes a degree away.
    Subtract,
}

/// A MusicXML `<degree>`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DegreeChange {
    /// What it does.
    pub edit: DegreeEdit,
    /// `degree-value`.
    pub number: u8,
    /// `degree-alter` in semitones.
    pub alter: i8,
}

/// A kind that the vocabulary lacks.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a chord kind of MusicXML 4.0")]
pub struct KindError(pub String);

/// Builds a chord from MusicXML's `<kind>` value, its `text` attribute and its degrees; `Ok(None)`
/// is the kind `none`.
pub fn from_kind(
    _root: NoteName,
    kind: &str,
    _text: Option<&str>,
    _degrees: &[DegreeChange],
    _bass: Option<NoteName>,
) -> Result<Option<Chord>, KindError> {
    let _ = Degree::new(1, 0);
    Err(KindError(kind.to_owned()))
}
