//! From the text of a condition to what can be worked out: every name looked up, every comparison
//! held to the kinds of its two sides, names of instruments, sections and techniques to those there
//! are. A condition that passes here gives a yes or a no for any music, or says which number in it
//! went wrong.

use super::names::{ARTICULATIONS, Among, DYNAMICS, FUNCTIONS, Kind, Name, OF_A_NOTE, One, Scope};
use super::text::{Mistake, Token, TokenKind, tokens};
use crate::ground::chord::{self, Degree};
use crate::ground::instrument::Catalogue;
use crate::ground::pitch::Pitch;
use crate::style::page::{meant, nearest};
use crate::voicing::Technique;
use cel::common::ast::operators as op;
use cel::common::ast::{CallExpr, Expr, IdedExpr, LiteralValue, SourceInfo};
use cel::common::types::{CelDouble, CelInt, CelString};
use cel::parser::Parser;
use std::collections::HashMap;
use std::ops::Range;

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
    fn of(sign: &str) -> Option<Self> {
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

    const fn turned(self) -> Self {
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
    /// What is shown.
    pub kind: Kind,
}

/// A piece of a message.
#[derive(Clone, Debug, PartialEq)]
pub enum Piece {
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

fn value_name(index: usize) -> String {
    char::from_u32(FIRST_VALUE + index as u32).map_or_else(String::new, String::from)
}

/// What a condition is checked against.
#[derive(Clone, Copy)]
pub(super) struct Known<'k> {
    pub(super) scope: Scope,
    pub(super) book: &'k Catalogue,
    /// Names of parts that the style has rules for: these may stand for players.
    pub(super) is_part: &'k dyn Fn(&str) -> bool,
}

/// The deepest expression that is worked out.
const DEEPEST: usize = 48;

/// The parser's own stack: it needs much for each bracket.
const STACK: usize = 32 << 20;

struct Parsed {
    expr: IdedExpr,
    info: SourceInfo,
    tokens: Vec<Token>,
}

fn parsed(source: &str) -> Result<Parsed, Mistake> {
    let tokens = tokens(source)?;
    let whole = || 0..source.len();
    let text = source.to_owned();
    // A thread of its own: the parser goes down the stack with every bracket, and should it ever
    // break off, it is the condition that cannot be used and not the program.
    let ran = std::thread::Builder::new()
        .stack_size(STACK)
        .spawn(move || {
            let parsed = Parser::new().parse_with_source_info(&text)?;
            let deep = deeper_than(&parsed.0, DEEPEST);
            Ok::<_, cel::ParseErrors>((parsed, deep))
        })
        .map(std::thread::JoinHandle::join);
    match ran {
        Ok(Ok(Ok(((expr, info), false)))) => Ok(Parsed { expr, info, tokens }),
        Ok(Ok(Ok((_, true)))) => Err(Mistake::new(
            whole(),
            format!("more than {DEEPEST} sums stand within one another"),
            "make two rules of it",
        )),
        Ok(Ok(Err(errors))) => Err(reworded(source, &tokens, &errors)),
        _ => Err(Mistake::new(
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

fn children(expr: &IdedExpr) -> Vec<&IdedExpr> {
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

/// What the parser stumbled over, in other words than its own.
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
            "write gaps.exists(g, g > 9): first a word of your own, then what is asked of it",
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

fn has(at: Range<usize>) -> Mistake {
    Mistake::new(
        at,
        "`has` is not needed: every name has a value everywhere",
        "compare with '' or 0 instead, such as chord != ''",
    )
}

/// A condition checked and put in order.
pub(super) fn condition(source: &str, known: Known<'_>) -> Result<Condition, Vec<Mistake>> {
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

/// Whether part of an expression may be left aside.
fn chooses(expr: &IdedExpr) -> bool {
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

fn conjuncts(expr: IdedExpr, out: &mut Vec<IdedExpr>) {
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

/// What is the same for a whole part, or a whole section.
fn is_outer(scope: Scope, var: &Var) -> bool {
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

fn compare_with(said: &str, one: One) -> String {
    match one {
        One::Pitch => format!("compare it with something, such as {said} > pitch('A5')"),
        One::Loudness => format!("compare it with something, such as {said} >= f"),
        One::Whole | One::Decimal => format!("compare it with something, such as {said} > 4"),
        One::Text(_) => format!("compare it with something, such as {said} == '...'"),
        One::Flag => String::new(),
    }
}

fn constant(expr: &IdedExpr) -> Option<Constant> {
    match &expr.expr {
        Expr::Literal(LiteralValue::Boolean(b)) => Some(Constant::Flag(*b.inner())),
        Expr::Literal(LiteralValue::Int(n)) => Some(Constant::Whole(*n.inner())),
        Expr::Literal(LiteralValue::Double(n)) => Some(Constant::Decimal(*n.inner())),
        Expr::Literal(LiteralValue::String(s)) => Some(Constant::Text(s.inner().to_owned())),
        _ => None,
    }
}

/// A test that needs no interpreter.
fn simple(expr: &IdedExpr) -> Option<How> {
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

/// A message with its values.
pub(super) fn message(text: &str, known: Known<'_>) -> Result<Vec<Piece>, Vec<Mistake>> {
    let mut pieces = Vec::new();
    let mut mistakes = Vec::new();
    let mut words = String::new();
    let mut at = 0;
    while let Some(c) = text.get(at..).and_then(|rest| rest.chars().next()) {
        let rest = text.get(at..).unwrap_or_default();
        if rest.starts_with("{{") || rest.starts_with("}}") {
            words.push(c);
            at += 2;
            continue;
        }
        if c == '}' {
            mistakes.push(Mistake::new(
                at..at + 1,
                "`}` closes a place for a value that was never opened",
                "write {part} with both brackets, or }} where the bracket itself is to be printed",
            ));
        }
        if c != '{' {
            words.push(c);
            at += c.len_utf8();
            continue;
        }
        let Some(length) = closing(rest) else {
            mistakes.push(Mistake::new(
                at..at + 1,
                "a place for a value is opened here and never closed",
                "write } behind the name, as in {part}; {{ where the bracket itself is to be printed",
            ));
            break;
        };
        if !words.is_empty() {
            pieces.push(Piece::Words(std::mem::take(&mut words)));
        }
        let inside = text.get(at + 1..at + length).unwrap_or_default();
        match shown(inside, known) {
            Ok(value) => pieces.push(Piece::Value(value)),
            Err(found) => mistakes.extend(found.into_iter().map(|m| {
                if inside.trim().is_empty() {
                    return Mistake::new(
                        at..at + length + 1,
                        "nothing stands between the brackets",
                        "write a name between them, as in {part}",
                    );
                }
                Mistake {
                    at: m.at.start + at + 1..m.at.end + at + 1,
                    ..m
                }
            })),
        }
        at += length + 1;
    }
    if !words.is_empty() {
        pieces.push(Piece::Words(words));
    }
    if mistakes.is_empty() {
        Ok(pieces)
    } else {
        Err(mistakes)
    }
}

/// The byte of the bracket that closes the first.
fn closing(text: &str) -> Option<usize> {
    let mut quote = None;
    for (i, c) in text.char_indices().skip(1) {
        match (quote, c) {
            (None, '}') => return Some(i),
            (None, '{') => return None,
            (None, '\'' | '"') => quote = Some(c),
            (Some(q), c) if q == c => quote = None,
            _ => {}
        }
    }
    None
}

fn shown(source: &str, known: Known<'_>) -> Result<Shown, Vec<Mistake>> {
    let mut parsed = parsed(source).map_err(|m| vec![m])?;
    let mut checker = Checker::new(source, &parsed.info, &parsed.tokens, known, &parsed.expr);
    let kind = checker.check(&mut parsed.expr);
    if let Some(kind @ (Kind::Players | Kind::Note | Kind::Empty)) = kind {
        let at = checker.range(&parsed.expr);
        let said = checker.text(&at);
        let help = match kind {
            Kind::Players => format!("name a player: {{{said}['trumpet 1']}}"),
            Kind::Note => format!("ask for something of it: {{{said}.written}}"),
            _ => "write a name".to_owned(),
        };
        checker.wrong(
            at,
            format!("`{said}` is {}, which cannot be printed", kind.described()),
            help,
        );
    }
    let Some(kind) = kind.filter(|_| checker.mistakes.is_empty()) else {
        return Err(checker.mistakes);
    };
    let plain = matches!(&parsed.expr.expr, Expr::Ident(name) if value_index(name) == Some(0));
    Ok(Shown {
        vars: checker.vars,
        expression: (!plain).then(|| Box::new(parsed.expr)),
        kind,
    })
}

struct Checker<'s> {
    source: &'s str,
    info: &'s SourceInfo,
    tokens: &'s [Token],
    known: Known<'s>,
    locals: Vec<(String, Kind)>,
    vars: Vec<Var>,
    mistakes: Vec<Mistake>,
    /// Where each part of the expression stands, by its number.
    ranges: HashMap<u64, Range<usize>>,
}

impl<'s> Checker<'s> {
    fn new(
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

    fn wrong(&mut self, at: Range<usize>, message: impl Into<String>, help: impl Into<String>) {
        self.mistakes.push(Mistake::new(at, message, help));
    }

    fn text(&self, at: &Range<usize>) -> &'s str {
        self.source.get(at.clone()).unwrap_or_default()
    }

    /// Where an expression stands: whole words and signs.
    fn range(&self, expr: &IdedExpr) -> Range<usize> {
        self.ranges
            .get(&expr.id)
            .cloned()
            .unwrap_or(0..self.source.len())
    }

    /// Notes where everything stands before names are replaced by values.
    fn look(&mut self, expr: &IdedExpr) {
        for child in children(expr) {
            self.look(child);
        }
        let at = self.place(expr);
        self.ranges.insert(expr.id, at);
    }

    fn place(&self, expr: &IdedExpr) -> Range<usize> {
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

    /// The end of what is closed right after a place.
    fn closed(&self, end: usize, open: char, close: char) -> usize {
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
    fn word(&self, word: &str, near: usize) -> Option<Range<usize>> {
        self.tokens
            .iter()
            .filter(|t| t.kind == TokenKind::Word && t.text(self.source) == word)
            .min_by_key(|t| t.at.start.abs_diff(near))
            .map(|t| t.at.clone())
    }

    fn value(&mut self, var: Var) -> Expr {
        let index = self.vars.iter().position(|v| *v == var).unwrap_or_else(|| {
            self.vars.push(var);
            self.vars.len() - 1
        });
        Expr::Ident(value_name(index))
    }

    /// The kind of an expression, its names replaced by values; `None` when a mistake was noted.
    fn check(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
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

    fn cannot(&mut self, expr: &IdedExpr) -> Option<Kind> {
        let at = self.range(expr);
        let said = self.text(&at);
        self.wrong(
            at,
            format!("`{said}` is nothing a condition of a house style can use"),
            "use names, numbers, texts in quotation marks and lists: `chartproof style --words` prints all there is",
        );
        None
    }

    fn ident(&mut self, expr: &mut IdedExpr, name: &str) -> Option<Kind> {
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

    fn no_such_name(&self, name: &str) -> String {
        if name.chars().any(|c| c.is_ascii_digit()) && name.parse::<Pitch>().is_ok() {
            return format!("a pitch is written pitch('{name}')");
        }
        if FUNCTIONS.iter().any(|(f, ..)| *f == name) {
            return format!("behind `{name}` belong round brackets and what it is about");
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

    fn member(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
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
            None => "only from and to, in a line step, have names behind a dot".to_owned(),
        };
        self.wrong(
            at,
            format!(
                "`.{field}` stands behind {}, which has nothing of the kind",
                kind.described()
            ),
            help,
        );
        None
    }

    fn list(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
        let Expr::List(list) = &mut expr.expr else {
            return None;
        };
        let mut one: Option<One> = None;
        let mut sound = true;
        let mut kinds = Vec::new();
        for element in &mut list.elements {
            match self.check(element) {
                Some(Kind::One(kind)) => match one {
                    None => {
                        kinds.push(kind);
                        one = Some(kind);
                    }
                    Some(first) if alike(first, kind) => {
                        kinds.push(kind);
                        if kind == One::Decimal {
                            one = Some(kind);
                        }
                    }
                    Some(first) => {
                        sound = false;
                        let at = self.range(element);
                        self.wrong(
                            at,
                            format!(
                                "a list that begins with {} goes on with {}",
                                first.described(),
                                kind.described()
                            ),
                            "write values of one kind in a list",
                        );
                    }
                },
                Some(_) => {
                    sound = false;
                    let at = self.range(element);
                    self.wrong(at, "a list cannot stand in a list", "write single values");
                }
                None => sound = false,
            }
        }
        if one == Some(One::Decimal) {
            for (element, kind) in list.elements.iter_mut().zip(kinds) {
                as_decimal(element, kind);
            }
        }
        sound.then(|| one.map_or(Kind::Empty, Kind::List))
    }

    /// `exists`, `all`, `filter` and their like, as the parser spells them out.
    fn each(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
        let Expr::Comprehension(c) = &mut expr.expr else {
            return None;
        };
        if c.iter_var2.is_some() {
            return self.cannot(expr);
        }
        let over = self.check(&mut c.iter_range)?;
        let each = match over {
            Kind::List(one) => Kind::One(one),
            Kind::Empty => Kind::One(One::Whole),
            other => {
                let at = self.range(&c.iter_range);
                let said = self.text(&at);
                self.wrong(
                    at,
                    format!("`{said}` is {}, and this asks each one of a list", other.described()),
                    "lists are: voices and gaps of a sonority, articulations of a note, or one written as [1, 2, 3]",
                );
                return None;
            }
        };
        let start = self.check(&mut c.accu_init)?;
        let names = self.locals.len();
        self.locals.push((c.iter_var.clone(), each));
        self.locals.push((c.accu_var.clone(), start));
        let cond = self.check(&mut c.loop_cond);
        let step = self.check(&mut c.loop_step);
        self.locals.truncate(names);
        cond?;
        let step = step?;
        self.locals.push((c.accu_var.clone(), step));
        let result = self.check(&mut c.result);
        self.locals.truncate(names);
        result
    }

    fn call(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
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

    fn logic(&mut self, call: &mut CallExpr, name: &str) -> Option<Kind> {
        let mut sound = true;
        for arg in &mut call.args {
            match self.check(arg) {
                Some(Kind::One(One::Flag)) => {}
                Some(kind) => {
                    sound = false;
                    let at = self.range(arg);
                    let said = self.text(&at);
                    let does = match name {
                        op::LOGICAL_AND => "&& joins conditions",
                        op::LOGICAL_OR => "|| joins conditions",
                        _ => "! turns a condition round",
                    };
                    self.wrong(
                        at,
                        format!("{does}, but `{said}` is {}", kind.described()),
                        match kind {
                            Kind::One(one) => compare_with(said, one),
                            _ => "compare it with something".to_owned(),
                        },
                    );
                }
                None => sound = false,
            }
        }
        sound.then_some(Kind::One(One::Flag))
    }

    fn either(&mut self, call: &mut CallExpr) -> Option<Kind> {
        let [cond, this, that] = call.args.as_mut_slice() else {
            return None;
        };
        // The steps of `filter` and its like have this form too.
        let asked = self.check(cond);
        let (this_kind, that_kind) = (self.check(this)?, self.check(that)?);
        match asked? {
            Kind::One(One::Flag) => {}
            kind => {
                let at = self.range(cond);
                let said = self.text(&at);
                self.wrong(
                    at,
                    format!(
                        "`{said}` is {}, and a yes or no is asked here",
                        kind.described()
                    ),
                    match kind {
                        Kind::One(one) => compare_with(said, one),
                        _ => "compare it with something".to_owned(),
                    },
                );
                return None;
            }
        }
        match (this_kind, that_kind) {
            (Kind::Empty, list @ Kind::List(_)) | (list @ Kind::List(_), Kind::Empty) => Some(list),
            (a, b) if a == b => Some(a),
            (Kind::One(a), Kind::One(b)) if alike(a, b) => {
                if One::Decimal == a || One::Decimal == b {
                    as_decimal(this, a);
                    as_decimal(that, b);
                    return Some(Kind::One(One::Decimal));
                }
                Some(Kind::One(a))
            }
            (a, b) => {
                let at = self.range(that);
                self.wrong(
                    at,
                    format!(
                        "the one answer is {}, the other {}",
                        a.described(),
                        b.described()
                    ),
                    "write two values of one kind",
                );
                None
            }
        }
    }

    /// Both sides of a comparison, when they are single values.
    fn sides(&mut self, call: &mut CallExpr) -> Option<(One, One)> {
        let [left, right] = call.args.as_mut_slice() else {
            return None;
        };
        let (a, b) = (self.check(left), self.check(right));
        let (a, b) = (a?, b?);
        for (kind, side) in [(a, &*left), (b, &*right)] {
            if !matches!(kind, Kind::One(_)) {
                let at = self.range(side);
                let said = self.text(&at);
                let help = match kind {
                    Kind::Players => format!("name a player: {said}['trumpet 1']"),
                    Kind::Note => format!("ask for something of it: {said}.written"),
                    _ => format!("ask for one of it with `in` or with {said}.exists(x, x == ...)"),
                };
                self.wrong(
                    at,
                    format!(
                        "`{said}` is {} and cannot be compared as a whole",
                        kind.described()
                    ),
                    help,
                );
                return None;
            }
        }
        match (a, b) {
            (Kind::One(a), Kind::One(b)) => Some((a, b)),
            _ => None,
        }
    }

    fn same(&mut self, call: &mut CallExpr, _name: &str) -> Option<Kind> {
        let (a, b) = self.sides(call)?;
        let [left, right] = call.args.as_mut_slice() else {
            return None;
        };
        self.fit(left, a, right, b)?;
        let sound = self.known_text(left, a, right) & self.known_text(right, b, left);
        sound.then_some(Kind::One(One::Flag))
    }

    fn order(&mut self, call: &mut CallExpr, name: &str) -> Option<Kind> {
        let (a, b) = self.sides(call)?;
        let [left, right] = call.args.as_mut_slice() else {
            return None;
        };
        if a == One::Flag && b != One::Flag {
            let at = self.range(right);
            self.wrong(
                at,
                "three values are compared in one go",
                "compare twice: a < b && b < c",
            );
            return None;
        }
        self.fit(left, a, right, b)?;
        if matches!(a, One::Text(_) | One::Flag) {
            let at = self.range(left).start..self.range(right).end;
            let sign = name.trim_matches('_');
            self.wrong(
                at,
                format!(
                    "`{sign}` compares what is more and less, and {} is neither",
                    a.described()
                ),
                "write == or != here",
            );
            return None;
        }
        Some(Kind::One(One::Flag))
    }

    /// Whether two sides can be compared; numbers are brought to one kind.
    fn fit(&mut self, left: &mut IdedExpr, a: One, right: &mut IdedExpr, b: One) -> Option<()> {
        let plain = |one: One, other: One| one == One::Loudness && other == One::Whole;
        if alike(a, b) && !plain(a, b) && !plain(b, a) {
            if a == One::Decimal || b == One::Decimal {
                as_decimal(left, a);
                as_decimal(right, b);
            }
            return Some(());
        }
        let at = self.range(right);
        let (said, other) = (self.text(&at), self.range(left));
        let other = self.text(&other);
        let literal = match constant(right) {
            Some(Constant::Text(text)) => Some(text),
            _ => None,
        };
        let help = match (a, b, &literal) {
            (One::Pitch, One::Text(_), Some(text)) if text.parse::<Pitch>().is_ok() => {
                format!("a pitch to compare with is written pitch('{text}')")
            }
            (One::Pitch, One::Text(_), _) => {
                "a pitch to compare with is written pitch('A5')".to_owned()
            }
            (One::Loudness, One::Text(_), Some(text))
                if DYNAMICS.iter().any(|(word, _)| word == text) =>
            {
                format!("a dynamic stands without quotation marks: {text}")
            }
            (One::Loudness, ..) | (_, One::Loudness, _) => {
                "a dynamic is compared with one of ppp pp p mp mf f ff fff, or unmarked".to_owned()
            }
            (One::Whole | One::Decimal, One::Text(_), Some(text))
                if text.trim().parse::<f64>().is_ok() =>
            {
                format!("a number stands without quotation marks: {}", text.trim())
            }
            (One::Text(_), One::Whole | One::Decimal, _) => {
                format!("a text stands in quotation marks: '{said}'")
            }
            (One::Flag, ..) => format!("write {other} alone for yes, !{other} for no"),
            _ => "compare two values of one kind".to_owned(),
        };
        self.wrong(
            at,
            format!(
                "`{other}` is {}, but `{said}` is {}",
                a.described(),
                b.described()
            ),
            help,
        );
        None
    }

    /// Holds a text written in the condition to the texts that a value can be, and puts it as the
    /// value has it. `false` when it is none of them.
    fn known_text(&mut self, of: &IdedExpr, kind: One, text: &mut IdedExpr) -> bool {
        let One::Text(among) = kind else {
            return true;
        };
        if constant(of).is_some() {
            return true;
        }
        let Some(Constant::Text(written)) = constant(text) else {
            return true;
        };
        match self.canonical(among, &written) {
            Ok(known) => {
                text.expr = Expr::Literal(LiteralValue::String(CelString::from(known)));
                true
            }
            Err((message, help)) => {
                let at = self.range(text);
                self.wrong(at, message, help);
                false
            }
        }
    }

    fn canonical(&self, among: Among, text: &str) -> Result<String, (String, String)> {
        let book = self.known.book;
        if text.is_empty() {
            return Ok(String::new());
        }
        let one_of = |what: &str, known: &[&str]| {
            known
                .iter()
                .find(|k| k.eq_ignore_ascii_case(text.trim()))
                .map(|k| (*k).to_owned())
                .ok_or_else(|| {
                    (
                        format!("there is no {what} called '{text}'"),
                        meant(text, known.iter().copied()),
                    )
                })
        };
        match among {
            Among::Any => Ok(text.to_owned()),
            Among::Instruments => book
                .instrument(text)
                .or_else(|| book.named(text))
                .map(|i| i.name.clone())
                .ok_or_else(|| {
                    (
                        format!("'{text}' is no instrument chartproof knows"),
                        meant(text, book.instruments.iter().map(|i| i.name.as_str())),
                    )
                }),
            Among::Sections => book
                .section(text)
                .or_else(|| book.section_named(text))
                .map(|s| s.name.clone())
                .or_else(|| (text == "horns").then(|| text.to_owned()))
                .ok_or_else(|| {
                    (
                        format!("'{text}' is no section chartproof knows"),
                        meant(text, book.sections.iter().map(|s| s.name.as_str())),
                    )
                }),
            Among::Techniques => {
                Technique::read(text)
                    .map(|t| t.name().to_owned())
                    .map_err(|unknown| {
                        (
                            format!("'{text}' is no technique chartproof knows"),
                            unknown.help(),
                        )
                    })
            }
            Among::Families => {
                let families: Vec<&str> = book.families.iter().map(|f| f.key.as_str()).collect();
                one_of("family of instruments", &families)
            }
            Among::Articulations => one_of("articulation", &ARTICULATIONS),
            Among::Degrees => Degree::read(text).map(|d| d.to_string()).ok_or_else(|| {
                (
                    format!("'{text}' is no degree of a chord"),
                    "write a number from 1 to 13, with b or # before it: '1', 'b3', '#11', '13'"
                        .to_owned(),
                )
            }),
            Among::Chords => chord::parse(text).map(|_| text.to_owned()).map_err(|e| {
                (
                    format!("'{text}' is no chord symbol chartproof reads ({e})"),
                    "write it as it stands over the staff, at concert pitch: 'Bb7'".to_owned(),
                )
            }),
            Among::Pitches => text
                .parse::<Pitch>()
                .map(|p| p.to_string())
                .map_err(|_| (format!("'{text}' is no pitch"), PITCH_HELP.to_owned())),
            Among::Meters => {
                let sound = text.split_once('/').is_some_and(|(beats, unit)| {
                    beats.parse::<u16>().is_ok() && unit.parse::<u16>().is_ok()
                });
                if sound {
                    Ok(text.to_owned())
                } else {
                    Err((
                        format!("'{text}' is no time signature"),
                        "write it as '4/4'".to_owned(),
                    ))
                }
            }
        }
    }

    fn is_in(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
        let Expr::Call(call) = &mut expr.expr else {
            return None;
        };
        let [item, list] = call.args.as_mut_slice() else {
            return None;
        };
        let (a, b) = (self.check(item), self.check(list));
        let (a, b) = (a?, b?);
        match (a, b) {
            (Kind::One(One::Text(_)), Kind::Players) => {
                let who = self.player(item)?;
                let var = Var::Plays(who);
                expr.expr = self.value(var);
                Some(Kind::One(One::Flag))
            }
            (_, Kind::Empty) => Some(Kind::One(One::Flag)),
            (Kind::One(a), Kind::List(b)) => {
                if !alike(a, b) {
                    let at = self.range(item);
                    let said = self.text(&at);
                    self.wrong(
                        at,
                        format!(
                            "`{said}` is {}, and `in` looks for it in {}",
                            a.described(),
                            Kind::List(b).described()
                        ),
                        "look for a value of the same kind",
                    );
                    return None;
                }
                let mut sound = self.known_text(list, b, item);
                if let Expr::List(texts) = &mut list.expr {
                    for text in &mut texts.elements {
                        sound &= self.known_text(item, a, text);
                    }
                    if a == One::Decimal {
                        for element in &mut texts.elements {
                            as_decimal(element, b);
                        }
                    }
                }
                if b == One::Decimal {
                    as_decimal(item, a);
                }
                sound.then_some(Kind::One(One::Flag))
            }
            (_, kind) => {
                let at = self.range(list);
                let said = self.text(&at);
                self.wrong(
                    at,
                    format!("`in` looks in a list, and `{said}` is {}", kind.described()),
                    match kind {
                        Kind::One(One::Text(_)) => {
                            format!("write {said}.contains('...') for a text within a text")
                        }
                        _ => "write a list in square brackets: degree in ['1', '5']".to_owned(),
                    },
                );
                None
            }
        }
    }

    fn index(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
        let Expr::Call(call) = &mut expr.expr else {
            return None;
        };
        let [list, index] = call.args.as_mut_slice() else {
            return None;
        };
        let written = matches!(&list.expr, Expr::Ident(name) if name == "written");
        let (a, b) = (self.check(list), self.check(index));
        let (a, b) = (a?, b?);
        match (a, b) {
            (Kind::Players, Kind::One(One::Text(_))) => {
                let who = self.player(index)?;
                expr.expr = self.value(Var::PitchOf { written, who });
                Some(Kind::One(One::Pitch))
            }
            (Kind::Players, kind) => {
                let at = self.range(index);
                self.wrong(
                    at,
                    format!(
                        "a player is named in quotation marks, found {}",
                        kind.described()
                    ),
                    "write sounding['tenor saxophone 2']",
                );
                None
            }
            (Kind::List(one), Kind::One(One::Whole)) => {
                if matches!(constant(index), Some(Constant::Whole(n)) if n < 0) {
                    let at = self.range(index);
                    self.wrong(
                        at,
                        "a list is counted from 0",
                        "voices[0] is the lead; `bottom` is the last voice",
                    );
                    return None;
                }
                Some(Kind::One(one))
            }
            (kind, _) => {
                let at = self.range(list);
                let said = self.text(&at);
                self.wrong(
                    at,
                    format!(
                        "square brackets pick one of a list by its number, and `{said}` is {}",
                        kind.described()
                    ),
                    "voices[0] is the lead, voices[1] the second voice",
                );
                None
            }
        }
    }

    /// Whom a text names.
    fn player(&mut self, text: &IdedExpr) -> Option<Player> {
        let at = self.range(text);
        let Some(Constant::Text(words)) = constant(text) else {
            self.wrong(
                at,
                "a player is named outright",
                "write the name in quotation marks: sounding['tenor saxophone 2']",
            );
            return None;
        };
        match player(&words, self.known) {
            Ok(player) => Some(player),
            Err((message, help)) => {
                self.wrong(at, message, help);
                None
            }
        }
    }

    fn negative(&mut self, call: &mut CallExpr) -> Option<Kind> {
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

    fn sum(&mut self, call: &mut CallExpr, name: &str) -> Option<Kind> {
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

    fn function(&mut self, expr: &mut IdedExpr, name: &str) -> Option<Kind> {
        let near = self
            .info
            .offset_for(expr.id)
            .map_or(0, |(start, _)| start as usize);
        let whole = self.range(expr);
        let at = self.word(name, near).unwrap_or_else(|| whole.clone());
        let Expr::Call(call) = &mut expr.expr else {
            return None;
        };
        let example = FUNCTIONS
            .iter()
            .find(|(f, ..)| *f == name)
            .map(|(_, example, about)| format!("write {example}: {about}"));
        let Some(example) = example else {
            let is_name =
                self.known.scope.entry(name).is_some() || OF_A_NOTE.iter().any(|e| e.word == name);
            self.wrong(
                at,
                format!("nothing called `{name}` can be done here"),
                if is_name {
                    format!("`{name}` is a value: write it without brackets behind it")
                } else {
                    meant(name, FUNCTIONS.iter().map(|(f, ..)| *f))
                },
            );
            return None;
        };
        if name == "pitch" {
            return self.pitch(expr, &at, &example);
        }
        let mut kinds = Vec::new();
        for arg in call
            .target
            .iter_mut()
            .map(|t| &mut **t)
            .chain(&mut call.args)
        {
            kinds.push(self.check(arg)?);
        }
        let method = call.target.is_some();
        match (name, kinds.as_slice()) {
            ("size", [Kind::List(_) | Kind::Empty | Kind::One(One::Text(_))]) => {
                Some(Kind::One(One::Whole))
            }
            ("abs", [Kind::One(one @ (One::Whole | One::Decimal))]) if !method => {
                Some(Kind::One(*one))
            }
            (
                "contains" | "startsWith" | "endsWith",
                [Kind::One(One::Text(_)), Kind::One(One::Text(_))],
            ) if method => Some(Kind::One(One::Flag)),
            _ => {
                let given: Vec<&str> = kinds.iter().map(|k| k.described()).collect();
                self.wrong(
                    at,
                    if given.is_empty() {
                        format!("`{name}` has nothing to work on")
                    } else {
                        format!("`{name}` cannot be asked of {}", given.join(" and "))
                    },
                    example,
                );
                None
            }
        }
    }

    fn pitch(&mut self, expr: &mut IdedExpr, at: &Range<usize>, example: &str) -> Option<Kind> {
        let Expr::Call(call) = &mut expr.expr else {
            return None;
        };
        let text = match (call.target.is_none(), call.args.as_slice()) {
            (true, [one]) => constant(one).map(|c| (c, self.range(one))),
            _ => None,
        };
        let Some((Constant::Text(text), place)) = text else {
            let place = match call.args.as_slice() {
                [one] => self.range(one),
                _ => at.clone(),
            };
            let said = self.text(&place);
            let help = if said.parse::<Pitch>().is_ok() {
                format!("write pitch('{said}')")
            } else {
                example.to_owned()
            };
            self.wrong(
                place,
                "`pitch` takes the name of one pitch in quotation marks",
                help,
            );
            return None;
        };
        let Ok(pitch) = text.trim().parse::<Pitch>() else {
            self.wrong(place, format!("'{text}' is no pitch"), PITCH_HELP);
            return None;
        };
        let midi = i64::from(pitch.midi());
        expr.expr = Expr::Literal(LiteralValue::Int(CelInt::from(midi)));
        Some(Kind::One(One::Pitch))
    }
}

const PITCH_HELP: &str = "a pitch has a letter from A to G, # or b where it is needed, and an octave: 'Bb4'; C4 is the middle C";

/// Whom words name: an instrument and a number, or a part.
pub(super) fn player(words: &str, known: Known<'_>) -> Result<Player, (String, String)> {
    let trimmed = words.trim();
    let (name, seat) = match trimmed.rsplit_once(' ') {
        Some((name, number)) if number.chars().all(|c| c.is_ascii_digit()) => {
            (name, number.parse::<u8>().ok().filter(|n| *n > 0))
        }
        _ => (trimmed, None),
    };
    let instrument = known
        .book
        .instrument(name)
        .or_else(|| known.book.named(name));
    if instrument.is_none() && !(known.is_part)(trimmed) {
        return Err((
            format!("'{words}' is no player: no instrument is called so"),
            match nearest(name, known.book.instruments.iter().map(|i| i.name.as_str())) {
                Some(near) => format!("did you mean '{near}'?"),
                None => "write the instrument and its number, such as 'tenor saxophone 2', or the name of a [[part]] of this style".to_owned(),
            },
        ));
    }
    Ok(Player {
        words: trimmed.to_owned(),
        instrument: instrument.map(|i| i.key.clone()),
        seat,
    })
}

/// Whether two values are of one kind, for a comparison.
fn alike(a: One, b: One) -> bool {
    let rank = |one: One| match one {
        One::Flag => 0,
        One::Whole | One::Decimal | One::Pitch => 1,
        One::Loudness => 2,
        One::Text(_) => 3,
    };
    rank(a) == rank(b)
}

/// Numbers of two kinds are worked out as decimals.
fn as_decimal(expr: &mut IdedExpr, kind: One) {
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
