//! The CDL nearest to a fix, and what is left between them.

use inkarnat_color::lab::LabConverter;
use inkarnat_color::primaries::{D65_XY, xyz_from_xy};
use inkarnat_color::{Lab, WorkingSpace, delta_e_2000};
use inkarnat_fix::{PersonProblem, Problem};
use inkarnat_ops::{Cdl, Chain, Op};
use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};

/// A fix as one CDL.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NearestCdl {
    /// The CDL.
    pub cdl: Cdl,
    /// Whether it is the fix itself.
    pub exact: bool,
    /// CIEDE2000 between the two on skin, median over the pixels of the person worst off.
    pub skin_de00: f64,
    /// CIEDE2000 between the two on the picture, median over pixels.
    pub picture_de00_median: f64,
    /// The same, 95th percentile.
    pub picture_de00_p95: f64,
    /// What the CDL does not do, in words; empty where it is exact.
    pub missing: String,
}

/// A CDL further off than this on skin is not handed on, CIEDE2000.
pub const SKIN_LIMIT_DE00: f64 = 1.0;

/// Where the curve of CIELAB leaves its straight part: the cube of this.
const EDGE: f64 = 6.0 / 29.0;

/// Parameters: slope, offset and power of each channel, and saturation.
const PARAMETERS: usize = 10;
type Parameters = SVector<f64, PARAMETERS>;

/// Pixels of each person and of the picture that the fit looks at.
const SKIN_PIXELS: usize = 200;
const PICTURE_PIXELS: usize = 400;

/// The CDL nearest to the ops on the pixels of a problem.
#[must_use]
pub fn nearest_cdl(ops: &[Op], problem: &Problem) -> NearestCdl {
    let space = problem.space;
    if let Some(cdl) = joined(ops) {
        return NearestCdl {
            cdl,
            exact: true,
            skin_de00: 0.0,
            picture_de00_median: 0.0,
            picture_de00_p95: 0.0,
            missing: String::new(),
        };
    }
    let chain = Chain::of_fix(ops.to_vec());
    let skins: Vec<Vec<[f64; 3]>> = problem
        .people
        .iter()
        .map(|person| thinned(&person.skin, SKIN_PIXELS))
        .collect();
    let all: Vec<[f32; 3]> = problem.picture.iter().map(|pixel| pixel.rgb).collect();
    let picture = thinned(&all, PICTURE_PIXELS);
    let fit = Fit::new(&chain, &skins, &picture, space);
    let start = ops
        .iter()
        .find_map(|op| match op {
            Op::Cdl(cdl) => Some(*cdl),
            _ => None,
        })
        .unwrap_or(Cdl::NEUTRAL);
    let cdl = fit.solve(start);
    let skin_de00 = problem
        .people
        .iter()
        .map(|person| median_difference(&chain, &cdl, person, space))
        .fold(0.0, f64::max);
    let mut on_picture = differences(&chain, &cdl, &thinned(&all, 4000), space);
    on_picture.sort_by(f64::total_cmp);
    let mut missing: Vec<&str> = ops
        .iter()
        .filter(|op| !op.is_identity())
        .filter_map(|op| match op {
            Op::Cdl(_) => None,
            Op::Shoulder(_) => Some("the roll-off of the lights"),
            Op::KeyedCdl(_) => Some("the key on skin"),
            Op::Lut(_) => Some("the table"),
            Op::Process(_) => Some("the transform"),
            Op::Limiter(_) => Some("the limiter"),
        })
        .collect();
    missing.dedup();
    NearestCdl {
        cdl,
        exact: false,
        skin_de00,
        picture_de00_median: quantile(&on_picture, 0.5),
        picture_de00_p95: quantile(&on_picture, 0.95),
        missing: if missing.is_empty() {
            "the order of several CDLs".to_owned()
        } else {
            missing.join(" and ")
        },
    }
}

/// The one CDL that does exactly what the ops do.
fn joined(ops: &[Op]) -> Option<Cdl> {
    ops.iter()
        .filter(|op| !op.is_identity())
        .try_fold(Cdl::NEUTRAL, |sum, op| match op {
            Op::Cdl(cdl) => sum.then(cdl),
            _ => None,
        })
}

/// At most `count` of the pixels, evenly spread.
fn thinned(pixels: &[[f32; 3]], count: usize) -> Vec<[f64; 3]> {
    let step = pixels.len().div_ceil(count).max(1);
    pixels
        .iter()
        .step_by(step)
        .map(|pixel| pixel.map(f64::from))
        .collect()
}

fn median_difference(chain: &Chain, cdl: &Cdl, person: &PersonProblem, space: WorkingSpace) -> f64 {
    let mut all = differences(chain, cdl, &thinned(&person.skin, 2000), space);
    all.sort_by(f64::total_cmp);
    quantile(&all, 0.5)
}

fn differences(chain: &Chain, cdl: &Cdl, pixels: &[[f64; 3]], space: WorkingSpace) -> Vec<f64> {
    let lab = LabConverter::new(space);
    pixels
        .iter()
        .map(|pixel| {
            delta_e_2000(
                lab.lab(chain.apply_pixel(*pixel)),
                lab.lab(cdl.apply(*pixel)),
            )
            .0
        })
        .collect()
}

fn quantile(sorted: &[f64], share: f64) -> f64 {
    let last = sorted.len().saturating_sub(1);
    sorted
        .get((share * last as f64).round() as usize)
        .copied()
        .unwrap_or(0.0)
}

/// A least-squares fit in CIELAB, skin before picture.
struct Fit {
    lab: LabConverter,
    /// X, Y, Z over those of white, of linear R, G, B.
    white_from_rgb: [[f64; 3]; 3],
    /// Source pixel, its Lab after the chain, and the root of its weight.
    points: Vec<([f64; 3], Lab, f64)>,
}

impl Fit {
    fn new(
        chain: &Chain,
        skins: &[Vec<[f64; 3]>],
        picture: &[[f64; 3]],
        space: WorkingSpace,
    ) -> Self {
        let lab = LabConverter::new(space);
        let mut points = Vec::new();
        let mut add = |pixels: &[[f64; 3]], share: f64| {
            let weight = (share / pixels.len().max(1) as f64).sqrt();
            for pixel in pixels {
                points.push((*pixel, lab.lab(chain.apply_pixel(*pixel)), weight));
            }
        };
        // Skin is what the CDL is for: a group of skin counts four times the whole picture.
        for skin in skins {
            add(skin, 4.0 / skins.len() as f64);
        }
        add(picture, 1.0);
        let white = xyz_from_xy(D65_XY);
        let xyz_from_rgb = space.primaries.xyz_from_rgb();
        Self {
            lab,
            white_from_rgb: std::array::from_fn(|i| xyz_from_rgb[i].map(|v| v / white[i])),
            points,
        }
    }

    /// Levenberg–Marquardt from a start; a fixed number of rounds, so the same on every run.
    fn solve(&self, start: Cdl) -> Cdl {
        const ROUNDS: usize = 60;
        let mut at = parameters(&start);
        let mut cost = self.cost(&at);
        let mut damping = 1e-3;
        for _ in 0..ROUNDS {
            let (normal, gradient) = self.normal_equations(&at);
            let mut damped = normal;
            for i in 0..PARAMETERS {
                damped[(i, i)] += damping * normal[(i, i)].max(1e-9);
            }
            let Some(step) = damped.lu().solve(&gradient) else {
                break;
            };
            let next = inside(at - step);
            let next_cost = self.cost(&next);
            if next_cost < cost {
                let gain = cost - next_cost;
                (at, cost) = (next, next_cost);
                damping = (damping / 4.0).max(1e-9);
                if gain < 1e-10 * cost.max(1e-12) {
                    break;
                }
            } else {
                damping *= 8.0;
                if damping > 1e9 {
                    break;
                }
            }
        }
        cdl(&at)
    }

    fn residuals(&self, at: &Parameters) -> impl Iterator<Item = f64> {
        let cdl = cdl(at);
        self.points.iter().flat_map(move |(pixel, target, weight)| {
            let lab = self.lab.lab(cdl.apply(*pixel));
            [lab.l - target.l, lab.a - target.a, lab.b - target.b].map(|v| v * weight)
        })
    }

    fn cost(&self, at: &Parameters) -> f64 {
        let sum: f64 = self.residuals(at).map(|r| r * r).sum();
        if sum.is_finite() { sum } else { f64::INFINITY }
    }

    fn normal_equations(
        &self,
        at: &Parameters,
    ) -> (SMatrix<f64, PARAMETERS, PARAMETERS>, Parameters) {
        let cdl = cdl(at);
        let mut normal = SMatrix::zeros();
        let mut gradient = Parameters::zeros();
        for (pixel, target, weight) in &self.points {
            let (lab, slopes) = self.slopes(&cdl, *pixel);
            let off = [lab.l - target.l, lab.a - target.a, lab.b - target.b];
            for (off, slope) in off.iter().zip(slopes) {
                let slope = slope * *weight;
                normal += slope * slope.transpose();
                gradient += slope * (off * weight);
            }
        }
        (normal, gradient)
    }

    /// CIELAB of a pixel after a CDL, and how each of L*, a*, b* goes with each parameter.
    fn slopes(&self, cdl: &Cdl, pixel: [f64; 3]) -> (Lab, [Parameters; 3]) {
        let based: [f64; 3] = std::array::from_fn(|c| pixel[c] * cdl.slope[c] + cdl.offset[c]);
        let powered: [f64; 3] = std::array::from_fn(|c| {
            if based[c] < 0.0 {
                based[c]
            } else {
                based[c].powf(cdl.power[c])
            }
        });
        let luma: f64 = (0..3).map(|c| Cdl::LUMA[c] * powered[c]).sum();
        let out = powered.map(|v| luma + cdl.saturation * (v - luma));
        // BT.1886 with black 0: a power of 2.4, nothing below black.
        let root = out.map(|v| v.max(0.0).powf(1.4));
        let light: [f64; 3] = std::array::from_fn(|c| root[c] * out[c]);
        let mut curve = [0.0; 3];
        let mut bent = [[0.0; 3]; 3];
        for (i, row) in self.white_from_rgb.iter().enumerate() {
            let t = row[0] * light[0] + row[1] * light[1] + row[2] * light[2];
            let slope;
            (curve[i], slope) = if t > EDGE * EDGE * EDGE {
                let root = t.cbrt();
                (root, 1.0 / (3.0 * root * root))
            } else {
                let steepest = 1.0 / (3.0 * EDGE * EDGE);
                (t * steepest + 4.0 / 29.0, steepest)
            };
            for c in 0..3 {
                bent[i][c] = slope * row[c] * 2.4 * root[c];
            }
        }
        let lab = Lab {
            l: 116.0 * curve[1] - 16.0,
            a: 500.0 * (curve[0] - curve[1]),
            b: 200.0 * (curve[1] - curve[2]),
        };
        let slopes = [
            [0.0, 116.0, 0.0],
            [500.0, -500.0, 0.0],
            [0.0, 200.0, -200.0],
        ]
        .map(|of| {
            let by_out: [f64; 3] =
                std::array::from_fn(|c| (0..3).map(|i| of[i] * bent[i][c]).sum());
            let all: f64 = by_out.iter().sum();
            let mut slopes = Parameters::zeros();
            for c in 0..3 {
                let by_powered =
                    cdl.saturation * by_out[c] + (1.0 - cdl.saturation) * Cdl::LUMA[c] * all;
                let (by_based, by_power) = if based[c] > 0.0 {
                    (
                        cdl.power[c] * powered[c] / based[c],
                        powered[c] * based[c].ln(),
                    )
                } else {
                    (1.0, 0.0)
                };
                slopes[c] = by_powered * by_based * pixel[c];
                slopes[3 + c] = by_powered * by_based;
                slopes[6 + c] = by_powered * by_power;
                slopes[9] += by_out[c] * (powered[c] - luma);
            }
            slopes
        });
        (lab, slopes)
    }
}

fn parameters(cdl: &Cdl) -> Parameters {
    let mut at = Parameters::zeros();
    for c in 0..3 {
        at[c] = cdl.slope[c];
        at[3 + c] = cdl.offset[c];
        at[6 + c] = cdl.power[c];
    }
    at[9] = cdl.saturation;
    at
}

fn cdl(at: &Parameters) -> Cdl {
    Cdl {
        slope: std::array::from_fn(|c| at[c]),
        offset: std::array::from_fn(|c| at[3 + c]),
        power: std::array::from_fn(|c| at[6 + c]),
        saturation: at[9],
    }
}

/// Held to what a CDL may be, well inside.
fn inside(mut at: Parameters) -> Parameters {
    for c in 0..3 {
        at[c] = at[c].clamp(0.05, 20.0);
        at[3 + c] = at[3 + c].clamp(-1.0, 1.0);
        at[6 + c] = at[6 + c].clamp(0.1, 10.0);
    }
    at[9] = at[9].clamp(0.0, 4.0);
    at
}

#[cfg(test)]
mod tests {
    use super::*;
    use inkarnat_fix::{Aim, Limits, PicturePixel};
    use inkarnat_ops::Shoulder;

    fn problem() -> Problem {
        let picture = (0..2000)
            .map(|i| {
                let v = i as f32 / 2000.0;
                PicturePixel {
                    rgb: [v, (v * 7.0).fract(), (v * 13.0).fract()],
                    skin: false,
                }
            })
            .collect();
        let skin = (0..500)
            .map(|i| {
                let v = 0.9 + 0.2 * (i as f32 / 500.0);
                [0.65 * v, 0.48 * v, 0.38 * v]
            })
            .collect();
        Problem {
            people: vec![PersonProblem {
                name: "Ana".to_owned(),
                skin,
                aim: Aim::own(),
                ..PersonProblem::default()
            }],
            picture,
            limits: Limits::default(),
            space: WorkingSpace::default(),
            dark_noise: None,
            ..Problem::default()
        }
    }

    /// The slopes worked out against small differences of what the operations themselves give.
    #[test]
    fn slopes_are_those_of_small_differences() {
        let problem = problem();
        let skins = [thinned(&problem.people[0].skin, 3)];
        let fit = Fit::new(&Chain::default(), &skins, &[], problem.space);
        let at = Cdl {
            slope: [1.1, 0.9, 1.05],
            offset: [0.02, -0.3, 0.01],
            power: [0.9, 1.0, 1.2],
            saturation: 1.1,
        };
        for pixel in [[0.6, 0.5, 0.4], [0.02, 0.1, 0.05], [0.9, 0.95, 1.05]] {
            let (lab, slopes) = fit.slopes(&at, pixel);
            let exact = fit.lab.lab(at.apply(pixel));
            assert!((lab.l - exact.l).abs() + (lab.a - exact.a).abs() < 1e-9);
            for i in 0..PARAMETERS {
                let mut moved = [parameters(&at); 2];
                moved[0][i] -= 1e-6;
                moved[1][i] += 1e-6;
                let [below, above] = moved.map(|p| fit.lab.lab(cdl(&p).apply(pixel)));
                let pairs = [
                    (above.l - below.l, slopes[0][i]),
                    (above.a - below.a, slopes[1][i]),
                    (above.b - below.b, slopes[2][i]),
                ];
                for (difference, slope) in pairs {
                    let difference = difference / 2e-6;
                    assert!(
                        (difference - slope).abs() < 1e-3 * (1.0 + slope.abs()),
                        "{pixel:?} {i}: {difference} {slope}"
                    );
                }
            }
        }
    }

    #[test]
    fn one_cdl_is_itself() {
        let cdl = Cdl {
            slope: [1.1, 1.0, 0.9],
            ..Cdl::NEUTRAL
        };
        let nearest = nearest_cdl(&[Op::Cdl(cdl)], &problem());
        assert!(nearest.exact);
        assert_eq!(nearest.cdl, cdl);
        assert_eq!(nearest_cdl(&[], &problem()).cdl, Cdl::NEUTRAL);
    }

    #[test]
    fn a_cdl_that_is_hidden_is_found() {
        // Two CDLs that a third one does exactly, though not by the rule that joins them.
        let first = Cdl {
            slope: [1.2, 1.05, 0.9],
            saturation: 0.8,
            ..Cdl::NEUTRAL
        };
        let second = Cdl {
            slope: [1.1; 3],
            ..Cdl::NEUTRAL
        };
        assert!(first.then(&second).is_none());
        let nearest = nearest_cdl(&[Op::Cdl(first), Op::Cdl(second)], &problem());
        assert!(!nearest.exact);
        assert!(nearest.skin_de00 < 0.01, "{nearest:?}");
        assert!(nearest.picture_de00_p95 < 0.05, "{nearest:?}");
    }

    #[test]
    fn a_roll_off_is_named_and_skin_comes_first() {
        let gain = Cdl {
            slope: [1.35; 3],
            ..Cdl::NEUTRAL
        };
        let shoulder = Shoulder::per_channel([0.95; 3], [1.35; 3], [1.0; 3]);
        let nearest = nearest_cdl(&[Op::Cdl(gain), Op::Shoulder(shoulder)], &problem());
        assert!(!nearest.exact);
        assert_eq!(nearest.missing, "the roll-off of the lights");
        assert!(nearest.skin_de00 < nearest.picture_de00_p95, "{nearest:?}");
        assert_eq!(
            nearest,
            nearest_cdl(&[Op::Cdl(gain), Op::Shoulder(shoulder)], &problem())
        );
    }
}
