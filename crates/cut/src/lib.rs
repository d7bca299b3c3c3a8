//! Cuts as plain data: rates and timecode, cut lists and what links them to clips, what a re-cut
//! changes, where a finished picture is cut, and which shots belong together.
//!
//! Frames are counted from 0; spans are half-open.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods)]

mod flatten;
mod link;
mod list;
mod rate;
mod recut;
mod seen;
mod suggest;
mod timecode;
mod watch;

pub use flatten::flatten;
pub use link::{Linked, NotLinked, SourceFacts, link, plain};
pub use list::{CutList, Event, Pictures, Refused, SourceSpan, Transition, TransitionKind, Under};
pub use rate::Rate;
pub use recut::{Change, Known, Matched, Status, Wanted, match_recut};
pub use seen::{AreaKind, Seen, SeenArea, SeenSpan, SpanKind};
pub use suggest::{
    NameFacts, Suggested, Thumbnail, ToGroup, camera_of_reel, name_facts, same_setup, suggest,
};
pub use timecode::{Timecode, TimecodeError};
pub use watch::{SmallPicture, Watcher};
