//! Players whom a condition names, by instrument and number or by the name of a part.

use super::checker::{Checker, Known};
use super::simple::constant;
use crate::condition::checked::{Constant, Player};
use crate::ground::text::nearest;
use cel::common::ast::IdedExpr;

/// Whom words name: an instrument and a number, or a part.
pub fn player(words: &str, known: Known<'_>) -> Result<Player, (String, String)> {
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

impl Checker<'_> {
    /// Whom a text names.
    pub(super) fn player(&mut self, text: &IdedExpr) -> Option<Player> {
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
}
