//! diagnosis.
