//! What a shot's skin and neutrals ought to read, from the scene itself.

use inkarnat_color::transfer::bt709_oetf;
use inkarnat_color::{Coefficients, Lab, Rgb, WorkingSpace, lab_from_signal};

use crate::scene::Shot;
use crate::stage::Region;

/// Most pixels that a mean is taken over.
const SAMPLE: usize = 3000;

/// Pixels that serve as somebody's skin in every version of a shot, chosen on the truth.
#[derive(Debug, Clone, PartialEq)]
pub struct SkinPixels {
    /// Row-major indices, rising.
    pub pixels: Vec<usize>,
}

impl SkinPixels {
    /// Lit skin of `person` between the 10th and 90th percentile of true luminance; `None` with fewer than 50 pixels.
    #[must_use]
    pub fn of(shot: &Shot, person: u8) -> Option<Self> {
        let mut all = shot.pixels(Region::Skin(person));
        if all.len() < 50 {
            return None;
        }
        let luminance = |i: usize| {
            let [r, g, b] = shot.truth.pixels[i];
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        all.sort_by(|a, b| luminance(*a).total_cmp(&luminance(*b)).then(a.cmp(b)));
        let cut = all.len() / 10;
        let kept = &all[cut..all.len() - cut];
        let step = kept.len().div_ceil(SAMPLE);
        let mut pixels: Vec<usize> = kept.iter().copied().step_by(step).collect();
        pixels.sort_unstable();
        Some(Self { pixels })
    }
}

/// Mean R'G'B' of some pixels.
#[must_use]
pub fn mean_signal(picture: &Rgb, pixels: &[usize]) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for index in pixels {
        for (s, v) in sum.iter_mut().zip(picture.pixel(*index)) {
            *s += f64::from(v);
        }
    }
    sum.map(|s| s / pixels.len().max(1) as f64)
}

/// Mean R'G'B' of some pixels of the truth at an exposure (a factor on light).
#[must_use]
pub fn true_signal(shot: &Shot, pixels: &[usize], exposure: f64) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for index in pixels {
        for (s, v) in sum.iter_mut().zip(shot.truth.pixels[*index]) {
            *s += bt709_oetf(f64::from(v) * exposure);
        }
    }
    sum.map(|s| s / pixels.len().max(1) as f64)
}

/// Level Y' in percent.
#[must_use]
pub fn level_pct(signal: [f64; 3]) -> f64 {
    100.0 * Coefficients::Bt709.luma(signal)
}

/// Angle of (Cb, Cr) in degrees; `None` below the chroma floor.
#[must_use]
pub fn hue_deg(signal: [f64; 3]) -> Option<f64> {
    let chroma = Coefficients::Bt709.ycbcr_from_rgb(signal).chroma();
    chroma.hue().map(|h| h.degrees())
}

/// CIELAB of a signal on the reference display.
#[must_use]
pub fn lab(signal: [f64; 3]) -> Lab {
    lab_from_signal(signal, WorkingSpace::default())
}

/// The exposure at which the true skin has the given level.
#[must_use]
pub fn exposure_for_level(shot: &Shot, skin: &SkinPixels, level: f64) -> f64 {
    let (mut low, mut high) = (1.0 / 64.0, 64.0f64);
    for _ in 0..40 {
        let middle = (low * high).sqrt();
        if level_pct(true_signal(shot, &skin.pixels, middle)) < level {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low * high).sqrt()
}
