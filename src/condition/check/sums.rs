//! Sums of numbers, pitches and texts.

use super::checker::Checker;
use super::simple::constant;
use crate::condition::checked::Constant;
use crate::condition::kinds::{Among, Kind, One};
use cel::common::ast::operators as op;
use cel::common::ast::{CallExpr, Expr, IdedExpr, LiteralValue};
use cel::common::types::CelDouble;

impl Checker<'_> {
    pub(super) fn negative(&mut self, call: &mut CallExpr) -> Option<Kind> {
        let [inner] = call.args.as_mut_slice() else {
            return None;
        };
        let kind = self.check(inner)?;
        if let Kind::One(One::Whole | One::Decimal) = kind {
            return Some(kind);
        }
        let at = self.range(inner);
        let said = self.text(&at);
        self.wrong(
            at,
            format!("`{said}` is {} and has no negative", kind.described()),
            "only numbers have one",
        );
        None
    }

    pub(super) fn sum(&mut self, call: &mut CallExpr, name: &str) -> Option<Kind> {
        let [left, right] = call.args.as_mut_slice() else {
            return None;
        };
        let (a, b) = (self.check(left), self.check(right));
        let (a, b) = (a?, b?);
        let sign = name.trim_matches('_');
        if let (Kind::One(a), Kind::One(b)) = (a, b) {
            let sum = match (name, a, b) {
                (op::ADD | op::SUBSTRACT, One::Pitch, One::Whole)
                | (op::ADD, One::Whole, One::Pitch) => Some(One::Pitch),
                (op::SUBSTRACT, One::Pitch, One::Pitch)
                | (op::MODULO, One::Pitch | One::Whole, One::Whole) => Some(One::Whole),
                (op::ADD, One::Text(_), One::Text(_)) => Some(One::Text(Among::Any)),
                (op::MODULO, ..) => None,
                (_, One::Whole, One::Whole) => Some(One::Whole),
                (_, One::Whole | One::Decimal, One::Whole | One::Decimal) => {
                    as_decimal(left, a);
                    as_decimal(right, b);
                    Some(One::Decimal)
                }
                _ => None,
            };
            let zero = matches!(constant(right), Some(Constant::Whole(0)));
            if zero && matches!(name, op::DIVIDE | op::MODULO) {
                let at = self.range(right);
                self.wrong(at, "nothing can be divided by 0", "write another number");
                return None;
            }
            if let Some(sum) = sum {
                return Some(Kind::One(sum));
            }
        }
        // The steps of `filter` and `map` add lists.
        match (name, a, b) {
            (op::ADD, Kind::Empty | Kind::List(_), Kind::List(one)) => {
                return Some(Kind::List(one));
            }
            (op::ADD, list, Kind::Empty) if matches!(list, Kind::List(_) | Kind::Empty) => {
                return Some(list);
            }
            _ => {}
        }
        let at = self.range(left).start..self.range(right).end;
        self.wrong(
            at,
            format!(
                "`{sign}` cannot join {} and {}",
                a.described(),
                b.described()
            ),
            "numbers can be added; the difference of two pitches is an interval in semitones, and a pitch plus semitones is a pitch",
        );
        None
    }
}

/// Whether two values are of one kind, for a comparison.
pub(super) fn alike(a: One, b: One) -> bool {
    let rank = |one: One| match one {
        One::Flag => 0,
        One::Whole | One::Decimal | One::Pitch => 1,
        One::Loudness => 2,
        One::Text(_) => 3,
    };
    rank(a) == rank(b)
}

/// Numbers of two kinds are worked out as decimals.
pub(super) fn as_decimal(expr: &mut IdedExpr, kind: One) {
    match &expr.expr {
        _ if kind == One::Decimal => {}
        Expr::Literal(LiteralValue::Int(n)) => {
            let n = *n.inner() as f64;
            expr.expr = Expr::Literal(LiteralValue::Double(CelDouble::from(n)));
        }
        Expr::Literal(_) => {}
        _ => {
            let id = expr.id;
            let inner = std::mem::take(expr);
            *expr = IdedExpr {
                id,
                expr: Expr::Call(CallExpr {
                    func_name: "double".to_owned(),
                    target: None,
                    args: vec![inner],
                }),
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{only, refused};
    use super::*;
    use crate::condition::checked::How;
    use crate::condition::names::Scope::{Note, Sonority};

    #[test]
    fn pitches_and_semitones_add_up() {
        for when in [
            "written + 12 > pitch('A5')",
            "12 + written > pitch('A5')",
            "(written - pitch('C4')) % 12 == 0",
            "part + '1' == 'a1'",
            "duration * 2 > beat - 1",
            "-key > 3",
        ] {
            assert!(matches!(only(Note, when), How::Expression(_)), "{when}");
        }
        for (when, at) in [
            ("written + written > pitch('A5')", "written + written"),
            ("written * 2 > pitch('A5')", "written * 2"),
            ("written + part == 5", "written + part"),
            ("duration % 2 == 1", "duration % 2"),
        ] {
            let (found, message, _) = refused(Note, when);
            assert_eq!(found, at);
            assert!(message.contains("cannot join"), "{message}");
        }
    }

    #[test]
    fn nothing_is_divided_by_nought() {
        for when in ["bar / 0 == 1", "bar % 0 == 1"] {
            let (at, message, _) = refused(Note, when);
            assert_eq!((at, message.as_str()), ("0", "nothing can be divided by 0"));
        }
    }

    #[test]
    fn only_numbers_have_a_negative() {
        let (at, message, _) = refused(Sonority, "-lead > 3");
        assert_eq!(at, "lead");
        assert!(message.contains("a pitch and has no negative"), "{message}");
    }

    #[test]
    fn numbers_and_pitches_are_alike_for_a_comparison() {
        assert!(alike(One::Whole, One::Decimal) && alike(One::Pitch, One::Whole));
        assert!(alike(One::Text(Among::Any), One::Text(Among::Chords)));
        assert!(!alike(One::Loudness, One::Whole) && !alike(One::Flag, One::Text(Among::Any)));
    }

    #[test]
    fn a_whole_number_becomes_a_decimal_and_a_value_is_turned_into_one() {
        let mut literal = IdedExpr {
            id: 1,
            expr: Expr::Literal(LiteralValue::Int(2.into())),
        };
        as_decimal(&mut literal, One::Whole);
        assert_eq!(constant(&literal), Some(Constant::Decimal(2.0)));
        let mut value = IdedExpr {
            id: 2,
            expr: Expr::Ident("x".to_owned()),
        };
        as_decimal(&mut value, One::Decimal);
        assert!(matches!(value.expr, Expr::Ident(_)));
        as_decimal(&mut value, One::Whole);
        assert!(matches!(value.expr, Expr::Call(call) if call.func_name == "double"));
    }
}
