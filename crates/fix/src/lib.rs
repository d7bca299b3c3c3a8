//! The smallest correction that brings skin to its aim: pure.
//!
//! [`solve()`] takes a [`Problem`] (skin of the people in a shot, a sample of the picture, an [`Aim`] each, [`Limits`])
//! and gives a [`Solution`]: one [`Fix`] for every [`Reach`], each with its [`Cost`], the one chosen, and a sentence
//! that says why. Same problem, same numbers: there is no randomness and no thread here.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]

pub mod aim;
pub mod audit;
mod choose;
mod clipping;
mod cost;
pub mod drift;
mod evidence;
mod explain;
pub mod exposure;
pub mod joint;
mod judge;
mod keyed;
pub mod light;
pub mod limits;
pub mod look;
mod looked;
mod model;
mod objective;
pub mod presets;
pub mod problem;
mod sample;
pub mod solution;
mod solve;
mod target;
pub mod tint;

pub use aim::{Aim, AimCentre, AimError, AimKind, Band, SaturationAim, Want};
pub use drift::{Light, LightVerdict, light_of};
pub use exposure::{Exposure, exposure};
pub use joint::{Belief, PersonBelief, believe};
pub use judge::{Judgement, judge, judge_with, key_on};
pub use light::{LightEstimate, NeutralEstimate, WhiteEstimate};
pub use limits::{Limit, Limits, LimitsError};
pub use look::Look;
pub use presets::{PRESETS, Preset};
pub use problem::{PersonProblem, PicturePixel, Problem, ProblemError};
pub use solution::{Cost, Fix, NoKey, PersonResult, Reach, SkinValue, Solution, State};
pub use solve::{solve, solve_all, solve_with};
pub use tint::{SharedTint, Tint, shared_tint};
