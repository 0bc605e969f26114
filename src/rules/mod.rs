//! rules.
