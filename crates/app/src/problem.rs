//! What went wrong with single clips while the others went on.

use crate::event::{Cancel, Event, Stage, Watch};
use crate::worker::Workers;

/// Something that could not be done for one clip, shot or argument.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// What was being done.
    pub stage: Stage,
    /// The clip, shot or argument.
    pub subject: String,
    /// One line: what was found and what to do.
    pub text: String,
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.text.contains(&self.subject) {
            f.write_str(&self.text)
        } else {
            write!(f, "{}: {}", self.subject, self.text)
        }
    }
}

/// What every step needs beside the film.
#[derive(Clone, Copy)]
pub struct Context<'a> {
    /// How child processes are started.
    pub workers: &'a Workers,
    /// Who is told how it goes.
    pub watch: &'a dyn Watch,
    /// Who may stop it.
    pub cancel: &'a Cancel,
}

impl Context<'_> {
    /// Notes a problem and tells the watcher.
    pub(crate) fn fail(
        &self,
        problems: &mut Vec<Problem>,
        stage: Stage,
        subject: &str,
        text: impl Into<String>,
    ) {
        let problem = Problem {
            stage,
            subject: subject.to_owned(),
            text: text.into(),
        };
        self.watch.event(&Event::Failed {
            stage,
            shot: problem.subject.clone(),
            text: problem.to_string(),
        });
        problems.push(problem);
    }

    pub(crate) fn note(&self, shot: &str, text: &str) {
        self.watch.event(&Event::Note {
            shot: shot.to_owned(),
            text: text.to_owned(),
        });
    }

    pub(crate) fn begun(&self, stage: Stage, shot: &str, number: (usize, usize)) {
        self.watch.event(&Event::Begun {
            stage,
            shot: shot.to_owned(),
            number,
        });
    }

    pub(crate) fn ended(&self, stage: Stage, shot: &str, summary: String, unchanged: bool) {
        self.watch.event(&Event::Ended {
            stage,
            shot: shot.to_owned(),
            summary,
            unchanged,
        });
    }

    pub(crate) fn progress(&self, stage: Stage, shot: &str) -> impl FnMut(u64, u64) {
        move |done, total| {
            self.watch.event(&Event::Progress {
                stage,
                shot: shot.to_owned(),
                done,
                total,
            });
        }
    }
}
