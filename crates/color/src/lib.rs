//! Colour values, encodings and differences.
//!
//! Everything here is arithmetic on numbers that the caller owns: no files, no clock, no threads.
//!
//! The **working signal** of a film is non-linear R'G'B' in `f32`: 0 = reference black, 1 = reference
//! white, excursions kept (about −0.07…1.09 in narrow-range video). Its primaries and its luma
//! coefficients are a [`WorkingSpace`]. Measurement runs in `f64`.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]

pub mod difference;
pub mod dither;
pub mod hue;
pub mod known;
pub mod lab;
pub mod matrix;
pub mod picture;
pub mod primaries;
pub mod quantise;
pub mod screen;
pub mod transfer;
pub mod units;
pub mod ycbcr;

pub use difference::{DeltaE2000, delta_e_2000};
pub use hue::{Hue, HueDelta, SKIN_TONE_LINE};
pub use known::Known;
pub use lab::{ItaClass, Lab, ita_deg, lab_from_signal};
pub use picture::{Region, Rgb};
pub use primaries::{Primaries, WorkingSpace};
pub use quantise::{CodeValue, Levels};
pub use units::{Fraction, Percent, Stops};
pub use ycbcr::{Chroma, Coefficients, Ycbcr};
