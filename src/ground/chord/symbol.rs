//! Chord symbols as the trade writes them.
//!
//! A symbol is a root, a quality out of the vocabulary, what is altered, added or left out, and a
//! bass note after a slash. A quality is taken at its longest spelling first; where the rest then
//! makes no sense, shorter ones are tried (`Cmadd9` is not `Cma` and `dd9`).

use super::degree_set::{DegreeSet, usual};
use super::vocabulary::VOCABULARY;
use super::{Chord, Degree};
use crate::ground::pitch::{NoteName, Step};
use crate::ground::text::cut;

/// Why a symbol could not be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{symbol}` is not a chord symbol: {why}")]
pub struct SymbolError {
    /// The symbol.
    pub symbol: String,
    /// What is wrong with it.
    pub why: String,
}

/// More than anyone writes over a staff; keeps reading quick whatever stands in a file.
const LONGEST: usize = 64;

/// Reads a chord symbol; `Ok(None)` is "no chord" (`N.C.`). The chord is at the pitch the symbol
/// is written at.
pub fn parse(text: &str) -> Result<Option<Chord>, SymbolError> {
    let text = text.trim();
    let refuse = |why: String| SymbolError {
        symbol: clip(text),
        why,
    };
    if is_no_chord(text) {
        return Ok(None);
    }
    if text.chars().count() > LONGEST {
        return Err(refuse(format!(
            "it is longer than {LONGEST} characters; write a root, a quality and its alterations, \
             such as `Bbmaj7`"
        )));
    }
    let (root, rest) = read_root(text).map_err(&refuse)?;
    let (tail, bass) = split_bass(rest).map_err(&refuse)?;
    let chars: Vec<char> = tail.chars().map(plain).collect();
    let (set, altered) = read_tail(&chars).map_err(|at| {
        let before: String = tail.chars().take(at).collect();
        let after: String = tail.chars().skip(at).collect();
        refuse(if before.trim().is_empty() {
            format!(
                "after the root `{root}` there stands `{after}`, which is no quality, alteration \
                 or tension; write a quality such as `{root}m7`, or one with its alterations, \
                 such as `{root}7(b9,#11)`"
            )
        } else {
            format!(
                "after `{root}{}` there stands `{}`, which is no alteration or tension; write \
                 alterations as in `{root}7(b9,#11)`, added notes as in `{root}add9`",
                before.trim_end(),
                after.trim_start(),
            )
        })
    })?;
    let mut printed = format!("{root}{}", tail.trim_end());
    if let Some(b) = bass {
        printed = format!("{printed}/{b}");
    }
    Ok(Some(Chord {
        root,
        bass,
        degrees: set.finish(),
        altered,
        text: printed,
    }))
}

/// The start of a text, for messages.
fn clip(text: &str) -> String {
    cut(text, LONGEST).into_owned()
}

fn is_no_chord(text: &str) -> bool {
    if text.len() > 16 {
        return false;
    }
    let letters: String = text
        .chars()
        .filter(|c| !c.is_whitespace() && *c != '.')
        .collect();
    ["nc", "nochord"]
        .iter()
        .any(|w| letters.eq_ignore_ascii_case(w))
}

/// The one character that stands for all signs of its meaning.
const fn plain(c: char) -> char {
    match c {
        '♭' => 'b',
        '♯' | '＃' => '#',
        'Δ' | '∆' | '△' | '▵' => 'Δ',
        '°' | 'º' | '˚' => 'o',
        'ø' | 'Ø' | '⌀' | '∅' => 'ø',
        '−' | '–' | '‐' | '‑' | '⁻' => '-',
        '⁺' => '+',
        '¹' => '1',
        '²' => '2',
        '³' => '3',
        '⁴' => '4',
        '⁵' => '5',
        '⁶' => '6',
        '⁷' => '7',
        '⁹' => '9',
        '⁽' => '(',
        '⁾' => ')',
        c => c,
    }
}

fn note_letter(c: char) -> Option<Step> {
    c.is_ascii_uppercase().then(|| Step::from_char(c)).flatten()
}

/// A letter with its accidentals, one kind of them only (`C#b9` is C sharp with a flat nine).
fn read_note(text: &str) -> Option<(NoteName, &str)> {
    let mut chars = text.chars();
    let step = chars.next().and_then(note_letter)?;
    let rest = chars.as_str();
    let sign = chars.next();
    let after_one = chars.as_str();
    let (alter, rest) = match sign {
        Some('b' | '♭') => match chars.next() {
            Some('b' | '♭') => (-2, chars.as_str()),
            _ => (-1, after_one),
        },
        Some('#' | '♯' | '＃') => match chars.next() {
            Some('#' | '♯' | '＃') => (2, chars.as_str()),
            _ => (1, after_one),
        },
        Some('x' | '𝄪') => (2, after_one),
        Some('𝄫') => (-2, after_one),
        Some('♮') => (0, after_one),
        _ => (0, rest),
    };
    Some((NoteName::new(step, alter), rest))
}

fn read_root(text: &str) -> Result<(NoteName, &str), String> {
    let Some(first) = text.chars().next() else {
        return Err(
            "it is empty; write a root A to G and a quality, such as `Bbmaj7`, or `N.C.` for no \
             chord"
                .to_owned(),
        );
    };
    let Some((root, rest)) = read_note(text) else {
        let advice = match Step::from_char(first) {
            Some(_) => {
                let rest = text.get(first.len_utf8()..).unwrap_or_default();
                format!("write `{}{}`", first.to_ascii_uppercase(), clip(rest))
            }
            None => "write the root first, or `N.C.` for no chord".to_owned(),
        };
        return Err(format!(
            "it begins with `{first}`, and a chord begins with its root, an upper-case letter A \
             to G; {advice}"
        ));
    };
    if rest.starts_with(['b', '♭', '#', '♯']) && root.alter.abs() == 2 {
        return Err(format!(
            "its root has more than two accidentals; write an alteration in brackets, such as \
             `{root}(b5)`"
        ));
    }
    // `Ebb5` is E double flat or an altered E flat: both are possible, so neither is assumed.
    if root.alter.abs() == 2 && ["5", "9", "11", "13"].iter().any(|n| rest.starts_with(n)) {
        let one = NoteName::new(root.step, root.alter / 2);
        let sign = if root.alter < 0 { 'b' } else { '#' };
        return Err(format!(
            "it can be read with the root `{root}` and with the root `{one}`; write the \
             alteration in brackets, such as `{one}({sign}{rest})`"
        ));
    }
    Ok((root, rest))
}

/// Splits `/E` off. A slash before anything but a note letter (`6/9`) is no bass.
fn split_bass(tail: &str) -> Result<(&str, Option<NoteName>), String> {
    if tail.trim_end().ends_with('/') {
        return Err(
            "no bass note stands after its slash; write a letter A to G there, as in `C/E`, or \
             leave the slash out"
                .to_owned(),
        );
    }
    for (at, _) in tail.match_indices('/') {
        let (Some(head), Some(after)) = (tail.get(..at), tail.get(at + 1..)) else {
            continue;
        };
        let after = after.trim();
        let Some((bass, rest)) = read_note(after) else {
            let small = after.chars().next().filter(char::is_ascii_lowercase);
            if let Some(letter) = small.and_then(Step::from_char)
                && after
                    .chars()
                    .skip(1)
                    .all(|c| matches!(c, 'b' | '#' | '♭' | '♯'))
            {
                return Err(format!(
                    "its bass note `{after}` is in lower case; write a letter A to G, such as \
                     `/{letter:?}`"
                ));
            }
            continue;
        };
        if rest.is_empty() {
            return Ok((head, Some(bass)));
        }
        return Err(format!(
            "after its slash there stands `{after}`, and a bass note stands there alone, as in \
             `C/E`"
        ));
    }
    Ok((tail, None))
}

const fn is_bracket(c: char) -> bool {
    matches!(c, '(' | ')' | '[' | ']' | ',' | '/')
}

const fn is_decoration(c: char) -> bool {
    is_bracket(c) || c.is_whitespace()
}

fn at(chars: &[char], i: usize) -> Option<char> {
    chars.get(i).copied()
}

fn skip(chars: &[char], mut i: usize, what: impl Fn(char) -> bool) -> usize {
    while at(chars, i).is_some_and(&what) {
        i += 1;
    }
    i
}

/// Where a spelling of a quality that starts at `from` ends.
fn match_spelling(chars: &[char], from: usize, spelling: &[char]) -> Option<usize> {
    let mut i = from;
    for (n, &c) in spelling.iter().enumerate() {
        if c == ' ' {
            i = skip(chars, i, is_decoration);
            continue;
        }
        // `C maj7` and `C7 alt`, but not `C1 3`.
        if n > 0 && !c.is_ascii_digit() {
            i = skip(chars, i, char::is_whitespace);
        }
        if at(chars, i)? != c {
            return None;
        }
        i += 1;
    }
    Some(i)
}

/// Everything between root and bass. The error is the index of the first character that makes no
/// sense.
fn read_tail(chars: &[char]) -> Result<(DegreeSet, bool), usize> {
    let start = skip(chars, 0, char::is_whitespace);
    let mut ways: Vec<(usize, usize)> = VOCABULARY
        .spellings
        .iter()
        .filter_map(|s| match_spelling(chars, start, &s.chars).map(|end| (end, s.quality)))
        .collect();
    ways.sort_by_key(|&(end, quality)| (std::cmp::Reverse(end), quality));
    ways.dedup();
    let mut furthest = start;
    for (end, quality) in ways {
        let Some(quality) = VOCABULARY.qualities.get(quality) else {
            continue;
        };
        // Straight after the root, + and - are augmented and minor, never sharp and flat.
        if end == start && matches!(at(chars, start), Some('+' | '-')) {
            continue;
        }
        match read_changes(chars, end, DegreeSet::new(&quality.degrees)) {
            Ok(set) => return Ok((set, quality.altered)),
            Err(at) => furthest = furthest.max(at),
        }
    }
    Err(furthest)
}

/// A whole number of one digit, or of two beginning with 1.
fn read_number(chars: &[char], i: usize) -> Option<(u8, usize)> {
    let digit = |i| at(chars, i).and_then(|c| c.to_digit(10)).map(|d| d as u8);
    let first = digit(i)?;
    match (first, digit(i + 1)) {
        (1, Some(second)) => Some((10 + second, i + 2)),
        _ => Some((first, i + 1)),
    }
}

/// A word, whatever its case.
fn read_word(chars: &[char], i: usize, word: &str) -> Option<usize> {
    let mut end = i;
    for c in word.chars() {
        if !at(chars, end)?.eq_ignore_ascii_case(&c) {
            return None;
        }
        end += 1;
    }
    Some(end)
}

/// The sign before an altered degree: its semitones, and whether it is a natural sign.
fn read_sign(chars: &[char], i: usize) -> Option<(i8, usize)> {
    match at(chars, i)? {
        'b' if at(chars, i + 1) == Some('b') => Some((-2, i + 2)),
        'b' | '-' => Some((-1, i + 1)),
        '#' | '+' => Some((1, i + 1)),
        '♮' => Some((0, i + 1)),
        _ => None,
    }
}

/// What follows a quality: alterations, additions, omissions, suspensions, in any order.
fn read_changes(chars: &[char], from: usize, mut set: DegreeSet) -> Result<DegreeSet, usize> {
    let mut i = from;
    // A bare number counts only where it stands apart: after a bracket or another change.
    let mut apart = false;
    loop {
        let next = skip(chars, i, is_decoration);
        apart |= next > i;
        i = next;
        if i >= chars.len() {
            return Ok(set);
        }
        i = read_change(chars, i, apart, &mut set).ok_or(i)?;
        apart = true;
    }
}

/// One change; returns where it ends.
fn read_change(chars: &[char], i: usize, apart: bool, set: &mut DegreeSet) -> Option<usize> {
    if let Some(end) = read_word(chars, i, "add") {
        let end = skip(chars, end, char::is_whitespace);
        if let Some((alter, after)) = read_sign(chars, end) {
            let (degree, end) = read_altered(chars, alter, after)?;
            set.insert(degree);
            return Some(end);
        }
        return read_added(chars, end, set);
    }
    if let Some(end) = read_word(chars, i, "omit").or_else(|| read_word(chars, i, "no")) {
        let (number, end) = read_number(chars, skip(chars, end, char::is_whitespace))?;
        if !VOCABULARY.omitted.contains(&number) {
            return None;
        }
        set.remove_number(number);
        return read_word(chars, end, "rd")
            .or_else(|| read_word(chars, end, "th"))
            .or(Some(end));
    }
    if let Some(end) = read_word(chars, i, "sus") {
        let (number, end) = match at(chars, end) {
            Some('2') => (2, end + 1),
            Some('4') => (4, end + 1),
            _ => (4, end),
        };
        set.suspend(number);
        return Some(end);
    }
    if let Some(end) =
        read_word(chars, i, "aug").or_else(|| (at(chars, i)? == '+').then_some(i + 1))
        && !at(chars, end).is_some_and(|c| c.is_ascii_digit())
    {
        set.alter(Degree::new(5, 1));
        return Some(end);
    }
    if let Some((alter, after)) = read_sign(chars, i) {
        let (degree, end) = read_altered(chars, alter, after)?;
        match (degree.number, degree.alter) {
            (7, 0) if set.has(7, -1) => return None,
            (7, -1) if set.has(7, 0) => return None,
            _ => set.alter(degree),
        }
        return Some(end);
    }
    if let Some(end) = read_major_seventh(chars, i, set) {
        return Some(end);
    }
    // `C7(9,13)`, but `C6/4` is another kind of figure.
    let (number, _) = read_number(chars, i)?;
    if apart && number > 5 {
        return read_added(chars, i, set);
    }
    None
}

/// The degree an accidental and the number after it name.
fn read_altered(chars: &[char], alter: i8, i: usize) -> Option<(Degree, usize)> {
    let (number, end) = read_number(chars, i)?;
    let written = Degree::new(number, alter);
    if alter == 0 {
        return VOCABULARY.added.contains(&number).then_some((written, end));
    }
    if !VOCABULARY.altered.contains(&written) {
        return None;
    }
    // A sharp seventh is a minor one raised.
    let degree = if written == Degree::new(7, 1) {
        Degree::new(7, 0)
    } else {
        usual(written)
    };
    Some((degree, end))
}

/// An added number; a seventh is minor, and diminished over a diminished triad.
fn read_added(chars: &[char], i: usize, set: &mut DegreeSet) -> Option<usize> {
    let (number, end) = read_number(chars, i)?;
    if !VOCABULARY.added.contains(&number) {
        return None;
    }
    match number {
        7 if set.has_number(7) => {}
        7 if set.has(3, -1) && set.has(5, -1) => set.insert(Degree::new(7, -2)),
        7 => set.insert(Degree::new(7, -1)),
        3 | 5 if set.has_number(number) => {}
        n => set.insert(Degree::new(n, 0)),
    }
    Some(end)
}

/// `maj7` and its like after a triad or a diminished seventh: `Cdim(maj7)`.
fn read_major_seventh(chars: &[char], i: usize, set: &mut DegreeSet) -> Option<usize> {
    if set.has(7, -1) {
        return None;
    }
    for word in &VOCABULARY.major {
        let end = i + word.len();
        if chars.get(i..end) != Some(word.as_slice()) {
            continue;
        }
        let end = skip(chars, end, char::is_whitespace);
        if at(chars, end) == Some('7') {
            set.insert(Degree::new(7, 0));
            return Some(end + 1);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::chord::Family;
    use proptest::prelude::*;

    fn chord(text: &str) -> Chord {
        match parse(text) {
            Ok(Some(c)) => c,
            other => panic!("{text}: {other:?}"),
        }
    }

    fn degrees(text: &str) -> String {
        let all: Vec<String> = chord(text)
            .degrees
            .iter()
            .map(ToString::to_string)
            .collect();
        all.join(" ")
    }

    fn why(text: &str) -> String {
        parse(text).expect_err(text).to_string()
    }

    #[test]
    fn every_spelling_of_the_trade_is_read() {
        // Published: university list of jazz chord symbols; music21 10.5.1 and tonal 6.4.2 where
        // they agree; brackets, commas and the rest common practice, no source.
        let table = [
            ("C CM Cmaj Cma", "1 3 5"),
            ("Cm C- Cmin Cmi", "1 b3 5"),
            ("C+ Caug C(#5) C+5", "1 3 #5"),
            ("Cdim Co C° Cm(b5)", "1 b3 b5"),
            ("Csus Csus4 C(sus4)", "1 4 5"),
            ("Csus2 C2", "1 2 5"),
            ("C5 C(no3) Cno3 C(omit3) Comit3", "1 5"),
            ("C6 Cmaj6 CM6 Cadd6", "1 3 5 6"),
            ("C6/9 C69 C6(9) C6add9 C6(add9)", "1 3 5 6 9"),
            ("Cm6/9 Cm69 C-69 Cm6(9)", "1 b3 5 6 9"),
            ("Cm6 C-6 Cmin6", "1 b3 5 6"),
            (
                "Cmaj7 CM7 Cma7 CΔ CΔ7 C∆7 C^7 Cj7 CMA7 CMaj7 C7M",
                "1 3 5 7",
            ),
            ("Cmaj9 CΔ9", "1 3 5 7 9"),
            ("Cmaj13", "1 3 5 7 9 13"),
            ("Cmaj7#11 CΔ#11 Cmaj7(#11) CΔ♯11 CM7(+11)", "1 3 5 7 #11"),
            ("Cmaj7b5 CM7(b5)", "1 3 b5 7"),
            ("Cmaj7#5 C+M7 C+maj7 Caug(maj7)", "1 3 #5 7"),
            ("C7 Cdom7", "1 3 5 b7"),
            ("C9", "1 3 5 b7 9"),
            ("C13 C9(13)", "1 3 5 b7 9 13"),
            ("C7(9,13) C7[9,13] C7(13,9) C7(9/13)", "1 3 5 b7 9 13"),
            ("C11 C9sus4 C9sus Csus9", "1 4 5 b7 9"),
            ("C7sus4 C7sus Csus7 C7(sus4)", "1 4 5 b7"),
            ("C13sus4 C13sus", "1 4 5 b7 9 13"),
            ("C7susb9 C7b9sus Csus(b9) C7sus4b9 C7b9sus4", "1 4 5 b7 b9"),
            ("C7b9 C7(b9) C7-9 C7♭9 C7(-9)", "1 3 5 b7 b9"),
            ("C7#9 C7+9 C7(#9) C7(+9)", "1 3 5 b7 #9"),
            ("C13b9 C13(b9)", "1 3 5 b7 b9 13"),
            (
                "C7b9b13 C7(b9,b13) C7(b13b9) C7b13b9 C7(b9/b13)",
                "1 3 5 b7 b9 b13",
            ),
            ("C7b9#9", "1 3 5 b7 b9 #9"),
            ("C7b9#11 C7(#11,b9)", "1 3 5 b7 b9 #11"),
            ("C7#11 C7(+11) C7#4", "1 3 5 b7 #11"),
            ("C9#11 C9(#11)", "1 3 5 b7 9 #11"),
            ("C13#11", "1 3 5 b7 9 #11 13"),
            ("C7b13 C7(b13)", "1 3 5 b7 b13"),
            ("C7#5 C+7 C7+ Caug7 C7+5 C7aug", "1 3 #5 b7"),
            ("C7#5#9 C7#9#5 C+7#9 C7+#9 C7(#5,#9)", "1 3 #5 b7 #9"),
            ("C7b5 C7(b5) C7-5", "1 3 b5 b7"),
            ("C7alt Calt C7(alt) C7 alt", "1 3 b7"),
            ("Cm7 C-7 Cmin7 Cmi7 CMI7 Cm(7)", "1 b3 5 b7"),
            ("Cm9 C-9", "1 b3 5 b7 9"),
            ("Cm11", "1 b3 5 b7 9 11"),
            ("Cm13", "1 b3 5 b7 9 11 13"),
            (
                "Cm(maj7) CmM7 CmMaj7 C-Δ7 C-Δ Cm(#7) Cm/maj7 Cm(MA7)",
                "1 b3 5 7",
            ),
            ("Cm9(maj7) CmM9", "1 b3 5 7 9"),
            ("Cm7b5 C-7b5 Cø Cø7 Cm7(b5) CØ", "1 b3 b5 b7"),
            ("Cm9b5 Cø9", "1 b3 b5 b7 9"),
            ("Cdim7 C°7 Co7 C°(7) Cdim(bb7)", "1 b3 b5 bb7"),
            ("C°maj7 Cdim(maj7) CoM7", "1 b3 b5 7"),
            ("Cadd9 C(add9) C(9) Cadd2", "1 3 5 9"),
            ("Cmadd9 Cm(add9) Cm(9)", "1 b3 5 9"),
            ("C7add13 C7(13)", "1 3 5 b7 13"),
            ("Cm7(add11) Cm7add4 Cm7(11)", "1 b3 5 b7 11"),
            ("C7no5 C7omit5 C7(no 5th)", "1 3 b7"),
            ("Cmb6", "1 b3 5 b6"),
            ("Cm7(b13)", "1 b3 5 b7 b13"),
        ];
        for (symbols, expected) in table {
            // The one symbol of the table with a space in it, and one with words.
            let symbols = symbols
                .replace("C7 alt", "C7\u{a0}alt")
                .replace("(no 5th)", "(no\u{a0}5th)");
            for symbol in symbols.split(' ') {
                assert_eq!(degrees(symbol), expected, "{symbol}");
                let moved = format!("Eb{}", &symbol[1..]);
                assert_eq!(degrees(&moved), expected, "{moved}");
            }
        }
    }

    #[test]
    fn roots_take_their_accidentals_first() {
        let root = |text: &str| chord(text).root.to_string();
        assert_eq!(root("Bb7"), "Bb");
        assert_eq!(degrees("Bb7"), "1 3 5 b7");
        assert_eq!(degrees("Cb9"), "1 3 5 b7 9");
        assert_eq!(root("Cb9"), "Cb");
        assert_eq!(degrees("C(b9)"), "1 3 5 b9");
        assert_eq!(degrees("C#b9"), degrees("C#(b9)"));
        assert_eq!(root("C#b9"), "C#");
        assert_eq!(root("B♭♭m7"), "Bbb");
        assert_eq!(root("F♯ø"), "F#");
    }

    #[test]
    fn slashes_are_basses_only_before_note_letters() {
        let c = chord("Gm7/C");
        assert_eq!(c.bass, Some(NoteName::new(Step::C, 0)));
        assert_eq!(degrees("Gm7/C"), "1 b3 5 b7");
        assert_eq!(degrees("Bb/C"), "1 3 5");
        assert_eq!(chord("C7/B♭").text, "C7/Bb");
        assert_eq!(chord("C7 / E").text, "C7/E");
        assert_eq!(chord("C6/9").bass, None);
        assert_eq!(degrees("C6/9/E"), "1 3 5 6 9");
        assert_eq!(chord("C6/9/E").bass, Some(NoteName::new(Step::E, 0)));
        assert_eq!(chord("D/C").bass, Some(NoteName::new(Step::C, 0)));
    }

    #[test]
    fn no_chord_in_its_spellings() {
        for text in ["N.C.", "NC", "n.c.", "no chord", "No Chord", " N. C. "] {
            assert_eq!(parse(text), Ok(None), "{text}");
        }
    }

    #[test]
    fn alt_is_a_family_of_its_own() {
        for text in ["C7alt", "Calt", "C7(alt)"] {
            assert!(chord(text).altered, "{text}");
            assert_eq!(chord(text).family(), Family::Altered);
        }
        assert!(!chord("C7").altered);
        assert_eq!(chord("C11").family(), Family::DominantSuspended);
        assert_eq!(chord("Co7(maj7)").family(), Family::DiminishedMajor);
    }

    #[test]
    fn the_text_stays_as_typed() {
        assert_eq!(chord(" B♭maj7(♯11) ").text, "Bbmaj7(♯11)");
        assert_eq!(chord("F♯ø/E").text, "F#ø/E");
    }

    #[test]
    fn errors_say_from_where_on() {
        assert_eq!(
            why("C7xyz"),
            "`C7xyz` is not a chord symbol: after `C7` there stands `xyz`, which is no alteration \
             or tension; write alterations as in `C7(b9,#11)`, added notes as in `Cadd9`"
        );
        assert!(why("Cxyz").contains("after the root `C##` there stands `yz`"));
        assert!(why("Bbquiet").contains("after the root `Bb` there stands `quiet`"));
        assert!(why("am7").contains("write `Am7`"));
        assert!(why("H7").contains("begins with `H`"));
        assert!(why("").contains("empty"));
        assert!(why("C/").contains("no bass note"));
        assert!(why("C/E7").contains("`E7`"));
        assert!(why("C/e").contains("bass note `e` is in lower case"));
        assert!(why("Ebb9").contains("`Eb(b9)`"));
        assert!(why("Cbbbm").contains("more than two accidentals"));
        assert!(why(&"C7b9".repeat(99)).contains("longer than"));
    }

    #[test]
    fn what_could_mean_two_things_or_none_is_refused() {
        for text in [
            "C7b2b",
            "C7b11",
            "C7#13",
            "C+11",
            "C6/4",
            "C7913",
            "C-5",
            "C7(maj7)",
            "Cmaj7b7",
            "C(no1)",
            "C7add",
            "Cno",
            "C7-",
            "C15",
            "C%",
            "/",
            "-7",
            "Cmaj7\u{0}",
            "C7b",
            "Cadd15",
        ] {
            assert!(parse(text).is_err(), "{text}: {:?}", parse(text));
        }
    }

    proptest! {
        #[test]
        fn nothing_panics(text in "\\PC{0,40}") {
            let _ = parse(&text);
        }

        #[test]
        fn nothing_near_a_symbol_panics(
            text in "[A-G][b#♭♯]{0,2}[mMajdimsu+o°øΔ()0-9b#♭♯/,\\-A-G ]{0,20}"
        ) {
            if let Ok(Some(c)) = parse(&text) {
                prop_assert_eq!(c.degrees.first(), Some(&Degree::new(1, 0)));
                prop_assert!(c.degrees.windows(2).all(|w| w[0] < w[1]));
                // What was read can be read again, and says the same.
                let again = parse(&c.text).expect("printed text").expect("a chord");
                prop_assert_eq!(again.degrees, c.degrees);
                prop_assert_eq!((again.root, again.bass), (c.root, c.bass));
            }
        }
    }
}
