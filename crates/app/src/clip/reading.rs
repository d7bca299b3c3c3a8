//! Reading a clip: patches followed, faces found, pixels chosen, frames read, a sample kept for the
//! solver.

use crate::Result;
use crate::clip::ahead::decode_ahead;
use crate::clip::finding::FaceReader;
use crate::clip::follow::Followers;
use crate::clip::open_source;
use crate::clip::picking::{chosen_of, held_patch};
use crate::event::Cancel;
use crate::job::{PictureRecord, Read, ReadJob, ReadPerson};
use inkarnat_color::picture::{Native, PixelFormat};
use inkarnat_color::{Region, WorkingSpace};
use inkarnat_fix::PicturePixel;
use inkarnat_media::Frame;
use inkarnat_reading::{
    BackgroundMeter, ClipRule, CodeStep, FrameReading, Patch, PatchPixels, PictureSampler, Pose,
    ShotContext, ShotReading, SkinSample, Track, looks_like_log, read_frame, read_shot,
};
use std::collections::VecDeque;

/// Frames that the picture is sampled in, pixels of each, and how many are kept.
const PICTURE_FRAMES: u64 = 64;
const PICTURE_PIXELS_A_FRAME: usize = 2000;
const PICTURE_PIXELS: usize = 4000;
/// Skin pixels of a person over a shot.
pub(crate) const SKIN_PIXELS: u64 = 1500;

/// A reading by each of two rules of clipping; the shot decides at its end which one holds.
pub(crate) struct Reading {
    /// White is clipped.
    pub(crate) at_white: Option<FrameReading>,
    /// Only the highest code is clipped; present where it makes a difference.
    pub(crate) at_top: Option<Option<FrameReading>>,
}

impl Reading {
    /// The one that holds: whether white is clipped in this source is known at its end.
    pub(crate) fn by(self, at_white: bool) -> Option<FrameReading> {
        match self.at_top {
            Some(at_top) if !at_white => at_top,
            _ => self.at_white,
        }
    }
}

/// A frame that waits until the outlines of its faces are known.
struct Waiting {
    frame: Frame,
    /// Pixels of the drawn patches.
    held: Vec<PatchPixels>,
}

struct PersonReader {
    frames: Vec<Reading>,
    skin_at_white: SkinSample,
    skin_at_top: SkinSample,
    /// First source frame of the shot, its frames, and every how many-th is read.
    first: u64,
    all: u64,
    every: u64,
    /// Frames looked at in which nothing was held.
    lost: usize,
}

pub(crate) fn perform(job: &ReadJob, cancel: &Cancel, progress: &dyn Fn(u64, u64)) -> Result<Read> {
    let mut reader = open_source(&job.path, &job.input)?;
    let probe = reader.probe().clone();
    let patches: Vec<Patch> = job
        .people
        .iter()
        .flat_map(|person| person.patches.iter().cloned())
        .collect();
    // Patches may be drawn on frames outside the shot, which are followed and not read.
    let end = job.first + job.frames;
    let first = patches
        .iter()
        .map(|patch| patch.frame)
        .fold(job.first, u64::min);
    let back = Followers::frames_back(&patches, first);
    let total = back + end - first;
    let mut followers = Followers::new(&patches, first, &mut reader, job.space, cancel, |done| {
        progress(done, total);
    })?;
    let top = top_of(job, probe.format);
    let at_top = ClipRule::with_top(top, 1.0);
    let mut sampler = PictureSampler::new(
        probe.width,
        probe.height,
        PICTURE_PIXELS_A_FRAME,
        job.space.coefficients,
    );
    let mut background = BackgroundMeter::new(
        probe.width,
        probe.height,
        probe.rate.value(),
        job.space.coefficients,
    );
    let every = job.every.max(1);
    let mut faces = FaceReader::new(job, at_top)?;
    // A multiple of `every`: only frames that are read are sampled.
    let sampled_every = job.frames.div_ceil(PICTURE_FRAMES * every).max(1) * every;
    let mut people: Vec<PersonReader> = job
        .people
        .iter()
        .map(|_| PersonReader {
            frames: Vec::new(),
            skin_at_white: SkinSample::default(),
            skin_at_top: SkinSample::default(),
            first: job.first,
            all: job.frames.max(1),
            every,
            lost: 0,
        })
        .collect();
    let (mut seen, mut suspect) = (0u64, 0u64);
    std::thread::scope(|scope| -> Result<()> {
        let mut waiting: VecDeque<Waiting> = VecDeque::new();
        // Frames looked at, and how many of them have left the queue.
        let (mut given, mut settled) = (0u64, 0u64);
        let mut settle = |waiting: &mut VecDeque<Waiting>, faces: &mut FaceReader, known: u64| {
            while settled < known {
                let Some(Waiting { frame, mut held }) = waiting.pop_front() else {
                    return;
                };
                let native = frame.native();
                let index = frame.index();
                let sampled = index.is_multiple_of(sampled_every);
                let out = job.left_out.regions(index, native.width, native.height);
                let mut no_background = around_patches(&held, native.width, native.height);
                no_background.extend(faces.surroundings(index, settled, &native));
                no_background.extend(&out);
                background.add(index, |region| native.rgb_region(region), &no_background);
                held.extend(faces.read(index, settled, &native, sampled, &out));
                if sampled {
                    sampler.add(index, |region| native.rgb_region(region), &held, &out);
                }
                settled += 1;
            }
        };
        for frame in decode_ahead(scope, reader, end, cancel) {
            let frame = frame?;
            let index = frame.index();
            let native = frame.native();
            let poses = followers.poses(index, &native)?;
            progress(back + index + 1 - first, total);
            if index < job.first {
                continue;
            }
            seen += 1;
            suspect += u64::from(frame.suspect());
            if !job.reads(index) {
                continue;
            }
            let out = job.left_out.regions(index, native.width, native.height);
            let mut held = Vec::new();
            let mut rest = poses.as_slice();
            for (person, reader) in job.people.iter().zip(&mut people) {
                let (own, others) = rest.split_at(person.patches.len());
                rest = others;
                let patches = &person.patches;
                let followed = (patches.as_slice(), own);
                held.extend(reader.read(index, &native, followed, job.space, at_top, &out));
            }
            given += 1;
            let known = faces.look(index, &native, given)?;
            waiting.push_back(Waiting { frame, held });
            settle(&mut waiting, &mut faces, known);
        }
        settle(&mut waiting, &mut faces, u64::MAX);
        Ok(())
    })?;
    let rule = ClipRule::with_top(top, sampler.histogram().beyond_share());
    let mut notes: Vec<String> = looks_like_log(sampler.histogram())
        .map(|note| match job.input.is_empty() {
            true => note,
            false => format!("behind its input transform, {note}"),
        })
        .into_iter()
        .collect();
    let sample = sampler.finish(PICTURE_PIXELS);
    if seen < job.frames {
        notes.push(format!(
            "damaged: {} of {} frames cannot be decoded and are left out",
            job.frames - seen,
            job.frames
        ));
    }
    if suspect > 0 {
        notes.push(format!(
            "damaged: the decoder met errors, {suspect} of {seen} frames may be wrong"
        ));
    }
    let mut tracks = followers.tracks().into_iter();
    let people = job
        .people
        .iter()
        .zip(people)
        .map(|(asked, reader)| {
            let own: Vec<Track> = tracks.by_ref().take(asked.patches.len()).collect();
            notes.extend(lost_note(
                &asked.person,
                &asked.patches,
                &own,
                (job.first, end),
            ));
            reader.summed_up(own, rule, job.space, probe.format)
        })
        .collect();
    Ok(Read {
        people,
        faces: faces.finish(rule),
        picture: PictureRecord {
            dark_noise: sample.noise_dark,
            frames: sample.frames,
            light: background.finish(),
            sample: sample
                .pixels
                .into_iter()
                .zip(sample.skin)
                .map(|(rgb, skin)| PicturePixel { rgb, skin })
                .collect(),
            rule,
            every,
        },
        notes,
    })
}

/// The highest working signal that a source can have: that of its top code, behind its input transform.
fn top_of(job: &ReadJob, format: PixelFormat) -> f64 {
    let top = ClipRule::top_of(format.levels, format.depth);
    job.input
        .iter()
        .fold([top; 3], |rgb, op| op.apply(rgb))
        .into_iter()
        .fold(f64::NEG_INFINITY, f64::max)
}

/// Where skin lies around drawn patches: as much again on every side, and everything below, where somebody's body is.
fn around_patches(held: &[PatchPixels], width: usize, height: usize) -> Vec<Region> {
    held.iter()
        .map(|patch| {
            let (r, wide) = (patch.region, patch.region.width);
            let (x, y) = (
                r.x.saturating_sub(wide),
                r.y.saturating_sub(patch.region.height),
            );
            Region {
                x,
                y,
                width: (r.x + r.width + wide).min(width) - x,
                height: height - y,
            }
        })
        .collect()
}

impl PersonReader {
    fn read(
        &mut self,
        frame: u64,
        native: &Native<'_>,
        (patches, poses): (&[Patch], &[Pose]),
        space: WorkingSpace,
        at_top: ClipRule,
        no_picture: &[Region],
    ) -> Option<PatchPixels> {
        let Some((_, pixels)) = held_patch(frame, patches, poses, native.width, native.height)
        else {
            self.lost += 1;
            return None;
        };
        let (picture, chosen) = chosen_of(native, &pixels, ClipRule::default(), no_picture);
        let at_white = read_frame(frame, &picture, &chosen, space).ok();
        // As many as the shot's bound allows by this frame; in long shots not in every frame.
        let due = |frame: u64| (frame - self.first).min(self.all) * SKIN_PIXELS / self.all;
        let most = (due(frame + self.every) - due(frame)) as usize;
        self.skin_at_white.add(frame, &picture, &chosen, most);
        let mut reading = Reading {
            at_white,
            at_top: None,
        };
        if at_top != ClipRule::default() && chosen.clipped > 0 {
            let chosen = inkarnat_reading::choose(&picture, &pixels.outside(no_picture), at_top);
            reading.at_top = Some(read_frame(frame, &picture, &chosen, space).ok());
            self.skin_at_top.add(frame, &picture, &chosen, most);
        } else {
            self.skin_at_top.add(frame, &picture, &chosen, most);
        }
        self.frames.push(reading);
        Some(pixels)
    }

    fn summed_up(
        self,
        tracks: Vec<Track>,
        rule: ClipRule,
        space: WorkingSpace,
        format: PixelFormat,
    ) -> ReadPerson {
        let at_white = rule == ClipRule::default();
        let looked_at = self.frames.len() + self.lost;
        let frames: Vec<FrameReading> = self
            .frames
            .into_iter()
            .filter_map(|reading| reading.by(at_white))
            .collect();
        let skin = if at_white {
            self.skin_at_white
        } else {
            self.skin_at_top
        };
        ReadPerson {
            tracks,
            reading: sum(&frames, looked_at, space, format),
            frames,
            skin,
        }
    }
}

/// The reading of a shot from its frames.
pub(crate) fn sum(
    frames: &[FrameReading],
    looked_at: usize,
    space: WorkingSpace,
    format: PixelFormat,
) -> std::result::Result<ShotReading, String> {
    let context = ShotContext {
        space,
        frames_lost: looked_at - frames.len(),
        ..ShotContext::new(CodeStep::of(format.levels, format.depth))
    };
    read_shot(frames, &context).map_err(|error| error.to_string())
}

/// One line about the frames in which none of a person's patches is held.
fn lost_note(
    person: &str,
    patches: &[Patch],
    tracks: &[Track],
    (from, to): (u64, u64),
) -> Option<String> {
    let frames = to - from;
    let lost: Vec<u64> = (from..to)
        .filter(|frame| {
            tracks
                .iter()
                .all(|track| track.pose(*frame).held().is_none())
        })
        .collect();
    let first = *lost.first()?;
    let reason = tracks
        .iter()
        .zip(patches)
        .min_by_key(|(_, patch)| patch.frame.abs_diff(first))
        .and_then(|(track, _)| match track.pose(first) {
            Pose::Lost(reason) => Some(reason.to_string()),
            Pose::Held(_) => None,
        })
        .unwrap_or_default();
    Some(format!(
        "{person}: lost in {} of {frames} frames, first in frame {first} ({reason}); those frames are left out; draw another patch there to read them",
        lost.len()
    ))
}
