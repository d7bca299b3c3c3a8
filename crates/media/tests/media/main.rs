//! Clips made by the `ffmpeg` program, read and written by this crate, looked at by `ffprobe`.
//!
//! Both programs are somebody else's: what they say about our files, and what they put into ours to
//! read, is the outside that these tests check against.

mod bad_input;
mod bars;
mod formats;
mod round_trip;
mod seeking;
mod stills;
mod support;
