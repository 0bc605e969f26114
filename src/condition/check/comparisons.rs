//! Conditions joined, and values compared: both sides have to be of one kind.

use super::checker::Checker;
use super::simple::constant;
use super::sums::{alike, as_decimal};
use crate::condition::checked::Constant;
use crate::condition::kinds::{Kind, One};
use crate::condition::vocabulary::DYNAMICS;
use crate::ground::pitch::Pitch;
use cel::common::ast::operators as op;
use cel::common::ast::{CallExpr, IdedExpr};

impl Checker<'_> {
    pub(super) fn logic(&mut self, call: &mut CallExpr, name: &str) -> Option<Kind> {
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

    pub(super) fn either(&mut self, call: &mut CallExpr) -> Option<Kind> {
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
                        "`{said}` is {}, and a yes or no is needed here",
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
    pub(super) fn sides(&mut self, call: &mut CallExpr) -> Option<(One, One)> {
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

    pub(super) fn same(&mut self, call: &mut CallExpr, _name: &str) -> Option<Kind> {
        let (a, b) = self.sides(call)?;
        let [left, right] = call.args.as_mut_slice() else {
            return None;
        };
        self.fit(left, a, right, b)?;
        let sound = self.known_text(left, a, right) & self.known_text(right, b, left);
        sound.then_some(Kind::One(One::Flag))
    }

    pub(super) fn order(&mut self, call: &mut CallExpr, name: &str) -> Option<Kind> {
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
    pub(super) fn fit(
        &mut self,
        left: &mut IdedExpr,
        a: One,
        right: &mut IdedExpr,
        b: One,
    ) -> Option<()> {
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
}

pub(super) fn compare_with(said: &str, one: One) -> String {
    match one {
        One::Pitch => format!("compare it with something, such as {said} > pitch('A5')"),
        One::Loudness => format!("compare it with something, such as {said} >= f"),
        One::Whole | One::Decimal => format!("compare it with something, such as {said} > 4"),
        One::Text(_) => format!("compare it with something, such as {said} == '...'"),
        One::Flag => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{only, refused};
    use crate::condition::checked::{Compare, Constant, How};
    use crate::condition::names::Scope::{Note, Sonority};

    #[test]
    fn numbers_are_brought_to_one_kind() {
        let two = Constant::Decimal(2.0);
        assert_eq!(
            only(Note, "duration == 2"),
            How::Against(Compare::Same, two.clone())
        );
        assert_eq!(only(Note, "2 < duration"), How::Against(Compare::More, two));
        assert_eq!(only(Sonority, "lead > bottom"), How::Between(Compare::More));
    }

    #[test]
    fn both_sides_are_of_one_kind() {
        for (when, at, help) in [
            ("written > 'A5'", "'A5'", "written pitch('A5')"),
            ("written > 'high'", "'high'", "written pitch('A5')"),
            ("dynamic < 'f'", "'f'", "without quotation marks: f"),
            ("dynamic < 4", "4", "ppp pp p"),
            ("seat == '1'", "'1'", "without quotation marks: 1"),
            ("part == 5", "5", "in quotation marks: '5'"),
            ("tied == 1", "1", "write tied alone"),
        ] {
            let (found, _, advice) = refused(Note, when);
            assert_eq!(found, at, "{when}");
            assert!(advice.contains(help), "{when}: {advice}");
        }
    }

    #[test]
    fn some_values_have_no_order() {
        let (at, message, _) = refused(Note, "degree > '5'");
        assert_eq!(at, "degree > '5'");
        assert!(message.contains("a text is neither"), "{message}");
        let (_, message, help) = refused(Note, "1 < seat < 4");
        assert!(message.contains("three values"), "{message}");
        assert!(help.contains("a < b && b < c"), "{help}");
    }

    #[test]
    fn a_list_is_not_compared_as_a_whole() {
        let (at, message, help) = refused(Sonority, "voices == lead");
        assert_eq!(at, "voices");
        assert!(message.contains("as a whole"), "{message}");
        assert!(help.contains("voices.exists("), "{help}");
    }

    #[test]
    fn signs_join_conditions() {
        let (at, message, _) = refused(Note, "tied || bar");
        assert_eq!(at, "bar");
        assert!(message.starts_with("|| joins conditions"), "{message}");
        let (_, message, _) = refused(Note, "!bar");
        assert!(message.starts_with("! turns"), "{message}");
    }

    #[test]
    fn both_answers_are_of_one_kind() {
        let (at, message, _) = refused(Note, "(tied ? 1 : 'a') == 1");
        assert_eq!(at, "'a'");
        assert!(
            message.contains("a whole number, the other a text"),
            "{message}"
        );
        let (at, ..) = refused(Note, "(bar ? 1 : 2) == 1");
        assert_eq!(at, "bar");
        assert!(matches!(
            only(Note, "(tied ? 1 : 2.5) > duration"),
            How::Expression(_)
        ));
    }
}
