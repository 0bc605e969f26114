//! Attacks: files, archives, folders and repositories made to do harm. One file for each promise;
//! DEVELOPERS.md says which promises there are and against whom.

mod archives;
mod outputs;
mod reading;
mod repository;
mod terminal;
mod walks;
mod work;
