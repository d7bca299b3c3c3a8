//! Luma and colour difference.

use crate::hue::Hue;
use serde::{Deserialize, Serialize};

/// The luma coefficients that a signal is coded with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Coefficients {
    /// Rec. ITU-R BT.601-7 clause 2.5.1.
    Bt601,
    /// Rec. ITU-R BT.709-6 item 3.2.
    Bt709,
    /// Rec. ITU-R BT.2020-2 table 4, non-constant luminance (also BT.2100).
    Bt2020,
}

impl Coefficients {
    /// All sets, for tests that loop over every one.
    pub const ALL: [Self; 3] = [Self::Bt601, Self::Bt709, Self::Bt2020];

    /// (Kr, Kg, Kb); they sum to 1.
    #[must_use]
    pub const fn weights(self) -> (f64, f64, f64) {
        match self {
            Self::Bt601 => (0.299, 0.587, 0.114),
            Self::Bt709 => (0.2126, 0.7152, 0.0722),
            Self::Bt2020 => (0.2627, 0.6780, 0.0593),
        }
    }

    /// The divisors of B'−Y' and R'−Y': 2(1−Kb) and 2(1−Kr).
    #[must_use]
    pub const fn divisors(self) -> (f64, f64) {
        let (kr, _, kb) = self.weights();
        (2.0 * (1.0 - kb), 2.0 * (1.0 - kr))
    }

    /// Luma of an R'G'B' value, same scale as its input.
    #[must_use]
    pub fn luma(self, [r, g, b]: [f64; 3]) -> f64 {
        let (kr, kg, kb) = self.weights();
        kr * r + kg * g + kb * b
    }

    /// Y'CbCr of an R'G'B' value: Y' 0–1, Cb and Cr ±0.5, excursions kept.
    #[must_use]
    pub fn ycbcr_from_rgb(self, rgb: [f64; 3]) -> Ycbcr {
        let y = self.luma(rgb);
        let (db, dr) = self.divisors();
        Ycbcr {
            y,
            cb: (rgb[2] - y) / db,
            cr: (rgb[0] - y) / dr,
        }
    }

    /// R'G'B' of a Y'CbCr value, the exact inverse of [`Self::ycbcr_from_rgb`] up to rounding.
    #[must_use]
    pub fn rgb_from_ycbcr(self, Ycbcr { y, cb, cr }: Ycbcr) -> [f64; 3] {
        let (kr, kg, kb) = self.weights();
        let (db, dr) = self.divisors();
        let r = y + dr * cr;
        let b = y + db * cb;
        [r, (y - kr * r - kb * b) / kg, b]
    }
}

impl std::fmt::Display for Coefficients {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Bt601 => "BT.601",
            Self::Bt709 => "BT.709",
            Self::Bt2020 => "BT.2020",
        })
    }
}

/// A luma and colour-difference value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Ycbcr {
    /// Luma. 0 = reference black, 1 = reference white; excursions kept.
    pub y: f64,
    /// Scaled B'−Y'. ±0.5; excursions kept.
    pub cb: f64,
    /// Scaled R'−Y'. ±0.5; excursions kept.
    pub cr: f64,
}

impl Ycbcr {
    /// The colour-difference part.
    #[must_use]
    pub fn chroma(self) -> Chroma {
        Chroma {
            cb: self.cb,
            cr: self.cr,
        }
    }
}

/// A point of the Cb/Cr plane, both axes ±0.5.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Chroma {
    /// Scaled B'−Y'.
    pub cb: f64,
    /// Scaled R'−Y'.
    pub cr: f64,
}

impl Chroma {
    /// Below this magnitude a reading has no hue.
    ///
    /// One 8-bit chroma code is 1/224 = 0.0045; at 0.015 it turns the angle by 17°. Dark faces have
    /// 0.038–0.090 (ISSA facial spectra, computed through the BT.709 OETF).
    pub const HUE_FLOOR: f64 = 0.015;

    /// Distance from neutral, 0–0.7.
    #[must_use]
    pub fn magnitude(self) -> f64 {
        self.cb.hypot(self.cr)
    }

    /// The angle, `None` below [`Self::HUE_FLOOR`].
    #[must_use]
    pub fn hue(self) -> Option<Hue> {
        (self.magnitude() >= Self::HUE_FLOOR)
            .then(|| Hue::from_chroma(self.cb, self.cr))
            .flatten()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn round_trip_for_every_set() {
        for set in Coefficients::ALL {
            for rgb in [
                [0.0, 0.0, 0.0],
                [1.0, 1.0, 1.0],
                [0.9, -0.05, 0.3],
                [0.2, 1.09, 0.7],
            ] {
                let back = set.rgb_from_ycbcr(set.ycbcr_from_rgb(rgb));
                for (a, b) in rgb.iter().zip(back) {
                    assert!((a - b).abs() < 1e-14, "{set}: {rgb:?} -> {back:?}");
                }
            }
        }
    }

    /// BT.709-6 item 3.3 prints the divisors 1.8556 and 1.5748; BT.601-7 clause 2.5.2 prints 1.772
    /// and 1.402; BT.2100-3 table 6 prints 1.8814 and 1.4746.
    #[test]
    fn divisors_as_published() {
        for (set, db, dr) in [
            (Coefficients::Bt709, 1.8556, 1.5748),
            (Coefficients::Bt601, 1.772, 1.402),
            (Coefficients::Bt2020, 1.8814, 1.4746),
        ] {
            let (b, r) = set.divisors();
            assert!((b - db).abs() < 1e-12 && (r - dr).abs() < 1e-12, "{set}");
        }
    }

    /// The +I axis of 525-line colour television, 123° on the U/V plane (FCC/SMPTE 170M, from
    /// memory), re-encoded on each Cb/Cr plane. The published 10-bit codes of +I give 130.52°
    /// (SMPTE RP 219: 245 412 629) and 132.51° (SMPTE EG 1).
    #[test]
    fn plus_i_is_not_at_123_degrees_on_the_cbcr_plane() {
        let angle = 123.0_f64.to_radians();
        // U = 0.492111 (B'-Y'), V = 0.877283 (R'-Y') at Y' = 0.
        let (u, v) = (angle.cos(), angle.sin());
        let (b, r) = (u / 0.492_111, v / 0.877_283);
        let g = -(0.299 * r + 0.114 * b) / 0.587;
        for (set, expected) in [
            (Coefficients::Bt709, 130.549),
            (Coefficients::Bt601, 132.489),
            (Coefficients::Bt2020, 132.28),
        ] {
            let hue = set
                .ycbcr_from_rgb([r, g, b])
                .chroma()
                .hue()
                .unwrap()
                .degrees();
            assert!((hue - expected).abs() < 0.01, "{set}: {hue}");
        }
        let from_codes = Hue::from_chroma(412.0 - 512.0, 629.0 - 512.0)
            .unwrap()
            .degrees();
        assert!((from_codes - 130.52).abs() < 0.01);
    }

    #[test]
    fn no_hue_below_the_floor() {
        assert!(
            Chroma {
                cb: -0.008,
                cr: 0.012
            }
            .hue()
            .is_none()
        );
        assert!(
            Chroma {
                cb: -0.010,
                cr: 0.012
            }
            .hue()
            .is_some()
        );
    }
}
