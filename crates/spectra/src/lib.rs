//! Published spectra, illuminants, cameras and a model of skin.
//!
//! Everything is tables compiled in and arithmetic on them: no files, no clock, no threads; random draws take a seed.
//! All spectra have one sampling ([`Spectrum`]). A light is scaled to luminance 1, so a perfect white gives a
//! linear signal of about 1 under every light, and an 18 % grey sits at 41 % after the BT.709 OETF
//! ([`inkarnat_color::transfer::bt709_oetf`]).
//!
//! ```
//! use inkarnat_spectra::{Camera, SkinModel, illuminant};
//! let skin = SkinModel::published().skin([0.0; 4]);
//! let tungsten = illuminant("A").unwrap();
//! let [r, g, b] = Camera::ideal().linear_rgb(&skin.reflectance, tungsten);
//! assert!(r > g && g > b);
//! ```
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]

pub mod camera;
pub mod chart;
mod data;
pub mod illuminant;
pub mod material;
pub mod random;
pub mod skin;
pub mod spectrum;
pub mod upsample;

pub use camera::{Camera, LightResponse, balance_gains, cameras, observer, xyz};
pub use chart::{ChartSet, Patch, chart};
pub use illuminant::{Illuminant, d65, illuminant, illuminants};
pub use material::{Material, Neutrality, material, materials};
pub use random::Random;
pub use skin::{SCORE_SD, Skin, SkinModel, class_mean, lab_of, lips};
pub use spectrum::{Outside, Spectrum};
pub use upsample::reflectance_from_rgb709;
