//! The state of a check: the values and mistakes so far, and the place of each part of the condition.

use crate::condition::checked::{Var, value_name};
use crate::condition::kinds::Kind;
use crate::condition::mistake::Mistake;
use crate::condition::names::Scope;
use crate::condition::parse::children;
use crate::condition::tokens::{Token, TokenKind};
use crate::ground::instrument::Catalogue;
use cel::common::ast::operators as op;
use cel::common::ast::{Expr, IdedExpr, SourceInfo};
use std::collections::HashMap;
use std::ops::Range;

/// The names and instruments that a condition can use.
#[derive(Clone, Copy)]
pub struct Known<'k> {
    /// The things that the rule looks at.
    pub scope: Scope,
    /// The instruments and sections there are.
    pub book: &'k Catalogue,
    /// Names of parts that the style has rules for: these may stand for players.
    pub is_part: &'k dyn Fn(&str) -> bool,
}

pub(super) struct Checker<'s> {
    pub(super) source: &'s str,
    pub(super) info: &'s SourceInfo,
    pub(super) tokens: &'s [Token],
    pub(super) known: Known<'s>,
    pub(super) locals: Vec<(String, Kind)>,
    pub(super) vars: Vec<Var>,
    pub(super) mistakes: Vec<Mistake>,
    /// The bytes of each part of the expression, by its number.
    ranges: HashMap<u64, Range<usize>>,
}

impl<'s> Checker<'s> {
    pub(super) fn new(
        source: &'s str,
        info: &'s SourceInfo,
        tokens: &'s [Token],
        known: Known<'s>,
        expr: &IdedExpr,
    ) -> Self {
        let mut checker = Self {
            ranges: HashMap::new(),
            source,
            info,
            tokens,
            known,
            locals: Vec::new(),
            vars: Vec::new(),
            mistakes: Vec::new(),
        };
        checker.look(expr);
        checker
    }

    pub(super) fn wrong(
        &mut self,
        at: Range<usize>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.mistakes.push(Mistake::new(at, message, help));
    }

    pub(super) fn text(&self, at: &Range<usize>) -> &'s str {
        self.source.get(at.clone()).unwrap_or_default()
    }

    /// The bytes of an expression: whole words and signs.
    pub(super) fn range(&self, expr: &IdedExpr) -> Range<usize> {
        self.ranges
            .get(&expr.id)
            .cloned()
            .unwrap_or(0..self.source.len())
    }

    /// Records the bytes of each part, before names are replaced by values.
    pub(super) fn look(&mut self, expr: &IdedExpr) {
        for child in children(expr) {
            self.look(child);
        }
        let at = self.place(expr);
        self.ranges.insert(expr.id, at);
    }

    pub(super) fn place(&self, expr: &IdedExpr) -> Range<usize> {
        let (start, stop) = self.info.offset_for(expr.id).unwrap_or_default();
        let mut at = start as usize..stop as usize + 1;
        if let Expr::Comprehension(c) = &expr.expr {
            let inner = self.range(&c.iter_range);
            at = at.start.min(inner.start)..self.closed(start as usize, '(', ')').max(at.end);
            return at;
        }
        if let Expr::List(_) = &expr.expr {
            at.end = self.closed(at.start, '[', ']').max(at.end);
        }
        for child in children(expr) {
            let inner = self.range(child);
            at = at.start.min(inner.start)..at.end.max(inner.end);
        }
        if let Expr::Call(call) = &expr.expr
            && let Some(name) = self.word(&call.func_name, start as usize)
        {
            at = at.start.min(name.start)..at.end.max(name.end);
            at.end = self.closed(at.end, '(', ')');
        }
        if let Expr::Call(call) = &expr.expr
            && call.func_name == op::INDEX
        {
            at.end = self.closed(at.end, '[', ']');
        }
        let clip = |i: usize| i.min(self.source.len());
        clip(at.start)..clip(at.end.max(at.start + 1))
    }

    /// The end of the brackets that open right after a place.
    pub(super) fn closed(&self, end: usize, open: char, close: char) -> usize {
        let mut depth = 0i32;
        for token in self.tokens.iter().filter(|t| t.at.start >= end) {
            let text = token.text(self.source);
            if text.starts_with(open) {
                depth += 1;
            } else if text.starts_with(close) {
                depth -= 1;
                if depth <= 0 {
                    return token.at.end;
                }
            } else if depth == 0 {
                break;
            }
        }
        end
    }

    /// The word nearest to a place.
    pub(super) fn word(&self, word: &str, near: usize) -> Option<Range<usize>> {
        self.tokens
            .iter()
            .filter(|t| t.kind == TokenKind::Word && t.text(self.source) == word)
            .min_by_key(|t| t.at.start.abs_diff(near))
            .map(|t| t.at.clone())
    }

    pub(super) fn value(&mut self, var: Var) -> Expr {
        let index = self.vars.iter().position(|v| *v == var).unwrap_or_else(|| {
            self.vars.push(var);
            self.vars.len() - 1
        });
        Expr::Ident(value_name(index))
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::refused;
    use crate::condition::names::Scope::{Note, Sonority};

    #[test]
    fn a_mistake_points_at_all_of_its_expression() {
        for (scope, when, at) in [
            (Note, "tied && written + 1", "written + 1"),
            (Note, "tied && size(articulations)", "size(articulations)"),
            (Note, "!(bar)", "bar"),
            (Note, "tied || [1, 2]", "[1, 2]"),
            (Sonority, "block && voices[0]", "voices[0]"),
            (
                Sonority,
                "block || gaps.filter(g, g > 1)",
                "gaps.filter(g, g > 1)",
            ),
            (Sonority, "block && span + 2 * 3", "span + 2 * 3"),
        ] {
            assert_eq!(refused(scope, when).0, at, "{when}");
        }
    }

    #[test]
    fn a_mistake_points_at_the_word_that_is_meant_of_several() {
        let when = "'a' == part && picth('A5') < written || picth('A6') > written";
        let found = super::super::condition(when, super::super::tests::known(Note)).unwrap_err();
        let places: Vec<usize> = found.iter().map(|m| m.at.start).collect();
        assert_eq!(
            places,
            [when.find("picth").unwrap(), when.rfind("picth").unwrap()]
        );
    }
}
