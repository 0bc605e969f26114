//! Work grows with the score, not with its square.
//!
//! Nothing here is timed: the tests hold the ceilings, and that each is said. `cargo bench` prints how
//! time grows for the same shapes.

use crate::common::program;
use chartproof::inside::correct::correct;
use chartproof::inside::editing::{ScoreEdits, edits};
use chartproof::inside::fixing::{self, TryBudget};
use chartproof::inside::house_style;
use chartproof::inside::proof::{Heard, proof};
use chartproof::inside::reading::read_bytes;
use chartproof::inside::score::Score;
use chartproof::inside::style::Style;
use std::fmt::Write as _;
use std::path::Path;
