//! Input transforms of clips, and looks: taken from files, kept in the film, put in their places.

use crate::{AppError, Result};
use inkarnat_film::{
    Film, InputKey, NewTransform, Packed, Scene, SceneLook, Setup, Source, Transform,
};
use inkarnat_interchange::read_transform;
use inkarnat_ops::Op;
use inkarnat_ops::neutrals::deepest_fall;
use serde::{Deserialize, Serialize};
use serde_json::json;
use std::path::Path;

/// An input transform may darken brighter neutrals by so much of the signal: what a rounded table does by itself, one 8-bit code.
const ALLOWED_FALL: f64 = 1.0 / 219.0;

/// The operations that bring a clip's own signal to the working signal; none where it is that already.
pub(crate) fn input_ops(film: &Film, source: &Source) -> Result<Vec<Op>> {
    match film.input_of(source.id)? {
        Some(input) => Ok(film.operations(&input)?),
        None => Ok(Vec::new()),
    }
}

/// A key of work on a source, with its input transform where it has one.
pub(crate) fn with_input(film: &Film, source: &Source, key: InputKey) -> Result<InputKey> {
    Ok(match film.input_of(source.id)? {
        Some(input) => InputKey::of(&("input", key, input.key)),
        None => key,
    })
}

/// The look of a setup: of its scene, else of the film.
pub(crate) fn look_of(film: &Film, setup: &Setup) -> Result<Option<Transform>> {
    Ok(match film.scene_look(setup.scene)? {
        SceneLook::OfFilm => film.look()?,
        SceneLook::None => None,
        SceneLook::Own(look) => Some(look),
    })
}

/// The operations of that look; none without one.
pub(crate) fn look_ops(film: &Film, setup: &Setup) -> Result<Vec<Op>> {
    match look_of(film, setup)? {
        Some(look) => Ok(film.operations(&look)?),
        None => Ok(Vec::new()),
    }
}

/// What was taken from a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TakenTransform {
    /// The file's name.
    pub name: String,
    /// What the editor should know about it, one line each.
    pub notes: Vec<String>,
}

fn read(file: &Path) -> Result<(NewTransform, Vec<Op>)> {
    let shown = file.display();
    let bytes = std::fs::read(file).map_err(|error| {
        AppError::Request(format!(
            "{shown}: cannot be read ({error}); expected a .cube, .clf, .cc, .ccc or .cdl file"
        ))
    })?;
    let extension = file.extension().unwrap_or_default().to_string_lossy();
    let ops = read_transform(&extension, &bytes)
        .map_err(|error| AppError::Request(format!("{shown}: {error}")))?;
    let name = file
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let new = NewTransform {
        name,
        key: InputKey::of(&ops),
        ops: Packed::of(&ops),
    };
    Ok((new, ops))
}

/// The clips that names or paths mean; all where none is given.
fn clips_named(film: &Film, clips: &[String]) -> Result<Vec<Source>> {
    let sources = film.sources()?;
    if clips.is_empty() {
        return Ok(sources);
    }
    let name = |source: &Source| {
        source
            .path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned()
    };
    let mut found: Vec<Source> = Vec::new();
    for clip in clips {
        let meant: Vec<&Source> = sources
            .iter()
            .filter(|source| {
                source.path == Path::new(clip)
                    || source.absolute == Path::new(clip)
                    || name(source) == *clip
                    || Path::new(&name(source))
                        .file_stem()
                        .is_some_and(|stem| stem == clip.as_str())
            })
            .collect();
        if meant.is_empty() {
            let known: Vec<String> = sources.iter().map(name).collect();
            return Err(AppError::Request(format!(
                "no clip called {clip:?} in this film; it has: {}",
                known.join(", ")
            )));
        }
        for source in meant {
            if !found.iter().any(|known| known.id == source.id) {
                found.push(source.clone());
            }
        }
    }
    Ok(found)
}

/// Gives clips (all where none is named) the input transform of a file; without one takes it away. What was read of them is
/// read again by the next `find` or `read`.
///
/// # Errors
/// If the file cannot be taken, a clip is not in the film, or the film cannot be written.
pub fn set_input(
    film: &mut Film,
    file: Option<&Path>,
    clips: &[String],
) -> Result<Option<TakenTransform>> {
    let sources = clips_named(film, clips)?;
    let of: Vec<&Source> = sources.iter().collect();
    let Some(file) = file else {
        film.set_input(&of, None, &json!({"clips": clips, "file": null}))?;
        return Ok(None);
    };
    let (new, ops) = read(file)?;
    if let Some(fall) = deepest_fall(&ops, ALLOWED_FALL) {
        return Err(AppError::Request(format!(
            "{}: not an input transform: from {:.0} to {:.0} % of signal, brighter grey comes out darker, by up to {:.1} %; expected one that rises throughout (a look that does so on purpose is given with `inkarnat look`)",
            file.display(),
            100.0 * fall.from,
            100.0 * fall.to,
            100.0 * fall.by
        )));
    }
    film.set_input(&of, Some(&new), &json!({"clips": clips, "file": new.name}))?;
    let mut notes = Vec::new();
    let white = ops.iter().fold([1.0; 3], |rgb, op| op.apply(rgb));
    let highest = white.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if highest < 0.9 {
        notes.push(format!(
            "the top of the signal comes out at {:.0} % of reference white",
            100.0 * highest
        ));
    }
    Ok(Some(TakenTransform {
        name: new.name,
        notes,
    }))
}

/// The same as it is typed: `FILE` for all clips, or `CLIP=FILE`.
pub(crate) fn set_input_as_typed(film: &mut Film, text: &str) -> Result<()> {
    match text.split_once('=') {
        Some((clip, file)) if !Path::new(text).exists() => {
            set_input(film, Some(Path::new(file)), &[clip.to_owned()])?
        }
        _ => set_input(film, Some(Path::new(text)), &[])?,
    };
    Ok(())
}

/// Which look is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LookSaid<'a> {
    /// That of a file.
    File(&'a Path),
    /// None, for a scene also where the film has one.
    None,
    /// For a scene: that of the film.
    OfFilm,
}

/// Gives the film, or a scene, a look. Readings and aims are from then on taken after it; nothing is read again.
///
/// # Errors
/// If the file cannot be taken, there is no such scene, or the film cannot be written.
pub fn set_look(
    film: &mut Film,
    scene: Option<&str>,
    said: LookSaid<'_>,
) -> Result<Option<TakenTransform>> {
    let scene: Option<Scene> = match scene {
        None => None,
        Some(name) => {
            let scenes = film.scenes()?;
            let found = scenes.iter().find(|scene| scene.name == name).cloned();
            Some(found.ok_or_else(|| {
                let known: Vec<&str> = scenes.iter().map(|scene| scene.name.as_str()).collect();
                AppError::Request(format!(
                    "no scene called {name:?} in this film; it has: {}",
                    known.join(", ")
                ))
            })?)
        }
    };
    let of = scene.as_ref().map(|scene| scene.name.clone());
    let LookSaid::File(file) = said else {
        let of_film = said == LookSaid::OfFilm;
        let detail = json!({"scene": of, "file": null, "of_film": of_film});
        film.set_look(scene.as_ref(), None, of_film, &detail)?;
        return Ok(None);
    };
    let (new, ops) = read(file)?;
    let detail = json!({"scene": of, "file": new.name});
    film.set_look(scene.as_ref(), Some(&new), false, &detail)?;
    let mut notes = Vec::new();
    if let Some(fall) = deepest_fall(&ops, ALLOWED_FALL) {
        notes.push(format!(
            "from {:.0} to {:.0} % of signal, brighter grey comes out darker under it, by up to {:.1} %: it cannot be undone there, and an aim beyond may not be reached",
            100.0 * fall.from,
            100.0 * fall.to,
            100.0 * fall.by
        ));
    }
    Ok(Some(TakenTransform {
        name: new.name,
        notes,
    }))
}
