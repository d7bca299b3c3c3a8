//! What a fix does to everything that is not the skin it was made for.

use inkarnat_color::delta_e_2000;
use inkarnat_color::transfer::{bt709_oetf, bt709_oetf_inverse};

use crate::light::linear709;
use crate::model::{Logged, Move};
use crate::sample::{Measures, Ready, quantile, signal_of};
use crate::solution::{Cost, SkinValue};

/// Pixels that the move of everything else is taken from.
const OUTSIDE: usize = 1000;

/// The exposure change that was asked for: what happened to the light on skin.
pub(crate) struct Asked {
    gain: f64,
}

impl Asked {
    /// The geometric mean over the people of luminance after over before.
    pub(crate) fn of(ready: &Ready, after: &[SkinValue]) -> Self {
        let luminance = |v: &SkinValue| {
            let [r, g, b] = linear709(signal_of(v, ready.space), ready.space);
            (0.2126 * r + 0.7152 * g + 0.0722 * b).max(1e-5)
        };
        let sum: f64 = ready
            .people
            .iter()
            .zip(after)
            .map(|(set, after)| (luminance(after) / luminance(&set.before)).ln())
            .sum();
        Self {
            gain: (sum / after.len() as f64).exp(),
        }
    }

    /// A signal after that exposure change alone; nothing is brighter than white.
    fn apply(&self, signal: [f64; 3]) -> [f64; 3] {
        signal.map(|v| {
            let moved = bt709_oetf(bt709_oetf_inverse(v) * self.gain);
            moved.min(v.max(1.0))
        })
    }
}

pub(crate) fn cost(
    ready: &Ready,
    by: &Move,
    m: &Measures,
    asked: &Asked,
    dark_noise: Option<f64>,
) -> Cost {
    let neutral = |f: &dyn Fn([f64; 3]) -> [f64; 3]| {
        let total: f64 = ready.neutrals.iter().map(|g| g.share).sum();
        (!ready.neutrals.is_empty()).then(|| {
            ready
                .neutrals
                .iter()
                .map(|g| g.share * ready.neutral_error(g, f(g.mean)))
                .sum::<f64>()
                / total
        })
    };
    let step = ready.outside.len().div_ceil(OUTSIDE).max(1);
    let mut moved: Vec<f64> = ready
        .outside
        .iter()
        .step_by(step)
        .map(|p| delta_e_2000(ready.lab.lab(asked.apply(*p)), ready.lab.lab(by.apply(*p))).0)
        .collect();
    moved.sort_by(f64::total_cmp);
    let extent = |f: &dyn Fn(&Logged) -> [f64; 3]| {
        let mut lumas: Vec<f64> = ready
            .picture
            .iter()
            .map(|p| ready.space.coefficients.luma(f(p)))
            .collect();
        lumas.sort_unstable_by(f64::total_cmp);
        quantile(&lumas, 0.95) - quantile(&lumas, 0.05)
    };
    let before = extent(&|p| p.rgb);
    let furthest = if m.skin_spread.1 - 1.0 > 1.0 - m.skin_spread.0 {
        m.skin_spread.1
    } else {
        m.skin_spread.0
    };
    Cost {
        keyed_pct: 100.0 * by.keyed_share(&ready.outside),
        neutral_de00: neutral(&|p| by.apply(p)),
        neutral_de00_before: neutral(&|p| p),
        clip_growth_pct: m.clip_growth_pct,
        skin_clip_growth_pct: m.skin_clip_pct,
        contrast: if before > 1e-6 {
            extent(&|p| by.apply_logged(p)) / before
        } else {
            1.0
        },
        outside_de00_median: quantile(&moved, 0.5),
        outside_de00_p95: quantile(&moved, 0.95),
        noise_gain: m.noise_gain,
        dark_noise: dark_noise.map(|n| n * m.noise_gain),
        skin_slope: m.skin_slope,
        upper_slope: if m.upper_slope.is_finite() {
            m.upper_slope
        } else {
            1.0
        },
        skin_spread: furthest,
        code_gap: m.code_gap,
        exposure_stops: m.exposure_stops,
        clipped_area_de00: m.blown.map(|(de, _)| de.max(0.0)),
    }
}
