//! What a white, the surfaces and the skin of a picture say together.
//!
//! A state is a white (one of the surfaces taken for neutral, or for nearly neutral, or nothing taken for either; or the
//! picture right as it is) in one light of the table. Each predicts the skin of everybody in the picture; its weight is
//! how well it does.

use nalgebra::{Matrix2, Vector2};

use super::surfaces::Surface;
use super::table::{Light, lights, population};
use super::{Gaussian, LIGHT_SPREAD};

/// How the surfaces of the world are spread about the white, and how often a shot is right as it is.
///
/// Chosen on the generated scenes set apart for tuning.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Prior {
    /// Share of surfaces that are neutral, and their standard deviation in ln.
    pub(crate) neutral: (f64, f64),
    /// Share of nearly neutral ones, their mean (cream is commoner than slate) and standard deviations.
    pub(crate) nearly: (f64, Vector2<f64>, Vector2<f64>),
    /// Mean and standard deviations of coloured ones.
    pub(crate) coloured: (Vector2<f64>, Vector2<f64>),
    /// What a surface's share of the picture says for its being neutral: its power.
    pub(crate) share: f64,
    /// Probability of daylight of any phase where a shot is not right as it is.
    pub(crate) daylight: f64,
    /// Probability that a shot is balanced, in daylight, before anything is seen of it.
    pub(crate) right: f64,
    /// What each further surface counts: one wall in light and in shade is not two witnesses.
    pub(crate) others: f64,
}

impl Default for Prior {
    fn default() -> Self {
        Self {
            neutral: (0.155, 0.014),
            nearly: (0.08, Vector2::new(0.011, 0.008), Vector2::new(0.065, 0.053)),
            coloured: (Vector2::new(0.13, 0.03), Vector2::new(1.35, 0.82)),
            share: 0.5,
            daylight: 0.6,
            right: 0.3,
            others: 0.845,
        }
    }
}

/// Standard deviation of the white of a shot that is right as it is.
const RIGHT: f64 = 0.02;

/// What a state takes for the white.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// This surface is neutral.
    Neutral(usize),
    /// This surface is nearly neutral.
    Nearly(usize),
    /// Nothing in the picture is.
    Nothing,
    /// The picture is right as it is.
    Right,
}

/// A white, and where it came from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct White {
    pub(crate) kind: Kind,
    pub(crate) mean: Vector2<f64>,
    pub(crate) variance: Vector2<f64>,
    pub(crate) log_weight: f64,
}

/// A white in a light.
pub(crate) struct State {
    kind: Kind,
    log_weight: f64,
    white: Vector2<f64>,
    white_variance: Vector2<f64>,
    /// `None`: daylight, balanced.
    light: Option<&'static Light>,
}

fn log_normal(off: Vector2<f64>, variance: Vector2<f64>) -> f64 {
    -0.5 * (off.x * off.x / variance.x + off.y * off.y / variance.y)
        - 0.5 * (variance.x * variance.y).ln()
        - (2.0 * std::f64::consts::PI).ln()
}

fn squared(v: Vector2<f64>) -> Vector2<f64> {
    v.component_mul(&v)
}

fn added(variance: Vector2<f64>, to: f64) -> Vector2<f64> {
    variance.add_scalar(to)
}

fn log_sum(terms: [f64; 3]) -> f64 {
    let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    top + terms.iter().map(|t| (t - top).exp()).sum::<f64>().ln()
}

/// ln density of a surface under a white of that mean and variance.
fn surface_density(
    at: Vector2<f64>,
    white: Vector2<f64>,
    variance: Vector2<f64>,
    prior: &Prior,
) -> f64 {
    let off = at - white;
    let (nearly, lean, spread) = prior.nearly;
    let (middle, wide) = prior.coloured;
    log_sum([
        prior.neutral.0.ln() + log_normal(off, added(variance, prior.neutral.1.powi(2))),
        nearly.ln() + log_normal(off - lean, variance + squared(spread)),
        (1.0 - prior.neutral.0 - nearly).ln() + log_normal(off - middle, variance + squared(wide)),
    ])
}

/// Probability that a surface is neutral or nearly so, with the white as it was found.
pub(crate) fn near_neutral(at: Vector2<f64>, found: &Posterior, prior: &Prior) -> f64 {
    let (white, covariance) = found.white;
    let variance = Vector2::new(covariance[(0, 0)], covariance[(1, 1)]);
    let (nearly, _, _) = prior.nearly;
    let (middle, wide) = prior.coloured;
    let all = surface_density(at, white, variance, prior);
    let coloured = (1.0 - prior.neutral.0 - nearly).ln()
        + log_normal(at - white - middle, variance + squared(wide));
    1.0 - (coloured - all).exp()
}

/// The whites that surfaces offer.
pub(crate) fn whites(surfaces: &[Surface], prior: &Prior) -> Vec<White> {
    let others = |skip: usize, mean, variance| -> f64 {
        surfaces
            .iter()
            .enumerate()
            .filter(|(i, _)| *i != skip)
            .map(|(_, s)| surface_density(s.at, mean, variance, prior))
            .sum::<f64>()
            * prior.others
    };
    let mut found = Vec::with_capacity(2 * surfaces.len());
    for (i, surface) in surfaces.iter().enumerate() {
        let size = prior.share * (surface.share / 0.1).ln();
        let mut add = |kind, share: f64, lean: Vector2<f64>, variance: Vector2<f64>| {
            let mean = surface.at - lean;
            found.push(White {
                kind,
                mean,
                variance,
                log_weight: share.ln() + size + others(i, mean, variance),
            });
        };
        let (share, spread) = prior.neutral;
        add(
            Kind::Neutral(i),
            share,
            Vector2::zeros(),
            Vector2::repeat(spread * spread),
        );
        let (share, lean, spread) = prior.nearly;
        add(Kind::Nearly(i), share, lean, squared(spread));
    }
    found
}

/// How much less likely than the likeliest a state may be, before skin is looked at, to be kept: ln.
const KEPT: f64 = 14.0;

/// Every white in every light that goes with it at all.
pub(crate) fn states(
    whites: &[White],
    surfaces: &[Surface],
    excluded: &[String],
    prior: &Prior,
) -> Vec<State> {
    let own = LIGHT_SPREAD * LIGHT_SPREAD;
    let lights = lights(excluded, prior.daylight);
    let any = (1.0 - prior.right).ln();
    let mut all = Vec::new();
    for white in whites {
        for (light, probability) in &lights {
            let sum = added(white.variance, own);
            let trust = white.variance.component_div(&sum);
            all.push(State {
                kind: white.kind,
                log_weight: white.log_weight
                    + any
                    + probability
                    + log_normal(white.mean - light.white, sum),
                white: white.mean + (light.white - white.mean).component_mul(&trust),
                white_variance: trust * own,
                light: Some(light),
            });
        }
    }
    let (middle, wide) = prior.coloured;
    let coloured = (1.0 - prior.neutral.0 - prior.nearly.0).ln();
    // One surface counts in full, as where one is taken for the white.
    let count = surfaces.len() as f64;
    let counted = (1.0 + (count - 1.0) * prior.others) / count.max(1.0);
    for (light, probability) in &lights {
        let evidence: f64 = surfaces
            .iter()
            .map(|s| coloured + log_normal(s.at - light.white - middle, added(squared(wide), own)))
            .sum::<f64>()
            * counted;
        all.push(State {
            kind: Kind::Nothing,
            log_weight: any + probability + evidence,
            white: light.white,
            white_variance: Vector2::repeat(own),
            light: Some(light),
        });
    }
    if prior.right > 0.0 {
        let variance = Vector2::repeat(RIGHT * RIGHT);
        let evidence: f64 = surfaces
            .iter()
            .map(|s| surface_density(s.at, Vector2::zeros(), variance, prior))
            .sum::<f64>()
            * counted;
        all.push(State {
            kind: Kind::Right,
            log_weight: prior.right.ln() + evidence,
            white: Vector2::zeros(),
            white_variance: variance,
            light: None,
        });
    }
    let top = all
        .iter()
        .map(|s| s.log_weight)
        .fold(f64::NEG_INFINITY, f64::max);
    // Skin can speak loudly for a light that surfaces do not, but not that loudly; nothing neutral and right as it is
    // are always heard.
    all.retain(|s| s.log_weight > top - KEPT || matches!(s.kind, Kind::Nothing | Kind::Right));
    all
}

impl State {
    #[cfg(test)]
    pub(crate) fn kind(&self) -> Kind {
        self.kind
    }

    /// Whether it takes the picture to be right as it is.
    pub(crate) fn is_right(&self) -> bool {
        self.kind == Kind::Right
    }

    /// ln density of somebody's skin in this state, and the skin under D65 given both.
    fn conditional(&self, raw: Vector2<f64>, (mean, spread): &Gaussian) -> (f64, Gaussian) {
        let white = Matrix2::from_diagonal(&self.white_variance);
        let noise = 0.02 * 0.02 + 0.04 * 0.04 * self.white.norm_squared();
        let (follow, residual, rest) = match self.light {
            Some(light) => {
                let follow = light.follow;
                let expected = light.skin + follow * (mean - population().0);
                (follow, raw - self.white - expected, light.rest)
            }
            None => (
                Matrix2::identity(),
                raw - self.white - mean,
                Matrix2::zeros(),
            ),
        };
        let cross = spread * follow.transpose();
        let a = rest + follow * cross + white + Matrix2::identity() * noise;
        // Symmetric and positive: covariances plus a positive noise.
        let inverse = a.try_inverse().unwrap_or_else(Matrix2::identity);
        let density = -0.5 * (residual.transpose() * inverse * residual)[0]
            - 0.5 * a.determinant().ln()
            - (2.0 * std::f64::consts::PI).ln();
        let gain = cross * inverse;
        (
            density,
            (mean + gain * residual, spread - gain * cross.transpose()),
        )
    }
}

/// What is known after everything was looked at.
#[derive(Clone, Debug)]
pub(crate) struct Posterior {
    /// Each person's skin under D65.
    pub(crate) skin: Vec<Gaussian>,
    /// The white.
    pub(crate) white: Gaussian,
    /// Probability of each surface being neutral or nearly so, and being what the white is taken from.
    pub(crate) surfaces: Vec<f64>,
    /// Probability that nothing in the picture is neutral or nearly so.
    pub(crate) nothing: f64,
    /// Probability that the picture is right as it is.
    pub(crate) right: f64,
}

struct Moments {
    weight: f64,
    mean: Vector2<f64>,
    square: Matrix2<f64>,
}

impl Moments {
    fn new() -> Self {
        Self {
            weight: 0.0,
            mean: Vector2::zeros(),
            square: Matrix2::zeros(),
        }
    }

    fn add(&mut self, weight: f64, (mean, covariance): Gaussian) {
        self.weight += weight;
        self.mean += mean * weight;
        self.square += (covariance + mean * mean.transpose()) * weight;
    }

    fn done(&self) -> Gaussian {
        let mean = self.mean / self.weight;
        (mean, self.square / self.weight - mean * mean.transpose())
    }
}

/// Weighs all states by everybody's skin. `known`: what is known of each person beforehand.
pub(crate) fn posterior(
    states: &[State],
    raws: &[Vector2<f64>],
    known: &[Gaussian],
    surfaces: usize,
) -> Posterior {
    let mut people = Vec::with_capacity(states.len() * raws.len());
    let mut logs = Vec::with_capacity(states.len());
    for state in states {
        let mut log = state.log_weight;
        for (raw, known) in raws.iter().zip(known) {
            let (density, at) = state.conditional(*raw, known);
            log += density;
            people.push(at);
        }
        logs.push(log);
    }
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = logs.iter().map(|l| (l - top).exp()).sum();
    let mut skin: Vec<Moments> = raws.iter().map(|_| Moments::new()).collect();
    let mut white = Moments::new();
    let mut found = Posterior {
        skin: Vec::new(),
        white: (Vector2::zeros(), Matrix2::zeros()),
        surfaces: vec![0.0; surfaces],
        nothing: 0.0,
        right: 0.0,
    };
    for (n, (state, log)) in states.iter().zip(&logs).enumerate() {
        let weight = (log - top).exp() / total;
        if weight < 1e-9 {
            continue;
        }
        for (i, moments) in skin.iter_mut().enumerate() {
            moments.add(weight, people[n * raws.len() + i]);
        }
        white.add(
            weight,
            (state.white, Matrix2::from_diagonal(&state.white_variance)),
        );
        match state.kind {
            Kind::Neutral(i) | Kind::Nearly(i) => found.surfaces[i] += weight,
            Kind::Nothing => found.nothing += weight,
            Kind::Right => found.right += weight,
        }
    }
    found.skin = skin.iter().map(Moments::done).collect();
    found.white = white.done();
    found
}
