//! What can go wrong, sorted by whose fault it is.

use std::path::PathBuf;

/// The result of a use case.
pub type Result<T> = std::result::Result<T, AppError>;

/// Why a use case could not be carried out.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// The film file.
    #[error(transparent)]
    Film(#[from] inkarnat_film::FilmError),
    /// What was asked for does not fit the film or the clips.
    #[error("{0}")]
    Request(String),
    /// Something is wrong with one clip; the text names it.
    #[error("{0}")]
    Clip(String),
    /// A file could not be written or read.
    #[error("{}: {doing} failed: {reason}; {advice}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What was being done.
        doing: &'static str,
        /// The system's reason.
        reason: std::io::Error,
        /// What to do.
        advice: &'static str,
    },
    /// The work was stopped on request.
    #[error("stopped on request; what was done is kept, and the same command goes on from there")]
    Cancelled,
    /// The child process died.
    #[error("the process that worked on this clip {how}{}", words(complaint))]
    WorkerEnded {
        /// How it ended.
        how: String,
        /// The last thing that it said.
        complaint: String,
    },
    /// A child process could not be started.
    #[error("could not start a process for a clip: {0}")]
    WorkerStart(std::io::Error),
    /// The running program does not know where it lies.
    #[error("could not find out which program is running: {0}")]
    NoProgram(std::io::Error),
    /// Parent and child do not understand each other.
    #[error("a child process of another version answered: {0}; install the program again")]
    Protocol(String),
}

impl AppError {
    pub(crate) fn protocol(error: serde_json::Error) -> Self {
        Self::Protocol(error.to_string())
    }

    pub(crate) fn writing(path: &std::path::Path) -> impl Fn(std::io::Error) -> Self + '_ {
        move |reason| Self::File {
            path: path.to_owned(),
            doing: "writing",
            reason,
            advice: "make room, or choose a place that can be written",
        }
    }
}

fn words(complaint: &str) -> String {
    if complaint.is_empty() {
        "; the other clips are not touched by that".to_owned()
    } else {
        format!(" ({complaint}); the other clips are not touched by that")
    }
}
