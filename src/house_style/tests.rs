use super::load::SHIPPED;
use super::*;
use crate::proof::proof;
use crate::reading::grid;
use crate::report::text;
use crate::rules::ALL;
use crate::score::Score;
use crate::style::{Gate, Level, Origin, Style};
use codespan_reporting::term::termcolor::Buffer;
use std::path::{Path, PathBuf};

fn score(text: &str) -> Score {
    grid::read(Path::new("quay.passage"), text.into()).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

/// What a person is shown of a bad house style.
fn said(error: &StyleError) -> String {
    let mut out = Buffer::no_color();
    for mistake in &error.mistakes {
        text::render_error(mistake, &mut out, text::Options::default()).unwrap();
    }
    String::from_utf8(out.into_inner()).unwrap()
}

fn read(text: &str) -> Style {
    read_text(Path::new("chartproof.toml"), text).unwrap_or_else(|e| panic!("{}\n{text}", said(&e)))
}

macro_rules! bad {
    ($($name:ident: $text:expr;)*) => {$(
        #[test]
        fn $name() {
            let error = read_text(Path::new("chartproof.toml"), $text).unwrap_err();
            assert!(error.mistakes.iter().all(|m| m.at.is_some() && m.help.is_some()));
            insta::assert_snapshot!(stringify!($name), said(&error));
        }
    )*};
}

bad! {
    bad_name: "abuot = \"Our charts\"\n";
    bad_name_far_from_all: "zzz = 1\n";
    bad_style_to_extend: "extends = \"charts\"\n";
    bad_file_to_extend: "extends = \"../house.toml\"\n";
    bad_extends_itself: "extends = \"chartproof.toml\"\n";
    bad_rule: "[levels]\nwide-gaps = \"error\"\n";
    bad_rule_by_part_of_its_name: "[levels]\ndiminished = \"error\"\n";
    bad_level: "[levels]\nwide-gap = \"eror\"\n";
    bad_level_number: "[levels]\nwide-gap = 2\n";
    bad_flag: "only-diminished = \"yes\"\n";
    bad_underscore: "only_diminished = true\n";
    bad_technique: "technique = \"dorp 2\"\n";
    bad_gate: "gate = \"high\"\n";
    bad_grade: "grade = 9\n";
    bad_setting: "[settings.wide-gap]\nsemitons = 14\n";
    bad_setting_of_a_rule_without: "[settings.wrong-note]\nsemitones = 14\n";
    bad_setting_value: "[settings.wide-gap]\nsemitones = \"an octave\"\n";
    bad_settings_not_grouped: "[settings]\nwide-gap = 14\n";
    bad_part_without_name: "[[part]]\ninstrument = \"alto saxophone\"\n";
    bad_part_says_nothing: "[[part]]\nname = \"Reed 1\"\n";
    bad_instrument: "[[part]]\nname = \"Reed 1\"\ninstrument = \"didgeribone\"\n";
    bad_section: "[[part]]\nname = \"Reed 1\"\nsection = \"trumpetts\"\n";
    bad_bars: "[[passage]]\ntechnique = \"spread\"\nbars = \"letter B\"\n";
    bad_bars_backwards: "[[passage]]\ntechnique = \"spread\"\nbars = \"32-17\"\n";
    bad_accepted_without_reason: "[[accepted]]\nrule = \"minor-ninth\"\nbars = \"5\"\n";
    bad_accepted_one_bracket: "[accepted]\nrule = \"minor-ninth\"\nreason = \"meant\"\n";
    bad_files_list: "[[score]]\nfiles = []\n";
    bad_absolute_file: "[[score]]\nfiles = [\"/srv/parts/*.mxl\"]\n";
    bad_range: "[[instrument]]\nkey = \"trumpet\"\nprofessional = [\"F#3\", \"H6\"]\n";
    bad_range_upside_down: "[[instrument]]\nkey = \"trumpet\"\nprofessional = [\"C6\", \"F#3\"]\n";
    bad_new_instrument: "[[instrument]]\nkey = \"trompet\"\nname = \"trompet\"\n";
    bad_instrument_name: "[[instrument]]\nkey = \"trumpet\"\nproffessional = [\"F#3\", \"C6\"]\n";
    bad_instrument_kind: "[[instrument]]\nkey = \"trumpet\"\nclefs = \"G\"\n";
    bad_seat: "[[section]]\nkey = \"saxes\"\nseats = [[\"alto-saxophone\", \"tenor-sax\"]]\n";
    bad_no_quotes: "about = Our charts\n";
    bad_colon: "about: \"Our charts\"\n";
    bad_quote_not_closed: "about = \"Our charts\ngate = \"note\"\n";
    bad_heading: "[levels\nwide-gap = \"error\"\n";
    bad_no_value: "gate =\n";
    bad_twice: "gate = \"note\"\ngate = \"error\"\n";
    bad_prose: "Our house style for all charts\n";
    bad_list_not_closed: "[[score]]\nfiles = [\"a.mxl\", \"b.mxl\"\n";
    bad_many_at_once: "abuot = \"x\"\ngate = \"high\"\n\n[levels]\nwide-gaps = \"error\"\nminor-ninth = \"loud\"\n";
}

#[test]
fn every_shipped_style_loads_and_names_only_real_rules() {
    for name in shipped_names() {
        let style = shipped(name).unwrap();
        assert!(!style.about.is_empty());
        assert_eq!(style.name, name);
    }
    assert!(shipped("homework").unwrap().only_diminished);
    assert_eq!(shipped("nonsense"), None);
}

#[test]
fn the_style_chart_changes_nothing() {
    let mut chart = shipped("chart").unwrap();
    assert_eq!(chart.origin("about"), Origin::Shipped("chart".to_owned()));
    chart.about.clear();
    chart.origins.clear();
    assert_eq!(chart, Style::default());
}

#[test]
fn a_style_says_only_what_it_changes() {
    let style = read(
        "extends = \"choir\"\ngate = \"note\"\n[levels]\nwide-gap = \"off\"\n\
         [settings.wide-gap]\nsemitones = 14\n",
    );
    assert!(style.counterpoint);
    assert_eq!(style.levels["wide-gap"], None);
    assert_eq!(style.levels["voice-crossing"], Some(Level::Error));
    assert_eq!(style.setting("wide-gap", "semitones"), Some(14.0));
    assert_eq!(style.gate, Some(Gate::At(Level::Note)));
    assert_eq!(
        style.origin("levels.voice-crossing"),
        Origin::Shipped("choir".to_owned())
    );
    let here = Origin::File {
        path: PathBuf::from("chartproof.toml"),
        line: 6,
    };
    assert_eq!(style.origin("settings.wide-gap.semitones"), here);
    assert_eq!(style.origin("levels.low-interval"), Origin::Rule);
}

#[test]
fn a_grade_holds_for_every_rule_that_asks_for_one() {
    let style = read("grade = 3\n[settings.wide-gap]\nsemitones = 14\n");
    assert_eq!(style.setting("any-rule", "grade"), Some(3.0));
    assert_eq!(style.setting("any-rule", "bars"), None);
}

#[test]
fn files_extend_files_and_their_mistakes_are_reported_as_theirs() {
    let dir = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(dir.path().join(name), text).unwrap();
    write(
        "house.toml",
        "extends = \"homework\"\n[levels]\nwide-gap = \"error\"\nlow-interval = \"off\"\n",
    );
    write(
        "band.toml",
        "extends = \"house.toml\"\n[levels]\nlow-interval = \"note\"\n",
    );
    let style = super::read(&dir.path().join("band.toml")).unwrap();
    assert!(style.only_diminished);
    assert_eq!(style.shipped, "homework");
    assert_eq!(style.levels["wide-gap"], Some(Level::Error));
    assert_eq!(style.levels["low-interval"], Some(Level::Note));
    write("house.toml", "extends = \"band.toml\"\n");
    let error = super::read(&dir.path().join("band.toml")).unwrap_err();
    assert!(error.mistakes[0].path.ends_with("house.toml"), "{error}");
    assert!(error.to_string().contains("in turn"), "{error}");
}

/// Everything a house style can say.
const FULL: &str = r#"extends = "homework"
about = "Our charts"
gate = "warning"
grade = 4
technique = "drop 3"
counterpoint = true

[levels]
wide-gap = "off"
minor-ninth = "error"

[settings.wide-gap]
semitones = 15

[[part]]
name = "Reed 1*"
instrument = "alto saxophone"
section = "saxes"
seat = 1

[[passage]]
technique = "spread"
section = "saxophones"
bars = "17-32, 40"
file = "waltz*.mxl"

[[passage]]
technique = "free"

[[score]]
title = "Ferry \"at\" Six"
files = ["parts/*.musicxml"]

[[accepted]]
rule = "low-interval"
reason = "The tuba wants it."
file = "waltz.mxl"
bars = "3"
parts = ["Bone*"]

[[instrument]]
key = "trumpet"
professional = ["F#3", "D6"]

[[instrument]]
key = "slide-horn"
name = "slide horn"
label = "slide horn"
section = "trombones"
family = "brass"
transpose = { diatonic = 0, chromatic = 0, octave = 0 }
clefs = ["F"]
single_line = true
professional = ["E2", "F4"]
names = ["slide horn", "schuifhoorn"]

[[section]]
key = "strings"
name = "our strings"
aliases = ["fiddles"]
chordal = false
rhythm = false
"#;

/// Without what differs by the file it was read from.
fn bare(mut style: Style) -> Style {
    style.origins.clear();
    style.name.clear();
    style.changes.clear();
    let origins = style
        .parts
        .iter_mut()
        .map(|p| &mut p.origin)
        .chain(style.stretches.iter_mut().map(|s| &mut s.origin))
        .chain(style.sets.iter_mut().map(|s| &mut s.origin))
        .chain(style.accepted.iter_mut().map(|a| &mut a.origin));
    for origin in origins {
        *origin = Origin::Rule;
    }
    for rule in ALL {
        let level = rule.level_in(&style);
        style.levels.insert(rule.name.to_owned(), level);
        for setting in rule.settings {
            let number = style
                .setting(rule.name, setting.name)
                .unwrap_or(setting.default);
            style
                .settings
                .entry(rule.name.to_owned())
                .or_default()
                .insert(setting.name.to_owned(), number);
        }
    }
    style
}

#[test]
fn the_printed_style_says_the_same_when_it_is_read() {
    let mut all: Vec<Style> = shipped_names().filter_map(shipped).collect();
    all.push(read(FULL));
    all.push(read(
        "[[instrument]]\nkey = \"trumpet\"\nprofessional = [\"F#3\", \"B5\"]\n",
    ));
    for style in all {
        let printed = print(&style);
        let again = read(&printed);
        assert_eq!(bare(again), bare(style), "{printed}");
    }
}

#[test]
fn the_printed_style_is_for_people() {
    insta::with_settings!({filters => vec![(r"(?m)^# \d+ instruments in \d+ ", "# N instruments in N ")]}, {
        let printed = print(&read(FULL));
        // The rules grow; what is said of two of them shows how it looks.
        let some: Vec<&str> = printed
            .split_inclusive("\n\n")
            .filter(|block| !block.starts_with("[settings.") || block.contains("[settings.wide-gap]"))
            .flat_map(str::lines)
            .scan(false, |levels, line| {
                match line {
                    "[levels]" => *levels = true,
                    "" => *levels = false,
                    _ => {}
                }
                Some((*levels, line))
            })
            .filter(|(levels, line)| !levels || line.contains("gap") || line.contains("[levels]") || line.contains("octave apart"))
            .map(|(_, line)| line)
            .collect();
        insta::assert_snapshot!("printed", some.join("\n"));
    });
}

#[test]
fn every_style_and_its_print_are_valid_by_the_schema() {
    let validator = jsonschema::validator_for(&schema()).unwrap();
    let json = |text: &str| -> serde_json::Value {
        let table: toml::Table = toml::from_str(text).unwrap();
        serde_json::to_value(table).unwrap()
    };
    let mut all: Vec<String> = SHIPPED.iter().map(|(_, text)| (*text).to_owned()).collect();
    all.push(FULL.to_owned());
    all.push(print(&read(FULL)));
    all.push(print(&shipped("chart").unwrap()));
    all.extend(samples().into_iter().map(|(_, text)| text));
    for text in all {
        let errors: Vec<String> = validator
            .iter_errors(&json(&text))
            .map(|e| format!("{}: {e}", e.instance_path()))
            .collect();
        assert_eq!(errors, [""; 0], "{text}");
    }
    for bad in [
        "abuot = \"x\"",
        "grade = 9",
        "gate = \"high\"",
        "[levels]\nwide-gap = \"eror\"",
        "[settings.wide-gap]\nsemitons = 1",
        "[[accepted]]\nrule = \"minor-ninth\"",
        "[[passage]]\ntechnique = \"spread\"\nbars = \"B\"",
        "extends = \"charts\"",
        "[[instrument]]\nprofessional = [\"C4\", \"C5\"]",
    ] {
        assert!(!validator.is_valid(&json(bad)), "{bad}");
    }
}

/// The house styles that come as samples.
fn samples() -> Vec<(PathBuf, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parts/house-styles");
    let mut all: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    all.sort();
    all.into_iter()
        .map(|p| (p.clone(), std::fs::read_to_string(p).unwrap()))
        .collect()
}

#[test]
fn every_sample_style_loads() {
    let samples = samples();
    assert!(samples.len() >= 2);
    for (path, _) in samples {
        let style = super::read(&path).unwrap_or_else(|e| panic!("{}", said(&e)));
        assert!(!style.about.is_empty(), "{}", path.display());
    }
}

const RUB: &str = "meter: 4/4
section: saxes
technique: four-way close
parts: alto 1 = alto saxophone
       alto 2 = alto saxophone
       tenor 1 = tenor saxophone
       tenor 2 = tenor saxophone

chord   | F6 -  -  |
count   | 1  2  3  |
alto 1  | C5 A4 C5 |
alto 2  | A4 F4 A4 |
tenor 1 | F4 Eb4 F4 |
tenor 2 | D4 C4 D4 |
";

#[test]
fn accepted_findings_are_gone_and_counted_in_a_line() {
    let score = score(RUB);
    let rule = proof(&score, &Style::default()).findings[0].rule;
    let accept = |more: &str| {
        let text = format!("[[accepted]]\nrule = \"{rule}\"\nreason = \"It is meant.\"\n{more}");
        proof(&score, &read(&text))
    };
    let all = accept("");
    assert_eq!(all.findings, []);
    assert!(
        all.remarks.iter().any(|r| r.contains("1 finding accepted")
            && r.contains("chartproof.toml:1")
            && r.contains("It is meant.")),
        "{:?}",
        all.remarks
    );
    assert_eq!(accept("bars = \"1\"").findings, []);
    assert_eq!(accept("parts = [\"Tenor *\"]").findings, []);
    assert_eq!(accept("bars = \"2-9\"").findings.len(), 1);
    assert_eq!(accept("parts = [\"alto *\"]").findings.len(), 1);
    let elsewhere = accept("file = \"other.passage\"");
    assert_eq!(elsewhere.findings.len(), 1);
    assert_eq!(elsewhere.remarks.len(), 0);
}

#[test]
fn a_stretch_states_its_technique_before_the_words_of_the_passage() {
    let score = score(RUB);
    let free = read("[[passage]]\ntechnique = \"free\"\nsection = \"saxes\"\nbars = \"1\"\n");
    let force = |style: &Style| {
        let passages = crate::diagnosis::passages(&score, style);
        passages[0].in_force[0].map(|f| f.technique.name())
    };
    assert_eq!(force(&Style::default()), Some("four-way close"));
    assert_eq!(force(&free), None);
    let drop = read("[[passage]]\ntechnique = \"drop 2\"\n");
    assert_eq!(force(&drop), Some("drop 2"));
    let elsewhere = read("[[passage]]\ntechnique = \"drop 2\"\nbars = \"2\"\n");
    assert_eq!(force(&elsewhere), Some("four-way close"));
    let trumpets = read("[[passage]]\ntechnique = \"drop 2\"\nsection = \"trumpets\"\n");
    assert_eq!(force(&trumpets), Some("four-way close"));
}

#[test]
fn a_passage_that_is_free_is_held_to_no_technique() {
    let force = |said: &str| {
        let score = score(&RUB.replace("technique: four-way close\n", said));
        let passages = crate::diagnosis::passages(&score, &Style::default());
        passages[0].in_force[0].map(|f| f.technique.name())
    };
    assert_eq!(force(""), Some("four-way close"), "it is inferred");
    assert_eq!(
        force("technique: -\n"),
        Some("four-way close"),
        "nothing is said"
    );
    assert_eq!(force("technique: free\n"), None);
    assert_eq!(force("technique: None\n"), None);
}

#[test]
fn parts_are_what_the_house_calls_them() {
    let text = "meter: 4/4\n\ncount   | 1  |\nReed 1 | C5 |\nReed 2 | A4 |\nOdd | F4 |\n";
    let mut score = score(text);
    let style = read(
        "[[part]]\nname = \"reed 2\"\ninstrument = \"tenor saxophone\"\nsection = \"trumpets\"\nseat = 1\n\
         [[part]]\nname = \"Reed*\"\ninstrument = \"alto-saxophone\"\nseat = 3\n\
         [[part]]\nname = \"Odd\"\nsection = \"trumpets\"\nseat = 2\n",
    );
    style.prepare(&mut score);
    let sections = crate::sonority::sections(&score);
    let found: Vec<String> = sections
        .iter()
        .flat_map(|s| {
            s.parts.iter().map(|p| {
                format!(
                    "{} {} {:?} {:?}",
                    s.name,
                    score.parts[p.part as usize].name,
                    p.instrument.map(|i| i.key.as_str()),
                    p.seat
                )
            })
        })
        .collect();
    assert_eq!(
        found,
        [
            "saxes Reed 1 Some(\"alto-saxophone\") Some(3)",
            "trumpets Reed 2 Some(\"tenor-saxophone\") Some(1)",
            "trumpets Odd None Some(2)",
        ]
    );
}

#[test]
fn a_house_range_is_the_range() {
    let text = "meter: 4/4\npitch: written\nparts: trumpet 1 = trumpet\n\ncount     | 1  |\ntrumpet 1 | B5 |\n";
    let mut score = score(text);
    assert_eq!(proof(&score, &Style::default()).findings, []);
    let style = read(
        "[[instrument]]\nkey = \"trumpet\"\nprofessional = [\"F#3\", \"A5\"]\ncomfortable = [\"G3\", \"G5\"]\nlead = [\"F#3\", \"A5\"]\n",
    );
    style.prepare(&mut score);
    let findings = proof(&score, &style).findings;
    assert!(
        findings
            .iter()
            .any(|f| f.rule == "written-range" && f.message.contains("above written A5")),
        "{findings:#?}"
    );
    let trumpet = style.instruments.instrument("trumpet").unwrap();
    assert_eq!(
        trumpet.sources["comfortable"].as_str().split(',').next(),
        Some("house style")
    );
}
