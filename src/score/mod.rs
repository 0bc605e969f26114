//! The score: parts at written and sounding pitch, exact time, chord symbols, keys, meters, marks.
//!
//! It knows no rule and no file format. Every note remembers the bytes it came from
//! ([`Span`](crate::ground::text::Span)), so that a finding can point and a fix can edit.

mod bar;
mod change;
pub mod identity;
mod layout;
mod marks;
mod merge;
mod note;
mod part;
mod place;
#[allow(clippy::module_inception)] // the type of that name, beside what it is made of
mod score;
mod shared;
mod source;
mod spoken;
mod stretch;
mod waiver;

pub use bar::{Bar, PartBar, Signs};
pub use change::{Added, Addition, Change, NoteRef};
pub use marks::{ChordMark, Clef, FREE, Hairpin, Key, LooseSlur, Mark, Stated, Words, in_force};
pub use merge::{MergeError, merge, refined};
pub use note::{Articulations, Note, NoteFlags, Rest};
pub use part::{Filed, Part, PartFault, Presumed};
pub use place::Place;
pub use score::Score;
pub use shared::Shared;
pub use source::{Format, Source};
pub use spoken::{PlayerPitch, SpokenPitch};
pub use stretch::{Displacement, Stretch, StretchFault};
pub use waiver::Waiver;
