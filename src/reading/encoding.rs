//! encoding.
