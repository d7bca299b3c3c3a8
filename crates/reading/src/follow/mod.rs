//! Following a patch through the frames of a shot.
//!
//! From frame to frame a grid of points in and around the patch is followed by pyramidal
//! Lucas–Kanade optical flow, forward and backward, and one similarity is fitted to the points that
//! agree. That alone would drift, and ride on a hand that crosses a cheek. So every frame is also
//! held against the first view: the pose is corrected by aligning to it where it still looks like
//! it; and the patch is given up where too few points agree, where the correlation falls, or where
//! a part of it changes at once. A lost patch is looked for around where it was, and taken up again
//! only where it looks much like itself.

mod flow;
mod motion;
mod picture;
mod search;
mod view;

use crate::patch::{Patch, Shape};
use crate::pose::{LostReason, Pose, Similarity};
pub use flow::{Flow, SharedMotion};
use motion::agree;
use optical_flow_lk::{FloatImageView, FloatTrackerContext, TrackParams, TrackStatus};
use picture::{Pyramid, Reduced, reduce};
use search::{Anchor, Layouts};
use view::{Alike, Cells, Layout};

/// Below this share of agreeing points the patch is lost. With 0.5 for [`MIN_CORRELATION`] it gave
/// way before the drift when hands crossed cheeks in real clips.
pub const MIN_AGREEING: f64 = 0.35;
/// Below this correlation with the first view the patch is lost.
pub const MIN_CORRELATION: f64 = 0.5;
/// A lost patch is taken up again where it correlates with the first view or a later one, and so do
/// its surroundings, by one of these pairs; its size, turn and brightness have to be near what they
/// were. Without the surroundings a cheek was found again in a title after a cut.
pub const FOUND_CORRELATIONS: [(f64, f64); 2] = [(0.85, 0.5), (0.7, 0.75)];
/// Above this share of changed cells the patch counts as covered. What the trimmed mean of a frame
/// cuts is a tenth at each end.
pub const MAX_CHANGED: f64 = 0.12;

/// Correlation of the surroundings from which a changed patch is taken as it is …
const SETTLED_AROUND: f64 = 0.85;
/// … with this correlation of its own …
const SETTLED_OWN: f64 = 0.6;
/// … after so many frames in a row.
const SETTLED_FRAMES: u32 = 5;

/// Points a side of the grid that is followed.
const GRID: usize = 10;
/// Pyramid levels: motions up to about 60 working pixels a frame.
const LEVELS: usize = 4;
/// Margins around the patch, as shares of its size, tried in turn until there is detail.
const MARGINS: [f64; 4] = [0.25, 0.5, 1.0, 2.0];
/// Margin of the surroundings that a lost patch is also known by.
const WIDE: f64 = 1.5;
/// Points that have to show detail for a margin to serve.
const DETAILED: usize = 30;
/// Fewest points that make a motion.
const FEWEST: usize = 6;
/// Frames between the views that a lost patch is also looked for by.
const RECENT_EVERY: u32 = 12;

const PARAMS: TrackParams = TrackParams {
    window_size: 15,
    max_iterations: 20,
    // (8-bit codes / pixel)²: what fine noise alone shows stays below.
    min_eigen_threshold: 0.25,
};

/// A frame that does not fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FollowError {
    /// The luma is not of the stated size, or the picture is too small to follow anything.
    #[error(
        "luma of {found} samples for a picture of {width}x{height}, expected width times height, at least 16x16"
    )]
    Size {
        /// Samples given.
        found: usize,
        /// Stated width.
        width: usize,
        /// Stated height.
        height: usize,
    },
}

/// How the cells of a pose are judged.
#[derive(Clone, Copy, PartialEq)]
enum Look {
    /// Against what was usual in the last frames.
    Usual,
    /// The same with half the tolerance.
    Strict,
    /// They were found to agree with a later view.
    Known,
}

/// Follows one patch, frame by frame, away from the frame that it was drawn on.
///
/// Give it the frames after the drawn one in order, or those before it in reverse order; one
/// follower runs one way. Two runs over the same frames give the same poses.
pub struct Follower {
    width: usize,
    height: usize,
    factor: usize,
    /// Points of the drawn frame that are followed, working pixels.
    points: Vec<[f64; 2]>,
    layouts: Layouts,
    first: Anchor,
    /// Views of earlier frames, the older one first.
    recent: [Option<Anchor>; 2],
    usual: Cells,
    /// How many points show detail at all.
    detailed: usize,
    tracker: FloatTrackerContext,
    /// Drawn frame to the last frame in which it was held, working pixels.
    pose: Similarity,
    /// The last move of the middle of the patch, working pixels a frame.
    velocity: [f64; 2],
    held: u32,
    lost: u32,
    /// Frames in a row in which a changed patch was found in unchanged surroundings.
    settled: u32,
    correlation: f64,
}

impl std::fmt::Debug for Follower {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Follower")
            .field("width", &self.width)
            .field("height", &self.height)
            .field("factor", &self.factor)
            .field("pose", &self.pose)
            .field("lost", &self.lost)
            .finish_non_exhaustive()
    }
}

impl Follower {
    /// Starts at the frame that the patch was drawn on.
    ///
    /// `luma` is the whole picture's luma signal row by row (0 black, 1 white), in the size of all
    /// frames to come.
    ///
    /// # Errors
    /// [`FollowError::Size`].
    pub fn new(
        luma: &[f32],
        width: usize,
        height: usize,
        patch: &Patch,
    ) -> Result<Self, FollowError> {
        if width < 16 || height < 16 || luma.len() != width * height {
            return Err(FollowError::Size {
                found: luma.len(),
                width,
                height,
            });
        }
        let factor = factor(&patch.shape, width, height);
        let reduced = reduce(luma, width, height, factor);
        let mut tracker = FloatTrackerContext::new();
        // Codes are cut to a small range of finite numbers, so the view is always taken.
        if let Some(image) = image(&reduced) {
            tracker.prepare(image, image, LEVELS);
        }
        // Working pixels from fractions: the picture may lose a few columns to the factor.
        let size = [width as f64 / factor as f64, height as f64 / factor as f64];
        let (low, high) = patch.shape.bounds();
        let low = [low[0] * size[0], low[1] * size[1]];
        let high = [high[0] * size[0], high[1] * size[1]];
        let seen = [reduced.width as f64, reduced.height as f64];
        let grown = |margin: f64| {
            let extra = margin * (high[0] - low[0]).max(high[1] - low[1]);
            (
                [low[0] - extra, low[1] - extra],
                [high[0] + extra, high[1] + extra],
            )
        };
        let mut chosen = (Vec::new(), 0, MARGINS[0]);
        for margin in MARGINS {
            let (low, high) = grown(margin);
            let points = grid(low, high, seen);
            let at: Vec<(f32, f32)> = points.iter().map(|p| to_centre(*p)).collect();
            let detailed = tracker
                .track(&at, None, PARAMS)
                .iter()
                .filter(|point| point.status == TrackStatus::Tracked)
                .count();
            let better = detailed > chosen.1;
            if better || chosen.0.is_empty() {
                chosen = (points, detailed, margin);
            }
            if detailed >= DETAILED {
                break;
            }
        }
        let (points, detailed, margin) = chosen;
        let (view_low, view_high) = grown(margin);
        let inside = |p: [f64; 2]| patch.shape.contains([p[0] / size[0], p[1] / size[1]]);
        let layout = |most| Layout::new(view_low, view_high, low, high, most, seen, inside);
        let layouts = Layouts {
            coarse: layout(12),
            fine: layout(40),
            wide: {
                let (low_wide, high_wide) = grown(WIDE.max(margin));
                Layout::new(low_wide, high_wide, low, high, 20, seen, inside)
            },
        };
        let first = Anchor::take(
            &layouts,
            &Pyramid::new(tracker.next_pyramid()),
            &Similarity::IDENTITY,
        );
        Ok(Self {
            width,
            height,
            factor,
            points,
            layouts,
            first,
            recent: [None, None],
            usual: Cells::none(),
            detailed,
            tracker,
            pose: Similarity::IDENTITY,
            velocity: [0.0; 2],
            held: 0,
            lost: 0,
            settled: 0,
            correlation: 1.0,
        })
    }

    /// By how much a follower of this patch makes pictures of a size smaller before it looks at them.
    /// Who gives it pictures made smaller already, by no more than this, spares it the work.
    #[must_use]
    pub fn reduction(patch: &Patch, width: usize, height: usize) -> usize {
        factor(&patch.shape, width, height)
    }

    /// The pose in the next frame.
    pub fn next(&mut self, luma: &[f32]) -> Pose {
        if luma.len() != self.width * self.height {
            return Pose::Lost(LostReason::FrameSize);
        }
        let reduced = reduce(luma, self.width, self.height, self.factor);
        if let Some(image) = image(&reduced) {
            self.tracker.advance(image, LEVELS);
        }
        if self.detailed < FEWEST {
            return Pose::Lost(LostReason::NoTexture);
        }
        let result = if self.lost > 0 {
            self.find()
        } else {
            self.follow().or_else(|reason| match reason {
                // A flash or a jump scatters the points of a patch that is in plain sight.
                LostReason::Scattered { .. } | LostReason::Unlike { .. } => {
                    self.find().map_err(|_| reason)
                }
                _ => Err(reason),
            })
        };
        match result {
            Ok((pose, correlation)) => {
                self.hold(pose, correlation);
                Pose::Held(self.in_widths(&pose))
            }
            Err(reason) => {
                self.lost += 1;
                self.held = 0;
                Pose::Lost(reason)
            }
        }
    }

    /// Normalised correlation of the last held frame with the first view, −1…1.
    #[must_use]
    pub fn correlation(&self) -> f64 {
        self.correlation
    }

    /// Follows from the frame before.
    fn follow(&mut self) -> Result<(Similarity, f64), LostReason> {
        let from: Vec<[f64; 2]> = self.points.iter().map(|p| self.pose.apply(*p)).collect();
        let at: Vec<(f32, f32)> = from.iter().map(|p| to_centre(*p)).collect();
        let results = self.tracker.track_fb(&at, None, PARAMS, 0.8);
        let (mut start, mut end) = (Vec::new(), Vec::new());
        let mut usable = 0usize;
        for (point, result) in from.iter().zip(results) {
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
        let radius = self.layouts.fine.radius * self.pose.scale();
        let agreed = agree(&start, &end, (0.015 * radius).max(1.0));
        let count = agreed.as_ref().map_or(0, |a| a.points.len());
        let agreeing = count as f64 / usable.max(1) as f64;
        let Some(agreed) = agreed.filter(|_| count >= FEWEST && agreeing >= MIN_AGREEING) else {
            return Err(LostReason::Scattered { agreeing });
        };
        let moved = agreed.motion.scale();
        if !(0.7..=1.4).contains(&moved) {
            return Err(LostReason::Scattered { agreeing });
        }
        let pose = agreed.motion.after(&self.pose);
        let (pose, correlation) = self.corrected(pose);
        self.accept(pose, correlation, Look::Usual)
    }

    /// Takes the drift out by aligning to the first view, where the patch still looks like it.
    fn corrected(&self, pose: Similarity) -> (Similarity, f64) {
        /// Below this the first view has changed too much to say better than the points.
        const TRUSTED: f64 = 0.8;
        let frame = Pyramid::new(self.tracker.next_pyramid());
        let layout = &self.layouts.fine;
        let aligned = self.first.fine.align(layout, &frame, &pose, 4);
        let ([x, y], [u, v]) = (pose.apply(layout.middle), aligned.pose.apply(layout.middle));
        let near = (x - u).hypot(y - v) <= (0.1 * layout.radius * pose.scale()).max(2.0);
        let same_size = (0.9..=1.1).contains(&(aligned.pose.scale() / pose.scale()));
        if aligned.correlation >= TRUSTED && near && same_size {
            (aligned.pose, aligned.correlation)
        } else {
            (pose, self.first.fine.correlation(layout, &frame, &pose))
        }
    }

    /// The gates that every pose has to pass.
    fn accept(
        &self,
        pose: Similarity,
        correlation: f64,
        look: Look,
    ) -> Result<(Similarity, f64), LostReason> {
        let frame = Pyramid::new(self.tracker.next_pyramid());
        let layout = &self.layouts.fine;
        let scale = pose.scale();
        if !(0.25..=4.0).contains(&scale) {
            return Err(LostReason::Size { scale });
        }
        if layout.share_inside(&pose, frame.size()) < 0.5 {
            return Err(LostReason::LeftPicture);
        }
        if correlation < MIN_CORRELATION {
            return Err(LostReason::Unlike { correlation });
        }
        if look != Look::Known {
            let cells = self.first.fine.cells(layout, &frame, &pose);
            let share = cells.changed_share(&self.usual, look == Look::Strict);
            if share > MAX_CHANGED {
                return Err(LostReason::Covered { share });
            }
        }
        Ok((pose, correlation))
    }

    /// Looks for a lost patch around where it was and where it was going.
    fn find(&mut self) -> Result<(Similarity, f64), LostReason> {
        let frame = Pyramid::new(self.tracker.next_pyramid());
        let radius = self.layouts.fine.radius * self.pose.scale();
        // A patch that stays away may come back from further off.
        let reach = radius * (0.8 + 0.12 * f64::from(self.lost)).min(3.0);
        let away = f64::from((self.lost + 1).min(4));
        let ahead = Similarity {
            tx: self.pose.tx + self.velocity[0] * away,
            ty: self.pose.ty + self.velocity[1] * away,
            ..self.pose
        };
        let mut best = 0.0f64;
        let mut changed = None;
        let views: Vec<&Anchor> = std::iter::once(&self.first)
            .chain(self.recent.iter().flatten())
            .collect();
        for anchor in &views {
            let found = anchor.find(&self.layouts, &frame, &ahead, reach);
            best = best.max(found.correlation);
            let layout = &self.layouts.fine;
            if changed.is_none() {
                changed = self.by_surroundings(anchor, &found);
            }
            if self.plausible(&found, &views).is_none() {
                continue;
            }
            let first = self.first.fine.correlation(layout, &frame, &found.pose);
            // A frown that came while it was lost differs from the first view, not from a later one.
            let fresh = anchor.fine.cells(layout, &frame, &found.pose);
            let look = if fresh.changed_share(&Cells::none(), true) <= MAX_CHANGED {
                Look::Known
            } else {
                Look::Strict
            };
            if let Ok(accepted) = self.accept(found.pose, first, look) {
                return Ok(accepted);
            }
        }
        // A smile changes a cheek for good; what stays alike in an unchanged face is the patch.
        self.settled = if changed.is_some() {
            self.settled + 1
        } else {
            0
        };
        if let Some((pose, first)) = changed.filter(|_| self.settled >= SETTLED_FRAMES) {
            return self.accept(pose, first, Look::Known);
        }
        Err(LostReason::NotFoundAgain { correlation: best })
    }

    /// The pose that the surroundings alone give, with the patch's correlation with the first view,
    /// where both look much like what they were: a patch that has changed pulls its own alignment
    /// askew.
    fn by_surroundings(&self, anchor: &Anchor, found: &Alike) -> Option<(Similarity, f64)> {
        let frame = Pyramid::new(self.tracker.next_pyramid());
        let middle = self.layouts.fine.middle;
        let ([x, y], [u, v]) = (self.pose.apply(middle), found.pose.apply(middle));
        let start = Similarity {
            tx: self.pose.tx + u - x,
            ty: self.pose.ty + v - y,
            ..self.pose
        };
        let wide = anchor.wide.align(&self.layouts.wide, &frame, &start, 8);
        let layout = &self.layouts.fine;
        let own = anchor.fine.correlation(layout, &frame, &wide.pose);
        let alike = Alike {
            correlation: own.max(FOUND_CORRELATIONS[1].0),
            ..wide
        };
        let fits = wide.correlation >= SETTLED_AROUND
            && own >= SETTLED_OWN
            && self.plausible(&alike, &[anchor]).is_some();
        fits.then(|| {
            (
                wide.pose,
                self.first.fine.correlation(layout, &frame, &wide.pose),
            )
        })
    }

    /// Correlation of the surroundings, where a pose found by search may be that of the patch, given
    /// what it was before.
    fn plausible(&self, found: &Alike, views: &[&Anchor]) -> Option<f64> {
        let pose = &found.pose;
        /// Half as bright again, or two thirds: what is lost in the light comes back in the light.
        const BRIGHTNESS: f64 = 0.4;
        let frame = Pyramid::new(self.tracker.next_pyramid());
        let size = (0.8..=1.25).contains(&(pose.scale() / self.pose.scale()));
        let turn = (pose.turn_deg() - self.pose.turn_deg() + 540.0).rem_euclid(360.0) - 180.0;
        let cells = self.first.fine.cells(&self.layouts.fine, &frame, pose);
        // A flash in sight is no loss: brightness tells only after one.
        let bright = self.lost == 0 || (cells.overall - self.usual.overall).abs() < BRIGHTNESS;
        let around = views
            .iter()
            .map(|view| view.wide.correlation(&self.layouts.wide, &frame, pose))
            .fold(0.0, f64::max);
        let alike = FOUND_CORRELATIONS
            .iter()
            .any(|&(own, wide)| found.correlation >= own && around >= wide);
        (size && turn.abs() <= 20.0 && bright && alike).then_some(around)
    }

    /// Takes a pose as the new state.
    fn hold(&mut self, pose: Similarity, correlation: f64) {
        let frame = Pyramid::new(self.tracker.next_pyramid());
        let layout = &self.layouts.fine;
        let cells = self.first.fine.cells(layout, &frame, &pose);
        // Half a second at 25 frames a second: slower than a hand, faster than a turning head.
        let share = if self.lost == 0 { 1.0 / 12.0 } else { 1.0 };
        self.usual.toward(&cells, share);
        let ([x, y], [u, v]) = (self.pose.apply(layout.middle), pose.apply(layout.middle));
        self.velocity = if self.lost == 0 {
            [u - x, v - y]
        } else {
            [0.0; 2]
        };
        self.pose = pose;
        self.correlation = correlation;
        self.lost = 0;
        self.settled = 0;
        self.held += 1;
        if self.held.is_multiple_of(RECENT_EVERY) {
            let view = Anchor::take(&self.layouts, &frame, &pose);
            self.recent.swap(0, 1);
            self.recent[1] = Some(view);
        }
    }

    /// A pose of working pixels in picture widths.
    fn in_widths(&self, pose: &Similarity) -> Similarity {
        let width = self.width as f64 / self.factor as f64;
        Similarity {
            tx: pose.tx / width,
            ty: pose.ty / width,
            ..*pose
        }
    }
}

/// By how much the picture is made smaller: to at most 1280 pixels on its longer side, as long as the
/// patch keeps 24 pixels on its shorter one.
fn factor(shape: &Shape, width: usize, height: usize) -> usize {
    let (low, high) = shape.bounds();
    let side = ((high[0] - low[0]) * width as f64).min((high[1] - low[1]) * height as f64);
    let wanted = width.max(height).div_ceil(1280);
    wanted.min((side / 24.0) as usize).max(1)
}

/// The points of a square grid that lie well inside the picture.
fn grid(low: [f64; 2], high: [f64; 2], size: [f64; 2]) -> Vec<[f64; 2]> {
    (0..GRID * GRID)
        .map(|i| {
            let at = |k: usize, index: usize| {
                low[k] + (index as f64 + 0.5) / GRID as f64 * (high[k] - low[k])
            };
            [at(0, i % GRID), at(1, i / GRID)]
        })
        .filter(|p| (0..2).all(|k| p[k] > 1.0 && p[k] < size[k] - 1.0))
        .collect()
}

/// The tracker counts from the centre of the first pixel.
fn to_centre([x, y]: [f64; 2]) -> (f32, f32) {
    ((x - 0.5) as f32, (y - 0.5) as f32)
}

fn image(reduced: &Reduced) -> Option<FloatImageView<'_>> {
    FloatImageView::new(
        &reduced.luma,
        u32::try_from(reduced.width).ok()?,
        u32::try_from(reduced.height).ok()?,
    )
    .ok()
}

#[cfg(test)]
mod tests;
