//! How long a file and a function may be. Tests do not count, nor do tables of data.

use crate::floors::{all_source, lines_without_tests};

/// A file has fewer lines than this, comments counted.
const LINES_OF_A_FILE: usize = 700;

/// A function has fewer lines than this, from its name to its last brace.
const LINES_OF_A_FUNCTION: usize = 90;

/// Tables of data that may be longer: the file below `src` or the function's name, and the reason.
const TABLES: &[(&str, &str)] = &[];

fn is_table(name: &str) -> bool {
    TABLES.iter().any(|(table, _)| *table == name)
}

/// The functions of some lines: name, the 1-based line it stands in, and how many lines it has. rustfmt
/// puts the last brace as far in as the line with the name.
fn functions(lines: &[(usize, &str)]) -> Vec<(String, usize, usize)> {
    let mut found = Vec::new();
    for (index, (number, line)) in lines.iter().enumerate() {
        let code = line.trim_start();
        let Some((before, after)) = code.split_once("fn ") else {
            continue;
        };
        let word = |w: &str| {
            matches!(w, "pub" | "const" | "async" | "unsafe" | "extern") || w.starts_with("pub(")
        };
        if !before.split_whitespace().all(word) && !before.starts_with("pub(in ") {
            continue;
        }
        let name: String = after
            .chars()
            .take_while(|c| c.is_alphanumeric() || *c == '_')
            .collect();
        let indent = &line[..line.len() - code.len()];
        let last = format!("{indent}}}");
        let none = format!("{indent}fn ");
        let rest = lines[index..].iter();
        let length = rest
            .take_while(|(_, l)| *l != last)
            .take_while(|(n, l)| n == number || !l.starts_with(&none))
            .count();
        let one_line = code.ends_with('}') || code.ends_with(';');
        found.push((name, *number, if one_line { 1 } else { length + 1 }));
    }
    found
}

#[test]
fn files_and_functions_can_be_taken_in() {
    let mut too_long = Vec::new();
    let mut seen = 0;
    for (path, text) in all_source() {
        let lines = lines_without_tests(&text);
        let path = path.display().to_string();
        if lines.len() >= LINES_OF_A_FILE && !is_table(&path) {
            too_long.push(format!(
                "src/{path} has {} lines without tests: divide it by meaning into files of fewer than \
                 {LINES_OF_A_FILE}, with the tests beside each; a table of data goes to rules/*.toml, \
                 or into TABLES of tests/sizes.rs with its reason",
                lines.len()
            ));
        }
        for (name, line, length) in functions(&lines) {
            seen += 1;
            if length >= LINES_OF_A_FUNCTION && !is_table(&name) {
                too_long.push(format!(
                    "src/{path}, line {line}: `{name}` has {length} lines: give its steps names, in \
                     functions of fewer than {LINES_OF_A_FUNCTION} lines; a table of data goes into \
                     TABLES of tests/sizes.rs with its reason"
                ));
            }
        }
    }
    assert!(
        seen > 1500,
        "only {seen} functions seen: is src read at all?"
    );
    assert!(too_long.is_empty(), "{}", too_long.join("\n"));
}

#[test]
fn lines_are_counted_without_tests() {
    let text = "pub(super) fn long(\n    a: u8,\n) -> u8 {\n    match a {\n        _ => a,\n    }\n}\n\n\
                #[cfg(test)]\nmod tests {\n    fn far_longer() {\n        let a = 1;\n    }\n}\n\n\
                impl A {\n    const fn one(self) -> u8 {\n        1\n    }\n\n    fn none(self);\n}\n";
    let lines = lines_without_tests(text);
    let found = functions(&lines);
    let found: Vec<(&str, usize, usize)> =
        found.iter().map(|(n, l, c)| (n.as_str(), *l, *c)).collect();
    assert_eq!(lines.len(), 16);
    assert_eq!(found, [("long", 1, 7), ("one", 17, 3), ("none", 21, 1)]);
}
