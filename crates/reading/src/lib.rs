//! Patches of skin, the pixels in them, and what they read.
//!
//! The path is: a [`Patch`] is drawn on one frame; a [`Track`] says where it lies in every other
//! frame, or that it is lost there; [`patch_pixels`] and [`choose`] name the pixels, once, on the
//! source; [`read_frame`] measures them, there and in every later version of the picture; and
//! [`read_shot`] sums the frames up with an uncertainty beside each number.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]

pub mod background;
pub mod follow;
pub mod frame;
pub mod log_like;
pub mod patch;
pub mod pixels;
pub mod pose;
pub mod r103;
pub mod resample;
pub mod sample;
pub mod shot;
mod statistics;
#[cfg(test)]
mod testing;
pub mod traces;

pub use background::{BackgroundMeter, BackgroundReading, log_light, signal_of_log_light};
pub use follow::{Flow, FollowError, Follower, SharedMotion};
pub use frame::{FrameReading, Unreadable, read_frame};
pub use log_like::{Histogram, looks_like_log};
pub use patch::{Patch, PatchArgument, PatchError, Shape};
pub use pixels::{Chosen, ClipRule, PatchPixels, choose, patch_pixels};
pub use pose::{LostReason, Pose, Similarity, Track};
pub use r103::{FrameLimits, Limit, LimitMeter, Outside, ShotLimits};
pub use resample::{Resample, Thumbnail};
pub use sample::{PictureSample, PictureSampler, SkinSample};
pub use shot::{CodeStep, Drift, ShotContext, ShotReading, WorstFrame, read_shot};
pub use traces::{Density, Traces, traces};
