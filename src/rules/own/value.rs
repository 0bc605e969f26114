//! A value that a condition asks for, and how tests of it come out.

use crate::condition::{Compare, Constant, How, Test, Var, value_index};
use cel::common::ast::IdedExpr;
use cel::common::types::{CelBool, CelDouble, CelInt, CelList, CelString, DOUBLE_TYPE, INT_TYPE};
use cel::common::value::{CowVal, Val};
use cel::context::VariableResolver;
use cel::{Context, Env, ExecutionError, Value};
use std::borrow::Cow;
use std::cmp::Ordering;
use std::sync::{Arc, LazyLock};

/// A value.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum FactValue<'d> {
    Flag(bool),
    /// A whole number, a pitch (C4 is 60) or a dynamic.
    Whole(i64),
    Decimal(f64),
    Text(Cow<'d, str>),
    Wholes(Vec<i64>),
    Texts(Vec<&'static str>),
    /// The player rests, or there is no such note: nothing can be asked.
    Missing,
}

impl<'d> FactValue<'d> {
    pub(super) fn text(text: &'d str) -> Self {
        Self::Text(Cow::Borrowed(text))
    }

    fn order(&self, other: &Constant) -> Option<Ordering> {
        match (self, other) {
            (Self::Flag(a), Constant::Flag(b)) => Some(a.cmp(b)),
            (Self::Whole(a), Constant::Whole(b)) => Some(a.cmp(b)),
            (Self::Decimal(a), Constant::Decimal(b)) => a.partial_cmp(b),
            (Self::Text(a), Constant::Text(b)) => Some(a.as_ref().cmp(b.as_str())),
            _ => None,
        }
    }

    fn order_to(&self, other: &Self) -> Option<Ordering> {
        match (self, other) {
            (Self::Flag(a), Self::Flag(b)) => Some(a.cmp(b)),
            (Self::Whole(a), Self::Whole(b)) => Some(a.cmp(b)),
            (Self::Decimal(a), Self::Decimal(b)) => a.partial_cmp(b),
            (Self::Text(a), Self::Text(b)) => Some(a.cmp(b)),
            _ => None,
        }
    }

    fn holds(&self, item: &Constant) -> Option<bool> {
        match (self, item) {
            (Self::Wholes(all), Constant::Whole(n)) => Some(all.contains(n)),
            (Self::Texts(all), Constant::Text(t)) => Some(all.contains(&t.as_str())),
            _ => None,
        }
    }

    fn for_cel(&self) -> Option<CowVal<'_, '_>> {
        Some(match self {
            Self::Flag(b) => CowVal::owned(CelBool::from(*b)),
            Self::Whole(n) => CowVal::owned(CelInt::from(*n)),
            Self::Decimal(n) => CowVal::owned(CelDouble::from(*n)),
            Self::Text(t) => CowVal::owned(CelString::from(t.as_ref())),
            Self::Wholes(all) => CowVal::owned(CelList::from(
                all.iter()
                    .map(|n| Box::new(CelInt::from(*n)) as Box<dyn Val>)
                    .collect::<Vec<_>>(),
            )),
            Self::Texts(all) => CowVal::owned(CelList::from(
                all.iter()
                    .map(|t| Box::new(CelString::from(*t)) as Box<dyn Val>)
                    .collect::<Vec<_>>(),
            )),
            Self::Missing => return None,
        })
    }
}

/// How a test comes out.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Outcome {
    Yes,
    No,
    /// It cannot be asked here: a player rests.
    NotHere,
    /// It went wrong, and why in words.
    Failed(String),
}

impl Outcome {
    const fn of(yes: bool) -> Self {
        if yes { Self::Yes } else { Self::No }
    }
}

const fn comes_out(compare: Compare, order: Ordering) -> bool {
    match compare {
        Compare::Same => order.is_eq(),
        Compare::Other => order.is_ne(),
        Compare::Less => order.is_lt(),
        Compare::AtMost => order.is_le(),
        Compare::More => order.is_gt(),
        Compare::AtLeast => order.is_ge(),
    }
}

/// Works a test out. `value` gives what it asks for.
pub(super) fn outcome<'d>(test: &Test, mut value: impl FnMut(&Var) -> FactValue<'d>) -> Outcome {
    if let How::Expression(expression) = &test.how {
        let values: Vec<FactValue<'d>> = test.vars.iter().map(value).collect();
        if test.needs_all && values.contains(&FactValue::Missing) {
            return Outcome::NotHere;
        }
        return match worked_out(expression, &values) {
            Ok(Value::Bool(yes)) => Outcome::of(yes),
            Ok(other) => Outcome::Failed(format!("it came out as {other:?}")),
            Err(NoValue::NotHere) => Outcome::NotHere,
            Err(NoValue::Failed(why)) => Outcome::Failed(why),
        };
    }
    let Some(first) = test.vars.first() else {
        return Outcome::No;
    };
    let first = value(first);
    if first == FactValue::Missing {
        return Outcome::NotHere;
    }
    let yes = match &test.how {
        How::Is(wanted) => match first {
            FactValue::Flag(flag) => Some(flag == *wanted),
            _ => None,
        },
        How::Against(compare, constant) => first.order(constant).map(|o| comes_out(*compare, o)),
        How::Between(compare) => {
            let second = test.vars.get(1).map_or(FactValue::Missing, value);
            if second == FactValue::Missing {
                return Outcome::NotHere;
            }
            first.order_to(&second).map(|o| comes_out(*compare, o))
        }
        How::Among(all) => Some(all.iter().any(|c| first.order(c) == Some(Ordering::Equal))),
        How::Holds(item) => first.holds(item),
        How::Expression(_) => None,
    };
    // The kinds were checked when the style was read.
    yes.map_or_else(
        || Outcome::Failed("two values are not of one kind".to_owned()),
        Outcome::of,
    )
}

/// Why an expression has no value.
pub(super) enum NoValue {
    NotHere,
    Failed(String),
}

struct Values<'v, 'd>(&'v [FactValue<'d>]);

impl VariableResolver for Values<'_, '_> {
    fn resolve<'b>(&'b self, variable: &str) -> Option<CowVal<'b, 'b>> {
        self.0.get(value_index(variable)?)?.for_cel()
    }
}

/// The functions there are: those of the standard, and `abs`.
static FUNCTIONS: LazyLock<Arc<Env>> = LazyLock::new(|| {
    let mut env = Env::stdlib();
    // Neither can be taken: the names are this program's own.
    let _ = env.add_overload("abs", "abs_int", vec![INT_TYPE], abs);
    let _ = env.add_overload("abs", "abs_double", vec![DOUBLE_TYPE], abs);
    Arc::new(env)
});

#[allow(clippy::needless_pass_by_value)] // the interpreter hands its arguments over
fn abs<'b, 'v>(args: Vec<CowVal<'b, 'v>>) -> Result<CowVal<'b, 'v>, ExecutionError> {
    let one = args.first();
    if let Some(n) = one.and_then(|v| v.downcast_ref::<CelInt>()) {
        return Ok(CowVal::owned(CelInt::from(n.inner().saturating_abs())));
    }
    match one.and_then(|v| v.downcast_ref::<CelDouble>()) {
        Some(n) => Ok(CowVal::owned(CelDouble::from(n.inner().abs()))),
        None => Err(ExecutionError::function_error("abs", "no number")),
    }
}

pub(super) fn worked_out(
    expression: &IdedExpr,
    values: &[FactValue<'_>],
) -> Result<Value, NoValue> {
    let values = Values(values);
    let mut context = Context::with_env(Arc::clone(&FUNCTIONS));
    context.set_variable_resolver(&values);
    Value::resolve(expression, &context).map_err(|error| match error {
        ExecutionError::UndeclaredReference(_) => NoValue::NotHere,
        ExecutionError::IndexOutOfBounds(n) => {
            NoValue::Failed(format!("there is no number {} in the list", plain(&n)))
        }
        ExecutionError::DivisionByZero(n) | ExecutionError::RemainderByZero(n) => {
            NoValue::Failed(format!("{} is divided by 0", plain(&n)))
        }
        ExecutionError::Overflow(_, a, b) => NoValue::Failed(format!(
            "a sum of {} and {} is too large",
            plain(&a),
            plain(&b)
        )),
        other => NoValue::Failed(other.to_string()),
    })
}

fn plain(value: &Value) -> String {
    match value {
        Value::Int(n) => n.to_string(),
        Value::Float(n) => n.to_string(),
        Value::String(s) => s.to_string(),
        other => format!("{other:?}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use cel::common::ast::{CallExpr, Expr, ListExpr, LiteralValue};

    fn expr(expr: Expr) -> IdedExpr {
        IdedExpr { id: 1, expr }
    }

    fn literal(constant: &Constant) -> IdedExpr {
        expr(Expr::Literal(match constant {
            Constant::Flag(b) => LiteralValue::Boolean((*b).into()),
            Constant::Whole(n) => LiteralValue::Int((*n).into()),
            Constant::Decimal(n) => LiteralValue::Double((*n).into()),
            Constant::Text(t) => LiteralValue::String(t.clone().into()),
        }))
    }

    fn call(name: &str, args: Vec<IdedExpr>) -> IdedExpr {
        expr(Expr::Call(CallExpr {
            func_name: name.to_owned(),
            target: None,
            args,
        }))
    }

    /// The interpreter's answer to a test that needs none.
    fn interpreted(how: &How, values: &[FactValue<'_>]) -> Option<bool> {
        let var = |i: u32| expr(Expr::Ident(char::from_u32(0xE000 + i).unwrap().to_string()));
        let sign = |c: &Compare| match c {
            Compare::Same => "_==_",
            Compare::Other => "_!=_",
            Compare::Less => "_<_",
            Compare::AtMost => "_<=_",
            Compare::More => "_>_",
            Compare::AtLeast => "_>=_",
        };
        let whole = match how {
            How::Is(true) => var(0),
            How::Is(false) => call("!_", vec![var(0)]),
            How::Against(c, constant) => call(sign(c), vec![var(0), literal(constant)]),
            How::Between(c) => call(sign(c), vec![var(0), var(1)]),
            How::Among(all) => call(
                "@in",
                vec![
                    var(0),
                    expr(Expr::List(ListExpr::new(all.iter().map(literal).collect()))),
                ],
            ),
            How::Holds(item) => call("@in", vec![literal(item), var(0)]),
            How::Expression(_) => return None,
        };
        match worked_out(&whole, values) {
            Ok(Value::Bool(b)) => Some(b),
            _ => panic!("{how:?} {values:?}"),
        }
    }

    #[test]
    fn tests_without_the_interpreter_come_out_as_with_it() {
        let compares = [
            Compare::Same,
            Compare::Other,
            Compare::Less,
            Compare::AtMost,
            Compare::More,
            Compare::AtLeast,
        ];
        let mut tried = 0;
        let mut check = |how: How, values: &[FactValue<'_>]| {
            let test = Test {
                vars: vec![
                    Var::Named(
                        crate::condition::Side::Here,
                        crate::condition::Name::Written,
                    ),
                    Var::Named(
                        crate::condition::Side::Here,
                        crate::condition::Name::Sounding,
                    ),
                ],
                outer: false,
                needs_all: true,
                how: how.clone(),
            };
            let mut given = values.iter();
            let quick = outcome(&test, |_| given.next().cloned().unwrap());
            let slow = Outcome::of(interpreted(&how, values).unwrap());
            assert_eq!(quick, slow, "{how:?} {values:?}");
            tried += 1;
        };
        for a in [-3i64, 0, 60] {
            for b in [-3i64, 0, 61] {
                for c in compares {
                    check(How::Against(c, Constant::Whole(b)), &[FactValue::Whole(a)]);
                    check(
                        How::Against(c, Constant::Decimal(b as f64)),
                        &[FactValue::Decimal(a as f64)],
                    );
                    check(How::Between(c), &[FactValue::Whole(a), FactValue::Whole(b)]);
                }
                check(
                    How::Among(vec![Constant::Whole(b), Constant::Whole(7)]),
                    &[FactValue::Whole(a)],
                );
                check(
                    How::Holds(Constant::Whole(a)),
                    &[FactValue::Wholes(vec![1, b])],
                );
            }
        }
        for (a, b) in [("drop 2", "drop 2"), ("", "x"), ("accent", "fall")] {
            for c in [Compare::Same, Compare::Other] {
                check(
                    How::Against(c, Constant::Text(b.to_owned())),
                    &[FactValue::text(a)],
                );
            }
            check(
                How::Holds(Constant::Text(b.to_owned())),
                &[FactValue::Texts(vec!["fall", "accent"])],
            );
        }
        for flag in [true, false] {
            check(How::Is(true), &[FactValue::Flag(flag)]);
            check(How::Is(false), &[FactValue::Flag(flag)]);
        }
        assert!(tried > 150);
    }
}
