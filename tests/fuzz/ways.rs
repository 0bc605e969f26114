//! Reading the bytes of a score in each of the ways that the reader has.

use chartproof::ground::problem::Problem;
use chartproof::reading::files::{read_bytes, read_bytes_in};
use chartproof::reading::musicxml::Ways;
use chartproof::score::Score;
use std::path::Path;

/// Reads a score in the usual way; panics with the name of the way that comes to something else.
pub fn read_each_way(path: &Path, bytes: &[u8]) -> Result<Score, Problem> {
    let read = read_bytes(path, bytes);
    let usual = format!("{read:?}");
    for (name, ways) in Ways::ALL {
        let other = format!("{:?}", read_bytes_in(ways, path, bytes));
        assert!(
            other == usual,
            "{}: {name} and the usual way differ {}",
            path.display(),
            difference(&other, &usual)
        );
    }
    read
}

/// Where two texts part, with a little of both.
fn difference(a: &str, b: &str) -> String {
    let alike = |(a, b): &(char, char)| a == b;
    let same = a.chars().zip(b.chars()).take_while(alike).count();
    let from = same.saturating_sub(120);
    let piece = |text: &str| text.chars().skip(from).take(240).collect::<String>();
    format!("at {same}:\n{}\n{}", piece(a), piece(b))
}
