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
#![allow(
    clippy::unnecessary_box_returns,
    reason = "`fault::Parsed` holds a boxed fault"
)]

mod bytes;
mod fault;
#[cfg(feature = "cli")]
pub mod files;
pub mod grid;
pub mod musicxml;
mod sets;
mod texts;
mod waiver;
#[cfg(feature = "cli")]
mod walk;

#[cfg(any(test, feature = "inside"))]
pub use bytes::read_bytes_in;
pub use bytes::{may_be_score, read_bytes};
#[cfg(feature = "cli")]
pub use files::Outcome;
#[cfg(all(feature = "cli", any(test, feature = "inside")))]
pub use files::read_paths;
