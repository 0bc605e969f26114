//! The text of a file: bytes unpacked from a container, decoded, within limits; and back again.
//!
//! What the text means is the business of the rooms above: `reading` makes scores of it, `editing`
//! puts other pieces into it.
#![cfg_attr(
    not(test),
    warn(
        clippy::indexing_slicing,
        clippy::string_slice,
        clippy::arithmetic_side_effects
    )
)]

pub mod container;
pub mod encoding;
pub mod limits;

pub use limits::Limits;
