//! From the working signal to what a computer's screen is sent.
//!
//! A screen is taken as sRGB (IEC 61966-2-1). The signal is shown as the light that a BT.1886 display with black 0 makes of it
//! (a power of 2.4), brought to BT.709 primaries and coded by sRGB's own curve. Light outside the screen's range is clipped. It
//! is a view for looking, not a grading monitor.

use crate::matrix::{Matrix3, inverse, product, transform};
use crate::primaries::{Primaries, WorkingSpace};
use crate::transfer::Bt1886;

/// sRGB's code, 0–1, of a light of 0–1 (IEC 61966-2-1).
#[must_use]
pub fn srgb_from_light(light: f64) -> f64 {
    if light <= 0.003_130_8 {
        12.92 * light
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    }
}

/// Working signal to sRGB codes of 0–1.
#[derive(Clone, Debug)]
pub struct ScreenConverter {
    /// Linear light to the screen's primaries; `None` where they are the same.
    matrix: Option<Matrix3>,
    /// Codes of signals, evenly spaced from 0 to [`TABLE_END`], where no matrix stands between.
    table: Vec<f32>,
}

const TABLE_STEPS: usize = 8192;
/// The table ends where the screen's white is.
const TABLE_END: f32 = 1.0;

impl ScreenConverter {
    /// For a working space.
    #[must_use]
    pub fn new(space: WorkingSpace) -> Self {
        let matrix = (space.primaries != Primaries::Bt709)
            .then(|| inverse(&Primaries::Bt709.xyz_from_rgb()))
            .flatten()
            .map(|rgb_from_xyz| product(&rgb_from_xyz, &space.primaries.xyz_from_rgb()));
        let table = (0..=TABLE_STEPS)
            .map(|step| {
                let signal = step as f64 / TABLE_STEPS as f64;
                srgb_from_light(Bt1886::RELATIVE.light_from_signal(signal)) as f32
            })
            .collect();
        Self { matrix, table }
    }

    /// The code of one channel's signal.
    fn coded(&self, signal: f32) -> f32 {
        let place = (signal / TABLE_END).clamp(0.0, 1.0) * TABLE_STEPS as f32;
        let low = (place as usize).min(TABLE_STEPS - 1);
        let share = place - low as f32;
        self.table[low] + share * (self.table[low + 1] - self.table[low])
    }

    /// sRGB codes, 0–1, of a working signal. NaN gives black.
    #[must_use]
    pub fn codes(&self, signal: [f32; 3]) -> [f32; 3] {
        let signal = signal.map(|v| if v.is_nan() { 0.0 } else { v });
        match &self.matrix {
            None => signal.map(|v| self.coded(v)),
            Some(matrix) => {
                let light = signal.map(|v| Bt1886::RELATIVE.light_from_signal(f64::from(v)));
                transform(matrix, light).map(|v| srgb_from_light(v.clamp(0.0, 1.0)) as f32)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61966-2-1: the two pieces meet, and 0.214041 of light is code 0.5 (the inverse of the standard's own formula).
    #[test]
    fn srgb_curve() {
        assert!((srgb_from_light(0.214_041_140_482) - 0.5).abs() < 1e-9);
        assert!((srgb_from_light(1.0) - 1.0).abs() < 1e-12);
        let knee = 0.003_130_8;
        assert!((12.92 * knee - (1.055 * f64::powf(knee, 1.0 / 2.4) - 0.055)).abs() < 1e-6);
    }

    #[test]
    fn the_table_follows_the_curves() {
        let screen = ScreenConverter::new(WorkingSpace::default());
        for step in 0..=1000 {
            let v = step as f64 / 1000.0;
            let exact = srgb_from_light(v.powf(2.4));
            let [found, ..] = screen.codes([v as f32; 3]);
            assert!(
                (f64::from(found) - exact).abs() < 1e-4,
                "{v}: {found} {exact}"
            );
        }
        assert_eq!(screen.codes([-0.05, 1.09, f32::NAN]), [0.0, 1.0, 0.0]);
    }

    #[test]
    fn greys_stay_grey_from_every_primaries() {
        for primaries in Primaries::ALL {
            let screen = ScreenConverter::new(WorkingSpace {
                primaries,
                ..WorkingSpace::default()
            });
            let [r, g, b] = screen.codes([0.5; 3]);
            assert!((r - g).abs() < 1e-4 && (b - g).abs() < 1e-4, "{primaries}");
        }
    }
}
