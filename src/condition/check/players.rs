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
            format!("'{words}' is not a player: no instrument has this name"),
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

#[cfg(test)]
mod tests {
    use super::super::tests::{known, refused};
    use super::player;
    use crate::condition::names::Scope::Sonority;

    #[test]
    fn a_player_is_an_instrument_with_its_number_or_a_part() {
        for (words, instrument, seat) in [
            ("tenor saxophone 2", Some("tenor-saxophone"), Some(2)),
            ("Tpt. 1", Some("trumpet"), Some(1)),
            ("trumpet", Some("trumpet"), None),
            ("trumpet 0", Some("trumpet"), None),
            (" Reed 1 ", None, Some(1)),
        ] {
            let found = player(words, known(Sonority)).unwrap();
            assert_eq!(found.instrument.as_deref(), instrument, "{words}");
            assert_eq!(found.seat, seat, "{words}");
            assert_eq!(found.words, words.trim());
        }
    }

    #[test]
    fn nobody_else_is_a_player() {
        let (message, help) = player("didgeribone 1", known(Sonority)).unwrap_err();
        assert!(message.contains("no instrument has this name"), "{message}");
        assert!(help.contains("'tenor saxophone 2'"), "{help}");
        assert!(player("Reed 2", known(Sonority)).is_err());
        let (at, message, _) = refused(Sonority, "sounding[section] > lead");
        assert_eq!(
            (at, message.as_str()),
            ("section", "a player is named outright")
        );
    }
}
