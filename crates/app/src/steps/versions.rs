//! What was handed over under which name, and what has changed since.

use crate::steps::handing::{chain_of, keyed};
use crate::{AppError, Result};
use inkarnat_film::{Film, InputKey, Shot, Source};
use serde::{Deserialize, Serialize};

/// A shot of a version: what decides the content of its clip, apart from codec and handles.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct VersionShot {
    /// Its name then.
    pub(crate) shot: String,
    /// Key of source, frames and fix.
    pub(crate) content: InputKey,
}

/// What decides the content of a shot's clip.
pub(crate) fn content_of(film: &Film, shot: &Shot, sources: &[Source]) -> Result<InputKey> {
    let fingerprint = sources
        .iter()
        .find(|source| source.id == shot.source)
        .map(|source| &source.fingerprint);
    Ok(InputKey::of(&(
        fingerprint,
        shot.in_frame,
        shot.out_frame,
        keyed(&chain_of(film, shot)?),
    )))
}

/// The name that a version gets: the one asked for, or the next free "version N".
///
/// # Errors
/// If there is a version of that name.
pub(crate) fn name_for(film: &Film, wanted: Option<&str>) -> Result<String> {
    let known = film.versions()?;
    let taken = |name: &str| known.iter().any(|version| version.name == name);
    match wanted {
        Some(name) if taken(name) => Err(AppError::Request(format!(
            "there is a version called {name:?} already; choose another --name"
        ))),
        Some(name) => Ok(name.to_owned()),
        None => Ok((known.len() + 1..)
            .map(|number| format!("version {number}"))
            .find(|name| !taken(name))
            .unwrap_or_default()),
    }
}

/// Records what the film holds now under a name.
pub(crate) fn record(film: &mut Film, name: &str) -> Result<()> {
    let sources = film.sources()?;
    let shots: Vec<VersionShot> = film
        .shots()?
        .iter()
        .map(|shot| {
            Ok(VersionShot {
                shot: shot.name.clone(),
                content: content_of(film, shot, &sources)?,
            })
        })
        .collect::<Result<_>>()?;
    film.keep_version(name, &shots)?;
    Ok(())
}

/// The shots whose content is not in a version.
pub(crate) fn changed_since(film: &Film, version: &str) -> Result<Vec<Shot>> {
    let before: Vec<VersionShot> = film.version(version)?;
    let sources = film.sources()?;
    let mut changed = Vec::new();
    for shot in film.shots()? {
        let content = content_of(film, &shot, &sources)?;
        if !before
            .iter()
            .any(|known| known.shot == shot.name && known.content == content)
        {
            changed.push(shot);
        }
    }
    Ok(changed)
}
