//! The solver: every reach by itself, then the choice.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DVector, Dyn, U5, Vector5};

use crate::choose::{choose, worth_it};
use crate::cost::{Asked, cost};
use crate::evidence::Evidence;
use crate::explain::explain;
use crate::joint::{Belief, believe_of};
use crate::keyed::{MOST_TAKEN, skin_move, state_of};
use crate::light::{linear709, log_ratios};
use crate::limits::{Limit, Limits};
use crate::model::{Family, Parameters};
use crate::objective::{LIMITS, Objective, State as MoveState, Target};
use crate::problem::{Problem, ProblemError};
use crate::sample::{Edges, Here, Measures, Ready, signal_of};
use crate::solution::{Fix, NoKey, PersonResult, Reach, SkinValue, Solution, State};
use crate::target::seen_centre;
use inkarnat_color::delta_e_2000;

/// Solves one problem by itself in every reach and chooses.
///
/// `picture` moves the balance of the whole frame: gains in scene light for each channel, an exposure with a roll-off
/// that brings source white back to white, a tone power and a saturation. `mids` moves powers about black and white,
/// which stay, and a saturation. Both are least squares (Levenberg–Marquardt from fixed starts) with the limits as
/// penalties; whatever still oversteps a limit is then drawn back toward the untouched picture until it does not, so
/// every fix returned is within every limit. `skin` balances the picture by its neutrals and its level alone and lays a
/// soft key around the skin for the rest.
///
/// Skin that is on aim already with room to spare is left untouched: the fix then has no operations.
///
/// # Errors
/// [`ProblemError`]: nothing to read, an aim without numbers, limits that cannot be.
pub fn solve(problem: &Problem) -> Result<Solution, ProblemError> {
    let evidence = [Evidence::new(problem)];
    let mut beliefs = believe_of(std::slice::from_ref(problem), &evidence);
    let [evidence] = evidence;
    match beliefs.pop() {
        Some(belief) => Ok(solved_of(problem, evidence?, &belief?)),
        None => Err(ProblemError::NoPeople),
    }
}

/// Solves problems together: people and light are estimated over all of them, then each gets its fix.
#[must_use]
pub fn solve_all(problems: &[Problem]) -> Vec<Result<Solution, ProblemError>> {
    let evidence: Vec<_> = problems.iter().map(Evidence::new).collect();
    let beliefs = believe_of(problems, &evidence);
    problems
        .iter()
        .zip(evidence)
        .zip(beliefs)
        .map(|((problem, evidence), belief)| Ok(solved_of(problem, evidence?, &belief?)))
        .collect()
}

/// Solves one problem with what [`believe`](crate::joint::believe) found out about it among the others.
///
/// # Errors
/// As [`solve`].
pub fn solve_with(problem: &Problem, belief: &Belief) -> Result<Solution, ProblemError> {
    Ok(solved_of(problem, Evidence::new(problem)?, belief))
}

fn solved_of(problem: &Problem, evidence: Evidence, belief: &Belief) -> Solution {
    let ready = Ready::new(problem, evidence, belief);
    let targets = targets_of(problem, &ready, belief);
    let left = left_alone(&ready, &targets);
    let solved = |reach| {
        let objective = objective_of(problem, &ready, &targets, family_of(&ready, reach));
        let p = if left {
            [0.0; 5]
        } else {
            best_within_limits(&objective)
        };
        let stopped = |state: &MoveState, off: &[usize]| what_stops(&objective, &p, state, off);
        let mut fix = judged(problem, &objective, objective.state(&p), &stopped);
        if p == [0.0; 5] {
            fix.ops.clear();
        } else if let State::Short { limit, .. } = fix.state
            && !worth_it(&fix)
        {
            fix = judged(problem, &objective, objective.state(&[0.0; 5]), &|_, _| {
                limit
            });
            fix.ops.clear();
        }
        fix
    };
    let (picture, mids) = (solved(Reach::Picture), solved(Reach::Mids));
    let (skin, no_key) = if left {
        (None, Some(NoKey::NothingToDo))
    } else {
        match skin_alone(problem, &ready, &targets) {
            Ok(fix) => (Some(fix), None),
            Err(why) => (None, Some(why)),
        }
    };
    let (chosen, why) = choose(&picture, &mids, skin.as_ref(), &ready.light);
    Solution {
        chosen,
        why,
        picture,
        mids,
        skin,
        no_key,
        light: ready.light,
    }
}

/// Neutrals this far from what is expected of them are a cast, CIEDE2000.
const CAST: f64 = 2.0;

/// Whether a shot is to be left alone: everybody on aim with half of their width to spare, and no cast on the neutrals.
fn left_alone(ready: &Ready, targets: &[Target]) -> bool {
    let on_aim = ready.people.iter().zip(targets).all(|(set, target)| {
        let distance = target.distance(&set.seen);
        let off = distance
            .components
            .iter()
            .map(|d| d * d)
            .sum::<f64>()
            .sqrt();
        distance.on_aim() && (target.is_typed() || off <= 0.5 * target.aim.width)
    });
    let total: f64 = ready.neutrals.iter().map(|g| g.share).sum();
    let cast: f64 = ready.neutrals.iter().map(|g| g.share * g.de00_before).sum();
    on_aim
        && (ready.light.white.is_right()
            || targets.iter().any(Target::is_typed)
            || cast <= CAST * total)
}

/// The reach `skin`, or that no key can tell the skin from the rest.
fn skin_alone(problem: &Problem, ready: &Ready, targets: &[Target]) -> Result<Fix, NoKey> {
    let mut family = family_of(ready, Reach::Picture);
    let mut by_level = objective_of(problem, ready, targets, family);
    by_level.level_only = true;
    let base = best_within_limits(&by_level);
    family.reach = Reach::Skin;
    let objective = objective_of(problem, ready, targets, family);
    let moved = skin_move(&objective, base);
    let within = |share: f64| objective.is_within(moved.build(&objective, share));
    let share = furthest(within);
    let done = state_of(&objective, &moved, share);
    let taken = done.0.made.keyed_share(&ready.outside);
    if taken > MOST_TAKEN {
        return Err(NoKey::TakesIn(taken));
    }
    let stopped = |state: &MoveState, _: &[usize]| {
        if share == 1.0 {
            return Limit::Reach;
        }
        state
            .excess
            .iter()
            .fold((f64::NEG_INFINITY, Limit::Reach), |a, (limit, e)| {
                if *e > a.0 { (*e, *limit) } else { a }
            })
            .1
    };
    let mut fix = judged(problem, &objective, done, &stopped);
    if moved.is_identity() || share == 0.0 {
        fix.ops.clear();
    }
    Ok(fix)
}

pub(crate) fn targets_of(problem: &Problem, ready: &Ready, belief: &Belief) -> Vec<Target> {
    problem
        .people
        .iter()
        .enumerate()
        .map(|(i, person)| {
            let at = seen_centre(
                &person.aim,
                &ready.people[i].before,
                &belief.people[i],
                &ready.light,
                (problem.space, &ready.look),
            );
            Target::new(person.aim.clone(), at)
        })
        .collect()
}

pub(crate) fn family_of(ready: &Ready, reach: Reach) -> Family {
    Family {
        reach,
        blown: ready.has_blown_areas(),
    }
}

pub(crate) fn objective_of<'a>(
    problem: &Problem,
    ready: &'a Ready,
    targets: &'a [Target],
    family: Family,
) -> Objective<'a> {
    Objective {
        ready,
        targets,
        limits: problem.limits,
        family,
        who: (0..targets.len()).collect(),
        tightened: [0.0; LIMITS],
        edges: Edges::default(),
        level_only: false,
    }
}

/// How firmly limits are held while looking for the way.
const LOOSE: f64 = 3.0;
/// How firmly limits are held in the end.
const FIRM: f64 = 30.0;

struct Fit<'a, 'b> {
    objective: &'a Objective<'b>,
    firmness: f64,
    at: Parameters,
    residuals: Vec<f64>,
    here: Option<Here>,
}

impl Fit<'_, '_> {
    fn update(&mut self) {
        let (residuals, here) = self.objective.residuals(&self.at, self.firmness);
        (self.residuals, self.here) = (residuals, Some(here));
    }
}

impl LeastSquaresProblem<f64, Dyn, U5> for Fit<'_, '_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, U5>;
    type ParameterStorage = Owned<f64, U5>;

    fn set_params(&mut self, x: &Vector5<f64>) {
        self.at = (*x).into();
        self.update();
    }

    fn params(&self) -> Vector5<f64> {
        Vector5::from(self.at)
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        self.residuals
            .iter()
            .all(|r| r.is_finite())
            .then(|| DVector::from_column_slice(&self.residuals))
    }

    fn jacobian(&self) -> Option<nalgebra::Matrix<f64, Dyn, U5, Self::JacobianStorage>> {
        const STEP: f64 = 1e-5;
        let here = self.here.as_ref()?;
        let mut jacobian = nalgebra::OMatrix::<f64, Dyn, U5>::zeros(self.residuals.len());
        for c in 0..5 {
            if c == 3 && self.objective.family.reach == Reach::Mids {
                // Not used: its column is nothing.
                continue;
            }
            let mut moved = self.at;
            moved[c] += STEP;
            let r = self.objective.beside(here, &moved, self.firmness);
            for (row, (after, before)) in r.iter().zip(&self.residuals).enumerate() {
                jacobian[(row, c)] = (after - before) / STEP;
            }
        }
        Some(jacobian)
    }
}

/// Fixed starts: nothing; the level met by exposure with the skin's colour, or the neutrals, put right.
fn starts(objective: &Objective<'_>) -> Vec<Parameters> {
    let ready = objective.ready;
    let who = &objective.who;
    let mean = |f: &dyn Fn(usize) -> f64| who.iter().map(|i| f(*i)).sum::<f64>() / who.len() as f64;
    let level = mean(&|i| {
        let from = ready.people[i].seen.level.signal().max(0.02);
        let to = objective.targets[i].centre.level.signal().max(0.02);
        (to / from).ln()
    });
    match objective.family.reach {
        Reach::Mids => {
            let power = mean(&|i| {
                let from = ready.people[i].seen.level.signal().clamp(0.02, 0.98);
                let to = objective.targets[i].centre.level.signal().clamp(0.02, 0.98);
                (to.ln() / from.ln()).ln()
            });
            vec![[0.0; 5], [power, 0.0, 0.0, 0.0, 0.0]]
        }
        _ => {
            // Gains that put the skin's own colour where it should be.
            let skin: [f64; 2] = std::array::from_fn(|c| {
                mean(&|i| {
                    let colour = |signal| log_ratios(linear709(signal, ready.space))[c];
                    colour(objective.targets[i].centre.signal(ready.space))
                        - colour(signal_of(&ready.people[i].seen, ready.space))
                })
            });
            // Signal goes with about the 0.45th power of light.
            let stops = level / 0.45 / std::f64::consts::LN_2;
            let stops = stops.clamp(-1.5, 1.5);
            let mut all = vec![[0.0; 5], [stops, skin[0], skin[1], 0.0, 0.0]];
            if let Some(neutral) = ready.light.neutral {
                let [r, b] = neutral.cast;
                all.push([stops, -r, -b, 0.0, 0.0]);
            }
            all
        }
    }
}

/// The best parameters within all limits: the better of the starts, then on from there with firm limits.
pub(crate) fn best_within_limits(objective: &Objective<'_>) -> Parameters {
    let mut begun: Vec<(f64, Parameters)> = starts(objective)
        .into_iter()
        .map(|start| {
            let mut loose = objective.clone();
            loose.look_about(&start);
            let at = descended(&loose, start, LOOSE, 1e-3);
            (loose.cost(&at, LOOSE), at)
        })
        .collect();
    begun.sort_by(|a, b| a.0.total_cmp(&b.0));
    // The second best too, unless it is the same place or cannot get better than the first: firm limits only add.
    let apart = |p: &Parameters| p.iter().zip(begun[0].1).any(|(a, b)| (a - b).abs() > 0.02);
    let cost = |at: Parameters| (objective.cost(&at, 0.0), at);
    // Leaving the picture alone is always an answer.
    let mut best = cost([0.0; 5]);
    for (loose, at) in begun.iter().take(2) {
        if *loose < best.0 && (*at == begun[0].1 || apart(at)) {
            let found = cost(held(objective, *at));
            if found.0 < best.0 {
                best = found;
            }
        }
    }
    best.1
}

/// On from `at` with firm limits, which are tightened by what only all pixels show, and drawn back if need be.
fn held(objective: &Objective<'_>, mut at: Parameters) -> Parameters {
    let mut firm = objective.clone();
    firm.look_about(&at);
    for _ in 0..7 {
        at = descended(&firm, at, FIRM, 1e-6);
        let (state, _, edges) = firm.found(firm.family.build(&at));
        let over = state.excess.map(|(_, e)| e);
        if over.iter().all(|e| *e <= 0.0) {
            return at;
        }
        firm.edges = edges;
        for (more, e) in firm.tightened.iter_mut().zip(over) {
            if e > 0.0 {
                *more += e + 0.05;
            }
        }
    }
    drawn_back(objective, at)
}

fn descended(
    objective: &Objective<'_>,
    start: Parameters,
    firmness: f64,
    tolerance: f64,
) -> Parameters {
    let mut fit = Fit {
        objective,
        firmness,
        at: start,
        residuals: Vec::new(),
        here: None,
    };
    fit.update();
    let (fit, _) = LevenbergMarquardt::new()
        .with_ftol(tolerance)
        .with_xtol(tolerance)
        .with_gtol(1e-9)
        .with_patience(50)
        .minimize(fit);
    if fit.at.iter().all(|v| v.is_finite()) {
        fit.at
    } else {
        start
    }
}

/// The point nearest to `p` on the way to the untouched picture that is within every limit, counted on all pixels.
fn drawn_back(objective: &Objective<'_>, p: Parameters) -> Parameters {
    let within = |share: f64| objective.is_within(objective.family.build(&p.map(|v| v * share)));
    let share = furthest(within);
    if share == 1.0 {
        p
    } else {
        p.map(|v| v * share)
    }
}

/// The largest share that is allowed, looked for from 1 down: what is allowed need not hang together.
fn furthest(within: impl Fn(f64) -> bool) -> f64 {
    if within(1.0) {
        return 1.0;
    }
    const STEPS: u32 = 20;
    let share = |i: u32| f64::from(i) / f64::from(STEPS);
    let first = (0..STEPS).rev().find(|i| within(share(*i))).unwrap_or(0);
    let (mut low, mut high) = (share(first), share(first + 1));
    for _ in 0..8 {
        let middle = (low + high) / 2.0;
        if within(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// A move as a fix; `stopped` names what keeps somebody off aim.
pub(crate) fn judged(
    problem: &Problem,
    objective: &Objective<'_>,
    (state, measures): (MoveState, Measures),
    stopped: &dyn Fn(&MoveState, &[usize]) -> Limit,
) -> Fix {
    let people = results(problem, objective, &state);
    let off: Vec<usize> = (0..people.len()).filter(|i| !people[*i].on_aim).collect();
    let reached = if off.is_empty() {
        State::OnAim
    } else {
        let way = off
            .iter()
            .map(|i| (1.0 - people[*i].de00 / people[*i].de00_before.max(1e-9)).clamp(0.0, 1.0))
            .fold(1.0, f64::min);
        State::Short {
            limit: stopped(&state, &off),
            way,
            people: off.iter().map(|i| people[*i].name.clone()).collect(),
        }
    };
    let ready = objective.ready;
    let cost = cost(
        ready,
        &state.made,
        &measures,
        &Asked::of(ready, &state.signal),
        problem.dark_noise,
    );
    let explain = explain(
        objective.family.reach,
        &state.made,
        &people,
        &reached,
        &cost,
    );
    Fix {
        reach: objective.family.reach,
        ops: state.made.ops(),
        cost,
        people,
        state: reached,
        explain,
    }
}

fn results(problem: &Problem, objective: &Objective<'_>, state: &MoveState) -> Vec<PersonResult> {
    problem
        .people
        .iter()
        .enumerate()
        .map(|(i, person)| {
            let target = &objective.targets[i];
            let before = objective.ready.people[i].seen;
            let after = state.after[i];
            PersonResult {
                name: person.name.clone(),
                before,
                after,
                centre: target.centre,
                de00_before: delta_e_2000(before.lab, target.centre.lab).0,
                de00: delta_e_2000(after.lab, target.centre.lab).0,
                on_aim: target.distance(&after).on_aim(),
            }
        })
        .collect()
}

/// Names what keeps somebody off aim: people who pull apart, or the limit whose lifting would help most.
fn what_stops(
    objective: &Objective<'_>,
    p: &Parameters,
    state: &MoveState,
    off: &[usize],
) -> Limit {
    if objective.who.len() > 1 {
        let alone = |i: usize| {
            let single = Objective {
                who: vec![i],
                ..objective.clone()
            };
            let on_aim = |after: &SkinValue| single.targets[i].distance(after).on_aim();
            // The way on from here is short; only where it does not lead there the whole search is needed.
            let mut nearby = single.clone();
            nearby.look_about(p);
            let at = descended(&nearby, descended(&nearby, *p, LOOSE, 1e-3), FIRM, 1e-3);
            let (state, _) = single.state(&at);
            if state.excess.iter().all(|(_, e)| *e <= 0.0) && on_aim(&state.after[i]) {
                return true;
            }
            on_aim(&single.glance(&best_within_limits(&single)).0.after[i])
        };
        if off.iter().all(|i| alone(*i)) {
            return Limit::People;
        }
    }
    let miss = |after: &[inkarnat_color::Lab]| {
        off.iter()
            .map(|i| delta_e_2000(after[*i], objective.targets[*i].centre.lab).0)
            .fold(0.0, f64::max)
    };
    let labs = |s: &MoveState| s.after.iter().map(|v| v.lab).collect::<Vec<_>>();
    let now = miss(&labs(state));
    // A limit that acts is within a tenth of its unit, or a unit where the drawing back went by another one.
    state
        .excess
        .iter()
        .filter(|(_, e)| *e > -0.6)
        .map(|(limit, _)| {
            let mut freer = Objective {
                limits: lifted(objective.limits, *limit),
                ..objective.clone()
            };
            freer.look_about(p);
            let at = descended(&freer, descended(&freer, *p, LOOSE, 1e-3), FIRM, 1e-4);
            (now - miss(&labs(&freer.glance(&at).0)), *limit)
        })
        .filter(|(gain, _)| *gain > 0.05)
        .fold((0.0, Limit::Reach), |best, found| {
            if found.0 > best.0 { found } else { best }
        })
        .1
}

fn lifted(mut limits: Limits, limit: Limit) -> Limits {
    let far = 1e6;
    match limit {
        Limit::Exposure => limits.exposure_stops = far,
        Limit::SkinContrast => {
            limits.skin_slope_min = -far;
            limits.skin_slope_max = far;
        }
        Limit::UpperContrast => limits.upper_slope_min = -far,
        Limit::Clipping => limits.new_clipping_pct = far,
        Limit::SkinClipping => limits.skin_new_clipping_pct = far,
        Limit::SkinSpread => {
            limits.skin_spread_min = -far;
            limits.skin_spread_max = far;
        }
        Limit::Noise => limits.noise_gain = far,
        Limit::CodeGap => limits.code_gap = far,
        Limit::ClippedAreas => {
            limits.clipped_area_chroma = far;
            limits.clipped_area_level_pct = -far;
        }
        Limit::WhiteEnd => limits.white_level_pct = -far,
        Limit::Neutrals => limits.neutral_growth = far,
        Limit::Saturation => limits.saturation = far,
        Limit::Level => limits.level_loss = far,
        Limit::Hue => limits.hue_loss = far,
        Limit::People | Limit::Reach => {}
    }
    limits
}
