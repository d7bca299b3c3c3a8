//! Colour operations as data, applied plainly and fast, baked and inverted: pure.
//!
//! - [`data`] says what an operation is: its parameters, whether they are valid, whether it does
//!   nothing. Files, the solver and the renderer all read this one description.
//! - [`plain`] applies it to one colour in `f64`: the reference that everything else is held against.
//! - [`fast`] applies it to planar rows of `f32`.
//!
//! Every operation acts on the non-linear R'G'B' working signal (0 = reference black, 1 = reference
//! white), keeps excursions, and depends on nothing but the colour that it is given: so any chain of
//! them bakes into one 3D LUT.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]

pub mod bake;
pub mod data;
pub mod fast;
pub mod neutrals;
pub mod plain;

pub use bake::{BakeError, Baked, Domain};
pub use data::cdl::Cdl;
pub use data::chain::Chain;
pub use data::invalid::Invalid;
pub use data::keyed::{Key, KeyedCdl, Window};
pub use data::keyframes::{Keyframe, Keyframes, MovingChain};
pub use data::limiter::Limiter;
pub use data::lut::Lut3d;
pub use data::op::Op;
pub use data::process::{
    CdlStyle, CurveDomain, Curves, Exponent, ExponentStyle, Grid, Interpolation, Log, LogParams,
    LogStyle, Matrix, Node, Process, Range, StyledCdl,
};
pub use data::shoulder::{RollOff, Shoulder};
pub use plain::cdl::CdlInverse;
