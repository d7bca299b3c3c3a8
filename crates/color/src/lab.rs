//! CIELAB of the picture on a reference display, and the typology angle of skin.

use crate::matrix::transform;
use crate::primaries::{D65_XY, WorkingSpace, xyz_from_xy};
use crate::transfer::Bt1886;
use serde::{Deserialize, Serialize};

/// CIELAB (CIE 15:2018) under D65, 2° observer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Lab {
    /// Lightness L*, 0–100; above 100 kept.
    pub l: f64,
    /// a*, red positive.
    pub a: f64,
    /// b*, yellow positive.
    pub b: f64,
}

impl Lab {
    /// Lab of an XYZ with Y = 1 at the D65 white.
    #[must_use]
    pub fn from_xyz(xyz: [f64; 3]) -> Self {
        Self::from_xyz_white(xyz, xyz_from_xy(D65_XY))
    }

    /// Lab of an XYZ relative to a given white; the caller says which white it means.
    #[must_use]
    pub fn from_xyz_white(xyz: [f64; 3], white: [f64; 3]) -> Self {
        let [fx, fy, fz] = std::array::from_fn(|i| lab_curve(xyz[i] / white[i]));
        Self {
            l: 116.0 * fy - 16.0,
            a: 500.0 * (fx - fy),
            b: 200.0 * (fy - fz),
        }
    }

    /// Chroma C*ab.
    #[must_use]
    pub fn chroma(self) -> f64 {
        self.a.hypot(self.b)
    }

    /// Hue angle h_ab in degrees, [0, 360).
    #[must_use]
    pub fn hue_deg(self) -> f64 {
        self.b.atan2(self.a).to_degrees().rem_euclid(360.0)
    }
}

fn lab_curve(t: f64) -> f64 {
    const EDGE: f64 = 6.0 / 29.0;
    if t > EDGE * EDGE * EDGE {
        t.cbrt()
    } else {
        t / (3.0 * EDGE * EDGE) + 4.0 / 29.0
    }
}

/// Lab of a working signal R'G'B' as a BT.1886 display with zero black shows it.
#[must_use]
pub fn lab_from_signal(signal: [f64; 3], space: WorkingSpace) -> Lab {
    let light = signal.map(|v| Bt1886::RELATIVE.light_from_signal(v));
    Lab::from_xyz(transform(&space.primaries.xyz_from_rgb(), light))
}

/// A converter that keeps its matrix, for many pixels.
#[derive(Clone, Copy, Debug)]
pub struct LabConverter {
    xyz_from_rgb: [[f64; 3]; 3],
}

impl LabConverter {
    /// A converter for a working space.
    #[must_use]
    pub fn new(space: WorkingSpace) -> Self {
        Self {
            xyz_from_rgb: space.primaries.xyz_from_rgb(),
        }
    }

    /// Same as [`lab_from_signal`].
    #[must_use]
    pub fn lab(&self, signal: [f64; 3]) -> Lab {
        let light = signal.map(|v| Bt1886::RELATIVE.light_from_signal(v));
        Lab::from_xyz(transform(&self.xyz_from_rgb, light))
    }
}

/// Individual typology angle in degrees: atan2(L* − 50, b*).
///
/// Chardon, Cretois, Hourseau, Int. J. Cosmet. Sci. 13:191 (1991), citation from memory. The
/// two-argument form keeps b* ≤ 0 from flipping the sign.
#[must_use]
pub fn ita_deg(lab: Lab) -> f64 {
    (lab.l - 50.0).atan2(lab.b).to_degrees()
}

/// Class of complexion by typology angle (Del Bino & Bernerd, Br. J. Dermatol. 169 s3:33, 2013,
/// citation from memory). Upper limits are inclusive; that convention is not uniform in print.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ItaClass {
    /// Above 55°.
    VeryLight,
    /// 41–55°.
    Light,
    /// 28–41°.
    Intermediate,
    /// 10–28°.
    Tan,
    /// −30–10°.
    Brown,
    /// −30° and below.
    Dark,
}

impl ItaClass {
    /// All classes from very light to dark.
    pub const ALL: [Self; 6] = [
        Self::VeryLight,
        Self::Light,
        Self::Intermediate,
        Self::Tan,
        Self::Brown,
        Self::Dark,
    ];

    /// The class of an angle in degrees.
    #[must_use]
    pub fn from_ita(ita_deg: f64) -> Self {
        match ita_deg {
            x if x > 55.0 => Self::VeryLight,
            x if x > 41.0 => Self::Light,
            x if x > 28.0 => Self::Intermediate,
            x if x > 10.0 => Self::Tan,
            x if x > -30.0 => Self::Brown,
            _ => Self::Dark,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn white_and_black() {
        let white = lab_from_signal([1.0; 3], WorkingSpace::default());
        assert!((white.l - 100.0).abs() < 1e-9 && white.chroma() < 1e-9);
        assert_eq!(
            lab_from_signal([0.0; 3], WorkingSpace::default()),
            Lab::default()
        );
        assert_eq!(
            lab_from_signal([-0.05; 3], WorkingSpace::default()),
            Lab::default()
        );
    }

    /// Class limits as printed: 55, 41, 28, 10, −30 (dermatest.de colorimetry page).
    #[test]
    fn ita_class_limits() {
        for (angle, class) in [
            (55.1, ItaClass::VeryLight),
            (55.0, ItaClass::Light),
            (41.1, ItaClass::Light),
            (41.0, ItaClass::Intermediate),
            (28.0, ItaClass::Tan),
            (10.0, ItaClass::Brown),
            (-29.9, ItaClass::Brown),
            (-30.0, ItaClass::Dark),
        ] {
            assert_eq!(ItaClass::from_ita(angle), class, "{angle}");
        }
        // ColorChecker 2005 light and dark skin, native D50 (values shipped in colour-science 0.4.7).
        let light = Lab {
            l: 65.7097,
            a: 18.1405,
            b: 17.8088,
        };
        let dark = Lab {
            l: 37.9856,
            a: 13.5551,
            b: 14.0501,
        };
        assert!((ita_deg(light) - 41.416).abs() < 1e-3);
        assert!((ita_deg(dark) + 40.534).abs() < 1e-3);
    }
}
