//! Work grows with the score, not with its square.
