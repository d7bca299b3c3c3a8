//! Can the truth be reached at all? A search of its own, by brute force, under the limits of a fix.
//!
//! It knows the truth, which no corrector does, and tries every combination of a coarse grid: common power, common
//! offset, saturation, and the three slopes that then put the mean skin on the truth. Two families are tried: a
//! correction of the whole picture, and one of the skin alone. It does not share code with the solver under test.

use inkarnat_color::Coefficients;

use crate::truth::{lab, mean_signal};
use inkarnat_color::{Rgb, delta_e_2000};

/// What the search is asked.
#[derive(Debug, Clone)]
pub struct Question<'a> {
    /// The source picture.
    pub picture: &'a Rgb,
    /// For each person, pixels of lit skin and the true mean R'G'B' at the aim's level.
    pub people: Vec<(&'a [usize], [f64; 3])>,
}

/// The answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Reachable {
    /// By one correction of the picture.
    ByPicture,
    /// By a correction of each skin alone.
    BySkin,
    /// Not within the limits that were searched.
    No,
}

/// CIEDE2000 within which a person counts as reached: the width of the aim `own`.
const WIDTH: f64 = 2.0;
const EXPOSURE_STOPS: f64 = 1.5;
const SKIN_SLOPE: (f64, f64) = (0.7, 1.6);
const UPPER_SLOPE: f64 = 0.3;
const SKIN_CLIPPING: f64 = 0.001;
const CHROMA_SPREAD: (f64, f64) = (0.8, 1.25);
const NOISE_GAIN: f64 = 1.6;
/// Where the generator's camera clips.
const CEILING: f64 = 1.085;
/// Share of skin that may be clipped in the source: what is clipped has lost its colour.
const SOURCE_CLIPPING: f64 = 0.02;

#[derive(Debug, Clone, Copy)]
struct Candidate {
    slope: [f64; 3],
    offset: f64,
    power: f64,
    saturation: f64,
}

impl Candidate {
    fn apply(&self, pixel: [f64; 3]) -> [f64; 3] {
        let curved: [f64; 3] = std::array::from_fn(|c| {
            let base = pixel[c] * self.slope[c] + self.offset;
            if base < 0.0 {
                base
            } else {
                base.powf(self.power)
            }
        });
        let luma = 0.2126 * curved[0] + 0.7152 * curved[1] + 0.0722 * curved[2];
        curved.map(|v| luma + self.saturation * (v - luma))
    }
}

/// Slopes that bring `mean` to `target` with the other parameters fixed.
fn aimed(
    mean: [f64; 3],
    target: [f64; 3],
    offset: f64,
    power: f64,
    saturation: f64,
) -> Option<Candidate> {
    let luma = 0.2126 * target[0] + 0.7152 * target[1] + 0.0722 * target[2];
    let mut slope = [0.0; 3];
    for c in 0..3 {
        let before_saturation = luma + (target[c] - luma) / saturation;
        if before_saturation <= 0.0 || mean[c] <= 1e-3 {
            return None;
        }
        slope[c] = (before_saturation.powf(1.0 / power) - offset) / mean[c];
    }
    slope.iter().all(|s| *s > 0.0).then_some(Candidate {
        slope,
        offset,
        power,
        saturation,
    })
}

fn luma(pixel: [f64; 3]) -> f64 {
    Coefficients::Bt709.luma(pixel)
}

fn pixel(picture: &Rgb, index: usize) -> [f64; 3] {
    picture.pixel(index).map(f64::from)
}

fn mean(pixels: &[[f64; 3]]) -> [f64; 3] {
    std::array::from_fn(|c| pixels.iter().map(|p| p[c]).sum::<f64>() / pixels.len() as f64)
}

fn chroma_spread(pixels: &[[f64; 3]]) -> f64 {
    let points: Vec<[f64; 2]> = pixels
        .iter()
        .map(|p| {
            let v = Coefficients::Bt709.ycbcr_from_rgb(*p);
            let y = v.y.max(0.02);
            [v.cb / y, v.cr / y]
        })
        .collect();
    let n = points.len() as f64;
    let centre: [f64; 2] = std::array::from_fn(|k| points.iter().map(|p| p[k]).sum::<f64>() / n);
    let squares = points
        .iter()
        .map(|p| (p[0] - centre[0]).powi(2) + (p[1] - centre[1]).powi(2));
    (squares.sum::<f64>() / n).sqrt()
}

struct Person {
    pixels: Vec<[f64; 3]>,
    mean: [f64; 3],
    target: [f64; 3],
    range: (f64, f64),
    spread: f64,
    clipped: f64,
}

fn clipped_share(pixels: &[[f64; 3]]) -> f64 {
    let clipped = pixels
        .iter()
        .filter(|p| p.iter().any(|v| !(-1e-3..=1.0).contains(v)));
    clipped.count() as f64 / pixels.len() as f64
}

impl Person {
    fn new(picture: &Rgb, pixels: &[usize], target: [f64; 3]) -> Self {
        let step = pixels.len().div_ceil(300);
        let sample: Vec<usize> = pixels.iter().copied().step_by(step).collect();
        let points: Vec<[f64; 3]> = sample.iter().map(|i| pixel(picture, *i)).collect();
        let mut levels: Vec<f64> = points.iter().map(|p| luma(*p)).collect();
        levels.sort_by(f64::total_cmp);
        Self {
            mean: mean_signal(picture, &sample),
            target,
            range: (
                levels[levels.len() / 20],
                levels[levels.len() - 1 - levels.len() / 20],
            ),
            spread: chroma_spread(&points),
            clipped: clipped_share(&points),
            pixels: points,
        }
    }

    fn kept(&self, candidate: &Candidate) -> bool {
        let after: Vec<[f64; 3]> = self.pixels.iter().map(|p| candidate.apply(*p)).collect();
        let mean_after = mean(&after);
        if delta_e_2000(lab(mean_after), lab(self.target)).0 > WIDTH {
            return false;
        }
        let light = |p: [f64; 3]| inkarnat_color::transfer::bt709_oetf_inverse(luma(p)).max(1e-6);
        if (light(mean_after) / light(self.mean)).log2().abs() > EXPOSURE_STOPS {
            return false;
        }
        let tone = |level: f64| luma(candidate.apply([level; 3]));
        let (low, high) = self.range;
        let slope = (tone(high) - tone(low)) / (high - low).max(1e-3);
        if !(SKIN_SLOPE.0..=SKIN_SLOPE.1).contains(&slope) {
            return false;
        }
        if clipped_share(&after) > self.clipped + SKIN_CLIPPING {
            return false;
        }
        let spread = chroma_spread(&after) / self.spread.max(1e-6);
        (CHROMA_SPREAD.0..=CHROMA_SPREAD.1).contains(&spread)
    }

    fn candidates(&self) -> Vec<Candidate> {
        let mut all = Vec::new();
        for power in [1.0, 0.9, 1.1, 0.8, 1.25, 0.7, 1.4] {
            for offset in [0.0, -0.03, 0.03, -0.06, 0.06] {
                for saturation in [1.0, 0.85, 1.15, 0.7, 1.4] {
                    all.extend(aimed(self.mean, self.target, offset, power, saturation));
                }
            }
        }
        all
    }
}

/// Searches.
#[must_use]
pub fn search(question: &Question<'_>) -> Reachable {
    let people: Vec<Person> = question
        .people
        .iter()
        .map(|(pixels, target)| Person::new(question.picture, pixels, *target))
        .collect();
    let count = question.picture.planes[0].len();
    let mut dark: Vec<[f64; 3]> = (0..count)
        .step_by(count.div_ceil(2000))
        .map(|i| pixel(question.picture, i))
        .collect();
    dark.sort_by(|a, b| luma(*a).total_cmp(&luma(*b)));
    dark.truncate(dark.len() / 4);

    let picture_kept = |candidate: &Candidate| {
        let step = 1.0 / 256.0;
        let gains = dark.iter().map(|p| {
            let up = luma(candidate.apply(p.map(|v| v + step)));
            let down = luma(candidate.apply(p.map(|v| v - step)));
            ((up - down) / (2.0 * step)).powi(2)
        });
        let noise = (gains.sum::<f64>() / dark.len() as f64).sqrt();
        let top = people.iter().map(|p| p.range.1).fold(0.0, f64::max);
        let tone = |level: f64| luma(candidate.apply([level; 3]));
        // What the lights need is a roll-off between the top of the skin and white; it may not be flatter than this.
        let upper = (tone(1.0).min(1.0) - tone(top)) / (1.0 - top).max(1e-3);
        noise <= NOISE_GAIN && upper >= UPPER_SLOPE
    };
    let by_picture = people.iter().any(|first| {
        first
            .candidates()
            .iter()
            .any(|c| people.iter().all(|p| p.kept(c)) && picture_kept(c))
    });
    let lost = |p: &Person| {
        let gone = p.pixels.iter().filter(|p| p.iter().any(|v| *v >= CEILING));
        gone.count() as f64 > SOURCE_CLIPPING * p.pixels.len() as f64
    };
    if people.iter().any(lost) {
        Reachable::No
    } else if by_picture {
        Reachable::ByPicture
    } else if people
        .iter()
        .all(|p| p.candidates().iter().any(|c| p.kept(c)))
    {
        Reachable::BySkin
    } else {
        Reachable::No
    }
}
