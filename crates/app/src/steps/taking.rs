//! Taking clips, patches and aims in.

use crate::event::Stage;
use crate::job::{Job, ProbeJob, Probed};
use crate::problem::{Context, Problem};
use crate::steps::suggesting::suggest_groups;
use crate::{AppError, Result};
use inkarnat_film::{Film, Fingerprint, NewSource, Shot, Source, value_of};
use inkarnat_fix::Aim;
use inkarnat_media::Probe;
use inkarnat_reading::PatchArgument;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// An aim as it was set, with the words that set it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AimSetting {
    /// As typed.
    pub text: String,
    /// What that means.
    pub aim: Aim,
}

impl AimSetting {
    /// The aim of everybody for whom nothing was said.
    #[must_use]
    pub fn own() -> Self {
        Self {
            text: "own".to_owned(),
            aim: Aim::own(),
        }
    }
}

/// Opens the film at a path, or makes it there.
///
/// # Errors
/// As [`Film::open`] and [`Film::create`].
pub fn open_or_create(path: &Path) -> Result<Film> {
    if path.exists() {
        return Ok(Film::open(path)?);
    }
    let name = path
        .file_stem()
        .map_or_else(|| "film".to_owned(), |s| s.to_string_lossy().into_owned());
    Ok(Film::create(
        path,
        &name,
        inkarnat_color::WorkingSpace::default(),
    )?)
}

/// Takes clips in; those that are in already are looked at only if they changed.
///
/// # Errors
/// If the film cannot be written, or on cancelling. What is wrong with a clip is a [`Problem`].
pub fn take_in(
    film: &mut Film,
    clips: &[PathBuf],
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    for (index, clip) in clips.iter().enumerate() {
        let name = clip.to_string_lossy().into_owned();
        context.begun(Stage::Start, &name, (index + 1, clips.len()));
        match take_one(film, clip, context) {
            Ok(None) => context.ended(Stage::Start, &name, "is in the film".to_owned(), true),
            Ok(Some(probed)) => {
                for note in assumptions(&probed.probe) {
                    context.note(&name, &note);
                }
                let summary = format!("{} frames, {}", probed.frames, summary(&probed.probe));
                context.ended(Stage::Start, &name, summary, false);
            }
            Err(error @ (AppError::Cancelled | AppError::Film(_))) => return Err(error),
            Err(error) => context.fail(problems, Stage::Start, &name, error.to_string()),
        }
    }
    suggest_groups(film, context)
}

fn take_one(film: &mut Film, clip: &Path, context: Context<'_>) -> Result<Option<Probed>> {
    let Some((source, probed)) = new_source(film, clip, context)? else {
        let absolute = std::fs::canonicalize(clip).ok();
        // A source without a shot in the cut becomes one.
        let known = film
            .sources()?
            .into_iter()
            .find(|source| Some(&source.absolute) == absolute.as_ref());
        if let Some(known) = known {
            film.take_in(&NewSource {
                path: known.path,
                absolute: known.absolute,
                fingerprint: known.fingerprint,
                probe: known.probe,
                frames: known.frames,
            })?;
        }
        return Ok(None);
    };
    film.take_in(&source)?;
    Ok(Some(probed))
}

/// Looks at a clip; `None` where the film knows exactly this file.
pub(crate) fn new_source(
    film: &Film,
    clip: &Path,
    context: Context<'_>,
) -> Result<Option<(NewSource, Probed)>> {
    let shown = clip.display();
    std::fs::metadata(clip).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => {
            AppError::Clip(format!("{shown}: no such file; check the path"))
        }
        _ => AppError::Clip(format!(
            "{shown}: cannot be looked at: {error}; check the path"
        )),
    })?;
    let unreadable = |error: std::io::Error| {
        AppError::Clip(format!(
            "{shown}: cannot be read: {error}; check its permissions"
        ))
    };
    let absolute = std::fs::canonicalize(clip).map_err(unreadable)?;
    let fingerprint = Fingerprint::of_file(&absolute).map_err(unreadable)?;
    let known = film
        .sources()?
        .into_iter()
        .any(|source| source.absolute == absolute && source.fingerprint == fingerprint);
    if known {
        return Ok(None);
    }
    let job = Job::Probe(ProbeJob {
        path: clip.to_owned(),
    });
    let probed: Probed = context
        .workers
        .run(&job, context.cancel, |_, _| {})
        .map_err(|error| naming(clip, error))?;
    let source = NewSource {
        path: clip.to_owned(),
        absolute,
        fingerprint,
        probe: value_of(&probed.probe),
        frames: probed.frames,
    };
    Ok(Some((source, probed)))
}

/// An error of a child with the clip's name before it, unless it has it already.
pub(crate) fn naming(clip: &Path, error: AppError) -> AppError {
    let name = clip.to_string_lossy();
    match error {
        AppError::Cancelled => AppError::Cancelled,
        error => {
            let text = error.to_string();
            AppError::Clip(if text.contains(name.as_ref()) {
                text
            } else {
                format!("{name}: {text}")
            })
        }
    }
}

/// The source of a shot, opened where it was or where it is now.
///
/// # Errors
/// [`AppError::Clip`] if it is gone or is another file by now.
pub(crate) fn locate(film: &Film, shot: &Shot) -> Result<(Source, PathBuf)> {
    let source = film
        .sources()?
        .into_iter()
        .find(|source| source.id == shot.source)
        .ok_or_else(|| AppError::Request(format!("shot {} has no source", shot.name)))?;
    let path = source_path(film, &source)?;
    Ok((source, path))
}

/// Where a source is now: where it was, or beside the film file.
pub(crate) fn source_path(film: &Film, source: &Source) -> Result<PathBuf> {
    let beside = film
        .path()
        .parent()
        .zip(source.path.file_name())
        .map(|(directory, name)| directory.join(name));
    let mut changed = None;
    for place in [
        Some(source.absolute.clone()),
        Some(source.path.clone()),
        beside,
    ]
    .into_iter()
    .flatten()
    {
        match Fingerprint::of_file(&place) {
            Ok(print) if print == source.fingerprint => return Ok(place),
            Ok(print) => changed = changed.or(Some((place, print))),
            Err(_) => {}
        }
    }
    Err(AppError::Clip(match changed {
        Some((place, print)) => format!(
            "{}: not the file that was taken in ({} bytes, expected {}); bring the old one back, or take this one in with `inkarnat start`",
            place.display(),
            print.size,
            source.fingerprint.size
        ),
        None => format!(
            "{}: no longer there; put it back, or beside the film file",
            source.path.display()
        ),
    }))
}

/// Draws patches given as `CLIP@FRAME:ellipse=…[:person=NAME]`.
///
/// # Errors
/// If the film cannot be written. What is wrong with a patch is a [`Problem`].
pub fn draw(
    film: &mut Film,
    patches: &[String],
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    for text in patches {
        match draw_one(film, text) {
            Ok(()) => {}
            Err(error @ AppError::Film(_)) => return Err(error),
            Err(error) => context.fail(problems, Stage::Start, text, error.to_string()),
        }
    }
    Ok(())
}

/// Draws a patch of a shot.
///
/// # Errors
/// If there is no such shot or frame, or the outline is none; if the film cannot be written.
pub fn draw_shape(
    film: &mut Film,
    shot: &str,
    person: &str,
    frame: u64,
    shape: &crate::view::OutlineShape,
) -> Result<()> {
    let shot = film.shot_named(shot)?;
    let person = person.trim();
    if person.is_empty() {
        return Err(AppError::Request(format!(
            "{}: a patch of nobody; name the person",
            shot.name
        )));
    }
    let patch = inkarnat_reading::Patch {
        shape: shape.shape(),
        frame,
        person: Some(person.to_owned()),
    };
    draw_patch(film, &shot, &patch, &shot.name)
}

fn draw_one(film: &mut Film, text: &str) -> Result<()> {
    let bad = |reason: String| AppError::Request(reason);
    let PatchArgument { clip, patch } = PatchArgument::parse(text).map_err(|error| {
        let reason = error.to_string();
        // Errors of the shape repeat the shape alone; the clip belongs to the message too.
        bad(if reason.contains(text) {
            reason
        } else {
            format!("{text}: {reason}")
        })
    })?;
    let shot = find_shot(film, &clip, patch.frame)?;
    draw_patch(film, &shot, &patch, text)
}

/// `text` names the patch in messages.
fn draw_patch(
    film: &mut Film,
    shot: &Shot,
    patch: &inkarnat_reading::Patch,
    text: &str,
) -> Result<()> {
    let bad = |reason: String| AppError::Request(reason);
    let source = film
        .sources()?
        .into_iter()
        .find(|source| source.id == shot.source)
        .ok_or_else(|| bad(format!("shot {} has no source", shot.name)))?;
    if patch.frame >= source.frames {
        return Err(bad(format!(
            "{text}: frame {} does not exist; {} has frames 0 to {}",
            patch.frame,
            source.path.display(),
            source.frames - 1
        )));
    }
    let probe = probe_of(&source)?;
    patch
        .check(probe.width, probe.height)
        .map_err(|error| bad(format!("{text}: {error}")))?;
    let person = patch.person.clone().unwrap_or_else(|| shot.name.clone());
    film.draw(
        shot.id,
        &person,
        patch.frame,
        &patch.shape,
        &AimSetting::own(),
    )?;
    Ok(())
}

/// Takes patches back, given as `CLIP@FRAME` or `CLIP@FRAME:person=NAME`.
///
/// # Errors
/// If the film cannot be written. What is wrong with a place is a [`Problem`].
pub fn undraw(
    film: &mut Film,
    places: &[String],
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    for text in places {
        match undraw_one(film, text) {
            Ok(()) => {}
            Err(error @ AppError::Film(_)) => return Err(error),
            Err(error) => context.fail(problems, Stage::Start, text, error.to_string()),
        }
    }
    Ok(())
}

fn undraw_one(film: &mut Film, text: &str) -> Result<()> {
    let bad = || {
        AppError::Request(format!(
            "{text}: expected CLIP@FRAME or CLIP@FRAME:person=NAME"
        ))
    };
    let (place, person) = match text.rsplit_once(":person=") {
        Some((place, person)) => (place, Some(person)),
        None => (text, None),
    };
    let (clip, frame) = place.rsplit_once('@').ok_or_else(bad)?;
    let frame: u64 = frame.parse().map_err(|_| bad())?;
    let shot = find_shot(film, clip, frame)?;
    undraw_in(film, &shot, (frame, person), text)
}

/// Takes the patch of a person that was drawn on a frame of a shot back.
///
/// # Errors
/// If none is drawn there; if the film cannot be written.
pub fn undraw_shape(film: &mut Film, shot: &str, person: &str, frame: u64) -> Result<()> {
    let shot = film.shot_named(shot)?;
    let text = format!("{person} in frame {frame} of {}", shot.name);
    undraw_in(film, &shot, (frame, Some(person)), &text)
}

/// `text` names the place in messages.
fn undraw_in(
    film: &mut Film,
    shot: &Shot,
    (frame, person): (u64, Option<&str>),
    text: &str,
) -> Result<()> {
    let people = film.people()?;
    let named = |patch: &inkarnat_film::Patch| {
        people
            .iter()
            .find(|p| p.id == patch.person)
            .map_or("", |p| p.name.as_str())
    };
    let found: Vec<inkarnat_film::Patch> = film
        .patches(shot.id)?
        .into_iter()
        .filter(|patch| patch.frame == frame && person.is_none_or(|name| named(patch) == name))
        .collect();
    match found.as_slice() {
        [patch] => Ok(film.undraw(patch.id)?),
        [] => Err(AppError::Request(format!(
            "{text}: no patch is drawn there; `inkarnat patch FILM` lists them"
        ))),
        _ => Err(AppError::Request(format!(
            "{text}: {} patches are drawn there, of {}; add :person=NAME",
            found.len(),
            listed(found.iter().map(named))
        ))),
    }
}

/// Every drawn patch in the words that draw it.
///
/// # Errors
/// If the film cannot be read.
pub fn patches_listed(film: &Film) -> Result<Vec<String>> {
    let mut lines = Vec::new();
    for shot in film.shots()? {
        for drawn in crate::steps::reading::patches_of(film, &shot)? {
            for patch in &drawn.patches {
                lines.push(format!(
                    "{}@{}:{}:person={}",
                    shot.name, patch.frame, patch.shape, drawn.person.name
                ));
            }
        }
    }
    Ok(lines)
}

/// What was found out about a source.
pub(crate) fn probe_of(source: &Source) -> Result<Probe> {
    serde_json::from_value(source.probe.clone()).map_err(|error| {
        AppError::Request(format!(
            "{}: taken in by another version ({error}); take it in again with `inkarnat start`",
            source.path.display()
        ))
    })
}

/// The shot that a clip's path, file name or a shot's name means: of several pieces of one clip, the
/// one with that frame.
fn find_shot(film: &Film, clip: &str, frame: u64) -> Result<Shot> {
    let shots = film.shots()?;
    let sources = film.sources()?;
    let absolute = std::fs::canonicalize(clip).ok();
    let by = |matches: &dyn Fn(&Shot, &Source) -> bool| -> Vec<Shot> {
        shots
            .iter()
            .filter(|shot| {
                sources
                    .iter()
                    .any(|source| source.id == shot.source && matches(shot, source))
            })
            .cloned()
            .collect()
    };
    let tries = [
        by(&|_, source| source.path == Path::new(clip)),
        by(&|_, source| Some(&source.absolute) == absolute.as_ref()),
        by(&|_, source| source.path.file_name().is_some_and(|name| name == clip)),
        by(&|shot, _| shot.name == clip),
    ];
    match tries.into_iter().find(|found| !found.is_empty()) {
        Some(found) if found.len() == 1 => Ok(found.into_iter().next().expect("there is one")),
        Some(found) => {
            let mut holding = found
                .iter()
                .filter(|shot| (shot.in_frame..shot.out_frame).contains(&frame));
            let one_source = found.iter().all(|shot| shot.source == found[0].source);
            match (holding.next(), holding.next(), one_source) {
                (Some(shot), None, true) => Ok(shot.clone()),
                (_, _, true) => Err(AppError::Request(format!(
                    "{clip} at frame {frame} means {}; the film has these pieces of it: {}",
                    if found.len() > 1 {
                        "no single shot"
                    } else {
                        "no shot"
                    },
                    listed(found.iter().map(|shot| format!(
                        "{} (frames {} to {})",
                        shot.name,
                        shot.in_frame,
                        shot.out_frame - 1
                    )))
                ))),
                _ => Err(AppError::Request(format!(
                    "{clip} means {} clips of this film; give the path of one",
                    found.len()
                ))),
            }
        }
        None => Err(AppError::Request(format!(
            "{clip} is not a clip of this film; it has: {}",
            listed(sources.iter().map(|source| source.path.to_string_lossy()))
        ))),
    }
}

/// Sets aims given as `NAME=AIM`.
///
/// # Errors
/// If the film cannot be written. What is wrong with an aim is a [`Problem`].
pub fn set_aims(
    film: &mut Film,
    aims: &[String],
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    for text in aims {
        if let Err(error) = set_aim(film, text) {
            match error {
                AppError::Film(inkarnat_film::FilmError::Unknown {
                    kind: "person",
                    name,
                    known,
                }) => {
                    context.fail(
                        problems,
                        Stage::Start,
                        text,
                        format!(
                            "{text}: {name} is named in no patch; people of this film: {known}"
                        ),
                    );
                }
                AppError::Film(error) => return Err(error.into()),
                error => context.fail(problems, Stage::Start, text, error.to_string()),
            }
        }
    }
    Ok(())
}

/// Sets one aim, `NAME=AIM`.
///
/// # Errors
/// If it is no aim, the film has nobody of that name, or it cannot be written.
pub fn set_aim(film: &mut Film, text: &str) -> Result<()> {
    let (name, setting) = aim_in(film, text)?;
    film.set_aim(&name, &setting.text, &setting)?;
    Ok(())
}

/// Whom `NAME=AIM` is about, and the aim.
///
/// # Errors
/// If it is no aim, or like a shot that the film has not.
pub(crate) fn aim_in(film: &Film, text: &str) -> Result<(String, AimSetting)> {
    let Some((name, aim)) = text.split_once('=') else {
        return Err(AppError::Request(format!(
            "{text}: expected NAME=AIM, such as 'Ana=own' or 'Ana=level:62-68,hue:120-126'"
        )));
    };
    let (name, words) = (name.trim(), aim.trim());
    let aim = Aim::parse(words).map_err(|error| AppError::Request(format!("{text}: {error}")))?;
    if let inkarnat_fix::AimKind::Like(shot) = &aim.kind {
        film.shot_named(shot)
            .map_err(|error| AppError::Request(format!("{text}: {error}")))?;
    }
    let setting = AimSetting {
        text: words.to_owned(),
        aim,
    };
    Ok((name.to_owned(), setting))
}

pub(crate) fn listed(names: impl Iterator<Item = impl AsRef<str>>) -> String {
    let names: Vec<String> = names.map(|name| name.as_ref().to_owned()).collect();
    if names.is_empty() {
        "none".to_owned()
    } else {
        names.join(", ")
    }
}

/// What had to be assumed about a clip, one line each.
pub(crate) fn assumptions(probe: &Probe) -> Vec<String> {
    probe.notes.clone()
}

fn summary(probe: &Probe) -> String {
    format!("{}x{}", probe.width, probe.height)
}
