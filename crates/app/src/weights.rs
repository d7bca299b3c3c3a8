//! Where the face models lie.
//!
//! A directory with `boxes.onnx`, `mesh.onnx` and `embedding.onnx`, as `script/fetch-faces` makes
//! them. Looked for, in this order: the environment variable `INKARNAT_FACES`; `faces` beside the
//! program; `share/inkarnat/faces` beside the program's `bin`; `.cache/faces` of a source tree that
//! the program was built in; `inkarnat/faces` in the user's data directory (`XDG_DATA_HOME`, else
//! `~/.local/share`).

use inkarnat_film::Fingerprint;
use inkarnat_people::Models;
use std::path::{Path, PathBuf};

/// Names the environment variable.
const VARIABLE: &str = "INKARNAT_FACES";

/// The face models of this machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Weights {
    /// The directory.
    pub(crate) directory: PathBuf,
    /// What the files are: part of the key of every finding.
    pub(crate) prints: Vec<Fingerprint>,
}

impl Weights {
    /// Finds them, or says where they were looked for.
    ///
    /// # Errors
    /// One line: what was looked for and what to do.
    pub(crate) fn locate() -> Result<Self, String> {
        let places = places();
        for place in &places {
            if let Some(prints) = prints(place) {
                return Ok(Self {
                    directory: place.clone(),
                    prints,
                });
            }
        }
        let listed: Vec<String> = places.iter().map(|p| p.display().to_string()).collect();
        Err(format!(
            "no face models, so faces are not found and patches have to be drawn: run script/setup, or set {VARIABLE} to the directory with {}; looked in {}",
            Models::FILES.join(", "),
            listed.join(", ")
        ))
    }
}

fn prints(directory: &Path) -> Option<Vec<Fingerprint>> {
    Models::FILES
        .iter()
        .map(|name| Fingerprint::of_file(&directory.join(name)).ok())
        .collect()
}

fn places() -> Vec<PathBuf> {
    // What is named is the only place: a wrong name must not be papered over.
    if let Some(named) = std::env::var_os(VARIABLE) {
        return vec![PathBuf::from(named)];
    }
    let mut places = Vec::new();
    let program = std::env::current_exe().and_then(std::fs::canonicalize);
    if let Ok(program) = program
        && let Some(beside) = program.parent()
    {
        places.push(beside.join("faces"));
        if let Some(prefix) = beside.parent() {
            places.push(prefix.join("share/inkarnat/faces"));
        }
        // target/PROFILE/inkarnat, or target/PROFILE/deps/…
        if let Some(tree) = beside
            .ancestors()
            .skip(2)
            .take(2)
            .find(|tree| tree.join("script/fetch-faces").is_file())
        {
            places.push(tree.join(".cache/faces"));
        }
    }
    let data = std::env::var_os("XDG_DATA_HOME")
        .map(PathBuf::from)
        .or_else(|| std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".local/share")));
    places.extend(data.map(|data| data.join("inkarnat/faces")));
    places
}
