//! Cameras: from the light that a surface sends to linear BT.709.
//!
//! A camera here has a fixed balance for D65: its three channels are scaled so that a perfect white under D65
//! gives 1, 1, 1, and one 3×3 matrix then brings them to BT.709 primaries. That matrix is a least-squares fit, in
//! linear light, of the 24 chart patches under D65 to what the CIE 1931 observer sees of them, with the one
//! condition that white stays exactly white. What the fit leaves over is the camera's own error, as in a real one.

use std::sync::OnceLock;

use inkarnat_color::Primaries;
use inkarnat_color::matrix::{Matrix3, inverse, transform};

use crate::chart::{ChartSet, chart};
use crate::data;
use crate::illuminant::{Illuminant, d65};
use crate::spectrum::{Outside, Spectrum};

/// Colour-matching functions x̄, ȳ, z̄ of the CIE 1931 2° observer.
pub fn observer() -> &'static [Spectrum; 3] {
    static BARS: OnceLock<[Spectrum; 3]> = OnceLock::new();
    BARS.get_or_init(|| {
        let (_, rows) = data::rows(data::OBSERVER);
        [1, 2, 3].map(|c| data::column(&rows, c, Outside::Zero))
    })
}

/// XYZ of a surface under a light, Y = 1 for a perfect white.
#[must_use]
pub fn xyz(reflectance: &Spectrum, light: &Illuminant) -> [f64; 3] {
    let stimulus = reflectance.times(&light.power);
    observer().each_ref().map(|bar| stimulus.dot(bar))
}

/// A camera with a fixed balance for D65.
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// `ideal` for the CIE 1931 observer, else the name in the table of sensitivities.
    pub name: String,
    sensitivities: [Spectrum; 3],
    rgb709_from_raw: Matrix3,
}

/// A camera in one light: three weights a wavelength, ready for many surfaces.
#[derive(Debug, Clone, PartialEq)]
pub struct LightResponse {
    weights: [Spectrum; 3],
}

impl LightResponse {
    /// Linear BT.709 of a surface; 1 = a perfect white under a light of luminance 1; negative values kept.
    #[must_use]
    pub fn linear_rgb(&self, reflectance: &Spectrum) -> [f64; 3] {
        self.weights.each_ref().map(|w| w.dot(reflectance))
    }

    /// Linear BT.709 of a perfect white in this light.
    #[must_use]
    pub fn white(&self) -> [f64; 3] {
        self.linear_rgb(&Spectrum::flat(1.0))
    }
}

impl Camera {
    /// The CIE 1931 observer taken as a camera: colorimetrically exact.
    #[must_use]
    pub fn ideal() -> &'static Self {
        &cameras()[0]
    }

    /// The camera of that name.
    #[must_use]
    pub fn by_name(name: &str) -> Option<&'static Self> {
        cameras().iter().find(|c| c.name == name)
    }

    /// What this camera makes of `light`.
    #[must_use]
    pub fn in_light(&self, light: &Illuminant) -> LightResponse {
        let raw = self.sensitivities.each_ref().map(|s| s.times(&light.power));
        LightResponse {
            weights: std::array::from_fn(|row| {
                let m = self.rgb709_from_raw[row];
                Spectrum(std::array::from_fn(|i| {
                    m[0] * raw[0].0[i] + m[1] * raw[1].0[i] + m[2] * raw[2].0[i]
                }))
            }),
        }
    }

    /// Linear BT.709 of `reflectance` in `light`; see [`LightResponse::linear_rgb`].
    #[must_use]
    pub fn linear_rgb(&self, reflectance: &Spectrum, light: &Illuminant) -> [f64; 3] {
        self.in_light(light).linear_rgb(reflectance)
    }

    /// The fitted matrix from raw channels (balanced for D65) to linear BT.709.
    #[must_use]
    pub fn matrix(&self) -> &Matrix3 {
        &self.rgb709_from_raw
    }

    fn measured(name: &str, sensitivities: [Spectrum; 3]) -> Self {
        let balanced = sensitivities.map(|s| s.scaled(1.0 / s.dot(&d65().power)));
        let (mut raw, mut wanted) = (Vec::new(), Vec::new());
        for patch in chart(ChartSet::Average) {
            let stimulus = patch.reflectance.times(&d65().power);
            raw.push(balanced.each_ref().map(|s| stimulus.dot(s)));
            wanted.push(transform(
                &rgb709_from_xyz(),
                xyz(&patch.reflectance, d65()),
            ));
        }
        Self {
            name: name.to_owned(),
            sensitivities: balanced,
            rgb709_from_raw: white_keeping_fit(&raw, &wanted),
        }
    }
}

/// The ideal camera, then the two measured ones in file order. The second measured one is held out by the testkit.
pub fn cameras() -> &'static [Camera] {
    static ALL: OnceLock<Vec<Camera>> = OnceLock::new();
    ALL.get_or_init(|| {
        let mut all = vec![Camera {
            name: "ideal".to_owned(),
            sensitivities: *observer(),
            rgb709_from_raw: rgb709_from_xyz(),
        }];
        let (_, rows) = data::rows(data::CAMERAS);
        for (key, rows) in data::groups(&rows, 1) {
            let channel = |column: usize| {
                let table: Vec<_> = rows
                    .iter()
                    .map(|r| (data::number(r[1]), data::number(r[column])))
                    .collect();
                Spectrum::from_table(&table, Outside::Zero)
            };
            all.push(Camera::measured(
                key[0],
                [channel(2), channel(3), channel(4)],
            ));
        }
        all
    })
}

/// XYZ (Y = 1 at white) to linear BT.709.
#[must_use]
pub fn rgb709_from_xyz() -> Matrix3 {
    inverse(&Primaries::Bt709.xyz_from_rgb()).expect("the primaries of BT.709 span a triangle")
}

/// Least squares `wanted ≈ M·raw` under the condition that the rows of M sum to 1 (white stays white).
fn white_keeping_fit(raw: &[[f64; 3]], wanted: &[[f64; 3]]) -> Matrix3 {
    // With m2 = 1 − m0 − m1 each row is an ordinary fit of (wanted − raw2) on (raw0 − raw2, raw1 − raw2).
    std::array::from_fn(|row| {
        let (mut aa, mut ab, mut bb, mut ay, mut by) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (r, w) in raw.iter().zip(wanted) {
            let (a, b, y) = (r[0] - r[2], r[1] - r[2], w[row] - r[2]);
            aa += a * a;
            ab += a * b;
            bb += b * b;
            ay += a * y;
            by += b * y;
        }
        let determinant = aa * bb - ab * ab;
        let m0 = (ay * bb - by * ab) / determinant;
        let m1 = (by * aa - ay * ab) / determinant;
        [m0, m1, 1.0 - m0 - m1]
    })
}

/// Diagonal balance of linear BT.709 that brings `white` to neutral and keeps its luminance.
#[must_use]
pub fn balance_gains(white: [f64; 3]) -> [f64; 3] {
    let gains = white.map(|v| 1.0 / v.max(1e-4));
    let weights = Primaries::Bt709.xyz_from_rgb()[1];
    let before: f64 = (0..3).map(|i| weights[i] * white[i]).sum();
    gains.map(|g| g * before)
}

#[cfg(test)]
mod tests {
    use super::*;
    use inkarnat_color::transfer::bt709_oetf;
    use inkarnat_color::{WorkingSpace, delta_e_2000, lab_from_signal};

    #[test]
    fn three_cameras_and_white_is_white_under_d65() {
        assert_eq!(cameras().len(), 3);
        for camera in cameras() {
            for v in camera.linear_rgb(&Spectrum::flat(1.0), d65()) {
                // The ideal camera differs from 1 by the rounding of D65's chromaticity (0.3127, 0.3290).
                assert!((v - 1.0).abs() < 4e-4, "{}: {v}", camera.name);
            }
        }
    }

    #[test]
    fn grey_of_18_percent_sits_at_41_percent() {
        let v = Camera::ideal().linear_rgb(&Spectrum::flat(0.18), d65());
        for v in v {
            assert!((bt709_oetf(v) - 0.409).abs() < 5e-4);
        }
    }

    /// The fit leaves a median of a few CIEDE2000 on the chart: a camera's own error, neither nil nor absurd.
    #[test]
    fn matrix_fit_leaves_the_cameras_own_error() {
        for camera in &cameras()[1..] {
            let mut left: Vec<f64> = chart(ChartSet::Average)
                .iter()
                .map(|p| {
                    let lab = |c: &Camera| {
                        let s = c.linear_rgb(&p.reflectance, d65()).map(bt709_oetf);
                        lab_from_signal(s, WorkingSpace::default())
                    };
                    delta_e_2000(lab(camera), lab(Camera::ideal())).0
                })
                .collect();
            left.sort_by(f64::total_cmp);
            let median = (left[11] + left[12]) / 2.0;
            assert!((0.3..4.0).contains(&median), "{}: {median}", camera.name);
        }
    }

    #[test]
    fn balance_makes_white_neutral_at_the_same_luminance() {
        let white = [1.4, 1.0, 0.4];
        let gains = balance_gains(white);
        let after: [f64; 3] = std::array::from_fn(|i| white[i] * gains[i]);
        let y = 0.212_639 * 1.4 + 0.715_169 + 0.072_192 * 0.4;
        assert!(after.iter().all(|v| (v - y).abs() < 1e-5), "{after:?}");
    }
}
