//! Integer codes and the signal they stand for.

use serde::{Deserialize, Serialize};

/// Which codes stand for black and white.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Levels {
    /// Black 16·2^(n−8), white 235·2^(n−8), chroma ±112·2^(n−8) about the middle
    /// (BT.709-6 item 3.4; "legal range").
    Narrow,
    /// Black 0, white 2^n − 1 (BT.2100-3 table 9; "should not be used for programme exchange unless
    /// all parties agree").
    Full,
}

impl Levels {
    /// All kinds, for tests that loop over every one.
    pub const ALL: [Self; 2] = [Self::Narrow, Self::Full];

    /// (code of zero, codes per unit) of luma or R'G'B' at a bit depth of 8–16.
    #[must_use]
    pub fn luma_scale(self, depth: u8) -> (f64, f64) {
        let unit = f64::from(1u32 << (depth - 8));
        match self {
            Self::Narrow => (16.0 * unit, 219.0 * unit),
            Self::Full => (0.0, f64::from((1u32 << depth) - 1)),
        }
    }

    /// (code of zero, codes per unit) of Cb or Cr at a bit depth of 8–16.
    #[must_use]
    pub fn chroma_scale(self, depth: u8) -> (f64, f64) {
        let middle = f64::from(1u32 << (depth - 1));
        match self {
            Self::Narrow => (middle, 224.0 * f64::from(1u32 << (depth - 8))),
            Self::Full => (middle, f64::from((1u32 << depth) - 1)),
        }
    }

    /// The lowest and highest code that may carry video at a bit depth of 8–16.
    ///
    /// Narrow: the codes below and above are kept for synchronisation (BT.709-6 item 4.7).
    #[must_use]
    pub fn code_limits(self, depth: u8) -> (u16, u16) {
        let top = ((1u32 << depth) - 1) as u16;
        match self {
            Self::Narrow => {
                let reserved = (1u32 << (depth - 8)) as u16;
                (reserved, top - reserved)
            }
            Self::Full => (0, top),
        }
    }
}

impl std::fmt::Display for Levels {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Narrow => "narrow range",
            Self::Full => "full range",
        })
    }
}

/// An integer sample with its bit depth.
///
/// *Unit*: code. *Nominal range*: 0…2^depth − 1, depth 8–16. *Outside range*: rounding clamps to
/// [`Levels::code_limits`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CodeValue {
    /// The code.
    pub value: u16,
    /// Bits per sample, 8–16.
    pub depth: u8,
}

impl CodeValue {
    /// The nearest code of a luma (or R', G', B') signal, halves up, clamped to the video codes.
    #[must_use]
    pub fn from_luma(signal: f64, depth: u8, levels: Levels) -> Self {
        Self::round(signal, levels.luma_scale(depth), depth, levels)
    }

    /// The nearest code of a Cb or Cr signal (±0.5), halves up, clamped to the video codes.
    #[must_use]
    pub fn from_chroma(signal: f64, depth: u8, levels: Levels) -> Self {
        Self::round(signal, levels.chroma_scale(depth), depth, levels)
    }

    fn round(signal: f64, (zero, scale): (f64, f64), depth: u8, levels: Levels) -> Self {
        let (low, high) = levels.code_limits(depth);
        let code = (zero + scale * signal + 0.5).floor();
        // NaN falls to the low limit through the cast.
        let value = (code.clamp(f64::from(low), f64::from(high)) as u16).max(low);
        Self { value, depth }
    }

    /// The luma (or R', G', B') signal of this code; excursions kept.
    #[must_use]
    pub fn luma(self, levels: Levels) -> f64 {
        let (zero, scale) = levels.luma_scale(self.depth);
        (f64::from(self.value) - zero) / scale
    }

    /// The Cb or Cr signal of this code; excursions kept.
    #[must_use]
    pub fn chroma(self, levels: Levels) -> f64 {
        let (zero, scale) = levels.chroma_scale(self.depth);
        (f64::from(self.value) - zero) / scale
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_survives_a_round_trip() {
        for levels in Levels::ALL {
            for depth in [8, 10, 12] {
                let (low, high) = levels.code_limits(depth);
                for value in low..=high {
                    let code = CodeValue { value, depth };
                    assert_eq!(CodeValue::from_luma(code.luma(levels), depth, levels), code);
                    assert_eq!(
                        CodeValue::from_chroma(code.chroma(levels), depth, levels),
                        code
                    );
                }
            }
        }
    }

    /// BT.709-6 items 4.6 and 4.7: black 16/64, peak 235/940, achromatic 128/512, video data 1–254
    /// and 4–1019.
    #[test]
    fn published_levels() {
        for (depth, black, white, grey, low, high) in
            [(8, 16, 235, 128, 1, 254), (10, 64, 940, 512, 4, 1019)]
        {
            let n = Levels::Narrow;
            assert_eq!(CodeValue::from_luma(0.0, depth, n).value, black);
            assert_eq!(CodeValue::from_luma(1.0, depth, n).value, white);
            assert_eq!(CodeValue::from_chroma(0.0, depth, n).value, grey);
            assert_eq!(n.code_limits(depth), (low, high));
        }
    }

    #[test]
    fn non_finite_signals_become_video_codes() {
        let n = Levels::Narrow;
        assert_eq!(CodeValue::from_luma(f64::NAN, 10, n).value, 4);
        assert_eq!(CodeValue::from_luma(f64::INFINITY, 10, n).value, 1019);
        assert_eq!(CodeValue::from_luma(f64::NEG_INFINITY, 10, n).value, 4);
    }
}
