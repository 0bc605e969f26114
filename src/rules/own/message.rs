//! Messages of the house's own rules: values in the words of musicians.

use super::super::shared::wording;
use super::value::{FactValue, NoValue, worked_out};
use super::views::NameValues;
use crate::condition::{DYNAMICS, Kind, MessagePiece, One, Shown};
use crate::ground::pitch::Pitch;
use crate::ground::text::{cut, shorten};
use cel::Value;

/// A value in a remark.
pub(super) fn described(value: &FactValue<'_>) -> String {
    match value {
        FactValue::Flag(b) => if *b { "yes" } else { "no" }.to_owned(),
        FactValue::Whole(n) => n.to_string(),
        FactValue::Decimal(n) => n.to_string(),
        FactValue::Text(t) => format!("'{t}'"),
        FactValue::Wholes(all) => format!("{all:?}"),
        FactValue::Texts(all) => all.join(", "),
        FactValue::Missing => "nothing".to_owned(),
    }
}

/// The most characters of a message with its values: names make it long.
const LONGEST: usize = 1_000;

/// A message with its values at one place, cut where it is too long.
pub(super) fn message(pieces: &[MessagePiece], view: &dyn NameValues) -> String {
    let mut out = String::new();
    for piece in pieces {
        match piece {
            MessagePiece::Words(words) => out.push_str(words),
            MessagePiece::Value(value) => out.push_str(&cut(&shown(value, view), LONGEST)),
        }
        if shorten(&mut out, LONGEST) {
            break;
        }
    }
    out
}

/// A value as musicians say it: pitches by name, dynamics by their letters.
fn shown(value: &Shown, view: &dyn NameValues) -> String {
    let in_words = |n: i64, one: One| match one {
        One::Pitch => i16::try_from(n).map_or_else(
            |_| n.to_string(),
            |midi| Pitch::in_key(midi, view.key()).to_string(),
        ),
        One::Loudness => DYNAMICS
            .iter()
            .find(|(_, d)| *d == n)
            .map_or_else(|| n.to_string(), |(word, _)| (*word).to_owned()),
        _ => n.to_string(),
    };
    let (Kind::One(one) | Kind::List(one)) = value.kind else {
        return String::new();
    };
    let Some(expression) = &value.expression else {
        let Some(var) = value.vars.first() else {
            return String::new();
        };
        if let Some(pitch) = view.pitch(var) {
            return pitch.to_string();
        }
        if let Some(beat) = view.beat(var) {
            return beat.to_string();
        }
        return match view.value(var) {
            FactValue::Flag(b) => if b { "yes" } else { "no" }.to_owned(),
            FactValue::Whole(n) => in_words(n, one),
            FactValue::Decimal(n) => decimal(n),
            FactValue::Text(t) => t.into_owned(),
            FactValue::Wholes(all) => wording::join(
                &all.into_iter()
                    .map(|n| in_words(n, one))
                    .collect::<Vec<_>>(),
            ),
            FactValue::Texts(all) => all.join(", "),
            FactValue::Missing => "nothing".to_owned(),
        };
    };
    let values: Vec<FactValue<'_>> = value.vars.iter().map(|v| view.value(v)).collect();
    let spoken = |value: &Value| match value {
        Value::Bool(b) => if *b { "yes" } else { "no" }.to_owned(),
        Value::Int(n) => in_words(*n, one),
        Value::Float(n) => decimal(*n),
        Value::String(s) => s.to_string(),
        _ => String::new(),
    };
    match worked_out(expression, &values) {
        Ok(Value::List(all)) => wording::join(&all.iter().map(spoken).collect::<Vec<_>>()),
        Ok(value) => spoken(&value),
        Err(NoValue::NotHere) => "nothing".to_owned(),
        Err(NoValue::Failed(_)) => "?".to_owned(),
    }
}

/// Two decimals at most.
fn decimal(n: f64) -> String {
    ((n * 100.0).round() / 100.0).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::condition::{self, Known, Name, Scope, Var};
    use crate::ground::instrument;
    use crate::ground::time::Beat;

    /// A sonority of Bb4 over Eb4, in a key of two flats.
    struct Dyad;

    impl NameValues for Dyad {
        fn value(&self, var: &Var) -> FactValue<'_> {
            match var {
                Var::Named(_, Name::Lead) => FactValue::Whole(70),
                Var::Named(_, Name::Voices) => FactValue::Wholes(vec![70, 63]),
                Var::Named(_, Name::Span) => FactValue::Whole(7),
                Var::Named(_, Name::Duration) => FactValue::Decimal(2.0 / 3.0),
                Var::Named(_, Name::Block) => FactValue::Flag(false),
                Var::Named(_, Name::Chord) => FactValue::text("Eb6"),
                _ => FactValue::Missing,
            }
        }

        fn pitch(&self, _: &Var) -> Option<Pitch> {
            None
        }

        fn beat(&self, _: &Var) -> Option<Beat> {
            None
        }

        fn key(&self) -> i8 {
            -2
        }
    }

    #[test]
    fn values_are_shown_as_musicians_name_them() {
        let known = Known {
            scope: Scope::Sonority,
            book: instrument::catalogue(),
            is_part: &|_| false,
        };
        for (text, expected) in [
            ("{lead}", "Bb4"),
            ("{lead - 7}", "Eb4"),
            ("{voices}", "Bb4 and Eb4"),
            ("{span} semitones", "7 semitones"),
            ("{duration}", "0.67"),
            ("{block}, {!block}", "no, yes"),
            ("{chord}", "Eb6"),
            ("{f}", "f"),
            ("{sounding['trumpet 1']}", "nothing"),
            ("{sounding['trumpet 1'] + 1}", "nothing"),
            ("{span / (span - 7)}", "?"),
        ] {
            let pieces = condition::message(text, known).unwrap_or_else(|m| panic!("{m:?}"));
            assert_eq!(message(&pieces, &Dyad), expected, "{text}");
        }
    }

    #[test]
    fn a_message_made_long_by_its_values_is_cut() {
        let words = |n: usize| MessagePiece::Words("é".repeat(n));
        let short = message(&[words(600), words(400)], &Dyad);
        assert_eq!(short, "é".repeat(1_000));
        let long = message(&[words(600), words(600), words(9_000)], &Dyad);
        assert_eq!(long, format!("{short}…"));
    }

    #[test]
    fn values_of_a_failed_test_are_described_plainly() {
        assert_eq!(described(&FactValue::text("a")), "'a'");
        assert_eq!(described(&FactValue::Flag(true)), "yes");
        assert_eq!(described(&FactValue::Wholes(vec![1, 2])), "[1, 2]");
        assert_eq!(described(&FactValue::Missing), "nothing");
    }
}
