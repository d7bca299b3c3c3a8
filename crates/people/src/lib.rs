//! Faces: found, followed through a shot, their skin chosen, told apart across shots.
//!
//! The models are ONNX files that `script/fetch-faces` makes; without them [`Models::load`] says
//! [`PeopleError::Missing`], nothing here runs, and the rest of the tool works on drawn patches. Face
//! data never leaves the caller.
//!
//! # From a shot to readings
//! 1. Give the frames in order to a [`FaceFollower`]: any [`Frame`] (decoded planes, or a whole
//!    picture). [`FaceFollower::finish`] returns a [`FaceTrack`] for every face: for every frame an
//!    [`Outline`], or why it is lost.
//! 2. For every frame that holds the face, [`skin_region`] names the rectangle to convert and
//!    [`side_lights`] measures both cheeks. Over the shot, [`face_light`] chooses the key side (once),
//!    and gives the key-to-fill ratio and two lights on one face.
//! 3. [`choose_skin`] with that side gives an [`inkarnat_reading::Chosen`]: the pixels of the source
//!    that serve `before`, `after` and `proof`. It is a function of source and outline alone, so it can
//!    be made again instead of being kept.
//! 4. Over the film, [`group()`] makes people of tracks: sure links, and questions.
//!
//! `examples/people.rs` does all of it.
#![forbid(unsafe_code)]

mod appearance;
mod carry;
mod embedding;
mod find;
mod follow;
mod group;
mod light;
mod mesh;
mod models;
mod outline;
mod picture;
mod rim;
mod skin;
mod smooth;
mod still;
mod warp;

pub use embedding::Embedding;
pub use find::{Face, FindSettings};
pub use follow::{FaceFollower, FaceLost, FaceState, FaceTrack, FollowSettings};
pub use group::{DOUBT, Groups, Member, Question, SAME, Said, group};
pub use light::{FaceLight, TwoLights, face_light};
pub use mesh::{Mesh, POINTS};
pub use models::{Models, PeopleError};
pub use outline::{Outline, Part, Side};
pub use picture::Frame;
pub use skin::{
    BothSides, ChromaModel, FaceSkin, NoSkin, SideLight, SideLights, SkinRule, both_sides,
    choose_skin, choose_skin_in, side_lights, skin_region,
};
pub use still::Liveliness;
