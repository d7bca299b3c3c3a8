//! What several shots say together: about each person's skin, about the light of each shot, about exposure.
//!
//! A person's skin under D65 is one unknown for the whole film, each problem one witness of it. Every problem's message is
//! reduced to a Gaussian and every problem is looked at again with what the others say, a fixed number of times
//! (expectation propagation). So a person seen in daylight once tells what the other lights do, and through the other
//! people in a shot that reaches those who were never in daylight.

use nalgebra::{Matrix2, Vector2};
use serde::{Deserialize, Serialize};

use crate::evidence::Evidence;
use crate::exposure::Seen;
use crate::light::posterior::{Posterior, Prior, State, posterior, states, whites};
use crate::light::table::population;
use crate::light::{Gaussian, SkinEstimate, WhiteEstimate};
use crate::problem::{Problem, ProblemError};
use crate::tint::Tint;

/// Standard deviation of a face's chromaticity from shot to shot, ln: turned heads, other parts of the face, make-up.
const BETWEEN_SHOTS: f64 = 0.03;
/// Rounds in which every problem hears of every other. On the generated scenes nothing changes after the third.
const ROUNDS: usize = 4;
/// Lightings whose ratios of key to fill differ by no more than this factor are alike.
const LIKE_LIGHTING: f64 = 1.5;

/// How likely a problem must be right as it is, where nothing neutral is in the picture, to be what its people's others
/// agree with.
const RIGHT_WITHOUT_NEUTRALS: f64 = 0.8;

/// What is believed of one person in one problem.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PersonBelief {
    /// Skin under D65.
    pub skin: SkinEstimate,
    /// Level that the person's other shots in this scene and lighting give, percent; the level as shot where none does.
    pub level_pct: f64,
    /// Other problems that speak for the level.
    pub level_support: usize,
    /// Other problems that speak for the colour.
    pub colour_support: usize,
}

/// What is believed of one problem after all were looked at together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Belief {
    /// Everybody, in the order of the problem.
    pub people: Vec<PersonBelief>,
    /// The white.
    pub white: WhiteEstimate,
    /// The tint of the scene, where it is kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tint: Option<Tint>,
    /// What is seen of exposure.
    #[serde(default)]
    pub seen: Seen,
    /// The change of exposure that was accepted, in stops; it is in everybody's level.
    #[serde(default)]
    pub exposure_stops: f64,
}

struct Witness {
    states: Vec<State>,
    surfaces: usize,
    raws: Vec<Vector2<f64>>,
    /// Number of each person in the film.
    who: Vec<usize>,
}

/// A message about one person: precision, and precision times mean.
#[derive(Clone, Copy)]
struct Message(Matrix2<f64>, Vector2<f64>);

impl Message {
    const NOTHING: Self = Self(Matrix2::new(0.0, 0.0, 0.0, 0.0), Vector2::new(0.0, 0.0));

    fn of((mean, covariance): &Gaussian) -> Option<Self> {
        let precision = covariance.try_inverse()?;
        Some(Self(precision, precision * mean))
    }

    fn and(self, other: Self) -> Self {
        Self(self.0 + other.0, self.1 + other.1)
    }

    fn without(self, other: Self) -> Self {
        Self(self.0 - other.0, self.1 - other.1)
    }

    fn gaussian(&self) -> Option<Gaussian> {
        let covariance = self.0.try_inverse()?;
        Some((covariance * self.1, covariance))
    }

    /// With its precision no less than nothing in any direction: what a shot cannot tell, it does not tell.
    fn sensible(self) -> Self {
        let symmetric = (self.0 + self.0.transpose()) / 2.0;
        let eigen = symmetric.symmetric_eigen();
        if eigen.eigenvalues.iter().all(|v| *v > 1e-3) {
            return Self(symmetric, self.1);
        }
        let kept = eigen.eigenvalues.map(|v| v.max(0.0));
        let precision =
            eigen.eigenvectors * Matrix2::from_diagonal(&kept) * eigen.eigenvectors.transpose();
        // The mean stays where the message put it, in the directions of which it says something.
        let share = eigen.eigenvalues.map(|v| if v > 1e-3 { 1.0 } else { 0.0 });
        let along =
            eigen.eigenvectors * Matrix2::from_diagonal(&share) * eigen.eigenvectors.transpose();
        Self(precision, along * self.1)
    }

    /// The same message about a quantity that differs from this one by an independent error of `sd`.
    fn blurred(self, sd: f64) -> Self {
        let spread = Matrix2::identity() + self.0 * (sd * sd);
        // (P⁻¹ + sd² I)⁻¹ = (I + sd² P)⁻¹ P, also where P has no inverse.
        match spread.try_inverse() {
            Some(inverse) => Self(inverse * self.0, inverse * self.1),
            None => Self::NOTHING,
        }
    }
}

/// Looks at all problems together. One that cannot be read says so and does not hold the others up.
#[must_use]
pub fn believe(problems: &[Problem]) -> Vec<Result<Belief, ProblemError>> {
    let evidence: Vec<Result<Evidence, ProblemError>> =
        problems.iter().map(Evidence::new).collect();
    believe_of(problems, &evidence)
}

pub(crate) fn believe_of(
    problems: &[Problem],
    evidence: &[Result<Evidence, ProblemError>],
) -> Vec<Result<Belief, ProblemError>> {
    let mut names: Vec<&str> = Vec::new();
    let mut witnesses: Vec<Option<Witness>> = Vec::new();
    for (problem, evidence) in problems.iter().zip(evidence) {
        let Ok(evidence) = evidence else {
            witnesses.push(None);
            continue;
        };
        let who = problem
            .people
            .iter()
            .map(|person| {
                let name = person.name.as_str();
                names.iter().position(|n| *n == name).unwrap_or_else(|| {
                    names.push(name);
                    names.len() - 1
                })
            })
            .collect();
        let prior = Prior::default();
        let states = states(
            &whites(&evidence.surfaces, &prior),
            &evidence.surfaces,
            &problem.excluded_lights,
            &prior,
        );
        witnesses.push(Some(Witness {
            states,
            surfaces: evidence.surfaces.len(),
            raws: evidence.raws.clone(),
            who,
        }));
    }
    anchored(&mut witnesses, evidence, names.len());
    let posteriors = propagated(&witnesses, names.len());
    let levels = levels(problems, evidence, &witnesses, names.len());
    let mut seen = vec![0usize; names.len()];
    for witness in witnesses.iter().flatten() {
        for person in &witness.who {
            seen[*person] += 1;
        }
    }
    evidence
        .iter()
        .zip(posteriors)
        .zip(&witnesses)
        .zip(levels)
        .zip(problems)
        .map(|((((evidence, posterior), witness), levels), problem)| {
            let evidence = evidence.as_ref().map_err(Clone::clone)?;
            // Evidence, witness and posterior go together.
            let (Some(posterior), Some(witness)) = (posterior, witness.as_ref()) else {
                return Err(ProblemError::NoPeople);
            };
            let people = (0..witness.who.len())
                .map(|i| PersonBelief {
                    skin: SkinEstimate::from(&posterior.skin[i]),
                    level_pct: levels[i].0,
                    level_support: levels[i].1,
                    colour_support: seen[witness.who[i]] - 1,
                })
                .collect();
            let white = WhiteEstimate::new(&posterior, &evidence.surfaces);
            let near: Vec<f64> = white.surfaces.iter().map(|(_, _, near)| *near).collect();
            Ok(Belief {
                people,
                white,
                tint: None,
                seen: Seen::new(problem, evidence, &near),
                exposure_stops: 0.0,
            })
        })
        .collect()
}

/// Takes a problem that by itself is right as it is for right, whatever the others say: it would be left alone, so it is what
/// the others of its people have to agree with. Otherwise one bad witness drags a good shot along, and two that misread the
/// same wall outvote it. Without anything neutral in the picture this takes more: skin alone can look right by chance.
///
/// On the generated scenes set apart for tuning, a person seen in daylight too: CIEDE2000 2.55 → 2.18 in the mean.
fn anchored(
    witnesses: &mut [Option<Witness>],
    evidence: &[Result<Evidence, ProblemError>],
    people: usize,
) {
    let mut count = vec![0usize; people];
    for witness in witnesses.iter().flatten() {
        for person in &witness.who {
            count[*person] += 1;
        }
    }
    for (witness, evidence) in witnesses.iter_mut().zip(evidence) {
        let (Some(witness), Ok(evidence)) = (witness, evidence) else {
            continue;
        };
        if witness.who.iter().all(|person| count[*person] < 2) {
            continue;
        }
        let known = vec![population(); witness.raws.len()];
        let alone = posterior(&witness.states, &witness.raws, &known, witness.surfaces);
        let white = WhiteEstimate::new(&alone, &evidence.surfaces);
        if white.is_right() && (white.neutral >= 0.5 || white.right >= RIGHT_WITHOUT_NEUTRALS) {
            witness.states.retain(State::is_right);
        }
    }
}

fn propagated(witnesses: &[Option<Witness>], people: usize) -> Vec<Option<Posterior>> {
    let (mean, spread) = population();
    let prior = Message::of(&(mean, spread)).unwrap_or(Message::NOTHING);
    let mut count = vec![0usize; people];
    for witness in witnesses.iter().flatten() {
        for person in &witness.who {
            count[*person] += 1;
        }
    }
    // What each problem says of each of its people, and all of them together.
    let mut said: Vec<Vec<Message>> = witnesses
        .iter()
        .map(|w| vec![Message::NOTHING; w.as_ref().map_or(0, |w| w.who.len())])
        .collect();
    let mut all = vec![prior; people];
    let alone = count.iter().all(|c| *c <= 1);
    let mut found: Vec<Option<Posterior>> = witnesses.iter().map(|_| None).collect();
    for round in 0..if alone { 1 } else { ROUNDS } {
        for (s, witness) in witnesses.iter().enumerate() {
            let Some(witness) = witness else { continue };
            let several = witness.who.iter().any(|p| count[*p] > 1);
            if round > 0 && !several {
                continue;
            }
            let known: Vec<Gaussian> = witness
                .who
                .iter()
                .zip(&said[s])
                .map(|(person, said)| {
                    let others = all[*person].without(*said);
                    let (mean, spread) = others.gaussian().unwrap_or((mean, spread));
                    let between = if count[*person] > 1 {
                        BETWEEN_SHOTS
                    } else {
                        0.0
                    };
                    (mean, spread + Matrix2::identity() * (between * between))
                })
                .collect();
            let now = posterior(&witness.states, &witness.raws, &known, witness.surfaces);
            for (i, person) in witness.who.iter().enumerate() {
                if count[*person] < 2 {
                    continue;
                }
                let (Some(after), Some(before)) =
                    (Message::of(&now.skin[i]), Message::of(&known[i]))
                else {
                    continue;
                };
                let message = after.without(before).sensible().blurred(BETWEEN_SHOTS);
                all[*person] = all[*person].without(said[s][i]).and(message);
                said[s][i] = message;
            }
            found[s] = Some(now);
        }
    }
    found
}

/// Level (percent) and number of supporting problems of each person in each problem.
///
/// ln level = the person's own + the shot's exposure; the exposures of a scene are 0 in the mean. So a person's shots
/// agree, and the ratio between people in one shot stays.
fn levels(
    problems: &[Problem],
    evidence: &[Result<Evidence, ProblemError>],
    witnesses: &[Option<Witness>],
    people: usize,
) -> Vec<Vec<(f64, usize)>> {
    struct Entry {
        problem: usize,
        index: usize,
        /// Person and lighting.
        part: usize,
        log: f64,
        weight: f64,
    }
    // Like lightings of a person in a scene are one part.
    let mut parts: Vec<(usize, Option<&str>, f64)> = Vec::new();
    let mut entries: Vec<Entry> = Vec::new();
    for (s, (problem, evidence)) in problems.iter().zip(evidence).enumerate() {
        let (Ok(evidence), Some(witness)) = (evidence, &witnesses[s]) else {
            continue;
        };
        for (i, person) in problem.people.iter().enumerate() {
            // A problem without a scene is a scene of its own.
            let scene = problem.scene.as_deref();
            let ratio = person.key_to_fill.unwrap_or(1.0).max(1e-3).ln();
            let who = if scene.is_some() {
                witness.who[i]
            } else {
                people + s
            };
            let known = parts.iter().position(|(p, sc, r)| {
                *p == who && *sc == scene && (r - ratio).abs() <= LIKE_LIGHTING.ln()
            });
            let part = known.unwrap_or_else(|| {
                parts.push((who, scene, ratio));
                parts.len() - 1
            });
            entries.push(Entry {
                problem: s,
                index: i,
                part,
                log: evidence.values[i].level.signal().max(1e-3).ln(),
                weight: person.frames.unwrap_or(1.0).max(1e-3),
            });
        }
    }
    let mut exposure = vec![0.0; problems.len()];
    let mut own = vec![0.0; parts.len()];
    for _ in 0..30 {
        let mut sums = vec![(0.0, 0.0); parts.len()];
        for e in &entries {
            let off = e.log - exposure[e.problem] - own[e.part];
            // A shot far from the others has less of a say.
            let weight = e.weight / (1.0 + (off / 0.15).powi(2)).sqrt();
            sums[e.part].0 += weight * (e.log - exposure[e.problem]);
            sums[e.part].1 += weight;
        }
        for (own, (sum, weight)) in own.iter_mut().zip(sums) {
            *own = sum / weight;
        }
        let mut sums = vec![(0.0, 0.0); problems.len()];
        for e in &entries {
            sums[e.problem].0 += e.weight * (e.log - own[e.part]);
            sums[e.problem].1 += e.weight;
        }
        for (exposure, (sum, weight)) in exposure.iter_mut().zip(sums) {
            if weight > 0.0 {
                *exposure = sum / weight;
            }
        }
    }
    let support = |part: usize| entries.iter().filter(|e| e.part == part).count() - 1;
    let mut found: Vec<Vec<(f64, usize)>> = problems
        .iter()
        .map(|p| vec![(0.0, 0); p.people.len()])
        .collect();
    for e in &entries {
        let level = 100.0 * (e.log - exposure[e.problem]).exp();
        found[e.problem][e.index] = (level, support(e.part));
    }
    found
}
