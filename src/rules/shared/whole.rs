//! What holds for all parts of a score: who has how many bars, and who differs from most.

use crate::rules::shared::wording;
use crate::score::{Place, Score};

/// The parts of a score by their bars.
pub struct Whole {
    /// Parts with as many bars as most have, in score order: what the others are held against.
    pub in_step: Vec<u32>,
    /// How many bars that is.
    pub bars: usize,
    /// Other counts, each with its parts.
    pub out_of_step: Vec<(usize, Vec<u32>)>,
}

impl Whole {
    /// Counts the bars of every part.
    pub fn of(score: &Score) -> Self {
        let counts: Vec<(u32, usize)> = score
            .parts
            .iter()
            .enumerate()
            .filter(|(_, p)| !p.bars.is_empty())
            .map(|(i, p)| (i as u32, p.bars.len()))
            .collect();
        let all: Vec<usize> = counts.iter().map(|(_, n)| *n).collect();
        let bars = crate::rules::shared::together::most(&all).unwrap_or(0);
        let mut out_of_step: Vec<(usize, Vec<u32>)> = Vec::new();
        let mut in_step = Vec::new();
        for (part, n) in counts {
            if n == bars {
                in_step.push(part);
                continue;
            }
            match out_of_step.iter_mut().find(|(m, _)| *m == n) {
                Some((_, parts)) => parts.push(part),
                None => out_of_step.push((n, vec![part])),
            }
        }
        Self {
            in_step,
            bars,
            out_of_step,
        }
    }
}

/// Parts that differ alike from the rest at one place.
pub struct Differs<T> {
    /// What they have.
    pub own: T,
    /// Who.
    pub parts: Vec<u32>,
}

/// What most parts have, and those that differ; `None` when all agree.
pub fn split<T: PartialEq + Clone>(values: &[(u32, T)]) -> Option<(T, Vec<u32>, Vec<Differs<T>>)> {
    let all: Vec<T> = values.iter().map(|(_, v)| v.clone()).collect();
    let most = crate::rules::shared::together::most(&all)?;
    let mut with = Vec::new();
    let mut differ: Vec<Differs<T>> = Vec::new();
    for (part, value) in values {
        if *value == most {
            with.push(*part);
            continue;
        }
        match differ.iter_mut().find(|d| d.own == *value) {
            Some(d) => d.parts.push(*part),
            None => differ.push(Differs {
                own: value.clone(),
                parts: vec![*part],
            }),
        }
    }
    (!differ.is_empty()).then_some((most, with, differ))
}

/// "alto 1, tenor 2 and 5 others".
pub fn names(score: &Score, parts: &[u32]) -> String {
    const SHOWN: usize = 4;
    let mut names: Vec<String> = parts
        .iter()
        .take(if parts.len() > SHOWN + 1 {
            SHOWN
        } else {
            parts.len()
        })
        .map(|&p| wording::part(score, p).to_owned())
        .collect();
    if parts.len() > names.len() {
        names.push(format!("{} others", parts.len() - names.len()));
    }
    wording::join(&names)
}

/// `have` for several, `has` for one.
pub const fn has(parts: &[u32]) -> &'static str {
    if parts.len() > 1 { "have" } else { "has" }
}

/// The bar line of a bar.
pub const fn bar_line(bar: usize) -> Place {
    Place {
        bar: bar as u32,
        offset: crate::ground::time::Ticks::ZERO,
    }
}

#[cfg(test)]
pub mod pages {
    //! Scores for the rules that need more than a grid shows.

    use crate::finding::Finding;
    use crate::proof::proof;
    use crate::reading::musicxml;
    use crate::score::Score;
    use crate::style::Style;
    use std::fmt::Write as _;
    use std::path::Path;

    /// A score of parts, each with its name and its bars. Divisions are 2; a bar is a list of words:
    /// `C5:2` is a note of two eighths, `r:8` a rest, `<...>` is put in as it stands (no spaces), and
    /// `C5:2:slur` has what [`NOTATIONS`] says.
    #[allow(clippy::missing_panics_doc)] // for tests
    pub fn score(parts: &[(&str, &[&str])]) -> Score {
        let mut list = String::new();
        let mut body = String::new();
        for (i, (name, bars)) in parts.iter().enumerate() {
            let _ = write!(
                list,
                "<score-part id=\"P{i}\"><part-name>{name}</part-name></score-part>"
            );
            let _ = write!(body, "<part id=\"P{i}\">");
            for (n, content) in bars.iter().enumerate() {
                let _ = write!(body, "<measure number=\"{}\">", n + 1);
                if n == 0 {
                    body.push_str("<attributes><divisions>2</divisions></attributes>");
                }
                for word in content.split_whitespace() {
                    body.push_str(&element(word));
                }
                body.push_str("</measure>");
            }
            body.push_str("</part>");
        }
        let text = format!(
            "<score-partwise version=\"4.0\"><part-list>{list}</part-list>{body}</score-partwise>"
        );
        musicxml::read(Path::new("a.musicxml"), None, text.as_str().into()).unwrap()
    }

    const DIRECTIONS: [(&str, &str); 3] = [
        ("wedge-", "<wedge type=\"@\"/>"),
        ("dyn-", "<dynamics><@/></dynamics>"),
        ("words-", "<words>@</words>"),
    ];

    fn element(word: &str) -> String {
        if word.starts_with('<') {
            return word.replace('~', " ");
        }
        for (prefix, form) in DIRECTIONS {
            if let Some(rest) = word.strip_prefix(prefix) {
                let inner = form.replace('@', &rest.replace('~', " "));
                return format!("<direction><direction-type>{inner}</direction-type></direction>");
            }
        }
        if let Some(mark) = word.strip_prefix("mark-") {
            return format!(
                "<direction><direction-type><rehearsal>{mark}</rehearsal></direction-type></direction>"
            );
        }
        if let Some(meter) = word.strip_prefix("meter-") {
            let (beats, unit) = meter.split_once('/').unwrap();
            return format!(
                "<attributes><time><beats>{beats}</beats><beat-type>{unit}</beat-type></time></attributes>"
            );
        }
        if let Some(tempo) = word.strip_prefix("tempo-") {
            return format!(
                "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{tempo}</per-minute></metronome></direction-type></direction>"
            );
        }
        if word == "alto-sax" {
            return "<attributes><transpose><diatonic>-5</diatonic><chromatic>-9</chromatic></transpose></attributes>".to_owned();
        }
        if let Some(chord) = word.strip_prefix("chord-") {
            let (root, kind) = chord.split_once('-').unwrap();
            let (step, alter) = root.split_at(1);
            let alter = match alter {
                "b" => -1,
                "#" => 1,
                _ => 0,
            };
            return format!(
                "<harmony><root><root-step>{step}</root-step><root-alter>{alter}</root-alter></root><kind>{kind}</kind></harmony>"
            );
        }
        let mut fields = word.split(':');
        let pitch = fields.next().unwrap();
        let duration = fields.next().unwrap();
        let more: String = fields
            .map(|f| match f {
                "slur" => "<notations><slur type=\"start\"/></notations>".to_owned(),
                "end" => "<notations><slur type=\"stop\"/></notations>".to_owned(),
                "tie" => "<tie type=\"start\"/>".to_owned(),
                "tied" => "<tie type=\"stop\"/>".to_owned(),
                "fermata" => "<notations><fermata/></notations>".to_owned(),
                other => {
                    format!("<notations><articulations><{other}/></articulations></notations>")
                }
            })
            .collect();
        if pitch == "r" {
            return format!("<note><rest/><duration>{duration}</duration></note>");
        }
        let p: crate::ground::pitch::Pitch = pitch.parse().unwrap();
        format!(
            "<note><pitch><step>{:?}</step><alter>{}</alter><octave>{}</octave></pitch><duration>{duration}</duration>{more}</note>",
            p.step, p.alter, p.octave
        )
    }

    /// What one rule says of a score.
    pub fn said(score: &Score, rule: &str) -> Vec<Finding> {
        let found = proof(score, &Style::default()).findings;
        found.into_iter().filter(|f| f.rule == rule).collect()
    }

    /// The same as "bar beat: parts".
    pub fn places(score: &Score, rule: &str) -> Vec<String> {
        said(score, rule)
            .iter()
            .map(|f| {
                let parts: Vec<&str> = f
                    .parts
                    .iter()
                    .map(|&p| score.parts[p as usize].name.as_str())
                    .collect();
                format!(
                    "{} {}: {}",
                    score.bar_number(f.at.bar),
                    score.beat_at(f.at),
                    parts.join(", ")
                )
            })
            .collect()
    }
}
