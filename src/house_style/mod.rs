//! Files of a house style: found, read with everything they extend, and printed.
//!
//! A style is read in layers: the rules' own values, a shipped style (`rules/chart.toml`,
//! `rules/homework.toml`, `rules/choir.toml`), then house style files (`chartproof.toml`), each of
//! which has only its changes.

mod fields;
mod find;
mod load;
mod own;
mod print;
mod quoted;
mod schema;
mod shape;
mod style_file;
mod values;
mod words;

pub use find::{FILE_NAME, HouseStyles};
pub use load::{StyleError, read, read_text, shipped, shipped_names};
pub use print::print;
pub use schema::schema;

#[cfg(test)]
mod tests;
