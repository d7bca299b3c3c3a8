//! CIEDE2000.

use crate::lab::Lab;
use serde::{Deserialize, Serialize};

/// A CIEDE2000 colour difference with kL = kC = kH = 1.
///
/// *Unit*: none. *Nominal range*: 0–100. 1 is about what a trained eye sees side by side.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct DeltaE2000(pub f64);

/// CIEDE2000 between two colours (CIE 142-2001; implementation notes of Sharma, Wu, Dalal,
/// Color Res. Appl. 30(1):21–30, 2005).
#[must_use]
pub fn delta_e_2000(first: Lab, second: Lab) -> DeltaE2000 {
    let pow7 = |x: f64| x.powi(7);
    let reference = 25.0_f64.powi(7);
    let mean_c = (first.chroma() + second.chroma()) / 2.0;
    let g = 0.5 * (1.0 - (pow7(mean_c) / (pow7(mean_c) + reference)).sqrt());
    let prime = |lab: Lab| {
        let a = (1.0 + g) * lab.a;
        let c = a.hypot(lab.b);
        let h = if c == 0.0 {
            0.0
        } else {
            lab.b.atan2(a).to_degrees().rem_euclid(360.0)
        };
        (c, h)
    };
    let ((c1, h1), (c2, h2)) = (prime(first), prime(second));
    let achromatic = c1 * c2 == 0.0;

    let delta_l = second.l - first.l;
    let delta_c = c2 - c1;
    let delta_h_angle = if achromatic {
        0.0
    } else if (h2 - h1).abs() <= 180.0 {
        h2 - h1
    } else if h2 > h1 {
        h2 - h1 - 360.0
    } else {
        h2 - h1 + 360.0
    };
    let delta_h = 2.0 * (c1 * c2).sqrt() * (delta_h_angle / 2.0).to_radians().sin();

    let mean_l = (first.l + second.l) / 2.0;
    let mean_c = (c1 + c2) / 2.0;
    let mean_h = if achromatic {
        h1 + h2
    } else if (h1 - h2).abs() <= 180.0 {
        (h1 + h2) / 2.0
    } else if h1 + h2 < 360.0 {
        (h1 + h2 + 360.0) / 2.0
    } else {
        (h1 + h2 - 360.0) / 2.0
    };
    let cosine = |degrees: f64| degrees.to_radians().cos();
    let t = 1.0 - 0.17 * cosine(mean_h - 30.0)
        + 0.24 * cosine(2.0 * mean_h)
        + 0.32 * cosine(3.0 * mean_h + 6.0)
        - 0.20 * cosine(4.0 * mean_h - 63.0);
    let turn = 30.0 * (-((mean_h - 275.0) / 25.0).powi(2)).exp();
    let rotation_c = 2.0 * (pow7(mean_c) / (pow7(mean_c) + reference)).sqrt();
    let l50 = (mean_l - 50.0).powi(2);
    let s_l = 1.0 + 0.015 * l50 / (20.0 + l50).sqrt();
    let s_c = 1.0 + 0.045 * mean_c;
    let s_h = 1.0 + 0.015 * mean_c * t;
    let rotation = -(2.0 * turn).to_radians().sin() * rotation_c;
    let (l, c, h) = (delta_l / s_l, delta_c / s_c, delta_h / s_h);
    DeltaE2000((l * l + c * c + h * h + rotation * c * h).max(0.0).sqrt())
}
