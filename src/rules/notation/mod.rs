//! Signs on the page.

pub mod bar_length;
pub mod clef;
pub mod courtesy_accidental;
pub mod entry_dynamic;
pub mod impossible_note;
pub mod instrument_change;
pub mod key_signature_agreement;
pub mod multi_rest;
pub mod spelling;
mod spelling_in_unison;
pub mod tie_mismatch;
pub mod transposition;
pub mod unclosed_slur;
pub mod waiver;
