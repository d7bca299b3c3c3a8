//! What can go wrong with a film file.

use std::path::PathBuf;

/// The result of an operation on a film file.
pub type Result<T> = std::result::Result<T, FilmError>;

/// Why a film file could not be used.
#[derive(Debug, thiserror::Error)]
pub enum FilmError {
    /// There is no such file.
    #[error("{}: no such film file; make one with `inkarnat start FILM CLIPS…`", path.display())]
    Missing {
        /// The path that was given.
        path: PathBuf,
    },
    /// The file is there, and a new film was asked for.
    #[error("{}: exists already; choose another name, or go on with this film", path.display())]
    Exists {
        /// The path that was given.
        path: PathBuf,
    },
    /// The file is something else.
    #[error("{}: not a film file ({found}); expected a file made by `inkarnat start`", path.display())]
    NotAFilm {
        /// The path that was given.
        path: PathBuf,
        /// What the file is instead.
        found: String,
    },
    /// The file was written by a later version of the program.
    #[error("{}: written by a later version (schema {found}, this program knows up to {known}); use that version", path.display())]
    TooNew {
        /// The path that was given.
        path: PathBuf,
        /// Schema version of the file.
        found: i64,
        /// Newest schema version that this program knows.
        known: i64,
    },
    /// Another process is writing to the film.
    #[error("{}: another process is writing to this film; wait for it to end, or end it", path.display())]
    Busy {
        /// The path that was given.
        path: PathBuf,
    },
    /// The file system refused something.
    #[error("{}: {doing} failed: {source}", path.display())]
    Io {
        /// The file concerned.
        path: PathBuf,
        /// What was being done.
        doing: &'static str,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The film was opened for reading only.
    #[error("{}: opened for reading only", path.display())]
    ReadOnly {
        /// The film file.
        path: PathBuf,
    },
    /// The database refused something.
    #[error("{}: {source}", path.display())]
    Database {
        /// The film file.
        path: PathBuf,
        /// The database's reason.
        source: rusqlite::Error,
    },
    /// A stored value is not what it should be.
    #[error("{}: damaged entry in {table}: {reason}", path.display())]
    Damaged {
        /// The film file.
        path: PathBuf,
        /// The table.
        table: &'static str,
        /// What is wrong with the entry.
        reason: String,
    },
    /// A name that has to be unlike others is not.
    #[error(
        "there is a {kind} called {name:?} in this film already; choose another name, or merge the two"
    )]
    Taken {
        /// What was named ("person").
        kind: &'static str,
        /// The name that was given.
        name: String,
    },
    /// Something named is not in the film.
    #[error("no {kind} called {name:?} in this film; it has: {known}")]
    Unknown {
        /// What was looked for ("shot", "person").
        kind: &'static str,
        /// The name that was given.
        name: String,
        /// The names that would have been right.
        known: String,
    },
}
