//! Operations on planar rows of `f32`.
//!
//! A chain is prepared once ([`Chain::prepare`]) and then applied to any number of rows, from as
//! many threads as the caller has. Neutral operations are left out, so an identity chain returns its
//! input bit for bit.

mod cdl;
mod lut;
mod power;
mod process;
mod shoulder;

use crate::data::chain::Chain;
use crate::data::keyframes::MovingChain;
use crate::data::op::Op;
use cdl::FastCdl;
use inkarnat_color::Rgb;
use inkarnat_color::picture::ToWorking;
pub use lut::FastLut;
use process::FastProcess;
use shoulder::FastShoulder;
use std::borrow::Cow;

/// Pixels that pass through the whole chain before the next ones: three rows of this length stay in
/// the first-level cache.
const BLOCK: usize = 1024;

/// A chain made ready for rows.
#[derive(Clone, Debug)]
pub struct Prepared {
    steps: Vec<Step>,
}

#[derive(Clone, Debug)]
enum Step {
    Cdl(FastCdl),
    Shoulder(FastShoulder),
    Lut(FastLut),
    Process(FastProcess),
    Plain(Op),
}

impl Chain {
    /// The chain made ready for rows.
    #[must_use]
    pub fn prepare(&self) -> Prepared {
        let steps = self
            .ops()
            .filter_map(|op| match op {
                Op::Lut(lut) => Some(Step::Lut(FastLut::new(lut))),
                op if op.is_identity() => None,
                Op::Cdl(cdl) => Some(Step::Cdl(FastCdl::new(cdl))),
                Op::Shoulder(shoulder) => Some(Step::Shoulder(FastShoulder::new(shoulder))),
                op @ (Op::KeyedCdl(_) | Op::Limiter(_)) => Some(Step::Plain(op.clone())),
                Op::Process(process) => Some(Step::Process(FastProcess::new(process))),
            })
            .collect();
        Prepared { steps }
    }

    /// Applies the whole chain to a picture in place.
    ///
    /// For many pictures, [`Self::prepare`] once.
    pub fn apply_rgb(&self, picture: &mut Rgb) {
        let [r, g, b] = &mut picture.planes;
        self.prepare().apply_rows([r, g, b]);
    }
}

/// A chain made ready for rows of any frame.
#[derive(Clone, Debug)]
pub enum PreparedFrames {
    /// The same for all frames.
    Constant(Prepared),
    /// Another one for every frame.
    Moving(MovingChain),
}

impl MovingChain {
    /// The chain made ready for rows of any frame.
    #[must_use]
    pub fn prepare(&self) -> PreparedFrames {
        if self.is_constant() {
            let frame = self.light.as_ref().and_then(|light| light.keys.first());
            PreparedFrames::Constant(self.at(frame.map_or(0, |key| key.frame)).prepare())
        } else {
            PreparedFrames::Moving(self.clone())
        }
    }
}

impl PreparedFrames {
    /// What is done to a frame of the source.
    #[must_use]
    pub fn at(&self, frame: u64) -> Cow<'_, Prepared> {
        match self {
            Self::Constant(prepared) => Cow::Borrowed(prepared),
            Self::Moving(moving) => Cow::Owned(moving.at(frame).prepare()),
        }
    }
}

impl Prepared {
    /// Whether rows come out as they went in.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.steps.is_empty()
    }

    /// Applies the chain in place to R', G' and B' of any number of pixels: the shortest of the three
    /// says how many.
    pub fn apply_rows(&self, [r, g, b]: [&mut [f32]; 3]) {
        if self.is_identity() {
            return;
        }
        let blocks = r
            .chunks_mut(BLOCK)
            .zip(g.chunks_mut(BLOCK))
            .zip(b.chunks_mut(BLOCK));
        for ((r, g), b) in blocks {
            let count = r.len().min(g.len()).min(b.len());
            let (r, g, b) = (&mut r[..count], &mut g[..count], &mut b[..count]);
            for step in &self.steps {
                match step {
                    Step::Cdl(cdl) => cdl.apply([r, g, b]),
                    Step::Shoulder(shoulder) => shoulder.apply([r, g, b]),
                    Step::Lut(lut) => lut.apply([r, g, b]),
                    Step::Process(process) => process.apply([r, g, b]),
                    Step::Plain(op) => each_pixel([r, g, b], |rgb| op.apply(rgb)),
                }
            }
        }
    }
}

impl ToWorking for Prepared {
    fn apply_rows(&self, rows: [&mut [f32]; 3]) {
        Self::apply_rows(self, rows);
    }
}

/// The reference, pixel by pixel.
fn each_pixel([r, g, b]: [&mut [f32]; 3], function: impl Fn([f64; 3]) -> [f64; 3]) {
    for ((r, g), b) in r.iter_mut().zip(g).zip(b) {
        let out = function([f64::from(*r), f64::from(*g), f64::from(*b)]);
        (*r, *g, *b) = (out[0] as f32, out[1] as f32, out[2] as f32);
    }
}
