//! Films and pictures on disk: FFmpeg for clips, still pictures beside it.
//!
//! [`probe()`] says what a file is, [`Reader`] gives its frames as native planes with the meaning of
//! their codes, [`Writer`] makes QuickTime clips, [`PictureWriter`] rows of pictures, [`write_still`] single ones. Sources are
//! opened for reading only. Nothing is ever silently wrong: what is assumed about a file and what of
//! it will not be kept stands in [`Probe::notes`] and [`Written::notes`].
//!
//! This is the only crate with unsafe code, all of it in the private module `ffi`.
#![deny(unsafe_code)]

mod codec;
mod encoded;
mod error;
mod ffi;
mod file;
mod frame;
mod h264;
mod index;
mod pictures;
mod probe;
mod reader;
mod sound;
mod still;
mod tags;
mod time;
mod writer;

pub use codec::Codec;
pub use encoded::{ScreenFormat, encode_for_screen};
pub use error::{Fault, MediaError};
pub use frame::Frame;
pub use pictures::{Numbering, PictureNames, PictureWriter, is_sequence, picture_names};
pub use probe::{Kind, OtherStream, Probe, Scan, probe, probe_with};
pub use reader::{Options, Reader};
pub use still::{StillFormat, write_still};
pub use tags::{Stated, TagCodes, Tags, Transfer};
pub use time::{FrameTime, Rational, Timecode};
pub use writer::{Writer, WriterOptions, Written};

/// The linked FFmpeg, for reports and bug reports.
#[must_use]
pub fn ffmpeg_version() -> String {
    ffi::versions()
}
