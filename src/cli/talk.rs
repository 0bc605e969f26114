//! What is said on the error output beside mistakes: how far long work is, what was written where,
//! and, when asked for, what was done with each file. Reports do not change by it.

use super::write_out::say;
use crate::diagnosis::{How, passages};
use crate::proof::Proofed;
use crate::score::Score;
use crate::style::Style;
use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::fmt::Write as _;
use std::io::{self, IsTerminal};
use std::sync::OnceLock;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// Work that is done sooner shows no progress.
const PATIENCE: Duration = Duration::from_secs(1);

/// How much is said.
#[derive(Clone, Copy, Debug, Default, Args)]
pub(super) struct Talk {
    /// Say nothing on the error output but what could not be used
    #[arg(long, short, global = true, conflicts_with = "verbose")]
    quiet: bool,

    /// Say of each file, on the error output, how long it took, its house style, the techniques it
    /// was held to and what was not checked
    #[arg(long, short, global = true)]
    verbose: bool,
}

// Said once, when the program starts: every command talks alike.
static TALK: OnceLock<Talk> = OnceLock::new();

impl Talk {
    /// Holds from now on.
    pub(super) fn begin(self) {
        let _ = TALK.set(self);
    }
}

fn talk() -> Talk {
    TALK.get().copied().unwrap_or_default()
}

/// Whether details are asked for.
pub(super) fn is_verbose() -> bool {
    talk().verbose
}

/// A sentence for the end of the work, unless all is to be quiet.
pub(super) fn sum_up(sentence: &str) {
    if !talk().quiet {
        say(sentence);
    }
}

/// How far the work is: on a terminal only, and only when it takes a while.
#[derive(Debug)]
pub(super) struct Progress {
    bar: ProgressBar,
    done: Option<Sender<()>>,
    clock: Option<JoinHandle<()>>,
}

impl Progress {
    /// Work on `count` files, or on nobody knows how many.
    pub(super) fn new(what: &'static str, count: Option<usize>) -> Self {
        let length = count.map(|n| n as u64);
        let bar = ProgressBar::with_draw_target(length, ProgressDrawTarget::hidden());
        if talk().quiet || !io::stderr().is_terminal() {
            return Self {
                bar,
                done: None,
                clock: None,
            };
        }
        let template = if count.is_some() {
            "{msg} [{bar:30}] {pos} of {len}"
        } else {
            "{spinner} {msg}"
        };
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.set_message(what);
        let (done, waiting) = channel();
        let shown = bar.clone();
        let clock = std::thread::spawn(move || {
            if waiting.recv_timeout(PATIENCE) == Err(RecvTimeoutError::Timeout) {
                shown.set_draw_target(ProgressDrawTarget::stderr());
                shown.enable_steady_tick(Duration::from_millis(200));
            }
        });
        Self {
            bar,
            done: Some(done),
            clock: Some(clock),
        }
    }

    /// Does something that writes: meanwhile the bar is out of the way.
    pub(super) fn aside<T>(&self, work: impl FnOnce() -> T) -> T {
        self.bar.suspend(work)
    }

    /// One file is done.
    pub(super) fn step(&self) {
        self.bar.inc(1);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        drop(self.done.take());
        if let Some(clock) = self.clock.take() {
            let _ = clock.join();
        }
        self.bar.finish_and_clear();
    }
}

/// What was done with a file, in one line.
pub(super) fn detail(score: &Score, proofed: &Proofed, style: &Style, took: Duration) -> String {
    let mut line = format!(
        "proofed in {} ms, style {}, {} sonorities",
        took.as_millis(),
        style.name,
        proofed.sonorities
    );
    for passage in passages(score, style) {
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
        let _ = write!(line, "; {}:", passage.section.name);
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
