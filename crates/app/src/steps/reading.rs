//! Reading every shot: patches that were drawn, faces that are found or were found before.

use crate::event::Stage;
use crate::job::{Faces, FindOrder, Job, PersonPatches, PictureRecord, Read, ReadJob};
use crate::problem::{Context, Problem};
use crate::steps::cutting::left_out_of;
use crate::steps::finding::{self, known_faces, new_faces};
use crate::steps::reuse::{covers, sum_up_again};
use crate::steps::suggesting::carries;
use crate::steps::taking::{assumptions, locate, naming, probe_of};
use crate::steps::transforming::{input_ops, with_input};
use crate::weights::Weights;
use crate::{AppError, Result};
use inkarnat_film::{
    Film, InputKey, Packed, PatchId, PatchTrack, Person, PersonReading, ReadResult, Shot, Source,
    Step, StepOutcome, value_of,
};
use inkarnat_reading::Patch;

/// Part of the key of every reading: raised when the way of reading changes.
const METHOD: u32 = 5;

/// How a film is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ReadOrder {
    /// Whether faces are looked for in shots where that was not done yet; those found before are
    /// read in any case.
    pub find: bool,
    /// Every how many-th frame is read. Without it: as the faces of the shot were found, else every
    /// frame.
    pub every: Option<u64>,
}

/// Reads every shot of which something can be read and that was not read from the same input
/// before; then says who is who (`finding::settle`).
///
/// # Errors
/// If the film cannot be written, or on cancelling. What is wrong with a shot is a [`Problem`].
pub fn read_film(
    film: &mut Film,
    order: ReadOrder,
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    let weights = if order.find {
        match Weights::locate() {
            Ok(weights) => Some(weights),
            Err(reason) => {
                context.note(film.name(), &reason);
                None
            }
        }
    } else {
        None
    };
    let shots = film.shots()?;
    for (index, shot) in shots.iter().enumerate() {
        context.begun(Stage::Read, &shot.name, (index + 1, shots.len()));
        match read_shot(film, shot, order, weights.as_ref(), context) {
            Ok(outcome) => {
                context.ended(Stage::Read, &shot.name, outcome.summary, outcome.unchanged)
            }
            Err(error @ (AppError::Cancelled | AppError::Film(_))) => return Err(error),
            Err(error) => context.fail(problems, Stage::Read, &shot.name, error.to_string()),
        }
    }
    finding::settle(film, None)?;
    for shot in &shots {
        let read = film.step(shot.id, Step::Read)?;
        if read.is_some_and(|step| step.outcome == StepOutcome::Done)
            && film.people_read(shot.id)?.is_empty()
        {
            if let Some(setup) = carries(film, shot)? {
                let text = format!("nobody is read in it; it carries the fix of {setup}");
                context.note(&shot.name, &text);
                continue;
            }
            let text = nobody(film, shot, weights.is_some())?;
            context.fail(problems, Stage::Read, &shot.name, text);
        }
    }
    Ok(())
}

/// Why nothing is read in a shot, and what to do.
fn nobody(film: &Film, shot: &Shot, looked: bool) -> Result<String> {
    let faces = film.faces(Some(shot.id))?;
    let found = match (faces.is_empty(), looked) {
        (false, _) => finding::unread_faces(&faces)?,
        (true, true) => "no face was found in it and no patch is drawn on it".to_owned(),
        (true, false) => "no patch is drawn on it and faces were not looked for".to_owned(),
    };
    Ok(format!(
        "{0}: {found}, so nothing is read; draw a patch with --patch '{0}@FRAME:ellipse=CX,CY,RX,RY', or leave the shot with `inkarnat keep`",
        shot.name
    ))
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

/// What is done about the faces of a shot.
struct FacePlan {
    faces: Faces,
    /// Key of the finding that the faces come from.
    key: Option<InputKey>,
    every: u64,
}

fn plan(
    film: &Film,
    shot: &Shot,
    source: &Source,
    order: ReadOrder,
    weights: Option<&Weights>,
) -> Result<FacePlan> {
    let known = film
        .step(shot.id, Step::Find)?
        .filter(|step| step.outcome == StepOutcome::Done)
        .map(|step| step.key);
    if let Some(weights) = weights {
        let every = order.every.unwrap_or(1).max(1);
        let key = finding::key(film, source, every, weights)?;
        let faces = if known.as_ref() == Some(&key) && covers(film, shot)? {
            Faces::Known(known_faces(film, shot)?)
        } else {
            Faces::Find(FindOrder {
                models: weights.directory.clone(),
            })
        };
        return Ok(FacePlan {
            faces,
            key: Some(key),
            every,
        });
    }
    let found_every = film
        .sample::<PictureRecord>(shot.id, None)?
        .map(|record| record.every);
    let every = order.every.or(found_every).unwrap_or(1).max(1);
    Ok(match (known, film.erased(shot.id)?) {
        (Some(key), _) => FacePlan {
            faces: Faces::Known(known_faces(film, shot)?),
            key: Some(key),
            every,
        },
        // Their readings stand; they cannot be taken again.
        (None, erased) => FacePlan {
            faces: Faces::Off,
            key: erased,
            every,
        },
    })
}

fn read_shot(
    film: &mut Film,
    shot: &Shot,
    order: ReadOrder,
    weights: Option<&Weights>,
    context: Context<'_>,
) -> Result<Outcome> {
    let people = patches_of(film, shot)?;
    let (source, path) = locate(film, shot)?;
    let FacePlan {
        faces,
        key: found,
        every,
    } = plan(film, shot, &source, order, weights)?;
    if people.is_empty() && matches!(&faces, Faces::Off) && found.is_none() {
        return Err(AppError::Request(nobody(film, shot, false)?));
    }
    let job = ReadJob {
        path,
        input: input_ops(film, &source)?,
        first: shot.in_frame,
        frames: shot.out_frame - shot.in_frame,
        every,
        left_out: left_out_of(&source, shot)?,
        space: film.space(),
        people: people
            .iter()
            .map(|drawn| PersonPatches {
                person: drawn.person.name.clone(),
                patches: drawn.patches.clone(),
            })
            .collect(),
        faces,
    };
    let base = InputKey::of(&(
        METHOD,
        &source.fingerprint,
        job.space,
        &job.people,
        every,
        &found,
    ));
    let mut base = with_input(film, &source, base)?;
    if !job.left_out.areas.is_empty() {
        // Readings from before skin beneath titles was left out.
        base = InputKey::of(&(base, "skin beside titles alone"));
    }
    let key = InputKey::of(&(&base, shot.in_frame, shot.out_frame, &job.left_out));
    let probe = probe_of(&source)?;
    if film.is_done(shot.id, Step::Read, &key)? || sum_up_again(film, shot, (&base, &key), &probe)?
    {
        return Ok(Outcome {
            summary: "read before from the same input".to_owned(),
            unchanged: true,
        });
    }
    let asked = job.faces.clone();
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
    let faces_read = read.faces.iter().filter(|f| !f.frames.is_empty()).count();
    if !people.is_empty() && result.people.is_empty() && faces_read == 0 {
        let reason = format!("{}: {}", source.path.display(), unreadable.join("; "));
        film.keep_failure(shot.id, Step::Read, &key, &reason)?;
        return Err(AppError::Clip(reason));
    }
    result.notes.extend(unreadable.iter().cloned());
    let new = match (&asked, found) {
        (Faces::Off, _) | (_, None) => None,
        (asked, Some(found)) => Some((
            found,
            new_faces(
                film,
                shot,
                &read.faces,
                &probe,
                matches!(asked, Faces::Known(_)),
            )?,
        )),
    };
    film.keep_readings(shot.id, &key, &result)?;
    film.keep_read_span(shot, &base)?;
    if let Some((found, faces)) = &new {
        film.keep_faces(shot.id, found, faces)?;
    }
    for text in &unreadable {
        context.note(&shot.name, text);
    }
    let mut summary: Vec<String> = people
        .iter()
        .zip(&read.people)
        .filter_map(|(drawn, read)| {
            let reading = read.reading.as_ref().ok()?;
            Some(format!("{} {:.1} %", drawn.person.name, reading.level.0))
        })
        .collect();
    if new.is_some() {
        summary.push(match (read.faces.len(), faces_read) {
            (0, _) => "no face found".to_owned(),
            (1, 1) => "1 face read".to_owned(),
            (found, all) if found == all => format!("{found} faces read"),
            (found, read) => format!("{read} of {found} faces read"),
        });
    }
    Ok(Outcome {
        summary: summary.join(", "),
        unchanged: false,
    })
}
