//! container.
