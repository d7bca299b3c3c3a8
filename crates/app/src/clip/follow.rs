//! Following several patches through a clip, both ways from the frames that they were drawn on, in
//! bounded memory.

use crate::clip::luma::reduced;
use crate::event::Cancel;
use crate::{AppError, Result};
use inkarnat_color::picture::Native;
use inkarnat_color::{Coefficients, WorkingSpace};
use inkarnat_media::Reader;
use inkarnat_reading::{Follower, LostReason, Patch, Pose, Similarity, Track};

/// Memory for luma that is followed backward.
const BUDGET_BYTES: usize = 512 << 20;

/// One patch on its way.
struct OnItsWay {
    patch: Patch,
    /// Runs backward while that lasts, then forward from the drawn frame.
    follower: Option<Follower>,
    /// Nearest first.
    backward: Vec<Pose>,
    forward: Vec<Pose>,
}

/// All patches of a clip.
pub(crate) struct Followers {
    patches: Vec<OnItsWay>,
    /// Size of the pictures that are followed in.
    width: usize,
    height: usize,
    /// Source pixels along each side of one of theirs.
    factor: usize,
    coefficients: Coefficients,
}

impl Followers {
    /// Follows every patch backward to a frame, and is then ready to go forward from there.
    pub(crate) fn new(
        patches: &[Patch],
        first: u64,
        reader: &mut Reader,
        space: WorkingSpace,
        cancel: &Cancel,
        mut progress: impl FnMut(u64),
    ) -> Result<Self> {
        let (width, height) = (reader.probe().width, reader.probe().height);
        let factor = shared_factor(patches, width, height);
        let mut followers = Self {
            patches: patches
                .iter()
                .map(|patch| OnItsWay {
                    patch: patch.clone(),
                    follower: None,
                    backward: Vec::new(),
                    forward: Vec::new(),
                })
                .collect(),
            width: width / factor,
            height: height / factor,
            factor,
            coefficients: space.coefficients,
        };
        let last = patches.iter().map(|patch| patch.frame).max().unwrap_or(0);
        if last > first {
            followers.go_back((first, last + 1), reader, cancel, &mut progress)?;
        }
        reader.seek(first).map_err(clip)?;
        for patch in &mut followers.patches {
            patch.follower = None;
        }
        Ok(followers)
    }

    /// How many frames are looked at before the forward run begins.
    pub(crate) fn frames_back(patches: &[Patch], first: u64) -> u64 {
        patches
            .iter()
            .map(|patch| patch.frame)
            .max()
            .filter(|last| *last > first)
            .map_or(0, |last| last + 1 - first)
    }

    fn go_back(
        &mut self,
        (first, mut end): (u64, u64),
        reader: &mut Reader,
        cancel: &Cancel,
        progress: &mut impl FnMut(u64),
    ) -> Result<()> {
        let span = (BUDGET_BYTES / (2 * self.width * self.height).max(1)).max(4) as u64;
        let mut done = 0;
        while end > first {
            let start = end.saturating_sub(span).max(first);
            reader.seek(start).map_err(clip)?;
            let mut kept: Vec<Option<Vec<u16>>> = vec![None; (end - start) as usize];
            while let Some(frame) = reader.next_frame().map_err(clip)? {
                if cancel.is_cancelled() {
                    return Err(AppError::Cancelled);
                }
                if frame.index() >= end {
                    break;
                }
                let luma = self.luma(&frame.native());
                if let Some(slot) = frame
                    .index()
                    .checked_sub(start)
                    .and_then(|at| kept.get_mut(at as usize))
                {
                    *slot = Some(luma.iter().map(|v| packed(*v)).collect());
                }
                if frame.index() + 1 == end {
                    break;
                }
            }
            for (luma, frame) in kept.into_iter().rev().zip((start..end).rev()) {
                if cancel.is_cancelled() {
                    return Err(AppError::Cancelled);
                }
                let luma: Option<Vec<f32>> =
                    luma.map(|codes| codes.into_iter().map(unpacked).collect());
                let (width, height) = (self.width, self.height);
                for patch in &mut self.patches {
                    patch.step_back(frame, luma.as_deref(), width, height)?;
                }
                done += 1;
                progress(done);
            }
            end = start;
        }
        Ok(())
    }

    fn luma(&self, native: &Native<'_>) -> Vec<f32> {
        reduced(native, self.factor, self.coefficients)
    }

    /// Takes the next frame of the forward run and gives every patch's pose in it, in order.
    pub(crate) fn poses(&mut self, frame: u64, native: &Native<'_>) -> Result<Vec<Pose>> {
        let moving = self.patches.iter().any(|p| frame >= p.patch.frame);
        let luma = if moving {
            self.luma(native)
        } else {
            Vec::new()
        };
        let (width, height) = (self.width, self.height);
        self.patches
            .iter_mut()
            .map(|patch| patch.step_forward(frame, &luma, width, height))
            .collect()
    }

    /// The tracks, after the forward run.
    pub(crate) fn tracks(self) -> Vec<Track> {
        self.patches
            .into_iter()
            .map(|patch| Track::join(patch.patch.frame, &patch.backward, &patch.forward))
            .collect()
    }
}

impl OnItsWay {
    fn start(&mut self, luma: &[f32], width: usize, height: usize) -> Result<()> {
        let follower = Follower::new(luma, width, height, &self.patch)
            .map_err(|error| AppError::Clip(error.to_string()))?;
        self.follower = Some(follower);
        Ok(())
    }

    fn step_back(
        &mut self,
        frame: u64,
        luma: Option<&[f32]>,
        width: usize,
        height: usize,
    ) -> Result<()> {
        if frame > self.patch.frame {
            return Ok(());
        }
        if frame == self.patch.frame {
            return match luma {
                Some(luma) => self.start(luma, width, height),
                None => Err(AppError::Clip(format!(
                    "frame {frame}, which the patch is drawn on, cannot be decoded; draw it on another frame"
                ))),
            };
        }
        let pose = match (luma, &mut self.follower) {
            (Some(luma), Some(follower)) => follower.next(luma),
            _ => Pose::Lost(LostReason::NotFollowed),
        };
        self.backward.push(pose);
        Ok(())
    }

    fn step_forward(
        &mut self,
        frame: u64,
        luma: &[f32],
        width: usize,
        height: usize,
    ) -> Result<Pose> {
        let drawn = self.patch.frame;
        if frame < drawn {
            let back = (drawn - frame - 1) as usize;
            return Ok(self
                .backward
                .get(back)
                .copied()
                .unwrap_or(Pose::Lost(LostReason::NotFollowed)));
        }
        if frame == drawn {
            self.start(luma, width, height)?;
            return Ok(Pose::Held(Similarity::IDENTITY));
        }
        // Frames that damage has swallowed leave a gap.
        while drawn + 1 + (self.forward.len() as u64) < frame {
            self.forward.push(Pose::Lost(LostReason::NotFollowed));
        }
        let pose = match &mut self.follower {
            Some(follower) => follower.next(luma),
            None => Pose::Lost(LostReason::NotFollowed),
        };
        self.forward.push(pose);
        Ok(pose)
    }
}

/// By how much pictures are made smaller for all followers together: as far as each of them would go
/// by itself, and only without a remainder, so that fractions of the picture stay what they are.
fn shared_factor(patches: &[Patch], width: usize, height: usize) -> usize {
    let most = patches
        .iter()
        .map(|patch| Follower::reduction(patch, width, height))
        .min()
        .unwrap_or(1);
    (1..=most)
        .rev()
        .find(|factor| width.is_multiple_of(*factor) && height.is_multiple_of(*factor))
        .unwrap_or(1)
}

/// Luma as 16 bits over −0.25…1.25: a step of 1/44 of a 10-bit code.
fn packed(luma: f32) -> u16 {
    ((luma + 0.25) * (65_535.0 / 1.5)).round() as u16
}

fn unpacked(code: u16) -> f32 {
    f32::from(code) * (1.5 / 65_535.0) - 0.25
}

/// An error of the media crate, which names the file itself.
pub(crate) fn clip(error: inkarnat_media::MediaError) -> AppError {
    AppError::Clip(error.to_string())
}
