//! Light that changes inside shots.

use crate::Result;
use crate::job::PictureRecord;
use crate::steps::taking::probe_of;
use inkarnat_color::WorkingSpace;
use inkarnat_film::{Film, Person, PersonId, Shot, Source, Stage, Stored};
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

/// What the film holds of one shot that its fix is made from, still packed: it is unpacked on all cores.
pub(crate) struct StoredShot {
    picture: Option<Stored>,
    /// Skin pixels and frame readings of everybody, in the order of the film's people.
    skin: Vec<Option<Stored>>,
    frames: Vec<Option<Stored>>,
    rate: f64,
}

/// The same, unpacked.
pub(crate) struct ShotSamples {
    pub(crate) picture: Option<PictureRecord>,
    pub(crate) skin: Vec<Option<SkinSample>>,
    /// `None` where nothing is known of the picture.
    pub(crate) light: Option<Light>,
}

impl StoredShot {
    pub(crate) fn of(
        film: &Film,
        shot: &Shot,
        people: &[Person],
        sources: &[Source],
    ) -> Result<Self> {
        let source = sources.iter().find(|s| s.id == shot.source);
        let each = |found: &dyn Fn(PersonId) -> inkarnat_film::Result<Option<Stored>>| {
            people
                .iter()
                .map(|person| found(person.id))
                .collect::<inkarnat_film::Result<Vec<_>>>()
        };
        Ok(Self {
            picture: film.stored_sample(shot.id, None)?,
            skin: each(&|person| film.stored_sample(shot.id, Some(person)))?,
            frames: each(&|person| film.stored_frame_readings(shot.id, person, Stage::Before))?,
            rate: match source {
                Some(source) => probe_of(source)?.rate.value(),
                None => 25.0,
            },
        })
    }

    pub(crate) fn unpacked(&self, space: WorkingSpace) -> Result<ShotSamples> {
        let picture: Option<PictureRecord> = self.picture.as_ref().map(Stored::get).transpose()?;
        let light = match &picture {
            Some(record) => {
                let people: Vec<Vec<FrameReading>> = self
                    .frames
                    .iter()
                    .flatten()
                    .map(Stored::get)
                    .collect::<inkarnat_film::Result<_>>()?;
                Some(light_of(&people, &record.light, self.rate, space))
            }
            None => None,
        };
        let skin = self
            .skin
            .iter()
            .map(|stored| {
                let sample = stored.as_ref().map(Stored::get::<Pixels>).transpose()?;
                Ok(sample.map(sample_of))
            })
            .collect::<Result<_>>()?;
        Ok(ShotSamples {
            picture,
            skin,
            light,
        })
    }
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
enum Pixels {
    Bare(Vec<[f32; 3]>),
    Whole(SkinSample),
}

fn sample_of(stored: Pixels) -> SkinSample {
    match stored {
        Pixels::Bare(pixels) => SkinSample {
            pixels,
            frames: Vec::new(),
        },
        Pixels::Whole(sample) => sample,
    }
}

/// The solver's skin pixels of a person in a shot.
pub(crate) fn skin_sample(
    film: &Film,
    shot: &Shot,
    person: PersonId,
) -> Result<Option<SkinSample>> {
    Ok(film.sample::<Pixels>(shot.id, Some(person))?.map(sample_of))
}

/// The solver's skin pixels of a face.
pub(crate) fn face_sample(film: &Film, face: inkarnat_film::FaceId) -> Result<SkinSample> {
    Ok(film
        .face_sample::<Pixels>(face)?
        .map_or_else(SkinSample::default, sample_of))
}
