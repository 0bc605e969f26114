//! The ground floor: words that every room shares. It imports nothing of the program.

pub mod nearest;
