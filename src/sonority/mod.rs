//! sonority.
