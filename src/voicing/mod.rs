//! voicing.
