//! The demo film: *The Spare Key*, an invented scenario with an invented cast, shot by simulated cameras.
//!
//! [`scenario`] says what is shot and how it is cut, [`shooting`] renders takes with their truth, [`program`] joins the
//! finished picture, [`lists`] writes cut lists, [`movie`] talks to the `ffmpeg` program.

pub mod lists;
pub mod movie;
pub mod program;
pub mod scenario;
pub mod shooting;

/// Frames a second of everything.
pub const RATE: u64 = 24;

/// `HH:MM:SS:FF` of a frame count.
#[must_use]
pub fn timecode(frame: u64) -> String {
    let seconds = frame / RATE;
    format!(
        "{:02}:{:02}:{:02}:{:02}",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60,
        frame % RATE
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn timecode_counts_24_frames() {
        assert_eq!(timecode(0), "00:00:00:00");
        assert_eq!(timecode(24 * 3600 + 24 * 61 + 23), "01:01:01:23");
    }
}
