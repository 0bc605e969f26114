//! The ground floor: words that every room shares. It imports nothing of the program.

pub mod chord;
pub mod disk;
pub mod instrument;
pub mod naming;
pub mod pitch;
pub mod problem;
pub mod shown;
pub mod text;
pub mod threads;
pub mod time;
pub(crate) mod words;
