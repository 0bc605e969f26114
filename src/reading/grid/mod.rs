//! grid.
