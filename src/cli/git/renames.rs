//! Under which name the revision had a file that is not there under its own.
//!
//! Every file of the revision that is gone is the origin of one file at most. In this order: one with
//! the same bytes; the only one with the same last name; the one that has most in common, half or more.

use super::{Blob, GitError};
use crate::ground::disk;
use memchr::memmem;
use std::collections::{BTreeMap, HashMap};
use std::hash::{BuildHasher, Hasher, RandomState};
use std::path::Path;

/// A file of the working tree that the revision does not have under its name.
pub(super) struct New<'a> {
    /// From the top of the working tree.
    pub(super) name: &'a [u8],
    /// Without links.
    pub(super) path: &'a Path,
    /// In bytes.
    pub(super) size: u64,
}

/// A file of the revision that the working tree does not have.
pub(super) struct Gone {
    /// From the top of the working tree.
    pub(super) name: Vec<u8>,
    /// Its bytes.
    pub(super) blob: Blob,
}

/// Which gone file a new one was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Origin {
    /// None.
    None,
    /// This, with the same bytes.
    Same(usize),
    /// This, with other bytes.
    Other(usize),
}

/// Reads the bytes of a gone file.
type Read<'a> = dyn FnMut(&Blob) -> Result<Vec<u8>, GitError> + 'a;

/// So many bytes of gone files are read in any case; and a few times the bytes of the new ones.
const FREE: u64 = 64 << 20;
const TIMES: u64 = 4;

/// So many pieces of gone files are kept, at most.
const MAX_PIECES: usize = 2_000_000;

/// A piece that more gone files than this have says nothing of where a file comes from.
const COMMON: usize = 16;

/// So many gone files are compared with a new one in full.
const CANDIDATES: usize = 4;

/// The origin of each new file. No file of more than `most` bytes is read.
pub(super) fn origins(
    new: &[New<'_>],
    gone: &[Gone],
    most: u64,
    read: &mut Read<'_>,
) -> Result<Vec<Origin>, GitError> {
    let mut pairs = Pairs {
        origins: vec![Origin::None; new.len()],
        used: vec![false; gone.len()],
        hash: RandomState::new(),
        new,
        gone,
        most,
    };
    pairs.same_bytes(read)?;
    pairs.same_last_name();
    pairs.most_in_common(read)?;
    Ok(pairs.origins)
}

struct Pairs<'a> {
    new: &'a [New<'a>],
    gone: &'a [Gone],
    most: u64,
    /// One for each new file.
    origins: Vec<Origin>,
    /// One for each gone file: it is an origin already.
    used: Vec<bool>,
    /// Nobody can make two files with one hash without knowing its key.
    hash: RandomState,
}

impl Pairs<'_> {
    fn pair(&mut self, new: usize, origin: Origin) {
        if let (Origin::Same(gone) | Origin::Other(gone), Some(slot)) =
            (origin, self.origins.get_mut(new))
        {
            *slot = origin;
            if let Some(used) = self.used.get_mut(gone) {
                *used = true;
            }
        }
    }

    /// New files without an origin.
    fn open(&self) -> impl Iterator<Item = (usize, &New<'_>)> {
        let without = |(index, _): &(usize, _)| self.origins.get(*index) == Some(&Origin::None);
        self.new.iter().enumerate().filter(without)
    }

    /// Gone files that are nobody's origin.
    fn left(&self) -> impl Iterator<Item = (usize, &Gone)> {
        let unused = |(index, _): &(usize, _)| self.used.get(*index) == Some(&false);
        self.gone.iter().enumerate().filter(unused)
    }

    /// So many bytes of gone files may be read for the files that are open.
    fn budget(&self) -> u64 {
        let bytes: u64 = self.open().map(|(_, new)| new.size.min(self.most)).sum();
        FREE.saturating_add(bytes.saturating_mul(TIMES))
    }

    fn same_bytes(&mut self, read: &mut Read<'_>) -> Result<(), GitError> {
        let mut sizes: HashMap<u64, bool> = HashMap::new();
        for (_, gone) in self.left().filter(|(_, gone)| gone.blob.size <= self.most) {
            sizes.insert(gone.blob.size, false);
        }
        let mut waiting: HashMap<(u64, u64), Vec<usize>> = HashMap::new();
        for (index, new) in self.open() {
            if let Some(asked) = sizes.get_mut(&new.size)
                && let Ok(bytes) = disk::read(new.path, self.most)
            {
                *asked = true;
                let key = (bytes.len() as u64, self.hash.hash_one(&bytes));
                waiting.entry(key).or_default().push(index);
            }
        }
        for of_one in waiting.values_mut() {
            of_one.reverse(); // the first is taken first
        }
        let mut budget = self.budget();
        let mut hashes: HashMap<&str, u64> = HashMap::new();
        let mut found = Vec::new();
        for (index, gone) in self.left() {
            let blob = &gone.blob;
            if sizes.get(&blob.size) != Some(&true) {
                continue;
            }
            let hash = if let Some(known) = hashes.get(blob.id.as_str()) {
                *known
            } else {
                if blob.size > budget {
                    continue;
                }
                budget -= blob.size;
                let hash = self.hash.hash_one(&read(blob)?);
                hashes.insert(&blob.id, hash);
                hash
            };
            if let Some(new) = waiting.get_mut(&(blob.size, hash)).and_then(Vec::pop) {
                found.push((new, index));
            }
        }
        for (new, gone) in found {
            self.pair(new, Origin::Same(gone));
        }
        Ok(())
    }

    fn same_last_name(&mut self) {
        let mut alike: BTreeMap<&[u8], (Vec<usize>, Vec<usize>)> = BTreeMap::new();
        let (every_new, every_gone) = (self.new, self.gone);
        for (index, _) in self.open() {
            if let Some(new) = every_new.get(index) {
                alike.entry(last(new.name)).or_default().0.push(index);
            }
        }
        for (index, _) in self.left() {
            if let Some(gone) = every_gone.get(index) {
                alike.entry(last(&gone.name)).or_default().1.push(index);
            }
        }
        for (new, gone) in alike.into_values() {
            if let ([new], [gone]) = (new.as_slice(), gone.as_slice()) {
                self.pair(*new, Origin::Other(*gone));
            }
        }
    }

    fn most_in_common(&mut self, read: &mut Read<'_>) -> Result<(), GitError> {
        let mut budget = self.budget();
        if self.open().next().is_none() {
            return Ok(());
        }
        let mut pieces_of: Vec<(usize, Vec<u64>)> = Vec::new();
        let mut count = 0;
        for (index, gone) in self.left() {
            let size = gone.blob.size;
            if size > budget || size > self.most || count >= MAX_PIECES {
                continue;
            }
            budget -= size;
            let pieces = self.pieces(&read(&gone.blob)?);
            count += pieces.len();
            pieces_of.push((index, pieces));
        }
        // Which files have a piece: (piece, place in `pieces_of`).
        let mut index: Vec<(u64, usize)> = Vec::with_capacity(count);
        for (place, (_, pieces)) in pieces_of.iter().enumerate() {
            let mut last = None;
            for piece in pieces
                .iter()
                .filter(|piece| last.replace(**piece) != Some(**piece))
            {
                index.push((*piece, place));
            }
        }
        index.sort_unstable();
        // (what is in common by what there is, new, gone), the most first.
        let mut alike: Vec<(u64, usize, usize)> = Vec::new();
        for (new, file) in self.open() {
            let Ok(bytes) = disk::read(file.path, self.most) else {
                continue;
            };
            let pieces = self.pieces(&bytes);
            for place in candidates(&pieces, &index) {
                if let Some((gone, then)) = pieces_of.get(place)
                    && let Some(share) = share(&pieces, then)
                {
                    alike.push((share, new, *gone));
                }
            }
        }
        alike.sort_by_key(|&(share, new, gone)| (std::cmp::Reverse(share), new, gone));
        for (_, new, gone) in alike {
            let free = self.used.get(gone) == Some(&false);
            if free && self.origins.get(new) == Some(&Origin::None) {
                self.pair(new, Origin::Other(gone));
            }
        }
        Ok(())
    }

    /// Hashes of what a file is made of, sorted: the lines, and of MusicXML the bars. (A line of XML
    /// says next to nothing, and some files are one line.) White space around lines does not count,
    /// nor does a bar's number.
    fn pieces(&self, bytes: &[u8]) -> Vec<u64> {
        let mut pieces = Vec::new();
        let mut bars = memmem::find_iter(bytes, b"<measure")
            .filter(|at| matches!(bytes.get(at + 8), Some(b' ' | b'\t' | b'\r' | b'\n' | b'>')))
            .peekable();
        let head = bytes.get(..bars.peek().copied().unwrap_or(bytes.len()));
        for line in lines(head.unwrap_or_default()).take(MAX_PIECES) {
            pieces.push(self.hash.hash_one(line));
        }
        while let Some(start) = bars.next().filter(|_| pieces.len() < MAX_PIECES) {
            let end = bars.peek().copied().unwrap_or(bytes.len());
            let bar = bytes.get(start..end).unwrap_or_default();
            let tag = memchr::memchr(b'>', bar).map_or(0, |end| end + 1);
            let mut hasher = self.hash.build_hasher();
            for line in lines(bar.get(tag..).unwrap_or_default()) {
                hasher.write(line);
                hasher.write_u8(b'\n');
            }
            pieces.push(hasher.finish());
        }
        pieces.sort_unstable();
        pieces
    }
}

/// The lines that say something, without white space around them.
fn lines(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    bytes
        .split(|byte| *byte == b'\n')
        .map(<[u8]>::trim_ascii)
        .filter(|line| !line.is_empty())
}

/// The last step of a name.
fn last(name: &[u8]) -> &[u8] {
    name.rsplit(|byte| *byte == b'/').next().unwrap_or(name)
}

/// The places of the files that share most of the pieces that few have.
fn candidates(pieces: &[u64], index: &[(u64, usize)]) -> Vec<usize> {
    let mut shared: BTreeMap<usize, usize> = BTreeMap::new();
    let mut before = None;
    for piece in pieces
        .iter()
        .filter(|piece| before.replace(**piece) != Some(**piece))
    {
        let from = index.partition_point(|(known, _)| known < piece);
        let having = index.get(from..).unwrap_or_default();
        let having = having.iter().take_while(|(known, _)| known == piece);
        let places: Vec<usize> = having.map(|(_, place)| *place).take(COMMON + 1).collect();
        if places.len() <= COMMON {
            for place in places {
                *shared.entry(place).or_default() += 1;
            }
        }
    }
    let mut order: Vec<(usize, usize)> = shared.into_iter().collect();
    order.sort_by_key(|&(place, count)| (std::cmp::Reverse(count), place));
    order.truncate(CANDIDATES);
    order.into_iter().map(|(place, _)| place).collect()
}

/// How much of the larger of two sorted lists is in both, in millionths; `None` below one half.
fn share(one: &[u64], other: &[u64]) -> Option<u64> {
    let (mut left, mut right) = (one.iter().peekable(), other.iter().peekable());
    let mut common = 0;
    while let (Some(a), Some(b)) = (left.peek(), right.peek()) {
        match a.cmp(b) {
            std::cmp::Ordering::Less => {
                left.next();
            }
            std::cmp::Ordering::Greater => {
                right.next();
            }
            std::cmp::Ordering::Equal => {
                common += 1;
                left.next();
                right.next();
            }
        }
    }
    let larger = one.len().max(other.len()) as u64;
    (larger > 0 && common * 2 >= larger).then(|| common * 1_000_000 / larger)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    /// The origins of new files among gone ones, each a name and a text.
    fn pair(new: &[(&str, &str)], gone: &[(&str, &str)]) -> Vec<Origin> {
        let folder = tempfile::tempdir().unwrap();
        let paths: Vec<_> = (0..new.len())
            .map(|number| folder.path().join(number.to_string()))
            .collect();
        for (path, (_, text)) in paths.iter().zip(new) {
            fs::write(path, text).unwrap();
        }
        let new: Vec<New<'_>> = new
            .iter()
            .zip(&paths)
            .map(|((name, text), path)| New {
                name: name.as_bytes(),
                path,
                size: text.len() as u64,
            })
            .collect();
        let gone_files: Vec<Gone> = gone
            .iter()
            .enumerate()
            .map(|(index, (name, text))| Gone {
                name: name.as_bytes().to_vec(),
                blob: Blob {
                    id: index.to_string(),
                    size: text.len() as u64,
                },
            })
            .collect();
        let mut read = |blob: &Blob| {
            assert!(blob.size <= 2_000, "too large to be read");
            Ok(gone[blob.id.parse::<usize>().unwrap()].1.into())
        };
        origins(&new, &gone_files, 2_000, &mut read).unwrap()
    }

    fn score(bars: &[&str], line_end: &str) -> String {
        let bars: Vec<String> = bars
            .iter()
            .enumerate()
            .map(|(number, bar)| {
                format!("<measure number=\"{number}\">{line_end}  <note>{bar}</note></measure>{line_end}")
            })
            .collect();
        let head = format!("<score-partwise>{line_end}<part id=\"P1\">{line_end}");
        head + &bars.concat() + "</part></score-partwise>"
    }

    use Origin::{None as Nothing, Other, Same};

    #[test]
    fn the_same_bytes_come_first_and_each_file_is_the_origin_of_one() {
        let same = pair(
            &[("x", "one"), ("y", "one"), ("b", "two")],
            &[("b", "one"), ("a", "two")],
        );
        assert_eq!(same, [Same(0), Nothing, Same(1)]);
        assert_eq!(
            pair(&[("x", "one"), ("y", "one")], &[("a", "one"), ("b", "one")]),
            [Same(0), Same(1)]
        );
    }

    #[test]
    fn one_last_name_is_enough_unless_there_are_two() {
        assert_eq!(pair(&[("new/a", "x\n")], &[("old/a", "y\n")]), [Other(0)]);
        assert_eq!(
            pair(&[("new/a", "x")], &[("old/a", "y"), ("older/a", "z")]),
            [Nothing]
        );
        // Then their contents say which it was.
        let older = pair(
            &[("new/a", "1\n2\n3")],
            &[("old/a", "4\n5\n6"), ("older/a", "1\n2\n0")],
        );
        assert_eq!(older, [Other(1)]);
    }

    #[test]
    fn half_of_the_lines_or_of_the_bars_tell_where_a_file_comes_from() {
        assert_eq!(
            pair(&[("x", "1\r\n 2\r\n9\r\n8")], &[("a", "1\n2\n3\n4\n")]),
            [Other(0)]
        );
        assert_eq!(
            pair(&[("x", "1\n7\n9\n8")], &[("a", "1\n2\n3\n4\n")]),
            [Nothing]
        );
        // A bar before the others renumbers them; of unlike bars only the markup is the same.
        for line_end in ["\n", "\r\n"] {
            let gone = [
                ("a", score(&["p", "q", "r"], "\n")),
                ("b", score(&["s", "t", "u"], "\n")),
                ("c", score(&["v", "w", "x"], "\n")),
            ];
            let gone: Vec<_> = gone
                .iter()
                .map(|(name, text)| (*name, text.as_str()))
                .collect();
            let edited = score(&["new", "s", "t", "u"], line_end);
            let other = score(&["k", "l", "m", "n", "o", "i"], line_end);
            let found = pair(&[("x", &edited), ("y", &other)], &gone);
            assert_eq!(found, [Other(1), Nothing], "{line_end:?}");
        }
    }

    #[test]
    fn what_many_files_have_says_nothing_and_large_ones_are_not_read() {
        let alike: Vec<String> = (0..40)
            .map(|number| format!("all\nalike\n{number}"))
            .collect();
        let gone: Vec<(&str, &str)> = alike.iter().map(|text| ("a", text.as_str())).collect();
        assert_eq!(pair(&[("x", "all\nalike\n17\nnew")], &gone), [Other(17)]);
        assert_eq!(pair(&[("x", "all\nalike\nnew")], &gone), [Nothing]);
        let large = "1\n2\n3\n".repeat(1_000);
        assert_eq!(pair(&[("x", &large)], &[("a", &large)]), [Nothing]);
    }
}
