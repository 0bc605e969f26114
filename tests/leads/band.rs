//! Who may be asked to play a melody. Seating: common practice, no source.

pub struct Band {
    pub name: &'static str,
    /// A section by name, or the players from the top.
    pub players: Players,
}

#[derive(Clone, Copy)]
pub enum Players {
    Section(&'static str),
    Named(&'static str),
}

use Players::{Named, Section};

const fn band(name: &'static str, players: Players) -> Band {
    Band { name, players }
}

pub static BANDS: [Band; 9] = [
    band("trombones", Section("trombones")),
    band("trumpets", Section("trumpets")),
    band("saxes", Section("saxes")),
    band("voices", Section("voices")),
    band("piano", Section("piano")),
    band(
        "small band",
        Named("trumpet, alto sax, tenor sax, trombone"),
    ),
    band(
        "clarinet over saxes",
        Named("clarinet, alto sax, alto sax, tenor sax, tenor sax"),
    ),
    band(
        "trumpets over trombones",
        Named("trumpet, trumpet, trumpet, trumpet, trombone, trombone, trombone, bass trombone"),
    ),
    band("two horns", Named("trumpet, tenor sax")),
];

pub const TECHNIQUES: [&str; 9] = [
    "four-way close",
    "drop 2",
    "doubled lead",
    "spread",
    "guide tones",
    "unison",
    "octaves",
    "fourths",
    "cluster",
];
