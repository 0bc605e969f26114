//! Bytes to scores. Each format has its room; all of them end in a [`Score`] whose notes remember
//! where they stand in the file.
#![cfg_attr(
    not(test),
    warn(
        clippy::indexing_slicing,
        clippy::string_slice,
        clippy::arithmetic_side_effects
    )
)]

pub mod files;
pub mod grid;
pub mod musicxml;
mod waiver;

pub use files::{Outcome, read_paths};
