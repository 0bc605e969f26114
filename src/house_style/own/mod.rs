//! The groups `[[rule]]` of a house style file.

use super::fields::Fields;
use super::quoted::Quoted;
use super::style_file::StyleFile;
use super::values::Placed;
use super::words::RULE;
use crate::condition::{self, Known, Mistake, Scope};
use crate::ground::chord::Degree;
use crate::ground::text::{meant, nearest};
use crate::rules;
use crate::style::{FoldedName, HouseRule, LEVEL_WORDS, Level, MendBy, Origin, Style, VoiceAt};
use std::collections::HashSet;
use std::ops::Range;
use std::sync::{LazyLock, Mutex, PoisonError};

/// The most rules one file may have: each is asked of every note.
const MOST: usize = 200;

/// The rules of a file. `style` is the style it is laid over, with the file's instruments and parts.
pub(super) fn read(
    style_file: &StyleFile<'_>,
    file: &Fields<'_, '_>,
    style: &Style,
    origin: &dyn Fn(&Range<usize>) -> Origin,
) -> Vec<HouseRule> {
    let mut all: Vec<HouseRule> = Vec::new();
    let mut names: Vec<String> = Vec::new();
    for (count, (table, at)) in file.tables("rule").into_iter().enumerate() {
        if count == MOST {
            style_file.wrong(
                at,
                format!(
                    "this is rule number {}, and a style may have {MOST}",
                    MOST + 1
                ),
                "leave out rules that are not needed",
            );
            break;
        }
        let fields = Fields::read(style_file, &RULE, table, at);
        let name = fields
            .text("name")
            .and_then(|said| name(style_file, said, &names));
        if let Some(name) = &name {
            names.push(name.clone());
        }
        let scope = fields.word("scope", &Scope::WORDS);
        let level = fields.word("level", &LEVEL_WORDS);
        let why = fields.text("why");
        let source = fields.text("source");
        let (when, said) = (fields.text("when"), fields.text("message"));
        // Without a scope there is nothing to hold names to.
        let Some(scope) = scope.map(|s| s.value) else {
            continue;
        };
        let is_part = |name: &str| {
            let name = FoldedName::new(name);
            style.parts.iter().any(|p| p.name.matches(&name))
        };
        let known = Known {
            scope,
            book: style.instruments,
            is_part: &is_part,
        };
        let condition = when
            .as_ref()
            .and_then(|text| reported(style_file, text, condition::condition(&text.value, known)));
        let message = said
            .as_ref()
            .and_then(|text| reported(style_file, text, condition::message(&text.value, known)));
        let voice = voice(style_file, &fields, known);
        let fix = fixes(style_file, &fields, scope, voice.is_some());
        if let (Some(name), Some(condition), Some(message), Some(when), Some(said)) =
            (name, condition, message, when, said)
        {
            all.push(HouseRule {
                name: lasting(&name),
                scope,
                level: level.map_or(Some(Level::Warning), |l| l.value),
                when: when.value,
                condition,
                said: said.value,
                message,
                why: why.map(|w| w.value),
                source: source.map(|s| lasting(&s.value)),
                voice,
                fix,
                origin: origin(&fields.at),
            });
        }
    }
    all
}

/// Notes the mistakes in a text at the very words of the file.
fn reported<T>(
    style_file: &StyleFile<'_>,
    text: &Placed<String>,
    read: Result<T, Vec<Mistake>>,
) -> Option<T> {
    let mistakes = match read {
        Ok(value) => return Some(value),
        Err(mistakes) => mistakes,
    };
    let raw = style_file.text.get(text.at.clone()).unwrap_or_default();
    let quoted = Quoted::of(raw, text.at.start, &text.value);
    for mistake in mistakes {
        style_file.wrong(quoted.place(&mistake.at), mistake.message, mistake.help);
    }
    None
}

/// A name in lower-case words joined by hyphens, that no other rule has.
fn name(style_file: &StyleFile<'_>, said: Placed<String>, taken: &[String]) -> Option<String> {
    let name = said.value;
    let sound = name.split('-').all(|word| {
        !word.is_empty()
            && word
                .chars()
                .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit())
    }) && name.starts_with(|c: char| c.is_ascii_lowercase())
        && name.len() <= 60;
    if !sound {
        let better: String = name
            .to_lowercase()
            .split(|c: char| !c.is_ascii_alphanumeric())
            .filter(|w| !w.is_empty())
            .collect::<Vec<_>>()
            .join("-");
        style_file.wrong(
            said.at,
            format!("`{name}` is not a name for a rule"),
            if better.starts_with(|c: char| c.is_ascii_lowercase()) && better.len() <= 60 {
                format!("names are lower-case words joined by hyphens: \"{better}\"")
            } else {
                "names are lower-case words joined by hyphens, such as \"high-and-soft\"".to_owned()
            },
        );
        return None;
    }
    if rules::named(&name).is_some() {
        style_file.wrong(
            said.at,
            format!("chartproof has a rule called `{name}` already"),
            "give this one another name; the level and the numbers of the known one are set under [levels] and [settings]",
        );
        return None;
    }
    if taken.contains(&name) {
        style_file.wrong(
            said.at,
            format!("a rule called `{name}` stands in this file already"),
            "give one of them another name",
        );
        return None;
    }
    Some(name)
}

fn voice(
    style_file: &StyleFile<'_>,
    fields: &Fields<'_, '_>,
    known: Known<'_>,
) -> Option<(String, VoiceAt)> {
    let said = fields.text("voice")?;
    if known.scope != Scope::Sonority {
        style_file.wrong(
            said.at,
            format!(
                "`voice` says which voice of a sonority is at fault, and this rule looks at a {}",
                known.scope.word()
            ),
            match known.scope {
                Scope::Note => "take the line out: the note itself is at fault",
                Scope::Step => "take the line out: the second note is at fault",
                _ => "take the line out, or write scope = \"sonority\"",
            },
        );
        return None;
    }
    let at = match said.value.trim().to_lowercase().as_str() {
        "lead" => VoiceAt::FromTop(1),
        "second voice" => VoiceAt::FromTop(2),
        "third voice" => VoiceAt::FromTop(3),
        "fourth voice" => VoiceAt::FromTop(4),
        "fifth voice" => VoiceAt::FromTop(5),
        "bottom" | "bottom voice" => VoiceAt::Bottom,
        _ => match condition::player(&said.value, known) {
            Ok(player) => VoiceAt::Of(player),
            Err((message, help)) => {
                let words = [
                    "lead",
                    "second voice",
                    "third voice",
                    "fourth voice",
                    "fifth voice",
                    "bottom voice",
                ];
                let near = nearest(&said.value, words);
                style_file.wrong(
                    said.at,
                    message,
                    match near {
                        Some(near) => format!("did you mean \"{near}\"?"),
                        None => format!("{help}; or write lead, second voice ... bottom voice"),
                    },
                );
                return None;
            }
        },
    };
    Some((said.value, at))
}

fn fixes(
    style_file: &StyleFile<'_>,
    fields: &Fields<'_, '_>,
    scope: Scope,
    has_voice: bool,
) -> Vec<(String, MendBy)> {
    let mut all = Vec::new();
    for said in fields.texts("fix") {
        match scope {
            Scope::Bar | Scope::Part => {
                style_file.wrong(
                    said.at,
                    format!(
                        "a rule for a {} has no note that a fix could change",
                        scope.word()
                    ),
                    "take the fix out, or write a rule for a note, a line step or a sonority",
                );
                return Vec::new();
            }
            Scope::Sonority if !has_voice && fields.value("voice").is_none() => {
                style_file.wrong(
                    said.at,
                    "this fix does not say which voice it changes",
                    "add voice = \"bottom voice\", or another voice, or a player",
                );
                return Vec::new();
            }
            _ => {}
        }
        match mend(&said.value) {
            Some(by) => all.push((said.value, by)),
            None => style_file.wrong(
                said.at,
                format!("`{}` is not a fix that chartproof can make", said.value),
                match said.value.to_lowercase() {
                    v if v.contains("octave") => meant(&said.value, ["octave up", "octave down"]),
                    _ => "write octave up, octave down, or a degree of the chord: 3rd, b7, 13"
                        .to_owned(),
                },
            ),
        }
    }
    all
}

fn mend(text: &str) -> Option<MendBy> {
    let text = text.trim().to_lowercase();
    Some(match text.as_str() {
        "octave up" => MendBy::Octaves(1),
        "octave down" => MendBy::Octaves(-1),
        "root" => MendBy::Degree {
            number: 1,
            alter: None,
        },
        _ => {
            let bare = ["st", "nd", "rd", "th"]
                .iter()
                .find_map(|end| text.strip_suffix(end))
                .unwrap_or(&text);
            let degree = Degree::read(bare)?;
            MendBy::Degree {
                number: degree.number,
                alter: bare.starts_with(['b', '#']).then_some(degree.alter),
            }
        }
    })
}

/// Names live as long as the program: findings carry them by the thousand, and there are few.
fn lasting(text: &str) -> &'static str {
    static KNOWN: LazyLock<Mutex<HashSet<&'static str>>> = LazyLock::new(Mutex::default);
    let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(found) = known.get(text) {
        return found;
    }
    let found: &'static str = Box::leak(text.to_owned().into_boxed_str());
    known.insert(found);
    found
}

#[cfg(test)]
mod tests;
