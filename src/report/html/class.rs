//! The class as one page: a table of all students, the mistakes of the class with an engraved
//! example of each, and a section for every student to be printed and handed back. A script plays the
//! examples; without it all the rest is there.

use super::super::class::{about, how, in_words, place, sums, unjudged};
use super::{STYLE, ScoreOnPage, finding, footer, heard, opening, pitch, sign, text};
use crate::engraving::{Engraver, Glyphs};
use crate::finding::{Finding, Level};
use crate::homework::{Cell, Class, Marked, Marks, Mistake, Sheet, reason, title};
use std::fmt::Write as _;

/// The whole page.
pub fn render(class: &Class) -> String {
    let mistakes = class.mistakes();
    let mut glyphs = Glyphs::default();
    let mut main = String::new();
    table(class, &mut main);
    kinds(&mistakes, &mut main);
    examples(class, &mistakes, &mut glyphs, &mut main);
    for student in 0..class.roll.students.len() {
        section(class, student, &mut main);
    }
    let style = format!("{STYLE}{}", pitch::STYLE);
    let header = format!("<p>{}</p><p>{}</p>", text(&sums(class)), text(&how(class)));
    let mut page = opening(
        &about(class),
        &style,
        &glyphs,
        ("class", "To the table of the class"),
        &header,
    );
    let choice = pitch::choice(class.marked().map(|(_, marked)| &marked.score));
    if !(mistakes.is_empty() || choice.is_empty()) {
        let _ = writeln!(
            page,
            "<form class=\"filters\" aria-label=\"What is shown\">{choice}</form>"
        );
    }
    let _ = write!(
        page,
        "<main id=\"class\">{main}</main>\n{}<script>\n{}</script></body></html>\n",
        footer(),
        heard::SCRIPT
    );
    page
}

fn percent(marks: &Marks) -> String {
    marks
        .percent()
        .map_or_else(|| "-".to_owned(), |p| format!("{p}\u{a0}%"))
}

fn fraction(marks: &Marks) -> String {
    format!("{}\u{a0}of\u{a0}{}", marks.right, marks.of)
}

fn scroll(label: &str, page: &mut String) {
    let _ = write!(
        page,
        "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"{}\">",
        text(label)
    );
}

fn table(class: &Class, page: &mut String) {
    let exercises = &class.roll.exercises;
    page.push_str("<h2>The class</h2>");
    scroll("The class", page);
    page.push_str(
        "<table class=\"marks\"><caption>Chords that are right, of all that are asked for or judged</caption>\
         <thead><tr><th scope=\"col\">student</th>",
    );
    if exercises.len() > 1 {
        for exercise in exercises {
            let _ = write!(page, "<th scope=\"col\">{}</th>", text(exercise));
        }
    }
    page.push_str(
        "<th scope=\"col\">right</th><th scope=\"col\">percent</th>\
         <th scope=\"col\">mistakes</th></tr></thead><tbody>",
    );
    for (s, student) in class.roll.students.iter().enumerate() {
        let _ = write!(
            page,
            "<tr><th scope=\"row\"><a href=\"#s{}\">{}</a></th>",
            s + 1,
            text(student)
        );
        let mut readable = false;
        for e in 0..exercises.len() {
            let cell = match class.cell(s, e) {
                Cell::Marked(_, marked) => {
                    readable = true;
                    fraction(&marked.marks)
                }
                Cell::Unreadable(..) => "unreadable".to_owned(),
                Cell::NotHandedIn => "not handed in".to_owned(),
            };
            if exercises.len() > 1 {
                let _ = write!(page, "<td class=\"num\">{cell}</td>");
            }
        }
        let sum = class.sum(s);
        let (right, of_all) = if readable {
            (fraction(&sum), percent(&sum))
        } else {
            ("unreadable".to_owned(), "-".to_owned())
        };
        let _ = write!(
            page,
            "<td class=\"num\">{right}</td><td class=\"num\">{of_all}</td><td>{}</td></tr>",
            text(&in_words(&sum))
        );
    }
    page.push_str("</tbody></table></div>");
}

fn kinds(mistakes: &[Mistake], page: &mut String) {
    page.push_str("<h2>Mistakes of the class</h2>");
    if mistakes.is_empty() {
        page.push_str("<p class=\"none\">No mistakes were found.</p>");
        return;
    }
    scroll("Mistakes of the class", page);
    page.push_str(
        "<table class=\"marks\"><caption>Those that most students made first</caption><thead><tr>\
         <th scope=\"col\">mistake</th><th scope=\"col\">students</th><th scope=\"col\">places</th>\
         <th scope=\"col\">what the rule asks</th></tr></thead><tbody>",
    );
    for mistake in mistakes {
        let _ = write!(
            page,
            "<tr><th scope=\"row\"><a href=\"#k-{}\">{}</a></th><td class=\"num\">{}</td>\
             <td class=\"num\">{}</td><td>{}</td></tr>",
            mistake.kind,
            text(&title(mistake.kind)),
            mistake.students,
            mistake.places,
            text(reason(mistake.kind).0)
        );
    }
    page.push_str("</tbody></table></div>");
}

fn examples(class: &Class, mistakes: &[Mistake], glyphs: &mut Glyphs, page: &mut String) {
    for mistake in mistakes {
        let (asks, why) = reason(mistake.kind);
        let kind = mistake.kind;
        let times = |n: usize| if n == 1 { "place" } else { "places" };
        let who = if mistake.students == 1 {
            "student"
        } else {
            "students"
        };
        let _ = write!(
            page,
            "<article id=\"k-{kind}\" aria-labelledby=\"k-{kind}-h\"><h3 id=\"k-{kind}-h\">{}: {} {who}, \
             {} {}</h3><p>{} {}</p>",
            text(&title(kind)),
            mistake.students,
            mistake.places,
            times(mistake.places),
            text(asks),
            text(why)
        );
        if let Some((sheet, marked, found)) = class.example(kind) {
            let file = ScoreOnPage {
                index: 0,
                name: sheet.path.display().to_string(),
                score: &marked.score,
                proofed: &marked.proofed,
                sections: &marked.proofed.sections,
                findings: Vec::new(),
                engraver: Engraver::new(&marked.score),
            };
            // The class need not know whose work it is.
            let _ = write!(
                page,
                "<p class=\"facts\">From one student's work, {}: {}</p>",
                text(&place(&marked.score, found)),
                text(&found.message)
            );
            finding::pictures(&file, found, &title(kind), glyphs, page);
            advice(found, page);
        }
        page.push_str(
            "<p class=\"back\"><a href=\"#class\">To the table of the class<span class=\"vh\">, from ",
        );
        let _ = writeln!(page, "{}</span></a></p></article>", text(&title(kind)));
    }
}

fn advice(finding: &Finding, page: &mut String) {
    if let Some(suggestion) = &finding.suggestion {
        let word = if finding.fix.is_some() {
            "Fix (checked)"
        } else {
            "Suggestion"
        };
        let _ = write!(page, "<p><b>{word}:</b> {}</p>", text(suggestion));
    }
}

/// One student's homework: what to look at, to be handed back.
fn section(class: &Class, student: usize, page: &mut String) {
    let name = class.roll.students.get(student).map_or("", String::as_str);
    let id = student + 1;
    let sum = class.sum(student);
    let _ = write!(
        page,
        "<section class=\"player\" id=\"s{id}\" aria-labelledby=\"s{id}-h\"><h2 id=\"s{id}-h\">{}</h2>",
        text(name)
    );
    if sum.of > 0 {
        let _ = write!(
            page,
            "<p class=\"facts\">{} chords right, {}</p>",
            fraction(&sum),
            percent(&sum)
        );
    }
    for (exercise, sheet) in class.of_student(student) {
        let exercise = class
            .roll
            .exercises
            .get(exercise)
            .map_or("", String::as_str);
        let _ = write!(page, "<h3>{}</h3>", text(exercise));
        match &sheet.outcome {
            Ok(marked) => work(sheet, marked, page),
            Err(error) => {
                let _ = write!(
                    page,
                    "<p class=\"e\"><b>Could not be read:</b> {} {}</p>",
                    text(&error.to_string()),
                    text(error.help.as_deref().unwrap_or_default())
                );
            }
        }
    }
    for (e, exercise) in class.roll.exercises.iter().enumerate() {
        if matches!(class.cell(student, e), Cell::NotHandedIn) {
            let _ = write!(page, "<p>Not handed in: {}</p>", text(exercise));
        }
    }
    let _ = writeln!(
        page,
        "<p class=\"back\"><a href=\"#class\">To the table of the class<span class=\"vh\">, from {}</span></a></p></section>",
        text(name)
    );
}

fn work(sheet: &Sheet, marked: &Marked, page: &mut String) {
    let _ = write!(
        page,
        "<p class=\"facts\">{}: {}</p>",
        text(&sheet.path.display().to_string()),
        fraction(&marked.marks)
    );
    for remark in &marked.proofed.remarks {
        let _ = write!(page, "<p class=\"facts\">{}</p>", text(remark));
    }
    if let Some(why) = unjudged(marked) {
        let _ = write!(page, "<p>{}</p>", text(why));
    } else if marked.proofed.findings.is_empty() {
        page.push_str("<p class=\"none\">All right.</p>");
    }
    if marked.proofed.findings.is_empty() {
        return;
    }
    page.push_str("<ol class=\"findings\">");
    for found in &marked.proofed.findings {
        let (shape, class) = sign(found.level);
        // A note is no mistake, and has no place among those of the class.
        let name = if found.level == Level::Note {
            text(&title(found.rule))
        } else {
            format!(
                "<a href=\"#k-{}\">{}</a>",
                found.rule,
                text(&title(found.rule))
            )
        };
        let _ = write!(
            page,
            "<li><span class=\"{class}\"><span aria-hidden=\"true\">{shape}</span> {}</span> {}, {name}: {}",
            found.level.word(),
            text(&place(&marked.score, found)),
            text(&found.message)
        );
        advice(found, page);
        page.push_str("</li>");
    }
    page.push_str("</ol>");
}
