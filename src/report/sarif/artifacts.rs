//! The files of a run as artifacts, and places in them.

use super::characters::CharacterCounts;
use super::log::{Artifact, ArtifactLocation, Location, PhysicalLocation, Region};
use crate::ground::text::Span;
use crate::score::{Score, Source};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Component, Path, PathBuf};

/// The base that paths are relative to.
pub(super) const ROOT: &str = "ROOT";

/// The artifacts of the run, each once.
pub(super) struct Artifacts {
    /// The folder that paths are relative to.
    here: PathBuf,
    list: Vec<Artifact>,
    /// Where the artifact of a file, or of a member of it, stands in the list.
    index: BTreeMap<(PathBuf, Option<String>), usize>,
}

impl Artifacts {
    /// None yet; paths will be relative to `here`.
    pub(super) fn below(here: PathBuf) -> Self {
        Self {
            here,
            list: Vec::new(),
            index: BTreeMap::new(),
        }
    }

    pub(super) fn into_list(self) -> Vec<Artifact> {
        self.list
    }

    /// The artifact of a source: a file, or a member of a container.
    fn source(&mut self, source: &Source) -> ArtifactLocation {
        let file = self.file(&source.path);
        let Some(member) = &source.member else {
            return file;
        };
        let key = (source.path.clone(), Some(member.clone()));
        let member = member.trim_start_matches('/').replace('\\', "/");
        let location = ArtifactLocation {
            uri: format!("/{}", encoded(member.as_bytes())),
            uri_base_id: None,
            index: None,
        };
        self.put(key, location, file.index)
    }

    /// The artifact of a file.
    pub(super) fn file(&mut self, path: &Path) -> ArtifactLocation {
        let location = self.locate(path);
        self.put((path.to_owned(), None), location, None)
    }

    fn put(
        &mut self,
        key: (PathBuf, Option<String>),
        location: ArtifactLocation,
        parent_index: Option<usize>,
    ) -> ArtifactLocation {
        let next = self.list.len();
        let index = *self.index.entry(key).or_insert(next);
        if index == next {
            self.list.push(Artifact {
                location: location.clone(),
                parent_index,
                roles: ["analysisTarget"],
            });
        }
        ArtifactLocation {
            index: Some(index),
            ..location
        }
    }

    /// Relative to the current folder when the file is below it, else the whole path.
    fn locate(&self, path: &Path) -> ArtifactLocation {
        let mut whole = PathBuf::new();
        for step in self.here.join(path).components() {
            match step {
                Component::CurDir => {}
                Component::ParentDir => {
                    whole.pop();
                }
                step => whole.push(step),
            }
        }
        match whole.strip_prefix(&self.here) {
            Ok(below) if !below.as_os_str().is_empty() => ArtifactLocation {
                uri: steps(below),
                uri_base_id: Some(ROOT),
                index: None,
            },
            _ => ArtifactLocation {
                uri: format!("file:///{}", steps(&whole)),
                uri_base_id: None,
                index: None,
            },
        }
    }
}

/// A score with its files among the artifacts.
pub(super) struct ScoreArtifacts<'a> {
    pub score: &'a Score,
    /// Of each source.
    pub locations: Vec<ArtifactLocation>,
    /// Of each source.
    counts: Vec<CharacterCounts<'a>>,
}

impl<'a> ScoreArtifacts<'a> {
    pub(super) fn of(score: &'a Score, artifacts: &mut Artifacts) -> Self {
        Self {
            score,
            locations: score.sources.iter().map(|s| artifacts.source(s)).collect(),
            counts: score
                .sources
                .iter()
                .map(|s| CharacterCounts::of(&s.text))
                .collect(),
        }
    }

    pub(super) fn region(&self, span: Span) -> Option<Region> {
        let source = self.score.sources.get(usize::from(span.source))?;
        let count = self.counts.get(usize::from(span.source))?;
        let (start_line, start_column) = source.line_column(span.start);
        let (end_line, end_column) = source.line_column(span.end.max(span.start));
        let start = count.before(span.start as usize);
        let end = count.before(span.end as usize);
        Some(Region {
            start_line,
            start_column,
            end_line: Some(end_line),
            end_column: Some(end_column),
            char_offset: Some(start),
            char_length: Some(end.saturating_sub(start)),
        })
    }

    pub(super) fn at(&self, span: Span) -> Option<PhysicalLocation> {
        Some(PhysicalLocation {
            artifact_location: self.locations.get(usize::from(span.source))?.clone(),
            region: self.region(span),
        })
    }

    /// The score's first file.
    pub(super) fn whole(&self) -> Option<Location> {
        let artifact_location = self.locations.first()?.clone();
        Some(Location {
            id: None,
            physical_location: PhysicalLocation {
                artifact_location,
                region: None,
            },
            logical_locations: Vec::new(),
            message: None,
        })
    }
}

/// A path as a reference: its steps percent-encoded, `/` between them.
fn steps(path: &Path) -> String {
    let steps: Vec<String> = path
        .components()
        .filter(|c| !matches!(c, Component::RootDir))
        .map(|c| encoded(c.as_os_str().as_encoded_bytes()))
        .collect();
    steps.join("/")
}

/// Percent-encoding (published: RFC 3986) of everything but unreserved characters and `/`.
fn encoded(bytes: &[u8]) -> String {
    let mut out = String::with_capacity(bytes.len());
    for &byte in bytes {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_references() {
        let artifacts = Artifacts::below(PathBuf::from("/band/book"));
        let of = |path: &str| artifacts.locate(Path::new(path));
        assert_eq!(of("./a b/\u{e9}%.mxl").uri, "a%20b/%C3%A9%25.mxl");
        assert_eq!(of("x/../y.mxl").uri, "y.mxl");
        assert_eq!(of("y.mxl").uri_base_id, Some(ROOT));
        let outside = of("../other/y.mxl");
        assert_eq!(
            (outside.uri.as_str(), outside.uri_base_id),
            ("file:///band/other/y.mxl", None)
        );
    }
}
