//! musicxml.
