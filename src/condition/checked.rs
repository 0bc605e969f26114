//! Checked conditions and messages: the values they ask for, and the tests of these values.

use super::kinds::Kind;
use super::names::Name;
use cel::common::ast::IdedExpr;
use cel::common::ast::operators as op;

/// Which note of a rule's scope a name speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Side {
    /// The one there is.
    Here,
    /// The first of a line step.
    From,
    /// The second of a line step.
    To,
}

/// A player whom a condition names: by instrument and seat, or by the part's name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Player {
    /// As it is written.
    pub words: String,
    /// The key of the instrument.
    pub instrument: Option<String>,
    /// The number among those of the instrument.
    pub seat: Option<u8>,
}

/// A value that a condition asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Var {
    /// A name of the scope.
    Named(Side, Name),
    /// A player's pitch, written or sounding.
    PitchOf {
        /// As the player reads it.
        written: bool,
        /// Who.
        who: Player,
    },
    /// Whether a player sounds.
    Plays(Player),
}

/// A value to compare with.
#[derive(Clone, Debug, PartialEq)]
pub enum Constant {
    /// Yes or no.
    Flag(bool),
    /// A whole number, a pitch or a dynamic.
    Whole(i64),
    /// A number with decimals.
    Decimal(f64),
    /// A text.
    Text(String),
}

/// The two sides' order that a comparison asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compare {
    /// `==`
    Same,
    /// `!=`
    Other,
    /// `<`
    Less,
    /// `<=`
    AtMost,
    /// `>`
    More,
    /// `>=`
    AtLeast,
}

impl Compare {
    pub(super) fn of(sign: &str) -> Option<Self> {
        Some(match sign {
            op::EQUALS => Self::Same,
            op::NOT_EQUALS => Self::Other,
            op::LESS => Self::Less,
            op::LESS_EQUALS => Self::AtMost,
            op::GREATER => Self::More,
            op::GREATER_EQUALS => Self::AtLeast,
            _ => return None,
        })
    }

    pub(super) const fn turned(self) -> Self {
        match self {
            Self::Less => Self::More,
            Self::AtMost => Self::AtLeast,
            Self::More => Self::Less,
            Self::AtLeast => Self::AtMost,
            same => same,
        }
    }
}

/// How one of the conditions that && joins is worked out.
#[derive(Clone, Debug, PartialEq)]
pub enum How {
    /// The first value is so, or is not.
    Is(bool),
    /// The first value against a constant.
    Against(Compare, Constant),
    /// The first value against the second.
    Between(Compare),
    /// The first value is one of these.
    Among(Vec<Constant>),
    /// The first value is a list with this in it.
    Holds(Constant),
    /// Anything else.
    Expression(Box<IdedExpr>),
}

/// One of the conditions that && joins.
#[derive(Clone, Debug, PartialEq)]
pub struct Test {
    /// The values it asks for.
    pub vars: Vec<Var>,
    /// They are the same for a whole part (or section).
    pub outer: bool,
    /// Without one of the values there is nothing to ask.
    pub needs_all: bool,
    /// How it is worked out.
    pub how: How,
}

/// A condition: all of its tests have to hold. Those of a whole part come first, then simple ones.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// The tests.
    pub tests: Vec<Test>,
}

/// A value in a message.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// The values it asks for.
    pub vars: Vec<Var>,
    /// How it is worked out; `None` when it is the first value itself.
    pub expression: Option<Box<IdedExpr>>,
    /// The kind of the value.
    pub kind: Kind,
}

/// A piece of a message.
#[derive(Clone, Debug, PartialEq)]
pub enum MessagePiece {
    /// Words.
    Words(String),
    /// A value.
    Value(Shown),
}

/// The character that stands for the n-th value of a condition in its expression. Private use: no
/// condition has one.
const FIRST_VALUE: u32 = 0xE000;

/// Which of a condition's values a name in its expression stands for.
pub fn value_index(name: &str) -> Option<usize> {
    let c = name.chars().next()? as u32;
    c.checked_sub(FIRST_VALUE).map(|i| i as usize)
}

pub(super) fn value_name(index: usize) -> String {
    char::from_u32(FIRST_VALUE + index as u32).map_or_else(String::new, String::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_is_found_again_by_its_name() {
        for index in [0, 1, 7, 299] {
            assert_eq!(value_index(&value_name(index)), Some(index));
        }
        assert_eq!(value_index("written"), None);
        assert_eq!(value_index(""), None);
    }

    #[test]
    fn a_comparison_turned_round_says_the_same() {
        let comes_out = |compare, a: i32, b: i32| match compare {
            Compare::Same => a == b,
            Compare::Other => a != b,
            Compare::Less => a < b,
            Compare::AtMost => a <= b,
            Compare::More => a > b,
            Compare::AtLeast => a >= b,
        };
        for sign in [
            op::EQUALS,
            op::NOT_EQUALS,
            op::LESS,
            op::LESS_EQUALS,
            op::GREATER,
            op::GREATER_EQUALS,
        ] {
            let compare = Compare::of(sign).unwrap();
            for (a, b) in [(1, 2), (2, 2), (3, 2)] {
                assert_eq!(
                    comes_out(compare, a, b),
                    comes_out(compare.turned(), b, a),
                    "{a} {sign} {b}"
                );
            }
        }
        assert_eq!(Compare::of(op::ADD), None);
    }
}
