//! The error output beside mistakes: how far long work is, which file was written, and, when asked
//! for, how each file was proofed. Reports do not change by it.

use super::write_out::say;
use crate::diagnosis::How;
use crate::proof::Proofed;
use crate::score::Score;
use crate::score::identity::{Identity, identify_all};
use crate::style::Style;
use clap::Args;
use std::fmt::Write as _;
use std::io::{self, IsTerminal, Write};
use std::iter;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

/// Work that is done sooner shows no progress.
const PATIENCE: Duration = Duration::from_secs(1);

/// How much is written to the error output.
#[derive(Clone, Copy, Debug, Default, Args)]
pub(super) struct Verbosity {
    /// Report on the error output only what could not be used
    #[arg(long, short, global = true, conflicts_with = "verbose")]
    quiet: bool,

    /// Say of each file, on the error output, how long it took, its house style, the techniques it
    /// was held to and what was not checked
    #[arg(long, short, global = true)]
    verbose: bool,
}

// Set once, when the program starts: it holds for every command.
static VERBOSITY: OnceLock<Verbosity> = OnceLock::new();

impl Verbosity {
    /// Sets it for the whole program.
    pub(super) fn set(self) {
        let _ = VERBOSITY.set(self);
    }
}

fn verbosity() -> Verbosity {
    VERBOSITY.get().copied().unwrap_or_default()
}

/// Whether details are asked for.
pub(super) fn is_verbose() -> bool {
    verbosity().verbose
}

/// A sentence for the end of the work, unless all is to be quiet.
pub(super) fn sum_up(sentence: &str) {
    if !verbosity().quiet {
        say(sentence);
    }
}

/// How often the line on the terminal is redrawn.
const TICK: Duration = Duration::from_millis(200);

/// How far the work is: on a terminal only, and only when it takes a while.
#[derive(Debug)]
pub(super) struct Progress {
    line: Arc<ProgressLine>,
    done: Option<Sender<()>>,
    clock: Option<JoinHandle<()>>,
}

/// The line on the terminal.
#[derive(Debug)]
struct ProgressLine {
    what: &'static str,
    /// Files in all, when somebody knows.
    count: Option<usize>,
    /// Files that are done.
    at: AtomicUsize,
    /// How many columns are written on; whoever holds it has the terminal.
    shown: Mutex<usize>,
}

impl ProgressLine {
    /// How it looks after so many ticks.
    fn text(&self, tick: usize) -> String {
        let at = self.at.load(Ordering::Relaxed);
        match self.count {
            Some(count) => {
                let full = 30 * at.min(count) / count.max(1);
                let head = if full < 30 { ">" } else { "" };
                let bar = format!("{}{head}", "=".repeat(full));
                format!("{} [{bar:30}] {at} of {count}", self.what)
            }
            None => format!("{} {}", ["|", "/", "-", "\\"][tick % 4], self.what),
        }
    }

    /// Takes the terminal with the line wiped off it, and leaves `text` there after `work`.
    fn aside<T>(&self, text: &str, work: impl FnOnce() -> T) -> T {
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        let mut out = io::stderr();
        if *shown > 0 {
            let _ = write!(out, "\r{:1$}\r", "", *shown);
        }
        let done = work();
        let _ = write!(out, "{text}").and_then(|()| out.flush());
        *shown = text.len();
        done
    }
}

impl Progress {
    /// Work on `count` files, or on nobody knows how many.
    pub(super) fn new(what: &'static str, count: Option<usize>) -> Self {
        let line = Arc::new(ProgressLine {
            what,
            count,
            at: AtomicUsize::new(0),
            shown: Mutex::new(0),
        });
        if verbosity().quiet || !io::stderr().is_terminal() {
            return Self {
                line,
                done: None,
                clock: None,
            };
        }
        let (done, waiting) = channel();
        let shown = Arc::clone(&line);
        let clock = std::thread::spawn(move || {
            let waits = iter::once(PATIENCE).chain(iter::repeat(TICK));
            for (tick, wait) in waits.enumerate() {
                if waiting.recv_timeout(wait) != Err(RecvTimeoutError::Timeout) {
                    return;
                }
                shown.aside(&shown.text(tick), || ());
            }
        });
        Self {
            line,
            done: Some(done),
            clock: Some(clock),
        }
    }

    /// Does something that writes: meanwhile the line is out of the way.
    pub(super) fn aside<T>(&self, work: impl FnOnce() -> T) -> T {
        self.line.aside("", work)
    }

    /// One file is done.
    pub(super) fn step(&self) {
        self.line.at.fetch_add(1, Ordering::Relaxed);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        drop(self.done.take());
        if let Some(clock) = self.clock.take() {
            let _ = clock.join();
        }
        self.line.aside("", || ());
    }
}

/// How a file was proofed, in one line.
pub(super) fn detail(score: &Score, proofed: &Proofed, style: &Style, took: Duration) -> String {
    let mut line = format!(
        "proofed in {} ms, style {}, {} sonorities",
        took.as_millis(),
        style.name,
        proofed.sonorities
    );
    for passage in &proofed.passages {
        let mut runs: Vec<(&'static str, &'static str, u32, u32)> = Vec::new();
        for (sonority, force) in passage.sonorities.iter().zip(&passage.in_force) {
            let (name, how) = match force {
                Some(f) => (
                    f.technique.name(),
                    match f.how {
                        How::Stated => "stated",
                        How::Words => "by the words over the staff",
                        How::Inferred => "inferred",
                    },
                ),
                None => ("held to no technique", ""),
            };
            let bar = sonority.at.bar;
            match runs.last_mut().filter(|r| r.0 == name && r.1 == how) {
                Some(run) => run.3 = bar,
                None => runs.push((name, how, bar, bar)),
            }
        }
        let _ = write!(line, "; {}", passage.section.name);
        match passage.section.evidence.filter(|e| e.chords > 0) {
            Some(e) => {
                let _ = write!(
                    line,
                    " (one section, since {} of the {} chords they strike together are complete, {} of them in one alone):",
                    e.complete, e.chords, e.apart
                );
            }
            None => line.push(':'),
        }
        for (i, (name, how, from, to)) in runs.iter().enumerate() {
            let comma = if i > 0 { "," } else { "" };
            let how = if how.is_empty() {
                String::new()
            } else {
                format!(" ({how})")
            };
            let (from, to) = (score.bar_number(*from), score.bar_number(*to));
            let bars = if from == to {
                format!("bar {from}")
            } else {
                format!("bars {from} to {to}")
            };
            let _ = write!(line, "{comma} {name}{how} {bars}");
        }
    }
    for remark in &proofed.remarks {
        let _ = write!(line, "; {remark}");
    }
    line
}

/// What each part is taken for, a line a part, and how this is known.
pub(super) fn players(score: &Score) -> Vec<String> {
    let known = identify_all(score.instruments.catalogue(), &score.parts);
    let parts = score.parts.iter().zip(known);
    parts
        .map(|(part, identity)| match identity {
            None => format!("{}: no instrument that is known", part.name),
            Some(Identity {
                instrument,
                seat,
                evidence,
            }) => {
                let seat = seat.map_or_else(String::new, |seat| format!(", seat {seat}"));
                let evidence: Vec<String> = evidence.iter().map(ToString::to_string).collect();
                let name = &instrument.name;
                format!("{}: {name}{seat}, by {}", part.name, evidence.join(", "))
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_shows_how_far_the_work_is() {
        let line = |count, at| ProgressLine {
            what: "proofing",
            count,
            at: AtomicUsize::new(at),
            shown: Mutex::new(0),
        };
        let rule = "=".repeat(30);
        let blank = " ".repeat(29);
        for (count, at, text) in [
            (Some(4), 0, format!("proofing [>{blank}] 0 of 4")),
            (Some(4), 4, format!("proofing [{rule}] 4 of 4")),
            (Some(0), 0, format!("proofing [>{blank}] 0 of 0")),
            (None, 7, "| proofing".to_owned()),
        ] {
            assert_eq!(line(count, at).text(8), text);
        }
        let half = line(Some(4), 2).text(0);
        assert!(
            half.starts_with(&format!("proofing [{}> ", "=".repeat(15))),
            "{half}"
        );
    }
}
