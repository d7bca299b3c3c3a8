//! The faces of a shot: found and followed, or known from before, and read as the frames go by.
//!
//! The key side of a face is chosen once a shot, when all of it was seen: until then both sides are
//! read, so that one decoding is enough.

use crate::clip::picking::{face_picture, part_of, skin_rule};
use crate::clip::reading::{Reading, SKIN_PIXELS};
use crate::job::{Faces, KnownFace, ReadFace, ReadJob};
use crate::{AppError, Result};
use inkarnat_color::picture::Native;
use inkarnat_color::{Region, Rgb, WorkingSpace};
use inkarnat_people::{
    FaceFollower, FaceSkin, FaceTrack, FollowSettings, Models, NoSkin, Outline, PeopleError, Side,
    SideLights, SkinRule, both_sides, choose_skin, face_light,
};
use inkarnat_reading::{ClipRule, FrameReading, PatchPixels, SkinSample, read_frame};

/// Everything that is read of the faces of a shot.
pub(crate) struct FaceReader {
    source: Source,
    space: WorkingSpace,
    at_white: SkinRule,
    at_top: SkinRule,
    /// First source frame of the shot, its frames, the last one that is read, and every how many-th
    /// is.
    first: u64,
    last: Option<u64>,
    frames: u64,
    every: u64,
    /// One list for each face.
    seen: Vec<Vec<Seen>>,
}

enum Source {
    Off,
    Found(Box<Finder>),
    Known(Vec<KnownFace>),
}

struct Finder {
    models: Models,
    follower: FaceFollower,
}

/// One face in one frame.
struct Seen {
    frame: u64,
    lights: SideLights,
    /// The person's right and left; one of them where the key side is known.
    sides: [Option<std::result::Result<SideRead, NoSkin>>; 2],
}

/// One side of a face in one frame.
struct SideRead {
    reading: Reading,
    skin_at_white: SkinSample,
    skin_at_top: SkinSample,
    coverage: f64,
}

const fn place(side: Side) -> usize {
    match side {
        Side::Right => 0,
        Side::Left => 1,
    }
}

impl FaceReader {
    /// Starts a shot.
    pub(crate) fn new(job: &ReadJob, at_top: ClipRule) -> Result<Self> {
        let source = match &job.faces {
            Faces::Off => Source::Off,
            Faces::Find(order) => Source::Found(Box::new(Finder {
                models: Models::load(&order.models).map_err(people)?,
                follower: FaceFollower::new(FollowSettings::for_every(job.every)),
            })),
            Faces::Known(faces) => Source::Known(faces.clone()),
        };
        let seen = match &source {
            Source::Known(faces) => faces.iter().map(|_| Vec::new()).collect(),
            _ => Vec::new(),
        };
        Ok(Self {
            source,
            space: job.space,
            at_white: skin_rule(ClipRule::default(), job.space.coefficients),
            at_top: skin_rule(at_top, job.space.coefficients),
            first: job.first,
            last: job.last_read(),
            frames: job.frames.max(1),
            every: job.every.max(1),
            seen,
        })
    }

    /// Looks for faces in the next frame, and follows those that are known. Says how many of the
    /// frames given so far can be read.
    pub(crate) fn look(&mut self, frame: u64, native: &Native<'_>, given: u64) -> Result<u64> {
        let last = Some(frame) == self.last;
        match &mut self.source {
            Source::Found(finder) => {
                let Finder { models, follower } = finder.as_mut();
                follower.next(models, frame, native, last).map_err(people)?;
                Ok(follower.known())
            }
            Source::Off | Source::Known(_) => Ok(given),
        }
    }

    /// The faces that are held in a frame, the `given`-th of those looked at, and the key side where it is known.
    fn held(&self, frame: u64, given: u64) -> Vec<(usize, Outline, Option<Side>)> {
        match &self.source {
            Source::Off => Vec::new(),
            Source::Found(finder) => finder
                .follower
                .held(given)
                .map(|(face, outline)| (face, outline.clone(), None))
                .collect(),
            Source::Known(faces) => faces
                .iter()
                .enumerate()
                .filter_map(|(k, face)| {
                    let key = face.light.as_ref()?.key;
                    Some((k, face.track.at(frame)?.clone(), Some(key)))
                })
                .collect(),
        }
    }

    /// Where faces lie with hair and neck around them, and the body below each: no background.
    pub(crate) fn surroundings(&self, frame: u64, given: u64, native: &Native<'_>) -> Vec<Region> {
        let (width, height) = (native.width as f64, native.height as f64);
        self.held(frame, given)
            .iter()
            .flat_map(|(_, outline, _)| {
                let [left, top, right, bottom] = outline.bounds();
                let (wide, high) = (right - left, bottom - top);
                let part = |left: f64, top: f64, right: f64| {
                    let inside = |v: f64, most: f64| v.clamp(0.0, most) as usize;
                    let (x, y) = (inside(left, width), inside(top, height));
                    Region {
                        x,
                        y,
                        width: inside(right.ceil(), width) - x,
                        height: native.height - y,
                    }
                };
                [
                    part(left - 0.3 * wide, top - 0.5 * high, right + 0.3 * wide),
                    part(left - 0.9 * wide, bottom - 0.1 * high, right + 0.9 * wide),
                ]
            })
            .filter(|part| part.width > 0 && part.height > 0)
            .collect()
    }

    /// Reads the faces of a frame, the `given`-th of those looked at (from 0). With `ovals` it says
    /// which pixels lie inside the faces. `no_picture` are parts of the picture that are none.
    pub(crate) fn read(
        &mut self,
        frame: u64,
        given: u64,
        native: &Native<'_>,
        ovals: bool,
        no_picture: &[Region],
    ) -> Vec<PatchPixels> {
        let held = self.held(frame, given);
        let mut inside = Vec::new();
        for (face, outline, key) in held {
            if ovals {
                inside.push(outline.pixels(native.width, native.height));
            }
            let seen = match key {
                Some(side) => {
                    let mut sides = [None, None];
                    sides[place(side)] = Some(face_picture(native, &outline).and_then(|picture| {
                        let (of, region) = &picture;
                        let rule = &self.at_white;
                        let skin = choose_skin(of, *region, &outline, side, rule, no_picture)?;
                        self.side(frame, &picture, (&outline, side), skin, no_picture)
                    }));
                    Seen {
                        frame,
                        lights: SideLights::default(),
                        sides,
                    }
                }
                None => self.both(frame, native, &outline, no_picture),
            };
            while self.seen.len() <= face {
                self.seen.push(Vec::new());
            }
            self.seen[face].push(seen);
        }
        inside
    }

    fn both(
        &self,
        frame: u64,
        native: &Native<'_>,
        outline: &Outline,
        no_picture: &[Region],
    ) -> Seen {
        let looked = face_picture(native, outline).and_then(|picture| {
            let (of, region) = &picture;
            let both = both_sides(of, *region, outline, &self.at_white, no_picture)?;
            Ok((picture, both))
        });
        match looked {
            Ok((picture, both)) => {
                let side = |side: Side, skin: std::result::Result<FaceSkin, NoSkin>| {
                    Some(skin.and_then(|skin| {
                        self.side(frame, &picture, (outline, side), skin, no_picture)
                    }))
                };
                Seen {
                    frame,
                    lights: both.lights,
                    sides: [side(Side::Right, both.right), side(Side::Left, both.left)],
                }
            }
            Err(reason) => Seen {
                frame,
                lights: SideLights::default(),
                sides: [Some(Err(reason)), Some(Err(reason))],
            },
        }
    }

    /// Reads the skin chosen on one side by the rule that white is clipped, and by the other one
    /// where that makes a difference.
    fn side(
        &self,
        frame: u64,
        (picture, region): &(Rgb, Region),
        (outline, side): (&Outline, Side),
        skin: FaceSkin,
        no_picture: &[Region],
    ) -> std::result::Result<SideRead, NoSkin> {
        let due = |frame: u64| (frame - self.first).min(self.frames) * SKIN_PIXELS / self.frames;
        let most = (due(frame + self.every) - due(frame)) as usize;
        let take = |skin: &FaceSkin, sample: &mut SkinSample| -> Option<FrameReading> {
            let picture = part_of(picture, *region, skin.chosen.region);
            sample.add(frame, &picture, &skin.chosen, most);
            let mut reading = read_frame(frame, &picture, &skin.chosen, self.space).ok()?;
            reading.confidence *= skin.confidence;
            Some(reading)
        };
        let (mut skin_at_white, mut skin_at_top) = (SkinSample::default(), SkinSample::default());
        let at_white = take(&skin, &mut skin_at_white);
        let mut at_top = None;
        if self.at_top.clip != self.at_white.clip && skin.chosen.clipped > 0 {
            at_top = Some(
                choose_skin(picture, *region, outline, side, &self.at_top, no_picture)
                    .ok()
                    .and_then(|skin| take(&skin, &mut skin_at_top)),
            );
        } else {
            skin_at_top = skin_at_white.clone();
        }
        Ok(SideRead {
            reading: Reading { at_white, at_top },
            skin_at_white,
            skin_at_top,
            coverage: skin.coverage,
        })
    }

    /// What was read of every face, by the rule of clipping that holds for the shot.
    pub(crate) fn finish(self, rule: ClipRule) -> Vec<ReadFace> {
        let at_white = rule == ClipRule::default();
        let space = self.space;
        let mut seen = self.seen.into_iter();
        let mut next = move || seen.next().unwrap_or_default();
        match self.source {
            Source::Off => Vec::new(),
            Source::Found(finder) => finder
                .follower
                .finish()
                .into_iter()
                .filter_map(|track| {
                    let seen = next();
                    Some(summed_up(track?, None, seen, at_white, space))
                })
                .collect(),
            Source::Known(faces) => faces
                .into_iter()
                .map(|face| summed_up(face.track, Some(face.light), next(), at_white, space))
                .collect(),
        }
    }
}

/// One face over the shot; `known` is its light where that was measured before.
fn summed_up(
    track: FaceTrack,
    known: Option<Option<inkarnat_people::FaceLight>>,
    seen: Vec<Seen>,
    at_white: bool,
    space: WorkingSpace,
) -> ReadFace {
    // What was taken back since is not read.
    let seen: Vec<Seen> = seen
        .into_iter()
        .filter(|seen| track.at(seen.frame).is_some())
        .collect();
    let light = known.unwrap_or_else(|| {
        let lights: Vec<SideLights> = seen.iter().map(|seen| seen.lights).collect();
        face_light(&lights, space)
    });
    let mut face = ReadFace {
        track,
        light,
        frames: Vec::new(),
        unread: None,
        skin: SkinSample::default(),
        coverage: 0.0,
    };
    let Some(key) = light.map(|light| light.key) else {
        face.unread = seen
            .into_iter()
            .flat_map(|seen| seen.sides)
            .flatten()
            .find_map(|side| side.err().map(|reason| reason.to_string()));
        return face;
    };
    let (mut coverage, mut count) = (0.0, 0u32);
    for mut seen in seen {
        match seen.sides[place(key)].take() {
            Some(Ok(side)) => {
                coverage += side.coverage;
                count += 1;
                let sample = if at_white {
                    side.skin_at_white
                } else {
                    side.skin_at_top
                };
                if let Some(reading) = side.reading.by(at_white) {
                    face.frames.push(reading);
                    face.skin.pixels.extend(sample.pixels);
                    face.skin.frames.extend(sample.frames);
                }
            }
            Some(Err(reason)) => {
                face.unread.get_or_insert_with(|| reason.to_string());
            }
            None => {}
        }
    }
    face.coverage = coverage / f64::from(count.max(1));
    face
}

fn people(error: PeopleError) -> AppError {
    AppError::Clip(error.to_string())
}
