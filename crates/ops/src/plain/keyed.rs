//! The keyed CDL on one colour.

use crate::data::keyed::{Key, KeyedCdl, Window};
use inkarnat_color::Ycbcr;

impl Window {
    /// The window's value at a signed distance from its centre: 1 on the flat top, 0 outside.
    #[must_use]
    pub fn weight_at_distance(&self, distance: f64) -> f64 {
        let t = ((distance.abs() - self.width / 2.0) / self.softness).clamp(0.0, 1.0);
        1.0 - t * t * (3.0 - 2.0 * t)
    }
}

impl Key {
    /// How much of the CDL a colour gets, 0–1. A colour that is not finite gets none.
    #[must_use]
    pub fn weight(&self, rgb: [f64; 3]) -> f64 {
        let Ycbcr { y, cb, cr } = self.coefficients.ycbcr_from_rgb(rgb);
        let chroma = cb.hypot(cr);
        if !(chroma.is_finite() && y.is_finite()) {
            return 0.0;
        }
        let others = self
            .saturation
            .weight_at_distance(chroma - self.saturation.centre)
            * self.level.weight_at_distance(y - self.level.centre);
        if others == 0.0 {
            return 0.0;
        }
        let turn = (cr.atan2(cb).to_degrees() - self.hue.centre).rem_euclid(360.0);
        others * self.hue.weight_at_distance(turn.min(360.0 - turn))
    }
}

impl KeyedCdl {
    /// The colour after the keyed CDL, without clamping.
    #[must_use]
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        let weight = self.key.weight(rgb);
        if weight == 0.0 {
            return rgb;
        }
        let corrected = self.cdl.apply(rgb);
        std::array::from_fn(|c| rgb[c] + weight * (corrected[c] - rgb[c]))
    }
}
