//! `chartproof voice`: the model answer for a lead with chord symbols.

use super::inputs::Inputs;
use super::replacing::Replaces;
use super::scores::{
    ByStyles, ChosenStyle, LimitOptions, ReadScore, TechniqueName, say_passed_over, style, styles,
    with_styles,
};
use super::voice_sheet as sheet;
use super::write_out::{self, bytes_to_stdout, complain, complain_of, say, to_stdout};
use super::{CLEAN, FOUND, UNUSABLE};
use crate::ground::shown::shown_xml;
use crate::model_answer::{self, Passing, Request};
use crate::reading::files::{self, WalkOptions};
use crate::score::Score;
use crate::style::Style;
use crate::voicing::Technique;
use crate::writing;
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Voices a lead with chord symbols for a section: the model answer
///
/// The lead is a MusicXML part or a passage grid with the lead's row. All parts are written at
/// written pitch with their transpositions and key signatures. The answer is proofed before it is
/// written. Where the technique has no voicing that the players have, the smallest way out is
/// written and reported: another technique, a doubled note, all on the lead, or the whole passage an
/// octave away. What proof finds in the melody alone is reported beside the answer.
///
/// Where the lead asks for another technique on its way, it is followed: a line `technique: unison`
/// between the systems of a grid, or words over the staff ("unison", "drop 2", "solo"; "tutti" goes
/// back). A row `choice` in a grid fixes what stands under a note (`chartproof manual grid`).
///
/// Exit code: 0 when it was voiced, 1 when no right voicing fits and --strict is given (it says
/// where, and what would help), 2 when the file or an option could not be used.
#[derive(Debug, Args)]
pub(super) struct Voice {
    /// The score with the lead
    #[arg(value_name = "PATH")]
    path: PathBuf,

    /// The technique, such as "drop 2", "four-way close", "doubled lead", "five-note soli",
    /// "spread", "fourths", "three-part" or "octaves"
    #[arg(long, value_name = "TECHNIQUE", value_parser = TechniqueName, hide_possible_values = true)]
    technique: Technique,

    /// The section: saxes, trumpets, trombones, clarinets, voices, piano, horns, brass, "clarinet
    /// and saxes" ...; without it the parts that stand ready in the score, else the lead's own
    #[arg(long, value_name = "SECTION")]
    section: Option<String>,

    /// The players from the top, such as "clarinet, 2 altos, 2 tenors" or "trumpet, alto, tenor,
    /// trombone". Who plays the melody is the first of them, else the one called "lead"; one that
    /// "doubles" has it an octave below
    #[arg(long = "for", value_name = "PLAYERS", conflicts_with = "section")]
    players: Option<String>,

    /// The harmony under passing notes that comes first
    #[arg(long, value_enum, value_name = "HARMONY")]
    passing: Option<PassingHarmony>,

    /// Write nothing but the technique, and nothing that proof would speak of; where that cannot
    /// be, say where, and write nothing
    #[arg(long)]
    strict: bool,

    /// The name of the part that has the lead; the first part with notes when left out
    #[arg(long, value_name = "NAME")]
    part: Option<String>,

    /// The house style: chart, homework, choir, or a house style file; without this the nearest
    /// chartproof.toml on the way up from the score holds
    #[arg(long, value_name = "NAME|FILE", value_parser = style)]
    style: Option<ChosenStyle>,

    /// The pitch that a grid's cells hold; MusicXML holds written pitch
    #[arg(long, value_enum, value_name = "PITCH", default_value_t = Cells::Written)]
    pitch: Cells,

    /// Write to this file; its ending says the form: .passage for a grid, .musicxml or .xml for
    /// MusicXML, .html for a page with the music engraved, .txt for a table. Without it the answer
    /// goes to the terminal in the form of the score
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,

    /// Replace that file when it is no score, too. Without this only a score is replaced, such as
    /// an earlier answer. Files that are read are never replaced
    #[arg(long, requires = "into")]
    replace: bool,

    #[command(flatten)]
    sheet: sheet::Options,

    #[command(flatten)]
    limits: LimitOptions,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Cells {
    Written,
    Sounding,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum PassingHarmony {
    /// The diminished seventh that holds the note
    Diminished,
    /// The dominant of the chord that comes
    Dominant,
    /// The chord that comes, moved with the melody
    Parallel,
    /// Over a dominant, the sixth chord that it leads to
    Tonic,
}

impl From<PassingHarmony> for Passing {
    fn from(harmony: PassingHarmony) -> Self {
        match harmony {
            PassingHarmony::Diminished => Self::Diminished,
            PassingHarmony::Dominant => Self::Dominant,
            PassingHarmony::Parallel => Self::Parallel,
            PassingHarmony::Tonic => Self::Tonic,
        }
    }
}

impl Voice {
    /// Runs the command; returns the exit code.
    pub(super) fn run(self) -> u8 {
        let styles = styles(self.style.as_ref());
        let plan = ByStyles {
            styles: &styles,
            limits: self.limits.limits(),
            walk: WalkOptions::default(),
        };
        let mut inputs = Inputs::default();
        inputs.add(&self.path);
        let (listed, passed_over) = files::list(std::slice::from_ref(&self.path), &plan);
        inputs.add_listed(&listed);
        let outcomes = files::read_listed(listed, &plan);
        say_passed_over(&passed_over);
        let read = with_styles(outcomes, &styles, &mut Vec::new());
        inputs.add_styles(&styles);
        if read.problems.are_mistakes() {
            return UNUSABLE;
        }
        let [
            ReadScore {
                score: Ok(score),
                style,
                ..
            },
        ] = read.scores.as_slice()
        else {
            for outcome in &read.scores {
                match &outcome.score {
                    Err(error) => complain_of(error),
                    Ok(_) => complain(
                        "voice takes one score at a time: name the file that holds the lead",
                    ),
                }
            }
            return UNUSABLE;
        };
        let Some(form) = sheet::Form::of(self.into.as_deref(), score) else {
            complain(sheet::Form::WANTED);
            return UNUSABLE;
        };
        let answer = match self.voiced(score, style) {
            Ok(answer) => answer,
            Err(code) => return code,
        };
        let cells = match self.pitch {
            Cells::Written => writing::grid::Cells::Written,
            Cells::Sounding => writing::grid::Cells::Sounding,
        };
        let text = self.sheet.write(&answer, form, cells);
        let written = text
            .and_then(|text| self.deliver(text, form, &inputs, style))
            .and_then(|()| self.sheet.deliver_list(&answer, &inputs));
        match written {
            Ok(()) => CLEAN,
            Err(message) => {
                complain(&message);
                UNUSABLE
            }
        }
    }

    /// The answer, after what there is to say of it; else why there is none, and the exit code.
    fn voiced(&self, score: &Score, style: &Style) -> Result<sheet::Voiced, u8> {
        let request = Request {
            section: self.section.clone(),
            players: self.players.clone(),
            part: self.part.clone(),
            passing: self.passing.map(Passing::from),
            strict: self.strict,
            ..Request::new(self.technique)
        };
        // The style may say who plays what, and in which seat.
        let mut score = score.clone();
        style.prepare(&mut score);
        let voiced = self.sheet.voice(&score, style, &request).map_err(|error| {
            complain(&format!("{}: {error}", self.path.display()));
            match error {
                model_answer::VoiceError::NothingFits(_)
                | model_answer::VoiceError::Change { .. }
                | model_answer::VoiceError::Unclean(_) => FOUND,
                _ => UNUSABLE,
            }
        })?;
        for remark in voiced.remarks() {
            say(&format!("{}: {}", remark.place, remark.text));
        }
        Ok(voiced)
    }

    /// Writes the answer to the file that was named, else to the terminal.
    fn deliver(
        &self,
        text: String,
        form: sheet::Form,
        inputs: &Inputs,
        style: &Style,
    ) -> Result<(), String> {
        let Some(target) = &self.into else {
            return match form {
                sheet::Form::MusicXml => bytes_to_stdout(shown_xml(text).as_bytes()),
                _ => to_stdout(&text),
            };
        };
        let replaces = if self.replace {
            Replaces::AnyFile
        } else if form.is_report() {
            Replaces::Reports
        } else {
            Replaces::Scores {
                limits: self.limits.limits(),
                instruments: &[style.instruments],
            }
        };
        let written = write_out::write(target, text.as_bytes(), inputs, replaces);
        written.map_err(|e| e.to_string())
    }
}
