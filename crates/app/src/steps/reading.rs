//! Reading every shot that has patches.

use crate::event::Stage;
use crate::job::{Job, PersonPatches, Read, ReadJob};
use crate::problem::{Context, Problem};
use crate::steps::taking::{assumptions, locate, naming, probe_of};
use crate::{AppError, Result};
use inkarnat_film::{
    Film, InputKey, Packed, PatchId, PatchTrack, Person, PersonReading, ReadResult, Shot, Step,
    value_of,
};
use inkarnat_reading::Patch;

/// Part of the key of every reading: raised when the way of reading changes.
const METHOD: u32 = 3;

/// Reads every shot of which something can be read and that was not read from the same input
/// before.
///
/// # Errors
/// If the film cannot be written, or on cancelling. What is wrong with a shot is a [`Problem`].
pub fn read_film(film: &mut Film, context: Context<'_>, problems: &mut Vec<Problem>) -> Result<()> {
    let shots = film.shots()?;
    for (index, shot) in shots.iter().enumerate() {
        context.begun(Stage::Read, &shot.name, (index + 1, shots.len()));
        match read_shot(film, shot, context) {
            Ok(outcome) => {
                context.ended(Stage::Read, &shot.name, outcome.summary, outcome.unchanged)
            }
            Err(error @ (AppError::Cancelled | AppError::Film(_))) => return Err(error),
            Err(error) => context.fail(problems, Stage::Read, &shot.name, error.to_string()),
        }
    }
    Ok(())
}

struct Outcome {
    summary: String,
    unchanged: bool,
}

/// One person's patches in a shot.
pub(crate) struct Drawn {
    pub(crate) person: Person,
    /// As the film numbers them.
    pub(crate) ids: Vec<PatchId>,
    /// In the same order.
    pub(crate) patches: Vec<Patch>,
}

/// The patches of a shot, by person.
pub(crate) fn patches_of(film: &Film, shot: &Shot) -> Result<Vec<Drawn>> {
    let mut people: Vec<Drawn> = Vec::new();
    for stored in film.patches(shot.id)? {
        let shape = serde_json::from_value(stored.shape.clone()).map_err(|error| {
            AppError::Request(format!(
                "{}: a patch of another version ({error}); draw it again",
                shot.name
            ))
        })?;
        let position = match people.iter().position(|p| p.person.id == stored.person) {
            Some(position) => position,
            None => {
                let person = film
                    .people()?
                    .into_iter()
                    .find(|person| person.id == stored.person)
                    .ok_or_else(|| {
                        AppError::Request(format!("{}: a patch of nobody", shot.name))
                    })?;
                people.push(Drawn {
                    person,
                    ids: Vec::new(),
                    patches: Vec::new(),
                });
                people.len() - 1
            }
        };
        let drawn = &mut people[position];
        drawn.ids.push(stored.id);
        drawn.patches.push(Patch {
            shape,
            frame: stored.frame,
            person: Some(drawn.person.name.clone()),
        });
    }
    Ok(people)
}

fn read_shot(film: &mut Film, shot: &Shot, context: Context<'_>) -> Result<Outcome> {
    let people = patches_of(film, shot)?;
    if people.is_empty() {
        return Err(AppError::Request(format!(
            "{}: no patch is drawn on it, so nothing is read; draw one with --patch '{}@FRAME:ellipse=CX,CY,RX,RY'",
            shot.name, shot.name
        )));
    }
    let (source, path) = locate(film, shot)?;
    let job = ReadJob {
        path,
        frames: source.frames,
        space: film.space(),
        people: people
            .iter()
            .map(|drawn| PersonPatches {
                person: drawn.person.name.clone(),
                patches: drawn.patches.clone(),
            })
            .collect(),
    };
    let key = InputKey::of(&(
        METHOD,
        &source.fingerprint,
        shot.in_frame,
        shot.out_frame,
        job.space,
        &job.people,
    ));
    if film.is_done(shot.id, Step::Read, &key)? {
        return Ok(Outcome {
            summary: "read before from the same input".to_owned(),
            unchanged: true,
        });
    }
    let probe = probe_of(&source)?;
    let outcome = context.workers.run::<Read>(
        &Job::Read(job),
        context.cancel,
        context.progress(Stage::Read, &shot.name),
    );
    let read = match outcome {
        Ok(read) => read,
        Err(AppError::Cancelled) => return Err(AppError::Cancelled),
        Err(error) => {
            let error = naming(&source.path, error);
            film.keep_failure(shot.id, Step::Read, &key, &error.to_string())?;
            return Err(error);
        }
    };
    let mut notes = assumptions(&probe);
    notes.extend(read.notes.iter().cloned());
    for note in &read.notes {
        context.note(&shot.name, note);
    }
    let mut unreadable = Vec::new();
    let mut result = ReadResult {
        tracks: Vec::new(),
        people: Vec::new(),
        picture: Packed::of(&read.picture),
        notes,
    };
    for (Drawn { person, ids, .. }, read) in people.iter().zip(&read.people) {
        for (patch, track) in ids.iter().zip(&read.tracks) {
            result.tracks.push(PatchTrack {
                patch: *patch,
                poses: Packed::of(track),
            });
        }
        match &read.reading {
            Ok(reading) => result.people.push(PersonReading {
                person: person.id,
                frames: Packed::of(&read.frames),
                reading: value_of(reading),
                sample: Packed::of(&read.skin),
            }),
            Err(reason) => unreadable.push(format!("{} cannot be read: {reason}", person.name)),
        }
    }
    if result.people.is_empty() {
        let reason = format!("{}: {}", source.path.display(), unreadable.join("; "));
        film.keep_failure(shot.id, Step::Read, &key, &reason)?;
        return Err(AppError::Clip(reason));
    }
    result.notes.extend(unreadable.iter().cloned());
    film.keep_readings(shot.id, &key, &result)?;
    for text in &unreadable {
        context.note(&shot.name, text);
    }
    let levels: Vec<String> = people
        .iter()
        .zip(&read.people)
        .filter_map(|(drawn, read)| {
            let reading = read.reading.as_ref().ok()?;
            Some(format!("{} {:.1} %", drawn.person.name, reading.level.0))
        })
        .collect();
    Ok(Outcome {
        summary: levels.join(", "),
        unchanged: false,
    })
}
