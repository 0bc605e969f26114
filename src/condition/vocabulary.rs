//! Words, functions and signs of conditions, whatever the scope.

/// The dynamics as they are written, softest first, with their values.
pub const DYNAMICS: [(&str, i64); 9] = [
    ("unmarked", 0),
    ("ppp", 1),
    ("pp", 2),
    ("p", 3),
    ("mp", 4),
    ("mf", 5),
    ("f", 6),
    ("ff", 7),
    ("fff", 8),
];

/// The marks a note can carry.
pub const ARTICULATIONS: [&str; 11] = [
    "accent",
    "staccato",
    "tenuto",
    "marcato",
    "fall",
    "doit",
    "scoop",
    "plop",
    "breath",
    "fermata",
    "staccatissimo",
];

/// Functions of values, each with an example and a description.
pub const FUNCTIONS: [(&str, &str, &str); 10] = [
    (
        "pitch",
        "pitch('A5')",
        "a pitch by its name, to compare with",
    ),
    (
        "abs",
        "abs(a - b)",
        "the size of a number, whatever its sign",
    ),
    (
        "size",
        "size(voices)",
        "how many a list holds, or how long a text is",
    ),
    (
        "contains",
        "part.contains('Solo')",
        "whether a text has another within it",
    ),
    (
        "startsWith",
        "part.startsWith('Alto')",
        "whether a text begins so",
    ),
    ("endsWith", "part.endsWith('1')", "whether a text ends so"),
    (
        "exists",
        "gaps.exists(g, g > 9)",
        "whether one of a list is so; g stands for each in turn",
    ),
    (
        "all",
        "voices.all(v, v < pitch('C6'))",
        "whether all of a list are so",
    ),
    (
        "exists_one",
        "gaps.exists_one(g, g == 1)",
        "whether exactly one of a list is so",
    ),
    (
        "filter",
        "size(gaps.filter(g, g == 1))",
        "the list of those that are so",
    ),
];

/// Signs between values.
pub const SIGNS: [(&str, &str); 8] = [
    ("== !=", "is the same, is not the same"),
    (
        "< <= > >=",
        "lower or softer, higher or louder, more or less",
    ),
    ("&&", "and"),
    ("||", "or"),
    ("!", "not: !tied"),
    (
        "in",
        "is one of: 'accent' in articulations, degree in ['1', '5']",
    ),
    (
        "+ - * / %",
        "sums; lead - bottom is an interval in semitones",
    ),
    ("? :", "if so, this, else that"),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dynamics_rise_from_none_to_the_loudest() {
        for (value, (word, number)) in DYNAMICS.iter().enumerate() {
            assert_eq!(*number, value as i64, "{word}");
        }
    }

    #[test]
    fn examples_of_functions_use_them() {
        for (name, example, about) in FUNCTIONS {
            assert!(example.contains(&format!("{name}(")), "{example}");
            assert!(!about.is_empty(), "{name}");
        }
    }
}
