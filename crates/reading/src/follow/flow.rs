//! How known points moved since the frame before: optical flow and the one similarity that most of them share.

use super::motion::agree;
use super::picture::reduce;
use super::{FEWEST, image};
use crate::pose::Similarity;
use optical_flow_lk::{FloatTrackerContext, TrackParams, TrackStatus};

/// Pyramid levels: motions up to about 20 pixels a frame.
const LEVELS: usize = 3;
const PARAMS: TrackParams = TrackParams {
    window_size: 9,
    max_iterations: 12,
    // (8-bit codes / pixel)², as for patches.
    min_eigen_threshold: 0.25,
};
/// Pixels that a point may miss its start by when it is followed there and back.
const BACK: f32 = 0.8;

/// Two neighbouring frames of one size, and what moved between them.
pub struct Flow {
    tracker: FloatTrackerContext,
    size: [usize; 2],
}

impl std::fmt::Debug for Flow {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Flow")
            .field("size", &self.size)
            .finish_non_exhaustive()
    }
}

/// The motion that most points share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SharedMotion {
    /// From their places in the frame before, in pixels with the first one's corner at 0.
    pub motion: Similarity,
    /// How many points agree with it.
    pub agreeing: usize,
    /// How many could be followed or got lost: all but those without detail around them, or out of the picture.
    pub usable: usize,
}

impl Flow {
    /// Starts at a frame, given as its luma signal row by row (0 black, 1 white). `None` where that is not of this size, or
    /// where there are fewer than 16 rows or columns.
    #[must_use]
    pub fn new(luma: &[f32], width: usize, height: usize) -> Option<Self> {
        if width < 16 || height < 16 || luma.len() != width * height {
            return None;
        }
        let reduced = reduce(luma, width, height, 1);
        let mut tracker = FloatTrackerContext::new();
        let image = image(&reduced)?;
        tracker.prepare(image, image, LEVELS);
        Some(Self {
            tracker,
            size: [width, height],
        })
    }

    /// Takes the next frame, of the same size; `false`, and nothing changes, where it is of another.
    pub fn advance(&mut self, luma: &[f32]) -> bool {
        let [width, height] = self.size;
        if luma.len() != width * height {
            return false;
        }
        let reduced = reduce(luma, width, height, 1);
        let Some(image) = image(&reduced) else {
            return false;
        };
        self.tracker.advance(image, LEVELS);
        true
    }

    /// What moved these points of the frame before, to `tolerance` pixels; `None` where fewer than six can be followed.
    #[must_use]
    pub fn motion(&mut self, points: &[[f64; 2]], tolerance: f64) -> Option<SharedMotion> {
        let at: Vec<(f32, f32)> = points.iter().map(|p| super::to_centre(*p)).collect();
        let results = self.tracker.track_fb(&at, None, PARAMS, BACK);
        let (mut start, mut end, mut usable) = (Vec::new(), Vec::new(), 0);
        for (point, result) in points.iter().zip(results) {
            match result.status {
                TrackStatus::OutOfBounds | TrackStatus::LowTexture => {}
                TrackStatus::Tracked => {
                    usable += 1;
                    start.push(*point);
                    end.push([f64::from(result.pos.0) + 0.5, f64::from(result.pos.1) + 0.5]);
                }
                TrackStatus::Diverged | TrackStatus::FbInconsistent => usable += 1,
            }
        }
        let agreed = agree(&start, &end, tolerance)?;
        (agreed.points.len() >= FEWEST).then_some(SharedMotion {
            motion: agreed.motion,
            agreeing: agreed.points.len(),
            usable,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A made-up texture, moved and turned: the motion comes back to 0.1 pixel, also with a third of it covered.
    #[test]
    fn the_motion_of_most_points_comes_back() {
        let truth = Similarity {
            a: 1.02,
            b: 0.015,
            tx: -3.0,
            ty: 4.5,
        };
        let texture = |x: f64, y: f64| {
            0.5 + 0.12 * (0.31 * x).sin() * (0.23 * y).cos()
                + 0.1 * (0.17 * x + 0.29 * y).sin()
                + 0.08 * (0.53 * x - 0.41 * y).cos()
        };
        let (width, height) = (128, 120);
        let back = truth.inverse().expect("it turns back");
        let frame = |moved: bool, covered: bool| -> Vec<f32> {
            (0..width * height)
                .map(|i| {
                    let (x, y) = ((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
                    let [u, v] = if moved { back.apply([x, y]) } else { [x, y] };
                    if covered && x < 40.0 {
                        (0.4 + 0.1 * (0.8 * (x + y)).sin()) as f32
                    } else {
                        texture(u, v) as f32
                    }
                })
                .collect()
        };
        let points: Vec<[f64; 2]> = (0..48)
            .map(|i| {
                [
                    16.0 + 13.0 * f64::from(i % 8),
                    20.0 + 14.0 * f64::from(i / 8),
                ]
            })
            .collect();
        for covered in [false, true] {
            let mut flow = Flow::new(&frame(false, false), width, height).expect("a size");
            assert!(flow.advance(&frame(true, covered)));
            let found = flow.motion(&points, 0.7).expect("a motion");
            for at in [[64.0, 60.0], [100.0, 90.0]] {
                let ([x, y], [u, v]) = (found.motion.apply(at), truth.apply(at));
                assert!((x - u).hypot(y - v) < 0.1, "{covered}: {x} {y} for {u} {v}");
            }
        }
        let mut flow = Flow::new(&frame(false, false), width, height).expect("a size");
        assert!(!flow.advance(&[0.0; 4]));
        assert!(Flow::new(&[0.0; 64], 8, 8).is_none());
    }
}
