//! File formats as bytes to model and back: pure.
//!
//! One module per format. Readers take the bytes of a file and say at which line something is wrong;
//! writers return the text, so that the caller can put it down whole or not at all.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]

pub mod cdl;
pub mod clf;
pub mod cube;
pub mod edl;
pub mod otio;
pub mod readings;
pub mod transform;
mod xml;

pub use cdl::{CdlError, CdlFile, Correction, Form};
pub use clf::{ClfError, ClfFile};
pub use cube::{CubeError, CubeFile, Lut1d, Place, Table};
pub use edl::EdlError;
pub use otio::OtioError;
pub use readings::{FrameRow, ShotRow};
pub use transform::{TransformError, read_transform};
