//! The light of a picture, from surfaces that look neutral and from skin together.
//!
//! Skin is no grey card: a light with another spectrum than daylight leaves skin off even when a card is perfectly
//! balanced. `data/skin_light.csv` says by how much for 127 lights. With it, every hypothesis about the light predicts
//! both the neutrals and the skin, and the skin under D65 follows as a posterior mean over all lights
//! (`skin_under_d65`).
//!
//! Chromaticities here are (ln R/G, ln B/G) in linear BT.709.

use std::sync::OnceLock;

use inkarnat_color::matrix::{inverse, product, transform};
use inkarnat_color::transfer::bt709_oetf_inverse;
use inkarnat_color::{Primaries, WorkingSpace};
use nalgebra::{Matrix2, Vector2};
use serde::{Deserialize, Serialize};

/// Spread of one kind of light about its row of the table (standard deviation of ln).
const LIGHT_SPREAD: f64 = 0.15;

struct Light {
    log_prior: f64,
    white: Vector2<f64>,
    skin: Vector2<f64>,
    skin_covariance: Matrix2<f64>,
    /// cov(skin under D65, balanced skin in this light).
    cross: Matrix2<f64>,
}

fn table() -> &'static [Light] {
    static TABLE: OnceLock<Vec<Light>> = OnceLock::new();
    TABLE.get_or_init(|| {
        include_str!("../data/skin_light.csv")
            .lines()
            .filter(|line| !line.starts_with('#'))
            .skip(1)
            .map(|line| {
                let v: Vec<f64> = line
                    .rsplit(',')
                    .take(12)
                    .map(|field| field.parse().expect("the table holds numbers"))
                    .collect();
                // Read from the right: light names may one day hold a comma.
                let at = |column: usize| v[11 - column];
                Light {
                    log_prior: at(0),
                    white: Vector2::new(at(1), at(2)),
                    skin: Vector2::new(at(3), at(4)),
                    skin_covariance: Matrix2::new(at(5), at(6), at(6), at(7)),
                    cross: Matrix2::new(at(8), at(9), at(10), at(11)),
                }
            })
            .collect()
    })
}

/// Mean and covariance of a chromaticity.
type Gaussian = (Vector2<f64>, Matrix2<f64>);

/// Mean chromaticity of facial skin under D65 and its covariance (header of `data/skin_light.csv`).
fn population() -> Gaussian {
    (
        Vector2::new(0.569_487, -0.369_114),
        Matrix2::new(0.008_597, -0.001_487, -0.001_487, 0.011_652),
    )
}

/// Surfaces that look neutral once the cast is undone.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct NeutralEstimate {
    /// Chromaticity (ln R/G, ln B/G) in linear BT.709 that they have in the source; 0, 0 = no cast.
    pub cast: [f64; 2],
    /// Share of the usable picture pixels that lie there, 0–1.
    pub share: f64,
    /// Probability that they are neutral, 0–1, against other candidates and against there being none.
    pub confidence: f64,
}

/// What is known about the light of a shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LightEstimate {
    /// Near-neutral surfaces, where some were found with a confidence of at least one half.
    pub neutral: Option<NeutralEstimate>,
    /// Each person's skin under D65: chromaticity (ln R/G, ln B/G) in linear BT.709.
    pub skin: Vec<SkinEstimate>,
}

/// A person's skin under D65.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SkinEstimate {
    /// (ln R/G, ln B/G).
    pub chromaticity: [f64; 2],
    /// Covariance of it: rr, rb, bb.
    pub covariance: [f64; 3],
}

/// Linear BT.709 of a working signal.
#[must_use]
pub fn linear709(signal: [f64; 3], space: WorkingSpace) -> [f64; 3] {
    let light = signal.map(bt709_oetf_inverse);
    if space.primaries == Primaries::Bt709 {
        return light;
    }
    match inverse(&Primaries::Bt709.xyz_from_rgb()) {
        Some(to_709) => transform(&product(&to_709, &space.primaries.xyz_from_rgb()), light),
        None => light,
    }
}

/// Linear light in the primaries of the working space, from linear BT.709.
pub(crate) fn working_from_linear709(linear: [f64; 3], space: WorkingSpace) -> [f64; 3] {
    if space.primaries == Primaries::Bt709 {
        return linear;
    }
    match inverse(&space.primaries.xyz_from_rgb()) {
        Some(to_working) => transform(
            &product(&to_working, &Primaries::Bt709.xyz_from_rgb()),
            linear,
        ),
        None => linear,
    }
}

/// (ln R/G, ln B/G) of linear light; tiny and negative values are lifted to 1e-5.
pub(crate) fn log_ratios([r, g, b]: [f64; 3]) -> Vector2<f64> {
    let ln = |v: f64| v.max(1e-5).ln();
    Vector2::new(ln(r) - ln(g), ln(b) - ln(g))
}

/// [`log_ratios`] of [`linear709`], without the detour through linear light where the primaries allow it.
pub(crate) fn log_ratios_of(signal: [f64; 3], space: WorkingSpace) -> Vector2<f64> {
    if space.primaries != Primaries::Bt709 {
        return log_ratios(linear709(signal, space));
    }
    let [r, g, b] = signal.map(|v| {
        // The curved part of the inverse of BT.709-6 item 1.2 is a power: its logarithm is a factor.
        if v >= 4.5 * 0.018 {
            ((v + 0.099) / 1.099).ln() / 0.45
        } else {
            (v / 4.5).max(1e-5).ln()
        }
    });
    Vector2::new(r - g, b - g)
}

/// Skin under D65 as a posterior over all lights of the table.
///
/// `white`: chromaticity of the white (`None`: unknown). `white_doubt`: its standard deviation. `people`: chromaticity
/// of each person's skin in the source, not balanced.
#[must_use]
pub(crate) fn skin_under_d65(
    white: Option<Vector2<f64>>,
    white_doubt: f64,
    people: &[Vector2<f64>],
) -> Vec<SkinEstimate> {
    let states: Vec<(f64, Vec<Gaussian>)> = table()
        .iter()
        .map(|light| {
            let mut log_weight = log_prior(light, white, white_doubt);
            let each = people
                .iter()
                .map(|raw| {
                    let (density, mean, covariance) = conditional(light, white, white_doubt, *raw);
                    log_weight += density;
                    (mean, covariance)
                })
                .collect();
            (log_weight, each)
        })
        .collect();
    let top = states.iter().map(|s| s.0).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = states.iter().map(|s| (s.0 - top).exp()).sum();
    (0..people.len())
        .map(|i| {
            let weight = |s: &(f64, _)| (s.0 - top).exp() / total;
            let mean: Vector2<f64> = states.iter().map(|s| s.1[i].0 * weight(s)).sum();
            let covariance: Matrix2<f64> = states
                .iter()
                .map(|s| {
                    let off = s.1[i].0 - mean;
                    (s.1[i].1 + off * off.transpose()) * weight(s)
                })
                .sum();
            SkinEstimate {
                chromaticity: [mean.x, mean.y],
                covariance: [covariance[(0, 0)], covariance[(0, 1)], covariance[(1, 1)]],
            }
        })
        .collect()
}

/// ln of the evidence for a white at `white`, with these people.
fn log_evidence(white: Option<Vector2<f64>>, white_doubt: f64, people: &[Vector2<f64>]) -> f64 {
    let logs: Vec<f64> = table()
        .iter()
        .map(|light| {
            log_prior(light, white, white_doubt)
                + people
                    .iter()
                    .map(|raw| conditional(light, white, white_doubt, *raw).0)
                    .sum::<f64>()
        })
        .collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    top + logs.iter().map(|l| (l - top).exp()).sum::<f64>().ln()
}

fn log_prior(light: &Light, white: Option<Vector2<f64>>, white_doubt: f64) -> f64 {
    let variance = LIGHT_SPREAD * LIGHT_SPREAD + white_doubt * white_doubt;
    light.log_prior
        + white.map_or(0.0, |n| {
            -(n - light.white).norm_squared() / (2.0 * variance) - variance.ln()
        })
}

/// ln density of a person's skin given this light, and the skin under D65 given both.
fn conditional(
    light: &Light,
    white: Option<Vector2<f64>>,
    white_doubt: f64,
    raw: Vector2<f64>,
) -> (f64, Vector2<f64>, Matrix2<f64>) {
    let own = LIGHT_SPREAD * LIGHT_SPREAD;
    let (residual, noise) = match white {
        Some(n) => {
            let doubt = own * white_doubt * white_doubt / (own + white_doubt * white_doubt);
            let trust = doubt / own;
            (
                raw - n - light.skin - (light.white - n) * trust,
                0.02 * 0.02 + (0.04 * n.norm()).powi(2) + doubt,
            )
        }
        // Without a white, the light's own spread stands for it.
        None => (
            raw - light.white - light.skin,
            0.02 * 0.02 + (0.04 * light.white.norm()).powi(2) + own,
        ),
    };
    let a = light.skin_covariance + Matrix2::identity() * noise;
    // Symmetric and positive: a covariance plus a positive noise.
    let inverse = a.try_inverse().unwrap_or_else(Matrix2::identity);
    let density =
        -0.5 * (residual.transpose() * inverse * residual)[0] - 0.5 * a.determinant().ln();
    let gain = light.cross * inverse;
    let (mean, spread) = population();
    (
        density,
        mean + gain * residual,
        spread - gain * light.cross.transpose(),
    )
}

/// Radius in which pixels count as one surface colour, in ln.
const RADIUS: f64 = 0.07;
/// Least share of the picture that a neutral surface must fill.
const LEAST_SHARE: f64 = 0.01;

/// Finds the white among the colours of a picture; `pixels` are linear BT.709, usable, not skin.
///
/// Candidates are the modes of the chromaticity density. Each is weighed by its share of the picture, by how a light of
/// that colour is likely at all, and by how people's skin would then look; so is the case that nothing here is neutral.
pub(crate) fn find_neutral(
    pixels: &[Vector2<f64>],
    people: &[Vector2<f64>],
) -> Option<NeutralEstimate> {
    if pixels.len() < 32 {
        return None;
    }
    // Area of the plane in which surfaces lie (ln R/G −1…1.5, ln B/G −2…1): the density of a mode that is not white.
    const SURFACES: f64 = 7.5;
    let mut candidates: Vec<(f64, Vector2<f64>, f64)> = modes(pixels)
        .into_iter()
        .filter(|(_, share)| *share >= LEAST_SHARE)
        .map(|(at, share)| {
            let log = 0.5 * share.ln() + log_evidence(Some(at), 0.05, people);
            (log, at, share)
        })
        .collect();
    candidates.sort_by(|a, b| b.0.total_cmp(&a.0));
    let (best, at, share) = *candidates.first()?;
    let none = log_evidence(None, 0.0, people) + (2.0 * std::f64::consts::PI / SURFACES).ln();
    // Modes next to the best one speak for it, not against it.
    let rivals: f64 = candidates
        .iter()
        .filter(|c| (c.1 - at).norm() > 1.5 * RADIUS)
        .map(|c| (c.0 - best).exp())
        .sum();
    let confidence = 1.0 / (1.0 + rivals + (none - best).exp());
    (confidence >= 0.5).then_some(NeutralEstimate {
        cast: [at.x, at.y],
        share,
        confidence,
    })
}

/// Modes of the density with the share of pixels about each, found on a grid and moved to the mean of what is near.
fn modes(pixels: &[Vector2<f64>]) -> Vec<(Vector2<f64>, f64)> {
    const SIZE: usize = 96;
    const STEP: f64 = 0.045;
    let cell = |v: f64, low: f64| {
        let i = (v - low) / STEP;
        (i >= 1.0 && i < (SIZE - 1) as f64).then_some(i as usize)
    };
    let mut counts = vec![0u32; SIZE * SIZE];
    for p in pixels {
        if let (Some(x), Some(y)) = (cell(p.x, -2.0), cell(p.y, -2.8)) {
            counts[y * SIZE + x] += 1;
        }
    }
    let smooth = |x: usize, y: usize| -> u32 {
        (y - 1..=y + 1)
            .flat_map(|y| (x - 1..=x + 1).map(move |x| (x, y)))
            .map(|(i, j)| counts[j * SIZE + i] * if i == x && j == y { 2 } else { 1 })
            .sum()
    };
    let mut peaks: Vec<(u32, usize, usize)> = (1..SIZE - 1)
        .flat_map(|y| (1..SIZE - 1).map(move |x| (x, y)))
        .filter(|(x, y)| counts[y * SIZE + x] > 0)
        .map(|(x, y)| (smooth(x, y), x, y))
        .collect();
    // Highest first; equal heights in the order of the grid.
    peaks.sort_by_key(|p| (std::cmp::Reverse(p.0), p.2, p.1));
    let mut found: Vec<(Vector2<f64>, f64)> = Vec::new();
    for (_, x, y) in peaks {
        let start = Vector2::new(
            -2.0 + (x as f64 + 0.5) * STEP,
            -2.8 + (y as f64 + 0.5) * STEP,
        );
        if found.len() == 8 || found.iter().any(|f| (f.0 - start).norm() < 2.0 * RADIUS) {
            if found.len() == 8 {
                break;
            }
            continue;
        }
        let mut at = start;
        let mut share = 0.0;
        for _ in 0..6 {
            let mut sum = Vector2::zeros();
            let mut count = 0usize;
            for p in pixels {
                if (p - at).norm_squared() < RADIUS * RADIUS {
                    sum += p;
                    count += 1;
                }
            }
            if count == 0 {
                break;
            }
            share = count as f64 / pixels.len() as f64;
            at = sum / count as f64;
        }
        if share > 0.0 && !found.iter().any(|f| (f.0 - at).norm() < RADIUS) {
            found.push((at, share));
        }
    }
    found
}

/// Whether a chromaticity counts as one of the neutrals with that cast.
pub(crate) fn is_neutral(at: Vector2<f64>, neutral: &NeutralEstimate) -> bool {
    (at - Vector2::new(neutral.cast[0], neutral.cast[1])).norm() < 1.5 * RADIUS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ratios_are_the_same_both_ways() {
        let space = WorkingSpace::default();
        for signal in [[0.7, 0.5, 0.3], [0.08, 0.0801, 0.0811], [-0.01, 0.0, 1.05]] {
            let off = log_ratios_of(signal, space) - log_ratios(linear709(signal, space));
            assert!(off.norm() < 1e-12, "{signal:?} {off}");
        }
    }

    /// `data/skin_light_vectors.csv`: computed by an independent program from the same table.
    #[test]
    fn reproduces_the_vectors() {
        let rows: Vec<Vec<&str>> = include_str!("../data/skin_light_vectors.csv")
            .lines()
            .filter(|line| !line.starts_with('#'))
            .skip(1)
            .map(|line| line.split(',').collect())
            .collect();
        let number = |row: &Vec<&str>, i: usize| -> f64 { row[i].parse().unwrap() };
        let mut cases: Vec<&str> = rows.iter().map(|row| row[0]).collect();
        cases.dedup();
        assert_eq!(cases.len(), 7);
        for case in cases {
            let rows: Vec<_> = rows.iter().filter(|row| row[0] == case).collect();
            let white = Vector2::new(number(rows[0], 3), number(rows[0], 4));
            let people: Vec<_> = rows
                .iter()
                .map(|row| white + Vector2::new(number(row, 5), number(row, 6)))
                .collect();
            let found = skin_under_d65(Some(white), 0.0, &people);
            for (row, found) in rows.iter().zip(found) {
                for (i, value) in found
                    .chromaticity
                    .iter()
                    .chain(&found.covariance)
                    .enumerate()
                {
                    // Six printed digits in the table and in the vectors.
                    assert!(
                        (number(row, 7 + i) - value).abs() < 5e-5,
                        "{row:?} {found:?}"
                    );
                }
            }
        }
    }
}
