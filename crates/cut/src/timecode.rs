//! Timecode (SMPTE ST 12-1): hours, minutes, seconds and frames as a count of frames.

use crate::Rate;
use serde::{Deserialize, Serialize};

/// A moment as timecode counts it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Timecode {
    /// Frames since 00:00:00:00.
    pub frame: i64,
    /// Numbers are left out (drop-frame).
    pub drop: bool,
}

/// Why a text is no timecode at a rate.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TimecodeError {
    /// It is something else.
    #[error(
        "{text:?} is no timecode; expected hh:mm:ss:ff, with ; before the frames in drop-frame"
    )]
    Form {
        /// What was given.
        text: String,
    },
    /// The last number does not exist at the rate.
    #[error(
        "{text}: frame {frames} does not exist at {rate} frames a second, which count 00 to {last:02}; the list is of another rate"
    )]
    Frames {
        /// What was given.
        text: String,
        /// Its last number.
        frames: u32,
        /// The rate.
        rate: Rate,
        /// The largest number at that rate.
        last: u32,
    },
    /// The number is one that drop-frame leaves out.
    #[error(
        "{text} does not exist in drop-frame, which leaves out the first {dropped} numbers of that minute; the list is not drop-frame"
    )]
    Dropped {
        /// What was given.
        text: String,
        /// Numbers left out each such minute.
        dropped: u32,
    },
    /// There is no drop-frame count at the rate.
    #[error(
        "{text}: drop-frame is counted at 29.97 and 59.94 frames a second only, not at {rate}; the list is of another rate"
    )]
    NoDrop {
        /// What was given.
        text: String,
        /// The rate.
        rate: Rate,
    },
}

/// Seconds of a day.
const DAY: i64 = 86_400;

impl Timecode {
    /// Reads `hh:mm:ss:ff`. `;` or `,` before the frames means drop-frame, `:` or `.` what
    /// `drop_by_default` says.
    ///
    /// # Errors
    /// Says what is wrong with it at this rate.
    pub fn parse(text: &str, rate: Rate, drop_by_default: bool) -> Result<Self, TimecodeError> {
        let form = || TimecodeError::Form {
            text: text.to_owned(),
        };
        let parts: Vec<&str> = text.split([':', ';', '.', ',']).collect();
        let number = |part: &str| -> Option<u32> {
            let digits = (1..=3).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
            digits.then(|| part.parse().ok()).flatten()
        };
        let numbers: Option<Vec<u32>> = parts.iter().map(|part| number(part)).collect();
        let Some([hours, minutes, seconds, frames]) = numbers.as_deref() else {
            return Err(form());
        };
        let (hours, minutes, seconds, frames) = (*hours, *minutes, *seconds, *frames);
        if hours > 23 || minutes > 59 || seconds > 59 {
            return Err(form());
        }
        let nominal = rate.nominal();
        if frames >= nominal {
            return Err(TimecodeError::Frames {
                text: text.to_owned(),
                frames,
                rate,
                last: nominal - 1,
            });
        }
        let marked = text.contains([';', ',']);
        let drop = marked || drop_by_default;
        let minute = i64::from(hours * 60 + minutes);
        let mut frame = (minute * 60 + i64::from(seconds)) * i64::from(nominal) + i64::from(frames);
        if drop {
            let Some(dropped) = rate.dropped() else {
                return Err(TimecodeError::NoDrop {
                    text: text.to_owned(),
                    rate,
                });
            };
            if seconds == 0 && frames < dropped && minute % 10 != 0 {
                return Err(TimecodeError::Dropped {
                    text: text.to_owned(),
                    dropped,
                });
            }
            frame -= i64::from(dropped) * (minute - minute / 10);
        }
        Ok(Self { frame, drop })
    }

    /// The text of a count at a rate; counts beyond a day begin again.
    #[must_use]
    pub fn text(self, rate: Rate) -> String {
        let nominal = i64::from(rate.nominal());
        let dropped = if self.drop { rate.dropped() } else { None };
        let number = match dropped.map(i64::from) {
            None => self.frame.rem_euclid(DAY * nominal),
            Some(dropped) => {
                let ten_minutes = 600 * nominal - 9 * dropped;
                let minute = 60 * nominal - dropped;
                let frame = self.frame.rem_euclid(DAY / 600 * ten_minutes);
                let (tens, rest) = (frame / ten_minutes, frame % ten_minutes);
                // The first minute of ten is a full one.
                let minutes = if rest < 60 * nominal {
                    0
                } else {
                    1 + (rest - 60 * nominal) / minute
                };
                frame + dropped * (9 * tens + minutes)
            }
        };
        let (seconds, frames) = (number / nominal, number % nominal);
        format!(
            "{:02}:{:02}:{:02}{}{frames:02}",
            seconds / 3600,
            seconds / 60 % 60,
            seconds % 60,
            if dropped.is_some() { ';' } else { ':' }
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// SMPTE ST 12-1 (from memory): drop-frame leaves out numbers 00 and 01 of every minute but each
    /// tenth, 108 in an hour, so that an hour of it is 107 892 frames of 29.97.
    #[test]
    fn drop_frame_counts_as_published() {
        let at = |text| Timecode::parse(text, Rate::NTSC, false).unwrap().frame;
        assert_eq!(at("01:00:00;00"), 107_892);
        assert_eq!(at("00:00:59;29") + 1, at("00:01:00;02"));
        assert_eq!(at("00:09:59;29") + 1, at("00:10:00;00"));
        assert_eq!(at("00:10:00;00"), 17_982);
        assert_eq!(at("23:59:59;29") + 1, 24 * 107_892);
        let double = |text| {
            Timecode::parse(text, Rate::NTSC_DOUBLE, true)
                .unwrap()
                .frame
        };
        assert_eq!(double("01:00:00:00"), 2 * 107_892);
        assert_eq!(double("00:00:59:59") + 1, double("00:01:00:04"));
    }

    #[test]
    fn says_what_is_wrong() {
        let error = |text, rate, drop| Timecode::parse(text, rate, drop).unwrap_err().to_string();
        assert!(error("10:00:00:24", Rate::FILM, false).contains("00 to 23"));
        assert!(error("00:01:00;00", Rate::NTSC, false).contains("does not exist in drop-frame"));
        assert!(error("00:01:00;02", Rate::PAL, false).contains("29.97 and 59.94 frames"));
        for bad in [
            "",
            "1:2:3",
            "aa:bb:cc:dd",
            "24:00:00:00",
            "00:60:00:00",
            "1:2:3:-4",
        ] {
            assert!(
                error(bad, Rate::PAL, false).contains("is no timecode"),
                "{bad}"
            );
        }
    }

    #[test]
    fn days_wrap() {
        let shown = |frame, rate, drop| Timecode { frame, drop }.text(rate);
        assert_eq!(shown(-1, Rate::FILM, false), "23:59:59:23");
        assert_eq!(shown(24 * 107_892, Rate::NTSC, true), "00:00:00;00");
        assert_eq!(shown(1800, Rate::NTSC, true), "00:01:00;02");
        // 23.976 is counted like 24.
        assert_eq!(shown(86_400, Rate::FILM_NTSC, true), "01:00:00:00");
    }

    proptest! {
        #[test]
        fn text_and_back(frame in 0i64..2_589_408, which in 0usize..6) {
            let (rate, drop) = [
                (Rate::FILM_NTSC, false),
                (Rate::PAL, false),
                (Rate::NTSC, false),
                (Rate::NTSC, true),
                (Rate::NTSC_DOUBLE, true),
                (Rate::new(60, 1), false),
            ][which];
            let timecode = Timecode { frame: frame % (86_400 * 23), drop };
            let text = timecode.text(rate);
            prop_assert_eq!(Timecode::parse(&text, rate, false).unwrap(), timecode);
        }
    }
}
