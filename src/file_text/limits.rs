//! How much is read at most.
//!
//! A file made to do harm, or damaged, must not fill the memory or stop the work of a whole folder.
//! Each limit lies far above what scores need; who has a larger one raises it.

/// How much is read at most of one file or one score. What is larger is refused with the reason.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of a file as it lies on the disk.
    pub file: u64,
    /// Bytes of a score that is unpacked from a container.
    pub unpacked: u64,
    /// How many times larger than its packed form a score in a container may be. Deflate reaches
    /// about a thousand; scores, full of repeated tags, reach about a hundred.
    pub ratio: u64,
    /// How deep XML elements may stand in each other; scores need about a dozen levels.
    pub depth: u64,
    /// Parts of a score.
    pub parts: u64,
    /// Bars of all parts of a score together.
    pub bars: u64,
    /// Notes, rests and signs in one bar of one part.
    pub bar: u64,
}

/// The most characters of a name: of a part, an instrument or a section, a bar number, a chord symbol, a
/// rehearsal mark. Reports repeat names with every finding; printed ones seldom have 40 characters.
pub(crate) const LONGEST_NAME: usize = 200;

/// The most characters of any other text of a score: words over the staff, a title, a waiver. A page of
/// music has room for fewer.
pub(crate) const LONGEST_TEXT: usize = 1_000;

/// Places in a file are kept in 32 bits, with room for what a correction adds.
pub(crate) const LARGEST: u64 = (1 << 32) - (1 << 20);

impl Limits {
    /// The limits that hold unless somebody raises them.
    pub const USUAL: Self = Self {
        file: 256 << 20,
        unpacked: 256 << 20,
        ratio: 500,
        depth: 100,
        parts: 1_000,
        bars: 1_000_000,
        bar: 10_000,
    };

    /// The names that [`Limits::set`] knows, each with what it counts.
    pub const NAMES: [(&'static str, &'static str); 7] = [
        ("file", "bytes of a file"),
        ("unpacked", "bytes of a score unpacked from an .mxl file"),
        ("ratio", "how many times its packed size a score may have"),
        ("depth", "XML elements in each other"),
        ("parts", "parts of a score"),
        ("bars", "bars of all parts together"),
        ("bar", "notes, rests and signs in one bar of a part"),
    ];

    /// The limit of this name.
    pub fn get(&self, name: &str) -> Option<u64> {
        Some(match name {
            "file" => self.file,
            "unpacked" => self.unpacked,
            "ratio" => self.ratio,
            "depth" => self.depth,
            "parts" => self.parts,
            "bars" => self.bars,
            "bar" => self.bar,
            _ => return None,
        })
    }

    /// Sets the limit of this name; `false` when there is none.
    pub fn set(&mut self, name: &str, value: u64) -> bool {
        let (limit, most) = match name {
            "file" => (&mut self.file, LARGEST),
            "unpacked" => (&mut self.unpacked, LARGEST),
            "ratio" => (&mut self.ratio, u64::MAX),
            "depth" => (&mut self.depth, u64::MAX),
            "parts" => (&mut self.parts, u64::MAX),
            "bars" => (&mut self.bars, u64::from(u32::MAX)),
            "bar" => (&mut self.bar, u64::MAX),
            _ => return false,
        };
        *limit = value.min(most);
        true
    }
}

impl Default for Limits {
    fn default() -> Self {
        Self::USUAL
    }
}

/// What to do about a limit that was reached.
pub fn raise(name: &str) -> String {
    format!("if the file is what it should be, raise the limit: --limit {name}=NUMBER")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_sets_a_limit_of_its_own() {
        let mut seen = Vec::new();
        for (name, _) in Limits::NAMES {
            let mut limits = Limits::USUAL;
            assert!(limits.set(name, 7), "{name}");
            assert_ne!(limits, Limits::USUAL, "{name}");
            assert_eq!(limits.get(name), Some(7), "{name}");
            assert!(!seen.contains(&limits), "{name}");
            seen.push(limits);
        }
        assert!(!Limits::USUAL.clone().set("notes", 7));
        let mut limits = Limits::USUAL;
        limits.set("file", u64::MAX);
        assert!(u32::try_from(limits.file).is_ok(), "spans have 32 bits");
    }
}
