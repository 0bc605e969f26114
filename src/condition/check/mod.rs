//! Checks a condition. Every name is looked up, and both sides of a comparison have to be of one kind.
//! Instruments, sections and techniques have to be known. A condition without a mistake gives yes or
//! no for any music, or names the number in it that went wrong.

mod checker;
mod comparisons;
mod functions;
mod lists;
mod message;
mod players;
mod simple;
mod sums;
mod texts;
mod values;

pub use checker::Known;
pub use message::message;
pub use players::player;

use self::checker::Checker;
use self::comparisons::compare_with;
use self::simple::{chooses, conjuncts, is_outer, simple};
use super::checked::{Condition, How, Test};
use super::kinds::{Among, Kind, One};
use super::mistake::Mistake;
use super::names::Scope;
use super::parse::parsed;
use cel::common::ast::operators as op;
use cel::common::ast::{Expr, IdedExpr, LiteralValue};

/// A condition checked and put in order.
pub fn condition(source: &str, known: Known<'_>) -> Result<Condition, Vec<Mistake>> {
    let parsed = parsed(source).map_err(|m| vec![m])?;
    let mut parts = Vec::new();
    conjuncts(parsed.expr, &mut parts);
    let mut tests = Vec::new();
    let mut mistakes = Vec::new();
    for mut expr in parts {
        let mut checker = Checker::new(source, &parsed.info, &parsed.tokens, known, &expr);
        let kind = checker.check(&mut expr);
        if let Some(kind) = kind
            && kind != Kind::One(One::Flag)
        {
            let at = checker.range(&expr);
            let said = checker.text(&at);
            checker.wrong(
                at,
                format!(
                    "a condition comes out as yes or no, but `{said}` is {}",
                    kind.described()
                ),
                match kind {
                    Kind::One(one) => compare_with(said, one),
                    Kind::List(_) | Kind::Empty => {
                        format!("ask something of its values, such as {said}.exists(x, x == ...)")
                    }
                    Kind::Players => format!("name a player: {said}['trumpet 1'] > pitch('A5')"),
                    Kind::Note => format!("ask for something of it: {said}.written > pitch('A5')"),
                },
            );
        }
        mistakes.append(&mut checker.mistakes);
        let vars = checker.vars;
        let outer = vars.iter().all(|v| is_outer(known.scope, v)) && known.scope != Scope::Part;
        let how = simple(&expr).unwrap_or_else(|| How::Expression(Box::new(expr)));
        let needs_all = match &how {
            How::Expression(expr) => !chooses(expr),
            _ => true,
        };
        tests.push(Test {
            vars,
            outer,
            needs_all,
            how,
        });
    }
    if !mistakes.is_empty() {
        return Err(mistakes);
    }
    // The outcome of && does not depend on the order (an open standard says so of errors, too).
    tests.sort_by_key(|t| (!t.outer, matches!(t.how, How::Expression(_))));
    Ok(Condition { tests })
}

impl Checker<'_> {
    /// The kind of an expression, its names replaced by values; `None` when a mistake was noted.
    pub(super) fn check(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
        match &expr.expr {
            Expr::Literal(literal) => match literal {
                LiteralValue::Boolean(_) => Some(Kind::One(One::Flag)),
                LiteralValue::Int(_) => Some(Kind::One(One::Whole)),
                LiteralValue::Double(_) => Some(Kind::One(One::Decimal)),
                LiteralValue::String(_) => Some(Kind::One(One::Text(Among::Any))),
                LiteralValue::Null => {
                    let at = self.range(expr);
                    self.wrong(
                        at,
                        "`null` is nothing a value can be",
                        "what is not known is '' or 0, such as chord == ''",
                    );
                    None
                }
                LiteralValue::Bytes(_) | LiteralValue::UInt(_) => self.cannot(expr),
            },
            Expr::Ident(name) => {
                let name = name.clone();
                self.ident(expr, &name)
            }
            Expr::Select(_) => self.member(expr),
            Expr::Call(_) => self.call(expr),
            Expr::List(_) => self.list(expr),
            Expr::Comprehension(_) => self.each(expr),
            Expr::Map(_) | Expr::Struct(_) | Expr::Unspecified => self.cannot(expr),
        }
    }

    pub(super) fn call(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
        let Expr::Call(call) = &mut expr.expr else {
            return None;
        };
        let name = call.func_name.clone();
        match (name.as_str(), call.args.len(), call.target.is_some()) {
            (op::LOGICAL_AND | op::LOGICAL_OR, 2, false) | (op::LOGICAL_NOT, 1, false) => {
                self.logic(call, &name)
            }
            (op::NOT_STRICTLY_FALSE, 1, false) => {
                let [inner] = call.args.as_mut_slice() else {
                    return None;
                };
                self.check(inner)
            }
            (op::CONDITIONAL, 3, false) => self.either(call),
            (op::EQUALS | op::NOT_EQUALS, 2, false) => self.same(call, &name),
            (op::LESS | op::LESS_EQUALS | op::GREATER | op::GREATER_EQUALS, 2, false) => {
                self.order(call, &name)
            }
            (op::IN, 2, false) => self.is_in(expr),
            (op::INDEX, 2, false) => self.index(expr),
            (op::NEGATE, 1, false) => self.negative(call),
            (op::ADD | op::SUBSTRACT | op::MULTIPLY | op::DIVIDE | op::MODULO, 2, false) => {
                self.sum(call, &name)
            }
            _ => self.function(expr, &name),
        }
    }

    pub(super) fn cannot(&mut self, expr: &IdedExpr) -> Option<Kind> {
        let at = self.range(expr);
        let said = self.text(&at);
        self.wrong(
            at,
            format!("`{said}` is nothing a condition of a house style can use"),
            "use names, numbers, texts in quotation marks and lists: `chartproof style --words` prints all there is",
        );
        None
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::condition::checked::{Compare, Constant, Var};
    use crate::ground::instrument;

    /// The shipped instruments, and a part "Reed 1".
    pub(in crate::condition) fn known(scope: Scope) -> Known<'static> {
        Known {
            scope,
            book: instrument::catalogue(),
            is_part: &|name| name == "Reed 1",
        }
    }

    /// The tests of a condition without a mistake.
    pub(in crate::condition) fn taken(scope: Scope, when: &str) -> Vec<Test> {
        match condition(when, known(scope)) {
            Ok(condition) => condition.tests,
            Err(mistakes) => panic!("{when}\n{mistakes:#?}"),
        }
    }

    /// How the only test of a condition is worked out.
    pub(in crate::condition) fn only(scope: Scope, when: &str) -> How {
        let mut tests = taken(scope, when);
        assert_eq!(tests.len(), 1, "{when}");
        tests.remove(0).how
    }

    /// The words that the only mistake of a condition points at, its sentence, and the advice.
    pub(in crate::condition) fn refused(scope: Scope, when: &str) -> (&str, String, String) {
        let mut mistakes = condition(when, known(scope)).expect_err(when);
        assert_eq!(mistakes.len(), 1, "{when}\n{mistakes:#?}");
        let mistake = mistakes.remove(0);
        (&when[mistake.at], mistake.message, mistake.help)
    }

    #[test]
    fn a_condition_comes_out_as_yes_or_no() {
        let (at, message, help) = refused(Scope::Note, "written - pitch('C4')");
        assert_eq!(at, "written - pitch('C4')");
        assert!(message.contains("is a whole number"), "{message}");
        assert!(help.contains("> 4"), "{help}");
        let (_, _, help) = refused(Scope::Sonority, "voices");
        assert!(help.contains("voices.exists("), "{help}");
        let (_, _, help) = refused(Scope::Sonority, "sounding");
        assert!(help.contains("sounding['trumpet 1']"), "{help}");
        let (_, _, help) = refused(Scope::Step, "from");
        assert!(help.contains("from.written"), "{help}");
    }

    #[test]
    fn every_mistake_is_reported() {
        let mistakes = condition("wirtten > 1 && sounding > 'A5'", known(Scope::Note));
        assert_eq!(mistakes.map_err(|m| m.len()), Err(2));
    }

    #[test]
    fn tests_of_a_whole_part_come_first_and_expressions_last() {
        let tests = taken(
            Scope::Note,
            "written % 12 == 0 && tied && instrument == 'trumpet'",
        );
        let order: Vec<(bool, bool)> = tests
            .iter()
            .map(|t| (t.outer, matches!(t.how, How::Expression(_))))
            .collect();
        assert_eq!(order, [(true, false), (false, false), (false, true)]);
    }

    #[test]
    fn values_a_choice_leaves_aside_need_not_be_there() {
        let needs_all = |when| taken(Scope::Sonority, when)[0].needs_all;
        assert!(needs_all("sounding['trumpet 1'] - lead > 3"));
        assert!(!needs_all("'trumpet 1' in sounding || span > 3"));
        assert!(!needs_all("block ? span > 3 : count > 3"));
        assert!(!needs_all("gaps.exists(g, g > 9)"));
    }

    #[test]
    fn a_value_is_asked_for_once() {
        let tests = taken(Scope::Note, "seat > 1 || seat < 4 || bar == 1");
        let expected: Vec<Var> = ["seat", "bar"]
            .iter()
            .map(|word| {
                let entry = Scope::Note.entry(word).unwrap();
                Var::Named(crate::condition::checked::Side::Here, entry.name)
            })
            .collect();
        assert_eq!(tests[0].vars, expected);
        assert_eq!(
            only(Scope::Note, "seat == 2"),
            How::Against(Compare::Same, Constant::Whole(2))
        );
    }

    #[test]
    fn null_is_no_value() {
        let (at, message, help) = refused(Scope::Note, "chord == null");
        assert_eq!(at, "null");
        assert!(message.contains("nothing a value can be"), "{message}");
        assert!(help.contains("chord == ''"), "{help}");
    }
}
