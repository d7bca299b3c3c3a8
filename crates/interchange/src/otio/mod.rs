//! OpenTimelineIO, `.otio` (JSON). Form: the project's own documentation and files (Apache-2.0).
//!
//! Of a timeline its video tracks are taken, the upper one seen; gaps, transitions
//! (`SMPTE_Dissolve` and others as wipes), `LinearTimeWarp` and `FreezeFrame`. A clip's
//! `source_range` has the length that it has in the film; at a time scalar s, |s| times as many
//! source frames are used from its start on, backward where s is below 0. A CDL is carried as
//! `metadata.cdl` (`asc_sop`, `asc_sat`), the reel as `metadata.cmx_3600.reel`, as the project's own
//! EDL adapter does.

mod read;
mod write;

pub use read::read;
pub use write::write;

/// Why a timeline cannot be read as a whole.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum OtioError {
    /// It is no JSON.
    #[error("line {line}, column {column}: {reason}; expected OpenTimelineIO as JSON (.otio)")]
    Json {
        /// The line, counted from 1.
        line: usize,
        /// The column, counted from 1.
        column: usize,
        /// What is wrong.
        reason: String,
    },
    /// It is JSON of something else.
    #[error("{found}; expected a Timeline with a video track")]
    Form {
        /// What was found instead.
        found: String,
    },
    /// There is nothing in it.
    #[error("no clip in any video track; export the timeline that holds the cut")]
    Empty,
}
