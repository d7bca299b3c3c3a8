//! Pictures as files of their own, one a frame: a folder of them is a clip.

mod dpx;
mod exr;
mod listing;
mod writer;

pub(crate) use dpx::{facts as dpx_facts, is_dpx};
pub(crate) use exr::{is_exr, read as read_exr};
pub(crate) use listing::Sequence;
pub use listing::{PictureNames, is_sequence, picture_names};
pub use writer::{Numbering, PictureWriter};

use crate::tags::{TagCodes, Transfer};
use inkarnat_color::Primaries;

/// What a picture file says about itself beside its codes.
pub(crate) struct Statement<'a> {
    pub(crate) tags: TagCodes,
    /// Full sentence about what the codes mean.
    pub(crate) meaning: &'a str,
    pub(crate) timecode: Option<&'a str>,
    /// Frames a second, numerator and denominator.
    pub(crate) rate: (i32, i32),
    pub(crate) aspect: (i32, i32),
}

/// The primaries of a code of Rec. ITU-T H.273 table 2, where it is one of those known here.
pub(crate) fn primaries_of(code: u8) -> Option<Primaries> {
    match code {
        1 => Some(Primaries::Bt709),
        5 => Some(Primaries::Bt601Line625),
        6 | 7 => Some(Primaries::Bt601Line525),
        9 => Some(Primaries::Bt2020),
        _ => None,
    }
}

/// Whether a transfer characteristic is shown by the display of BT.1886.
pub(crate) fn shown_by_bt1886(code: u8) -> bool {
    !matches!(
        Transfer::from_code(code),
        Transfer::Pq | Transfer::Hlg | Transfer::Linear
    )
}
