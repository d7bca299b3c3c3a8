//! Frame rates as exact ratios.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Frames a second, `num / den`, both above zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Rate {
    /// Numerator.
    pub num: u32,
    /// Denominator.
    pub den: u32,
}

impl Rate {
    /// 24000/1001, written 23.976 or 23.98.
    pub const FILM_NTSC: Self = Self::new(24_000, 1001);
    /// 24.
    pub const FILM: Self = Self::new(24, 1);
    /// 25.
    pub const PAL: Self = Self::new(25, 1);
    /// 30000/1001, written 29.97.
    pub const NTSC: Self = Self::new(30_000, 1001);
    /// 60000/1001, written 59.94.
    pub const NTSC_DOUBLE: Self = Self::new(60_000, 1001);

    /// `num / den` frames a second.
    ///
    /// # Panics
    /// If one of them is 0.
    #[must_use]
    pub const fn new(num: u32, den: u32) -> Self {
        assert!(num > 0 && den > 0, "a rate is above zero");
        Self { num, den }
    }

    /// The rate that a decimal number means: a whole number, a whole number · 1000/1001, or the
    /// number itself in thousandths. `None` outside 1–1000.
    #[must_use]
    pub fn of_f64(value: f64) -> Option<Self> {
        if !(1.0..=1000.0).contains(&value) {
            return None;
        }
        let whole = value.round();
        if (value - whole).abs() < 1e-4 {
            return Some(Self::new(whole as u32, 1));
        }
        // 23.98 and 29.97 are written with two digits, 59.94 too: off by at most 0.005.
        let up = value.ceil();
        if (value - up * 1000.0 / 1001.0).abs() <= 0.006 {
            return Some(Self::new(up as u32 * 1000, 1001));
        }
        Some(Self::new((value * 1000.0).round() as u32, 1000))
    }

    /// Frames a second.
    #[must_use]
    pub fn value(self) -> f64 {
        f64::from(self.num) / f64::from(self.den)
    }

    /// Frames that timecode counts in a second: the rate rounded up.
    #[must_use]
    pub const fn nominal(self) -> u32 {
        self.num.div_ceil(self.den)
    }

    /// Frame numbers that drop-frame timecode leaves out each minute but every tenth: 2 at 29.97, 4
    /// at 59.94; `None` where there is no such count (SMPTE ST 12-1 defines none at other rates).
    #[must_use]
    pub const fn dropped(self) -> Option<u32> {
        if self.den == 1001 && (self.num == 30_000 || self.num == 60_000) {
            Some(self.nominal() / 15)
        } else {
            None
        }
    }

    /// A count of frames at this rate as the nearest count at another rate (halves up).
    #[must_use]
    pub fn convert(self, frames: i64, to: Self) -> i64 {
        let num = i128::from(frames) * i128::from(to.num) * i128::from(self.den);
        let den = i128::from(to.den) * i128::from(self.num);
        (2 * num + den).div_euclid(2 * den) as i64
    }

    /// Whether timecode counts the same frames: 23.976 and 24 do.
    #[must_use]
    pub const fn counts_like(self, other: Self) -> bool {
        self.nominal() == other.nominal()
    }
}

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.num.is_multiple_of(self.den) {
            write!(f, "{}", self.num / self.den)
        } else {
            let text = format!("{:.3}", self.value());
            f.write_str(text.trim_end_matches('0'))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_mean_exact_rates() {
        for (value, rate, text) in [
            (23.976, Rate::FILM_NTSC, "23.976"),
            (23.98, Rate::FILM_NTSC, "23.976"),
            (24.0, Rate::FILM, "24"),
            (25.0, Rate::PAL, "25"),
            (29.97, Rate::NTSC, "29.97"),
            (29.970_029_97, Rate::NTSC, "29.97"),
            (47.952, Rate::new(48_000, 1001), "47.952"),
            (59.94, Rate::NTSC_DOUBLE, "59.94"),
            (60.0, Rate::new(60, 1), "60"),
            (12.5, Rate::new(12_500, 1000), "12.5"),
        ] {
            let found = Rate::of_f64(value).unwrap();
            assert_eq!(found, rate, "{value}");
            assert_eq!(found.to_string(), text);
        }
        for bad in [0.0, -24.0, f64::NAN, f64::INFINITY, 1e6] {
            assert_eq!(Rate::of_f64(bad), None, "{bad}");
        }
    }

    #[test]
    fn counts_convert_to_the_nearest() {
        assert_eq!(Rate::FILM.convert(24, Rate::PAL), 25);
        assert_eq!(Rate::PAL.convert(1, Rate::new(50, 1)), 2);
        assert_eq!(Rate::NTSC.convert(30_000, Rate::FILM), 24_024);
        assert_eq!(Rate::FILM.convert(-24, Rate::PAL), -25);
        assert!(Rate::FILM.counts_like(Rate::FILM_NTSC));
        assert!(!Rate::FILM.counts_like(Rate::PAL));
    }
}
