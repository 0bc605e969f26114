//! Functions of a condition, and `pitch` above all.

use super::checker::Checker;
use super::simple::constant;
use super::texts::PITCH_HELP;
use crate::condition::checked::Constant;
use crate::condition::kinds::{Kind, One};
use crate::condition::names::OF_A_NOTE;
use crate::condition::vocabulary::FUNCTIONS;
use crate::ground::pitch::Pitch;
use crate::ground::text::meant;
use cel::common::ast::{Expr, IdedExpr, LiteralValue};
use cel::common::types::CelInt;
use std::ops::Range;

impl Checker<'_> {
    pub(super) fn function(&mut self, expr: &mut IdedExpr, name: &str) -> Option<Kind> {
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
                    format!("`{name}` is a value: write it without brackets after it")
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

    pub(super) fn pitch(
        &mut self,
        expr: &mut IdedExpr,
        at: &Range<usize>,
        example: &str,
    ) -> Option<Kind> {
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
            self.wrong(place, format!("'{text}' is not a pitch"), PITCH_HELP);
            return None;
        };
        let midi = i64::from(pitch.midi());
        expr.expr = Expr::Literal(LiteralValue::Int(CelInt::from(midi)));
        Some(Kind::One(One::Pitch))
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{only, refused};
    use crate::condition::checked::{Compare, Constant, How};
    use crate::condition::names::Scope::Note;

    #[test]
    fn a_pitch_is_its_number() {
        // MIDI key numbers: C4, the middle C, is 60 (common practice, no source).
        for (name, midi) in [("C4", 60), ("A5", 81), ("Bb3", 58), ("F#5", 78)] {
            let found = only(Note, &format!("written >= pitch('{name}')"));
            let expected = How::Against(Compare::AtLeast, Constant::Whole(midi));
            assert_eq!(found, expected, "{name}");
        }
    }

    #[test]
    fn a_pitch_is_named_in_quotation_marks() {
        let (at, _, help) = refused(Note, "written > pitch(seat)");
        assert_eq!((at, help.contains("pitch('A5')")), ("seat", true), "{help}");
        let (at, message, _) = refused(Note, "written > pitch('H5')");
        assert_eq!((at, message.as_str()), ("'H5'", "'H5' is not a pitch"));
    }

    #[test]
    fn functions_have_their_own_kinds() {
        let (at, message, _) = refused(Note, "abs(part) == 1");
        assert_eq!(at, "abs");
        assert!(message.contains("cannot be asked of a text"), "{message}");
        let (_, message, _) = refused(Note, "abs() == 1");
        assert!(message.contains("nothing to work on"), "{message}");
        let (_, _, help) = refused(Note, "written() > pitch('A5')");
        assert!(help.contains("without brackets"), "{help}");
        let (_, _, help) = refused(Note, "picth('A5') < written");
        assert_eq!(help, "did you mean `pitch`?");
        for when in [
            "abs(key) > 3",
            "size(articulations) == 0",
            "part.startsWith('Alto')",
            "part.contains('Solo')",
        ] {
            assert!(matches!(only(Note, when), How::Expression(_)), "{when}");
        }
    }
}
