//! Lists in a condition: written out, asked one by one, looked into, picked from.

use super::checker::Checker;
use super::simple::constant;
use super::sums::{alike, as_decimal};
use crate::condition::checked::{Constant, Var};
use crate::condition::kinds::{Kind, One};
use cel::common::ast::{Expr, IdedExpr};

impl Checker<'_> {
    pub(super) fn list(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
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
    pub(super) fn each(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
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

    pub(super) fn is_in(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
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

    pub(super) fn index(&mut self, expr: &mut IdedExpr) -> Option<Kind> {
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
}

#[cfg(test)]
mod tests {
    use super::super::tests::{only, refused, taken};
    use crate::condition::checked::{Constant, How, Var};
    use crate::condition::names::Scope::{Note, Sonority};

    #[test]
    fn a_list_has_values_of_one_kind() {
        let decimals = [1.0, 2.5].map(Constant::Decimal).to_vec();
        assert_eq!(only(Note, "beat in [1, 2.5]"), How::Among(decimals));
        let (at, message, _) = refused(Note, "beat in [1, 'a']");
        assert_eq!(at, "'a'");
        assert!(
            message.contains("begins with a whole number goes on with a text"),
            "{message}"
        );
        let (at, message, _) = refused(Note, "beat in [[1], 2]");
        assert_eq!(at, "[1]");
        assert_eq!(message, "a list cannot stand in a list");
    }

    #[test]
    fn a_value_is_looked_for_among_its_own_kind() {
        assert_eq!(
            only(Note, "'accent' in articulations"),
            How::Holds(Constant::Text("accent".to_owned()))
        );
        let (at, message, _) = refused(Note, "'a' in [1, 2]");
        assert_eq!(at, "'a'");
        assert!(
            message.contains("looks for it in a list of numbers"),
            "{message}"
        );
        let (at, _, help) = refused(Note, "'Trumpet' in part");
        assert_eq!(at, "part");
        assert!(help.contains("part.contains("), "{help}");
    }

    #[test]
    fn a_player_among_those_who_sound_is_a_value() {
        let tests = taken(Sonority, "'trumpet 1' in sounding");
        assert!(matches!(&tests[0].vars[..], [Var::Plays(who)] if who.seat == Some(1)));
        assert_eq!(tests[0].how, How::Is(true));
        let tests = taken(Sonority, "written['trumpet 1'] > sounding['trumpet 2']");
        let written: Vec<bool> = tests[0]
            .vars
            .iter()
            .map(|v| matches!(v, Var::PitchOf { written: true, .. }))
            .collect();
        assert_eq!(written, [true, false]);
    }

    #[test]
    fn a_list_is_counted_from_nought() {
        assert!(matches!(
            only(Sonority, "voices[0] > lead"),
            How::Expression(_)
        ));
        let (at, message, _) = refused(Sonority, "voices[-1] > lead");
        assert_eq!((at, message.as_str()), ("1", "a list is counted from 0"));
        let (at, ..) = refused(Sonority, "lead[0] > bottom");
        assert_eq!(at, "lead");
        let (at, message, _) = refused(Sonority, "sounding[2] > lead");
        assert_eq!(at, "2");
        assert!(
            message.contains("a player is named in quotation marks"),
            "{message}"
        );
    }

    #[test]
    fn each_one_of_a_list_is_asked() {
        assert!(matches!(
            only(Sonority, "gaps.exists(g, g > 9)"),
            How::Expression(_)
        ));
        assert!(matches!(
            only(Sonority, "size(gaps.filter(g, g == 1)) > 1"),
            How::Expression(_)
        ));
        let (at, message, _) = refused(Note, "written.exists(w, w > 3)");
        assert_eq!(at, "written");
        assert!(message.contains("asks each one of a list"), "{message}");
        let (at, ..) = refused(Sonority, "gaps.exists(g, g > 'a')");
        assert_eq!(at, "'a'");
    }
}
