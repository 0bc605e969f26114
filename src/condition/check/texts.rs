//! Texts in a condition: instruments, sections, techniques, degrees and their like have to be ones that
//! exist.

use super::checker::Checker;
use super::simple::constant;
use crate::condition::checked::Constant;
use crate::condition::kinds::{Among, One};
use crate::condition::vocabulary::ARTICULATIONS;
use crate::ground::chord::{self, Degree};
use crate::ground::pitch::Pitch;
use crate::ground::text::meant;
use crate::voicing::Technique;
use cel::common::ast::{Expr, IdedExpr, LiteralValue};
use cel::common::types::CelString;

pub(super) const PITCH_HELP: &str = "a pitch has a letter from A to G, # or b where it is needed, and an octave: 'Bb4'; C4 is the middle C";

impl Checker<'_> {
    /// Holds a text written in the condition to the texts that a value can be, and puts it as the
    /// value has it. `false` when it is none of them.
    pub(super) fn known_text(&mut self, of: &IdedExpr, kind: One, text: &mut IdedExpr) -> bool {
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

    pub(super) fn canonical(&self, among: Among, text: &str) -> Result<String, (String, String)> {
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
                        format!("'{text}' is not an instrument that chartproof knows"),
                        meant(text, book.instruments.iter().map(|i| i.name.as_str())),
                    )
                }),
            Among::Sections => book.section_called(text).map(|s| s.name).ok_or_else(|| {
                (
                    format!("'{text}' is not a section that chartproof knows"),
                    meant(text, book.sections.iter().map(|s| s.name.as_str())),
                )
            }),
            Among::Techniques => {
                Technique::read(text)
                    .map(|t| t.name().to_owned())
                    .map_err(|unknown| {
                        (
                            format!("'{text}' is not a technique that chartproof knows"),
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
                    format!("'{text}' is not a degree of a chord"),
                    "write a number from 1 to 13, with b or # before it: '1', 'b3', '#11', '13'"
                        .to_owned(),
                )
            }),
            Among::Chords => chord::parse(text).map(|_| text.to_owned()).map_err(|e| {
                (
                    format!("'{text}' is not a chord symbol that chartproof reads ({e})"),
                    "write it as it stands over the staff, at concert pitch: 'Bb7'".to_owned(),
                )
            }),
            Among::Pitches => text
                .parse::<Pitch>()
                .map(|p| p.to_string())
                .map_err(|_| (format!("'{text}' is not a pitch"), PITCH_HELP.to_owned())),
            Among::Meters => {
                let sound = text.split_once('/').is_some_and(|(beats, unit)| {
                    beats.parse::<u16>().is_ok() && unit.parse::<u16>().is_ok()
                });
                if sound {
                    Ok(text.to_owned())
                } else {
                    Err((
                        format!("'{text}' is not a time signature"),
                        "write it as '4/4'".to_owned(),
                    ))
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{only, refused};
    use crate::condition::checked::{Compare, Constant, How};
    use crate::condition::names::Scope::{self, Note, Sonority};

    #[test]
    fn texts_are_put_as_the_values_have_them() {
        for (scope, when, text) in [
            (Note, "instrument == 'Tpt.'", "trumpet"),
            (Note, "family == 'Brass'", "brass"),
            (Note, "section == 'sax section'", "saxes"),
            (Note, "section == 'horns'", "horns"),
            (Note, "'b3' == degree", "b3"),
            (Note, "written_name == 'eb5'", "Eb5"),
            (Note, "chord == 'Bb7'", "Bb7"),
            (Note, "meter == '4/4'", "4/4"),
            (Note, "part == 'anybody'", "anybody"),
            (Note, "instrument == ''", ""),
            (Sonority, "technique == 'four way close'", "four-way close"),
        ] {
            let expected = How::Against(Compare::Same, Constant::Text(text.to_owned()));
            assert_eq!(only(scope, when), expected, "{when}");
        }
    }

    #[test]
    fn other_texts_are_refused_with_the_nearest_known_one() {
        let bad: [(Scope, &str, &str, &str); 9] = [
            (
                Note,
                "instrument == 'didgeribone'",
                "is not an instrument",
                "there are: ",
            ),
            (
                Note,
                "family == 'bras'",
                "no family of instruments called",
                "brass",
            ),
            (
                Note,
                "section == 'trumbones'",
                "is not a section",
                "trombones",
            ),
            (
                Note,
                "'acent' in articulations",
                "no articulation called",
                "accent",
            ),
            (
                Note,
                "degree == 'b15'",
                "is not a degree of a chord",
                "1 to 13",
            ),
            (
                Note,
                "chord == 'H7'",
                "is not a chord symbol",
                "concert pitch",
            ),
            (
                Note,
                "written_name == 'H5'",
                "is not a pitch",
                "letter from A to G",
            ),
            (Note, "meter == 'four'", "is not a time signature", "'4/4'"),
            (
                Sonority,
                "technique == 'dorp 2'",
                "is not a technique",
                "drop 2",
            ),
        ];
        for (scope, when, said, advice) in bad {
            let (at, message, help) = refused(scope, when);
            assert!(at.starts_with('\'') && at.ends_with('\''), "{when}: {at}");
            assert!(message.contains(said), "{when}: {message}");
            assert!(help.contains(advice), "{when}: {help}");
        }
    }

    #[test]
    fn texts_in_a_list_are_held_to_those_there_are_too() {
        let (at, ..) = refused(Note, "instrument in ['trumpet', 'didgeribone']");
        assert_eq!(at, "'didgeribone'");
    }
}
