//! The optimisation behind a reach, as data, with our answer: to be solved again by another program.

use serde::Serialize;

use crate::evidence::Evidence;
use crate::joint::believe_of;
use crate::limits::Limits;
use crate::model::{Logged, Parameters};
use crate::objective::Objective;
use crate::problem::{Problem, ProblemError};
use crate::sample::Ready;
use crate::solution::Reach;
use crate::solve::{best_within_limits, family_of, objective_of, targets_of};

/// One person of an [`Audit`].
#[derive(Clone, Debug, Serialize)]
pub struct AuditPerson {
    /// The skin pixels that the optimiser sees, R'G'B'.
    pub pixels: Vec<[f64; 3]>,
    /// All skin pixels, which decide about the limit on new clipping.
    pub all: Vec<[f64; 3]>,
    /// Y', Cb, Cr to be added to their trimmed means.
    pub offset: [f64; 3],
    /// The trimmed means of all pixels in the source: Y', Cb, Cr.
    pub before: [f64; 3],
    /// Colours of the tone curve over the skin's range.
    pub ramp: Vec<[f64; 3]>,
    /// Colours of the tone curve above it.
    pub upper: Vec<[f64; 3]>,
    /// CIELAB of the centre.
    pub centre: [f64; 3],
    /// Typed band of level: low, high, percent.
    pub level: Option<[f64; 2]>,
    /// Typed band of hue: low, high, degrees.
    pub hue: Option<[f64; 2]>,
    /// Width of the aim, CIEDE2000.
    pub width: f64,
}

/// One surface that is neutral or nearly so.
#[derive(Clone, Debug, Serialize)]
pub struct AuditNeutral {
    /// Mean R'G'B' in the source.
    pub mean: [f64; 3],
    /// Share among them, times the probability of being one.
    pub share: f64,
    /// Chromaticity (ln R/G, ln B/G) in linear light that it is expected to have.
    pub expected: [f64; 2],
    /// CIELAB of it at the surface's luma in the source.
    pub wanted: [f64; 3],
}

/// The optimisation behind a reach, with our answer.
#[derive(Clone, Debug, Serialize)]
pub struct Audit {
    /// Which reach.
    pub reach: Reach,
    /// Whether the source has blown areas, whose white is anchored in every channel.
    pub has_blown: bool,
    /// Our parameters.
    pub parameters: [f64; 5],
    /// Our value of the objective, without limits.
    pub cost: f64,
    /// Each limit with what it is overstepped by at our parameters, on the pixels that the optimiser sees and on all.
    pub excess: Vec<(String, f64, f64)>,
    /// Everybody.
    pub people: Vec<AuditPerson>,
    /// Neutral and nearly neutral surfaces.
    pub neutrals: Vec<AuditNeutral>,
    /// How sure the neutrals are.
    pub neutral_confidence: f64,
    /// Picture pixels that the optimiser sees.
    pub few: Vec<[f64; 3]>,
    /// All picture pixels, which decide about the limit on new clipping.
    pub picture: Vec<[f64; 3]>,
    /// Pixels that the noise gain is taken from.
    pub dark: Vec<[f64; 3]>,
    /// Colours that the gap between codes is taken at.
    pub levels: Vec<[f64; 3]>,
    /// Blown pixels.
    pub blown: Vec<[f64; 3]>,
    /// Their soft edges, and areas nearly blown.
    pub edges: Vec<[f64; 3]>,
    /// The limits.
    pub limits: Limits,
}

/// Solves one reach and lays the optimisation open.
///
/// # Errors
/// As [`crate::solve()`].
pub fn audit(problem: &Problem, reach: Reach) -> Result<Audit, ProblemError> {
    let evidence = [Evidence::new(problem)];
    let belief = believe_of(std::slice::from_ref(problem), &evidence)
        .pop()
        .unwrap_or(Err(ProblemError::NoPeople))?;
    let [evidence] = evidence;
    let ready = Ready::new(problem, evidence?, &belief);
    let targets = targets_of(problem, &ready, &belief);
    let objective = objective_of(problem, &ready, &targets, family_of(&ready, reach));
    let p = best_within_limits(&objective);
    Ok(laid_open(&objective, &p))
}

fn colours(list: &[Logged]) -> Vec<[f64; 3]> {
    list.iter().map(|p| p.rgb).collect()
}

fn laid_open(objective: &Objective<'_>, p: &Parameters) -> Audit {
    let ready = objective.ready;
    let mut objective = objective.clone();
    objective.look_about(p);
    let (state, _, _) = objective.glance(p);
    let (thorough, _) = objective.state(p);
    let people = ready
        .people
        .iter()
        .zip(objective.targets)
        .map(|(set, target)| {
            let lab = target.centre.lab;
            let band = |want| match want {
                crate::aim::Want::Band(b) => Some([b.low, b.high]),
                _ => None,
            };
            AuditPerson {
                pixels: colours(&set.few),
                all: colours(&set.pixels),
                offset: [set.few_off.y, set.few_off.cb, set.few_off.cr],
                before: [
                    set.before.level.signal(),
                    set.before.chroma.cb,
                    set.before.chroma.cr,
                ],
                ramp: colours(&set.ramp),
                upper: colours(&set.upper),
                centre: [lab.l, lab.a, lab.b],
                level: band(target.aim.level),
                hue: band(target.aim.hue),
                width: target.aim.width,
            }
        })
        .collect();
    Audit {
        reach: objective.family.reach,
        has_blown: objective.family.blown,
        parameters: *p,
        cost: objective.cost(p, 0.0),
        excess: state
            .excess
            .iter()
            .zip(thorough.excess)
            .map(|((limit, few), (_, all))| (format!("{limit:?}"), *few, all))
            .collect(),
        people,
        neutrals: ready
            .neutrals
            .iter()
            .map(|g| AuditNeutral {
                mean: g.mean,
                share: g.share,
                expected: g.expected.into(),
                wanted: [g.l, g.wanted.x, g.wanted.y],
            })
            .collect(),
        neutral_confidence: ready.light.neutral.map_or(0.0, |n| n.confidence),
        few: colours(&ready.few),
        picture: colours(&ready.picture),
        dark: ready.dark.clone(),
        levels: ready.levels.clone(),
        blown: ready.blown.clone(),
        edges: ready.edges.clone(),
        limits: objective.limits,
    }
}
