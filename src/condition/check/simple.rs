//! Which tests of a condition need no interpreter, and which are the same for a whole part.

use crate::condition::checked::{Compare, Constant, How, Side, Var, value_index};
use crate::condition::names::{Name, Scope};
use crate::condition::parse::children;
use cel::common::ast::operators as op;
use cel::common::ast::{Expr, IdedExpr, LiteralValue};

pub(super) fn conjuncts(expr: IdedExpr, out: &mut Vec<IdedExpr>) {
    match expr.expr {
        Expr::Call(call) if call.func_name == op::LOGICAL_AND && call.target.is_none() => {
            for arg in call.args {
                conjuncts(arg, out);
            }
        }
        other => out.push(IdedExpr {
            id: expr.id,
            expr: other,
        }),
    }
}

/// A test that needs no interpreter.
pub(super) fn simple(expr: &IdedExpr) -> Option<How> {
    // Only a test of one value, which is then the first.
    let is_value =
        |e: &IdedExpr| matches!(&e.expr, Expr::Ident(name) if value_index(name) == Some(0));
    if is_value(expr) {
        return Some(How::Is(true));
    }
    let Expr::Call(call) = &expr.expr else {
        return None;
    };
    match (call.func_name.as_str(), call.args.as_slice()) {
        (op::LOGICAL_NOT, [one]) if is_value(one) => Some(How::Is(false)),
        (op::IN, [one, list]) if is_value(one) => match &list.expr {
            Expr::List(list) => {
                let all: Option<Vec<Constant>> = list.elements.iter().map(constant).collect();
                all.map(How::Among)
            }
            _ => None,
        },
        (op::IN, [one, list]) if is_value(list) => constant(one).map(How::Holds),
        (sign, [left, right]) => {
            let sign = Compare::of(sign)?;
            let is_second =
                |e: &IdedExpr| matches!(&e.expr, Expr::Ident(n) if value_index(n) == Some(1));
            if is_value(left) && is_second(right) {
                Some(How::Between(sign))
            } else if is_value(left) {
                Some(How::Against(sign, constant(right)?))
            } else if is_value(right) {
                Some(How::Against(sign.turned(), constant(left)?))
            } else {
                None
            }
        }
        _ => None,
    }
}

pub(super) fn constant(expr: &IdedExpr) -> Option<Constant> {
    match &expr.expr {
        Expr::Literal(LiteralValue::Boolean(b)) => Some(Constant::Flag(*b.inner())),
        Expr::Literal(LiteralValue::Int(n)) => Some(Constant::Whole(*n.inner())),
        Expr::Literal(LiteralValue::Double(n)) => Some(Constant::Decimal(*n.inner())),
        Expr::Literal(LiteralValue::String(s)) => Some(Constant::Text(s.inner().to_owned())),
        _ => None,
    }
}

/// Whether part of an expression may be left aside.
pub(super) fn chooses(expr: &IdedExpr) -> bool {
    let here = match &expr.expr {
        Expr::Call(call) => matches!(
            call.func_name.as_str(),
            op::LOGICAL_OR | op::LOGICAL_AND | op::CONDITIONAL
        ),
        Expr::Comprehension(_) => true,
        _ => false,
    };
    here || children(expr).into_iter().any(chooses)
}

/// Whether a value is the same for a whole part, or a whole section.
pub(super) fn is_outer(scope: Scope, var: &Var) -> bool {
    let Var::Named(Side::Here, name) = var else {
        return false;
    };
    match scope {
        Scope::Note | Scope::Step => matches!(
            name,
            Name::Part | Name::Instrument | Name::Family | Name::Section | Name::Seat
        ),
        Scope::Sonority => matches!(name, Name::Section),
        Scope::Bar => matches!(name, Name::Section | Name::Players),
        Scope::Part => false,
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{only, taken};
    use super::*;

    #[test]
    fn one_value_against_a_constant_needs_no_interpreter() {
        use Compare::{AtLeast, AtMost, Less, More, Other, Same};
        for (sign, straight, turned) in [
            ("==", Same, Same),
            ("!=", Other, Other),
            ("<", Less, More),
            ("<=", AtMost, AtLeast),
            (">", More, Less),
            (">=", AtLeast, AtMost),
        ] {
            let against = |compare| How::Against(compare, Constant::Whole(3));
            assert_eq!(
                only(Scope::Note, &format!("bar {sign} 3")),
                against(straight)
            );
            assert_eq!(only(Scope::Note, &format!("3 {sign} bar")), against(turned));
        }
        assert_eq!(only(Scope::Note, "tied"), How::Is(true));
        assert_eq!(only(Scope::Note, "!tied"), How::Is(false));
        for when in [
            "bar + 1 == 3",
            "tied || slurred",
            "bar in [1, seat]",
            "'a' + part in ['b']",
        ] {
            assert!(
                matches!(only(Scope::Note, when), How::Expression(_)),
                "{when}"
            );
        }
    }

    #[test]
    fn some_tests_are_the_same_for_a_whole_part_or_section() {
        for (scope, when, outer) in [
            (Scope::Note, "instrument == 'trumpet'", true),
            (Scope::Note, "instrument == 'trumpet' || tied", false),
            (Scope::Step, "seat == 1", true),
            (Scope::Step, "from.tied", false),
            (Scope::Sonority, "section == 'saxes'", true),
            (Scope::Sonority, "count > 3", false),
            (Scope::Bar, "players > 3", true),
            (Scope::Bar, "playing > 3", false),
            (Scope::Part, "instrument == 'trumpet'", false),
        ] {
            assert_eq!(taken(scope, when)[0].outer, outer, "{when}");
        }
    }

    #[test]
    fn conditions_joined_by_and_are_tests_of_their_own() {
        assert_eq!(taken(Scope::Note, "(tied && bar > 3) && slurred").len(), 3);
        assert_eq!(taken(Scope::Note, "tied || bar > 3 && slurred").len(), 1);
    }
}
