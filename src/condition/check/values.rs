//! Names in a condition: those of the scope, dynamics, and those behind a dot.

use super::checker::Checker;
use crate::condition::checked::{Side, Var};
use crate::condition::kinds::{Kind, One};
use crate::condition::names::{OF_A_NOTE, Scope};
use crate::condition::parse::has;
use crate::condition::vocabulary::{DYNAMICS, FUNCTIONS};
use crate::ground::pitch::Pitch;
use crate::ground::text::{meant, nearest};
use cel::common::ast::{Expr, IdedExpr, LiteralValue};
use cel::common::types::CelInt;

impl Checker<'_> {
    pub(super) fn ident(&mut self, expr: &mut IdedExpr, name: &str) -> Option<Kind> {
        if let Some((_, kind)) = self.locals.iter().rev().find(|(local, _)| local == name) {
            return Some(*kind);
        }
        if let Some((_, loudness)) = DYNAMICS.iter().find(|(word, _)| *word == name) {
            expr.expr = Expr::Literal(LiteralValue::Int(CelInt::from(*loudness)));
            return Some(Kind::One(One::Loudness));
        }
        if let Some(entry) = self.known.scope.entry(name) {
            if !matches!(entry.kind, Kind::Players | Kind::Note) {
                expr.expr = self.value(Var::Named(Side::Here, entry.name));
            }
            return Some(entry.kind);
        }
        let at = self.range(expr);
        let help = self.no_such_name(name);
        self.wrong(
            at,
            format!("a rule for a {} knows no `{name}`", self.known.scope.word()),
            help,
        );
        None
    }

    pub(super) fn no_such_name(&self, name: &str) -> String {
        if name.chars().any(|c| c.is_ascii_digit()) && name.parse::<Pitch>().is_ok() {
            return format!("a pitch is written pitch('{name}')");
        }
        if FUNCTIONS.iter().any(|(f, ..)| *f == name) {
            return format!("after `{name}` come round brackets with its value");
        }
        let words = || {
            self.known
                .scope
                .entries()
                .iter()
                .map(|e| e.word)
                .chain(DYNAMICS.map(|(w, _)| w))
        };
        if OF_A_NOTE.iter().any(|e| e.word == name) && self.known.scope == Scope::Step {
            return format!("a line step has two notes: write from.{name} or to.{name}");
        }
        // A word that another scope has exactly is no slip of the pen.
        let others: Vec<String> = Scope::WORDS
            .iter()
            .filter(|(_, s)| s.entry(name).is_some())
            .map(|(word, _)| format!("\"{word}\""))
            .collect();
        if !others.is_empty() {
            return format!(
                "`{name}` belongs to rules with scope = {}; `chartproof style --words` prints the names of every scope",
                others.join(" or ")
            );
        }
        match nearest(name, words()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!(
                "if it is a text, write it in quotation marks: '{name}'; the names are: {}",
                self.known
                    .scope
                    .entries()
                    .iter()
                    .map(|e| e.word)
                    .collect::<Vec<_>>()
                    .join(", ")
            ),
        }
    }

    pub(super) fn member(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
        let Expr::Select(select) = &mut expr.expr else {
            return None;
        };
        if select.test {
            let at = self.range(expr);
            self.mistakes.push(has(at));
            return None;
        }
        let field = select.field.clone();
        let side = match &select.operand.expr {
            Expr::Ident(name) if self.known.scope == Scope::Step => match name.as_str() {
                "from" => Some(Side::From),
                "to" => Some(Side::To),
                _ => None,
            },
            _ => None,
        };
        let near = self
            .info
            .offset_for(expr.id)
            .map_or(0, |(start, _)| start as usize);
        if let Some(side) = side {
            if let Some(entry) = OF_A_NOTE.iter().find(|e| e.word == field) {
                expr.expr = self.value(Var::Named(side, entry.name));
                return Some(entry.kind);
            }
            let at = self.word(&field, near).unwrap_or_else(|| self.range(expr));
            let of_step = Scope::Step.entry(&field).is_some();
            self.wrong(
                at,
                format!("a note has no `{field}`"),
                if of_step {
                    format!("`{field}` stands alone in a line step, without a dot before it")
                } else {
                    meant(&field, OF_A_NOTE.iter().map(|e| e.word))
                },
            );
            return None;
        }
        let kind = self.check(&mut select.operand)?;
        let at = self.word(&field, near).unwrap_or_else(|| near..near + 1);
        let help = match FUNCTIONS.iter().find(|(name, ..)| *name == field) {
            Some((_, example, about)) => {
                format!("write {example}, with round brackets: {about}")
            }
            None => "only from and to, in a line step, have fields after a dot".to_owned(),
        };
        self.wrong(
            at,
            format!(
                "`.{field}` follows {}, which has no such field",
                kind.described()
            ),
            help,
        );
        None
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{only, refused, taken};
    use super::*;
    use crate::condition::checked::{Compare, Constant, How};
    use crate::condition::names::Name;

    #[test]
    fn a_name_of_the_scope_is_a_value() {
        assert_eq!(
            taken(Scope::Note, "tied")[0].vars,
            [Var::Named(Side::Here, Name::Tied)]
        );
        let vars = &taken(Scope::Step, "from.tied != to.tied")[0].vars;
        assert_eq!(
            vars[..],
            [
                Var::Named(Side::From, Name::Tied),
                Var::Named(Side::To, Name::Tied)
            ]
        );
    }

    #[test]
    fn dynamics_are_numbers_from_softest_to_loudest() {
        assert_eq!(
            only(Scope::Note, "dynamic < f"),
            How::Against(Compare::Less, Constant::Whole(6))
        );
    }

    #[test]
    fn an_unknown_name_comes_with_advice() {
        for (scope, when, at, help) in [
            (
                Scope::Note,
                "instrumnet == 'trumpet'",
                "instrumnet",
                "did you mean `instrument`?",
            ),
            (
                Scope::Note,
                "written > A5",
                "A5",
                "a pitch is written pitch('A5')",
            ),
            (
                Scope::Note,
                "span > 12",
                "span",
                "belongs to rules with scope = \"sonority\"",
            ),
            (
                Scope::Note,
                "abs > 12",
                "abs",
                "after `abs` come round brackets",
            ),
            (
                Scope::Note,
                "part == Zzyzx",
                "Zzyzx",
                "write it in quotation marks: 'Zzyzx'",
            ),
            (
                Scope::Step,
                "written > 3",
                "written",
                "write from.written or to.written",
            ),
        ] {
            let (found, _, advice) = refused(scope, when);
            assert_eq!(found, at, "{when}");
            assert!(advice.contains(help), "{when}: {advice}");
        }
    }

    #[test]
    fn only_the_notes_of_a_step_have_names_behind_a_dot() {
        for (scope, when, at, help) in [
            (
                Scope::Step,
                "from.writen > pitch('A5')",
                "writen",
                "did you mean `written`?",
            ),
            (
                Scope::Step,
                "to.interval > 12",
                "interval",
                "without a dot before it",
            ),
            (
                Scope::Note,
                "written.name == 'A5'",
                "name",
                "only from and to",
            ),
            (
                Scope::Note,
                "part.contains == 'A'",
                "contains",
                "with round brackets",
            ),
            (Scope::Step, "has(from.chord)", "from", "chord != ''"),
        ] {
            let (found, _, advice) = refused(scope, when);
            assert!(found.contains(at), "{when}: {found}");
            assert!(advice.contains(help), "{when}: {advice}");
        }
    }
}
