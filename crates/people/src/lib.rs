//! Faces: found in a picture, measured as a mesh, their skin chosen, told apart by an embedding.
//!
//! The models are ONNX files that `script/fetch-faces` makes; without them nothing here runs and
//! the rest of the tool works on drawn patches. Face data never leaves the caller.
#![forbid(unsafe_code)]

mod embedding;
mod find;
mod mesh;
mod models;
mod warp;

pub use embedding::Embedding;
pub use find::{Face, FindSettings};
pub use mesh::{Mesh, POINTS};
pub use models::{Models, PeopleError};
