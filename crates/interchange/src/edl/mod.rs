//! CMX-style edit decision lists, `.edl`.
//!
//! ```text
//! TITLE: text
//! FCM: NON-DROP FRAME
//! 001  A001     V     C        10:00:00:00 10:00:02:00 01:00:00:00 01:00:02:00
//! * FROM CLIP NAME: A001.mov
//! 002  A001     V     C        10:00:02:00 10:00:02:00 01:00:02:00 01:00:02:00
//! 002  B001     V     D    012 11:00:00:00 11:00:03:00 01:00:02:00 01:00:05:00
//! * FROM CLIP NAME: A001.mov
//! * TO CLIP NAME: B001.mov
//! M2   B001       048.0                11:00:00:00
//! * ASC_SOP (1 1 1)(0 0 0)(1 1 1)
//! * ASC_SAT 1
//! * SCENE: 12
//! ```
//!
//! An event is its number, reel, channels, transition (`C` cut, `D` dissolve, `W…` wipe) with its
//! length in frames, source in and out, record in and out. A dissolve comes as two events of one
//! number, the outgoing one of no length. `M2` gives the speed of a reel in frames a second; below 0
//! it runs backward, at 0 the first frame is frozen. `ASC_SOP` and `ASC_SAT` carry a CDL. The list
//! does not say its frame rate. No standard was at hand: the form is common practice, no source.

mod lines;
mod read;
mod write;

pub use read::read;
pub use write::write;

/// Why a list cannot be read as a whole.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EdlError {
    /// A line that puts every other one in doubt.
    #[error("line {line}: {reason}")]
    Line {
        /// The line, counted from 1.
        line: usize,
        /// What is wrong, and what to do.
        reason: String,
    },
    /// There is nothing in it.
    #[error(
        "no event in it; expected lines such as `001  A001  V  C  10:00:00:00 10:00:02:00 01:00:00:00 01:00:02:00`"
    )]
    Empty,
}
