//! The names that conditions of a house's own rules can use: for each scope, with their kinds and
//! units. The checker, the printed table and the values follow from this one list.

use super::kinds::{Among, Kind, One};

/// The things that a rule looks at, one at a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Scope {
    /// Every note that a part strikes, ties followed.
    Note,
    /// Everything a section sounds at one onset.
    Sonority,
    /// Two notes of a part that follow each other.
    Step,
    /// A bar of a section.
    Bar,
    /// A part from beginning to end.
    Part,
}

impl Scope {
    /// The words for them.
    pub const WORDS: [(&'static str, Self); 5] = [
        ("note", Self::Note),
        ("sonority", Self::Sonority),
        ("line step", Self::Step),
        ("bar", Self::Bar),
        ("part", Self::Part),
    ];

    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Sonority => "sonority",
            Self::Step => "line step",
            Self::Bar => "bar",
            Self::Part => "part",
        }
    }

    /// The things looked at, in one sentence.
    pub const fn about(self) -> &'static str {
        match self {
            Self::Note => {
                "every note that is struck, held as long as its ties hold it; grace notes and cues are left out"
            }
            Self::Sonority => {
                "all that a section sounds at one moment, whenever one of its parts strikes a note"
            }
            Self::Step => {
                "two notes that follow each other in a part, over a rest or not; chords within a part are left out"
            }
            Self::Bar => "each bar of each section",
            Self::Part => "each part from beginning to end",
        }
    }

    /// Its names.
    pub const fn entries(self) -> &'static [NameInScope] {
        match self {
            Self::Note => NOTE,
            Self::Sonority => SONORITY,
            Self::Step => STEP,
            Self::Bar => BAR,
            Self::Part => PART,
        }
    }

    /// The name in it.
    pub fn entry(self, word: &str) -> Option<&'static NameInScope> {
        self.entries().iter().find(|e| e.word == word)
    }
}

/// The names there are, whatever they are called in a scope.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs)] // the tables below describe each
#[allow(
    clippy::enum_variant_names,
    reason = "they are called as conditions call them"
)]
pub enum Name {
    Part,
    Instrument,
    Family,
    Section,
    Seat,
    Players,
    Playing,
    Written,
    Sounding,
    WrittenName,
    SoundingName,
    Duration,
    Bar,
    Beat,
    Articulations,
    Dynamic,
    Tied,
    Slurred,
    Chord,
    ChordNote,
    Degree,
    Key,
    Meter,
    Mark,
    MarkHere,
    Technique,
    Voice,
    IsLead,
    Voices,
    Count,
    Lead,
    Bottom,
    Span,
    Gaps,
    Block,
    SoundingOf,
    WrittenOf,
    Interval,
    Size,
    Rest,
    From,
    To,
    Notes,
    Busiest,
    Sonorities,
    Chords,
    Highest,
    Lowest,
    Bars,
    Longest,
    Dynamics,
}

/// A name in a scope.
#[derive(Clone, Copy, Debug)]
pub struct NameInScope {
    /// As it is written.
    pub word: &'static str,
    /// Its meaning.
    pub name: Name,
    /// The kind of its value.
    pub kind: Kind,
    /// Its description, with its unit.
    pub about: &'static str,
}

const fn entry(word: &'static str, name: Name, kind: Kind, about: &'static str) -> NameInScope {
    NameInScope {
        word,
        name,
        kind,
        about,
    }
}

const FLAG: Kind = Kind::One(One::Flag);
const WHOLE: Kind = Kind::One(One::Whole);
const DECIMAL: Kind = Kind::One(One::Decimal);
const PITCH: Kind = Kind::One(One::Pitch);
const LOUDNESS: Kind = Kind::One(One::Loudness);

const fn text(among: Among) -> Kind {
    Kind::One(One::Text(among))
}

const THE_PART: NameInScope = entry(
    "part",
    Name::Part,
    text(Among::Any),
    "the part's name as printed",
);
const THE_INSTRUMENT: NameInScope = entry(
    "instrument",
    Name::Instrument,
    text(Among::Instruments),
    "its instrument, such as 'trumpet'; '' when unknown",
);
const THE_FAMILY: NameInScope = entry(
    "family",
    Name::Family,
    text(Among::Families),
    "woodwind, brass, string, keyboard, percussion or voice; '' when unknown",
);
const THE_SECTION: NameInScope = entry(
    "section",
    Name::Section,
    text(Among::Sections),
    "the section it is voiced with, such as 'saxes'",
);
const THE_SEAT: NameInScope = entry(
    "seat",
    Name::Seat,
    WHOLE,
    "the player's number among those of the instrument, 1 for Trumpet 1; 0 when unknown",
);
const THE_CHORD: NameInScope = entry(
    "chord",
    Name::Chord,
    text(Among::Chords),
    "the chord symbol at concert pitch, such as 'Bb7'; '' when there is none",
);
const THE_KEY: NameInScope = entry(
    "key",
    Name::Key,
    WHOLE,
    "the concert key: number of sharps, flats as negative numbers",
);
const THE_METER: NameInScope = entry(
    "meter",
    Name::Meter,
    text(Among::Meters),
    "the time signature, such as '4/4'",
);
const THE_MARK: NameInScope = entry(
    "mark",
    Name::Mark,
    text(Among::Any),
    "the rehearsal mark in force; '' before the first",
);
const THE_BAR: NameInScope = entry(
    "bar",
    Name::Bar,
    WHOLE,
    "the printed bar number; 12 for a bar printed as 12a, 0 for one without a number",
);
const THE_BEAT: NameInScope = entry(
    "beat",
    Name::Beat,
    DECIMAL,
    "where in the bar: 1 on the bar line, in units of the meter's lower figure, 2.5 for 2-and",
);
const THE_TECHNIQUE: NameInScope = entry(
    "technique",
    Name::Technique,
    text(Among::Techniques),
    "the technique in force, such as 'drop 2'; '' when there is none",
);

/// A note's own names, alone and behind `from.` and `to.`.
pub const OF_A_NOTE: &[NameInScope] = &[
    entry(
        "written",
        Name::Written,
        PITCH,
        "its pitch as the player reads it",
    ),
    entry("sounding", Name::Sounding, PITCH, "its pitch as it sounds"),
    entry(
        "written_name",
        Name::WrittenName,
        text(Among::Pitches),
        "the same as a name, where the spelling matters: 'Eb5' is not 'D#5'",
    ),
    entry(
        "sounding_name",
        Name::SoundingName,
        text(Among::Pitches),
        "the sounding pitch as a name",
    ),
    entry(
        "duration",
        Name::Duration,
        DECIMAL,
        "how long it is held, ties followed, in units of the meter's lower figure",
    ),
    THE_BAR,
    THE_BEAT,
    entry(
        "articulations",
        Name::Articulations,
        Kind::List(One::Text(Among::Articulations)),
        "what stands on it: 'accent' in articulations",
    ),
    entry(
        "dynamic",
        Name::Dynamic,
        LOUDNESS,
        "the dynamic in force in the part: compare it with ppp pp p mp mf f ff fff, or unmarked",
    ),
    entry("tied", Name::Tied, FLAG, "a tie holds it on"),
    entry(
        "slurred",
        Name::Slurred,
        FLAG,
        "a slur leads on from it to the next note",
    ),
    THE_CHORD,
    entry(
        "degree",
        Name::Degree,
        text(Among::Degrees),
        "what it is in the chord: '1', 'b3', '13'; '' without a chord symbol",
    ),
    entry(
        "chord_note",
        Name::ChordNote,
        FLAG,
        "the chord symbol names it",
    ),
    entry(
        "voice",
        Name::Voice,
        WHOLE,
        "its place among what the section sounds when it is struck, 1 is the top",
    ),
    entry(
        "is_lead",
        Name::IsLead,
        FLAG,
        "it is the top note of its section",
    ),
    THE_TECHNIQUE,
    THE_KEY,
    THE_METER,
    THE_MARK,
];

const NOTE: &[NameInScope] = &[
    THE_PART,
    THE_INSTRUMENT,
    THE_FAMILY,
    THE_SECTION,
    THE_SEAT,
    OF_A_NOTE[0],
    OF_A_NOTE[1],
    OF_A_NOTE[2],
    OF_A_NOTE[3],
    OF_A_NOTE[4],
    OF_A_NOTE[5],
    OF_A_NOTE[6],
    OF_A_NOTE[7],
    OF_A_NOTE[8],
    OF_A_NOTE[9],
    OF_A_NOTE[10],
    OF_A_NOTE[11],
    OF_A_NOTE[12],
    OF_A_NOTE[13],
    OF_A_NOTE[14],
    OF_A_NOTE[15],
    OF_A_NOTE[16],
    OF_A_NOTE[17],
    OF_A_NOTE[18],
    OF_A_NOTE[19],
];

const SONORITY: &[NameInScope] = &[
    THE_SECTION,
    entry(
        "voices",
        Name::Voices,
        Kind::List(One::Pitch),
        "all sounding pitches from the top; voices[0] is the lead",
    ),
    entry("count", Name::Count, WHOLE, "how many voices sound"),
    entry(
        "lead",
        Name::Lead,
        PITCH,
        "the sounding pitch of the top voice",
    ),
    entry(
        "bottom",
        Name::Bottom,
        PITCH,
        "the sounding pitch of the bottom voice",
    ),
    entry(
        "span",
        Name::Span,
        WHOLE,
        "from the lead to the bottom voice, in semitones",
    ),
    entry(
        "gaps",
        Name::Gaps,
        Kind::List(One::Whole),
        "from each voice to the next one below, in semitones, from the top",
    ),
    entry(
        "block",
        Name::Block,
        FLAG,
        "three voices or more sound, and all are struck here, or move with the chord under a held lead",
    ),
    entry(
        "sounding",
        Name::SoundingOf,
        Kind::Players,
        "one player's pitch as it sounds: sounding['tenor saxophone 2'], or the part's name; a comparison with a player who rests is neither right nor wrong, and the rule is silent",
    ),
    entry(
        "written",
        Name::WrittenOf,
        Kind::Players,
        "one player's pitch as it is read: written['trumpet 1']",
    ),
    THE_TECHNIQUE,
    THE_CHORD,
    entry(
        "degree",
        Name::Degree,
        text(Among::Degrees),
        "what the lead is in the chord: '1', 'b3', '13'; '' without a chord symbol",
    ),
    THE_BAR,
    THE_BEAT,
    entry(
        "duration",
        Name::Duration,
        DECIMAL,
        "until the next sonority or a rest, in units of the meter's lower figure",
    ),
    THE_KEY,
    THE_METER,
    THE_MARK,
];

const STEP: &[NameInScope] = &[
    THE_PART,
    THE_INSTRUMENT,
    THE_FAMILY,
    THE_SECTION,
    THE_SEAT,
    entry(
        "from",
        Name::From,
        Kind::Note,
        "the first note, with all names of a note after a dot: from.written",
    ),
    entry(
        "to",
        Name::To,
        Kind::Note,
        "the second note: to.written, to.dynamic ...",
    ),
    entry(
        "interval",
        Name::Interval,
        WHOLE,
        "from the first to the second, in semitones; down is negative",
    ),
    entry(
        "size",
        Name::Size,
        WHOLE,
        "the same, up or down: 12 is an octave either way",
    ),
    entry(
        "rest",
        Name::Rest,
        DECIMAL,
        "the rest between them, in units of the meter's lower figure; 0 when there is none",
    ),
];

const BAR: &[NameInScope] = &[
    THE_SECTION,
    THE_BAR,
    entry(
        "players",
        Name::Players,
        WHOLE,
        "how many parts the section has",
    ),
    entry(
        "playing",
        Name::Playing,
        WHOLE,
        "how many of them sound at any time in the bar",
    ),
    entry(
        "notes",
        Name::Notes,
        WHOLE,
        "how many notes all of them strike together",
    ),
    entry(
        "busiest",
        Name::Busiest,
        WHOLE,
        "the most notes that one of them strikes",
    ),
    entry(
        "sonorities",
        Name::Sonorities,
        WHOLE,
        "how many sonorities start in the bar",
    ),
    entry(
        "highest",
        Name::Highest,
        PITCH,
        "the highest sounding pitch that starts in the bar; without one the rule is silent",
    ),
    entry(
        "lowest",
        Name::Lowest,
        PITCH,
        "the lowest sounding pitch that starts in the bar; without one the rule is silent",
    ),
    entry(
        "chords",
        Name::Chords,
        WHOLE,
        "how many chord symbols stand in the bar",
    ),
    THE_METER,
    THE_KEY,
    THE_MARK,
    entry(
        "mark_here",
        Name::MarkHere,
        FLAG,
        "a rehearsal mark stands at this bar",
    ),
];

const PART: &[NameInScope] = &[
    THE_PART,
    THE_INSTRUMENT,
    THE_FAMILY,
    THE_SECTION,
    THE_SEAT,
    entry("notes", Name::Notes, WHOLE, "how many notes it strikes"),
    entry("bars", Name::Bars, WHOLE, "how many bars it has"),
    entry(
        "playing",
        Name::Playing,
        WHOLE,
        "how many bars have notes in them",
    ),
    entry("highest", Name::Highest, PITCH, "its highest written pitch"),
    entry("lowest", Name::Lowest, PITCH, "its lowest written pitch"),
    entry(
        "longest",
        Name::Longest,
        DECIMAL,
        "the longest stretch without any rest, in quarter notes",
    ),
    entry(
        "dynamics",
        Name::Dynamics,
        WHOLE,
        "how many dynamics stand in it",
    ),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::condition::vocabulary::{DYNAMICS, FUNCTIONS};

    #[test]
    fn no_name_stands_twice_in_a_scope_or_is_a_dynamic() {
        for (word, scope) in Scope::WORDS {
            assert_eq!(scope.word(), word);
            let mut words: Vec<&str> = scope.entries().iter().map(|e| e.word).collect();
            words.extend(DYNAMICS.map(|(d, _)| d));
            words.extend(FUNCTIONS.map(|(f, ..)| f));
            let count = words.len();
            words.sort_unstable();
            words.dedup();
            // `size` is a line step's interval and, with brackets, a function.
            let size = usize::from(scope == Scope::Step);
            assert_eq!(words.len() + size, count, "{word}");
        }
    }

    #[test]
    fn a_note_has_the_names_of_both_ends_of_a_step() {
        for entry in OF_A_NOTE {
            assert!(Scope::Note.entry(entry.word).is_some(), "{}", entry.word);
        }
        assert_eq!(NOTE.len(), OF_A_NOTE.len() + 5);
    }
}
