//! Rational numbers of media time, and timecode.

use serde::{Deserialize, Serialize};
use std::fmt;

/// A ratio of two whole numbers, as FFmpeg keeps rates, time bases and aspects.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Rational {
    /// Numerator.
    pub num: i32,
    /// Denominator; 0 only where something is unknown.
    pub den: i32,
}

impl Rational {
    /// `num / den`.
    #[must_use]
    pub const fn new(num: i32, den: i32) -> Self {
        Self { num, den }
    }

    /// The value; not a number for 0/0.
    #[must_use]
    pub fn value(self) -> f64 {
        f64::from(self.num) / f64::from(self.den)
    }

    /// Both parts are above zero.
    #[must_use]
    pub const fn is_positive(self) -> bool {
        self.num > 0 && self.den > 0
    }

    /// One divided by it.
    #[must_use]
    pub const fn inverse(self) -> Self {
        Self {
            num: self.den,
            den: self.num,
        }
    }

    pub(crate) const fn pair(self) -> (i32, i32) {
        (self.num, self.den)
    }
}

impl From<(i32, i32)> for Rational {
    fn from((num, den): (i32, i32)) -> Self {
        Self { num, den }
    }
}

impl fmt::Display for Rational {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.den == 1 {
            write!(f, "{}", self.num)
        } else {
            write!(f, "{}/{}", self.num, self.den)
        }
    }
}

/// When a frame is shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct FrameTime {
    /// Start, in the clip's time base, on the clip's own clock.
    pub pts: i64,
    /// Length, in the clip's time base.
    pub duration: i64,
}

/// The timecode of a clip's first frame (SMPTE ST 12-1).
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Timecode {
    /// `hh:mm:ss:ff`, with `;` before the frames where numbers are dropped.
    pub text: String,
    /// Two (or four) frame numbers are left out each minute, except every tenth.
    pub drop_frame: bool,
}

impl Timecode {
    /// Reads `hh:mm:ss:ff`; `;` or `.` before the frames means drop-frame. `None` if it is anything
    /// else.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let mut parts = text.split([':', ';', '.']);
        let numbers: Vec<u32> = parts
            .by_ref()
            .map(|part| {
                let digits = !part.is_empty() && part.len() <= 3;
                (digits && part.bytes().all(|b| b.is_ascii_digit()))
                    .then(|| part.parse().ok())
                    .flatten()
            })
            .collect::<Option<_>>()?;
        let [hours, minutes, seconds, frames] = numbers[..] else {
            return None;
        };
        if hours > 23 || minutes > 59 || seconds > 59 {
            return None;
        }
        let separators: Vec<char> = text.chars().filter(|c| !c.is_ascii_digit()).collect();
        let drop_frame = matches!(separators[..], [_, _, ';' | '.']);
        let last = if drop_frame { ';' } else { ':' };
        Some(Self {
            text: format!("{hours:02}:{minutes:02}:{seconds:02}{last}{frames:02}"),
            drop_frame,
        })
    }
}

impl fmt::Display for Timecode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn timecode_in_both_counts() {
        let plain = Timecode::parse("01:02:03:04").unwrap();
        assert_eq!(
            (plain.text.as_str(), plain.drop_frame),
            ("01:02:03:04", false)
        );
        let drop = Timecode::parse(" 00:59:59;28").unwrap();
        assert_eq!((drop.text.as_str(), drop.drop_frame), ("00:59:59;28", true));
        for bad in [
            "",
            "1:2:3",
            "aa:bb:cc:dd",
            "24:00:00:00",
            "00:60:00:00",
            "1:2:3:-4",
        ] {
            assert_eq!(Timecode::parse(bad), None, "{bad}");
        }
    }
}
