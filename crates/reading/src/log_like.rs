//! Noticing camera-log pictures, which must not be read as if they were BT.709.

use serde::{Deserialize, Serialize};

/// Levels and colourfulness of the whole picture over some frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Histogram {
    /// Counts of luma in 256 steps from −0.1 to 1.18; what lies beyond is in the first or last.
    luma: Vec<u32>,
    /// Sum of max(R'G'B') − min(R'G'B').
    range_sum: f64,
    /// Pixels whose largest channel exceeds [`crate::ClipRule::BEYOND`].
    beyond: u32,
    count: u32,
}

const LOW: f64 = -0.1;
const STEP: f64 = 0.005;
const BINS: usize = 256;

impl Default for Histogram {
    fn default() -> Self {
        Self {
            luma: vec![0; BINS],
            range_sum: 0.0,
            beyond: 0,
            count: 0,
        }
    }
}

impl Histogram {
    /// Counts a pixel with its luma; both as working signal.
    pub fn add(&mut self, [r, g, b]: [f32; 3], luma: f64) {
        let range = r.max(g).max(b) - r.min(g).min(b);
        if !(range.is_finite() && luma.is_finite()) {
            return;
        }
        let bin = ((luma - LOW) / STEP).clamp(0.0, (BINS - 1) as f64) as usize;
        self.luma[bin] = self.luma[bin].saturating_add(1);
        self.range_sum += f64::from(range);
        self.beyond += u32::from(r.max(g).max(b) > crate::ClipRule::BEYOND);
        self.count = self.count.saturating_add(1);
    }

    /// The luma below which a share (0–1) of the pixels lies, to a step of 0.005; `None` of nothing.
    #[must_use]
    pub fn percentile(&self, share: f64) -> Option<f64> {
        let wanted = share.clamp(0.0, 1.0) * f64::from(self.count);
        let mut seen = 0.0;
        for (bin, &count) in self.luma.iter().enumerate() {
            seen += f64::from(count);
            if count > 0 && seen >= wanted {
                return Some(LOW + (bin as f64 + 0.5) * STEP);
            }
        }
        None
    }

    /// The share of pixels above white by more than noise: see [`crate::ClipRule::of_source`].
    #[must_use]
    pub fn beyond_share(&self) -> f64 {
        f64::from(self.beyond) / f64::from(self.count.max(1))
    }

    /// Mean of max(R'G'B') − min(R'G'B'), as signal.
    #[must_use]
    pub fn mean_range(&self) -> f64 {
        self.range_sum / f64::from(self.count.max(1))
    }
}

/// Darkest level of a log-like picture: the 0.5th percentile of its luma.
const FLOOR: f64 = 0.06;
/// Lightest level of one: the 99.5th percentile.
const CEILING: f64 = 0.80;
/// Most colourful one: mean range of R'G'B'.
const RANGE: f64 = 0.12;
/// A picture narrower than this is fog, a wall or a fade: nothing can be said of it.
const NARROWEST: f64 = 0.25;

/// Whether a shot looks as if it were coded by a camera's log curve, and the sentence to say so.
///
/// The rule: over the frames sampled, no blacks (0.5th percentile of luma above 6 %), no whites
/// (99.5th below 80 %), pale (mean range of R'G'B' below 12 %), and yet a span of at least 25 %
/// between the two. ACEScct, a published log curve, puts black at 7.3 % and a 90 % white at 54.6 %
/// (computed from S-2016-001), and a scene with any depth spans a good part of that. Fog, a plain
/// wall or a fade spans less, and is left alone. A low-contrast picture that is as flat, pale and
/// wide as log cannot be told from it by its levels: it gets the note too, which changes no number.
#[must_use]
pub fn looks_like_log(picture: &Histogram) -> Option<String> {
    const FEWEST: u32 = 500;
    if picture.count < FEWEST {
        return None;
    }
    let (low, high) = (picture.percentile(0.005)?, picture.percentile(0.995)?);
    let range = picture.mean_range();
    let flat = low > FLOOR && high < CEILING && range < RANGE && high - low >= NARROWEST;
    flat.then(|| {
        format!(
            "looks like camera log (blacks at {:.0} %, whites at {:.0} %, pale): read as it is, its \
             numbers mean nothing; give this clip its input transform (`inkarnat input`), or leave it where it is meant so",
            low * 100.0,
            high * 100.0
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::Random;
    use inkarnat_color::Coefficients;
    use inkarnat_color::transfer::bt709_oetf;

    /// ACEScct (Academy S-2016-001, section 4.4): linear below 0.0078125, log2 above.
    fn acescct(linear: f64) -> f64 {
        if linear <= 0.007_812_5 {
            10.540_237_741_654_5 * linear + 0.072_905_534_195_835_5
        } else {
            (linear.log2() + 9.72) / 17.52
        }
    }

    /// Scene light with reflectances from 2 % to 90 %, some deep shadow, a few lights over white,
    /// colours of ordinary saturation.
    fn scene(seed: u64, shadow: f64) -> Vec<[f64; 3]> {
        let mut random = Random::new(seed);
        (0..4000)
            .map(|i| {
                let light = match i % 40 {
                    0 => 2.0,
                    1..6 => shadow * random.unit(),
                    _ => 1.0,
                };
                let grey = 0.02 * (45.0f64).powf(random.unit());
                std::array::from_fn(|_| light * grey * (0.35 * random.normal()).exp())
            })
            .collect()
    }

    fn histogram(scene: &[[f64; 3]], code: impl Fn(f64) -> f64) -> Histogram {
        let mut histogram = Histogram::default();
        for pixel in scene {
            let rgb = pixel.map(&code);
            histogram.add(rgb.map(|v| v as f32), Coefficients::Bt709.luma(rgb));
        }
        histogram
    }

    #[test]
    fn log_is_noticed_and_bt709_is_not() {
        for seed in 0..20 {
            let scene = scene(seed, 0.1);
            // Primaries of cameras are wide, which pales the picture: half way to grey.
            let wide: Vec<[f64; 3]> = scene
                .iter()
                .map(|p| {
                    let y = Coefficients::Bt709.luma(*p);
                    p.map(|v| 0.5 * (v + y))
                })
                .collect();
            let log = histogram(&wide, acescct);
            assert!(
                looks_like_log(&log).is_some(),
                "{seed}: {:?} {:?} {}",
                log.percentile(0.005),
                log.percentile(0.995),
                log.mean_range()
            );
            // The same scene, exposed from two stops under to one over.
            for stops in [-2, -1, 0, 1] {
                let gain = 2f64.powi(stops);
                let video = histogram(&scene, |v| bt709_oetf(gain * v).clamp(0.0, 1.09));
                assert_eq!(looks_like_log(&video), None, "{seed} {stops}");
            }
        }
    }

    /// Fog: the scene's contrast to a fifth, over a veil of half white; a fade; a grey wall.
    #[test]
    fn fog_and_fades_are_left_alone() {
        let scene = scene(1, 0.1);
        for (veil, share) in [(0.5, 0.2), (0.3, 0.15), (0.15, 0.06), (0.2, 0.0)] {
            let fog = histogram(&scene, |v| bt709_oetf(veil + share * v.min(1.0)));
            assert_eq!(looks_like_log(&fog), None, "veil {veil}");
        }
        assert_eq!(looks_like_log(&Histogram::default()), None);
    }

    #[test]
    fn percentiles_are_those_of_a_ramp() {
        let mut histogram = Histogram::default();
        for i in 0..1000 {
            let v = f64::from(i) / 1000.0;
            histogram.add([v as f32; 3], v);
        }
        for share in [0.01, 0.5, 0.99] {
            assert!((histogram.percentile(share).unwrap() - share).abs() < 0.006);
        }
        histogram.add([f32::NAN; 3], 0.5);
        histogram.add([1.05; 3], 1.05);
        assert!((histogram.beyond_share() - 1.0 / 1001.0).abs() < 1e-12);
    }
}
