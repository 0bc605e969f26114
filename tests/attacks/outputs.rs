//! Inputs stay: no result lands on anything that was read, and no link leads out of the folder of results.
