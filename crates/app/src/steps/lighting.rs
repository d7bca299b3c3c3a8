//! Light that changes inside shots.

use crate::Result;
use crate::job::PictureRecord;
use crate::steps::taking::probe_of;
use inkarnat_film::{Film, PersonId, Shot, Stage};
use inkarnat_fix::{Light, light_of};
use inkarnat_reading::{FrameReading, SkinSample};
use serde::{Deserialize, Serialize};

/// The light of one shot, by frames of its source: a shot that is cut otherwise later finds its frames here.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShotLight {
    /// The film's number of the shot.
    pub shot: i64,
    /// The film's number of its source.
    pub source: i64,
    /// The source frames that the shot had, half-open.
    pub frames: (u64, u64),
    /// What was found.
    pub light: Light,
}

/// The light of a shot, from the readings of its skin and of its background.
pub(crate) fn light_in(film: &Film, shot: &Shot) -> Result<Option<Light>> {
    let Some(record) = film.sample::<PictureRecord>(shot.id, None)? else {
        return Ok(None);
    };
    let mut people = Vec::new();
    for person in film.people()? {
        let frames: Option<Vec<FrameReading>> =
            film.frame_readings(shot.id, person.id, Stage::Before)?;
        people.extend(frames);
    }
    let source = film.sources()?.into_iter().find(|s| s.id == shot.source);
    let rate = match &source {
        Some(source) => probe_of(source)?.rate.value(),
        None => 25.0,
    };
    Ok(Some(light_of(&people, &record.light, rate, film.space())))
}

/// The light that holds in a shot: its own, else that of the piece of the same source that shares most frames with it.
pub(crate) fn light_for<'a>(lights: &'a [ShotLight], shot: &Shot) -> Option<&'a Light> {
    if let Some(own) = lights.iter().find(|own| own.shot == shot.id.0) {
        return Some(&own.light);
    }
    let shared = |light: &ShotLight| {
        let (from, to) = light.frames;
        to.min(shot.out_frame)
            .saturating_sub(from.max(shot.in_frame))
    };
    lights
        .iter()
        .filter(|light| light.source == shot.source.0 && shared(light) > 0)
        .max_by_key(|light| shared(light))
        .map(|light| &light.light)
}

/// Skin pixels as they are stored: films that were read earlier do not know their frames.
#[derive(Deserialize)]
#[serde(untagged)]
enum Stored {
    Bare(Vec<[f32; 3]>),
    Whole(SkinSample),
}

fn sample_of(stored: Stored) -> SkinSample {
    match stored {
        Stored::Bare(pixels) => SkinSample {
            pixels,
            frames: Vec::new(),
        },
        Stored::Whole(sample) => sample,
    }
}

/// The solver's skin pixels of a person in a shot.
pub(crate) fn skin_sample(
    film: &Film,
    shot: &Shot,
    person: PersonId,
) -> Result<Option<SkinSample>> {
    Ok(film.sample::<Stored>(shot.id, Some(person))?.map(sample_of))
}

/// The solver's skin pixels of a face.
pub(crate) fn face_sample(film: &Film, face: inkarnat_film::FaceId) -> Result<SkinSample> {
    Ok(film
        .face_sample::<Stored>(face)?
        .map_or_else(SkinSample::default, sample_of))
}
