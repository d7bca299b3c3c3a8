//! The CDL on one colour, forward and back.

use crate::data::cdl::Cdl;

fn luma([r, g, b]: [f64; 3]) -> f64 {
    Cdl::LUMA[0] * r + Cdl::LUMA[1] * g + Cdl::LUMA[2] * b
}

/// Also brings NaN to 0.
fn clamp(value: f64) -> f64 {
    if value > 0.0 { value.min(1.0) } else { 0.0 }
}

/// `base^power` where the base is not negative, else the base.
fn signed_power(base: f64, power: f64) -> f64 {
    if base < 0.0 || power == 1.0 {
        base
    } else {
        base.powf(power)
    }
}

fn saturate(v: [f64; 3], saturation: f64) -> [f64; 3] {
    if saturation == 1.0 {
        return v;
    }
    let y = luma(v);
    v.map(|v| y + saturation * (v - y))
}

impl Cdl {
    /// The colour after this CDL, without clamping (style `FwdNoClamp`).
    #[must_use]
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        let v = std::array::from_fn(|c| {
            signed_power(rgb[c] * self.slope[c] + self.offset[c], self.power[c])
        });
        saturate(v, self.saturation)
    }

    /// The colour after this CDL, clamped to 0–1 before the power and at the end (style `Fwd`): what
    /// a clamping receiver makes of it.
    #[must_use]
    pub fn apply_clamped(&self, rgb: [f64; 3]) -> [f64; 3] {
        let v = std::array::from_fn(|c| {
            signed_power(
                clamp(rgb[c] * self.slope[c] + self.offset[c]),
                self.power[c],
            )
        });
        saturate(v, self.saturation).map(clamp)
    }

    /// What undoes this CDL; `None` if a slope or the saturation is 0, which cannot be undone.
    #[must_use]
    pub fn inverse(&self) -> Option<CdlInverse> {
        let exists = self.validate().is_ok()
            && self.slope.iter().all(|&slope| slope > 0.0)
            && self.saturation > 0.0;
        exists.then_some(CdlInverse(*self))
    }
}

/// The way back through a CDL: saturation, then power, offset and slope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CdlInverse(Cdl);

impl CdlInverse {
    /// The colour before the CDL, without clamping (style `RevNoClamp`).
    #[must_use]
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        let cdl = &self.0;
        let v = saturate(rgb, 1.0 / cdl.saturation);
        std::array::from_fn(|c| {
            (signed_power(v[c], 1.0 / cdl.power[c]) - cdl.offset[c]) / cdl.slope[c]
        })
    }

    /// The colour before the CDL, clamped to 0–1 before saturation, before the power and at the end
    /// (style `Rev`).
    #[must_use]
    pub fn apply_clamped(&self, rgb: [f64; 3]) -> [f64; 3] {
        let cdl = &self.0;
        let v = saturate(rgb.map(clamp), 1.0 / cdl.saturation);
        std::array::from_fn(|c| {
            let base = signed_power(clamp(v[c]), 1.0 / cdl.power[c]);
            clamp((base - cdl.offset[c]) / cdl.slope[c])
        })
    }
}
