//! Clothed heads and shoulders rendered from open geometry, light by light, with spectra applied afterwards.
//!
//! ```no_run
//! use inkarnat_heads::{Baked, HeadData, ShadeTables, Size, cast, demo, render, shade};
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let data = HeadData::load(std::path::Path::new(".cache/heads"))?; // filled by script/fetch-heads
//! let people: Vec<Baked> = cast().iter().map(|p| Baked::new(&data, p)).collect::<Result<_, _>>()?; // 2-4 s each
//! let scene = demo::portrait(0, demo::Mood::SoftWindow, 16.0 / 9.0, 720); // or your own `Scene`
//! let buffers = render(&data, &scene, &people, Size::HD720)?;       // no spectrum chosen yet
//! let tables = ShadeTables::new(&buffers, &demo::daylight);         // once a shot: any `Response`
//! let picture = shade(&buffers, &tables);                           // linear RGB, not clipped
//! # let _ = picture; Ok(()) }
//! ```
//!
//! # World
//! Decimetres, y up. A person placed at the origin has the middle of the eyes near (0, 7.28, 1.22), looks along +z,
//! and its own left is +x (picture right for a camera in front). The body ends at y = 3.3 and skin is only built
//! above the collar bones: frame so that the picture's lower edge is above y = 3.6, or put a [`Foreground`] there.
//!
//! # From a scene to a picture
//! 1. [`Baked::new`] once per person; [`Backdrop::paint`] once per shot (set, blur, pools of light).
//! 2. A [`Scene`] per frame: [`Camera`], [`Light`]s (position, size, irradiance, [`Shade`]s that cross them),
//!    [`Ambient`]s (what the room reflects), [`Placement`]s (pose, gaze, [`Expression`]), backdrop gains.
//! 3. [`render()`] gives [`Buffers`]: coverage masks ([`Buffers::coverage`]), facial points and box
//!    ([`Buffers::faces`]), and the light of every material, separately for every light.
//! 4. [`ShadeTables::new`] asks a [`Response`] for the camera's answer to each (light, reflectors) pair;
//!    [`shade()`] applies it. The same buffers can be shaded again for another camera, spectrum or exposure, and for
//!    the truth under a reference light.
//!
//! Light adds up: shading is linear in every light's irradiance. A white card facing a light of irradiance 1 gives
//! the response to a perfect white. Skin reflects by absorbance scores ([`Complexion::at`]); its diffuse light is
//! kept in two bands of wavelength because red light spreads further below the skin.
//!
//! # What is not physical
//! Light reflected within a face is one bounce with the face's mean irradiance; people do not light each other and
//! do not shade each other in soft light; the set is lit by pools. The shadow of hair comes from voxels.

#![forbid(unsafe_code)]

mod baked;
mod cast;
mod data;
pub mod demo;
mod expression;
mod garment;
mod hair;
mod light;
mod math;
pub mod motion;
mod paint;
mod person;
mod pose;
mod raster;
mod render;
mod scene;
mod set;
mod shade;
mod shadow;
mod spectacles;
mod strands;
mod surface;
mod topology;
mod visibility;

pub use baked::Baked;
pub use cast::cast;
pub use data::{HeadData, HeadsError};
pub use expression::Expression;
pub use person::{
    BLOOD, Beard, Complexion, Covering, Cut, FacePoint, Garment, Hair, HairStyle, MELANIN, Pattern,
    Person, Pigment, ReadPart, Region, SkinScores, Spectacles, VERY_LIGHT,
};
pub use render::{Buffers, FaceInFrame, Size, eye_middle, render};
pub use scene::{Ambient, Camera, Foreground, Light, Placement, Scene, Shade};
pub use set::{Backdrop, Neutral, Place, Pool, Set, SetMaterial};
pub use shade::{Band, Reflector, Response, ShadeTables, shade};
