//! Colours beyond the limits of delivery, brought back at the cost of saturation.

use super::invalid::{Invalid, check};
use inkarnat_color::Coefficients;
use serde::{Deserialize, Serialize};

/// Brings R', G' and B' inside two limits, keeping luma and hue: colour differences are scaled by the
/// largest factor up to 1 that does it.
///
/// Rec. ITU-R BT.601-7 clause 2.5.5 recommends limiting so: luminance and hue kept, saturation paid.
/// Luma that itself lies outside the limits stays: its pixel becomes grey, and is still outside.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limiter {
    /// The coding whose luma is kept.
    pub coefficients: Coefficients,
    /// The lowest signal. Nominal: 0.
    pub low: f64,
    /// The highest signal. Nominal: 1.
    pub high: f64,
}

impl Limiter {
    /// Checks the limits.
    ///
    /// # Errors
    /// The first that is outside its range.
    pub fn validate(&self) -> Result<(), Invalid> {
        check("low", self.low, self.low < 0.5, "a finite number below 0.5")?;
        check(
            "high",
            self.high,
            self.high > 0.5,
            "a finite number above 0.5",
        )
    }

    /// The share of a colour's saturation that stays: 1 for what is inside, 0 for what becomes grey.
    #[must_use]
    pub fn factor(&self, rgb: [f64; 3]) -> f64 {
        if rgb.iter().all(|v| (self.low..=self.high).contains(v)) {
            return 1.0;
        }
        let luma = self.coefficients.luma(rgb);
        let mut factor = 1.0_f64;
        for v in rgb {
            let limit = if v > luma { self.high } else { self.low };
            if v > self.high || v < self.low {
                factor = factor.min(((limit - luma) / (v - luma)).max(0.0));
            }
        }
        factor
    }

    /// The colour within the limits.
    #[must_use]
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        let factor = self.factor(rgb);
        if factor == 1.0 {
            return rgb;
        }
        let luma = self.coefficients.luma(rgb);
        rgb.map(|v| luma + factor * (v - luma))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOMINAL: Limiter = Limiter {
        coefficients: Coefficients::Bt709,
        low: 0.0,
        high: 1.0,
    };

    #[test]
    fn luma_and_hue_stay_and_the_limits_hold() {
        let k = NOMINAL.coefficients;
        for rgb in [
            [1.2, 0.3, 0.1],
            [-0.05, 0.4, 0.9],
            [1.08, 1.02, -0.06],
            [0.2, 1.3, 0.2],
        ] {
            let out = NOMINAL.apply(rgb);
            let (before, after) = (k.ycbcr_from_rgb(rgb), k.ycbcr_from_rgb(out));
            assert!((before.y - after.y).abs() < 1e-12, "{rgb:?}");
            // The same direction on the plane: no cross product, no turn about.
            assert!((before.cb * after.cr - before.cr * after.cb).abs() < 1e-12);
            assert!(before.cb * after.cb + before.cr * after.cr > 0.0);
            assert!(
                out.iter().all(|v| (-1e-12..=1.0 + 1e-12).contains(v)),
                "{out:?}"
            );
            // No more is given up than it takes: some channel stands at a limit.
            assert!(out.iter().any(|v| v.abs() < 1e-9 || (v - 1.0).abs() < 1e-9));
        }
    }

    #[test]
    fn what_is_inside_stays_bit_for_bit_and_luma_outside_becomes_grey() {
        for rgb in [[0.0, 1.0, 0.5], [0.1, 0.2, 0.3]] {
            assert_eq!(NOMINAL.apply(rgb), rgb);
        }
        let out = NOMINAL.apply([1.3, 1.1, 1.2]);
        assert!(
            out.iter().all(|v| (v - out[0]).abs() < 1e-12 && *v > 1.0),
            "{out:?}"
        );
    }
}
