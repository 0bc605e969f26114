//! Chord symbols as the trade writes them.

use super::Chord;

/// Why a symbol could not be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{symbol}` is not a chord symbol: {why}")]
pub struct SymbolError {
    /// The symbol.
    pub symbol: String,
    /// What is wrong with it.
    pub why: String,
}

/// Reads a chord symbol; `Ok(None)` is "no chord" (`N.C.`).
pub fn parse(text: &str) -> Result<Option<Chord>, SymbolError> {
    Err(SymbolError {
        symbol: text.to_owned(),
        why: String::new(),
    })
}
