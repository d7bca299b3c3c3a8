//! What was handed over under which name, and what has changed since.

use crate::steps::handing::{clip_chain, keyed};
use crate::steps::transforming::with_input;
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
    /// The same with the look, where there was one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) with_look: Option<InputKey>,
}

/// What decides the content of a shot's clip.
pub(crate) fn content_of(
    film: &Film,
    shot: &Shot,
    sources: &[Source],
    look: bool,
) -> Result<InputKey> {
    let fingerprint = sources
        .iter()
        .find(|source| source.id == shot.source)
        .map(|source| &source.fingerprint);
    let key = InputKey::of(&(
        fingerprint,
        shot.in_frame,
        shot.out_frame,
        keyed(&clip_chain(film, shot, look)?),
    ));
    match sources.iter().find(|source| source.id == shot.source) {
        Some(source) => with_input(film, source, key),
        None => Ok(key),
    }
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
            let content = content_of(film, shot, &sources, false)?;
            let with_look = content_of(film, shot, &sources, true)?;
            Ok(VersionShot {
                shot: shot.name.clone(),
                with_look: (with_look != content).then_some(with_look),
                content,
            })
        })
        .collect::<Result<_>>()?;
    film.keep_version(name, &shots)?;
    Ok(())
}

/// The shots whose content is not in a version.
pub(crate) fn changed_since(film: &Film, version: &str, look: bool) -> Result<Vec<Shot>> {
    let before: Vec<VersionShot> = film.version(version)?;
    let sources = film.sources()?;
    let mut changed = Vec::new();
    for shot in film.shots()? {
        let content = content_of(film, &shot, &sources, look)?;
        let same = |known: &VersionShot| match &known.with_look {
            Some(with_look) if look => *with_look == content,
            _ => known.content == content,
        };
        if !before
            .iter()
            .any(|known| known.shot == shot.name && same(known))
        {
            changed.push(shot);
        }
    }
    Ok(changed)
}
