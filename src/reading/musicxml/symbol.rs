//! A chord symbol as the file has it, and the chord it stands for.

use crate::ground::chord::{DegreeChange, from_kind};
use crate::ground::pitch::{NoteName, Transposition};
use crate::score::ChordMark;

/// A chord symbol as the file has it, at the written pitch of its part.
#[derive(Clone, Default, PartialEq, Eq, Hash)]
pub(super) struct Symbol {
    /// A root, or what stands instead of one, has been met.
    pub started: bool,
    pub root: Option<NoteName>,
    pub kind: Option<String>,
    /// What is printed after the root.
    pub text: Option<String>,
    pub bass: Option<NoteName>,
    pub degrees: Vec<DegreeChange>,
    /// What keeps the symbol from being read.
    pub unread: Option<String>,
    /// What is printed when there is no root.
    pub rootless: Option<String>,
}

impl Symbol {
    /// Keeps the first reason for which the symbol cannot be read.
    pub(super) fn refuse(&mut self, why: impl Into<String>) {
        self.unread.get_or_insert_with(|| why.into());
    }

    /// The chord at concert pitch, its part being transposed by `by`.
    pub(super) fn finish(mut self, by: Transposition) -> ChordMark {
        let kind = self.kind.take().unwrap_or_default();
        if kind == "none" {
            return ChordMark {
                chord: None,
                written: self.text.unwrap_or_else(|| "N.C.".to_owned()),
                unread: None,
            };
        }
        let Some(root) = self.root else {
            self.refuse("it has no root");
            let tail = self.text.unwrap_or(kind);
            let written = format!("{} {tail}", self.rootless.unwrap_or_default());
            return ChordMark {
                chord: None,
                written: written.trim().to_owned(),
                unread: self.unread,
            };
        };
        let bass = self.bass.map(|b| format!("/{b}")).unwrap_or_default();
        let printed = |tail: &str| format!("{root}{tail}{bass}");
        if kind.is_empty() {
            self.refuse("it has no <kind>");
        }
        if self.unread.is_none() {
            match from_kind(root, &kind, self.text.as_deref(), &self.degrees, self.bass) {
                Ok(Some(chord)) => {
                    let written = match &self.text {
                        // What is printed says it all only when no degree stands beside it.
                        Some(text) if self.degrees.is_empty() => printed(text),
                        _ => chord.text.clone(),
                    };
                    return ChordMark {
                        chord: Some(chord.transposed(by)),
                        written,
                        unread: None,
                    };
                }
                Ok(None) => {
                    return ChordMark {
                        chord: None,
                        written: "N.C.".to_owned(),
                        unread: None,
                    };
                }
                Err(e) => self.refuse(e.to_string()),
            }
        }
        ChordMark {
            chord: None,
            written: printed(self.text.as_deref().unwrap_or(&kind)),
            unread: self.unread,
        }
    }
}
