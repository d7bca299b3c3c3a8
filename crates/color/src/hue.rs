//! Hue on the Cb/Cr plane, as a circle.

use serde::{Deserialize, Serialize};

/// The skin-tone line on the Cb/Cr plane, by common practice (no source).
///
/// It is not the +I axis: that lies at 123° on the *U/V* plane and at 130.5° on the Cb/Cr plane of
/// BT.709.
pub const SKIN_TONE_LINE: Hue = Hue(123.0);

/// The published band of facial hue under D65 on the BT.709 Cb/Cr plane, in degrees.
///
/// The union of the 5th–95th percentile ranges of every group of the ISSA facial spectra
/// (Lu, Xiao et al., Sci. Data 2025), computed through the BT.709 OETF; no group stands outside it.
pub const PUBLISHED_BAND_DEG: (f64, f64) = (111.0, 135.0);

/// An angle on the Cb/Cr plane, counter-clockwise from +Cb, with Cb and Cr scaled to ±0.5.
///
/// *Unit*: degrees. *Nominal range*: [0, 360) when read. *Outside range*: folded on reading.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Hue(f64);

/// The signed shortest arc between two hues.
///
/// *Unit*: degrees. *Nominal range*: (−180, 180]. Around skin, positive is toward yellow/green and
/// negative toward red/magenta. *Outside range*: folded.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct HueDelta(f64);

impl Hue {
    /// A hue from an angle in degrees, of any size.
    #[must_use]
    pub const fn from_degrees(degrees: f64) -> Self {
        Self(degrees)
    }

    /// The hue of a point of the Cb/Cr plane; the origin has none.
    #[must_use]
    pub fn from_chroma(cb: f64, cr: f64) -> Option<Self> {
        (cb.hypot(cr) > 0.0).then(|| Self(cr.atan2(cb).to_degrees()))
    }

    /// Degrees in [0, 360).
    #[must_use]
    pub fn degrees(self) -> f64 {
        // rem_euclid of a tiny negative number rounds to 360 itself.
        let folded = self.0.rem_euclid(360.0);
        if folded >= 360.0 { 0.0 } else { folded }
    }

    /// The shortest arc from `origin` to `self`.
    #[must_use]
    pub fn from_origin(self, origin: Self) -> HueDelta {
        HueDelta::from_degrees(self.0 - origin.0)
    }

    /// The hue reached by turning through an arc.
    #[must_use]
    pub fn turned(self, by: HueDelta) -> Self {
        Self(self.0 + by.0)
    }
}

impl PartialEq for Hue {
    fn eq(&self, other: &Self) -> bool {
        self.degrees() == other.degrees()
    }
}

impl HueDelta {
    /// An arc from degrees of any size, folded to (−180, 180].
    #[must_use]
    pub fn from_degrees(degrees: f64) -> Self {
        let folded = degrees.rem_euclid(360.0);
        Self(if folded > 180.0 {
            folded - 360.0
        } else {
            folded
        })
    }

    /// Degrees in (−180, 180].
    #[must_use]
    pub fn degrees(self) -> f64 {
        self.0
    }

    /// The direction in the words used everywhere for skin, or `None` for exactly zero.
    #[must_use]
    pub fn direction(self) -> Option<&'static str> {
        if self.0 > 0.0 {
            Some("toward yellow/green")
        } else if self.0 < 0.0 {
            Some("toward red/magenta")
        } else {
            None
        }
    }
}

/// The mean direction of several hues, by the sum of unit vectors; `None` where they cancel out.
#[must_use]
pub fn circular_mean(hues: &[Hue]) -> Option<Hue> {
    let (x, y) = hues.iter().fold((0.0, 0.0), |(x, y), hue| {
        let radians = hue.0.to_radians();
        (x + radians.cos(), y + radians.sin())
    });
    (x.hypot(y) > 1e-12 * hues.len().max(1) as f64).then(|| Hue(y.atan2(x).to_degrees()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folds_and_takes_the_short_way() {
        assert_eq!(Hue::from_degrees(-10.0).degrees(), 350.0);
        assert_eq!(Hue::from_degrees(-1e-18).degrees(), 0.0);
        let arc = Hue::from_degrees(350.0).from_origin(Hue::from_degrees(10.0));
        assert_eq!(arc.degrees(), -20.0);
        assert_eq!(HueDelta::from_degrees(-180.0).degrees(), 180.0);
        assert_eq!(Hue::from_degrees(370.0), Hue::from_degrees(10.0));
    }

    #[test]
    fn mean_crosses_zero() {
        let mean = circular_mean(&[Hue::from_degrees(350.0), Hue::from_degrees(20.0)]);
        assert!((mean.unwrap().degrees() - 5.0).abs() < 1e-9);
        assert!(circular_mean(&[Hue::from_degrees(0.0), Hue::from_degrees(180.0)]).is_none());
        assert!(circular_mean(&[]).is_none());
    }

    #[test]
    fn no_hue_without_chroma() {
        assert!(Hue::from_chroma(0.0, 0.0).is_none());
        assert!(Hue::from_chroma(f64::NAN, 0.0).is_none());
    }
}
