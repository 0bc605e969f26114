use crate::condition::Scope;
use crate::house_style::{StyleError, print, read, read_text};
use crate::report::text;
use crate::style::Style;
use codespan_reporting::term::termcolor::Buffer;
use std::path::Path;

fn said(error: &StyleError) -> String {
    let mut out = Buffer::no_color();
    for mistake in &error.mistakes {
        text::render_error(mistake, &mut out, text::Options::default()).unwrap();
    }
    String::from_utf8(out.into_inner()).unwrap()
}

fn style(text: &str) -> Result<Style, StyleError> {
    read_text(Path::new("chartproof.toml"), text)
}

/// The style itself is too large to be shown.
fn refused(text: &str) -> StyleError {
    match style(text) {
        Ok(_) => panic!("nothing is wrong with it\n{text}"),
        Err(error) => error,
    }
}

fn rule(scope: &str, when: &str, message: &str) -> String {
    format!(
        "[[rule]]\nname = \"my-rule\"\nscope = \"{scope}\"\nwhen = \"{when}\"\nmessage = \"{message}\"\n"
    )
}

fn note(when: &str) -> String {
    rule("note", when, "{part} has {written}")
}

macro_rules! bad {
    ($($name:ident: $text:expr;)*) => {$(
        #[test]
        fn $name() {
            let text = $text;
            let error = refused(&text);
            assert!(error.mistakes.iter().all(|m| m.at.is_some() && m.help.is_some()));
            insta::assert_snapshot!(stringify!($name), said(&error));
        }
    )*};
}

bad! {
    unknown_name: note("instrumnet == 'trumpet'");
    unknown_name_far_from_all: note("part == Trumpet");
    name_of_another_scope: note("span > 12");
    name_of_a_note_in_a_step: rule("line step", "written > pitch('A5')", "{part}");
    unknown_member: rule("line step", "from.writen > pitch('A5')", "{part}");
    step_name_behind_a_dot: rule("line step", "to.interval > 12", "{part}");
    dot_behind_a_pitch: note("written.name == 'A5'");
    unknown_function: note("picth('A5') < written");
    value_as_function: note("written() > pitch('A5')");
    text_for_a_pitch: note("written > 'A5'");
    bare_pitch: note("written > A5");
    bare_sharp: note("written > F#5");
    bad_pitch: note("written > pitch('H5')");
    pitch_without_quotes: note("written > pitch(A5)");
    quoted_dynamic: note("dynamic < 'f'");
    dynamic_by_number: note("dynamic < 4");
    quoted_number: note("seat == '1'");
    number_for_a_text: note("part == 5");
    not_a_condition: note("written");
    not_a_condition_in_and: note("tied && written");
    order_of_texts: note("degree > '5'");
    three_in_one_go: note("1 < seat < 4");
    unclosed_bracket: note("(written > pitch('A5') && tied");
    bracket_never_opened: note("written > pitch('A5'))");
    wrong_bracket: note("degree in ['1', '5')");
    single_equals: note("instrument = 'trumpet'");
    single_ampersand: note("tied & slurred");
    equals_turned: note("seat => 2");
    word_and: note("tied and slurred");
    word_or: note("tied or slurred");
    word_not: note("not tied");
    word_is: note("instrument is 'trumpet'");
    unquoted_text: note("part == Trumpet 1");
    quote_not_closed: note("part == 'Trumpet 1");
    typographic_quotes: note("part == \u{2018}Trumpet 1\u{2019}");
    breaks_off: note("written >");
    two_signs: note("written > == 5");
    nothing_between: note("tied (slurred)");
    decimal_comma: note("beat == 2,5");
    empty_condition: note("  ");
    unknown_instrument: note("instrument == 'didgeribone'");
    unknown_section: note("section == 'trumbones'");
    unknown_technique: rule("sonority", "technique == 'dorp 2'", "{lead}");
    unknown_articulation: note("'acent' in articulations");
    unknown_degree: note("degree == 'b15'");
    unknown_player: rule("sonority", "sounding['didgeribone 1'] > lead", "{lead}");
    player_without_quotes: rule("sonority", "sounding[2] > lead", "{lead}");
    player_not_named: rule("sonority", "sounding > lead", "{lead}");
    list_compared: rule("sonority", "voices == lead", "{lead}");
    list_from_one: rule("sonority", "voices[-1] > lead", "{lead}");
    not_a_list: note("written.exists(w, w > 3)");
    in_a_text: note("'Trumpet' in part");
    sum_of_kinds: note("written + part == 5");
    divided_by_zero: note("bar / 0 == 1");
    has_something: rule("line step", "has(from.chord)", "{part}");
    null_value: note("chord == null");
    too_large_a_number: note("bar > 99999999999999999999");
    one_answer: note("tied ? true");
    nested_too_deep: note("((((((((((((((tied))))))))))))))");
    unknown_scope: rule("chord", "tied", "{part}");
    missing_when: "[[rule]]\nname = \"my-rule\"\nscope = \"note\"\nmessage = \"{part}\"\n".to_owned();
    missing_all: "[[rule]]\n".to_owned();
    one_bracket: "[rule]\nname = \"my-rule\"\n".to_owned();
    unknown_key: format!("{}wehn = \"tied\"\n", note("tied"));
    placeholder_unknown: rule("note", "tied", "{part} holds {writen}");
    placeholder_unclosed: rule("note", "tied", "{part holds it");
    placeholder_empty: rule("note", "tied", "{} holds it");
    placeholder_closed_twice: rule("note", "tied", "part} holds it");
    placeholder_note: rule("line step", "interval > 12", "{part} leaps from {from}");
    name_of_the_programs: note("tied").replace("my-rule", "wide-gap");
    name_twice: format!("{}{}", note("tied"), note("slurred"));
    name_with_spaces: note("tied").replace("my-rule", "High and soft!");
    bad_level_of_rule: format!("{}level = \"loud\"\n", note("tied"));
    fix_in_a_bar: format!("{}fix = \"octave up\"\n", rule("bar", "notes > 9", "{notes}"));
    fix_without_voice: format!("{}fix = \"octave up\"\n", rule("sonority", "span > 9", "{span}"));
    fix_unknown: format!("{}fix = \"octave sideways\"\n", note("tied"));
    fix_no_degree: format!("{}fix = [\"octave up\", \"higher\"]\n", note("tied"));
    voice_in_a_note: format!("{}voice = \"lead\"\n", note("tied"));
    voice_unknown: format!("{}voice = \"botom\"\n", rule("sonority", "span > 9", "{span}"));
    own_rule_misspelt_in_levels: format!("{}[levels]\nmy-rul = \"off\"\n", note("tied"));
    own_rule_in_settings: format!("{}[settings.my-rule]\nbars = 4\n", note("tied"));
    many_at_once: format!("{}{}", rule("note", "instrumnet == 'trumpet' && written > 'A5'", "{prat}"), rule("bar", "notes > 'many' || tied", "{notes}").replace("my-rule", "wide-gap"));
}

#[test]
fn a_mistake_is_found_in_every_kind_of_quotation_marks() {
    for (quoted, line, column) in [
        ("\"tied && wirtten > 3\"", 4, 17),
        ("'tied && wirtten > 3'", 4, 17),
        ("'''tied && wirtten > 3'''", 4, 19),
        ("'''\ntied\n  && wirtten > 3'''", 6, 6),
        ("\"\"\"\ntied && \\\n   wirtten > 3\"\"\"", 6, 4),
        ("\"part == \\\"\u{fc}\\u00fc\\\" && wirtten > 3\"", 4, 32),
    ] {
        let text = format!(
            "[[rule]]\nname = \"my-rule\"\nscope = \"note\"\nwhen = {quoted}\nmessage = \"x\"\n"
        );
        let error = refused(&text);
        assert_eq!(error.mistakes.len(), 1, "{quoted}");
        let mistake = &error.mistakes[0];
        assert_eq!(mistake.line_column(), Some((line, column)), "{quoted}");
        let at = mistake.at.clone().unwrap();
        assert_eq!(&text[at], "wirtten", "{quoted}");
        assert_eq!(mistake.help.as_deref(), Some("did you mean `written`?"));
    }
}

#[test]
fn a_mistake_in_a_message_is_found_at_its_word() {
    let text = rule("note", "tied", "{{x}} {part}: {1 + saet}");
    let error = refused(&text);
    let mistake = &error.mistakes[0];
    assert_eq!(&text[mistake.at.clone().unwrap()], "saet");
}

#[test]
fn what_musicians_write_is_read() {
    for (scope, when) in [
        ("note", "instrument == 'Tpt.' || instrument == 'alto sax'"),
        ("note", "duration > 1 && beat in [1, 2.5]"),
        ("note", "degree in ['1', 'b3'] && !chord_note"),
        (
            "note",
            "part.startsWith('Alto') && size(articulations) == 0",
        ),
        ("note", "key < -3 && (tied || slurred) && f <= dynamic"),
        (
            "note",
            "(written - pitch('C4')) % 12 == 0 && seat * 2 + 1 > 4",
        ),
        ("note", "tied ? duration > 4 : duration > 2"),
        (
            "sonority",
            "gaps.exists(g, g > 9) && voices.all(v, v < pitch('C6'))",
        ),
        ("sonority", "size(gaps.filter(g, g == 1)) > 1"),
        (
            "sonority",
            "'trumpet 1' in sounding && written['trumpet 1'] > pitch('A5')",
        ),
        (
            "sonority",
            "voices[0] - voices[1] > 12 && section == 'sax section'",
        ),
        (
            "sonority",
            "technique == 'four way close' && lead != bottom",
        ),
        (
            "line step",
            "abs(interval) > 12 && from.is_lead && to.dynamic >= from.dynamic",
        ),
        (
            "bar",
            "playing == players && notes / players > 8 && mark_here",
        ),
        ("part", "longest > 32 && highest - lowest > 24"),
    ] {
        let text = rule(scope, when, "here");
        if let Err(error) = style(&text) {
            panic!("{when}\n{}", said(&error));
        }
    }
}

#[test]
fn rules_are_inherited_replaced_and_switched_off() {
    let folder = tempfile::tempdir().unwrap();
    let base = folder.path().join("base.toml");
    std::fs::write(
        &base,
        format!("{}[levels]\nmy-rule = \"note\"\n", note("tied")),
    )
    .unwrap();
    let inheriting = |text: &str| read_text(&folder.path().join("chartproof.toml"), text).unwrap();
    let level = |style: &Style| {
        style
            .level(style.own[0].name, style.own[0].level)
            .map(crate::style::Level::word)
    };
    let inherited = inheriting("extends = \"./base.toml\"\n");
    assert_eq!(level(&inherited), Some("note"));
    let off = inheriting("extends = \"./base.toml\"\n[levels]\nmy-rule = \"off\"\n");
    assert_eq!(level(&off), None);
    let replaced = inheriting(&format!("extends = \"./base.toml\"\n{}", note("slurred")));
    assert_eq!(replaced.own.len(), 1);
    assert_eq!(replaced.own[0].when, "slurred");
    assert_eq!(level(&replaced), Some("warning"));
}

#[test]
fn a_printed_style_has_the_same_rules() {
    for file in ["school-band.toml", "publisher.toml"] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("sample-parts/house-styles")
            .join(file);
        let style = read(&path).unwrap_or_else(|e| panic!("{}", said(&e)));
        assert!(style.own.len() >= 3);
        let printed = print(&style);
        let again = read_text(&path, &printed).unwrap_or_else(|e| panic!("{}", said(&e)));
        assert_eq!(again.own.len(), style.own.len());
        for (a, b) in again.own.iter().zip(&style.own) {
            assert_eq!(
                (
                    a.name,
                    a.scope,
                    &a.condition,
                    &a.message,
                    &a.why,
                    &a.voice,
                    &a.fix
                ),
                (
                    b.name,
                    b.scope,
                    &b.condition,
                    &b.message,
                    &b.why,
                    &b.voice,
                    &b.fix
                ),
            );
            assert_eq!(again.level(a.name, a.level), style.level(b.name, b.level));
        }
    }
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(300))]

    /// Whatever stands in a condition, it is read or refused with a place inside the file.
    #[test]
    fn no_condition_breaks_the_reader(words in proptest::collection::vec(
        proptest::sample::select(vec![
            "written", "part", "from", "voices", "gaps", "sounding", "(", ")", "[", "]", "{", "}",
            "&&", "||", "==", "!=", "=", "!", "<", ">=", "-", "+", "%", "1", "2.5", "'t'", "'",
            "?", ":", ",", ".", "pitch('A5')", "exists(x,", "in", "has(", "true", "null", "ß", "f",
            "size(", "map(x, x)", "`", "x", "#", "abs(", "filter(x, x == 1)", "u", "0x1F", "1u",
        ]), 1..18), scope in 0usize..5) {
        let (scope, _) = Scope::WORDS[scope];
        let text = format!(
            "[[rule]]\nname = \"my-rule\"\nscope = \"{scope}\"\nwhen = '''{}'''\nmessage = \"x\"\n",
            words.join(" ").replace("'''", "' ' '")
        );
        if let Err(error) = style(&text) {
            for mistake in &error.mistakes {
                let at = mistake.at.clone().unwrap();
                proptest::prop_assert!(at.end <= text.len() && at.start < at.end);
                proptest::prop_assert!(text.is_char_boundary(at.start) && text.is_char_boundary(at.end));
            }
        }
    }
}
