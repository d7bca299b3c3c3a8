//! Synthetic scenes whose truth is known, and the harness that scores a corrector against it.
//!
//! A scene is built from spectra: skins, lights, surfaces, a camera. For each pixel it is known whose skin it shows and
//! what the same camera would see under D65 at nominal exposure. **Held out** from tuning: every third skin, every
//! third light in file order, and the second measured camera; a scene with any such part is held out.
#![forbid(unsafe_code)]

pub mod cast;
pub mod corrector;
pub mod encoded;
pub mod film;
pub mod grid;
pub mod reach;
pub mod render;
pub mod scene;
pub mod score;
pub mod stage;
pub mod table;
pub mod tool;
pub mod truth;

pub use grid::{grid, quick_grid};
pub use scene::{Codec, Group, LightSpec, SceneSpec, Shot, ShotSpec};
pub use stage::Region;
