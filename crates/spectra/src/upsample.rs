//! A smooth reflectance for a colour that is only known as three numbers.

use crate::camera::Camera;
use crate::illuminant::d65;
use crate::spectrum::Spectrum;

/// A smooth reflectance in 0…1 whose linear BT.709 under D65 is `rgb` (white = 1).
///
/// A quadratic in the wavelength through a sigmoid (W. Jakob, J. Hanika, "A low-dimensional function space for
/// efficient spectral upsampling", Computer Graphics Forum 38(2), 2019, citation from memory), its three coefficients
/// found here by damped least squares. Components are first brought into 0.002…0.995; colours that no such
/// reflectance has (very saturated and bright) come out as near as the function gets.
#[must_use]
pub fn reflectance_from_rgb709(rgb: [f64; 3]) -> Spectrum {
    let wanted = rgb.map(|v| v.clamp(0.002, 0.995));
    let response = Camera::ideal().in_light(d65());
    let spectrum = |c: [f64; 3]| {
        Spectrum::from_fn(|nm| {
            let x = (nm - 580.0) / 100.0;
            let t = c[0] * x * x + c[1] * x + c[2];
            0.5 + t / (2.0 * (1.0 + t * t).sqrt())
        })
    };
    let residual = |c: [f64; 3]| {
        let found = response.linear_rgb(&spectrum(c));
        // Weighed by the cube root: an error of a dark colour is as visible as one of a light colour.
        std::array::from_fn::<f64, 3, _>(|k| {
            (found[k] - wanted[k]) / (wanted[k] + 0.02).powf(2.0 / 3.0)
        })
    };
    let square = |r: [f64; 3]| r.iter().map(|v| v * v).sum::<f64>();
    let mean = wanted.iter().sum::<f64>() / 3.0;
    let u = 2.0 * mean - 1.0;
    let mut c = [0.0, 0.0, u / (1.0 - u * u).sqrt()];
    let mut r = residual(c);
    let mut damping = 1e-2;
    for _ in 0..200 {
        if square(r) < 1e-14 {
            break;
        }
        let columns: [[f64; 3]; 3] = std::array::from_fn(|k| {
            let mut moved = c;
            moved[k] += 1e-5;
            let there = residual(moved);
            std::array::from_fn(|i| (there[i] - r[i]) / 1e-5)
        });
        let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
        let normal: [[f64; 3]; 3] = std::array::from_fn(|i| {
            std::array::from_fn(|j| {
                let v = dot(columns[i], columns[j]);
                if i == j {
                    v * (1.0 + damping) + 1e-12
                } else {
                    v
                }
            })
        });
        let Some(inverse) = inkarnat_color::matrix::inverse(&normal) else {
            break;
        };
        let right: [f64; 3] = std::array::from_fn(|i| -dot(columns[i], r));
        let step = inkarnat_color::matrix::transform(&inverse, right);
        let next: [f64; 3] = std::array::from_fn(|i| c[i] + step[i]);
        let there = residual(next);
        if square(there) < square(r) {
            (c, r) = (next, there);
            damping = (damping / 4.0).max(1e-9);
        } else {
            damping *= 8.0;
            if damping > 1e9 {
                break;
            }
        }
    }
    spectrum(c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_of_clothes_and_walls_come_back() {
        for rgb in [
            [0.46, 0.42, 0.36],
            [0.16, 0.15, 0.17],
            [0.30, 0.115, 0.070],
            [0.2, 0.25, 0.35],
            [0.018, 0.012, 0.009],
            [0.66, 0.64, 0.60],
            [0.33, 0.19, 0.045],
            [0.05, 0.10, 0.30],
            [0.5, 0.5, 0.5],
        ] {
            let reflectance = reflectance_from_rgb709(rgb);
            assert!(
                reflectance.0.iter().all(|r| (0.0..=1.0).contains(r)),
                "{rgb:?}"
            );
            let found = Camera::ideal().linear_rgb(&reflectance, d65());
            for (a, b) in found.iter().zip(rgb) {
                assert!((a - b).abs() < 2e-4 + 2e-3 * b, "{rgb:?} {found:?}");
            }
        }
    }
}
