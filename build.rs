//! Takes the glyphs that pictures of staves use from a music font into the program, and the tables of
//! `rules/` as JSON, which a program reads several times as fast as TOML.
//!
//! The font follows SMuFL, the open standard for music fonts: a glyph's code point says what it is,
//! coordinates are in thousandths of an em, and four staff spaces make an em. The font's licence
//! stands in LICENSE-FONT.

use std::error::Error;
use std::fmt::Write as _;
use std::{env, fs, path::Path};

/// The name in the program and the SMuFL code point of every glyph that is drawn.
const GLYPHS: [(&str, &str); 81] = [
    ("G_CLEF", "E050"),
    ("G_CLEF_8VB", "E052"),
    ("G_CLEF_8VA", "E053"),
    ("F_CLEF", "E062"),
    ("F_CLEF_8VB", "E064"),
    ("F_CLEF_8VA", "E065"),
    ("C_CLEF", "E05C"),
    ("PERCUSSION_CLEF", "E069"),
    ("FLAT", "E260"),
    ("NATURAL", "E261"),
    ("SHARP", "E262"),
    ("DOUBLE_SHARP", "E263"),
    ("DOUBLE_FLAT", "E264"),
    ("HEAD_BREVE", "E0A0"),
    ("HEAD_WHOLE", "E0A2"),
    ("HEAD_HALF", "E0A3"),
    ("HEAD_BLACK", "E0A4"),
    ("HEAD_CROSS", "E0A9"),
    ("HEAD_SLASH", "E101"),
    ("DOT", "E1E7"),
    ("FLAG_8_UP", "E240"),
    ("FLAG_8_DOWN", "E241"),
    ("FLAG_16_UP", "E242"),
    ("FLAG_16_DOWN", "E243"),
    ("FLAG_32_UP", "E244"),
    ("FLAG_32_DOWN", "E245"),
    ("FLAG_64_UP", "E246"),
    ("FLAG_64_DOWN", "E247"),
    ("REST_BREVE", "E4E2"),
    ("REST_WHOLE", "E4E3"),
    ("REST_HALF", "E4E4"),
    ("REST_QUARTER", "E4E5"),
    ("REST_8", "E4E6"),
    ("REST_16", "E4E7"),
    ("REST_32", "E4E8"),
    ("REST_64", "E4E9"),
    ("FIGURE_0", "E080"),
    ("FIGURE_1", "E081"),
    ("FIGURE_2", "E082"),
    ("FIGURE_3", "E083"),
    ("FIGURE_4", "E084"),
    ("FIGURE_5", "E085"),
    ("FIGURE_6", "E086"),
    ("FIGURE_7", "E087"),
    ("FIGURE_8", "E088"),
    ("FIGURE_9", "E089"),
    ("ACCENT_ABOVE", "E4A0"),
    ("ACCENT_BELOW", "E4A1"),
    ("STACCATO", "E4A2"),
    ("TENUTO", "E4A4"),
    ("STACCATISSIMO_ABOVE", "E4A6"),
    ("STACCATISSIMO_BELOW", "E4A7"),
    ("MARCATO", "E4AC"),
    ("FERMATA", "E4C0"),
    ("BREATH", "E4CE"),
    ("DYNAMIC_P", "E520"),
    ("DYNAMIC_M", "E521"),
    ("DYNAMIC_F", "E522"),
    ("DYNAMIC_R", "E523"),
    ("DYNAMIC_S", "E524"),
    ("DYNAMIC_Z", "E525"),
    ("DYNAMIC_N", "E526"),
    ("TUPLET_0", "E880"),
    ("TUPLET_1", "E881"),
    ("TUPLET_2", "E882"),
    ("TUPLET_3", "E883"),
    ("TUPLET_4", "E884"),
    ("TUPLET_5", "E885"),
    ("TUPLET_6", "E886"),
    ("TUPLET_7", "E887"),
    ("TUPLET_8", "E888"),
    ("TUPLET_9", "E889"),
    ("BRACE", "E000"),
    ("HEAD_SLASH_OPEN", "E103"),
    ("HEAD_DIAMOND", "E0DB"),
    ("HEAD_DIAMOND_OPEN", "E0D9"),
    ("BRACKET_LEFT", "E0F5"),
    ("BRACKET_RIGHT", "E0F6"),
    ("COMMON_TIME", "E08A"),
    ("CUT_TIME", "E08B"),
    ("BEATS_PLUS", "E08C"),
];

const FONT: &str = "Leipzig";

/// The tables of `rules/` that every run reads. House styles stay TOML: their mistakes have lines.
const TABLES: [&str; 7] = [
    "chords",
    "diagnosis",
    "harmonisations",
    "frequency",
    "instruments",
    "low-intervals",
    "words",
];

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed=build.rs");
    let out = env::var("OUT_DIR")?;
    tables(Path::new(&out))?;
    glyphs(Path::new(&out))
}

fn tables(out: &Path) -> Result<(), Box<dyn Error>> {
    for name in TABLES {
        let file = format!("rules/{name}.toml");
        println!("cargo:rerun-if-changed={file}");
        let table: toml::Table =
            toml::from_str(&fs::read_to_string(&file)?).map_err(|e| format!("{file}: {e}"))?;
        fs::write(
            out.join(format!("{name}.json")),
            serde_json::to_vec(&table)?,
        )?;
    }
    Ok(())
}

fn glyphs(out: &Path) -> Result<(), Box<dyn Error>> {
    let data = verovioxide_data::resource_dir();
    let text = |name: &str| {
        data.get_file(name)
            .and_then(|f| f.contents_utf8())
            .ok_or_else(|| format!("the font data has no {name}"))
    };
    let metrics = text(&format!("{FONT}.xml"))?;
    let mut table = String::from("pub(crate) static OUTLINES: &[Outline] = &[\n");
    let mut names = String::new();
    for (index, (name, code)) in GLYPHS.iter().enumerate() {
        let entry = metrics
            .split("<g ")
            .find(|g| attribute(g, "c") == Some(code))
            .ok_or_else(|| format!("the font has no glyph {code} ({name})"))?;
        let number = |key: &str| -> Result<f64, Box<dyn Error>> {
            let value = attribute(entry, key).ok_or_else(|| format!("{code} has no {key}"))?;
            Ok(value.parse::<f64>()? / 250.0)
        };
        let file = text(&format!("{FONT}/{code}.xml"))?;
        let path = attribute(file, "d").ok_or_else(|| format!("{code} has no outline"))?;
        writeln!(
            table,
            "    Outline {{ code: {code:?}, left: {:.3}, bottom: {:.3}, width: {:.3}, height: {:.3}, \
             advance: {:.3}, path: {:?} }},",
            number("x")?,
            number("y")?,
            number("w")?,
            number("h")?,
            number("h-a-x")?,
            path.trim(),
        )?;
        // The other figures are reached from the first.
        let figure = name.starts_with("FIGURE_") || name.starts_with("TUPLET_");
        if !figure || name.ends_with('0') {
            writeln!(names, "pub(crate) const {name}: Glyph = Glyph({index});")?;
        }
    }
    table.push_str("];\n");
    fs::write(out.join("glyphs.rs"), table + &names)?;
    Ok(())
}

/// The value of an attribute whose name stands by itself (`d`, not the end of `id`).
fn attribute<'a>(text: &'a str, name: &str) -> Option<&'a str> {
    let key = format!("{name}=\"");
    let mut from = 0;
    while let Some(at) = text.get(from..)?.find(&key).map(|i| i + from) {
        let value = at + key.len();
        let alone = at == 0
            || text
                .as_bytes()
                .get(at - 1)
                .is_some_and(u8::is_ascii_whitespace);
        if alone {
            let end = text.get(value..)?.find('"')?;
            return text.get(value..value + end);
        }
        from = value;
    }
    None
}
