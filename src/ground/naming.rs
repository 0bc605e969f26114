//! What a note that is to sound is called: as its chord and the key have it, in a name that players
//! read without stumbling.

use super::pitch::{NoteName, Pitch, PitchClass, Step};

/// What names the notes of one sonority.
#[derive(Clone, Copy, Debug)]
pub struct Naming<'a> {
    /// The notes of the harmony as it spells them; empty when it is not known.
    pub chord: &'a [NoteName],
    /// Concert key signature in fifths.
    pub key: i8,
}

impl Naming<'_> {
    /// The name of a pitch class. `stands` says whether a name is in the music already.
    pub fn name(self, class: PitchClass, stands: impl Fn(NoteName) -> bool) -> NoteName {
        let named = self.chord.iter().copied().find(|n| n.class() == class);
        named
            .filter(|name| self.is_read(*name, stands))
            .unwrap_or_else(|| NoteName::plain_in_key(class, self.key))
    }

    /// The pitch with that name whose MIDI number is `midi`.
    pub fn pitch(self, midi: i16, stands: impl Fn(NoteName) -> bool) -> Pitch {
        let name = self.name(PitchClass::new(midi), stands);
        Pitch::named(name, midi).unwrap_or_else(|| Pitch::in_key(midi, self.key))
    }

    /// Whether players read the chord's name as it is. A diminished seventh may be built on any of its
    /// notes, so its letters bind nobody far from the key that has them; those of a chord symbol do, but
    /// for double accidentals.
    fn is_read(self, name: NoteName, stands: impl Fn(NoteName) -> bool) -> bool {
        let near = || name == NoteName::in_key(name.class(), self.key);
        name.is_in_signature(self.key)
            || name.alter.abs() < 2
                && (!name.is_odd() || !is_diminished_seventh(self.chord) || near() || stands(name))
    }
}

/// Whether the first four notes stand in minor thirds. Tensions may follow them.
fn is_diminished_seventh(chord: &[NoteName]) -> bool {
    let (Some(first), Some(four)) = (chord.first(), chord.get(..4)) else {
        return false;
    };
    four.iter().all(|n| n.class().above(first.class()) % 3 == 0)
}

impl NoteName {
    /// The white keys that have another name: Cb, Fb, E# and B#.
    pub const fn is_odd(self) -> bool {
        matches!(
            (self.step, self.alter),
            (Step::C | Step::F, -1) | (Step::E | Step::B, 1)
        )
    }

    /// Whether a key signature of `fifths` sharps (flats when negative) has this note.
    pub fn is_in_signature(self, fifths: i8) -> bool {
        self.step.altered_by_key(fifths) == self.alter
    }

    /// The name of a pitch class under a key signature: [`NoteName::in_key`], but white keys have their
    /// plain names unless the signature itself has another.
    pub fn plain_in_key(class: PitchClass, fifths: i8) -> Self {
        let name = Self::in_key(class, fifths);
        if name.is_in_signature(fifths) || name.alter.abs() < 2 && !name.is_odd() {
            return name;
        }
        let plain = Step::ALL.map(|step| Self::new(step, 0));
        let plain = plain.into_iter().find(|n| n.class() == class);
        plain.unwrap_or(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::chord;
    use crate::ground::instrument;
    use crate::ground::pitch::{Transposition, written_fifths};

    fn names(text: &str) -> Vec<NoteName> {
        let pitches = text.split(' ').map(|n| format!("{n}4").parse::<Pitch>());
        pitches.map(|p| p.unwrap().name()).collect()
    }

    /// A chord as it is spelled out in a key.
    fn in_key(chord: &str, key: i8) -> String {
        let chord = names(chord);
        let naming = Naming { chord: &chord, key };
        let all = chord.iter().map(|n| naming.name(n.class(), |_| false));
        all.map(|n| n.to_string()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn a_diminished_seventh_is_read_in_plain_names() {
        // Common practice, no source: nobody writes Abb for G.
        assert_eq!(in_key("Bb Db Fb Abb", -1), "Bb Db E G");
        assert_eq!(in_key("Eb Gb Bbb Dbb", -2), "Eb Gb A C");
        assert_eq!(in_key("F Ab Cb Ebb", 0), "F Ab B D");
        assert_eq!(in_key("B D F Ab", 0), "B D F Ab");
        assert_eq!(in_key("Bb Db Fb Abb", -2), "Bb Db E G");
        assert_eq!(in_key("C# E G Bb", -1), "C# E G Bb");
        // Cb is the minor sixth of Eb, E# leads to the second of E; six flats have Cb themselves.
        assert_eq!(in_key("D F Ab Cb", -3), "D F Ab Cb");
        assert_eq!(in_key("E# G# B D", 4), "E# G# B D");
        assert_eq!(in_key("Ab Cb Ebb Gbb", -6), "Ab Cb D F");
    }

    #[test]
    fn a_symbol_keeps_its_letters_but_for_double_accidentals() {
        assert_eq!(in_key("Ab Cb Eb Gb", -3), "Ab Cb Eb Gb");
        assert_eq!(in_key("C# E# G# B", 4), "C# E# G# B");
        assert_eq!(in_key("E G# B D F##", 2), "E G# B D G");
        assert_eq!(in_key("Db F Ab Cb Bbb", -5), "Db F Ab Cb A");
    }

    #[test]
    fn a_name_that_stands_in_the_music_stays() {
        let chord = names("Bb Db Fb Abb");
        let naming = Naming {
            chord: &chord,
            key: -1,
        };
        let fb = NoteName::new(Step::F, -1);
        assert_eq!(naming.name(fb.class(), |n| n == fb), fb);
        assert_eq!(naming.name(fb.class(), |_| false).to_string(), "E");
    }

    #[test]
    fn no_name_makes_a_player_stumble_in_any_chord_key_or_instrument() {
        let roots = (-8..=10).map(NoteName::from_fifths);
        let kinds = [
            "", "6", "maj7", "7", "m7", "m7b5", "dim7", "m6", "mmaj7", "7alt", "7b9", "7#9",
            "7#11", "7b13", "7sus4", "aug", "maj7#5", "13", "m11", "69",
        ];
        let mut transpositions: Vec<Transposition> = Vec::new();
        for instrument in &instrument::catalogue().instruments {
            if !transpositions.contains(&instrument.transposition) {
                transpositions.push(instrument.transposition);
            }
        }
        for (root, kind) in roots.flat_map(|r| kinds.map(move |k| (r, k))) {
            let text = format!("{root}{kind}");
            let Ok(Some(symbol)) = chord::parse(&text) else {
                panic!("{text} is no symbol");
            };
            let own: Vec<NoteName> = symbol.names().collect();
            // Its passing diminished seventh as well: 7 2 4 b6.
            let passing =
                [(7, 0), (2, 0), (4, 0), (6, -1)].map(|(n, a)| chord::Degree::new(n, a).over(root));
            for (chord, key) in [&own[..], &passing]
                .into_iter()
                .flat_map(|c| (-7..=7).map(move |k| (c, k)))
            {
                let naming = Naming { chord, key };
                for midi in 60..72 {
                    let pitch = naming.pitch(midi, |_| false);
                    assert_eq!(pitch.midi(), midi);
                    is_read_at_sight(pitch, naming, &text);
                    for by in &transpositions {
                        let page = pitch.transposed(by.inverse());
                        let page = page.readable(written_fifths(key, *by));
                        assert_eq!(page.midi(), midi - by.chromatic);
                        assert!(page.alter.abs() < 2, "{text} in {key}: {page}");
                    }
                }
            }
        }
    }

    fn is_read_at_sight(pitch: Pitch, naming: Naming<'_>, text: &str) {
        let (name, Naming { chord, key }) = (pitch.name(), naming);
        assert!(name.alter.abs() < 2, "{text} in {key}: {name}");
        let by_symbol = chord.contains(&name) && !is_diminished_seventh(chord);
        let plain = Step::ALL.map(|step| NoteName::new(step, 0));
        let keys_own = plain
            .iter()
            .any(|n| n.class() == name.class() && n.is_in_signature(key));
        assert!(
            !name.is_odd() || !keys_own || by_symbol,
            "{text} in {key}: {name}"
        );
    }
}
