//! What is seen of a shot: its readings through the look that follows the fix.
//!
//! Readings are taken of the signal that goes into the look, and kept so: another look needs no clip to be read again.

use crate::Result;
use crate::steps::handing::chain_of;
use crate::steps::lighting::skin_sample;
use crate::steps::transforming::look_ops;
use inkarnat_color::{Percent, SKIN_TONE_LINE, WorkingSpace};
use inkarnat_film::{Film, PersonId, Shot, Stage};
use inkarnat_fix::{Look, SkinValue};
use inkarnat_ops::{Chain, MovingChain, Op};
use inkarnat_reading::{FrameReading, ShotReading};

/// The look of a shot, and what comes before it.
pub(crate) struct Seen {
    look: Look,
    ops: Vec<Op>,
    /// What is done to the frames before the look.
    fix: MovingChain,
    space: WorkingSpace,
}

/// The operations of the look of a shot; none without one.
pub(crate) fn look_of_shot(film: &Film, shot: &Shot) -> Result<Vec<Op>> {
    match film.setup(shot.setup)? {
        Some(setup) => look_ops(film, &setup),
        None => Ok(Vec::new()),
    }
}

/// What is done to the frames of a shot for looking at them: the fix and the look over it.
pub(crate) fn seen_chain_of(film: &Film, shot: &Shot) -> Result<MovingChain> {
    let mut chain = chain_of(film, shot)?;
    chain.chain.look = look_of_shot(film, shot)?;
    Ok(chain)
}

/// The look of a chain alone.
pub(crate) fn look_alone(chain: &MovingChain) -> MovingChain {
    Chain {
        look: chain.chain.look.clone(),
        ..Chain::default()
    }
    .into()
}

impl Seen {
    pub(crate) fn of(film: &Film, shot: &Shot) -> Result<Self> {
        let ops = look_of_shot(film, shot)?;
        let fix = if ops.is_empty() {
            MovingChain::default()
        } else {
            chain_of(film, shot)?
        };
        Ok(Self::new(ops, fix, film.space()))
    }

    /// A look over what a fix does.
    pub(crate) fn new(ops: Vec<Op>, fix: MovingChain, space: WorkingSpace) -> Self {
        Self {
            look: Look::new(&ops),
            ops,
            fix,
            space,
        }
    }

    /// A person's reading through the look; `whole` says that what was read has the look in it already.
    pub(crate) fn reading(
        &self,
        (film, shot, person): (&Film, &Shot, PersonId),
        (stage, whole): (Stage, bool),
        reading: &ShotReading,
    ) -> Result<ShotReading> {
        if !self.look.is_some() || whole {
            return Ok(*reading);
        }
        let sample = skin_sample(film, shot, person)?.unwrap_or_default();
        let pixels: Vec<[f64; 3]> = match stage {
            Stage::Before => sample.pixels.iter().map(|p| p.map(f64::from)).collect(),
            Stage::After | Stage::Proof => sample
                .pixels
                .iter()
                .enumerate()
                .map(|(index, p)| {
                    let frame = sample.frames.get(index).copied().unwrap_or(shot.in_frame);
                    self.fix.at(frame).apply_pixel(p.map(f64::from))
                })
                .collect(),
        };
        Ok(self.seen(reading, &pixels))
    }

    fn seen(&self, reading: &ShotReading, pixels: &[[f64; 3]]) -> ShotReading {
        let at = |level: f64| SkinValue {
            level: Percent(level),
            chroma: reading.mean,
            lab: reading.lab,
        };
        let through = |value: &SkinValue| self.look.reading(value, pixels, self.space);
        let level = reading.level.0;
        let skin = through(&at(level));
        // One percent to either side: the look's steepness there widens what the level is uncertain by.
        let slope =
            (through(&at(level + 1.0)).level.0 - through(&at(level - 1.0)).level.0).abs() / 2.0;
        let hue = skin.hue();
        let chroma = skin.chroma.magnitude();
        let gain = if reading.chroma > 0.0 {
            chroma / reading.chroma
        } else {
            1.0
        };
        ShotReading {
            level: skin.level,
            level_u: reading.level_u * slope,
            code10: skin.level.code10(),
            mean: skin.chroma,
            hue,
            hue_u: hue.and(reading.hue_u),
            off_line: hue.map(|hue| hue.from_origin(SKIN_TONE_LINE)),
            chroma,
            chroma_u: reading.chroma_u * gain,
            sat_ratio: (skin.level.0 > 1.0).then(|| skin.sat_ratio()),
            rgb: self
                .space
                .coefficients
                .rgb_from_ycbcr(inkarnat_color::Ycbcr {
                    y: skin.level.signal(),
                    cb: skin.chroma.cb,
                    cr: skin.chroma.cr,
                }),
            lab: skin.lab,
            chroma_ab: skin.lab.chroma(),
            drift: inkarnat_reading::Drift {
                level: reading.drift.level * slope,
                level_u: reading.drift.level_u * slope,
                ..reading.drift
            },
            noise: reading.noise * slope,
            ..*reading
        }
    }

    /// The readings of frames through the look, each by its mean: near what reading the pixels gives, since skin is nearly of
    /// one colour.
    pub(crate) fn frames(&self, frames: Vec<FrameReading>, whole: bool) -> Vec<FrameReading> {
        if !self.look.is_some() || whole {
            return frames;
        }
        let look = Chain {
            look: self.ops.clone(),
            ..Chain::default()
        };
        through(&frames, &look.into(), self.space)
    }
}

/// Each frame's mean taken through the operations: near what reading the corrected pixels gives, since skin is nearly of
/// one colour.
pub(crate) fn through(
    frames: &[FrameReading],
    chain: &MovingChain,
    space: WorkingSpace,
) -> Vec<FrameReading> {
    let coefficients = space.coefficients;
    frames
        .iter()
        .map(|frame| {
            let rgb = chain
                .at(frame.frame)
                .apply_pixel(coefficients.rgb_from_ycbcr(frame.mean));
            FrameReading {
                mean: coefficients.ycbcr_from_rgb(rgb),
                ..*frame
            }
        })
        .collect()
}
