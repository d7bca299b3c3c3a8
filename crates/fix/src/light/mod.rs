//! The light of a picture, from surfaces that look neutral and from skin together.
//!
//! Skin is no grey card: a light with another spectrum than daylight leaves skin off even when a card is perfectly
//! balanced. `data/skin_light.csv` says by how much for 127 lights. With it, every hypothesis about the light predicts
//! both the neutrals and the skin, and the skin under D65 follows as a posterior mean over all of them (`posterior`).
//!
//! Chromaticities here are (ln R/G, ln B/G) in linear BT.709.

use inkarnat_color::matrix::{inverse, product, transform};
use inkarnat_color::transfer::bt709_oetf_inverse;
use inkarnat_color::{Primaries, WorkingSpace};
use nalgebra::{Matrix2, Vector2};
use serde::{Deserialize, Serialize};

pub(crate) mod posterior;
pub(crate) mod surfaces;
pub(crate) mod table;

use crate::tint::Tint;
use posterior::{Posterior, Prior, near_neutral};
use surfaces::Surface;

/// Spread of one kind of light about its row of the table (standard deviation of ln).
const LIGHT_SPREAD: f64 = 0.15;
/// A shot is taken to be right as it is where that is more likely than the first figure, or where it cannot be put aside (more likely
/// than the second figure) and the white found lies within so many standard deviations of no cast: no correction rather
/// than a harmful one.
///
/// On the generated scenes set apart for tuning this touches none of the good shots (one half alone: 17 %), and leaves the
/// others further off by 0.06 CIEDE2000 in the mean where a true neutral is in the picture and by 0.35 where nothing is.
const TAKEN_FOR_RIGHT: (f64, f64, f64) = (0.8, 0.07, 2.0);

/// Mean and covariance of a chromaticity.
pub(crate) type Gaussian = (Vector2<f64>, Matrix2<f64>);

/// Surfaces that look neutral once the cast is undone.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct NeutralEstimate {
    /// Chromaticity (ln R/G, ln B/G) in linear BT.709 that a white has in the source; 0, 0 = no cast.
    pub cast: [f64; 2],
    /// Share of the usable picture pixels that look neutral or nearly so under it, 0–1.
    pub share: f64,
    /// Probability that something in the picture is neutral or nearly so, 0–1.
    pub confidence: f64,
}

/// The white of a shot, as all evidence has it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WhiteEstimate {
    /// Chromaticity (ln R/G, ln B/G) of a white in the source; 0, 0 = no cast.
    pub cast: [f64; 2],
    /// Covariance of it: rr, rb, bb.
    pub covariance: [f64; 3],
    /// Probability that something in the picture is neutral or nearly so, 0–1.
    pub neutral: f64,
    /// Probability that the shot is right as it is: daylight, balanced.
    pub right: f64,
    /// Surface colours of the source: chromaticity, share of the usable pixels, probability of being neutral or nearly so.
    pub surfaces: Vec<([f64; 2], f64, f64)>,
}

impl WhiteEstimate {
    pub(crate) fn new(posterior: &Posterior, surfaces: &[Surface]) -> Self {
        let (mean, covariance) = posterior.white;
        let prior = Prior::default();
        Self {
            cast: [mean.x, mean.y],
            covariance: [covariance[(0, 0)], covariance[(0, 1)], covariance[(1, 1)]],
            neutral: 1.0 - posterior.nothing,
            right: posterior.right,
            surfaces: surfaces
                .iter()
                .map(|s| {
                    let near = near_neutral(s.at, posterior, &prior);
                    ([s.at.x, s.at.y], s.share, near)
                })
                .collect(),
        }
    }

    /// Whether the shot is taken to be right as it is.
    #[must_use]
    pub fn is_right(&self) -> bool {
        let (likely, possible, near) = TAKEN_FOR_RIGHT;
        // A hundredth of ln: what a reading of a white is good for at best.
        let squares =
            (0..2).map(|c| self.cast[c].powi(2) / (self.covariance[2 * c] + 0.01f64.powi(2)));
        self.right >= likely || (self.right >= possible && squares.sum::<f64>().sqrt() < near)
    }

    /// The neutrals, where there are some more likely than not.
    #[must_use]
    pub fn neutrals(&self) -> Option<NeutralEstimate> {
        let share: f64 = self
            .surfaces
            .iter()
            .map(|(_, share, near)| share * near)
            .sum();
        (self.neutral >= 0.5 && self.surfaces.iter().any(|s| s.2 >= 0.5)).then_some(
            NeutralEstimate {
                cast: self.cast,
                share: share.min(1.0),
                confidence: self.neutral,
            },
        )
    }
}

/// What is known about the light of a shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LightEstimate {
    /// Near-neutral surfaces, where some were found with a confidence of at least one half.
    pub neutral: Option<NeutralEstimate>,
    /// The white, whatever it was taken from.
    pub white: WhiteEstimate,
    /// Each person's skin under D65: chromaticity (ln R/G, ln B/G) in linear BT.709.
    pub skin: Vec<SkinEstimate>,
    /// The tint of the scene that is kept: neutral surfaces and skin are expected to have it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tint: Option<Tint>,
}

impl LightEstimate {
    /// Chromaticity that a white is meant to have in the result.
    pub(crate) fn wanted(&self) -> Vector2<f64> {
        match (self.tint, self.neutral) {
            (Some(tint), Some(neutral)) if tint.agrees => {
                Vector2::new(neutral.cast[0], neutral.cast[1])
            }
            (Some(tint), _) => Vector2::new(tint.cast[0], tint.cast[1]),
            (None, _) => Vector2::zeros(),
        }
    }
}

/// A person's skin under D65.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SkinEstimate {
    /// (ln R/G, ln B/G).
    pub chromaticity: [f64; 2],
    /// Covariance of it: rr, rb, bb.
    pub covariance: [f64; 3],
}

impl From<&Gaussian> for SkinEstimate {
    fn from((mean, covariance): &Gaussian) -> Self {
        Self {
            chromaticity: [mean.x, mean.y],
            covariance: [covariance[(0, 0)], covariance[(0, 1)], covariance[(1, 1)]],
        }
    }
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

#[cfg(test)]
mod tests {
    use super::posterior::{Kind, White, posterior, states};
    use super::table::population;
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
        let rows: Vec<Vec<&str>> = include_str!("../../data/skin_light_vectors.csv")
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
            // A white that is known, and the recipe's own prior: nothing about shots that are right.
            let known = White {
                kind: Kind::Neutral(0),
                mean: white,
                variance: Vector2::zeros(),
                log_weight: 0.0,
            };
            let prior = Prior {
                // What the table itself says.
                daylight: 0.335_353_46,
                right: 0.0,
                ..Prior::default()
            };
            let states: Vec<_> = states(&[known], &[], &[], &prior)
                .into_iter()
                .filter(|s| s.kind() != Kind::Nothing)
                .collect();
            let found = posterior(&states, &people, &vec![population(); people.len()], 1);
            for (row, found) in rows.iter().zip(&found.skin) {
                let (mean, covariance) = found;
                for (got, want) in [
                    (mean.x, number(row, 7)),
                    (mean.y, number(row, 8)),
                    (covariance[(0, 0)], number(row, 9)),
                    (covariance[(0, 1)], number(row, 10)),
                    (covariance[(1, 1)], number(row, 11)),
                ] {
                    // Six printed digits in the table and in the vectors.
                    assert!((got - want).abs() < 5e-5, "case {case}: {got} {want}");
                }
            }
        }
    }
}
