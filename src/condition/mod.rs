//! The language of a house's own rules: conditions and messages in the Common Expression Language, an
//! open standard. Here they are read and checked; `rules::own` works them out on a score.

mod check;
mod checked;
mod kinds;
mod mistake;
mod names;
mod parse;
mod tokens;
mod vocabulary;
mod words;

pub use check::{Known, condition, message, player};
pub use checked::{
    Compare, Condition, Constant, How, MessagePiece, Player, Shown, Side, Test, Var, value_index,
};
pub use kinds::{Kind, One};
pub use mistake::Mistake;
pub use names::{Name, Scope};
pub use tokens::lists_within_lists;
pub use vocabulary::DYNAMICS;
pub use words::words;
