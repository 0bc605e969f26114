//! The parser of the open standard, within bounds of time and stack. Its messages are reworded for
//! musicians.

use super::mistake::Mistake;
use super::tokens::{Token, tokens};
use crate::ground::threads;
use cel::common::ast::{Expr, IdedExpr, SourceInfo};
use cel::parser::Parser;
use std::ops::Range;

/// The deepest expression that is worked out.
const DEEPEST: usize = 48;

/// The parser's own stack: it needs much for each bracket.
const STACK: usize = 32 << 20;

pub(super) struct Parsed {
    pub(super) expr: IdedExpr,
    pub(super) info: SourceInfo,
    pub(super) tokens: Vec<Token>,
}

pub(super) fn parsed(source: &str) -> Result<Parsed, Mistake> {
    let tokens = tokens(source)?;
    let whole = || 0..source.len();
    let text = source.to_owned();
    // A thread of its own: the parser goes down the stack with every bracket, and should it ever
    // break off, it is the condition that cannot be used and not the program.
    let ran = threads::on_a_deep_stack(STACK, move || {
        let parsed = Parser::new().parse_with_source_info(&text)?;
        let deep = deeper_than(&parsed.0, DEEPEST);
        Ok::<_, cel::ParseErrors>((parsed, deep))
    });
    match ran {
        Some(Ok(((expr, info), false))) => Ok(Parsed { expr, info, tokens }),
        Some(Ok((_, true))) => Err(Mistake::new(
            whole(),
            format!("more than {DEEPEST} sums stand within one another"),
            "make two rules of it",
        )),
        Some(Err(errors)) => Err(reworded(source, &tokens, &errors)),
        None => Err(Mistake::new(
            whole(),
            "this cannot be read as a condition",
            "write it in smaller pieces, joined by &&",
        )),
    }
}

fn deeper_than(expr: &IdedExpr, depth: usize) -> bool {
    depth == 0
        || children(expr)
            .into_iter()
            .any(|c| deeper_than(c, depth - 1))
}

pub(super) fn children(expr: &IdedExpr) -> Vec<&IdedExpr> {
    match &expr.expr {
        Expr::Call(call) => call.target.iter().map(|t| &**t).chain(&call.args).collect(),
        Expr::Select(select) => vec![&*select.operand],
        Expr::List(list) => list.elements.iter().collect(),
        Expr::Comprehension(c) => vec![
            &c.iter_range,
            &c.accu_init,
            &c.loop_cond,
            &c.loop_step,
            &c.result,
        ],
        _ => Vec::new(),
    }
}

/// The first error of the parser, reworded for musicians.
fn reworded(source: &str, tokens: &[Token], errors: &cel::ParseErrors) -> Mistake {
    let first = errors.errors.first();
    let (line, column) = first.map_or((1, 1), |e| e.pos);
    let mut at = 0;
    for text in source
        .split_inclusive('\n')
        .take(line.max(1).unsigned_abs() - 1)
    {
        at += text.len();
    }
    at += source
        .get(at..)
        .unwrap_or_default()
        .char_indices()
        .nth(column.max(1).unsigned_abs() - 1)
        .map_or(source.len() - at.min(source.len()), |(i, _)| i);
    let token = tokens
        .iter()
        .find(|t| t.at.end > at)
        .or_else(|| tokens.last());
    let range = token.map_or(0..source.len(), |t| t.at.clone());
    let found = token.map_or("", |t| t.text(source));
    let said = first.map_or("", |e| e.msg.as_str());
    if said.contains("int literal") || said.contains("double literal") {
        return Mistake::new(
            range,
            format!("`{found}` is too large a number"),
            "pitches go from 0 to 127, bars and beats are small numbers too",
        );
    }
    if said.contains("has() macro") {
        return has(range);
    }
    if said.contains("simple name") {
        return Mistake::new(
            range,
            "the word that stands for each one of the list is missing here",
            "write gaps.exists(g, g > 9): first a word of your own, then the condition on it",
        );
    }
    if said.contains("_?_:_") || source.contains('?') {
        let mark = tokens.iter().find(|t| t.text(source) == "?");
        return Mistake::new(
            mark.map_or(range, |t| t.at.clone()),
            "`?` is not followed by both answers",
            "write condition ? this : that",
        );
    }
    Mistake::new(
        range,
        format!("`{found}` cannot stand here"),
        "look at what stands before it: a value, a sign and a value belong together, such as written > pitch('A5')",
    )
}

pub(super) fn has(at: Range<usize>) -> Mistake {
    Mistake::new(
        at,
        "`has` is not needed: every name has a value everywhere",
        "compare with '' or 0 instead, such as chord != ''",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(source: &str) -> (&str, String) {
        let mistake = parsed(source).err().unwrap_or_else(|| panic!("{source}"));
        (&source[mistake.at], mistake.message)
    }

    #[test]
    fn the_parser_is_put_in_words_of_musicians() {
        for (source, at, message) in [
            (
                "bar > 99999999999999999999",
                "99999999999999999999",
                "too large a number",
            ),
            ("tied ? true", "?", "both answers"),
            ("has(tied)", "tied", "`has` is not needed"),
            ("gaps.exists(1, g > 9)", "", "the word that stands for each"),
            ("written > pitch('A5') . > 3", "", "cannot stand here"),
        ] {
            let (found, said) = refused(source);
            assert!(said.contains(message), "{source}: {said}");
            assert!(found.contains(at), "{source}: {found}");
        }
    }

    #[test]
    fn a_place_on_a_later_line_is_found() {
        let source = "tied\n  && bar > 99999999999999999999";
        assert_eq!(refused(source).0, "99999999999999999999");
    }

    #[test]
    fn depth_is_counted_along_the_longest_way() {
        let sum = |n: usize| vec!["1"; n].join(" + ");
        let expr = parsed(&sum(4)).unwrap_or_else(|m| panic!("{m:?}")).expr;
        // Three sums within one another, and a number in the innermost.
        assert!(!deeper_than(&expr, 4));
        assert!(deeper_than(&expr, 3));
        assert!(parsed(&sum(40)).is_ok());
        assert!(refused(&sum(60)).1.contains("more than 48 sums"));
    }
}
