//! Where a patch lies in a frame, relative to the frame that it was drawn on.

use serde::{Deserialize, Serialize};

/// A similarity of the picture plane: x' = a·x − b·y + tx, y' = b·x + a·y + ty.
///
/// *Unit*: picture widths on both axes (x in pixels / width, y in pixels / width), so that the same
/// numbers serve a picture of any size and angles stay angles. Pixels are taken as square. The
/// top-left corner of the picture is (0, 0); the centre of the first pixel is half a pixel inside.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Similarity {
    /// Scale times cosine of the turn.
    pub a: f64,
    /// Scale times sine of the turn; positive turns clockwise as seen (y points down).
    pub b: f64,
    /// Shift to the right, in picture widths.
    pub tx: f64,
    /// Shift down, in picture widths.
    pub ty: f64,
}

impl Default for Similarity {
    fn default() -> Self {
        Self::IDENTITY
    }
}

impl Similarity {
    /// No change.
    pub const IDENTITY: Self = Self {
        a: 1.0,
        b: 0.0,
        tx: 0.0,
        ty: 0.0,
    };

    /// The image of a point.
    #[must_use]
    pub fn apply(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [
            self.a * x - self.b * y + self.tx,
            self.b * x + self.a * y + self.ty,
        ]
    }

    /// `self` after `first`.
    #[must_use]
    pub fn after(&self, first: &Self) -> Self {
        let [tx, ty] = self.apply([first.tx, first.ty]);
        Self {
            a: self.a * first.a - self.b * first.b,
            b: self.b * first.a + self.a * first.b,
            tx,
            ty,
        }
    }

    /// The way back; `None` where the scale is zero or not finite.
    #[must_use]
    pub fn inverse(&self) -> Option<Self> {
        let square = self.a * self.a + self.b * self.b;
        if !(square.is_finite() && square > 0.0) {
            return None;
        }
        let (a, b) = (self.a / square, -self.b / square);
        Some(Self {
            a,
            b,
            tx: -(a * self.tx - b * self.ty),
            ty: -(b * self.tx + a * self.ty),
        })
    }

    /// The factor by which lengths grow.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.a.hypot(self.b)
    }

    /// The turn in degrees, (−180, 180], clockwise as seen.
    #[must_use]
    pub fn turn_deg(&self) -> f64 {
        self.b.atan2(self.a).to_degrees()
    }
}

/// Why a patch could not be followed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "why")]
pub enum LostReason {
    /// Too few points of the patch move together.
    Scattered {
        /// Share of the points that agree on one motion, 0–1.
        agreeing: f64,
    },
    /// It no longer looks like the patch that was drawn.
    Unlike {
        /// Normalised correlation with the first view, −1…1.
        correlation: f64,
    },
    /// Part of it is covered by something else.
    Covered {
        /// Share of the patch that differs from the first view, 0–1.
        share: f64,
    },
    /// It has left the picture.
    LeftPicture,
    /// Its size changed beyond what a picture of the same thing can show (below a quarter, above
    /// four times).
    Size {
        /// Scale against the drawn frame.
        scale: f64,
    },
    /// There is no detail to follow, in it or around it.
    NoTexture,
    /// The frame has another size than the first one, or none.
    FrameSize,
    /// Still lost from an earlier frame: nothing near looks enough like it.
    NotFoundAgain {
        /// The best normalised correlation that was found, −1…1.
        correlation: f64,
    },
    /// No pixels of this frame were given to the follower.
    NotFollowed,
}

impl std::fmt::Display for LostReason {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Scattered { agreeing } => write!(
                f,
                "only {:.0} % of its points move together",
                agreeing * 100.0
            ),
            Self::Unlike { correlation } => {
                write!(
                    f,
                    "it no longer looks like the first view (correlation {correlation:.2})"
                )
            }
            Self::Covered { share } => {
                write!(f, "{:.0} % of it is covered or changed", share * 100.0)
            }
            Self::LeftPicture => f.write_str("it left the picture"),
            Self::Size { scale } => write!(f, "its size changed by a factor of {scale:.2}"),
            Self::NoTexture => f.write_str("there is no detail to follow"),
            Self::FrameSize => f.write_str("the frame has another size"),
            Self::NotFoundAgain { correlation } => {
                write!(f, "not found again (best correlation {correlation:.2})")
            }
            Self::NotFollowed => f.write_str("not followed in this frame"),
        }
    }
}

/// The state of a patch in one frame.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Pose {
    /// It lies where the similarity takes it from the drawn frame.
    Held(Similarity),
    /// It is not to be read in this frame.
    Lost(LostReason),
}

impl Pose {
    /// The similarity where the patch is held.
    #[must_use]
    pub fn held(&self) -> Option<&Similarity> {
        match self {
            Self::Held(similarity) => Some(similarity),
            Self::Lost(_) => None,
        }
    }
}

/// A patch followed through a run of frames.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Track {
    /// Source frame of the first pose.
    pub first_frame: u64,
    /// One pose a frame, in frame order.
    pub poses: Vec<Pose>,
}

impl Track {
    /// A track from the poses before the drawn frame (nearest first, as a follower that runs
    /// backward gives them), and those from the drawn frame on.
    ///
    /// `backward` longer than the frames there are before `drawn` is cut.
    #[must_use]
    pub fn join(drawn: u64, backward: &[Pose], forward: &[Pose]) -> Self {
        let before = backward
            .len()
            .min(usize::try_from(drawn).unwrap_or(usize::MAX));
        let mut poses: Vec<Pose> = backward[..before].iter().rev().copied().collect();
        poses.push(Pose::Held(Similarity::IDENTITY));
        poses.extend_from_slice(forward);
        Self {
            first_frame: drawn - before as u64,
            poses,
        }
    }

    /// The pose in a source frame; outside the track it is not followed.
    #[must_use]
    pub fn pose(&self, frame: u64) -> Pose {
        frame
            .checked_sub(self.first_frame)
            .and_then(|index| self.poses.get(usize::try_from(index).ok()?))
            .copied()
            .unwrap_or(Pose::Lost(LostReason::NotFollowed))
    }

    /// How many frames are lost.
    #[must_use]
    pub fn lost(&self) -> usize {
        self.poses
            .iter()
            .filter(|pose| pose.held().is_none())
            .count()
    }

    /// The lost spans as half-open ranges of source frames, with the reason of their first frame.
    #[must_use]
    pub fn lost_spans(&self) -> Vec<(std::ops::Range<u64>, LostReason)> {
        let mut spans: Vec<(std::ops::Range<u64>, LostReason)> = Vec::new();
        for (frame, pose) in (self.first_frame..).zip(&self.poses) {
            let Pose::Lost(reason) = pose else { continue };
            match spans.last_mut() {
                Some((span, _)) if span.end == frame => span.end += 1,
                _ => spans.push((frame..frame + 1, *reason)),
            }
        }
        spans
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn joins_backward_and_forward() {
        let lost = Pose::Lost(LostReason::LeftPicture);
        let held = Pose::Held(Similarity {
            tx: 0.1,
            ..Similarity::IDENTITY
        });
        let track = Track::join(2, &[held, lost, held], &[lost, lost, held]);
        assert_eq!(track.first_frame, 0);
        assert_eq!(
            track.poses,
            [
                lost,
                held,
                Pose::Held(Similarity::IDENTITY),
                lost,
                lost,
                held
            ]
        );
        assert_eq!(track.lost(), 3);
        let spans: Vec<_> = track.lost_spans().into_iter().map(|s| s.0).collect();
        assert_eq!(spans, [0..1, 3..5]);
        assert_eq!(track.pose(9), Pose::Lost(LostReason::NotFollowed));
        let late = Track {
            first_frame: 5,
            ..track
        };
        assert_eq!(late.pose(4), Pose::Lost(LostReason::NotFollowed));
        assert_eq!(late.pose(5), lost);
    }

    proptest! {
        #[test]
        fn inverse_undoes(scale in 0.1f64..10.0, turn in -3.0f64..3.0, tx in -2.0f64..2.0,
                          ty in -2.0f64..2.0, x in -2.0f64..2.0, y in -2.0f64..2.0) {
            let s = Similarity { a: scale * turn.cos(), b: scale * turn.sin(), tx, ty };
            let back = s.inverse().unwrap();
            let [u, v] = back.apply(s.apply([x, y]));
            prop_assert!((u - x).abs() < 1e-9 && (v - y).abs() < 1e-9);
            let [u, v] = back.after(&s).apply([x, y]);
            prop_assert!((u - x).abs() < 1e-9 && (v - y).abs() < 1e-9);
            prop_assert!((s.scale() - scale).abs() < 1e-12);
        }
    }

    #[test]
    fn a_collapsed_similarity_has_no_inverse() {
        let zero = Similarity {
            a: 0.0,
            b: 0.0,
            tx: 0.0,
            ty: 0.0,
        };
        assert!(zero.inverse().is_none());
        assert!(
            Similarity {
                a: f64::NAN,
                ..zero
            }
            .inverse()
            .is_none()
        );
    }
}
