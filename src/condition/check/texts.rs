//! Texts in a condition: instruments, sections, techniques, degrees and their like have to be ones that
//! exist.

use super::checker::Checker;
use super::simple::constant;
use crate::condition::checked::Constant;
use crate::condition::kinds::{Among, One};
use crate::condition::vocabulary::{ARTICULATIONS, FAMILIES};
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
            Among::Families => one_of("family of instruments", &FAMILIES),
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
}
